//! What reaches the controller, and what it decides.

use super::describe::noticed;
use super::{Engine, State};
use crate::control::Readings;
use crate::engine::event::{Event, What};
use crate::engine::scratch::Scratch;
use crate::engine::state::{Measured, PlantState};
use crate::fault;

/// What the unit's own sensors read: °C, and pressure and flows.
#[derive(Clone, Copy, Debug)]
pub(super) struct UnitReadings {
    supply_c: f64,
    surface_c: f64,
    return_c: f64,
    air: Measured,
}

impl UnitReadings {
    /// A part of the way from here to `end`.
    pub(super) fn towards(&self, end: &UnitReadings, part: f64) -> UnitReadings {
        let between = |a: f64, b: f64| a + part * (b - a);
        UnitReadings {
            supply_c: between(self.supply_c, end.supply_c),
            surface_c: between(self.surface_c, end.surface_c),
            return_c: between(self.return_c, end.return_c),
            air: self.air.through(&end.air, part),
        }
    }
}

impl Engine<'_> {
    /// Manual changes whose time has come.
    pub(super) fn apply_manual_changes(&self, state: &mut State, events: &mut Vec<Event>) {
        let control = &self.scenario.control;
        while let Some((t_s, action, words)) = control.actions.get(state.next_action) {
            if *t_s > state.t_s + 1e-6 {
                break;
            }
            let clock = self.calendar.clock(state.t_s + self.lead_s);
            let applied =
                control
                    .controller
                    .apply(action, &clock, &mut state.control, &mut state.notices);
            events.push(Event {
                t_s: state.t_s,
                what: What::Action,
                subject: "system".to_string(),
                text: words.clone(),
                cause: applied
                    .err()
                    .map_or(String::new(), |e| format!("refused: {e}")),
                value: f64::NAN,
            });
            state.next_action += 1;
        }
    }

    /// Thermostats and damper positions, as they reach the controller.
    pub(super) fn read_sensors(&self, state: &mut State, scratch: &mut Scratch<'_>) {
        let blocks = &state.plant.house.rooms.blocks;
        let rooms = |block: usize| (blocks[block].air_c, blocks[block].fabric_c);
        let zone_c = self.thermostats.step(rooms, &mut state.sensors);
        state.readings.zone_c.copy_from_slice(zone_c);
        self.pass_readings(state.t_s, state, scratch);
    }

    /// Between sensors and controller, where faults may be.
    pub(super) fn pass_readings(&self, t_s: f64, state: &mut State, scratch: &mut Scratch<'_>) {
        let readings = &mut state.readings;
        for (p, m) in readings.damper_position.iter_mut().zip(&state.motors) {
            *p = m.position;
        }
        let mut passed = fault::Readings {
            zone_c: &mut readings.zone_c,
            damper_position: &mut readings.damper_position,
        };
        let sun = &mut scratch.sensor_sun;
        state.faults.readings(&self.faults, t_s, sun, &mut passed);
    }

    /// What the unit's own sensors read.
    pub(super) fn unit_readings(&self, plant: &PlantState) -> UnitReadings {
        UnitReadings {
            supply_c: plant.plenum.t_c,
            surface_c: plant.surface_c,
            return_c: self.return_c(plant),
            air: plant.measured,
        }
    }

    /// The controller, or whoever overrides it, and what faults make of the commands.
    pub(super) fn control(&self, t_s: f64, unit: &UnitReadings, state: &mut State) {
        let s = self.scenario;
        let fan_on = state.plant.air.fan_m3_s > 0.0;
        let readings = Readings {
            zone_c: &state.readings.zone_c,
            damper_position: &state.readings.damper_position,
            static_pa: unit.air.static_pa,
            supply_c: unit.supply_c,
            coil_surface_c: unit.surface_c,
            return_c: unit.return_c,
            rooms_flow_m3_s: if fan_on {
                unit.air.rooms_m3_s
            } else {
                f64::NAN
            },
            coil_flow_fraction: unit.air.fan_m3_s / s.rated_flow_m3_s,
        };
        let (controller, commands) = (&s.control.controller, &mut state.commands);
        if let Some(manual) = &mut state.manual_override {
            manual.command(controller, &readings, self.dt_s, commands);
        } else {
            let clock = self.calendar.clock(t_s + self.lead_s);
            let (control, notices) = (&mut state.control, &mut state.notices);
            controller.step(&clock, self.dt_s, &readings, control, commands, notices);
        }
        state.faults.commands(&self.faults, commands);
    }

    /// The controller's notices become events.
    pub(super) fn report_notices(&self, state: &mut State, events: &mut Vec<Event>) {
        for n in state.notices.drain(..) {
            events.push(noticed(self.scenario, &n, self.lead_s));
        }
    }

    /// Air that leaves the return rooms, °C.
    fn return_c(&self, plant: &PlantState) -> f64 {
        let returns = &self.scenario.air.returns;
        let (mut flow, mut heat) = (0.0, 0.0);
        for (r, q) in returns.iter().zip(&plant.air.returns_m3_s) {
            flow += q.max(0.0);
            heat += q.max(0.0) * plant.house.rooms.air_c(r.room);
        }
        if flow > 0.0 {
            heat / flow
        } else {
            plant.house.rooms.air_c(returns[0].room)
        }
    }
}
