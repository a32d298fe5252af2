//! Everything that may be thrown away.

use super::Engine;
use super::house::House;
use super::sound::{SoundScratch, SoundStage};
use super::state::{Measured, PlantState};
use super::step::constants::StepConstants;
use crate::control::Commands;
use crate::control::actuator::ActuatorState;
use crate::fault::SensorSun;
use crate::plant::air_side::{AirScratch, AirState};
use crate::plant::drivers::Drivers;
use crate::plant::transport::Transport;

/// Memory that a step works in. Whatever it holds, even from steps of another state, results are the same:
/// what it keeps from step to step it keeps together with what it was made from.
#[derive(Clone, Debug)]
pub struct Scratch<'a> {
    /// Keeps the present minute.
    pub(super) drivers: Drivers<'a>,
    /// Constants of a step as long as so many time steps, from one upwards; they keep their flow.
    pub(super) constants: Vec<StepConstants>,
    /// Keeps the present cell of time.
    pub(super) sensor_sun: SensorSun<'a>,
    pub(super) air: AirScratch,
    pub(super) ducts: Transport,
    pub(super) house: House,
    /// The flows for which `ducts`, `house` and `measured` hold.
    flows: Vec<f64>,
    pub(super) measured: Measured,
    pub(super) sound: SoundScratch,
    // From here on nothing is read that the same step has not written.
    /// Whether the step can change any flow.
    pub(super) flows_drift: bool,
    /// Whether the step changed any flow.
    pub(super) flows_changed: bool,
    /// Blade of every channel's damper, in the mean of the step.
    pub(super) positions: Vec<f64>,
    /// Opening of every outlet, faults included.
    pub(super) openings: Vec<f64>,
    /// At the beginning of a long step.
    pub(super) before: PlantState,
    pub(super) motors_before: Vec<ActuatorState>,
    pub(super) commands_before: Commands,
}

impl<'a> Scratch<'a> {
    pub(super) fn new(engine: &Engine<'a>) -> Scratch<'a> {
        let s = engine.scenario;
        let mut house = House::new(s);
        for constants in &engine.constants {
            house.prepare(constants.dt_s);
        }
        Scratch {
            drivers: Drivers::new(
                &s.site,
                &s.weather,
                &s.rooms,
                s.doors.iter().map(|d| d.open.as_slice()).collect(),
                s.run.start,
            ),
            constants: engine.constants.clone(),
            sensor_sun: SensorSun::new(&s.site, &s.weather, s.run.start, s.run.duration_s),
            air: engine.air_side.scratch(),
            ducts: Transport::new(&s.air),
            house,
            flows: Vec::new(),
            measured: Measured::default(),
            sound: SoundStage::scratch(s.outlets.len()),
            flows_drift: false,
            flows_changed: false,
            positions: vec![0.0; s.control.actuators.len()],
            openings: vec![1.0; s.outlets.len()],
            before: engine.initial_plant(),
            motors_before: vec![ActuatorState::at(0.0); s.control.actuators.len()],
            commands_before: s.control.controller.commands(),
        }
    }

    /// The rooms, for their balance.
    pub fn house(&self) -> &House {
        &self.house
    }

    /// Sees to it that all that depends on flows is for those of `air`.
    pub(super) fn take_flows(&mut self, air: &AirState) {
        let lists = [
            &air.trunks_m3_s[..],
            &air.outlets_m3_s,
            &air.returns_m3_s,
            &air.doors_m3_s,
            &air.leaks_m3_s,
            &[air.relief_m3_s, air.fan_m3_s, air.supply_pa],
        ];
        if !self.flows_changed {
            let mut known = self.flows.as_slice();
            let same = lists.iter().all(|list| {
                let Some((part, rest)) = known.split_at_checked(list.len()) else {
                    return false;
                };
                known = rest;
                let differing = |d: u64, (a, b): (&f64, &f64)| d | (a.to_bits() ^ b.to_bits());
                part.iter().zip(*list).fold(0, differing) == 0
            });
            if same {
                return;
            }
        }
        self.flows.clear();
        lists.iter().for_each(|l| self.flows.extend_from_slice(l));
        self.ducts.refresh(air);
        self.house.take_flows(air);
        self.measured = Measured::of(air);
    }
}
