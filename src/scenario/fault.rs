//! `[[fault]]`: what is broken, and when.
//!
//! To add a kind: its keys are read by one function here, named in `KINDS`; what it does stands in
//! its file under `run/fault/`.

use std::sync::Arc;

use chrono::{NaiveDateTime, TimeDelta, Timelike};

use super::Scenario;
use super::diagnostic::Diagnostic;
use super::house::faces;
use super::reader::{Name, Section};
use crate::control::Mode;
use crate::fault::{
    BEAM_W_M2, ChainBroken, DamperStuck, DampersCrossed, Fault, Feedback, FilterBlocked, RadioLost,
    ReliefStuck, ReliefUndersized, Scheduled, SensorFrozen, SensorInSun, SensorLost, SensorOffset,
    SunOnSensor, WrongMode,
};
use crate::plant::drivers::ALBEDO;
use crate::plant::sun::{Surface, irradiance_on};
use crate::quantity::Dimension;

const COMMON: &str = "common practice, no source";
const SHEET: &str = "our own choice";
const DAY_S: f64 = 86_400.0;

type Read = fn(&Section<'_>, &Scenario) -> Result<Arc<dyn Fault>, Diagnostic>;

/// Every kind of fault with the reader of its keys.
const KINDS: [(&str, Read); 12] = [
    ("damper stuck", damper_stuck),
    ("dampers crossed", dampers_crossed),
    ("relief stuck", relief_stuck),
    ("relief undersized", relief_undersized),
    ("filter blocked", filter_blocked),
    ("sensor lost", sensor_lost),
    ("sensor frozen", sensor_frozen),
    ("sensor offset", sensor_offset),
    ("sensor in sun", sensor_in_sun),
    ("chain broken", chain_broken),
    ("radio lost", radio_lost),
    ("wrong mode", wrong_mode),
];

/// Names of the kinds.
pub fn kinds() -> impl Iterator<Item = &'static str> {
    KINDS.iter().map(|k| k.0)
}

