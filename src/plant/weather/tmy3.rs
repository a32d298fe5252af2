//! Weather from a typical-year file in the TMY3 layout (NREL/TP-581-43156).
//!
//! The layout has traps, dealt with here: hours are stamped at their *end*, in local standard time,
//! up to `24:00`; irradiance is the total of the hour before the stamp; the months come from
//! different years; the number of columns varies, so columns are found by name. All months are
//! placed in one year; 29 February repeats the 28th. Temperature, dew point, pressure and wind
//! belong to the stamp itself, irradiance to the middle of its hour.
//!
//! A typical year is not a design year: do not size equipment by its hottest hour.

use super::Site;
use super::cells::{NumberColumn, Rows, check_length};
use super::error::{Place, WeatherError};
use super::series::{Record, Series, no_records, seconds};
use crate::plant::air::humidity_ratio;
use chrono::{Datelike, NaiveDate, NaiveDateTime, TimeDelta};
use csv::StringRecord;
use std::path::Path;

const HOUR_S: f64 = 3600.0;
const DATE: &str = "Date (MM/DD/YYYY)";
const TIME: &str = "Time (HH:MM)";
const COLUMNS: [NumberColumn; 6] = [
    column("Dry-bulb (C)", -60.0, 60.0, "dry bulb in °C"),
    column("Dew-point (C)", -80.0, 40.0, "dew point in °C"),
    column("Pressure (mbar)", 500.0, 1100.0, "air pressure in mbar"),
    column("Wspd (m/s)", 0.0, 75.0, "wind speed in m/s"),
    column("DNI (W/m^2)", 0.0, 1400.0, "beam on a plane facing the sun"),
    column("DHI (W/m^2)", 0.0, 1000.0, "diffuse on the horizontal"),
];

const fn column(name: &'static str, low: f64, high: f64, advice: &'static str) -> NumberColumn {
    NumberColumn {
        name,
        low,
        high,
        advice,
    }
}

/// Reads a typical-year file and places it in calendar year `year`.
///
/// A whole year is covered from 1 January 0:00 to 31 December 24:00; its first hour starts from
/// the values of its last.
///
/// # Errors
/// [`WeatherError`], with the line, if the file cannot be read or anything in it is wrong.
pub(crate) fn read(path: &Path, year: i32) -> Result<Series, WeatherError> {
    let file = path.display().to_string();
    match std::fs::read_to_string(path) {
        Ok(text) => parse(&text, &file, year),
        Err(source) => Err(WeatherError::Unreadable { file, source }),
    }
}

/// Reads a typical year from text; `file` is the name used in messages.
///
/// # Errors
/// As [`read`].
pub(crate) fn parse(text: &str, file: &str, year: i32) -> Result<Series, WeatherError> {
    if !(1900..=2200).contains(&year) {
        return Err(WeatherError::Setting {
            what: "year of simulation",
            found: f64::from(year),
            advice: "give a year from 1900 to 2200".into(),
        });
    }
    let mut rows = Rows::new(file, text);
    let mut record = StringRecord::new();
    let Some(at) = rows.next_into(&mut record)? else {
        return Err(no_records(file, 1));
    };
    let site = station(&at, &record)?;
    let Some(at) = rows.next_into(&mut record)? else {
        return Err(no_records(file, 1));
    };
    let layout = Layout::parse(&at, &record)?;

    let mut hours: Vec<Record> = Vec::with_capacity(8784);
    while let Some(at) = rows.next_into(&mut record)? {
        check_length(&at, &record, layout.cells)?;
        let stamp = layout.stamp(&at, &record)?;
        let Some(end) = stamp.end_in(year) else {
            continue;
        };
        let hour = layout.record(&at, &record, seconds(site.utc(end)))?;
        if (stamp.month, stamp.day, stamp.hour) == (3, 1, 1) {
            repeat_28_february(&mut hours, hour.air_s);
        }
        check_order(hours.last(), &hour, &at, &stamp)?;
        hours.push(hour);
    }
    let (Some(first), Some(last)) = (hours.first().cloned(), hours.last().cloned()) else {
        return Err(no_records(file, at.line));
    };
    let days = if NaiveDate::from_ymd_opt(year, 2, 29).is_some() {
        366.0
    } else {
        365.0
    };
    let span_s = [first.sun_from_s, last.sun_to_s];
    if span_s[1] - span_s[0] == days * 24.0 * HOUR_S {
        hours.insert(
            0,
            Record {
                line: first.line,
                ..at_stamp(last, first.air_s - HOUR_S)
            },
        );
    }
    Series::new(file, site, &hours, span_s)
}

/// The same weather, stamped at another moment.
fn at_stamp(record: Record, air_s: f64) -> Record {
    Record {
        air_s,
        sun_from_s: air_s - HOUR_S,
        sun_to_s: air_s,
        ..record
    }
}

/// Fills the 29 February that typical years leave out, if exactly that day is missing.
fn repeat_28_february(hours: &mut Vec<Record>, next_s: f64) {
    let missing_a_day = hours
        .last()
        .is_some_and(|last| next_s - last.air_s == 25.0 * HOUR_S);
    let Some(from) = hours.len().checked_sub(24).filter(|_| missing_a_day) else {
        return;
    };
    for i in from..from + 24 {
        let hour = hours[i].clone();
        let moved_s = hour.air_s + 24.0 * HOUR_S;
        hours.push(at_stamp(hour, moved_s));
    }
}

