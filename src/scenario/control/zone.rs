//! `[zone.<name>]`, `[thermostat]`, `[dampers]`.

use crate::control::Mode;
use crate::control::clock::weekday_of;
use crate::control::damper::{Damper, Modulating};
use crate::control::mode::ModeRule;
use crate::control::optimum_start::OptimumStart;
use crate::control::thermostat::{Differential, Placement, Sensor};
use crate::control::timetable::{Days, Period, Setpoints, Timetable};
use crate::control::zone::{LostSensor, Unscheduled, ZoneSpec};
use crate::scenario::air::AirParts;
use crate::scenario::diagnostic::Diagnostic;
use crate::scenario::house::{Rooms, hours};
use crate::scenario::reader::{FromParsed, Name, Section};

/// The gap that keeps an unwritten setpoint out of the way of a single-mode system, K.
const FAR_K: f64 = 10.0;

/// A zone of the scenario beside what the controller knows of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Zone {
    /// Name.
    pub name: String,
    /// Room that holds its thermostat.
    pub room: usize,
    /// Outlets it drives.
    pub outlets: Vec<usize>,
    /// Its sensor.
    pub sensor: Sensor,
    /// Width of its differential, K.
    pub differential_k: f64,
}

pub(in crate::scenario) const PLACEMENTS: [(&str, Placement); 2] = [
    ("centred", Placement::Centred),
    ("one-sided", Placement::OneSided),
];

#[derive(Clone, Copy)]
pub(in crate::scenario) enum Motion {
    TwoPosition,
    Modulating,
}

pub(in crate::scenario) const DAMPERS: [(&str, Motion); 2] = [
    ("two-position", Motion::TwoPosition),
    ("modulating", Motion::Modulating),
];

/// What holds for zones that say nothing else.
pub(super) struct Defaults<'a> {
    thermostat: Section<'a>,
    dampers: Section<'a>,
    placement: Placement,
    optimum: Option<OptimumStart>,
    guard: Option<Setpoints>,
    only: Option<Mode>,
}

impl<'a> Defaults<'a> {
    pub(super) fn read(
        top: &Section<'a>,
        rule: &ModeRule,
        optimum: Option<OptimumStart>,
        guard: Option<Setpoints>,
    ) -> Result<Self, Diagnostic> {
        let thermostat = top.table("thermostat");
        Ok(Self {
            placement: thermostat.choice("placement", &PLACEMENTS)?,
            thermostat,
            dampers: top.table("dampers"),
            optimum,
            guard,
            only: match rule {
                ModeRule::Fixed(mode) => Some(*mode),
                _ => None,
            },
        })
    }
}

/// The value of a key as the zone has it, else as all have it.
fn own_or<T: FromParsed>(own: &Section<'_>, all: &Section<'_>, key: &str) -> Result<T, Diagnostic> {
    own.opt(key)?.map_or_else(|| all.get(key), Ok)
}

fn sensor(s: &Section<'_>, all: &Section<'_>) -> Result<Sensor, Diagnostic> {
    Ok(Sensor {
        lag_s: own_or(s, all, "lag")?,
        offset_k: own_or(s, all, "offset")?,
        noise_k: own_or(s, all, "noise")?,
        resolution_k: own_or(s, all, "resolution")?,
        sample_s: own_or(s, all, "sample_interval")?,
        wall_weight: own_or(s, all, "wall_weight")?,
    })
}

fn damper(s: &Section<'_>, all: &Section<'_>) -> Result<Damper, Diagnostic> {
    let own = s.choice_opt("control", &DAMPERS)?;
    match own.map_or_else(|| all.choice("control", &DAMPERS), Ok)? {
        Motion::TwoPosition => Ok(Damper::TwoPosition),
        Motion::Modulating => Ok(Damper::Modulating(Modulating {
            proportional_band_k: own_or(s, all, "proportional_band")?,
            minimum_open: own_or(s, all, "minimum_opening")?,
            integral_s: own_or(s, all, "integral_time")?,
            dead_band: own_or(s, all, "dead_band")?,
            update_s: own_or(s, all, "update_interval")?,
        })),
    }
}

