"""Rooms and controls together, integrated with event detection: three small closed loops.

ROOM i (temperatures °C; states Ta air, TL light contents, TF fabric, Tn sensor reading):

    Ca Ta' = m cp (Ts - Ta) + Hao (To - Ta) + HaL (TL - Ta) + HaF (TF - Ta) + Qa + Σj Hij (Taj - Ta)
    CL TL' = HaL (Ta - TL) + HLF (TF - TL) + QL
    CF TF' = HaF (Ta - TF) + HLF (TL - TF) + HFo (To - TF) + QF
    τs Tn' = Ta - Tn
    E'     = m cp (Ta - Ts)                    heat taken out of the room's air by the supply, J
    To     = To_mean + To_amplitude cos(2π (t - To_peak_s)/86400)

Conductances W/K, capacities J/K, gains W, m kg/s of supply air at the fixed temperature Ts.

THERMOSTAT (cooling): calls from the instant Tn rises to setpoint + d/2 until Tn falls to
setpoint - d/2, d the differential; watched without sampling. At t = 0 it calls if Tn is at or above
the upper point. All start at rest with the unit off, off for longer than its minimum off-time.

(i) one_room: m = m_on while it calls, else 0.

(ii) two_rooms: rooms joined by H12 between their airs. Each room's damper is open (at once, tight when
     shut) while its thermostat calls. The unit starts when any thermostat calls and it has been off
     for min_off_s, stops when none calls. Running with both calling, room i gets m_both[i]; with one
     calling, that room gets m_alone[i] and the other nothing.

(iii) three_rooms: the unit runs throughout; flows from the air network at every instant:

     branch i          p = R_i(u_i) Q_i²,  R_i = R_duct_i + ρ C(u_i)/(2 A_i²),  A_i = π D_i²/4
     relief            p = R_r(u_r) Q_r²,  the same form; it ends where the rooms end, at 0 Pa
     fan and coil      p = a0 + a2 (ΣQ_i + Q_r)²
     damper            C(u) = C_f + (1/(μ α) - 1)²,  α = α_L + (1 - α_L)(1 - sin θ)^m, θ = 90°(1 - u),
                       α_L = 1/(μ (1 + √(1/φ_L² - C_f))),  φ_L = q100/√(200/ρ)
     hence, G = Σ R^(-1/2):  p = a0/(1 - a2 G²),  Q_i = √(p/R_i),  m_i = ρ Q_i
     room controllers  u*_i = clamp(u_min + K (Tn_i - setpoint_i), u_min, 1)
     static controller p_f' = (p - p_f)/τ_p,  e = p_f - p_set,
                       I' = (k/T_i) e, but 0 while I is at 0 and e < 0, or at 1 and e > 0
                       u*_r = clamp(k e + I, 0, 1)
     actuators         u moves towards u* at 1/travel_s, and stays on it once there as long as u*
                       itself moves no faster

     The extra gain Q_step goes to the air of room step_room from step_on_s to step_off_s.

Each is integrated by DOP853 and by Radau (both rtol 1e-10), with every switching found by root
bracketing on the dense output; event times and temperatures must agree to 1e-4 s and 1e-6 K. The
linear loops (i) and (ii) are also propagated from event to event by matrix exponentials, to 1e-7 K.

A program that samples its thermostats every h seconds is late by up to h at each switching, and its
cycles slip in phase: hold it to the number of starts, run and off lengths (to a few h), energies, and
the temperatures of contents and fabric at the marks; air and sensor only where nothing cycles.
"""

import math

import numpy as np
from scipy.integrate import solve_ivp
from scipy.linalg import expm

from common import clean, meta

CP, RHO = 1006.0, 1.2
OUTDOORS = {"To_mean_c": 31.0, "To_amplitude_k": 5.0, "To_peak_s": 54000.0}


