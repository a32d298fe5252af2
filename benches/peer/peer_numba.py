"""The eight-room problem as tuned as a good Python user would get it: one compiled loop.

Nothing is allocated, the coil is found by Newton from its last surface temperature, saturation
comes from the formula, the network is solved only when a damper moved. Three ways of stepping:
Euler, the midpoint rule, and Runge-Kutta of fourth order; the last with eight steps a second, and
compared with sixteen, is the exact solution the others are held to. `longest` lets them take longer
steps while no damper moves, as this program does, should the user think of it.
"""

import json
import math
import sys
import time

import numpy as np
from numba import njit

import problem as p

SERVED, ROOMS, CP, RHO, PARTITION = p.SERVED, p.ROOMS, p.CP, p.RHO, p.PARTITION
C_AIR, C_CONTENTS, C_FABRIC = p.C_AIR, p.C_CONTENTS, p.C_FABRIC
AL, AF, LF, GLASS, OPAQUE = p.AL, p.AF, p.LF, p.GLASS, p.OPAQUE
GAIN_AIR, GAIN_CONTENTS, LEAK = p.GAIN_AIR, p.GAIN_CONTENTS, p.LEAK
VAPOUR, BUFFER, SEEP, MOISTURE = p.VAPOUR, p.BUFFER, p.SEEP, p.MOISTURE
DOOR, W_OUT = float(p.DOOR), p.W_OUT
BRANCH, DOORWAY, TRUNK, RETURN, RELIEF, INSIDE = (p.BRANCH, p.DOORWAY, p.TRUNK, p.RETURN,
                                                  p.RELIEF, p.INSIDE)
DAMPER, SHUT, FAN_SHUT_OFF, FAN_SQUARE, FAN_W = p.DAMPER, p.SHUT, p.FAN_SHUT_OFF, p.FAN_SQUARE, p.FAN_W
COIL_W, TRANSFER, MAP, PRESSURE = p.COIL_W, float(p.TRANSFER), p.MAP, p.PRESSURE
START_C, START_W = p.START_C, p.START_W


@njit(inline="always")
def outdoor_c(t):
    return 30.0 + 6.0 * math.cos(2 * math.pi * (t / 86_400.0 - 15.0 / 24.0))


@njit(inline="always")
def w_sat(t):
    k = t + 273.15
    if t < 0:
        ln = (-5674.5359 / k + 6.3925247 + k * (-0.009677843 + k * (6.2215701e-7
              + k * (2.0747825e-9 - k * 9.484024e-13))) + 4.1635019 * math.log(k))
        dln = (5674.5359 / (k * k) - 0.009677843 + k * (2 * 6.2215701e-7
               + k * (3 * 2.0747825e-9 - 4 * k * 9.484024e-13)) + 4.1635019 / k)
    else:
        ln = (-5800.2206 / k + 1.3914993 + k * (-0.048640239 + k * (4.1764768e-5
              - k * 1.4452093e-8)) + 6.5459673 * math.log(k))
        dln = (5800.2206 / (k * k) - 0.048640239 + k * (2 * 4.1764768e-5
               - 3 * k * 1.4452093e-8) + 6.5459673 / k)
    v = math.exp(ln)
    w = 0.621945 * v / (PRESSURE - v)
    return w, w * dln * PRESSURE / (PRESSURE - v)


@njit(inline="always")
def enthalpy(t, w):
    return 1006.0 * t + w * (2_501_000.0 + 1860.0 * t)


@njit
def network(opening, g, outlets):
    trunk = np.empty(2)
    below = np.empty(2)
    for i in range(2):
        total = 0.0
        for r in range(4 * i, min(4 * i + 4, SERVED)):
            g[r] = 1 / math.sqrt(BRANCH + DAMPER / (opening[r] * opening[r]) + DOORWAY)
            total += g[r]
        trunk[i] = total
        below[i] = 1 / math.sqrt(TRUNK + 1 / (total * total))
    both = below[0] + below[1]
    rooms = 1 / math.sqrt(RETURN + 1 / (both * both))
    relief = 1 / math.sqrt(RELIEF)
    loss = INSIDE + 1 / (rooms + relief) ** 2
    flow = math.sqrt(FAN_SHUT_OFF / (FAN_SQUARE + loss))
    through = flow * rooms / (rooms + relief)
    for r in range(SERVED):
        i = r // 4
        outlets[r] = through * below[i] / both * g[r] / trunk[i]
    return flow, flow - through


