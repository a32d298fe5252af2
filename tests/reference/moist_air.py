"""Moist air: real gas (CoolProp) and the ASHRAE perfect-gas formulae, side by side.

The perfect-gas column is our own transcription of ASHRAE Handbook of Fundamentals ch. 1 (saturation
pressure after Hyland and Wexler), inverted by bracketing to 1e-12. Its saturation pressure, humidity
ratio and enthalpy are held to PsychroLib to 1e-9 here; PsychroLib's wet bulb and dew point stop at
0.001 K, so they are held to 0.002 K. Relative humidity is over ice below 0 °C in both columns.
Where CoolProp finds no solution its entry is null. The water form and the ice form of the wet-bulb
equation overlap: in a few states near 0 °C both are fulfilled, and the second stands in the last column.
"""

import math

import psychrolib
from CoolProp.HumidAirProp import HAPropsSI
from scipy.optimize import brentq

from common import clean, meta

TEMPERATURES_C = [-10, -7, -3, 2, 5, 10, 15, 20, 24, 27, 31, 35, 40, 45]
HUMIDITIES = [0.05, 0.15, 0.30, 0.40, 0.50, 0.60, 0.75, 0.90, 1.00]
ALTITUDES_M = [0.0, 1600.0]
RATIO = 0.621945


def standard_pressure(z):
    return 101325.0 * (1.0 - 2.25577e-5 * z) ** 5.2559


def saturation(t_c):
    t = t_c + 273.15
    if t_c < 0.0:
        return math.exp(
            -5674.5359 / t + 6.3925247 - 9.677843e-3 * t + 6.2215701e-7 * t**2
            + 2.0747825e-9 * t**3 - 9.484024e-13 * t**4 + 4.1635019 * math.log(t)
        )
    return math.exp(
        -5800.2206 / t + 1.3914993 - 4.8640239e-2 * t + 4.1764768e-5 * t**2
        - 1.4452093e-8 * t**3 + 6.5459673 * math.log(t)
    )


def humidity_ratio(rh, t_c, p):
    vapour = rh * saturation(t_c)
    return RATIO * vapour / (p - vapour)


def enthalpy(t_c, w):
    return 1000.0 * (1.006 * t_c + w * (2501.0 + 1.86 * t_c))


def volume(t_c, w, p):
    return 287.042 * (t_c + 273.15) * (1.0 + 1.607858 * w) / p


def dew_point(vapour_pa):
    """Inverse of `saturation`; a pressure in the 0.01 % gap at 0 °C gives 0 °C."""
    if vapour_pa >= saturation(0.0):
        return brentq(lambda t: saturation(t) - vapour_pa, 0.0, 100.0, xtol=1e-12)
    if vapour_pa >= saturation(-1e-13):
        return 0.0
    return brentq(lambda t: saturation(t) - vapour_pa, -90.0, -1e-13, xtol=1e-12)


def wet_bulbs(t_c, w, p):
    """Every wet bulb that fulfils the formulae: over water, over ice, and near 0 °C now and then both."""

    def over_water(wet):
        return ((2501.0 - 2.326 * wet) * humidity_ratio(1.0, wet, p) - 1.006 * (t_c - wet)) / (
            2501.0 + 1.86 * t_c - 4.186 * wet
        ) - w

    def over_ice(wet):
        return ((2830.0 - 0.24 * wet) * humidity_ratio(1.0, wet, p) - 1.006 * (t_c - wet)) / (
            2830.0 + 1.86 * t_c - 2.1 * wet
        ) - w

    roots = []
    if t_c >= 0.0 and over_water(0.0) <= 0.0:
        roots.append(brentq(over_water, 0.0, t_c + 1e-9, xtol=1e-12))
    low, high = dew_point(w * p / (RATIO + w)) - 1e-6, min(t_c + 1e-9, -1e-13)
    if low < high and over_ice(high) > 0.0:
        roots.append(brentq(over_ice, low, high, xtol=1e-12))
    return roots


def real(output, t_c, rh, p):
    try:
        return HAPropsSI(output, "T", t_c + 273.15, "R", rh, "P", p)
    except ValueError:
        return float("nan")


def make():
    psychrolib.SetUnitSystem(psychrolib.SI)
    rows = []
    for z in ALTITUDES_M:
        p = standard_pressure(z)
        for t in TEMPERATURES_C:
            for rh in HUMIDITIES:
                w = humidity_ratio(rh, t, p)
                h = enthalpy(t, w)
                wet = [t] if rh == 1.0 else wet_bulbs(t, w, p)
                dew = t if rh == 1.0 else dew_point(rh * saturation(t))
                assert abs(psychrolib.GetHumRatioFromRelHum(t, rh, p) / w - 1.0) < 1e-9
                assert abs(psychrolib.GetMoistAirEnthalpy(t, w) / h - 1.0) < 1e-9
                assert min(abs(psychrolib.GetTWetBulbFromHumRatio(t, w, p) - x) for x in wet) < 2e-3
                assert abs(psychrolib.GetTDewPointFromRelHum(t, rh) - dew) < 2e-3, (t, rh)
                rows.append(
                    [t, rh, p]
                    + [real("W", t, rh, p), real("H", t, rh, p)]
                    + [real("Twb", t, rh, p) - 273.15, real("Tdp", t, rh, p) - 273.15]
                    + [real("Vda", t, rh, p)]
                    + [w, h, wet[0], dew, volume(t, w, p), wet[1] if len(wet) > 1 else None]
                )
    return {
        "meta": meta(
            "moist air on a grid: CoolProp real gas, and ASHRAE perfect-gas formulae (own, checked "
            "against PsychroLib)",
            ["CoolProp", "PsychroLib", "scipy"],
            units="°C, fraction, Pa, kg/kg dry air, J/kg dry air, m³/kg dry air",
        ),
        "columns": ["t_c", "rh", "p_pa"]
        + ["w_real", "h_real", "wet_bulb_real_c", "dew_point_real_c", "v_real"]
        + ["w", "h", "wet_bulb_c", "dew_point_c", "v", "wet_bulb_over_ice_c"],
        "saturation_pa": [[t, clean(saturation(t))] for t in range(-40, 61, 5)],
        "rows": clean(rows),
    }
