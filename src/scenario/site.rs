//! Where, when and in what weather.

use std::path::Path;

use chrono::{NaiveDateTime, TimeDelta};

use super::diagnostic::Diagnostic;
use super::reader::Section;
use crate::plant::air;
use crate::plant::weather::{
    ClearSky, DesignDay, DesignDayInput, Sample, Season, Site, Sky, Weather, WeatherError, file,
    tmy3,
};
use crate::quantity::{Dimension, significant};

const CHOICE: &str = "our own choice";
/// A quarter of a minute, which weather and time bands run in, s.
const QUIET_STEP_S: f64 = 15.0;
const COMMON: &str = "common practice, no source";

/// When a run takes place and how finely it is stepped and recorded.
#[derive(Clone, Debug, PartialEq)]
pub struct RunSpec {
    /// Local clock time at the start.
    pub start: NaiveDateTime,
    /// Length, s.
    pub duration_s: f64,
    /// Time step, s.
    pub step_s: f64,
    /// Longest step of the plant while nothing new is commanded, s; not above `step_s` where there are none.
    pub quiet_step_s: f64,
    /// Time between recorded rows, s; a whole number of steps.
    pub record_s: f64,
    /// Time simulated before the start and thrown away, so that the fabric has a past, s.
    pub warm_up_s: f64,
    /// Seed of sensor noise.
    pub seed: u64,
}

impl RunSpec {
    /// Local clock time at the end.
    pub fn end(&self) -> NaiveDateTime {
        self.start + TimeDelta::milliseconds((self.duration_s * 1000.0) as i64)
    }
}

pub(super) fn site(top: &Section<'_>) -> Result<Site, Diagnostic> {
    let s = top.table("site")?;
    let _place = s.text("place").optional()?;
    let latitude = s
        .quantity("latitude", Dimension::Angle)
        .within(-90.0, 90.0)
        .required()?;
    let longitude = s
        .quantity("longitude", Dimension::Angle)
        .within(-180.0, 180.0)
        .required()?;
    let altitude = s
        .quantity("altitude", Dimension::Length)
        .within(-400.0, 4500.0)
        .or(0.0, "sea level; sets the air's density")?;
    let offset = s
        .quantity("utc_offset", Dimension::Time)
        .within(-14.0 * 3600.0, 14.0 * 3600.0)
        .or(
            (longitude / 15.0).round() * 3600.0,
            "from the longitude, no daylight saving",
        )?;
    let site = Site::new(latitude, longitude, altitude, offset as i32)
        .map_err(|e| s.error(e.to_string(), "correct [site]"))?;
    s.finish()?;
    Ok(site)
}

pub(super) fn run(top: &Section<'_>) -> Result<RunSpec, Diagnostic> {
    let s = top.table("run")?;
    let start = s.datetime("start").required()?;
    let duration_s = s
        .quantity("duration", Dimension::Time)
        .within(60.0, 400.0 * 86_400.0)
        .or(86_400.0, "one day")?;
    let step_s = s.quantity("step", Dimension::Time).within(0.1, 10.0).or(
        1.0,
        "as controllers sample; the fastest store has a time constant of minutes",
    )?;
    let quiet_step_s = s
        .quantity("quiet_step", Dimension::Time)
        .within(0.1, 30.0)
        .or(
            QUIET_STEP_S,
            "our own choice: the plant goes on in one step while nothing new is commanded; control looks at every `step`",
        )?;
    let record_s = s
        .quantity("record", Dimension::Time)
        .within(0.1, 3600.0)
        .or(
            60.0,
            "our own choice; measures watch every step whatever this says",
        )?;
    let warm_up_s = s
        .quantity("warm_up", Dimension::Time)
        .within(0.0, 30.0 * 86_400.0)
        .or(
            86_400.0,
            "one day thrown away, so that the fabric has a past",
        )?;
    let seed = s.integer("seed").or(1, CHOICE)?;
    for (key, value) in [
        ("record", record_s),
        ("duration", duration_s),
        ("warm_up", warm_up_s),
    ] {
        let steps = value / step_s;
        if (steps - steps.round()).abs() > 1e-6 * steps.max(1.0) {
            return Err(s.error_at(
                key,
                format!("`{key}` is {value} s, which is not a whole number of steps of {step_s} s"),
                format!(
                    "write a multiple of the step, such as \"{} s\"",
                    significant(steps.ceil() * step_s, 9)
                ),
            ));
        }
    }
    s.finish()?;
    Ok(RunSpec {
        start,
        duration_s,
        step_s,
        quiet_step_s,
        record_s,
        warm_up_s,
        seed: seed as u64,
    })
}

#[derive(Clone, Copy, PartialEq)]
enum Kind {
    Summer,
    Winter,
    Constant,
    File,
    Typical,
}