pub(super) fn zone(
    s: &Section<'_>,
    name: &Name,
    rooms: &Rooms,
    air: &AirParts,
    outlets: Vec<usize>,
    d: &Defaults<'_>,
) -> Result<(Zone, ZoneSpec), Diagnostic> {
    let room = rooms.find(&s.get("thermostat")?)?;
    let served: Vec<usize> = outlets.iter().map(|&o| air.spec.outlets[o].room).collect();
    if !served.contains(&room) {
        let names: Vec<&str> = served.iter().map(|&r| rooms.names[r].as_str()).collect();
        let what = format!(
            "the thermostat of zone \"{name}\" is in a room that none of its outlets serve"
        );
        let advice = format!("put it in one of: {}", names.join(", "));
        return Err(s.error_at("thermostat", what, advice));
    }
    let base = setpoints(s, d.only)?;
    let timetable = Timetable::new(schedule(s, base, d.only)?).map_err(|e| {
        let advice = "correct the schedule; its periods may not overlap";
        s.error_at("schedule", e.to_string(), advice)
    })?;
    let unscheduled = match (setback(s, base, d.only)?, d.guard) {
        (Some(set), _) => Unscheduled::Setback(set),
        (None, Some(guard)) => Unscheduled::Guard(guard),
        (None, None) => Unscheduled::Shut,
    };
    let width_k = own_or(s, &d.thermostat, "differential")?;
    let design = outlets
        .iter()
        .map(|&o| air.spec.outlets[o].design_flow_m3_s);
    let lost: Option<f64> = s.opt("opening_on_lost_sensor")?;
    let optimum_start = match d.optimum {
        Some(optimum) => s.get::<bool>("optimum_start")?.then_some(optimum),
        None => None,
    };
    let spec = ZoneSpec {
        name: name.text.clone(),
        weight: s.opt("weight")?.unwrap_or_else(|| design.sum()),
        timetable,
        unscheduled,
        optimum_start,
        differential: Differential {
            width_k,
            placement: d.placement,
        },
        damper: damper(s, &d.dampers)?,
        opening_when_satisfied: s.get("opening_when_satisfied")?,
        lost_sensor: lost.map_or(LostSensor::NoCall, LostSensor::FixedOpening),
        lowest_c: s.get("minimum_setpoint")?,
        highest_c: s.get("maximum_setpoint")?,
        enabled: s.get("on")?,
    };
    let zone = Zone {
        name: name.text.clone(),
        room,
        outlets,
        sensor: sensor(s, &d.thermostat)?,
        differential_k: width_k,
    };
    Ok((zone, spec))
}

/// Setpoints of which a single-mode system only looks at one.
fn of_one_mode(mode: Mode, setpoint_c: f64) -> Setpoints {
    match mode {
        Mode::Cooling => Setpoints {
            cooling_c: setpoint_c,
            heating_c: setpoint_c - FAR_K,
        },
        Mode::Heating => Setpoints {
            cooling_c: setpoint_c + FAR_K,
            heating_c: setpoint_c,
        },
    }
}

fn setpoints(s: &Section<'_>, only: Option<Mode>) -> Result<Setpoints, Diagnostic> {
    match only {
        Some(mode) => Ok(of_one_mode(mode, s.get(mode.name())?)),
        None => Ok(Setpoints {
            cooling_c: s.get("cooling")?,
            heating_c: s.get("heating")?,
        }),
    }
}

fn schedule(
    s: &Section<'_>,
    base: Setpoints,
    only: Option<Mode>,
) -> Result<Vec<Period>, Diagnostic> {
    if !s.has("schedule") {
        let path = format!("{}.schedule", s.path());
        s.note(path, "all day, every day".into(), "no schedule written");
        return Ok(vec![Period {
            days: Days::ALL,
            from_min: 0,
            to_min: 1440,
            setpoints: base,
        }]);
    }
    let periods = s.list("schedule");
    let read = periods.iter().map(|period| {
        let hours = hours(period)?;
        let setpoints = match only {
            Some(mode) => {
                let own: Option<f64> = period.opt(mode.name())?;
                own.map_or(base, |own| of_one_mode(mode, own))
            }
            None => Setpoints {
                cooling_c: period.opt("cooling")?.unwrap_or(base.cooling_c),
                heating_c: period.opt("heating")?.unwrap_or(base.heating_c),
            },
        };
        let days: Vec<chrono::Weekday> = (0..7u16)
            .filter(|day| hours.days >> day & 1 == 1)
            .map(|day| weekday_of(day * 1440))
            .collect();
        Ok(Period {
            days: Days::of(&days),
            from_min: hours.from_min,
            to_min: hours.to_min,
            setpoints,
        })
    });
    Diagnostic::gather(read)
}

fn setback(
    s: &Section<'_>,
    base: Setpoints,
    only: Option<Mode>,
) -> Result<Option<Setpoints>, Diagnostic> {
    let of = |mode: Mode, key: &str| match only {
        Some(other) if other != mode => Ok(None),
        _ => s.opt::<f64>(key),
    };
    let cooling = of(Mode::Cooling, "setback_cooling")?;
    let heating = of(Mode::Heating, "setback_heating")?;
    let any = cooling.is_some() || heating.is_some();
    Ok(any.then(|| Setpoints {
        cooling_c: cooling.unwrap_or(base.cooling_c + FAR_K),
        heating_c: heating.unwrap_or(base.heating_c - FAR_K),
    }))
}
