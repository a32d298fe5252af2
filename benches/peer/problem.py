"""The eight-room problem that all peers solve: a hall and seven rooms in a hot day.

Once a minute every room's thermostat gives its damper an opening in proportion to the temperature
above 21 degC (fully open at 27), and the compressor a speed in proportion to their mean. Dampers move by at most 1/60
of their travel a second, at whole seconds, and flows follow. In between, everything obeys ordinary
differential equations: three heat stores and two moisture stores a room, doorway exchange with the
hall, the coil by its surface temperature. (Control by on and off would not do here: a start that
comes one second sooner or later shifts every later one, and errors would measure luck.) The figures
stand for an ordinary house; `benches/peer.rs` repeats them.
"""

import numpy as np

SERVED = 7
ROOMS = SERVED + 1
CP = 1006.0 + 1860.0 * 0.009
RHO = 1.2
AREA = np.array([13.0, 12.0, 14.0, 16.0, 12.0, 14.0, 16.0, 12.0])
C_AIR, C_CONTENTS, C_FABRIC = 2950.0 * AREA, 25_000.0 * AREA, 140_000.0 * AREA
AL, AF, LF = 3.0 * AREA, 11.0 * AREA, 3.7 * AREA
GLASS, OPAQUE, PARTITION = 1.5 * AREA, 1.2 * AREA, 25.0
GAIN_AIR, GAIN_CONTENTS = 6.0 * AREA, 6.0 * AREA
LEAK = 2.5e-4 * AREA  # kg/s
VAPOUR, BUFFER, SEEP = 2.88 * AREA, 20.0 * AREA, 0.002 * AREA
MOISTURE = 1.2e-6 * AREA
# (Cd/3) W sqrt(g H^3 / T), m3/s per sqrt(K), for a door of 0.8 m by 2.0 m
DOOR = 0.6 / 3 * 0.8 * np.sqrt(9.80665 * 2.0**3 / 296.15)
W_OUT = 0.011
# Resistances, Pa/(m3/s)^2
BRANCH, DOORWAY, TRUNK, RETURN, RELIEF, INSIDE = 2500.0, 1.0, 40.0, 60.0, 60_000.0, 60.0
DAMPER, SHUT = 300.0, 0.1
FAN_SHUT_OFF, FAN_SQUARE = 230.0, 480.0
FAN_W = 150.0
COIL_W = 9000.0
COIL_KG_S = 0.0602 * COIL_W / 1000.0
TRANSFER = -np.log(0.15) * COIL_KG_S
MAP = (0.995174, 0.0274803, 2.73466e-4, -0.00878531, -3.14266e-5, -1.86957e-4,
       -0.211962, 0.0454962, -0.00976275, 0.00133003)
PRESSURE = 101_325.0
DAY_S = 86_400
START_C, START_W = 27.0, 0.010


def outdoor_c(t):
    return 30.0 + 6.0 * np.cos(2 * np.pi * (t / 86_400.0 - 15.0 / 24.0))


def sol_air_c(t):
    return outdoor_c(t) + 12.0 * max(0.0, np.sin(2 * np.pi * (t / 86_400.0 - 0.25)))
