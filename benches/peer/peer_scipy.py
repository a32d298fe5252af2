"""The eight-room problem as one would write it with numpy and scipy.

`brentq` finds the fan's flow through the collapsed duct tree and the coil's surface temperature,
`solve_ivp` integrates over each second. Euler's method by hand is the cheapest that is still as
accurate as the parts it is compared with.
"""

import json
import sys
import time

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from problem import *


def w_sat(t):
    """Saturated air over water or ice (Hyland and Wexler)."""
    k = t + 273.15
    if t < 0:
        ln = (-5674.5359 / k + 6.3925247 + k * (-0.009677843 + k * (6.2215701e-7
              + k * (2.0747825e-9 - k * 9.484024e-13))) + 4.1635019 * np.log(k))
    else:
        ln = (-5800.2206 / k + 1.3914993 + k * (-0.048640239 + k * (4.1764768e-5
              - k * 1.4452093e-8)) + 6.5459673 * np.log(k))
    p = np.exp(ln)
    return 0.621945 * p / (PRESSURE - p)


def enthalpy(t, w):
    return 1006.0 * t + w * (2_501_000.0 + 1860.0 * t)


def network(opening):
    """Flow of the fan, of each outlet and of the relief, m3/s."""
    b = BRANCH + DAMPER / opening**2 + DOORWAY
    g = 1 / np.sqrt(b)
    trunks = [g[:4], g[4:]]
    below = [1 / np.sqrt(TRUNK + 1 / t.sum() ** 2) for t in trunks]
    rooms = 1 / np.sqrt(RETURN + 1 / sum(below) ** 2)
    relief = 1 / np.sqrt(RELIEF)
    loss = INSIDE + 1 / (rooms + relief) ** 2
    flow = brentq(lambda q: FAN_SHUT_OFF - FAN_SQUARE * q * q - loss * q * q, 0, 1)
    through = flow * rooms / (rooms + relief)
    outlets = [through * below[i] / sum(below) * t / t.sum() for i, t in enumerate(trunks)]
    return flow, np.concatenate(outlets), flow - through


def coil(t_in, w_in, m, outdoor, speed):
    """Leaving air of the cooling coil."""
    bypass = np.exp(-TRANSFER / m)
    contact = m * (1 - bypass)
    b = np.clip(outdoor, 20, 44) - 35
    d = np.clip(speed, 0.25, 1.2) - 1
    c = MAP

    def surplus(t):
        a = np.clip(t, -2, 20) - 12
        q = (1 + d) * (c[0] + c[1] * a + c[2] * a * a + c[3] * b + c[4] * b * b + c[5] * a * b
                       + c[6] * d + c[7] * d * d + c[8] * a * d + c[9] * b * d)
        return contact * (enthalpy(t_in, w_in) - enthalpy(t, min(w_in, w_sat(t)))) - COIL_W * q

    surface = brentq(surplus, -10, t_in - 0.01, xtol=1e-8)
    w_surface = min(w_in, w_sat(surface))
    w = w_surface + bypass * (w_in - w_surface)
    h = enthalpy(surface, w_surface)
    h += bypass * (enthalpy(t_in, w_in) - h)
    return (h - w * 2_501_000.0) / (1006.0 + 1860.0 * w), w


def supply(t, hall_c, hall_w, held):
    """Air to the rooms, from hall air mixed with the relief's."""
    flow, _, relief, speed, last = held
    m = RHO * flow
    share = relief / flow
    w = hall_w + share * (last[1] - hall_w)
    h = enthalpy(hall_c, hall_w)
    h += share * (enthalpy(*last) - h)
    inlet = (h - w * 2_501_000.0) / (1006.0 + 1860.0 * w)
    inlet, w = coil(inlet, w, m, outdoor_c(t), speed)
    return inlet + FAN_W / (m * CP), w


def slope(t, y, held):
    air, contents, fabric, vapour, buffer = y.reshape(5, ROOMS)
    to_contents = AL * (air - contents)
    to_fabric = AF * (air - fabric)
    from_contents = LF * (contents - fabric)
    outdoor = outdoor_c(t)
    da = GAIN_AIR + (GLASS + LEAK * CP) * (outdoor - air) - to_contents - to_fabric
    dl = GAIN_CONTENTS + to_contents - from_contents
    df = OPAQUE * (sol_air_c(t) - fabric) + to_fabric + from_contents
    wall = PARTITION * (fabric[1:] - fabric[0])
    df[1:] -= wall
    df[0] += wall.sum()
    seep = SEEP * (vapour - buffer)
    dv = MOISTURE + LEAK * (W_OUT - vapour) - seep
    m = RHO * held[1]
    supply_c, supply_w = supply(t, air[0], vapour[0], held)
    da[1:] += m * CP * (supply_c - air[1:])
    dv[1:] += m * (supply_w - vapour[1:])
    both = RHO * DOOR * np.sqrt(np.abs(air[1:] - air[0]))
    back = np.maximum(0.0, both - 0.5 * m)
    forth = back + m
    da[1:] += back * CP * (air[0] - air[1:])
    da[0] += (forth * CP * (air[1:] - air[0])).sum()
    dv[1:] += back * (vapour[0] - vapour[1:])
    dv[0] += (forth * (vapour[1:] - vapour[0])).sum()
    return np.concatenate([da / C_AIR, dl / C_CONTENTS, df / C_FABRIC, dv / VAPOUR, seep / BUFFER])


def run(seconds, by_hand):
    y = np.concatenate([np.full(3 * ROOMS, START_C), np.full(2 * ROOMS, START_W)])
    opening = np.full(SERVED, SHUT)
    last = (START_C, START_W)
    hourly = []
    for t in range(seconds):
        if t % 60 == 0:
            target = np.clip((y[1:ROOMS] - 21.0) / 6.0, SHUT, 1.0)
            speed = 0.4 + 0.6 * target.mean()
        moved = np.clip(target, opening - 1 / 60, opening + 1 / 60)
        if t == 0 or (moved != opening).any():
            opening = moved
            flow, outlets, relief = network(opening)
        held = (flow, outlets, relief, speed, last)
        last = supply(t, y[0], y[3 * ROOMS], held)
        if by_hand:
            y = y + slope(t, y, held)
        else:
            y = solve_ivp(slope, (t, t + 1), y, args=(held,), method="RK23", rtol=1e-3,
                          atol=1e-3, first_step=1.0).y[:, -1]
        if (t + 1) % 3600 == 0:
            hourly.append(y[:ROOMS].tolist())
    return hourly


def timed(name, seconds, by_hand):
    begin = time.perf_counter()
    hourly = run(seconds, by_hand)
    spent = time.perf_counter() - begin
    return {"name": name, "steps_s": seconds / spent, "hourly": hourly}


if __name__ == "__main__":
    seconds = int(sys.argv[1])
    print(json.dumps([
        timed("numpy and scipy: solve_ivp between readings, brentq", seconds, False),
        timed("numpy and scipy: Euler by hand, brentq", seconds, True),
    ]))
