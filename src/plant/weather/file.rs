//! Weather from a plain CSV file.
//!
//! Comment lines first, some of which say what the file is about:
//!
//! ```text
//! # lat_deg: -33.87
//! # lon_deg_east: 151.21
//! # alt_m: 39                  (optional, 0)
//! # tz_offset_h: 10
//! # averaging: mean_of_interval          (or: instant)
//! # source: own station
//! # licence: CC0-1.0
//! time_utc,t_out_C,rh_out_pct,p_Pa,dni_W_m2,dhi_W_m2,ghi_W_m2,wind_m_s,wind_dir_deg
//! 2026-01-14T14:00:00Z,24.1,61,101100,0,0,0,2.1,180
//! ```
//!
//! Then one line a time, at the start of its interval, in UTC. `w_out_kg_kg` may stand in place of
//! `rh_out_pct`. `p_Pa`, `ghi_W_m2`, `wind_m_s` and `wind_dir_deg` may be left out: pressure then is
//! that of the altitude, wind [`DEFAULT_WIND_M_S`]. `ghi_W_m2` only serves to check the other two;
//! `wind_dir_deg` is not used. A blank cell is a missing value, bridged by a straight line; the
//! first line may have none. With `mean_of_interval` every value belongs to the middle of its
//! interval, and the lines must be evenly spaced.

use super::Site;
use super::cells::{NumberColumn, Rows, check_length, nearest};
use super::error::{Place, WeatherError};
use super::head::Head;
use super::series::{Record, Series, moment, no_records, seconds};
use crate::plant::air::humidity_ratio;
use crate::plant::sun::sun_position;
use chrono::{Datelike, NaiveDateTime};
use csv::StringRecord;
use std::path::Path;

/// Wind where a file gives none, m/s (common practice, no source).
pub(crate) const DEFAULT_WIND_M_S: f64 = 3.0;
/// Longest time between two known values, s.
const LONGEST_GAP_S: f64 = 3.0 * 3600.0;
/// How far global may be from beam and diffuse together: this share, or this many W/m² if more.
const GLOBAL_TOLERANCE: (f64, f64) = (0.10, 20.0);
/// Global is only checked with the sun higher than this: lower, the mean of an hour has another
/// zenith angle than its middle.
const GLOBAL_CHECK_ELEVATION_DEG: f64 = 10.0;

const TIME: &str = "time_utc";
const T_OUT: usize = 0;
const RH: usize = 1;
const W: usize = 2;
const PRESSURE: usize = 3;
const DNI: usize = 4;
const DHI: usize = 5;
const WIND: usize = 6;
const GHI: usize = 7;
const COLUMNS: [NumberColumn; 9] = [
    column("t_out_C", -60.0, 60.0, "outdoor air in °C"),
    column("rh_out_pct", 0.0, 100.0, "relative humidity in percent"),
    column(
        "w_out_kg_kg",
        0.0,
        0.05,
        "humidity ratio in kg/kg, such as 0.011",
    ),
    column(
        "p_Pa",
        50_000.0,
        110_000.0,
        "air pressure in Pa (100 times hPa)",
    ),
    column(
        "dni_W_m2",
        0.0,
        1400.0,
        "beam on a plane facing the sun, 0 at night",
    ),
    column(
        "dhi_W_m2",
        0.0,
        1000.0,
        "diffuse on the horizontal, 0 at night",
    ),
    column("wind_m_s", 0.0, 75.0, "wind speed in m/s"),
    column(
        "ghi_W_m2",
        0.0,
        1600.0,
        "global on the horizontal, 0 at night",
    ),
    column(
        "wind_dir_deg",
        0.0,
        360.0,
        "where the wind comes from, degrees from north",
    ),
];
/// The columns from here on are not used beyond checks, so they may have blanks anywhere.
const FIRST_UNUSED: usize = GHI;

const fn column(name: &'static str, low: f64, high: f64, advice: &'static str) -> NumberColumn {
    NumberColumn {
        name,
        low,
        high,
        advice,
    }
}

/// Reads a weather file.
///
/// # Errors
/// [`WeatherError`], with the line, if the file cannot be read or anything in it is wrong.
pub(crate) fn read(path: &Path) -> Result<Series, WeatherError> {
    let file = path.display().to_string();
    match std::fs::read_to_string(path) {
        Ok(text) => parse(&text, &file),
        Err(source) => Err(WeatherError::Unreadable { file, source }),
    }
}

