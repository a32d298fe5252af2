"""Air networks with known answers: node pressures and flows of fans, ducts, dampers, relief, rooms.

Laws (dp = p[from] - p[to], flow positive from -> to, density 1.2 kg/m³):
  power             Q = (1/R)^(1/n) dp (dp² + s²)^((1/n - 1)/2);  s = 0.01 Pa in "dps_0.01", 0 in "dps_0"
  linear_quadratic  dp = a Q + b Q|Q|
  weighted          t = clamp((dp - p_open)/(p_full - p_open), 0, 1), o = t²(3 - 2t),
                    G = G_leak + (G_full - G_leak) o,  Q = G dp (dp² + s²)^(-1/4)
  fan               p[to] - p[from] = v²(a0 + a1 x + a2 x|x| + a3 x³), x = Q/v, v = speed ratio
  constant_flow_fan Q = flow_set; the fan law then gives the speed ratio (at most speed_max)
Dampers are power elements with n = 2, R = ρC/(2A²), C from the four-parameter blade formula
  θ = 90°(1 - u), α = α_L + (1 - α_L)(1 - sin θ)^1.10, C = (1/(0.72 α) - 1)²,
  α_L = 1/(0.72 (1 + 1/φ_L)), φ_L = q100/√(200/ρ), q100 = 0.04 m³/(s·m²) at 100 Pa.

Each network is solved by scipy's `root` on node pressures and fan flows, and independently by
`least_squares` on all flows and pressures with every law written the other way round (dp as a
function of Q, by bracketing where it has no closed form). They must agree to 1e-8; mpmath's Newton
with 40 digits then gives the figures kept, and must agree with both.
"""

import math

import mpmath as mp
import numpy as np
from scipy.optimize import brentq, least_squares, root

from common import clean, meta

RHO = 1.2
FRICTION = {0.15: (181.86, 1.8044), 0.2: (45.524, 1.8093), 0.25: (15.508, 1.8129), 0.315: (5.0717, 1.8165)}


def blade_c(u, q100=0.04):
    phi_leak = q100 / math.sqrt(200.0 / RHO)
    leak = 1.0 / (0.72 * (1.0 + 1.0 / phi_leak))
    alpha = leak + (1.0 - leak) * (1.0 - math.sin(math.pi / 2.0 * (1.0 - u))) ** 1.10
    return (1.0 / (0.72 * alpha) - 1.0) ** 2


def sig(x):
    return float(f"{x:.10g}")


# Elements.
def power(id, a, b, r, n):
    return {"id": id, "type": "power", "from": a, "to": b, "R": sig(r), "n": n}


def duct(id, a, b, diameter, length):
    k, n = FRICTION[diameter]
    return power(id, a, b, k * length, n)


def damper(id, a, b, diameter, u):
    r = RHO * blade_c(u) / (2.0 * (math.pi * diameter**2 / 4.0) ** 2)
    return {**power(id, a, b, r, 2.0), "_damper": {"D_m": diameter, "opening": u}}


def fan(id, a, b, curve, speed=1.0):
    return {"id": id, "type": "fan", "from": a, "to": b, "speed": speed, "a": [float(x) for x in curve]}


def steady_fan(id, a, b, curve, flow, speed_max=1.0):
    return {"id": id, "type": "constant_flow_fan", "from": a, "to": b, "flow_set": flow, "speed_max": speed_max,
            "a": [float(x) for x in curve]}  # fmt: skip


def mixed(id, a, b, linear, quadratic):
    return {"id": id, "type": "linear_quadratic", "from": a, "to": b, "a": linear, "b": quadratic}


def weighted(id, a, b, p_open, p_full, g_leak, g_full):
    return {"id": id, "type": "weighted", "from": a, "to": b, "p_open": p_open, "p_full": p_full,
            "G_leak": g_leak, "G_full": g_full}  # fmt: skip


def branch(i, plenum, room, diameter, length, u, grille=500.0):
    """Duct, damper and grille in series, from a plenum to a room."""
    return [
        duct(f"duct{i}", plenum, f"{i}a", diameter, length),
        damper(f"damper{i}", f"{i}a", f"{i}b", diameter, u),
        power(f"grille{i}", f"{i}b", room, grille, 2.0),
    ]


