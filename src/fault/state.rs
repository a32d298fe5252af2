//! Faults with their times, and what they hold while they last.

use super::effect::{Now, Plant, Readings};
use super::{Fault, SensorSun};
use crate::control::Commands;

/// A fault with its time.
#[derive(Clone, Debug, PartialEq)]
pub struct Scheduled {
    /// When it begins, s since the start of the run.
    pub from_s: f64,
    /// When it ends; infinite when it lasts.
    pub until_s: f64,
    /// The fault.
    pub fault: Fault,
}

impl Scheduled {
    /// A fault that lasts from the start of the run.
    pub fn always(fault: Fault) -> Scheduled {
        Scheduled {
            from_s: 0.0,
            until_s: f64::INFINITY,
            fault,
        }
    }

    /// Whether it lasts at `t_s`.
    fn lasts_at(&self, t_s: f64) -> bool {
        // A hair of slack, so that counted times fall on the step they stand for.
        t_s >= self.from_s - 1e-6 && t_s < self.until_s - 1e-6
    }
}

/// Which faults last, and what each holds; in the order of the list.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct FaultState {
    memory: Vec<Memory>,
}

#[derive(Clone, Debug, PartialEq)]
struct Memory {
    lasts: bool,
    held: Vec<Option<f64>>,
}

impl FaultState {
    /// No fault has begun.
    pub fn new(list: &[Scheduled]) -> FaultState {
        let memory = |s: &Scheduled| Memory {
            lasts: false,
            held: vec![None; s.fault.slots()],
        };
        FaultState {
            memory: list.iter().map(memory).collect(),
        }
    }

    /// Begins and ends faults whose time has come; `turned` hears which, and whether it begins.
    pub fn turn(&mut self, list: &[Scheduled], t_s: f64, mut turned: impl FnMut(&Scheduled, bool)) {
        for (s, m) in list.iter().zip(&mut self.memory) {
            let lasts = s.lasts_at(t_s);
            if lasts != m.lasts {
                m.lasts = lasts;
                m.held.fill(None);
                turned(s, lasts);
            }
        }
    }

    fn lasting<'l>(
        &mut self,
        list: &'l [Scheduled],
    ) -> impl Iterator<Item = (&'l Scheduled, &mut [Option<f64>])> {
        let both = list.iter().zip(&mut self.memory);
        both.filter(|(_, m)| m.lasts)
            .map(|(s, m)| (s, m.held.as_mut_slice()))
    }

    /// What the controller is told, in the order of the list.
    pub fn readings(
        &mut self,
        list: &[Scheduled],
        t_s: f64,
        sun: &mut SensorSun<'_>,
        readings: &mut Readings<'_>,
    ) {
        for (s, held) in self.lasting(list) {
            let since_s = t_s - s.from_s;
            s.fault.readings(Now { t_s, since_s }, held, sun, readings);
        }
    }

    /// What motors and unit are told, in the order of the list.
    pub fn commands(&mut self, list: &[Scheduled], commands: &mut Commands) {
        for (s, _) in self.lasting(list) {
            s.fault.commands(commands);
        }
    }

    /// What the air side does, in the order of the list.
    pub fn plant(&mut self, list: &[Scheduled], plant: &mut Plant<'_>) {
        for (s, held) in self.lasting(list) {
            s.fault.plant(held, plant);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fault_lasts_from_its_first_step_up_to_its_last() {
        let s = Scheduled {
            until_s: 20.0,
            from_s: 10.0,
            ..Scheduled::always(Fault::SensorLost { zone: 0 })
        };
        assert!(!s.lasts_at(9.0) && s.lasts_at(10.0) && s.lasts_at(19.0) && !s.lasts_at(20.0));
        assert!(s.lasts_at(10.0 - 1e-9), "rounding of counted steps");
    }

    #[test]
    fn what_was_held_is_forgotten_when_a_fault_begins_again() {
        let list = [Scheduled {
            until_s: 10.0,
            ..Scheduled::always(Fault::DamperStuck {
                outlets: vec![0],
                position: None,
                blade_reported_by: Vec::new(),
            })
        }];
        let mut state = FaultState::new(&list);
        let opening = |state: &mut FaultState, wanted: f64| {
            let mut openings = [wanted];
            let mut plant = Plant {
                openings: &mut openings,
                air: &mut crate::plant::air_side::Impairment::NONE.clone(),
            };
            state.plant(&list, &mut plant);
            openings[0]
        };
        let mut turns = Vec::new();
        state.turn(&list, 0.0, |_, begins| turns.push(begins));
        assert_eq!(opening(&mut state, 0.3), 0.3);
        assert_eq!(opening(&mut state, 0.8), 0.3);
        state.turn(&list, 10.0, |_, begins| turns.push(begins));
        assert_eq!(opening(&mut state, 0.8), 0.8);
        state.turn(&list, 0.0, |_, begins| turns.push(begins));
        assert_eq!(opening(&mut state, 0.9), 0.9);
        assert_eq!(turns, [true, false, true]);
    }
}