def room(ca, cl, cf, hal, haf, hlf, hao, hfo, qa, ql, qf, tau, start):
    keys = ["Ca", "CL", "CF", "HaL", "HaF", "HLF", "Hao", "HFo", "Qa", "QL", "QF", "tau_s", "start_c"]
    return dict(zip(keys, [ca, cl, cf, hal, haf, hlf, hao, hfo, qa, ql, qf, tau, start]))


BEDROOM = room(35e3, 300e3, 1.68e6, 36.0, 132.0, 44.0, 14.0, 10.0, 60.0, 40.0, 40.0, 120.0, 26.0)
LIVING = room(87e3, 750e3, 4.2e6, 90.0, 261.0, 111.0, 34.0, 22.0, 200.0, 130.0, 150.0, 180.0, 27.0)
STUDY = room(30e3, 250e3, 1.4e6, 30.0, 115.0, 38.0, 12.0, 9.0, 100.0, 60.0, 30.0, 150.0, 26.5)

ONE_ROOM = {
    **OUTDOORS, "end_s": 86400.0, "Ts_c": 14.0, "m_on_kg_s": 0.13,
    "rooms": [LIVING], "setpoint_c": [24.0], "differential_k": [0.8],
}  # fmt: skip
TWO_ROOMS = {
    **OUTDOORS, "end_s": 43200.0, "Ts_c": 14.0, "H12_w_k": 25.0, "min_off_s": 120.0,
    "rooms": [BEDROOM, LIVING], "setpoint_c": [24.0, 24.5], "differential_k": [0.3, 0.5],
    "m_both_kg_s": [0.045, 0.115], "m_alone_kg_s": [0.08, 0.14],
}  # fmt: skip
THREE_ROOMS = {
    **OUTDOORS, "end_s": 21600.0, "Ts_c": 14.0,
    "rooms": [BEDROOM, LIVING, STUDY], "setpoint_c": [24.0, 24.0, 23.5],
    "a0_pa": 180.0, "a2_pa_s2_m6": -900.0, "rho": RHO,
    "damper": {"mu": 0.72, "m": 1.10, "C_f": 0.0, "q100": 0.04},
    "R_duct": [4000.0, 1500.0, 4500.0], "D_m": [0.15, 0.2, 0.15],
    "R_duct_relief": 900.0, "D_relief_m": 0.2,
    "u_min": 0.1, "K_per_k": 0.6, "travel_s": 90.0, "u_start": [0.1, 0.1, 0.1],
    "p_set_pa": 90.0, "k_per_pa": 0.002, "T_i_s": 40.0, "tau_p_s": 4.0, "travel_relief_s": 90.0,
    "u_relief_start": 0.0, "I_start": 0.0,
    "step_room": 1, "Q_step_w": 500.0, "step_on_s": 9000.0, "step_off_s": 14400.0,
}  # fmt: skip


def outdoors(case, t):
    return case["To_mean_c"] + case["To_amplitude_k"] * math.cos(2 * math.pi * (t - case["To_peak_s"]) / 86400.0)


def room_rates(case, t, x, flows, extra=()):
    """Rates of all rooms: five states a room (Ta, TL, TF, Tn, E)."""
    to, out = outdoors(case, t), np.empty_like(x)
    for i, r in enumerate(case["rooms"]):
        ta, tl, tf, tn, _ = x[5 * i : 5 * i + 5]
        supply = flows[i] * CP * (case["Ts_c"] - ta)
        heat = supply + r["Hao"] * (to - ta) + r["HaL"] * (tl - ta) + r["HaF"] * (tf - ta) + r["Qa"]
        if "H12_w_k" in case:
            heat += case["H12_w_k"] * (x[5 * (1 - i)] - ta)
        if extra:
            heat += extra[i]
        out[5 * i] = heat / r["Ca"]
        out[5 * i + 1] = (r["HaL"] * (ta - tl) + r["HLF"] * (tf - tl) + r["QL"]) / r["CL"]
        out[5 * i + 2] = (
            r["HaF"] * (ta - tf) + r["HLF"] * (tl - tf) + r["HFo"] * (to - tf) + r["QF"]
        ) / r["CF"]
        out[5 * i + 3] = (ta - tn) / r["tau_s"]
        out[5 * i + 4] = -supply
    return out


