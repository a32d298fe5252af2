"""Duct friction from the `fluids` library: Colebrook's equation, laminar flow, rectangular ducts.

Friction factors are Darcy's. Colebrook by fluids (Method="Colebrook") is held to our own solution by
bracketing to 1e-10. Reynolds numbers between 2000 and 4000 have no accepted value: left out.
"""

import math

import fluids
from scipy.optimize import brentq

from common import clean, meta

RHO, MU = 1.2, 1.81e-5
DIAMETERS_M = [0.1, 0.125, 0.15, 0.16, 0.2, 0.25, 0.315, 0.4, 0.45, 0.5]
VELOCITIES_M_S = [0.05, 0.12, 0.8, 1.5, 2.5, 3.5, 4.5, 6.0, 8.0, 12.0]
GALVANISED_M = 9e-5
ROUGHNESSES_M = [0.0, 1.5e-6, 3e-5, 1.5e-4, 9e-4, 3e-3]
SIDES_M = [(0.1, 0.1), (0.3, 0.2), (0.4, 0.15), (0.25, 0.25), (0.6, 0.2), (0.8, 0.2), (0.5, 0.3), (0.45, 0.1)]


def own_colebrook(re, relative):
    def g(x):
        return x + 2.0 * math.log10(relative / 3.7 + 2.51 * x / re)

    return brentq(g, 1.0, 30.0, xtol=1e-14, rtol=1e-15) ** -2


def row(diameter, flow, roughness):
    v = flow / (math.pi * diameter**2 / 4.0)
    re = RHO * v * diameter / MU
    relative = roughness / diameter
    laminar = re < 2000.0
    if not laminar and re < 4000.0:
        return None
    f = fluids.friction_factor(re, relative, Method="Laminar" if laminar else "Colebrook")
    own = 64.0 / re if laminar else own_colebrook(re, relative)
    assert abs(f / own - 1.0) < 1e-10, (re, relative, f, own)
    haaland = None if laminar else fluids.friction_factor(re, relative, Method="Haaland")
    return [diameter, flow, roughness, v, re, f, haaland, f / diameter * 0.5 * RHO * v * v]


def rectangle(a, b, flow):
    hydraulic = 2.0 * a * b / (a + b)
    huebscher = 1.30 * (a * b) ** 0.625 / (a + b) ** 0.25
    v = flow / (a * b)
    re = RHO * v * hydraulic / MU
    f = fluids.friction_factor(re, GALVANISED_M / hydraulic, Method="Colebrook")
    return [a, b, flow, hydraulic, huebscher, v, re, f, f / hydraulic * 0.5 * RHO * v * v]


def make():
    flows = [(d, v * math.pi * d * d / 4.0) for d in DIAMETERS_M for v in VELOCITIES_M_S]
    round_rows = [r for d, q in flows if (r := row(d, q, GALVANISED_M))]
    rough = [r for e in ROUGHNESSES_M for d in (0.15, 0.25) for q in (0.03, 0.1) if (r := row(d, q, e))]
    return {
        "meta": meta(
            "duct friction: fluids, Colebrook and laminar (Darcy f); Haaland beside it; "
            "rectangular ducts by hydraulic diameter, Huebscher's round equivalent beside it",
            ["fluids", "scipy"],
            rho_kg_m3=RHO,
            mu_pa_s=MU,
        ),
        "columns": ["diameter_m", "flow_m3_s", "roughness_m", "velocity_m_s", "reynolds", "friction_factor"]
        + ["haaland", "pa_per_m"],
        "round": clean(round_rows),
        "roughness": clean(rough),
        "rectangular_columns": ["a_m", "b_m", "flow_m3_s", "hydraulic_diameter_m", "huebscher_m"]
        + ["velocity_m_s", "reynolds", "friction_factor", "pa_per_m"],
        "rectangular": clean([rectangle(a, b, v * a * b) for a, b in SIDES_M for v in (1.5, 3.0, 5.0)]),
    }