pub(super) fn faults(
    sections: &[Section<'_>],
    scenario: &Scenario,
) -> Result<Vec<Scheduled>, Diagnostic> {
    let choices: [(&str, usize); KINDS.len()] = std::array::from_fn(|i| (KINDS[i].0, i));
    let mut out = Vec::new();
    for s in sections {
        let kind = s.choice("kind", &choices).required()?;
        let fault = KINDS[kind].1(s, scenario)?;
        let (from_s, until_s) = times(s, scenario)?;
        s.finish()?;
        out.push(Scheduled {
            from_s,
            until_s,
            fault,
        });
    }
    Ok(out)
}

/// Seconds from `t_s` into the run until the clock next shows a minute of the day.
fn next_s(start: NaiveDateTime, t_s: f64, minute: u32) -> f64 {
    let now_s = f64::from(start.num_seconds_from_midnight()) + t_s;
    (f64::from(minute) * 60.0 - now_s).rem_euclid(DAY_S)
}

/// `at` or `after`, then `until` or `for`.
fn times(s: &Section<'_>, scenario: &Scenario) -> Result<(f64, f64), Diagnostic> {
    let (start, end_s) = (scenario.run.start, scenario.run.duration_s);
    let at = s.time_of_day("at").optional()?;
    let after = s
        .quantity("after", Dimension::Time)
        .within(0.0, 400.0 * DAY_S)
        .optional()?;
    let from_s = match (at, after) {
        (Some(_), Some(_)) => {
            return Err(s.error_at(
                "after",
                "a fault begins once, and this one has both `at` and `after`",
                "take one out",
            ));
        }
        (Some(minute), None) => {
            let t = next_s(start, 0.0, minute);
            if t >= end_s {
                return Err(s.error_at(
                    "at",
                    "the run ends before this time of day comes",
                    "choose a time within the run, or lengthen [run] duration",
                ));
            }
            t
        }
        (None, after) => after.unwrap_or(0.0),
    };
    let until = s.time_of_day("until").optional()?;
    let lasts = s
        .quantity("for", Dimension::Time)
        .within(1.0, 400.0 * DAY_S)
        .optional()?;
    let until_s = match (until, lasts) {
        (None, None) => f64::INFINITY,
        (None, Some(lasts)) => from_s + lasts,
        (Some(_), Some(_)) => {
            return Err(s.error_at(
                "for",
                "a fault ends once, and this one has both `until` and `for`",
                "take one out",
            ));
        }
        (Some(minute), None) => {
            let lasts = next_s(start, from_s, minute);
            if lasts < 1.0 {
                return Err(s.error_at(
                    "until",
                    "this fault ends when it begins",
                    "write a later time of day, or take `until` out for a fault that lasts",
                ));
            }
            from_s + lasts
        }
    };
    Ok((from_s, until_s))
}

fn find(name: &Name, kind: &str, known: &[&str]) -> Result<usize, Diagnostic> {
    known
        .iter()
        .position(|k| *k == name.text)
        .ok_or_else(|| name.unknown(kind, known.iter().copied()))
}

fn find_zone(name: &Name, scenario: &Scenario) -> Result<usize, Diagnostic> {
    let known: Vec<&str> = scenario.zones.iter().map(|z| z.name.as_str()).collect();
    find(name, "zone", &known)
}

fn zone(s: &Section<'_>, scenario: &Scenario) -> Result<usize, Diagnostic> {
    find_zone(&s.name("zone").required()?, scenario)
}

/// An outlet that has a damper, with its channel.
fn damper(name: &Name, scenario: &Scenario) -> Result<(usize, usize), Diagnostic> {
    let known: Vec<&str> = scenario.outlets.iter().map(|o| o.name.as_str()).collect();
    let outlet = find(name, "outlet", &known)?;
    match scenario
        .control
        .outlet_channel
        .get(outlet)
        .copied()
        .flatten()
    {
        Some(channel) => Ok((outlet, channel)),
        None => Err(
            Diagnostic::at(&name.at, format!("outlet \"{name}\" has no damper"))
                .advise("name an outlet that has a `channel`"),
        ),
    }
}

fn damper_stuck(s: &Section<'_>, scenario: &Scenario) -> Result<Arc<dyn Fault>, Diagnostic> {
    let outlet = s.name("outlet").optional()?;
    let zone = s.name("zone").optional()?;
    let stuck: Vec<(usize, usize)> = match (&outlet, &zone) {
        (Some(outlet), None) => vec![damper(outlet, scenario)?],
        (None, Some(zone)) => {
            let zone = find_zone(zone, scenario)?;
            let channel = |&o: &usize| Some((o, scenario.control.outlet_channel[o]?));
            scenario.zones[zone]
                .outlets
                .iter()
                .filter_map(channel)
                .collect()
        }
        _ => {
            return Err(s.error(
                "a stuck damper needs `outlet`, or `zone` for all of a zone's dampers",
                "write outlet = \"study\"",
            ));
        }
    };
    let (outlets, channels) = stuck.into_iter().unzip();
    let position = s.fraction("position").optional()?;
    if position.is_none() {
        let path = format!("{}.position", s.path());
        s.note(&path, "where it stands when the fault begins", SHEET);
    }
    let blade = s
        .choice("feedback", &[("motor", false), ("blade", true)])
        .or(
            false,
            "a loose shaft: the motor turns on and reports its travel",
        )?;
    let feedback = if blade {
        Feedback::Blade { channels }
    } else {
        Feedback::Motor
    };
    Ok(Arc::new(DamperStuck {
        outlets,
        position,
        feedback,
    }))
}

fn pair<'n>(s: &Section<'_>, key: &str, names: &'n [Name]) -> Result<[&'n Name; 2], Diagnostic> {
    match names {
        [a, b] => Ok([a, b]),
        _ => Err(s.error_at(
            key,
            format!("two are crossed, and this names {}", names.len()),
            format!("write two names: {key} = [\"living\", \"study\"]"),
        )),
    }
}