def integrate(system, method):
    """Runs `system` to its end, restarting at every event, at hourly marks and at timed changes."""
    t, x = 0.0, np.array(system.start(), dtype=float)
    marks = [(t, x.copy(), system.note(t, x))]
    end = system.case["end_s"]
    segments = []
    while t < end:
        hour = (math.floor(t / 3600.0 + 1e-9) + 1) * 3600.0
        stop = min(end, hour, system.next_time(t))
        watched = system.watched()
        events = []
        for g, direction, _ in watched:
            f = lambda t, x, g=g: g(t, x)  # noqa: E731
            f.terminal, f.direction = True, direction
            events.append(f)
        s = solve_ivp(
            system.rates, (t, stop), x, method=method, rtol=1e-10, atol=system.tolerance(), events=events, max_step=system.max_step
        )
        assert s.success, s.message
        segments.append((t, s.t[-1], x.copy(), s.y[:, -1].copy(), system.mode()))
        t, x = float(s.t[-1]), s.y[:, -1].copy()
        if s.status == 1:
            hit = next(i for i, times in enumerate(s.t_events) if len(times))
            watched[hit][2](t, x)
        system.pass_time(t, x)
        if abs(t - hour) < 1e-9 or t == end:
            marks.append((t, x.copy(), system.note(t, x)))
    return marks, segments


class OnOff:
    """Loops (i) and (ii)."""

    max_step = 60.0

    def __init__(self, case):
        self.case, self.n = case, len(case["rooms"])
        half = [d / 2.0 for d in case["differential_k"]]
        self.upper = [s + h for s, h in zip(case["setpoint_c"], half)]
        self.lower = [s - h for s, h in zip(case["setpoint_c"], half)]
        self.calls = [r["start_c"] >= u for r, u in zip(case["rooms"], self.upper)]
        self.min_off = case.get("min_off_s", 0.0)
        self.running, self.off_since = False, -math.inf
        self.starts, self.stops = [], []
        self.call_log = [[0.0, i, c] for i, c in enumerate(self.calls)]
        self.pass_time(0.0, None)

    def start(self):
        return [v for r in self.case["rooms"] for v in (*[r["start_c"]] * 4, 0.0)]

    def tolerance(self):
        return np.tile([1e-11] * 4 + [1e-3], self.n)

    def flows(self):
        if not self.running:
            return [0.0] * self.n
        if self.n == 1:
            return [self.case["m_on_kg_s"]]
        table = self.case["m_both_kg_s"] if all(self.calls) else self.case["m_alone_kg_s"]
        return [m if c else 0.0 for m, c in zip(table, self.calls)]

    def rates(self, t, x):
        return room_rates(self.case, t, x, self.flows())

    def watched(self):
        def switch(i):
            def act(t, _x):
                self.calls[i] = not self.calls[i]
                self.call_log.append([t, i, self.calls[i]])

            return act

        out = []
        for i in range(self.n):
            limit = self.lower[i] if self.calls[i] else self.upper[i]
            g = lambda _t, x, i=i, limit=limit: x[5 * i + 3] - limit  # noqa: E731
            out.append((g, -1.0 if self.calls[i] else 1.0, switch(i)))
        return out

    def next_time(self, _t):
        waiting = any(self.calls) and not self.running
        return self.off_since + self.min_off if waiting else math.inf

    def pass_time(self, t, _x):
        if self.running and not any(self.calls):
            self.running, self.off_since = False, t
            self.stops.append(t)
        elif not self.running and any(self.calls) and t >= self.off_since + self.min_off - 1e-9:
            self.running = True
            self.starts.append(t)

    def note(self, _t, _x):
        return []

    def mode(self):
        return tuple(self.flows())

    def result(self, marks):
        end = self.case["end_s"]
        ends = self.stops + ([end] if self.running else [])
        runs = [b - a for a, b in zip(self.starts, ends)]
        x = marks[-1][1]
        return {
            "starts_s": self.starts,
            "stops_s": self.stops,
            "run_s": runs,
            "running_at_end": self.running,
            "run_time_s": sum(runs),
            "energy_j": [x[5 * i + 4] for i in range(self.n)],
            "call_changes": [[t, i, 1 if c else 0] for t, i, c in self.call_log],
            "mark_columns": ["t_s"] + [f"{s}_{i}_c" for i in range(self.n) for s in ("air", "contents", "fabric", "sensor")],
            "marks": [[t] + [v for i in range(self.n) for v in x[5 * i : 5 * i + 4]] for t, x, _ in marks],
        }