/// The first line: number, name, state, hours ahead of UTC, latitude, longitude, height.
fn station(at: &Place, record: &StringRecord) -> Result<Site, WeatherError> {
    let wrong = |found: String, advice: String| WeatherError::Header {
        at: at.clone(),
        found,
        advice,
    };
    let number = |cell: usize, what: &str| {
        let text = record.get(cell).unwrap_or_default();
        text.parse::<f64>()
            .ok()
            .filter(|n| n.is_finite())
            .ok_or_else(|| {
                wrong(
                    format!("`{text}` for {what}, value {} of the first line", cell + 1),
                    "the first line holds number, name, state, hours ahead of UTC, latitude, \
                 longitude, height in m"
                        .into(),
                )
            })
    };
    let offset_h = number(3, "hours ahead of UTC")?;
    let latitude = number(4, "latitude")?;
    let longitude = number(5, "longitude")?;
    let altitude = number(6, "height")?;
    Site::new(
        latitude,
        longitude,
        altitude,
        (offset_h * HOUR_S).round() as i32,
    )
    .map_err(|error| match error {
        WeatherError::Setting {
            what,
            found,
            advice,
        } => wrong(format!("{what} {found}"), advice),
        other => other,
    })
}

/// An hour of the typical year by its end: hours 1 to 24 of a day, whatever the year.
struct Stamp {
    month: u32,
    day: u32,
    hour: u32,
}

impl Stamp {
    /// Local standard time at the end of the hour; `None` for 29 February in a common year.
    fn end_in(&self, year: i32) -> Option<NaiveDateTime> {
        let midnight = NaiveDate::from_ymd_opt(year, self.month, self.day)?.and_hms_opt(0, 0, 0)?;
        midnight.checked_add_signed(TimeDelta::hours(self.hour.into()))
    }
}

/// Which cell holds which column.
struct Layout {
    date: usize,
    time: usize,
    place: [usize; COLUMNS.len()],
    cells: usize,
}

impl Layout {
    fn parse(at: &Place, names: &StringRecord) -> Result<Self, WeatherError> {
        let find = |name: &str| {
            names
                .iter()
                .position(|n| n.eq_ignore_ascii_case(name))
                .ok_or_else(|| WeatherError::Column {
                    at: at.clone(),
                    found: format!("no column `{name}`"),
                    advice: "the second line holds the column names of the TMY3 layout, with \
                             their units"
                        .into(),
                })
        };
        let mut place = [0; COLUMNS.len()];
        for (slot, column) in place.iter_mut().zip(&COLUMNS) {
            *slot = find(column.name)?;
        }
        Ok(Self {
            date: find(DATE)?,
            time: find(TIME)?,
            place,
            cells: names.len(),
        })
    }

    fn stamp(&self, at: &Place, record: &StringRecord) -> Result<Stamp, WeatherError> {
        let date = record.get(self.date).unwrap_or_default();
        let time = record.get(self.time).unwrap_or_default();
        let wrong = |found: &str, advice: &str| WeatherError::Time {
            at: at.clone(),
            found: format!("`{found}`"),
            advice: advice.to_owned(),
        };
        let date_wrong = || wrong(date, "write the date as MM/DD/YYYY");
        let day = NaiveDate::parse_from_str(date, "%m/%d/%Y").map_err(|_| date_wrong())?;
        let hour = time
            .strip_suffix(":00")
            .and_then(|hour| hour.parse::<u32>().ok())
            .filter(|hour| (1..=24).contains(hour))
            .ok_or_else(|| wrong(time, "write the end of the hour, 01:00 to 24:00"))?;
        Ok(Stamp {
            month: day.month(),
            day: day.day(),
            hour,
        })
    }

    fn record(
        &self,
        at: &Place,
        record: &StringRecord,
        end_s: f64,
    ) -> Result<Record, WeatherError> {
        let mut values = [0.0; COLUMNS.len()];
        for ((value, column), cell) in values.iter_mut().zip(&COLUMNS).zip(self.place) {
            let text = record.get(cell).unwrap_or_default();
            if text.starts_with("-9900") {
                return Err(column.wrong(
                    at,
                    format!("{text}, which marks a missing value"),
                    "use a file without missing values, or fill it from its neighbours".into(),
                ));
            }
            *value = column.read(at, text)?.ok_or_else(|| {
                column.wrong(at, "a blank".into(), format!("write {}", column.advice))
            })?;
        }
        let [
            air_c,
            dew_point_c,
            pressure_mbar,
            wind_m_s,
            dni_w_m2,
            dhi_w_m2,
        ] = values;
        Ok(Record {
            line: at.line,
            air_s: end_s,
            air_c,
            w: humidity_ratio(1.0, dew_point_c.min(air_c), 100.0 * pressure_mbar),
            wind_m_s,
            sun_from_s: end_s - HOUR_S,
            sun_to_s: end_s,
            dni_w_m2,
            dhi_w_m2,
        })
    }
}

fn check_order(
    previous: Option<&Record>,
    hour: &Record,
    at: &Place,
    stamp: &Stamp,
) -> Result<(), WeatherError> {
    let gap_h = previous.map_or(1.0, |p| (hour.air_s - p.air_s) / HOUR_S);
    if gap_h == 1.0 {
        return Ok(());
    }
    let Stamp { month, day, hour } = stamp;
    Err(WeatherError::Time {
        at: at.clone(),
        found: format!("month {month}, day {day}, {hour:02}:00, {gap_h} h after the line above"),
        advice: "each line must be the hour after the one above".into(),
    })
}