@njit
def coil(t_in, w_in, m, outdoor, speed, bypass, memory):
    contact = m * (1 - bypass)
    b = min(max(outdoor, 20.0), 44.0) - 35
    d = min(max(speed, 0.25), 1.2) - 1
    c = MAP
    k0 = (1 + d) * (c[0] + b * (c[3] + c[4] * b + c[9] * d) + d * (c[6] + c[7] * d))
    k1 = (1 + d) * (c[1] + c[5] * b + c[8] * d)
    k2 = (1 + d) * c[2]
    h_in = enthalpy(t_in, w_in)
    t = memory[0]
    for _ in range(50):
        ws, dws = w_sat(t)
        if ws > w_in:
            ws, dws = w_in, 0.0
        held = min(max(t, -2.0), 20.0)
        a = held - 12
        dq = (k1 + 2 * k2 * a) if held == t else 0.0
        f = contact * (h_in - enthalpy(t, ws)) - COIL_W * (k0 + a * (k1 + k2 * a))
        df = contact * (1006.0 + 1860.0 * ws + (2_501_000.0 + 1860.0 * t) * dws) + COIL_W * dq
        move = f / df
        t += move
        if abs(move) < 1e-8:
            break
    memory[0] = t
    ws = min(w_in, w_sat(t)[0])
    w = ws + bypass * (w_in - ws)
    h = enthalpy(t, ws)
    h += bypass * (h_in - h)
    return (h - w * 2_501_000.0) / (1006.0 + 1860.0 * w), w


@njit
def supply(t, hall_c, hall_w, flow, relief, speed, last_c, last_w, bypass, memory):
    m = RHO * flow
    share = relief / flow
    w = hall_w + share * (last_w - hall_w)
    h = enthalpy(hall_c, hall_w)
    h += share * (enthalpy(last_c, last_w) - h)
    inlet = (h - w * 2_501_000.0) / (1006.0 + 1860.0 * w)
    inlet, w = coil(inlet, w, m, outdoor_c(t), speed, bypass, memory)
    return inlet + FAN_W / (m * CP), w


@njit
def slope(t, y, flow, outlets, relief, speed, last_c, last_w, bypass, memory, out):
    outdoor = outdoor_c(t)
    sol = outdoor + 12.0 * max(0.0, math.sin(2 * math.pi * (t / 86_400.0 - 0.25)))
    n = ROOMS
    supply_c, supply_w = supply(t, y[0], y[3 * n], flow, relief, speed, last_c, last_w,
                                bypass, memory)
    hall_a, hall_f, hall_v = 0.0, 0.0, 0.0
    for r in range(n):
        a, l, f, v, b = y[r], y[n + r], y[2 * n + r], y[3 * n + r], y[4 * n + r]
        al, af, lf = AL[r] * (a - l), AF[r] * (a - f), LF[r] * (l - f)
        da = GAIN_AIR[r] + (GLASS[r] + LEAK[r] * CP) * (outdoor - a) - al - af
        df = OPAQUE[r] * (sol - f) + af + lf
        seep = SEEP[r] * (v - b)
        dv = MOISTURE[r] + LEAK[r] * (W_OUT - v) - seep
        if r > 0:
            wall = PARTITION * (f - y[2 * n])
            df -= wall
            hall_f += wall
            m = RHO * outlets[r - 1]
            both = RHO * DOOR * math.sqrt(abs(a - y[0]))
            back = max(0.0, both - 0.5 * m)
            forth = back + m
            da += m * CP * (supply_c - a) + back * CP * (y[0] - a)
            dv += m * (supply_w - v) + back * (y[3 * n] - v)
            hall_a += forth * CP * (a - y[0])
            hall_v += forth * (v - y[3 * n])
        out[r] = da / C_AIR[r]
        out[n + r] = (GAIN_CONTENTS[r] + al - lf) / C_CONTENTS[r]
        out[2 * n + r] = df / C_FABRIC[r]
        out[3 * n + r] = dv / VAPOUR[r]
        out[4 * n + r] = seep / BUFFER[r]
    out[0] += hall_a / C_AIR[0]
    out[2 * n] += hall_f / C_FABRIC[0]
    out[3 * n] += hall_v / VAPOUR[0]