fn dampers_crossed(s: &Section<'_>, scenario: &Scenario) -> Result<Arc<dyn Fault>, Diagnostic> {
    let zones = s.names("zones").optional()?;
    let outlets = s.names("outlets").optional()?;
    let same = |key: &str| {
        s.error_at(
            key,
            "both dampers belong to one zone, which commands them alike: crossing them changes nothing",
            "name dampers of two zones",
        )
    };
    match (&zones, &outlets) {
        (Some(zones), None) => {
            let [a, b] = pair(s, "zones", zones)?;
            let zones = [find_zone(a, scenario)?, find_zone(b, scenario)?];
            let crossed = DampersCrossed::zones(scenario, zones).ok_or_else(|| same("zones"))?;
            Ok(Arc::new(crossed))
        }
        (None, Some(outlets)) => {
            let [a, b] = pair(s, "outlets", outlets)?;
            let ((a, at_a), (b, at_b)) = (damper(a, scenario)?, damper(b, scenario)?);
            let owner = |o: usize| scenario.zones.iter().position(|z| z.outlets.contains(&o));
            match (owner(a), owner(b)) {
                (Some(x), Some(y)) if x != y => Ok(Arc::new(DampersCrossed {
                    zones: [x, y],
                    wiring: vec![(at_a, at_b), (at_b, at_a)],
                })),
                _ => Err(same("outlets")),
            }
        }
        _ => Err(s.error(
            "crossed dampers need `zones`, or `outlets` for single dampers",
            "write zones = [\"living\", \"study\"]",
        )),
    }
}

fn has_relief(s: &Section<'_>, scenario: &Scenario) -> Result<(), Diagnostic> {
    if scenario.relief.is_some() {
        return Ok(());
    }
    Err(s.error_at(
        "kind",
        "the scenario has no relief to go wrong",
        "give it one in [relief], or take this fault out",
    ))
}

fn relief_stuck(s: &Section<'_>, scenario: &Scenario) -> Result<Arc<dyn Fault>, Diagnostic> {
    has_relief(s, scenario)?;
    Ok(Arc::new(ReliefStuck {
        position: s.fraction("position").required()?,
    }))
}

fn relief_undersized(s: &Section<'_>, scenario: &Scenario) -> Result<Arc<dyn Fault>, Diagnostic> {
    has_relief(s, scenario)?;
    Ok(Arc::new(ReliefUndersized {
        factor: s
            .fraction("factor")
            .within(0.01, 1.0)
            .or(0.5, "half of its flow; our own choice")?,
    }))
}

fn filter_blocked(s: &Section<'_>, _scenario: &Scenario) -> Result<Arc<dyn Fault>, Diagnostic> {
    Ok(Arc::new(FilterBlocked {
        factor: s
            .number("factor")
            .within(1.0, 100.0)
            .or(6.0, "well past changing; our own choice")?,
    }))
}

fn sensor_lost(s: &Section<'_>, scenario: &Scenario) -> Result<Arc<dyn Fault>, Diagnostic> {
    Ok(Arc::new(SensorLost {
        zone: zone(s, scenario)?,
    }))
}

fn sensor_frozen(s: &Section<'_>, scenario: &Scenario) -> Result<Arc<dyn Fault>, Diagnostic> {
    Ok(Arc::new(SensorFrozen {
        zone: zone(s, scenario)?,
        reading_c: s
            .quantity("reading", Dimension::Temperature)
            .within(-20.0, 60.0)
            .optional()?,
    }))
}