def by_exponentials(case, segments):
    """Largest difference, K, of every segment's end from the matrix exponential over it."""
    n, worst, w = 5 * len(case["rooms"]), 0.0, 2 * math.pi / 86400.0
    zero = {**case, "To_mean_c": 0.0, "To_amplitude_k": 0.0}
    for t0, t1, x0, x1, flows in segments:
        # States: the rooms', 1, cos(w t), sin(w t). Columns of the matrix by putting in unit states.
        a = np.zeros((n + 3, n + 3))
        constant = room_rates(zero, 0.0, np.zeros(n), flows)
        for j in range(n):
            a[:n, j] = room_rates(zero, 0.0, np.eye(n)[j], flows) - constant
        sun = room_rates({**zero, "To_mean_c": 1.0}, 0.0, np.zeros(n), flows) - constant
        a[:n, n] = constant + sun * case["To_mean_c"]
        phase = w * case["To_peak_s"]
        a[:n, n + 1] = sun * case["To_amplitude_k"] * math.cos(phase)
        a[:n, n + 2] = sun * case["To_amplitude_k"] * math.sin(phase)
        a[n + 1, n + 2], a[n + 2, n + 1] = -w, w
        start = np.concatenate([x0, [1.0, math.cos(w * t0), math.sin(w * t0)]])
        end = (expm(a * (t1 - t0)) @ start)[:n]
        keep = [k for k in range(n) if k % 5 != 4]
        worst = max(worst, float(np.max(np.abs(end[keep] - x1[keep]))))
    return worst


