//! Faults: a layer between readings, commands and plant.
//!
//! A fault never edits who owns which channel. It changes what the controller is told
//! ([`Fault::readings`]), what motors and unit are told ([`Fault::commands`]), or what the air side
//! does with it ([`Fault::plant`]); the controller sees only what it would really see.
//!
//! To add a kind: write its file here, and name it in the list of `scenario/fault.rs`, where its
//! keys are read.

mod chain;
mod crossed;
mod damper;
mod filter;
mod mode;
mod radio;
mod relief;
mod sensor;

pub use chain::ChainBroken;
pub use crossed::DampersCrossed;
pub use damper::{DamperStuck, Feedback};
pub use filter::FilterBlocked;
pub use mode::WrongMode;
pub use radio::RadioLost;
pub use relief::{ReliefStuck, ReliefUndersized};
pub use sensor::{BEAM_W_M2, SensorFrozen, SensorInSun, SensorLost, SensorOffset, SunOnSensor};

use std::fmt::Debug;
use std::sync::Arc;

use crate::control::Commands;
use crate::engine::event::{Event, What};
use crate::plant::air_side::Impairment;
use crate::scenario::Scenario;

/// The instant at which a fault acts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Now {
    /// Seconds since the start of the run.
    pub t_s: f64,
    /// Seconds since the fault began.
    pub since_s: f64,
}

/// What the controller is about to be told.
#[derive(Debug)]
pub struct Readings<'a> {
    /// Thermostat reading of each zone, °C; NaN when lost.
    pub zone_c: &'a mut [f64],
    /// Reported position of each channel's damper, 0 to 1; NaN when lost.
    pub damper_position: &'a mut [f64],
}

/// What the air side is about to do.
#[derive(Debug)]
pub struct Plant<'a> {
    /// Opening of each outlet's blade, 0 to 1.
    pub openings: &'a mut [f64],
    /// Filter and relief.
    pub air: &'a mut Impairment,
}

/// Zones and outlets that a fault sits in, by index.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Concerns {
    /// Zones.
    pub zones: Vec<usize>,
    /// Outlets.
    pub outlets: Vec<usize>,
}

/// One kind of fault. Every stage does nothing unless a kind says otherwise.
///
/// `held` is what the fault remembers while it lasts: [`Fault::slots`] numbers, NaN when it begins.
pub trait Fault: Debug + Send + Sync {
    /// Its word in a scenario file, such as `damper stuck`.
    fn kind(&self) -> &'static str;

    /// What it sits in: a zone, an outlet, `relief`, `filter`, `unit`, `dampers`.
    fn subject(&self, scenario: &Scenario) -> String;

    /// The fault in a few words, such as `damper of study stuck at 30 %`.
    fn words(&self, scenario: &Scenario) -> String;

    /// Zones and outlets it sits in; none for a fault of the whole system.
    fn concerns(&self, scenario: &Scenario) -> Concerns;

    /// How many numbers it remembers.
    fn slots(&self) -> usize {
        0
    }

    /// Changes what the controller is told.
    fn readings(&self, _now: &Now, _held: &mut [f64], _readings: &mut Readings<'_>) {}

    /// Changes what motors and unit are told.
    fn commands(&self, _now: &Now, _held: &mut [f64], _commands: &mut Commands) {}

    /// Changes what the air side does; in the same way for as long as the fault lasts.
    fn plant(&self, _now: &Now, _held: &mut [f64], _plant: &mut Plant<'_>) {}
}

/// A fault with its time.
#[derive(Clone, Debug)]
pub struct Scheduled {
    /// When it begins, s since the start of the run.
    pub from_s: f64,
    /// When it ends; infinite when it lasts.
    pub until_s: f64,
    /// The fault.
    pub fault: Arc<dyn Fault>,
}

impl Scheduled {
    /// A fault that lasts from the start of the run.
    pub fn always(fault: impl Fault + 'static) -> Scheduled {
        Scheduled {
            from_s: 0.0,
            until_s: f64::INFINITY,
            fault: Arc::new(fault),
        }
    }

    /// Whether it lasts at `t_s`.
    fn lasts_at(&self, t_s: f64) -> bool {
        // A hair of slack, so that counted times fall on the step they stand for.
        t_s >= self.from_s - 1e-6 && t_s < self.until_s - 1e-6
    }
}

/// What the layer remembers from one step to the next.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct FaultState {
    memory: Vec<Memory>,
}

#[derive(Clone, Debug, PartialEq)]
struct Memory {
    lasts: bool,
    /// Held by the readings, by the commands and by the plant in turn.
    held: [Vec<f64>; 3],
}

impl FaultState {
    /// No fault has begun.
    pub fn new(list: &[Scheduled]) -> FaultState {
        let memory = |s: &Scheduled| Memory {
            lasts: false,
            held: std::array::from_fn(|_| vec![f64::NAN; s.fault.slots()]),
        };
        FaultState {
            memory: list.iter().map(memory).collect(),
        }
    }

