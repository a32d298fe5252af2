"""Predicted mean vote: pythermalcomfort on a quasi-random grid, and ISO 7730 (2005) Table D.1.

Beside the library's PMV stands our own solution with the clothing temperature found by bracketing to
1e-12: the algorithm of Annex D stops iterating at 0.015 K, so it may differ from the exact solution.
Table D.1: printed values from a published data set; row 7 is printed 0.50 / 10 in the 2005 table as
remembered, while the standard's own algorithm gives 0.36 / 8; the algorithm's figure stands here.
"""

import math
import warnings

from pythermalcomfort.models import pmv_ppd_iso
from pythermalcomfort.utilities import operative_tmp
from scipy.optimize import brentq
from scipy.stats import qmc

from common import clean, meta

TABLE_D1 = [
    [22.0, 22.0, 0.10, 60, 1.2, 0.5, -0.75, 17],
    [27.0, 27.0, 0.10, 60, 1.2, 0.5, 0.77, 17],
    [27.0, 27.0, 0.30, 60, 1.2, 0.5, 0.44, 9],
    [23.5, 25.5, 0.10, 60, 1.2, 0.5, -0.01, 5],
    [23.5, 25.5, 0.30, 60, 1.2, 0.5, -0.55, 11],
    [19.0, 19.0, 0.10, 40, 1.2, 1.0, -0.60, 13],
    [23.5, 23.5, 0.10, 40, 1.2, 1.0, 0.36, 8],
    [23.5, 23.5, 0.30, 40, 1.2, 1.0, 0.12, 5],
    [23.0, 21.0, 0.10, 40, 1.2, 1.0, 0.05, 5],
    [23.0, 21.0, 0.30, 40, 1.2, 1.0, -0.16, 6],
    [22.0, 22.0, 0.10, 60, 1.6, 0.5, 0.05, 5],
    [27.0, 27.0, 0.10, 60, 1.6, 0.5, 1.17, 34],
    [27.0, 27.0, 0.30, 60, 1.6, 0.5, 0.95, 24],
]


def vapour_pressure(t_c, rh_percent):
    """The saturation formula of ISO 7730 Annex D, Pa."""
    return rh_percent * 10.0 * math.exp(16.6536 - 4030.183 / (t_c + 235.0))


def exact(ta, tr, v, pa, met, clo):
    """PMV, PPD and clothing temperature from equations (1) to (5) of ISO 7730, no external work."""
    m, icl = 58.15 * met, 0.155 * clo
    fcl = 1.0 + 1.290 * icl if icl <= 0.078 else 1.05 + 0.645 * icl

    def dry_loss(tcl):
        hc = max(2.38 * abs(tcl - ta) ** 0.25, 12.1 * math.sqrt(v))
        return 3.96e-8 * fcl * ((tcl + 273.0) ** 4 - (tr + 273.0) ** 4) + fcl * hc * (tcl - ta)

    tcl = brentq(lambda t: t - (35.7 - 0.028 * m - icl * dry_loss(t)), -60.0, 120.0, xtol=1e-12)
    sweat = 0.42 * (m - 58.15) if m > 58.15 else 0.0
    loss = 3.05e-3 * (5733.0 - 6.99 * m - pa) + sweat + 1.7e-5 * m * (5867.0 - pa)
    loss += 0.0014 * m * (34.0 - ta) + dry_loss(tcl)
    pmv = (0.303 * math.exp(-0.036 * m) + 0.028) * (m - loss)
    return pmv, 100.0 - 95.0 * math.exp(-0.03353 * pmv**4 - 0.2179 * pmv**2), tcl


def library(ta, tr, v, rh, met, clo, limit=False):
    r = pmv_ppd_iso(
        tdb=ta, tr=tr, vr=v, rh=rh, met=met, clo=clo, model="7730-2005", limit_inputs=limit, round_output=False
    )
    return float(r.pmv), float(r.ppd)


def make():
    warnings.filterwarnings("ignore", module="pythermalcomfort")  # says which inputs it refuses
    grid, worst = [], 0.0
    for u in qmc.Halton(6, scramble=False).random(501)[1:]:
        ta, tr, v = 10 + 20 * u[0], 10 + 30 * u[1], u[2]
        met, clo = 0.8 + 3.2 * u[4], 2.0 * u[5]
        # Humidity up to saturation, but not above the 2700 Pa of the standard.
        rh = u[3] * min(100.0, 270000.0 / vapour_pressure(ta, 100.0))
        ta, tr, v, rh, met, clo = (round(float(x), 4) for x in (ta, tr, v, rh, met, clo))
        pa = vapour_pressure(ta, rh)
        pmv, ppd = library(ta, tr, v, rh, met, clo)
        own, own_ppd, tcl = exact(ta, tr, v, pa, met, clo)
        worst = max(worst, abs(pmv - own))
        valid = not math.isnan(library(ta, tr, v, rh, met, clo, limit=True)[0])
        grid.append([ta, tr, v, rh, met, clo, pa, pmv, ppd, valid, own, own_ppd, tcl])
    table = []
    for line in TABLE_D1:
        pmv, ppd = library(*line[:6])
        own = exact(*line[:3], vapour_pressure(line[0], line[3]), *line[4:6])
        table.append(line + [pmv, ppd, own[0], own[1]])
    operative = []
    for ta, tr, v in [(26, 22, 0.05), (26, 22, 0.3), (26, 22, 0.8), (21, 25, 0.1), (24, 24, 0.2), (23, 29, 0.6)]:
        operative.append([ta, tr, v] + [float(operative_tmp(ta, tr, v, standard=s)) for s in ("ISO", "ASHRAE")])
    return {
        "meta": meta(
            "PMV and PPD by pythermalcomfort 7730-2005 (unlimited inputs, unrounded) and by our own exact "
            "solution of the same equations; operative temperature",
            ["pythermalcomfort", "scipy"],
            worst_difference_library_exact=clean(worst, 3),
            valid="whether the library accepts the inputs as inside the standard's range",
        ),
        "columns": ["t_air_c", "t_radiant_c", "air_speed_m_s", "rh_percent", "met", "clo", "vapour_pa"]
        + ["pmv", "ppd", "valid", "pmv_exact", "ppd_exact", "t_clothing_c"],
        "grid": clean(grid),
        "table_d1_columns": ["t_air_c", "t_radiant_c", "air_speed_m_s", "rh_percent", "met", "clo"]
        + ["pmv_printed", "ppd_printed", "pmv", "ppd", "pmv_exact", "ppd_exact"],
        "table_d1": clean(table),
        "operative_columns": ["t_air_c", "t_radiant_c", "air_speed_m_s", "iso_7726_c", "ashrae_55_c"],
        "operative": clean(operative),
    }