# Laws. `lib` is math or mpmath.
def flow_of(e, dp, s, lib):
    kind = e["type"]
    if kind == "power":
        if dp == 0:
            return dp
        m = 1 / lib.mpf(e["n"]) if lib is mp else 1.0 / e["n"]
        return e["R"] ** (-m) * dp * (dp * dp + s * s) ** ((m - 1) / 2)
    if kind == "linear_quadratic":
        size = 2 * abs(dp) / (e["a"] + lib.sqrt(e["a"] ** 2 + 4 * e["b"] * abs(dp)))
        return size if dp >= 0 else -size
    t = (dp - e["p_open"]) / (e["p_full"] - e["p_open"])
    t = 0 if t < 0 else 1 if t > 1 else t
    g = e["G_leak"] + (e["G_full"] - e["G_leak"]) * t * t * (3 - 2 * t)
    return dp * 0 if dp == 0 else g * dp * (dp * dp + s * s) ** (-lib.mpf(1) / 4 if lib is mp else -0.25)


def drop_of(e, q, s):
    """The inverse of `flow_of`."""
    if e["type"] == "linear_quadratic":
        return e["a"] * q + e["b"] * q * abs(q)
    if e["type"] == "power" and s == 0:
        return math.copysign(e["R"] * abs(q) ** e["n"], q)
    if q == 0:
        return 0.0
    high = 1.0
    while flow_of(e, high, s, math) < abs(q) and e["type"] == "power":
        high *= 4.0
    if e["type"] == "power":
        return math.copysign(brentq(lambda x: flow_of(e, x, s, math) - abs(q), 0.0, high, xtol=1e-13, rtol=1e-15), q)
    most = 2.0 * (q / e["G_leak"]) ** 2 + 1.0  # the blade never passes less than its leakage
    return brentq(lambda x: flow_of(e, x, s, math) - q, -most, most, xtol=1e-12, rtol=1e-15)


def rise(e, q, speed):
    a0, a1, a2, a3 = e["a"]
    x = q / speed
    return speed * speed * (a0 + a1 * x + a2 * x * abs(x) + a3 * x * x * x)