@njit
def run(seconds, order, per_second, longest, hourly):
    n = 5 * ROOMS
    y = np.empty(n)
    y[: 3 * ROOMS] = START_C
    y[3 * ROOMS:] = START_W
    opening = np.full(SERVED, SHUT)
    target = np.zeros(SERVED)
    g, outlets, memory = np.zeros(SERVED), np.zeros(SERVED), np.array([12.0])
    k1, k2, k3, k4, z = np.empty(n), np.empty(n), np.empty(n), np.empty(n), np.empty(n)
    last_c, last_w = START_C, START_W
    flow, relief, bypass, speed = 0.0, 0.0, 0.0, 0.0
    before_c, before_w, before_s, last_s = START_C, START_W, -2.0, -1.0
    second = 0
    while second < seconds:
        if second % 60 == 0:
            total = 0.0
            for r in range(SERVED):
                target[r] = min(max((y[r + 1] - 21.0) / 6.0, SHUT), 1.0)
                total += target[r]
            speed = 0.4 + 0.6 * total / SERVED
        moved = second == 0
        for r in range(SERVED):
            to = min(max(target[r], opening[r] - 1 / 60), opening[r] + 1 / 60)
            moved = moved or to != opening[r]
            opening[r] = to
        if moved:
            flow, relief = network(opening, g, outlets)
            bypass = math.exp(-TRANSFER / (RHO * flow))
        rest = True
        for r in range(SERVED):
            rest = rest and opening[r] == target[r]
        whole = min(longest, 60 - second % 60) if rest else 1
        h = whole / per_second
        # Relief air left the coil at the beginning of the second before.
        on = (second + 0.5 * whole - 1.5 - last_s) / (last_s - before_s)
        was_c = last_c + on * (last_c - before_c)
        was_w = last_w + on * (last_w - before_w)
        before_s, before_c, before_w, last_s = last_s, last_c, last_w, float(second)
        last_c, last_w = supply(second, y[0], y[3 * ROOMS], flow, relief, speed, was_c, was_w,
                                bypass, memory)
        for part in range(per_second):
            t = second + part * h
            slope(t, y, flow, outlets, relief, speed, was_c, was_w, bypass, memory, k1)
            if order == 1:
                for i in range(n):
                    y[i] += h * k1[i]
                continue
            for i in range(n):
                z[i] = y[i] + 0.5 * h * k1[i]
            slope(t + 0.5 * h, z, flow, outlets, relief, speed, was_c, was_w, bypass, memory, k2)
            if order == 2:
                for i in range(n):
                    y[i] += h * k2[i]
                continue
            for i in range(n):
                z[i] = y[i] + 0.5 * h * k2[i]
            slope(t + 0.5 * h, z, flow, outlets, relief, speed, was_c, was_w, bypass, memory, k3)
            for i in range(n):
                z[i] = y[i] + h * k3[i]
            slope(t + h, z, flow, outlets, relief, speed, was_c, was_w, bypass, memory, k4)
            for i in range(n):
                y[i] += h / 6 * (k1[i] + 2 * k2[i] + 2 * k3[i] + k4[i])
        second += whole
        if second % 3600 == 0:
            hourly[second // 3600 - 1, :] = y[:ROOMS]


def timed(name, seconds, order, per_second, longest=1, repeat=5):
    hourly = np.zeros((seconds // 3600, ROOMS))
    run(10, order, per_second, longest, hourly)
    best = math.inf
    for _ in range(repeat):
        begin = time.perf_counter()
        run(seconds, order, per_second, longest, hourly)
        best = min(best, time.perf_counter() - begin)
    return {"name": name, "steps_s": seconds / best, "hourly": hourly.tolist()}


if __name__ == "__main__":
    seconds = int(sys.argv[1])
    print(json.dumps([
        timed("numba, Euler", seconds, 1, 1),
        timed("numba, midpoint rule", seconds, 2, 1),
        timed("numba, Runge-Kutta 4", seconds, 4, 1),
        timed("numba, midpoint rule, quiet stretches of 5 s", seconds, 2, 1, 5),
        timed("numba, midpoint rule, quiet stretches of 15 s", seconds, 2, 1, 15),
        timed("numba, midpoint rule, quiet stretches of 30 s", seconds, 2, 1, 30),
        timed("exact: Runge-Kutta 4 at 1/8 s", seconds, 4, 8, repeat=1),
        timed("exact: Runge-Kutta 4 at 1/16 s", seconds, 4, 16, repeat=1),
    ]))