/// Reads weather from text; `file` is the name used in messages.
///
/// # Errors
/// As [`read`].
pub(crate) fn parse(text: &str, file: &str) -> Result<Series, WeatherError> {
    let head = Head::parse(text, file)?;
    let mut rows = Rows::new(file, text);
    let mut record = StringRecord::new();
    let Some(at) = rows.next_into(&mut record)? else {
        return Err(no_records(file, 1));
    };
    let layout = Layout::parse(&at, &record)?;
    let mut lines: Vec<Line> = Vec::new();
    while let Some(at) = rows.next_into(&mut record)? {
        let line = layout.line(at, &record)?;
        check_order(lines.last(), &line)?;
        lines.push(line);
    }
    let [first, second, ..] = lines.as_slice() else {
        return Err(no_records(file, at.line));
    };
    let (first_s, step_s) = (first.utc_s, second.utc_s - first.utc_s);
    if head.mean {
        check_spacing(&lines, step_s)?;
    }
    for column in (0..FIRST_UNUSED).filter(|&c| layout.place[c].is_some()) {
        bridge_blanks(&mut lines, column)?;
    }
    let width_s = if head.mean { step_s } else { 0.0 };
    let records: Vec<Record> = lines
        .iter()
        .map(|l| l.to_record(&head.site, width_s))
        .collect();
    for (line, record) in lines.iter().zip(&records) {
        check_global(line, record, &head.site)?;
    }
    let last_s = lines.last().map_or(first_s, |l| l.utc_s);
    Series::new(file, head.site, &records, [first_s, last_s + width_s])
}

/// Which cell holds which column.
struct Layout {
    time: usize,
    place: [Option<usize>; COLUMNS.len()],
    cells: usize,
}

impl Layout {
    fn parse(at: &Place, names: &StringRecord) -> Result<Self, WeatherError> {
        let wrong = |found: String, advice: String| {
            Err(WeatherError::Column {
                at: at.clone(),
                found,
                advice,
            })
        };
        if names.len() == 1 && names.iter().any(|n| n.contains([';', '\t'])) {
            return wrong(
                "columns parted by semicolons or tabs".into(),
                "part them by commas, with `.` as decimal mark".into(),
            );
        }
        let mut known: Vec<&str> = COLUMNS.iter().map(|c| c.name).collect();
        known.push(TIME);
        let mut time = None;
        let mut place = [None; COLUMNS.len()];
        for (cell, name) in names.iter().enumerate() {
            let slot = match COLUMNS.iter().position(|c| c.name == name) {
                Some(column) => &mut place[column],
                None if name == TIME => &mut time,
                None => {
                    let advice = match nearest(name, &known) {
                        Some(near) => format!("did you mean `{near}`?"),
                        None => format!("the columns are {}", known.join(", ")),
                    };
                    return wrong(format!("column `{name}`"), advice);
                }
            };
            if slot.replace(cell).is_some() {
                return wrong(format!("column `{name}` twice"), "give it once".into());
            }
        }
        for column in [T_OUT, DNI, DHI] {
            if place[column].is_none() {
                let NumberColumn { name, advice, .. } = COLUMNS[column];
                return wrong(format!("no column `{name}`"), format!("add it: {advice}"));
            }
        }
        let Some(time) = time else {
            return wrong(
                format!("no column `{TIME}`"),
                "add it: start of the interval, such as 2026-01-14T14:00:00Z".into(),
            );
        };
        if place[RH].is_some() == place[W].is_some() {
            let found = if place[RH].is_some() {
                "both"
            } else {
                "neither"
            };
            return wrong(
                format!("{found} of `rh_out_pct` and `w_out_kg_kg`"),
                "give one of them".into(),
            );
        }
        Ok(Self {
            time,
            place,
            cells: names.len(),
        })
    }

    fn line(&self, at: Place, record: &StringRecord) -> Result<Line, WeatherError> {
        check_length(&at, record, self.cells)?;
        let utc_s = seconds(parse_time(&at, record.get(self.time).unwrap_or_default())?);
        let mut values = [None; COLUMNS.len()];
        for ((value, column), place) in values.iter_mut().zip(&COLUMNS).zip(self.place) {
            if let Some(cell) = place.and_then(|cell| record.get(cell)) {
                *value = column.read(&at, cell)?;
            }
        }
        Ok(Line { at, utc_s, values })
    }
}

/// One line of values; `None` for a blank cell or a column that is not there.
struct Line {
    at: Place,
    utc_s: f64,
    values: [Option<f64>; COLUMNS.len()],
}

impl Line {
    /// The record for this line, whose values are means over `width_s` or, if 0, momentary.
    fn to_record(&self, site: &Site, width_s: f64) -> Record {
        let get = |column: usize| self.values[column];
        let air_c = get(T_OUT).unwrap_or_default();
        let pressure_pa = get(PRESSURE).unwrap_or(site.pressure_pa);
        let from_humidity =
            || humidity_ratio(get(RH).unwrap_or_default() / 100.0, air_c, pressure_pa);
        Record {
            line: self.at.line,
            air_s: self.utc_s + 0.5 * width_s,
            air_c,
            w: get(W).unwrap_or_else(from_humidity),
            wind_m_s: get(WIND).unwrap_or(DEFAULT_WIND_M_S),
            sun_from_s: self.utc_s,
            sun_to_s: self.utc_s + width_s,
            dni_w_m2: get(DNI).unwrap_or_default(),
            dhi_w_m2: get(DHI).unwrap_or_default(),
        }
    }
}

