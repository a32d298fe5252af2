"""Sun and weather from pvlib: solar position, irradiance on windows, statistics of a TMY3 file.

Nothing of the TMY3 file itself is kept but a few check values; it lies in the pvlib package. Its path:

    OPENSHUT_TMY3=$(python tests/reference/sun.py --tmy3-path) cargo test
"""

import csv
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib

from common import clean, meta

PLACES = {
    "Sydney": (-33.8688, 151.2093),
    "Brisbane": (-27.4698, 153.0251),
    "Melbourne": (-37.8136, 144.9631),
    "Phoenix": (33.4484, -112.0740),
    "London": (51.5074, -0.1278),
    "Singapore": (1.3521, 103.8198),
}
DATES = ["2024-02-29", "2025-12-21", "2026-03-20", "2026-06-21", "2026-09-07", "2026-11-25"]
# At about local noon, forenoon, afternoon and in the night: hours of mean solar time.
SOLAR_HOURS = [8.0, 12.0, 15.5, 23.0]
YEAR_PLACE = "Brisbane"
ALBEDO = 0.2


def position(lat, lon, times):
    p = pvlib.solarposition.get_solarposition(
        times, lat, lon, altitude=0.0, pressure=101325.0, temperature=12.0, method="nrel_numpy", delta_t=67.0
    )
    return p[["zenith", "apparent_zenith", "azimuth", "equation_of_time"]]


def positions():
    rows = []
    for place, (lat, lon) in PLACES.items():
        for date in DATES:
            for hour in SOLAR_HOURS:
                utc = pd.Timestamp(date, tz="UTC") + pd.Timedelta(hours=hour - lon / 15.0)
                utc = utc.round("min")
                p = position(lat, lon, pd.DatetimeIndex([utc])).iloc[0]
                rows.append([place, lat, lon, utc.strftime("%Y-%m-%dT%H:%M:%SZ")] + clean(list(p), 10))
    return rows


def year():
    lat, lon = PLACES[YEAR_PLACE]
    times = pd.date_range("2026-01-01T00:30", periods=8760, freq="h", tz="UTC")
    p = position(lat, lon, times)
    columns = [[round(float(x), 5) for x in p[c]] for c in ("zenith", "azimuth")]
    days = [[c[24 * d : 24 * d + 24] for c in columns] for d in range(365)]
    return {
        "place": YEAR_PLACE,
        "latitude_deg": lat,
        "longitude_deg": lon,
        "first_utc": "2026-01-01T00:30:00Z",
        "step_s": 3600,
        "zenith_deg_by_day": [d[0] for d in days],
        "azimuth_deg_by_day": [d[1] for d in days],
    }


def windows():
    """A clear day by the simplified Solis model, on vertical windows of four orientations."""
    rows = []
    for place, date in [
        ("Brisbane", "2026-01-15"),
        ("Phoenix", "2026-06-21"),
        ("London", "2026-03-20"),
        ("Sydney", "2026-12-21"),
        ("Melbourne", "2026-07-05"),
        ("Singapore", "2026-09-23"),
    ]:
        lat, lon = PLACES[place]
        noon = pd.Timestamp(date, tz="UTC") + pd.Timedelta(hours=12.0 - lon / 15.0)
        for offset in (-5.5, -4, -2, 0, 1.5, 3, 5.25):
            utc = (noon + pd.Timedelta(hours=offset)).round("min")
            p = position(lat, lon, pd.DatetimeIndex([utc])).iloc[0]
            if p.zenith > 87.0:
                continue
            sky = pvlib.clearsky.simplified_solis(
                90.0 - p.apparent_zenith, aod700=0.1, precipitable_water=2.0, dni_extra=1367.0
            )
            dni, dhi = float(sky["dni"]), float(sky["dhi"])
            ghi = dni * np.cos(np.radians(p.zenith)) + dhi
            for facing in (0.0, 90.0, 180.0, 270.0):
                t = pvlib.irradiance.get_total_irradiance(
                    90.0, facing, p.zenith, p.azimuth, dni, ghi, dhi, albedo=ALBEDO, model="isotropic"
                )
                rows.append(
                    [place, utc.strftime("%Y-%m-%dT%H:%M:%SZ"), facing]
                    + clean([p.zenith, p.azimuth, dni, dhi, ghi])
                    + clean([t[k] for k in ("poa_direct", "poa_sky_diffuse", "poa_ground_diffuse", "poa_global")])
                )
    return rows


def tmy3_path():
    return Path(pvlib.__file__).resolve().parent / "data" / "723170TYA.CSV"


def tmy3():
    path = tmy3_path()
    data, _ = pvlib.iotools.read_tmy3(path, map_variables=True)
    columns = ["temp_air", "temp_dew", "relative_humidity", "pressure", "ghi", "dni", "dhi", "wind_speed"]
    data = data[columns]
    # The same file again by the csv module, so that a slip in the column names would show.
    with open(path, encoding="ascii", newline="") as f:
        lines = list(csv.reader(f))[1:]
    find = {name: i for i, name in enumerate(lines[0])}
    own = np.array([float(r[find["Dry-bulb (C)"]]) for r in lines[1:]])
    own_dni = np.array([float(r[find["DNI (W/m^2)"]]) for r in lines[1:]])
    months = np.array([int(r[0][:2]) for r in lines[1:]])
    assert len(own) == len(data) == 8760
    assert np.array_equal(own, data["temp_air"].to_numpy())
    assert np.array_equal(own_dni, data["dni"].to_numpy())
    picks = [0, 12, 23, 24, 1500, 4380, 4550, 4551, 8759]
    return {
        "file": path.name,
        "station": "Greensboro, North Carolina",
        "rows": len(data),
        "hour": "row 0 is the first hour of January, stamped 01:00: hour-ending, standard time",
        "pressure": "Pa" if data["pressure"].max() > 5e4 else "mbar",
        "hourly_columns": ["row", *columns],
        "hourly": [[i, *clean(list(data.iloc[i]))] for i in picks],
        "monthly_mean_temp_air": [clean(own[months == m].mean()) for m in range(1, 13)],
        "monthly_mean_dni": [clean(own_dni[months == m].mean()) for m in range(1, 13)],
        "monthly_mean_ghi": [clean(data["ghi"].to_numpy()[months == m].mean()) for m in range(1, 13)],
        "monthly_mean_temp_dew": [clean(data["temp_dew"].to_numpy()[months == m].mean()) for m in range(1, 13)],
        "hours_by_month": [int((months == m).sum()) for m in range(1, 13)],
        "extremes": {c: clean([data[c].min(), data[c].max()]) for c in columns},
    }


def make():
    return {
        "meta": meta(
            "solar position (SPA), isotropic irradiance on vertical windows, statistics of a TMY3 file",
            ["pvlib", "pandas", "numpy"],
            conventions="azimuth from north, clockwise; zenith without refraction; Δt 67 s; 101325 Pa, 12 °C",
            albedo=ALBEDO,
        ),
        "position_columns": ["place", "latitude_deg", "longitude_deg", "utc", "zenith_deg"]
        + ["apparent_zenith_deg", "azimuth_deg", "equation_of_time_min"],
        "position": positions(),
        "year": year(),
        "window_columns": ["place", "utc", "facing_deg", "zenith_deg", "azimuth_deg", "dni", "dhi", "ghi"]
        + ["beam", "sky", "ground", "total"],
        "window": windows(),
        "tmy3": tmy3(),
    }


if __name__ == "__main__":
    if sys.argv[1:] == ["--tmy3-path"]:
        print(tmy3_path())
    else:
        sys.exit("usage: sun.py --tmy3-path")
