//! `[[fault]]`: what is broken, and when.

use chrono::{NaiveDateTime, Timelike};

use super::Scenario;
use super::control::MODES;
use super::diagnostic::Diagnostic;
use super::house::faces;
use super::reader::{Name, Section};
use crate::fault::{Fault, Kind, OutletPart, Parts, Scheduled, SunOnSensor, ZonePart};

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

/// Words of the kinds.
pub(super) const KINDS: [&str; Kind::ALL.len()] = {
    let mut words = [""; Kind::ALL.len()];
    let mut i = 0;
    while i < words.len() {
        words[i] = Kind::ALL[i].about().name;
        i += 1;
    }
    words
};

/// Whether the blade itself reports a position, not the motor.
pub(super) const FEEDBACK: [(&str, bool); 2] = [("motor", false), ("blade", true)];

pub(super) fn faults(top: &Section<'_>, scenario: &Scenario) -> Result<Vec<Scheduled>, Diagnostic> {
    let kinds: Vec<(&str, Kind)> = KINDS.into_iter().zip(Kind::ALL.iter().copied()).collect();
    let parts = scenario.parts();
    let sections = top.list("fault");
    let read = sections.iter().map(|s| {
        let fault = fault(s.choice("kind", &kinds)?, s, &parts)?;
        let (from_s, until_s) = times(s, scenario)?;
        Ok(Scheduled {
            from_s,
            until_s,
            fault,
        })
    });
    Diagnostic::gather(read)
}

/// Seconds from `t_s` into the run until the clock next shows a minute of the day.
fn next_s(start: NaiveDateTime, t_s: f64, minute: u32) -> f64 {
    let now_s = f64::from(start.num_seconds_from_midnight()) + t_s;
    (f64::from(minute) * 60.0 - now_s).rem_euclid(DAY_S)
}

/// `at` or `after`, then `until` or `for`.
fn times(s: &Section<'_>, scenario: &Scenario) -> Result<(f64, f64), Diagnostic> {
    let (start, end_s) = (scenario.run.start, scenario.run.duration_s);
    let at: Option<u32> = s.opt("at")?;
    let after: Option<f64> = s.opt("after")?;
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
    let until: Option<u32> = s.opt("until")?;
    let lasts: Option<f64> = s.opt("for")?;
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
    let zone = || find_zone(&s.get("zone")?, parts);
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
            let position = s.get("position")?;
            Fault::ReliefStuck { position }
        }
        Kind::ReliefUndersized => {
            has_relief()?;
            let flow_fraction = s.get("flow_fraction")?;
            Fault::ReliefUndersized { flow_fraction }
        }
        Kind::FilterBlocked => Fault::FilterBlocked {
            resistance_factor: s.get("resistance_factor")?,
        },
        Kind::SensorLost => Fault::SensorLost { zone: zone()? },
        Kind::SensorFrozen => Fault::SensorFrozen {
            zone: zone()?,
            reading_c: s.opt("reading")?,
        },
        Kind::SensorOffset => Fault::SensorOffset {
            zone: zone()?,
            offset_k: s.get("offset")?,
        },
        Kind::SensorInSun => Fault::SensorInSun {
            zone: zone()?,
            rise_k: s.get("rise")?,
            sun: sun(s)?,
        },
        Kind::BusOpen => {
            let after: usize = s.get("after_damper")?;
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
            fallback_s: s.get("fallback_after")?,
        },
        Kind::WrongMode => Fault::WrongMode {
            stuck_in: s.choice_opt("stuck_in", &MODES)?,
        },
    })
}

fn damper_stuck(s: &Section<'_>, parts: &Parts<'_>) -> Result<Fault, Diagnostic> {
    let (outlet, zone): (Option<Name>, Option<Name>) = (s.opt("outlet")?, s.opt("zone")?);
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
    let position = s.opt("position")?;
    if position.is_none() {
        s.taken("position", "where it is when the fault begins")?;
    }
    let blade = s.choice("feedback", &FEEDBACK)?;
    Ok(Fault::DamperStuck {
        outlets,
        position,
        blade_reported_by: if blade { channels } else { Vec::new() },
    })
}

fn dampers_crossed(s: &Section<'_>, parts: &Parts<'_>) -> Result<Fault, Diagnostic> {
    let zones: Option<Vec<Name>> = s.opt("zones")?;
    let outlets: Option<Vec<Name>> = s.opt("outlets")?;
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
    let (from, to): (Option<u32>, Option<u32>) = (s.opt("from")?, s.opt("to")?);
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