class Modulating:
    """Loop (iii). States: five a room, then p_f, I, then the four openings (used only while they move)."""

    max_step = 60.0

    def __init__(self, case):
        self.case, self.n = case, len(case["rooms"])
        n = self.n
        self.at_p, self.at_i, self.at_u = 5 * n, 5 * n + 1, 5 * n + 2
        self.clamped = [0] * (n + 1)  # -1 at the lower end, 0 inside, +1 at the upper
        self.held = 0  # integral at its lower (-1) or upper (+1) end
        self.slewing = [0] * (n + 1)  # direction of travel; 0 on the command
        self.step_on = False
        self.events = []
        x = self.start()
        for j in range(n + 1):
            raw = self.raw(j, x)
            self.clamped[j] = -1 if raw < self.low(j) else 1 if raw > 1.0 else 0
        self.held = -1 if x[self.at_i] <= 0.0 and self.error(x) < 0.0 else 0
        for j in range(n + 1):
            gap = self.command(j, x) - x[self.at_u + j]
            self.slewing[j] = 0 if abs(gap) < 1e-12 else int(math.copysign(1, gap))

    def start(self):
        c = self.case
        rooms = [v for r in c["rooms"] for v in (*[r["start_c"]] * 4, 0.0)]
        u = [*c["u_start"], c["u_relief_start"]]
        return np.array(rooms + [self.static(u)[0], c["I_start"]] + u)

    def tolerance(self):
        return np.array([*[1e-11] * 4, 1e-3] * self.n + [1e-10, 1e-12] + [1e-12] * (self.n + 1))

    def low(self, j):
        return self.case["u_min"] if j < self.n else 0.0

    def travel(self, j):
        return self.case["travel_s"] if j < self.n else self.case["travel_relief_s"]

    def resistance(self, j, u):
        c, d = self.case, self.case["damper"]
        duct, diameter = (c["R_duct"][j], c["D_m"][j]) if j < self.n else (c["R_duct_relief"], c["D_relief_m"])
        leak = d["q100"] / math.sqrt(200.0 / c["rho"])
        least = 1.0 / (d["mu"] * (1.0 + math.sqrt(1.0 / leak**2 - d["C_f"])))
        alpha = least + (1.0 - least) * (1.0 - math.sin(math.pi / 2.0 * (1.0 - u))) ** d["m"]
        loss = d["C_f"] + (1.0 / (d["mu"] * alpha) - 1.0) ** 2
        return duct + c["rho"] * loss / (2.0 * (math.pi * diameter**2 / 4.0) ** 2)

    def static(self, u):
        r = [self.resistance(j, v) for j, v in enumerate(u)]
        g = sum(v**-0.5 for v in r)
        p = self.case["a0_pa"] / (1.0 - self.case["a2_pa_s2_m6"] * g * g)
        return p, [math.sqrt(p / v) for v in r]

    def error(self, x):
        return x[self.at_p] - self.case["p_set_pa"]

    def raw(self, j, x):
        c = self.case
        if j < self.n:
            return c["u_min"] + c["K_per_k"] * (x[5 * j + 3] - c["setpoint_c"][j])
        return c["k_per_pa"] * self.error(x) + x[self.at_i]

    def command(self, j, x):
        return {-1: self.low(j), 0: self.raw(j, x), 1: 1.0}[self.clamped[j]]

    def openings(self, x):
        return [
            min(max(x[self.at_u + j], 0.0), 1.0) if self.slewing[j] else min(max(self.command(j, x), 0.0), 1.0)
            for j in range(self.n + 1)
        ]

    def integral_rate(self, x):
        return 0.0 if self.held else self.case["k_per_pa"] / self.case["T_i_s"] * self.error(x)

    def filter_rate(self, x):
        return (self.static(self.openings(x))[0] - x[self.at_p]) / self.case["tau_p_s"]

    def command_rate(self, j, x):
        if self.clamped[j]:
            return 0.0
        if j < self.n:
            return self.case["K_per_k"] * (x[5 * j] - x[5 * j + 3]) / self.case["rooms"][j]["tau_s"]
        return self.case["k_per_pa"] * self.filter_rate(x) + self.integral_rate(x)

    def rates(self, t, x):
        _, q = self.static(self.openings(x))
        extra = [0.0] * self.n
        if self.step_on:
            extra[self.case["step_room"]] = self.case["Q_step_w"]
        out = np.empty_like(x)
        k = 5 * self.n
        out[:k] = room_rates(self.case, t, x[:k], [self.case["rho"] * v for v in q[: self.n]], extra)
        out[self.at_p] = self.filter_rate(x)
        out[self.at_i] = self.integral_rate(x)
        for j in range(self.n + 1):
            out[self.at_u + j] = self.slewing[j] / self.travel(j)
        return out

    def watched(self):
        out = []

        def arrive(j):
            def act(t, x):
                rate = self.command_rate(j, x)
                fast = abs(rate) > 1.0 / self.travel(j)
                self.slewing[j] = int(math.copysign(1, rate)) if fast else 0
                self.events.append([t, j, "slews on" if fast else "arrives"])

            return act

        def outrun(j, way):
            def act(t, x):
                x[self.at_u + j] = self.command(j, x)
                self.slewing[j] = way
                self.events.append([t, j, "falls behind"])

            return act

        def clamp(j, to):
            def act(t, x):
                if not self.slewing[j]:
                    x[self.at_u + j] = self.command(j, x)
                self.clamped[j] = to
                rate = self.command_rate(j, x)
                if not self.slewing[j] and abs(rate) > 1.0 / self.travel(j):
                    self.slewing[j] = int(math.copysign(1, rate))
                self.events.append([t, j, {-1: "at its least", 0: "modulates", 1: "at its most"}[to]])

            return act

        def hold(to):
            def act(t, x):
                if to:
                    x[self.at_i] = 0.0 if to < 0 else 1.0
                self.held = to
                self.events.append([t, self.n, "integral free" if to == 0 else "integral held"])

            return act

        for j in range(self.n + 1):
            low, c = self.low(j), self.clamped[j]
            if c >= 0:
                edge = 1.0 if c else low
                out.append((lambda _t, x, j=j, e=edge: self.raw(j, x) - e, -1.0, clamp(j, 0 if c else -1)))
            if c <= 0:
                edge = low if c else 1.0
                out.append((lambda _t, x, j=j, e=edge: self.raw(j, x) - e, 1.0, clamp(j, 0 if c else 1)))
            way = self.slewing[j]
            if way:
                out.append((lambda _t, x, j=j, w=way: w * (x[self.at_u + j] - self.command(j, x)), 1.0, arrive(j)))
            elif not c:
                for w in (1, -1):
                    g = lambda _t, x, j=j, w=w: w * self.command_rate(j, x) - 1.0 / self.travel(j)  # noqa: E731
                    out.append((g, 1.0, outrun(j, w)))
        if self.held:
            out.append((lambda _t, x: self.error(x), -float(self.held), hold(0)))
        else:
            out.append((lambda _t, x: x[self.at_i], -1.0, hold(-1)))
            out.append((lambda _t, x: x[self.at_i] - 1.0, 1.0, hold(1)))
        return out

    def next_time(self, t):
        return min([s for s in (self.case["step_on_s"], self.case["step_off_s"]) if s > t + 1e-9], default=math.inf)

    def pass_time(self, t, _x):
        self.step_on = self.case["step_on_s"] - 1e-9 <= t < self.case["step_off_s"] - 1e-9

    def note(self, _t, x):
        u = self.openings(x)
        p, q = self.static(u)
        return [*u, p, *q, x[self.at_i]]

    def mode(self):
        return None

    def result(self, marks):
        n, x = self.n, marks[-1][1]
        return {
            "energy_j": [x[5 * i + 4] for i in range(n)],
            "mark_columns": ["t_s"]
            + [f"{s}_{i}_c" for i in range(n) for s in ("air", "contents", "fabric", "sensor")]
            + [f"opening_{i}" for i in range(n)]
            + ["opening_relief", "static_pa"]
            + [f"flow_{i}_m3_s" for i in range(n)]
            + ["flow_relief_m3_s", "integral"],
            "marks": [[t] + [v for i in range(n) for v in x[5 * i : 5 * i + 4]] + note for t, x, note in marks],
            "event_columns": ["t_s", "actuator (last: relief)", "what"],
            "events": self.events,
        }


