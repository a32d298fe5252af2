//! `[site]`, `[run]`, `[weather]`: where, when and in what weather.

use std::path::Path;

use chrono::{Datelike, NaiveDateTime, TimeDelta};

use super::diagnostic::Diagnostic;
use super::reader::Section;
use crate::plant::air;
use crate::plant::drivers::Surroundings;
use crate::plant::weather::{
    ClearSky, DesignDay, DesignDayInput, Sample, Season, Site, Sky, Weather, WeatherError, file,
    tmy3,
};
use crate::quantity::significant;

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
    pub long_step_s: f64,
    /// Time between recorded rows, s; a whole number of steps.
    pub record_s: f64,
    /// Time simulated before the start and thrown away, so that the building mass is warmed up, s.
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
    let s = top.table("site");
    let longitude = s.get("longitude")?;
    let (latitude, altitude) = (s.get("latitude")?, s.get("altitude")?);
    let offset = s.or("utc_offset", f64::round(longitude / 15.0) * 3600.0)?;
    Site::new(latitude, longitude, altitude, offset as i32)
        .map_err(|e| s.error(e.to_string(), "correct [site]"))
}

/// What is around the rooms, of `[site]` and `[house]`.
pub(super) fn surroundings(top: &Section<'_>) -> Result<Surroundings, Diagnostic> {
    let (site, house) = (top.table("site"), top.table("house"));
    Ok(Surroundings {
        ground_c: site.get("ground_temperature")?,
        ground_reflectance: site.get("ground_reflectance")?,
        roof_absorptance: house.get("roof_absorptance")?,
        roof_space_fraction: house.get("roof_space_fraction")?,
    })
}

pub(super) fn run(top: &Section<'_>) -> Result<RunSpec, Diagnostic> {
    let s = top.table("run");
    let run = RunSpec {
        start: s.get("start")?,
        duration_s: s.get("duration")?,
        step_s: s.get("step")?,
        long_step_s: s.get("long_step")?,
        record_s: s.get("record")?,
        warm_up_s: s.get("warm_up")?,
        seed: s.get::<f64>("seed")? as u64,
    };
    let whole = |key: &str, value: f64| {
        let steps = value / run.step_s;
        if (steps - steps.round()).abs() <= 1e-6 * steps.max(1.0) {
            return Ok(());
        }
        let step_s = run.step_s;
        let what =
            format!("`{key}` is {value} s, which is not a whole number of steps of {step_s} s");
        let fitting = significant(steps.ceil() * step_s, 9);
        let advice = format!("write a multiple of the step, such as \"{fitting} s\"");
        Err(s.error_at(key, what, advice))
    };
    let mut checks = vec![
        whole("record", run.record_s),
        whole("duration", run.duration_s),
        whole("warm_up", run.warm_up_s),
    ];
    if run.record_s > run.duration_s && s.has("record") {
        let what = "`record` is longer than the run, which would leave one row";
        checks.push(Err(s.error_at(
            "record",
            what,
            "write at most the run's `duration`",
        )));
    }
    Diagnostic::gather(checks)?;
    Ok(run)
}

#[derive(Clone, Copy, PartialEq)]
pub(super) enum Kind {
    Summer,
    Winter,
    Constant,
    File,
    Typical,
}

pub(super) const KINDS: [(&str, Kind); 5] = [
    ("summer day", Kind::Summer),
    ("winter day", Kind::Winter),
    ("constant", Kind::Constant),
    ("file", Kind::File),
    ("typical year file", Kind::Typical),
];

pub(super) fn weather(
    top: &Section<'_>,
    site: &Site,
    run: &RunSpec,
    folder: &Path,
) -> Result<Weather, Diagnostic> {
    let s = top.table("weather");
    let kind = s.choice("kind", &KINDS)?;
    let weather = match kind {
        Kind::Summer | Kind::Winter => design_day(&s, site, kind)?,
        Kind::Constant => constant(&s, site)?,
        Kind::File | Kind::Typical => from_file(&s, kind, run, folder)?,
    };
    let from = run.start - TimeDelta::seconds(run.warm_up_s as i64);
    weather.covers(site, from, run.end()).map_err(|e| {
        let advice = "shorten [run] duration or warm_up, move its start, or give a longer file";
        s.error(e.to_string(), advice)
    })?;
    Ok(weather)
}

fn design_day(s: &Section<'_>, site: &Site, kind: Kind) -> Result<Weather, Diagnostic> {
    let (season, dew_point_c) = if kind == Kind::Summer {
        let maximum_c = s.get("maximum")?;
        (Season::Summer { maximum_c }, 14.0)
    } else {
        let minimum_c = s.get("minimum")?;
        (Season::Winter { minimum_c }, minimum_c - 1.0)
    };
    let input = DesignDayInput {
        season,
        daily_range_k: s.get("daily_range")?,
        dew_point_c: s.or("dew_point", dew_point_c)?,
        wind_m_s: s.get("wind")?,
        sky: Sky::Sunny {
            clear: ClearSky {
                tau_beam: s.get("tau_beam")?,
                tau_diffuse: s.get("tau_diffuse")?,
            },
            clear_fraction: s.get("clear_fraction")?,
        },
    };
    let day = DesignDay::new(input, site);
    day.map(Weather::DesignDay)
        .map_err(|e| s.error(e.to_string(), "correct [weather]"))
}

fn constant(s: &Section<'_>, site: &Site) -> Result<Weather, Diagnostic> {
    let air_c = s.get("temperature")?;
    let humidity = s.get("humidity")?;
    Ok(Weather::Constant(Sample {
        air_c,
        w: air::humidity_ratio(humidity, air_c, site.pressure_pa),
        dni_w_m2: s.get("beam")?,
        dhi_w_m2: s.get("diffuse")?,
        wind_m_s: s.get("wind")?,
    }))
}

fn from_file(
    s: &Section<'_>,
    kind: Kind,
    run: &RunSpec,
    folder: &Path,
) -> Result<Weather, Diagnostic> {
    let path = folder.join(s.get::<String>("file")?);
    let read = if kind == Kind::File {
        file::read(&path)
    } else {
        tmy3::read(&path, run.start.year())
    };
    read.map(Weather::Series).map_err(|e: WeatherError| {
        let advice = "correct that line of the weather file, or name another";
        s.error_at("file", e.to_string(), advice)
    })
}