def solve(net, s):
    nodes, fixed, elements = net["unknown_nodes"], net["fixed_pressures_Pa"], net["elements"]
    at = {name: i for i, name in enumerate(nodes)}
    fans = [e for e in elements if e["type"] == "fan"]

    def pressure(x, name):
        return x[at[name]] if name in at else fixed[name]

    def by_nodes(x, lib=math):
        """Node imbalances, then one pressure balance a fan. Unknowns: node pressures, fan flows."""
        out = [lib.mpf(0) if lib is mp else 0.0 for _ in nodes]
        more, k = [], len(nodes)
        for e in elements:
            dp = pressure(x, e["from"]) - pressure(x, e["to"])
            if e["type"] == "fan":
                q, k = x[k], k + 1
                more.append((rise(e, q, e["speed"]) + dp) / 100)
            elif e["type"] == "constant_flow_fan":
                q = e["flow_set"]
            else:
                q = flow_of(e, dp, s, lib)
            if e["from"] in at:
                out[at[e["from"]]] -= q
            if e["to"] in at:
                out[at[e["to"]]] += q
        return out + more

    def flows(x, lib=math):
        found, k = {}, len(nodes)
        for e in elements:
            if e["type"] == "fan":
                found[e["id"]], k = x[k], k + 1
            elif e["type"] == "constant_flow_fan":
                found[e["id"]] = e["flow_set"]
            else:
                found[e["id"]] = flow_of(e, pressure(x, e["from"]) - pressure(x, e["to"]), s, lib)
        return found

    def by_flows(x):
        """Node imbalances, then one pressure balance an element. Unknowns: pressures / 100, flows."""
        p, q = 100.0 * x[: len(nodes)], x[len(nodes) :]
        out, more = [0.0] * len(nodes), []
        for e, flow in zip(elements, q):
            dp = pressure(p, e["from"]) - pressure(p, e["to"])
            if e["type"] == "fan":
                more.append((rise(e, flow, e["speed"]) + dp) / 100.0)
            elif e["type"] == "constant_flow_fan":
                more.append(flow - e["flow_set"])
            else:
                more.append((drop_of(e, flow, s) - dp) / 100.0)
            if e["from"] in at:
                out[at[e["from"]]] -= flow
            if e["to"] in at:
                out[at[e["to"]]] += flow
        return out + more

    guess = [net["_guess"].get(n, 0.0) for n in nodes] + [net["_guess"]["flow"]] * len(fans)
    # Newton-like methods stall where the slope at zero is steep: come from a wide s to the one asked.
    target, x = s, guess
    for s in (10.0, 1.0, 0.1, 0.01, 1e-3, 1e-4, 1e-5, 0.0):
        if s >= target:
            first = root(by_nodes, x, method="hybr", options={"xtol": 1e-13, "maxfev": 20000})
            x = first.x
    s = target
    # The second method starts from rough pressures and equal flows of its own.
    start = [net["_guess"].get(n, 0.0) / 100.0 for n in nodes] + [net["_guess"]["flow"] / 3.0] * len(elements)
    tight = {"xtol": 1e-15, "ftol": 1e-15, "gtol": 1e-15, "max_nfev": 20000}
    second = least_squares(by_flows, start, method="trf", x_scale="jac", **tight)
    mp.mp.dps = 40
    exact = newton(lambda x: by_nodes(x, mp), [mp.mpf(float(v)) for v in first.x])
    q = flows(exact, mp)
    scale = max(abs(float(v)) for v in q.values())
    one, two = flows(first.x), dict(zip([e["id"] for e in elements], second.x[len(nodes) :]))
    apart = [max(abs(float(q[i]) - float(m[i])) for i in q) / scale for m in (one, two)]
    assert max(apart) < 1e-8, (net["name"], s, apart)
    pressures = {n: float(exact[at[n]]) for n in nodes}
    answer = {"flows_m3s": clean({k: float(v) for k, v in q.items()}), "pressures_Pa": clean(pressures)}
    for e in elements:
        if e["type"] == "constant_flow_fan":
            everything = {**fixed, **pressures}
            needed = everything[e["to"]] - everything[e["from"]]
            speed = brentq(lambda v: rise(e, e["flow_set"], v) - needed, 1e-3, 5.0, xtol=1e-14)
            assert speed <= e["speed_max"], (net["name"], speed)
            answer["fan_speed"] = clean(speed)
    return answer


def newton(f, x):
    """Newton with difference quotients at 40 digits; quadratic enough from a double's start."""
    x = mp.matrix(x)
    for _ in range(12):
        y = mp.matrix(f(x))
        if max(abs(v) for v in y) < mp.mpf(10) ** -30:
            return list(x)
        n = len(x)
        jacobian = mp.matrix(n, n)
        for j in range(n):
            h = mp.mpf(10) ** -20 * (1 + abs(x[j]))
            moved = x.copy()
            moved[j] += h
            column = mp.matrix(f(moved))
            for i in range(n):
                jacobian[i, j] = (column[i] - y[i]) / h
        x = x - mp.lu_solve(jacobian, y)
    raise AssertionError("mpmath did not converge")


CURVE = (260.0, 0.0, -650.0, 0.0)
STEEP = (220.0, -40.0, -1200.0, 0.0)
CUBIC = (250.0, -20.0, -300.0, -500.0)


def network(name, description, fixed, elements, flow=0.3, **guess):
    named = {n for e in elements for n in (e["from"], e["to"])}
    unknown = sorted(named - set(fixed))
    rough = {n: 20.0 + 3.0 * i for i, n in enumerate(unknown)}
    rough.update({"ret": -10.0, "flow": flow, **guess})
    return {"name": name, "description": description, "fixed_pressures_Pa": fixed, "unknown_nodes": unknown,
            "elements": elements, "_guess": rough}  # fmt: skip


