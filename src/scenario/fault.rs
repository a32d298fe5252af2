//! `[[fault]]`: what is broken, and when.

use chrono::{NaiveDateTime, Timelike};

use super::Scenario;
use super::diagnostic::Diagnostic;
use super::house::faces;
use super::reader::{Name, Section};
use crate::control::Mode;
use crate::fault::{Fault, Kind, OutletPart, Parts, Scheduled, SunOnSensor, ZonePart};
use crate::quantity::Dimension;

const COMMON: &str = "common practice, no source";
const OURS: &str = "our own choice";
const DAY_S: f64 = 86_400.0;

impl Scenario {
    /// What faults need to know of the system.
    pub fn parts(&self) -> Parts<'_> {
        let control = &self.control;
        let zones = self.zones.iter().map(|z| ZonePart {
            name: &z.name,
            outlets: &z.outlets,
        });
        let outlets = self.outlets.iter().zip(&control.outlet_channel);
        let mut bus: Vec<(u32, usize)> = outlets
            .clone()
            .filter_map(|(o, channel)| o.channel.zip(*channel))
            .collect();
        let relief = self.relief.and_then(|r| r.channel);
        bus.extend(relief.zip(control.relief_channel));
        bus.sort_unstable();
        Parts {
            zones: zones.collect(),
            outlets: outlets
                .map(|(o, &channel)| OutletPart {
                    name: &o.name,
                    channel,
                    design_flow_m3_s: o.design_flow_m3_s,
                })
                .collect(),
            bus: bus.into_iter().map(|c| c.1).collect(),
            relief: self.relief.is_some(),
        }
    }
}