pub(super) fn weather(
    top: &Section<'_>,
    site: &Site,
    run: &RunSpec,
    folder: &Path,
) -> Result<Weather, Diagnostic> {
    let s = top.table("weather")?;
    let kinds = [
        ("summer day", Kind::Summer),
        ("winter day", Kind::Winter),
        ("constant", Kind::Constant),
        ("file", Kind::File),
        ("typical year file", Kind::Typical),
    ];
    let kind = s.choice("kind", &kinds).required()?;
    let weather = match kind {
        Kind::Summer | Kind::Winter => design_day(&s, site, kind)?,
        Kind::Constant => constant(&s, site)?,
        Kind::File | Kind::Typical => from_file(&s, kind, run, folder)?,
    };
    let from = run.start - TimeDelta::seconds(run.warm_up_s as i64);
    weather.covers(site, from, run.end()).map_err(|e| {
        s.error(
            e.to_string(),
            "shorten [run] duration or warm_up, move its start, or give a longer file",
        )
    })?;
    s.finish()?;
    Ok(weather)
}

fn design_day(s: &Section<'_>, site: &Site, kind: Kind) -> Result<Weather, Diagnostic> {
    let temperature = |key: &str| {
        s.quantity(key, Dimension::Temperature)
            .within(-50.0, 60.0)
            .required()
    };
    let summer = kind == Kind::Summer;
    let season = if summer {
        Season::Summer {
            maximum_c: temperature("maximum")?,
        }
    } else {
        Season::Winter {
            minimum_c: temperature("minimum")?,
        }
    };
    let daily_range_k = s
        .quantity("daily_range", Dimension::TemperatureDifference)
        .within(0.0, 30.0)
        .or(10.0, COMMON)?;
    let dew_default = match season {
        Season::Summer { .. } => 14.0,
        Season::Winter { minimum_c } => minimum_c - 1.0,
    };
    let dew_point_c = s
        .quantity("dew_point", Dimension::Temperature)
        .within(-50.0, 35.0)
        .or(dew_default, "held all day; common practice, no source")?;
    let wind_m_s = s
        .quantity("wind", Dimension::Velocity)
        .within(0.0, 40.0)
        .or(3.0, COMMON)?;
    let clear = ClearSky {
        tau_beam: s.number("tau_beam").within(0.1, 1.5).or(
            0.40,
            "a clear mid-latitude sky in the ASHRAE 2013 form, from memory",
        )?,
        tau_diffuse: s.number("tau_diffuse").within(1.0, 3.5).or(
            2.2,
            "a clear mid-latitude sky in the ASHRAE 2013 form, from memory",
        )?,
    };
    let clear_fraction = s.fraction("clear_fraction").or(1.0, "a cloudless day")?;
    let input = DesignDayInput {
        season,
        daily_range_k,
        dew_point_c,
        wind_m_s,
        sky: Sky::Sunny {
            clear,
            clear_fraction,
        },
    };
    let day =
        DesignDay::new(input, site).map_err(|e| s.error(e.to_string(), "correct [weather]"))?;
    Ok(Weather::DesignDay(day))
}

fn constant(s: &Section<'_>, site: &Site) -> Result<Weather, Diagnostic> {
    let air_c = s
        .quantity("temperature", Dimension::Temperature)
        .within(-50.0, 60.0)
        .required()?;
    let rh = s.fraction("humidity").or(0.5, COMMON)?;
    let irradiance = |key: &str| s.quantity(key, Dimension::PowerPerArea).within(0.0, 1400.0);
    let dni_w_m2 = irradiance("beam").or(0.0, "no sun")?;
    let dhi_w_m2 = irradiance("diffuse").or(0.0, "no sun")?;
    let wind_m_s = s
        .quantity("wind", Dimension::Velocity)
        .within(0.0, 40.0)
        .or(3.0, COMMON)?;
    let w = air::humidity_ratio(rh, air_c, site.pressure_pa);
    Ok(Weather::Constant(Sample {
        air_c,
        w,
        dni_w_m2,
        dhi_w_m2,
        wind_m_s,
    }))
}

fn from_file(
    s: &Section<'_>,
    kind: Kind,
    run: &RunSpec,
    folder: &Path,
) -> Result<Weather, Diagnostic> {
    use chrono::Datelike;
    let name = s.text("file").required()?;
    let path = folder.join(&name);
    let read = if kind == Kind::File {
        file::read(&path)
    } else {
        tmy3::read(&path, run.start.year())
    };
    read.map(Weather::Series).map_err(|e: WeatherError| {
        s.error_at(
            "file",
            e.to_string(),
            "correct that line of the weather file, or name another",
        )
    })
}