def both_ways(make_system, case):
    results = []
    for method in ("DOP853", "Radau"):
        system = make_system(case)
        marks, segments = integrate(system, method)
        results.append(system.result(marks))
        if method == "DOP853" and isinstance(system, OnOff):
            worst = by_exponentials(case, segments)
            assert worst < 1e-7, worst
    apart = 0.0
    for key in ("starts_s", "stops_s", "events"):
        a, b = (np.array([e[0] if isinstance(e, list) else e for e in r.get(key, [])]) for r in results)
        assert len(a) == len(b), (key, len(a), len(b))
        if len(a):
            apart = max(apart, float(np.max(np.abs(a - b))))
    assert apart < 1e-4, apart
    a, b = (np.array(r["marks"]) for r in results)
    assert np.max(np.abs(a - b)) < 1e-6, np.max(np.abs(a - b))
    return {"inputs": case, **clean(results[0], 11)}


def make():
    return {
        "meta": meta(
            "three closed loops integrated with event detection; the equations are at the top of closed_loop.py",
            ["scipy", "numpy"],
            cp_j_kg_k=CP,
        ),
        "one_room": both_ways(OnOff, ONE_ROOM),
        "two_rooms": both_ways(OnOff, TWO_ROOMS),
        "three_rooms": both_ways(Modulating, THREE_ROOMS),
    }
