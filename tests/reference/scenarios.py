"""The scenarios of tests/validation/ worked independently: equations from their numbers, solved by scipy.

Read with tomllib, so that a change of a scenario changes its reference. Every room has five states

    Ca Ta' = Σ m cp (Tin - Ta) + (Hwin + m_leak cp) (To - Ta) + HaL (TL - Ta) + HaF (TF - Ta) + gains to air
    CL TL' = HaL (Ta - TL) + HLF (TF - TL) + gains to contents
    CF TF' = HaF (Ta - TF) + HLF (TL - TF) + Σ UA (Tsolair - TF) + Hg (Tg - TF) + Hp (TFj - TF) + gains to fabric
    Ma w'  = Σ m (win - w) + m_leak (wo - w) + kb (wb - w) + vapour of people and machines
    Mb wb' = kb (w - wb)

An open door exchanges ρ (Cd/3) W √(g H³ |ΔT|/T) each way (Brown and Solvason 1962), besides what the fan
drives through it. Sun: pvlib's position, isotropic sky and its `physical` incidence modifier.

The unit's coil: surface temperature at which the refrigerant map meets the air (apparatus dew point with bypass
factor), a first-order start-up, and a first-order plenum; psychrometrics by PsychroLib. Its ten map coefficients
are data of the generic unit (src/plant/unit/surface_map.rs), as a rating table would be. Fan, ducts of no length,
grilles, dampers and relief are square laws, so that flows have a closed form. Thermostats have a first-order
lag and a differential, watched without sampling; switchings are found by root bracketing.
"""

import bisect
import math
import re
import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import psychrolib
import pvlib
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from common import clean, meta

psychrolib.SetUnitSystem(psychrolib.SI)

FOLDER = Path(__file__).resolve().parent.parent / "validation"
CP = 1006.0 + 1860.0 * 0.009
RHO, P0, GRAVITY = 1.2, 101325.0, 9.80665
SKY_K, H_OUTER = 4.0, 17.0
LATENT = 2.45e6
MARK_S = 1800.0  # between the marks of a loop

UNITS = {
    "": 1.0, "°C": 1.0, "K": 1.0, "W": 1.0, "kW": 1e3, "W/K": 1.0, "J/K": 1.0, "kJ/K": 1e3, "MJ/K": 1e6,
    "s": 1.0, "min": 60.0, "h": 3600.0, "m2": 1.0, "m": 1.0, "mm": 1e-3, "Pa": 1.0, "L/s": 1e-3, "1/h": 1 / 3600.0,
    "g/s": 1e-3, "W/m2": 1.0, "W/(m2 K)": 1.0, "deg": 1.0,
}  # fmt: skip


def si(value):
    """A number of a scenario in SI units (temperatures in °C)."""
    if not isinstance(value, str):
        return float(value)
    number, unit = re.fullmatch(r"\s*([-+0-9.eE]+)\s*(.*?)\s*", value).groups()
    return float(number) * UNITS[unit]


def get(table, key, default):
    return si(table[key]) if key in table else default


def clock(text):
    hours, minutes = text.split(":")
    return 3600.0 * int(hours) + 60.0 * int(minutes)


def saturated(t):
    """Humidity ratio of saturated air, perfect gases."""
    p = psychrolib.GetSatVapPres(t)
    return 0.621945 * p / (P0 - p)


def humidity(t, rh):
    p = rh * psychrolib.GetSatVapPres(t)
    return 0.621945 * p / (P0 - p)


def enthalpy(t, w):
    return 1006.0 * t + w * (2_501_000.0 + 1860.0 * t)


def of_enthalpy(h, w):
    return (h - w * 2_501_000.0) / (1006.0 + 1860.0 * w)


def mixed(share, a, b):
    """Air: `share` of b and the rest of a, by enthalpy and humidity."""
    w = (1 - share) * a[1] + share * b[1]
    return of_enthalpy((1 - share) * enthalpy(*a) + share * enthalpy(*b), w), w