fn sensor_offset(s: &Section<'_>, scenario: &Scenario) -> Result<Arc<dyn Fault>, Diagnostic> {
    Ok(Arc::new(SensorOffset {
        zone: zone(s, scenario)?,
        offset_k: s
            .quantity("offset", Dimension::TemperatureDifference)
            .within(-20.0, 20.0)
            .required()?,
    }))
}

fn sensor_in_sun(s: &Section<'_>, scenario: &Scenario) -> Result<Arc<dyn Fault>, Diagnostic> {
    let zone = zone(s, scenario)?;
    let rise_k = s
        .quantity("rise", Dimension::TemperatureDifference)
        .within(0.1, 20.0)
        .or(3.0, COMMON)?;
    let from = s.time_of_day("from").optional()?;
    let to = s.time_of_day("to").optional()?;
    let facade = s.has("faces") || s.has("azimuth");
    let sun = match (from, to, facade) {
        (Some(from), Some(to), false) => {
            if to <= from {
                return Err(s.error_at(
                    "to",
                    "the sun leaves the sensor before it reaches it",
                    "write a time of day later than `from`",
                ));
            }
            SunOnSensor::Hours {
                start_s: f64::from(scenario.run.start.num_seconds_from_midnight()),
                from_s: f64::from(from) * 60.0,
                to_s: f64::from(to) * 60.0,
            }
        }
        (None, None, true) => on_facade(&faces(s)?, scenario),
        _ => {
            return Err(s.error(
                "a sensor in the sun needs `faces`, or `from` and `to`",
                "write faces = \"west\" for the sun through a window of that side, or \
                 from = \"15:00\", to = \"19:00\"",
            ));
        }
    };
    Ok(Arc::new(SensorInSun { zone, rise_k, sun }))
}

/// The direct sun on a façade through the run, every five minutes.
pub(crate) fn on_facade(surface: &Surface, scenario: &Scenario) -> SunOnSensor {
    const EVERY_S: f64 = 300.0;
    let steps = (scenario.run.duration_s / EVERY_S).ceil() as i64;
    let share = |i: i64| {
        // No weather is known beyond the end of the run.
        let t_s = (i as f64 * EVERY_S).min(scenario.run.duration_s);
        let local = scenario.run.start + TimeDelta::milliseconds((t_s * 1000.0) as i64);
        let sun = scenario.site.sun(local);
        let sky = scenario.weather.sample(&scenario.site, local, &sun);
        irradiance_on(surface, &sun, sky.dni_w_m2, sky.dhi_w_m2, ALBEDO).beam / BEAM_W_M2
    };
    SunOnSensor::Facade {
        every_s: EVERY_S,
        shares: (0..=steps).map(share).collect(),
    }
}

fn chain_broken(s: &Section<'_>, scenario: &Scenario) -> Result<Arc<dyn Fault>, Diagnostic> {
    let behind = s.count("behind").required()?;
    let fault = ChainBroken::behind(scenario, behind);
    if fault.beyond.is_empty() {
        let dampers = scenario.control.actuators.len();
        return Err(s.error_at(
            "behind",
            format!("the chain has {dampers} dampers, so no damper lies behind number {behind}"),
            format!("write a count from 0 to {}", dampers.saturating_sub(1)),
        ));
    }
    Ok(Arc::new(fault))
}

fn radio_lost(s: &Section<'_>, scenario: &Scenario) -> Result<Arc<dyn Fault>, Diagnostic> {
    Ok(Arc::new(RadioLost {
        zone: zone(s, scenario)?,
        fallback_s: s
            .quantity("fallback_after", Dimension::Time)
            .within(0.0, DAY_S)
            .or(1800.0, COMMON)?,
    }))
}

fn wrong_mode(s: &Section<'_>, _scenario: &Scenario) -> Result<Arc<dyn Fault>, Diagnostic> {
    let modes = [("cooling", Mode::Cooling), ("heating", Mode::Heating)];
    Ok(Arc::new(WrongMode {
        stuck_in: s.choice("stuck_in", &modes).optional()?,
    }))
}