def networks():
    rooms = {"rooms": 0.0}
    back = power("return", "rooms", "ret", 220.0, 1.9)
    coil = power("coil", "sup", "plenum", 180.0, 1.7)
    three = branch(1, "plenum", "rooms", 0.2, 8.0, 1.0) + branch(2, "plenum", "rooms", 0.2, 12.0, 0.7)
    three += branch(3, "plenum", "rooms", 0.15, 6.0, 0.5, 900.0)
    all_shut = branch(1, "plenum", "rooms", 0.2, 8.0, 0.0) + branch(2, "plenum", "rooms", 0.2, 12.0, 0.0)
    all_shut += branch(3, "plenum", "rooms", 0.15, 6.0, 0.0, 900.0)
    quadratic = [power("duct", "sup", "rooms", 900.0, 2.0)]
    out = []
    for speed in (1.0, 0.8, 0.5):
        out.append(
            network(
                f"fan_law_speed_{speed:g}",
                "fan on a purely quadratic system: flow ∝ speed, pressure ∝ speed² (exactly so with dps_0)",
                rooms,
                [fan("fan", "rooms", "sup", STEEP, speed), *quadratic],
                flow=0.3 * speed,
            )
        )
    lq = [mixed("filter", "sup", "a", 60.0, 350.0), duct("trunk", "a", "b", 0.315, 15.0)]
    lq += [power("grille", "b", "rooms", 150.0, 2.0), back]
    out.append(network("fan_and_system", "filter with a linear and a quadratic part, trunk, grille, return", rooms,
                       [fan("fan", "ret", "sup", CUBIC), *lq], sup=100.0))  # fmt: skip
    series = [duct("d1", "sup", "a", 0.25, 10.0), damper("m1", "a", "b", 0.25, 0.6)]
    series += [duct("d2", "b", "c", 0.2, 5.0), damper("m2", "c", "d", 0.2, 0.8), power("grille", "d", "rooms", 300.0, 2.0)]
    out.append(network("series_two_dampers", "two sizes of duct and two dampers in series", rooms,
                       [fan("fan", "rooms", "sup", STEEP), *series], flow=0.2, sup=100.0))  # fmt: skip
    pair = [power("left", "sup", "rooms", 2000.0, 2.0), power("right", "sup", "rooms", 4000.0, 1.8)]
    pair.append(mixed("middle", "sup", "rooms", 200.0, 1500.0))
    out.append(network("parallel_three_laws", "three parallel paths of three laws", rooms,
                       [fan("fan", "rooms", "sup", CURVE), *pair]))  # fmt: skip
    out.append(network("plenum_three_branches", "coil, plenum, three branches, return; fan at 90 % speed", rooms,
                       [fan("fan", "ret", "sup", CURVE, 0.9), coil, *three, back]))  # fmt: skip
    out.append(network("all_dampers_closed", "every damper shut: only leakage flows, the fan nearly at shut-off", rooms,
                       [fan("fan", "ret", "sup", CURVE, 0.8), coil, *all_shut, back], flow=0.003, sup=166.0, plenum=166.0,
                       **{f"{i}{x}": 165.0 * (x == "a") + 0.1 for i in (1, 2, 3) for x in "ab"}, ret=-0.01))  # fmt: skip
    tree = [power("coil", "sup", "A", 180.0, 1.7), duct("trunk", "A", "B", 0.25, 6.0)]
    tree += branch(1, "A", "rooms", 0.2, 7.0, 0.35) + branch(2, "A", "rooms", 0.2, 9.0, 0.0)
    tree += branch(3, "B", "rooms", 0.2, 5.0, 0.8) + branch(4, "B", "rooms", 0.15, 6.0, 0.0, 900.0)
    for u in (0.0, 0.3, 1.0):
        relief = [duct("relief_duct", "A", "Ra", 0.2, 3.0), damper("relief", "Ra", "ret", 0.2, u)]
        out.append(network(f"tree_motorised_relief_{u:g}", f"trunk tree, relief damper {u:.0%} open from A to the return",
                           rooms, [fan("fan", "ret", "sup", CURVE), *tree, *relief, back], sup=120.0, A=90.0, B=80.0))  # fmt: skip
    # Opening pressures amid, above and below the drop from A to the return.
    for word, low, high in (("half_open", 90.0, 160.0), ("shut", 170.0, 230.0), ("wide_open", 15.0, 25.0)):
        blade = weighted("relief", "A", "ret", low, high, 2e-4, 0.012)
        out.append(network(f"tree_weighted_relief_{word}", f"trunk tree, weighted blade from A to the return, {word.replace('_', ' ')}",
                           rooms, [fan("fan", "ret", "sup", CURVE), *tree, blade, back], sup=120.0, A=90.0, B=80.0))  # fmt: skip
    pushed = {"rooms": 0.0, "kitchen": 45.0}
    low = branch(1, "plenum", "rooms", 0.2, 8.0, 1.0) + branch(2, "plenum", "rooms", 0.2, 12.0, 0.9)
    low += branch(3, "plenum", "kitchen", 0.15, 6.0, 0.8, 900.0)
    out.append(network("back_flow_from_a_room", "one room held at 45 Pa: its branch runs backwards into the plenum", pushed,
                       [fan("fan", "ret", "sup", CURVE, 0.6), coil, *low, back], flow=0.2))  # fmt: skip
    shut = branch(1, "plenum", "rooms", 0.2, 8.0, 0.0) + branch(2, "plenum", "rooms", 0.25, 12.0, 0.9, 250.0)
    shut += branch(3, "plenum", "rooms", 0.15, 6.0, 0.05, 900.0)
    leak = power("duct_leak", "plenum", "loft", 9000.0, 1.0 / 0.65)
    out.append(network("closed_dampers_and_leaking_duct", "one damper shut, one nearly so, one open; duct leakage n = 1/0.65 to a loft",
                       {"rooms": 0.0, "loft": -2.0}, [fan("fan", "ret", "sup", CURVE), coil, *shut, leak, back]))  # fmt: skip
    out.append(network("constant_flow_fan", "flow held at 0.30 m³/s: the pressures follow, then the speed", rooms,
                       [steady_fan("fan", "ret", "sup", CURVE, 0.3, 1.2), coil, *three, back], sup=90.0, plenum=60.0))  # fmt: skip
    zoned = branch(1, "plenum", "rooms", 0.2, 8.0, 1.0) + branch(2, "plenum", "rooms", 0.2, 12.0, 0.0)
    zoned += branch(3, "plenum", "rooms", 0.15, 6.0, 0.0, 900.0)
    blade = weighted("relief", "plenum", "ret", 60.0, 100.0, 2e-4, 0.015)
    out.append(network("constant_flow_fan_one_zone_weighted_relief", "flow held at 0.30 m³/s, one zone open, weighted blade to the return",
                       rooms, [steady_fan("fan", "ret", "sup", CURVE, 0.3, 1.5), coil, *zoned, blade, back], sup=130.0, plenum=90.0))  # fmt: skip
    dump = [duct("dump_duct", "plenum", "Da", 0.2, 4.0), damper("dump", "Da", "Db", 0.2, 0.45), power("dump_grille", "Db", "hall", 400.0, 2.0)]
    doors = [power("door1", "bed", "hall", 700.0, 2.0), power("hall_return", "hall", "ret", 220.0, 1.9), power("hall_cracks", "hall", "outside", 400.0, 1.0 / 0.65)]
    doors.append(power("duct_leak", "plenum", "outside", 40000.0, 1.0 / 0.65))
    fed = branch(1, "plenum", "bed", 0.2, 8.0, 0.8) + branch(2, "plenum", "hall", 0.15, 5.0, 0.3, 900.0)
    out.append(network("dump_to_a_hall", "surplus dumped into the hall, the bedroom returns under its door; the supply duct leaks outdoors, so the hall draws air in",
                       {"outside": 0.0}, [fan("fan", "ret", "sup", CURVE), coil, *fed, *dump, *doors], bed=5.0, hall=0.5))  # fmt: skip
    twins = [fan("fan1", "rooms", "s1", STEEP), fan("fan2", "rooms", "s2", CURVE, 0.85)]
    twins += [power("neck1", "s1", "plenum", 150.0, 2.0), power("neck2", "s2", "plenum", 150.0, 2.0), *three]
    out.append(network("two_fans_one_plenum", "two unlike fans side by side on one plenum", rooms, twins, flow=0.15, s1=110.0, s2=110.0, plenum=90.0))
    return out


def make():
    nets = networks()
    for net in nets:
        net["solution"] = {f"dps_{s:g}": solve(net, s) for s in (0.01, 0.0)}
        del net["_guess"]
    return {
        "meta": meta("air networks solved by three methods; laws at the top of networks.py", ["scipy", "numpy", "mpmath"]),
        "units": "SI: Pa, m³/s; constant density 1.2 kg/m³ (volume balance = mass balance)",
        "networks": nets,
    }