    /// Begins and ends faults whose time has come, and tells of it.
    pub fn turn(
        &mut self,
        list: &[Scheduled],
        t_s: f64,
        scenario: &Scenario,
        events: &mut Vec<Event>,
    ) {
        for (s, m) in list.iter().zip(&mut self.memory) {
            let lasts = s.lasts_at(t_s);
            if lasts == m.lasts {
                continue;
            }
            m.lasts = lasts;
            m.held.iter_mut().for_each(|h| h.fill(f64::NAN));
            let verb = if lasts { "begins" } else { "ends" };
            events.push(Event {
                t_s,
                what: What::Fault,
                subject: s.fault.subject(scenario),
                cause: s.fault.kind().to_string(),
                value: f64::from(u8::from(lasts)),
                text: format!("fault {verb}: {}", s.fault.words(scenario)),
            });
        }
    }

    fn each(
        &mut self,
        list: &[Scheduled],
        t_s: f64,
        stage: usize,
        mut act: impl FnMut(&Scheduled, &Now, &mut [f64]),
    ) {
        for (s, m) in list.iter().zip(&mut self.memory) {
            if m.lasts {
                let since_s = t_s - s.from_s;
                act(s, &Now { t_s, since_s }, &mut m.held[stage]);
            }
        }
    }

    /// What the controller is told, in the order of the list.
    pub fn readings(&mut self, list: &[Scheduled], t_s: f64, readings: &mut Readings<'_>) {
        self.each(list, t_s, 0, |s, now, held| {
            s.fault.readings(now, held, readings)
        });
    }

    /// What motors and unit are told, in the order of the list.
    pub fn commands(&mut self, list: &[Scheduled], t_s: f64, commands: &mut Commands) {
        self.each(list, t_s, 1, |s, now, held| {
            s.fault.commands(now, held, commands)
        });
    }

    /// What the air side does, in the order of the list.
    pub fn plant(&mut self, list: &[Scheduled], t_s: f64, plant: &mut Plant<'_>) {
        self.each(list, t_s, 2, |s, now, held| s.fault.plant(now, held, plant));
    }
}

/// Name of a zone, for words.
fn zone_name(scenario: &Scenario, zone: usize) -> &str {
    scenario.zones.get(zone).map_or("?", |z| z.name.as_str())
}

/// Names of outlets, for words.
fn outlet_names(scenario: &Scenario, outlets: &[usize]) -> String {
    let name = |&o: &usize| scenario.outlets.get(o).map_or("?", |o| o.name.as_str());
    outlets.iter().map(name).collect::<Vec<_>>().join(" and ")
}

/// The zones that drive any of these outlets.
fn zones_of(scenario: &Scenario, outlets: &[usize]) -> Vec<usize> {
    let drives = |z: &crate::scenario::control::Zone| z.outlets.iter().any(|o| outlets.contains(o));
    (0..scenario.zones.len())
        .filter(|&z| drives(&scenario.zones[z]))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fault_lasts_from_its_first_step_up_to_its_last() {
        let s = Scheduled {
            until_s: 20.0,
            from_s: 10.0,
            ..Scheduled::always(SensorLost { zone: 0 })
        };
        assert!(!s.lasts_at(9.0) && s.lasts_at(10.0) && s.lasts_at(19.0) && !s.lasts_at(20.0));
        assert!(s.lasts_at(10.0 - 1e-9), "rounding of counted steps");
    }

    #[test]
    fn memory_is_blank_when_a_fault_begins_again() {
        let list = [Scheduled::always(SensorFrozen {
            zone: 0,
            reading_c: None,
        })];
        let mut state = FaultState::new(&list);
        state.memory[0].lasts = true;
        let mut read = |c: f64| {
            let mut zone_c = [c];
            let mut r = Readings {
                zone_c: &mut zone_c,
                damper_position: &mut [],
            };
            state.readings(&list, 0.0, &mut r);
            zone_c[0]
        };
        assert_eq!((read(21.0), read(25.0)), (21.0, 21.0));
        state.memory[0].held[0].fill(f64::NAN);
        let mut zone_c = [25.0];
        let mut r = Readings {
            zone_c: &mut zone_c,
            damper_position: &mut [],
        };
        state.readings(&list, 0.0, &mut r);
        assert_eq!(zone_c[0], 25.0);
    }
}