class House:
    """The rooms of a scenario, driven by flows and supply air."""

    def __init__(self, name):
        self.s = s = tomllib.loads((FOLDER / f"{name}.toml").read_text(encoding="utf-8"))
        house, weather, run, site = s["house"], s["weather"], s["run"], s["site"]
        self.start_s = clock(run["start"].split()[1])
        self.end_s = si(run["duration"])
        self.to = si(weather["temperature"])
        self.ground = get(site, "ground_temperature", 17.0)
        self.wo = humidity(self.to, get(weather, "humidity", 0.5))
        self.names = list(s["room"])
        self.n = len(self.names)
        self.gains_to_air = get(house, "gains_to_air", 0.45)
        self.sun_to_air = get(house, "sun_to_air", 0.10)
        self.to_contents = get(house, "rest_to_contents", 0.5)
        self.rooms, self.start = [], []
        for room in s["room"].values():
            area, height = si(room["area"]), get(room, "ceiling_height", si(house["ceiling_height"]))
            volume = area * height
            roof = get(room, "roof_area", area) * get(room, "roof_u_value", 0.3)
            self.rooms.append({
                "C": [si(room[k]) for k in ("air_capacity", "contents_capacity", "fabric_capacity")],
                "H": [si(room[f"{k}_conductance"]) for k in ("air_contents", "air_fabric", "contents_fabric")],
                "window": sum(si(w["area"]) * si(w["u_value"]) for w in room.get("windows", [])),
                "wall": sum(si(w["area"]) * si(w["u_value"]) for w in room.get("walls", [])),
                "roof": roof,
                "ground": get(room, "ground_conductance", 0.0),
                "leak": RHO * get(room, "infiltration", si(house["infiltration"])) * volume,
                "air_kg": RHO * volume,
                "buffer_kg": 0.5e-3 * 4.0 * area / 1.888e-4,
                "gains": [
                    (clock(g["from"]), clock(g["to"]), *self.gain(g)) for g in room.get("people", []) + room.get("equipment", [])
                ],
            })  # fmt: skip
            t = get(room, "initial_temperature", si(house.get("initial_temperature", 25.0)))
            w = humidity(t, get(house, "initial_humidity", 0.5))
            self.start += [t, t, t, w, w]
        self.doors = []
        for door in s.get("door", {}).values():
            a, b = (self.names.index(r) for r in door["between"])
            width, tall, cd = get(door, "width", 0.8), get(door, "height", 2.0), get(door, "discharge_coefficient", 0.6)
            hours = door.get("open", "never")
            hours = [("00:00", "24:00")] if hours == "always" else [] if hours == "never" else [(h["from"], h["to"]) for h in hours]
            factor = RHO * cd / 3.0 * width * math.sqrt(GRAVITY * tall**3 / 296.15)
            self.doors.append((a, b, factor, [(clock(f), clock(t)) for f, t in hours], get(door, "partition_conductance", 0.0)))
        self.sun = self.sunshine() if "beam" in weather else None

    @staticmethod
    def gain(g):
        if "power" in g:
            return si(g["power"]), get(g, "moisture", 0.0)
        count = g["count"]
        return count * si(g["sensible"]), count * si(g["latent"]) / LATENT

    def edges(self):
        """Times, s from the start, at which gains or doors change."""
        times = [t for r in self.rooms for g in r["gains"] for t in g[:2]] + [t for d in self.doors for h in d[3] for t in h]
        return sorted({t - self.start_s for t in times if 0 < t - self.start_s < self.end_s} | {self.end_s})

    def sunshine(self):
        """Minute by minute, from the start: sun through each room's glass, and heat of its sunlit surfaces, W."""
        s, site = self.s, self.s["site"]
        facing = {"north": 0.0, "east": 90.0, "south": 180.0, "west": 270.0}
        local = pd.date_range(s["run"]["start"], periods=int(self.end_s / 60) + 2, freq="min")
        utc = (local - pd.Timedelta(seconds=si(site["utc_offset"]))).tz_localize("UTC")
        place = (si(site["latitude"]), si(site["longitude"]))
        p = pvlib.solarposition.get_solarposition(utc, *place, altitude=0.0, pressure=P0, temperature=12.0, method="nrel_numpy", delta_t=69.0)
        zenith, azimuth = p["zenith"].to_numpy(), p["azimuth"].to_numpy()
        dni = np.where(zenith < 90.0, si(s["weather"]["beam"]), 0.0)
        dhi = np.full_like(dni, si(s["weather"]["diffuse"]))
        ghi = dni * np.cos(np.radians(zenith)) + dhi

        def on(tilt, turn):
            aoi = pvlib.irradiance.aoi(tilt, turn, zenith, azimuth)
            beam = dni * np.maximum(np.cos(np.radians(aoi)), 0.0)
            sky = pvlib.irradiance.isotropic(tilt, dhi)
            ground = pvlib.irradiance.get_ground_diffuse(tilt, ghi, get(site, "ground_reflectance", 0.2))
            modifier = np.where(aoi < 90.0, pvlib.iam.physical(aoi, n=1.526, K=4.0, L=0.002), 0.0)
            return beam, sky + ground, modifier

        out = []
        house = s["house"]
        for room in s["room"].values():
            glass = np.zeros_like(dni)
            opaque = np.zeros_like(dni)
            for w in room.get("windows", []):
                beam, rest, modifier = on(90.0, facing[w["faces"]])
                aperture = si(w["area"]) * house["window_g_value"] * house["window_glazed_fraction"] * w.get("shading_factor", 1.0)
                glass += aperture * (beam * modifier + 0.9 * rest)
            for w in room.get("walls", []):
                beam, rest, _ = on(90.0, facing[w["faces"]])
                opaque += si(w["area"]) * si(w["u_value"]) * w.get("solar_absorptance", 0.6) * (beam + rest) / H_OUTER
            beam, rest, _ = on(0.0, 0.0)
            opaque += get(room, "roof_area", si(room["area"])) * get(room, "roof_u_value", 0.3) * 0.6 * (beam + rest) / H_OUTER
            out.append((glass, opaque))
        return out

    def sunny(self, i, t):
        if self.sun is None:
            return 0.0, 0.0
        k = min(int(t // 60.0), len(self.sun[i][0]) - 2)
        f = t / 60.0 - k
        return tuple(float(v[k] + f * (v[k + 1] - v[k])) for v in self.sun[i])

    def rates(self, t, x, out, at, supply=(), net=()):
        """Rates of all rooms into `out`. `at`: a time inside the present period, s, for what changes in steps.

        `supply`: kg/s, °C, kg/kg a room; `net`: fan-driven kg/s through each door, first room to second.
        """
        o = self.start_s + at
        for i, r in enumerate(self.rooms):
            a, l, f, w, wb = x[5 * i : 5 * i + 5]
            gain = vapour = 0.0
            for begin, end, heat, moisture in r["gains"]:
                if begin <= o < end:
                    gain, vapour = gain + heat, vapour + moisture
            sun, lit = self.sunny(i, t)
            air_part = self.gains_to_air * gain + self.sun_to_air * sun
            rest = gain + sun - air_part
            hal, haf, hlf = r["H"]
            air = (r["window"] + r["leak"] * CP) * (self.to - a) + hal * (l - a) + haf * (f - a) + air_part
            water = r["leak"] * (self.wo - w) + vapour + r["buffer_kg"] / 14400.0 * (wb - w)
            if supply:
                m, ts, ws = supply[i]
                air += m * CP * (ts - a)
                water += m * (ws - w)
            out[5 * i] = air
            out[5 * i + 1] = hal * (a - l) + hlf * (f - l) + self.to_contents * rest
            out[5 * i + 2] = (
                haf * (a - f) + hlf * (l - f) + r["wall"] * (self.to - f) + r["roof"] * (self.to - SKY_K - f)
                + lit + r["ground"] * (self.ground - f) + (1 - self.to_contents) * rest
            )  # fmt: skip
            out[5 * i + 3] = water
            out[5 * i + 4] = r["buffer_kg"] / 14400.0 * (w - wb)
        for k, (i, j, factor, hours, partition) in enumerate(self.doors):
            both = factor * math.sqrt(abs(x[5 * i] - x[5 * j])) if any(b <= o < e for b, e in hours) else 0.0
            through = net[k] if net else 0.0
            weaker = max(both - abs(through) / 2.0, 0.0)
            forth, back = weaker + max(through, 0.0), weaker + max(-through, 0.0)
            out[5 * i] += back * CP * (x[5 * j] - x[5 * i])
            out[5 * j] += forth * CP * (x[5 * i] - x[5 * j])
            out[5 * i + 3] += back * (x[5 * j + 3] - x[5 * i + 3])
            out[5 * j + 3] += forth * (x[5 * i + 3] - x[5 * j + 3])
            out[5 * i + 2] += partition * (x[5 * j + 2] - x[5 * i + 2])
            out[5 * j + 2] += partition * (x[5 * i + 2] - x[5 * j + 2])
        for i, r in enumerate(self.rooms):
            for k, c in enumerate((*r["C"], r["air_kg"], r["buffer_kg"])):
                out[5 * i + k] /= c


def free(name):
    """A scenario without conditioning: all stores at every hour."""
    house = House(name)
    marks, x, t = [], np.array(house.start), 0.0
    stops = sorted(set(house.edges()) | {3600.0 * k for k in range(1, int(house.end_s / 3600) + 1)})
    scale = np.tile([1e-10, 1e-10, 1e-10, 1e-13, 1e-13], house.n)
    for stop in stops:
        middle = 0.5 * (t + stop)

        def f(t, x, middle=middle):
            out = np.empty_like(x)
            house.rates(t, x, out, middle)
            return out

        ends = []
        for method in ("LSODA", "Radau"):
            done = solve_ivp(f, (t, stop), x, method=method, rtol=1e-9, atol=scale, max_step=60.0)
            assert done.success, done.message
            ends.append(done.y[:, -1])
        apart = np.max(np.abs(ends[0] - ends[1])[np.arange(5 * house.n) % 5 < 3])
        assert apart < 5e-6, (name, stop, apart)
        x, t = ends[1], stop
        if abs(stop % 3600.0) < 1e-6:
            marks.append([t, *x])
    return {"rooms": house.names, "mark_columns": "t_s, then air, contents, fabric °C, w, buffer kg/kg of each room", "marks": marks}


# The generic unit's map (data).
TOTAL = [0.995174, 0.0274803, 2.73466e-4, -0.00878531, -3.14266e-5, -1.86957e-4]
POWER = [1.00664, 0.00486586, -8.22981e-5, 0.0229696, 9.13251e-5, 2.57169e-4]


def at_rated_speed(c, surface, outdoor):
    a, b = min(max(surface, -2.0), 20.0) - 12.0, min(max(outdoor, 20.0), 44.0) - 35.0
    return c[0] + c[1] * a + c[2] * a * a + c[3] * b + c[4] * b * b + c[5] * a * b


class Coil:
    def __init__(self, unit):
        self.rated_w = si(unit["cooling_capacity"])
        self.area = -math.log(get(unit, "bypass_factor", 0.15)) * 0.0602 * self.rated_w / 1000.0

    def steady(self, inlet, m, outdoor):
        """Leaving air, total heat W, compressor W."""
        bypass = math.exp(-self.area / m)
        h = enthalpy(*inlet)

        def surplus(t):
            return m * (1 - bypass) * (h - enthalpy(t, min(inlet[1], saturated(t)))) - self.rated_w * at_rated_speed(TOTAL, t, outdoor)

        t = brentq(surplus, -10.0, inlet[0] - 0.01, xtol=1e-10)
        leaving = mixed(bypass, (t, min(inlet[1], saturated(t))), inlet)
        power = 0.2415 * self.rated_w * at_rated_speed(POWER, t, outdoor)
        return leaving, m * (h - enthalpy(*leaving)), power


class AirSide:
    """Square laws: fan with coil, filter and return in series, outlets and a relief side by side."""

    def __init__(self, s):
        fan = s["fan"]
        self.q, self.p = si(fan["flow"]), si(fan["pressure"])
        self.rated_w = self.q * self.p / si(fan["efficiency"])
        r = 230.0 / 110.0
        series = si(s["filter"]["drop"]) + si(s["coil"]["drop"]) + si(s["return"]["drop"])
        self.a0 = r * self.p
        self.a2 = (self.p * (r - 1.0) + series) / self.q**2
        self.back = si(s["return"]["drop"]) / self.q**2
        self.outlets = list(s["outlet"].values())
        self.relief = s.get("relief")

    @staticmethod
    def damper(opening, mu=0.72, m=1.1, q100=0.04):
        leak = q100 / math.sqrt(200.0 / RHO)
        shut = 1.0 / (mu * (1.0 + 1.0 / leak))
        area = shut + (1.0 - shut) * (1.0 - math.sin(math.pi / 2.0 * (1.0 - opening))) ** m
        return (1.0 / (mu * area) - 1.0) ** 2

    def branch(self, part, opening):
        assert si(part["length"]) < 1e-5, "ducts are worked as having no length"
        area = math.pi * si(part["diameter"]) ** 2 / 4.0
        loss = (part["fitting_loss"] + self.damper(opening)) / area**2
        if "grille" in part:
            w, h = (si(x) for x in part["grille"].split(" x "))
            loss += 3.0 / (w * h) ** 2
        return 0.5 * RHO * loss

    def solve(self, openings, relief=0.0):
        """Flows of outlets, of the relief, of the fan, m³/s; supply static against the rooms, Pa; fan W.

        Relief air goes from the supply to the return plenum: it sees the return's drop besides.
        """
        g = [self.branch(o, u) ** -0.5 for o, u in zip(self.outlets, openings)]
        rooms = sum(g)
        fan_a2 = self.a2 - self.back

        def surplus(p):
            out = rooms * math.sqrt(p)
            low = -self.back * out * out
            by = math.sqrt((p - low) / self.branch(self.relief, relief)) if self.relief else 0.0
            total = out + by
            return self.a0 - fan_a2 * total * total - (p - low)

        p = brentq(surplus, 1e-9, self.a0, xtol=1e-11)
        flows = [v * math.sqrt(p) for v in g]
        out = sum(flows)
        by = math.sqrt((p + self.back * out * out) / self.branch(self.relief, relief)) if self.relief else 0.0
        total = out + by
        return flows, by, total, p, self.rated_w * (0.4 + 0.6 * total / self.q) + 5.0


class Loop:
    """House, coil, air side and thermostats. States: rooms, sensors, start-up share, plenum °C, and heat taken
    out of each room by its outlet J, heat of the coil J, electricity of the unit J, of the fan J; for a modulating
    loop the relief's filtered static and integral."""

    def __init__(self, name):
        self.house = h = House(name)
        s = h.s
        self.coil, self.air = Coil(s["unit"]), AirSide(s)
        self.zones = [(h.names.index(z["thermostat"]), si(z["cooling"]), get(z, "differential", 1.0)) for z in s["zone"].values()]
        self.outlet_room = [h.names.index(o["room"]) for o in s["outlet"].values()]
        self.back = h.names.index(s["return"]["rooms"][0])
        self.min_off = si(s["control"]["minimum_off"])
        self.metal = si(s["unit"]["coil_heat_capacity"])
        self.lag = si(s["thermostat"]["lag"])
        self.modulating = s.get("dampers", {}).get("control") == "modulating"
        self.relief = s.get("relief")
        k, z = 5 * h.n, len(self.zones)
        self.at_sensor, self.at_share, self.at_plenum, self.at_energy = k, k + z, k + z + 1, k + z + 2
        self.at_pi = self.at_energy + len(self.outlet_room) + 3
        self.size = self.at_pi + (2 if self.relief else 0)
        self.calls, self.running, self.off_since = [False] * z, False, -math.inf
        self.known = {}

    def begin(self):
        h = self.house
        x = np.zeros(self.size)
        x[: 5 * h.n] = h.start
        for i, (room, *_ ) in enumerate(self.zones):
            x[self.at_sensor + i] = h.start[5 * room]
        x[self.at_plenum] = h.start[5 * self.back]
        return x

    def openings(self, x):
        if not self.modulating:
            return [1.0 if c else 0.0 for c in self.calls]
        d = self.house.s["dampers"]
        least, band = d["minimum_opening"], si(d["proportional_band"])
        out = []
        for i, (_, set_c, _) in enumerate(self.zones):
            u = least + (x[self.at_sensor + i] - set_c) / band * (1.0 - least)
            out.append(min(max(u, least), 1.0))
        return out

    def relief_opening(self, x):
        if not self.relief:
            return 0.0
        error = x[self.at_pi] - si(self.relief["setpoint"])
        return min(max(self.relief["gain"] * error + x[self.at_pi + 1], 0.0), 1.0)

    def flows(self, x):
        if self.modulating:
            return self.air.solve(self.openings(x), self.relief_opening(x))
        key = tuple(self.calls)
        if key not in self.known:
            self.known[key] = self.air.solve(self.openings(x))
        return self.known[key]

    def rates(self, t, x, at):
        h, n = self.house, self.house.n
        out = np.zeros(self.size)
        hall = (x[5 * self.back], x[5 * self.back + 3])
        plenum = x[self.at_plenum]
        if self.running:
            q, by, total, static, fan_w = self.flows(x)
            m = RHO * total
            share = x[self.at_share]
            # A relief's air is the plenum's; its loop is dry here, so that moisture only passes.
            inlet = mixed(by / total, hall, (plenum, hall[1])) if by else hall
            steady, heat, power = self.coil.steady(inlet, m, h.to)
            assert not by or abs(steady[1] - inlet[1]) < 1e-12, "the relief's loop is worked for a dry coil"
            leaving = mixed(share, inlet, steady)
            supply = [(0.0, 0.0, 0.0)] * n
            for flow, room in zip(q, self.outlet_room):
                supply[room] = (RHO * flow, plenum, leaving[1])
            net = []
            for i, j, *_ in h.doors:
                leaf = i if j == self.back else j
                net.append(supply[leaf][0] if i == leaf else -supply[leaf][0])
            h.rates(t, x, out, at, supply, net)
            out[self.at_share] = (1.0 - share) / 60.0
            out[self.at_plenum] = (leaving[0] + fan_w / (m * CP) - plenum) * m * CP / self.metal
            e = self.at_energy
            for k, room in enumerate(self.outlet_room):
                out[e + k] = RHO * q[k] * CP * (x[5 * room] - plenum)
            e += len(self.outlet_room)
            out[e], out[e + 1], out[e + 2] = share * heat, power, fan_w
            if self.relief:
                error = x[self.at_pi] - si(self.relief["setpoint"])
                out[self.at_pi] = (static - x[self.at_pi]) / si(self.relief["filter_time"])
                wanted = self.relief["gain"] * error + x[self.at_pi + 1]
                held = (wanted < 0.0 and error < 0.0) or (wanted > 1.0 and error > 0.0)
                out[self.at_pi + 1] = 0.0 if held else self.relief["gain"] * error / si(self.relief["integral_time"])
        else:
            h.rates(t, x, out, at)
            out[self.at_share] = -x[self.at_share] / 60.0
            out[self.at_plenum] = (hall[0] - plenum) / 900.0
            out[self.at_energy + len(self.outlet_room) + 1] = 30.0
        for i, (room, *_ ) in enumerate(self.zones):
            out[self.at_sensor + i] = (x[5 * room] - x[self.at_sensor + i]) / self.lag
        return out

    def settle(self, t):
        """Starts or stops what the calls and the time ask for."""
        if self.running and not any(self.calls):
            self.running, self.off_since = False, t
            self.stops.append(t)
        elif not self.running and any(self.calls) and t >= self.off_since + self.min_off - 1e-9:
            self.running = True
            self.starts.append(t)

    def run(self, method):
        h = self.house
        self.starts, self.stops, marks = [], [], []
        t, x = 0.0, self.begin()
        for i, (_, set_c, width) in enumerate(self.zones):
            self.calls[i] = bool(x[self.at_sensor + i] >= set_c + width / 2)
        self.settle(t)
        if self.relief:
            x[self.at_pi] = self.air.solve(self.openings(x), 0.0)[3]
        stops = sorted(set(h.edges()) | {MARK_S * k for k in range(1, int(h.end_s / MARK_S) + 1)})
        scale = np.full(self.size, 1e-9)
        scale[: 5 * h.n] = np.tile([1e-9, 1e-9, 1e-9, 1e-12, 1e-12], h.n)
        scale[self.at_energy : self.at_pi] = 1e-1
        while t < h.end_s - 1e-9:
            stop = stops[bisect.bisect_right(stops, t + 1e-9)]
            at = 0.5 * (t + stop)
            waiting = any(self.calls) and not self.running
            if waiting:
                stop = min(stop, self.off_since + self.min_off)
            events = []
            for i, (_, set_c, width) in enumerate(self.zones):
                limit = set_c - width / 2 if self.calls[i] else set_c + width / 2
                f = lambda _t, x, k=self.at_sensor + i, limit=limit: x[k] - limit  # noqa: E731
                f.terminal, f.direction = True, -1.0 if self.calls[i] else 1.0
                events.append(f)
            done = solve_ivp(lambda t, x: self.rates(t, x, at), (t, stop), x, method=method, rtol=1e-8, atol=scale, events=events, max_step=60.0)
            assert done.success, done.message
            t, x = float(done.t[-1]), done.y[:, -1].copy()
            if done.status == 1:
                i = next(i for i, times in enumerate(done.t_events) if len(times))
                self.calls[i] = not self.calls[i]
                assert not self.modulating, "modulating dampers are worked for zones that call throughout"
            self.settle(t)
            if abs(t - MARK_S * round(t / MARK_S)) < 1e-9 and t > 0 and (not marks or marks[-1][0] != t):
                mark = [t, *x[: 5 * h.n]]
                if self.modulating:
                    q, by, total, static, _ = self.flows(x)
                    mark += [*self.openings(x), self.relief_opening(x), *q, by, static, x[self.at_plenum]]
                marks.append(mark)
        runs = [b - a for a, b in zip(self.starts, [*self.stops, h.end_s])]
        e = self.at_energy
        k = len(self.outlet_room)
        return {
            "rooms": h.names,
            "starts_s": self.starts,
            "stops_s": self.stops,
            "run_time_s": sum(runs),
            "energy_j": list(x[e : e + k]),
            "coil_j": x[e + k],
            "unit_electricity_j": x[e + k + 1],
            "fan_electricity_j": x[e + k + 2],
            "marks": marks,
        }


def loop(name):
    results = [Loop(name).run(method) for method in ("DOP853", "Radau")]
    for key in ("starts_s", "stops_s"):
        a, b = (np.array(r[key]) for r in results)
        assert len(a) == len(b), (name, key, len(a), len(b))
        assert len(a) == 0 or np.max(np.abs(a - b)) < 0.01, (name, key, np.max(np.abs(a - b)))
    a, b = (np.array(r["marks"]) for r in results)
    assert np.max(np.abs(a - b)) < 1e-3, (name, np.max(np.abs(a - b)))
    return results[0]


def make():
    return {
        "meta": meta(
            "the scenarios of tests/validation/ worked by the equations at the top of scenarios.py",
            ["scipy", "numpy", "pvlib", "PsychroLib"],
        ),
        **clean({"rooms": free("rooms"), "sun": free("sun")}, 11),
        **clean({name: loop(name) for name in ("one_room", "two_rooms", "three_rooms")}, 10),
    }
