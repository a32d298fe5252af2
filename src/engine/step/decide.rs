//! What reaches the controller, and what it decides.

use super::air::Felt;
use super::tell::told;
use super::{Engine, State};
use crate::control::Readings;
use crate::engine::event::{Event, What};
use crate::fault;

/// What the unit's own sensors show, °C.
#[derive(Clone, Copy, Debug)]
pub(super) struct Seen {
    pub(super) supply_c: f64,
    pub(super) surface_c: f64,
    pub(super) return_c: f64,
    pub(super) flow: Felt,
}

impl Engine<'_> {
    /// A person's actions whose time has come.
    pub(super) fn act(&mut self, state: &mut State, events: &mut Vec<Event>) {
        let actions = &self.scenario.control.actions;
        while let Some((t_s, action, words)) = actions.get(self.next_action) {
            if *t_s > state.t_s + 1e-6 {
                break;
            }
            let clock = self.calendar.clock(state.t_s + self.lead_s);
            let refused = self
                .scenario
                .control
                .controller
                .apply(action, &clock, &mut state.control, &mut self.notices)
                .err();
            let cause = refused.map_or(String::new(), |e| format!("refused: {e}"));
            events.push(Event {
                t_s: state.t_s,
                what: What::Action,
                subject: "system".to_string(),
                text: words.clone(),
                cause,
                value: f64::NAN,
            });
            self.next_action += 1;
        }
    }

    /// Thermostats and damper positions, as they reach the controller.
    pub(super) fn read(&mut self, state: &mut State) {
        let rooms = |block: usize| {
            let rooms = &state.house.blocks[block];
            (rooms.air_c, rooms.fabric_c)
        };
        let readings_c = self.thermostats.step(rooms, &mut state.sensors);
        self.readings_c.copy_from_slice(readings_c);
        self.pass_readings(state.t_s, state);
    }

    /// Between sensors and controller, where faults may sit.
    pub(super) fn pass_readings(&mut self, t_s: f64, state: &mut State) {
        for (p, m) in self.positions.iter_mut().zip(&state.motors) {
            *p = m.position;
        }
        let mut told = fault::Readings {
            zone_c: &mut self.readings_c,
            damper_position: &mut self.positions[..state.motors.len()],
        };
        state
            .faults
            .readings(&self.faults, t_s, &mut self.sensor_sun, &mut told);
    }

    /// What the unit's own sensors show.
    pub(super) fn seen(&self, state: &State) -> Seen {
        Seen {
            supply_c: state.plenum.t_c,
            surface_c: self.sample.unit.surface_c,
            return_c: self.return_c(state),
            flow: self.felt,
        }
    }

    pub(super) fn control(&mut self, t_s: f64, seen: &Seen, state: &mut State) {
        let s = self.scenario;
        let fan_on = state.air.fan_m3_s > 0.0;
        let readings = Readings {
            zone_c: &self.readings_c,
            damper_position: &self.positions[..state.motors.len()],
            static_pa: seen.flow.static_pa,
            supply_c: seen.supply_c,
            coil_surface_c: seen.surface_c,
            return_c: seen.return_c,
            rooms_flow_m3_s: if fan_on {
                seen.flow.rooms_m3_s
            } else {
                f64::NAN
            },
            coil_flow_fraction: seen.flow.fan_m3_s / s.rated_flow_m3_s,
        };
        if let Some(hand) = &mut self.hand {
            hand.command(
                &s.control.controller,
                &readings,
                self.dt_s,
                &mut self.commands,
            );
        } else {
            let clock = self.calendar.clock(t_s + self.lead_s);
            s.control.controller.step(
                &clock,
                self.dt_s,
                &readings,
                &mut state.control,
                &mut self.commands,
                &mut self.notices,
            );
        }
        state.faults.commands(&self.faults, &mut self.commands);
    }

    /// What the controller has to say becomes events.
    pub(super) fn tell(&mut self, events: &mut Vec<Event>) {
        for n in self.notices.drain(..) {
            events.push(told(self.scenario, &n, self.lead_s));
        }
    }

    /// Air that leaves the return rooms, °C.
    pub(super) fn return_c(&self, state: &State) -> f64 {
        let returns = &self.scenario.air.returns;
        let (mut flow, mut heat) = (0.0, 0.0);
        for (r, q) in returns.iter().zip(&state.air.returns_m3_s) {
            flow += q.max(0.0);
            heat += q.max(0.0) * state.house.air_c(r.room);
        }
        if flow > 0.0 {
            heat / flow
        } else {
            state.house.air_c(returns[0].room)
        }
    }
}