fn parse_time(at: &Place, cell: &str) -> Result<NaiveDateTime, WeatherError> {
    ["%Y-%m-%dT%H:%M:%SZ", "%Y-%m-%dT%H:%MZ"]
        .iter()
        .find_map(|form| NaiveDateTime::parse_from_str(cell, form).ok())
        .filter(|time| (1900..=2200).contains(&time.year()))
        .ok_or_else(|| WeatherError::Time {
            at: at.clone(),
            found: format!("`{cell}` for `{TIME}`"),
            advice: "write UTC as 2026-01-14T14:00:00Z, with the T and the Z".into(),
        })
}

fn check_order(previous: Option<&Line>, line: &Line) -> Result<(), WeatherError> {
    let Some(previous) = previous else {
        return Ok(());
    };
    let gap_s = line.utc_s - previous.utc_s;
    let stamp = moment(line.utc_s);
    let wrong = |found: String, advice: &str| {
        Err(WeatherError::Time {
            at: line.at.clone(),
            found,
            advice: advice.to_owned(),
        })
    };
    if gap_s <= 0.0 {
        return wrong(
            format!("{stamp} after {}", moment(previous.utc_s)),
            "each line must be later than the one above; UTC has no clock changes",
        );
    }
    if gap_s > LONGEST_GAP_S {
        return wrong(
            format!("{:.1} h since the line above, at {stamp}", gap_s / 3600.0),
            "leave at most 3 h between lines; fill the gap or start the file after it",
        );
    }
    Ok(())
}

fn check_spacing(lines: &[Line], step_s: f64) -> Result<(), WeatherError> {
    for pair in lines.windows(2) {
        let gap_s = pair[1].utc_s - pair[0].utc_s;
        if gap_s != step_s {
            return Err(WeatherError::Time {
                at: pair[1].at.clone(),
                found: format!("{gap_s} s since the line above"),
                advice: format!(
                    "means of an interval need even spacing, here {step_s} s; fill the gap, or \
                     write `# averaging: instant`"
                ),
            });
        }
    }
    Ok(())
}

/// Draws a straight line across blanks; after the last known value, holds it.
fn bridge_blanks(lines: &mut [Line], column: usize) -> Result<(), WeatherError> {
    let mut known: Option<usize> = None;
    for next in 0..=lines.len() {
        let value = lines.get(next).map(|line| line.values[column]);
        if value == Some(None) {
            continue;
        }
        let from = known.map_or(0, |k| k + 1);
        known = Some(next);
        if from == next {
            continue;
        }
        let before = from
            .checked_sub(1)
            .map(|k| (lines[k].utc_s, lines[k].values[column]));
        let Some((before_s, Some(before))) = before else {
            return Err(COLUMNS[column].wrong(
                &lines[0].at,
                "a blank first value".into(),
                "start the file where every column has a value".into(),
            ));
        };
        let (after_s, after) = match value.flatten() {
            Some(after) => (lines[next].utc_s, after),
            None => (lines[next - 1].utc_s, before),
        };
        if after_s - before_s > LONGEST_GAP_S {
            return Err(COLUMNS[column].wrong(
                &lines[from].at,
                format!("blanks for {:.1} h", (after_s - before_s) / 3600.0),
                "leave at most 3 h between known values; fill the gap from another source".into(),
            ));
        }
        for line in &mut lines[from..next] {
            let part = (line.utc_s - before_s) / (after_s - before_s);
            line.values[column] = Some(before + part * (after - before));
        }
    }
    Ok(())
}

fn check_global(line: &Line, record: &Record, site: &Site) -> Result<(), WeatherError> {
    let Some(global) = line.values[GHI] else {
        return Ok(());
    };
    let middle = moment(0.5 * (record.sun_from_s + record.sun_to_s));
    let sun = sun_position(site.latitude_deg, site.longitude_deg_east, middle);
    if sun.elevation_deg() < GLOBAL_CHECK_ELEVATION_DEG {
        return Ok(());
    }
    let sum = record.dni_w_m2 * sun.cos_zenith() + record.dhi_w_m2;
    let allowed = (GLOBAL_TOLERANCE.0 * sum.max(global)).max(GLOBAL_TOLERANCE.1);
    if (global - sum).abs() <= allowed {
        return Ok(());
    }
    Err(WeatherError::Irradiance {
        at: line.at.clone(),
        found: format!(
            "global {global:.0} W/m², but beam times cos z ({:.3}) and diffuse make {sum:.0}",
            sun.cos_zenith()
        ),
        advice: "check the clock, the place, and that beam is on a plane facing the sun".into(),
    })
}
