//! The sun and weather files against pvlib.

use std::path::Path;

use chrono::{Duration, NaiveDateTime};
use serde_json::Value;

use super::reference::{ReferenceError, Table, list, number, numbers, parse, refused, text};
use super::row::{Row, Worst};
use crate::plant::sun::{Sun, Surface, irradiance_on, sun_position};
use crate::plant::weather::tmy3;

const PVLIB: &str = "pvlib 0.16.1 (NREL solar position algorithm, isotropic sky)";

fn file() -> Result<Value, ReferenceError> {
    parse("sun.json", include_str!("../reference/sun.json"))
}

fn moment(text: &str) -> Result<NaiveDateTime, ReferenceError> {
    NaiveDateTime::parse_from_str(text, "%Y-%m-%dT%H:%M:%SZ").map_err(refused(text))
}

/// Angle between two azimuths, degrees, on the sky rather than along the horizon.
fn turn(a_deg: f64, b_deg: f64, zenith_deg: f64) -> f64 {
    let apart = (a_deg - b_deg + 180.0).rem_euclid(360.0) - 180.0;
    apart.abs() * zenith_deg.to_radians().sin()
}

pub(super) fn rows() -> Result<Vec<Row>, ReferenceError> {
    let file = file()?;
    let mut out = positions(&file)?;
    out.push(year(&file["year"])?);
    out.extend(windows(&file)?);
    Ok(out)
}

fn positions(file: &Value) -> Result<Vec<Row>, ReferenceError> {
    let t = Table::new(file, "/position", "/position_columns")?;
    let (lat, lon) = (t.column("latitude_deg")?, t.column("longitude_deg")?);
    let (zenith, azimuth) = (t.column("zenith_deg")?, t.column("azimuth_deg")?);
    let utc = t.values("utc")?;
    let (mut high, mut round) = (Worst::default(), Worst::default());
    for i in 0..t.len() {
        let when = moment(utc[i].as_str().unwrap_or_default())?;
        let sun = sun_position(lat[i], lon[i], when);
        high.add(sun.zenith_deg, zenith[i]);
        round.push(turn(sun.azimuth_deg, azimuth[i], zenith[i]));
    }
    let remark = "six places, six dates from 2024 to 2026, four hours each";
    Ok(vec![
        Row::largest("sun's zenith angle", PVLIB, high, 5e-4, "°").remark(format!(
            "{remark}; the reference holds ΔT at 67 s, the program follows the date (about 69 s)"
        )),
        Row::largest("sun's azimuth, on the sky", PVLIB, round, 5e-4, "°").remark(remark),
    ])
}

fn year(year: &Value) -> Result<Row, ReferenceError> {
    let (lat, lon) = (
        number(year, "/latitude_deg")?,
        number(year, "/longitude_deg")?,
    );
    let first = moment(text(year, "/first_utc")?)?;
    let mut worst = Worst::default();
    let days = list(year, "/zenith_deg_by_day")?;
    let turns = list(year, "/azimuth_deg_by_day")?;
    let mut hour = 0;
    for (zenith, azimuth) in days.iter().zip(turns) {
        for (z, a) in numbers(zenith, "")?.into_iter().zip(numbers(azimuth, "")?) {
            let sun = sun_position(lat, lon, first + Duration::hours(hour));
            worst.push(
                (sun.zenith_deg - z)
                    .abs()
                    .hypot(turn(sun.azimuth_deg, a, z)),
            );
            hour += 1;
        }
    }
    let place = text(year, "/place")?;
    Ok(Row::largest(
        "sun's place on the sky, every hour of a year",
        PVLIB,
        worst,
        1e-3,
        "°",
    )
    .remark(format!("{place} 2026, nights too")))
}

