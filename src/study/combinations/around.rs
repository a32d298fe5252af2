//! What surrounds the plant while sets of zones are settled: outdoor air, rooms, doors.

use super::{ModeAt, Options};
use crate::control::Mode;
use crate::control::mode::ModeRule;
use crate::plant::air::MoistAir;
use crate::plant::room::Hours;
use crate::scenario::Scenario;
use crate::study::settled::Held;

/// The modes to look at, with their outdoor air.
pub(super) fn modes(s: &Scenario, options: &Options) -> Vec<ModeAt> {
    let both = [Mode::Cooling, Mode::Heating];
    let wanted = if options.modes.is_empty() {
        match s.control.controller.spec().mode.rule {
            ModeRule::Fixed(mode) => vec![mode],
            _ => both.to_vec(),
        }
    } else {
        options.modes.clone()
    };
    let (coldest, hottest) = extremes_c(s);
    both.into_iter()
        .filter(|mode| wanted.contains(mode))
        .filter(|mode| match mode {
            Mode::Cooling => s.unit.unit.cooling.is_some(),
            Mode::Heating => s.unit.unit.heating.is_some(),
        })
        .map(|mode| ModeAt {
            mode,
            outdoor_c: match mode {
                Mode::Cooling => options.cooling_outdoor_c.unwrap_or(hottest),
                Mode::Heating => options.heating_outdoor_c.unwrap_or(coldest),
            },
        })
        .collect()
}

/// Coldest and hottest outdoor air during the run, looked at every ten minutes, °C.
fn extremes_c(s: &Scenario) -> (f64, f64) {
    let steps = (s.run.duration_s / 600.0).ceil() as i64;
    let mut range = (f64::INFINITY, f64::NEG_INFINITY);
    for i in 0..=steps {
        let local = s.run.start + chrono::TimeDelta::seconds(600 * i);
        let air_c = s.weather.sample(&s.site, local, &s.site.sun(local)).air_c;
        range = (range.0.min(air_c), range.1.max(air_c));
    }
    range
}

/// Setpoints where a scenario says nothing for a mode: those that files default to, °C.
const COOLING_C: f64 = 25.0;
const HEATING_C: f64 = 20.0;

/// Rooms as [`Options::rooms`] says; doors shut unless they never are.
pub(super) fn held(s: &Scenario, at: ModeAt, options: &Options) -> Held {
    let spec = s.control.controller.spec();
    let other_only = spec.mode.rule == ModeRule::Fixed(at.mode.other());
    let setpoint = |zone: usize| -> Option<f64> {
        let periods = spec.zones[zone].timetable.periods().iter();
        if other_only {
            return None;
        }
        match at.mode {
            Mode::Cooling => periods
                .map(|b| b.setpoints.cooling_c)
                .min_by(f64::total_cmp),
            Mode::Heating => periods
                .map(|b| b.setpoints.heating_c)
                .max_by(f64::total_cmp),
        }
    };
    let known: Vec<f64> = (0..s.zones.len()).filter_map(setpoint).collect();
    let mean = if known.is_empty() {
        match at.mode {
            Mode::Cooling => COOLING_C,
            Mode::Heating => HEATING_C,
        }
    } else {
        known.iter().sum::<f64>() / known.len() as f64
    };
    let at_setpoint = s
        .rooms
        .iter()
        .enumerate()
        .map(|(room, r)| {
            let t_c = s.zone_of_room(room).and_then(setpoint).unwrap_or(mean);
            MoistAir::from_relative_humidity(t_c, r.initial_rh, s.site.pressure_pa)
        })
        .collect();
    let asked = options.rooms.clone();
    let rooms = asked
        .filter(|r| r.len() == s.rooms.len())
        .unwrap_or(at_setpoint);
    Held {
        outdoor_c: at.outdoor_c,
        rooms,
        open_doors: s
            .doors
            .iter()
            .map(|d| d.open.contains(&Hours::ALWAYS))
            .collect(),
        dump_reaches_return: true,
    }
}