pub(super) fn faults(
    sections: &[Section<'_>],
    scenario: &Scenario,
) -> Result<Vec<Scheduled>, Diagnostic> {
    let choices: Vec<(&str, Kind)> = Kind::ALL.iter().map(|k| (k.about().name, *k)).collect();
    let parts = scenario.parts();
    let mut out = Vec::new();
    for s in sections {
        let kind = s.choice("kind", &choices).required()?;
        let fault = fault(kind, s, &parts)?;
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

fn find<'a>(
    name: &Name,
    kind: &str,
    known: impl Iterator<Item = &'a str> + Clone,
) -> Result<usize, Diagnostic> {
    known
        .clone()
        .position(|k| k == name.text)
        .ok_or_else(|| name.unknown(kind, known))
}

fn find_zone(name: &Name, parts: &Parts<'_>) -> Result<usize, Diagnostic> {
    find(name, "zone", parts.zones.iter().map(|z| z.name))
}

/// An outlet that has a damper, with its channel.
fn damper(name: &Name, parts: &Parts<'_>) -> Result<(usize, usize), Diagnostic> {
    let outlet = find(name, "outlet", parts.outlets.iter().map(|o| o.name))?;
    let channel = parts.outlets[outlet].channel.ok_or_else(|| {
        Diagnostic::at(&name.at, format!("outlet \"{name}\" has no damper"))
            .advise("name an outlet that has a `channel`")
    })?;
    Ok((outlet, channel))
}

/// The keys of a kind.
fn fault(kind: Kind, s: &Section<'_>, parts: &Parts<'_>) -> Result<Fault, Diagnostic> {
    let zone = || find_zone(&s.name("zone").required()?, parts);
    let has_relief = || {
        parts.relief.then_some(()).ok_or_else(|| {
            let advice = "give it one in [relief], or take this fault out";
            s.error_at("kind", "the scenario has no relief damper to fail", advice)
        })
    };
    Ok(match kind {
        Kind::DamperStuck => damper_stuck(s, parts)?,
        Kind::DampersCrossed => dampers_crossed(s, parts)?,
        Kind::ReliefStuck => {
            has_relief()?;
            Fault::ReliefStuck {
                position: s.fraction("position").required()?,
            }
        }
        Kind::ReliefUndersized => {
            has_relief()?;
            Fault::ReliefUndersized {
                flow_fraction: s
                    .fraction("flow_fraction")
                    .within(0.01, 1.0)
                    .or(0.5, "half of its flow; our own choice")?,
            }
        }
        Kind::FilterBlocked => Fault::FilterBlocked {
            resistance_factor: s
                .number("resistance_factor")
                .within(1.0, 100.0)
                .or(6.0, "well past changing; our own choice")?,
        },
        Kind::SensorLost => Fault::SensorLost { zone: zone()? },
        Kind::SensorFrozen => Fault::SensorFrozen {
            zone: zone()?,
            reading_c: s
                .quantity("reading", Dimension::Temperature)
                .within(-20.0, 60.0)
                .optional()?,
        },
        Kind::SensorOffset => Fault::SensorOffset {
            zone: zone()?,
            offset_k: s
                .quantity("offset", Dimension::TemperatureDifference)
                .within(-20.0, 20.0)
                .required()?,
        },
        Kind::SensorInSun => Fault::SensorInSun {
            zone: zone()?,
            rise_k: s
                .quantity("rise", Dimension::TemperatureDifference)
                .within(0.1, 20.0)
                .or(3.0, COMMON)?,
            sun: sun(s)?,
        },
        Kind::BusOpen => {
            let after = s.count("after_damper").required()?;
            parts.bus_open(after).ok_or_else(|| {
                let dampers = parts.bus.len();
                s.error_at(
                    "after_damper",
                    format!("the bus has {dampers} dampers, so none is beyond number {after}"),
                    format!("write a count from 0 to {}", dampers.saturating_sub(1)),
                )
            })?
        }
        Kind::RadioLost => Fault::RadioLost {
            zone: zone()?,
            fallback_s: s
                .quantity("fallback_after", Dimension::Time)
                .within(0.0, DAY_S)
                .or(1800.0, COMMON)?,
        },
        Kind::WrongMode => Fault::WrongMode {
            stuck_in: s
                .choice(
                    "stuck_in",
                    &[("cooling", Mode::Cooling), ("heating", Mode::Heating)],
                )
                .optional()?,
        },
    })
}

fn damper_stuck(s: &Section<'_>, parts: &Parts<'_>) -> Result<Fault, Diagnostic> {
    let outlet = s.name("outlet").optional()?;
    let zone = s.name("zone").optional()?;
    let stuck = match (&outlet, &zone) {
        (Some(outlet), None) => vec![damper(outlet, parts)?],
        (None, Some(zone)) => parts.dampers(find_zone(zone, parts)?),
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
        s.note(&path, "where it is when the fault begins", OURS);
    }
    let blade = s
        .choice("feedback", &[("motor", false), ("blade", true)])
        .or(
            false,
            "a loose shaft: the motor turns on and reports its travel",
        )?;
    Ok(Fault::DamperStuck {
        outlets,
        position,
        blade_reported_by: if blade { channels } else { Vec::new() },
    })
}

fn dampers_crossed(s: &Section<'_>, parts: &Parts<'_>) -> Result<Fault, Diagnostic> {
    let (zones, outlets) = (s.names("zones").optional()?, s.names("outlets").optional()?);
    let (key, names) = match (&zones, &outlets) {
        (Some(zones), None) => ("zones", zones),
        (None, Some(outlets)) => ("outlets", outlets),
        _ => {
            return Err(s.error(
                "crossed dampers need `zones`, or `outlets` for single dampers",
                "write zones = [\"living\", \"study\"]",
            ));
        }
    };
    let [a, b] = names.as_slice() else {
        return Err(s.error_at(
            key,
            format!("two are crossed, and this names {}", names.len()),
            format!("write two names: {key} = [\"living\", \"study\"]"),
        ));
    };
    let crossed = if key == "zones" {
        parts.crossed([find_zone(a, parts)?, find_zone(b, parts)?])
    } else {
        let dampers = [damper(a, parts)?, damper(b, parts)?];
        let owner = |o: usize| parts.zones.iter().position(|z| z.outlets.contains(&o));
        match dampers.map(|d| owner(d.0)) {
            [Some(a), Some(b)] if a != b => Some(Fault::DampersCrossed {
                zones: [a, b],
                channels: dampers.map(|d| vec![d.1]),
            }),
            _ => None,
        }
    };
    crossed.ok_or_else(|| {
        s.error_at(
            key,
            "both dampers belong to one zone, which commands them alike: crossing them changes nothing",
            "name dampers of two zones",
        )
    })
}

fn sun(s: &Section<'_>) -> Result<SunOnSensor, Diagnostic> {
    let from = s.time_of_day("from").optional()?;
    let to = s.time_of_day("to").optional()?;
    let facade = s.has("faces") || s.has("azimuth");
    match (from, to, facade) {
        (Some(from), Some(to), false) if to <= from => Err(s.error_at(
            "to",
            "the sun leaves the sensor before it reaches it",
            "write a time of day later than `from`",
        )),
        (Some(from), Some(to), false) => Ok(SunOnSensor::Hours {
            from_s: f64::from(from) * 60.0,
            to_s: f64::from(to) * 60.0,
        }),
        (None, None, true) => Ok(SunOnSensor::Facade(faces(s)?)),
        _ => Err(s.error(
            "a sensor in the sun needs `faces`, or `from` and `to`",
            "write faces = \"west\" for the sun through a window of that side, or \
             from = \"15:00\", to = \"19:00\"",
        )),
    }
}