fn windows(file: &Value) -> Result<Vec<Row>, ReferenceError> {
    let t = Table::new(file, "/window", "/window_columns")?;
    let column = |name: &str| t.column(name);
    let (facing, zenith, azimuth) = (
        column("facing_deg")?,
        column("zenith_deg")?,
        column("azimuth_deg")?,
    );
    let (dni, dhi) = (column("dni")?, column("dhi")?);
    let (beam, sky, ground, total) = (
        column("beam")?,
        column("sky")?,
        column("ground")?,
        column("total")?,
    );
    let albedo = number(file, "/meta/albedo")?;
    let (places, utc) = (t.values("place")?, t.values("utc")?);
    let site = Table::new(file, "/position", "/position_columns")?;
    let (names, lat, lon) = (
        site.values("place")?,
        site.column("latitude_deg")?,
        site.column("longitude_deg")?,
    );
    let (mut parts, mut whole) = (Worst::default(), Worst::default());
    for i in 0..t.len() {
        let surface = Surface::vertical(facing[i]);
        let given = Sun {
            zenith_deg: zenith[i],
            azimuth_deg: azimuth[i],
        };
        let at = irradiance_on(&surface, &given, dni[i], dhi[i], albedo);
        for (ours, theirs) in [(at.beam, beam[i]), (at.sky, sky[i]), (at.ground, ground[i])] {
            parts.add(ours, theirs);
        }
        let found = names.iter().position(|n| *n == places[i]);
        let k = found.ok_or_else(|| ReferenceError::Missing("place of a window".into()))?;
        let own = sun_position(lat[k], lon[k], moment(utc[i].as_str().unwrap_or_default())?);
        let at = irradiance_on(&surface, &own, dni[i], dhi[i], albedo);
        whole.add(at.total(), total[i]);
    }
    let mut seen: Vec<&str> = places.iter().filter_map(|p| p.as_str()).collect();
    seen.dedup();
    let where_to = format!(
        "clear days at {}; windows facing N, E, S, W",
        seen.join(", ")
    );
    Ok(vec![
        Row::largest(
            "beam, sky and ground on a window, same sun",
            PVLIB,
            parts,
            1e-6,
            "W/m²",
        )
        .remark(where_to),
        Row::largest("total on a window, our own sun", PVLIB, whole, 0.02, "W/m²"),
    ])
}

/// Rows for a typical-year file of 8760 hours: the TMY3 file that comes with pvlib, by its path. Not
/// among [`super::TOPICS`], for the file is not shipped.
///
/// # Errors
/// [`ReferenceError`] when the file cannot be read.
pub fn typical_year(path: &Path) -> Result<Vec<Row>, ReferenceError> {
    const LIBRARY: &str = "pvlib 0.16.1 read_tmy3, and Python's csv module";
    const YEAR: i32 = 2027;
    let file = file()?;
    let theirs = &file["tmy3"];
    let series = tmy3::read(path, YEAR).map_err(refused("the typical year"))?;
    let site = *series.site();
    let start = chrono::NaiveDate::from_ymd_opt(YEAR, 1, 1)
        .unwrap_or_default()
        .and_time(chrono::NaiveTime::MIN);
    let local = |hours: f64| start + Duration::seconds((3600.0 * hours) as i64);
    // Values of air stand at the end of their hour; the sun's are means over it.
    let air = |row: usize| {
        let at = local(row as f64 + 1.0);
        series.sample(site.utc(at), &Sun::DOWN)
    };
    let beam = |row: usize| {
        // The middles of 4-minute pieces, for the beam bends at sunrise.
        let parts = 15;
        let mut sum = 0.0;
        for k in 0..parts {
            let at = local(row as f64 + (f64::from(k) + 0.5) / f64::from(parts));
            sum += series.sample(site.utc(at), &site.sun(at)).dni_w_m2;
        }
        sum / f64::from(parts)
    };
    let mut temperatures = Worst::default();
    for line in list(theirs, "/hourly")? {
        let line = numbers(line, "")?;
        temperatures.add(air(line[0] as usize).air_c, line[1]);
    }
    let (mut months_air, mut months_beam) = (Worst::default(), Worst::default());
    let hours = numbers(theirs, "/hours_by_month")?;
    let (means, dni) = (
        numbers(theirs, "/monthly_mean_temp_air")?,
        numbers(theirs, "/monthly_mean_dni")?,
    );
    let mut first = 0;
    for (m, &n) in hours.iter().enumerate() {
        let rows = first..first + n as usize;
        first = rows.end;
        months_air.add(
            rows.clone().map(|r| air(r).air_c).sum::<f64>() / n,
            means[m],
        );
        months_beam.add_relative(rows.map(beam).sum::<f64>() / n, dni[m]);
    }
    Ok(vec![
        Row::largest(
            "typical year: air temperature of single hours",
            LIBRARY,
            temperatures,
            1e-9,
            "K",
        ),
        Row::largest(
            "typical year: monthly mean air temperature",
            LIBRARY,
            months_air,
            1e-9,
            "K",
        ),
        Row::largest(
            "typical year: monthly mean beam, relative",
            LIBRARY,
            months_beam,
            0.02,
            "1",
        )
        .remark("the program spreads each hour's mean along a clear sky's shape"),
    ])
}
