//! A step of the air side: flows and pressures for what is commanded.

use super::network::relief_law;
use super::state::Solved;
use super::{AirCommand, AirScratch, AirSide, AirState, Outlook, ReliefSpec, ReliefTo};
use crate::plant::fan::FanLaw;
use crate::plant::network::{Law, LinearQuadratic, Network, NetworkError};
use crate::plant::relief::Relief;

/// A blade that moves less than this in a step is at rest.
const BLADE_REST: f64 = 1e-9;

impl AirSide {
    /// Brings `state` to the end of a step of `dt_s`; returns whether any flow changed.
    ///
    /// Nothing moved since the last solution means the same solution, so nothing is solved then.
    ///
    /// # Errors
    /// [`NetworkError`] names the element where the balance failed.
    pub fn step(
        &self,
        command: &AirCommand<'_>,
        dt_s: f64,
        state: &mut AirState,
        scratch: &mut AirScratch,
    ) -> Result<bool, NetworkError> {
        self.step_at(command, dt_s, dt_s, state, scratch)
    }

    /// As [`step`](Self::step), with the flows of the time `at_s` into it: `command` tells how dampers
    /// stand then, and a weighted blade is on its way.
    ///
    /// # Errors
    /// As [`step`](Self::step).
    pub fn step_at(
        &self,
        command: &AirCommand<'_>,
        at_s: f64,
        dt_s: f64,
        state: &mut AirState,
        scratch: &mut AirScratch,
    ) -> Result<bool, NetworkError> {
        if command.fan <= 0.0 {
            return Ok(self.rest(command, dt_s, state));
        }
        state.fan_hours += dt_s / 3600.0;
        let loading = self.loading(state.fan_hours);
        let solved = state.solved.as_ref();
        if solved.is_some_and(|s| s.is_for(command, loading)) {
            state.moving = false;
            return Ok(false);
        }
        self.set_laws(command, loading, at_s, state, scratch);
        // Pressures go on as they did where times between solutions are the same.
        let since_s = state.since_s + at_s;
        state.since_s = dt_s - at_s;
        let evenly = since_s == state.between_s;
        state.between_s = since_s;
        if state.moving && evenly {
            scratch.network.solve_ahead(&mut state.network)?;
        } else {
            let AirScratch {
                network, changed, ..
            } = scratch;
            network.solve_changed(changed, &mut state.network)?;
        }
        state.moving = state.solved.is_some();
        let at_rest = self.read(command, dt_s, state, &scratch.network);
        state.filter_pa =
            self.spec.filter.drop_pa(state.fan_m3_s) * loading * state.impaired.filter;
        match &mut state.solved {
            Some(s) => {
                s.fan = command.fan;
                s.openings.copy_from_slice(command.openings);
                s.relief = command.relief;
                s.open_doors.copy_from_slice(command.open_doors);
                s.loading = loading;
                s.blade_at_rest = at_rest;
            }
            None => {
                state.solved = Some(Solved {
                    fan: command.fan,
                    openings: command.openings.to_vec(),
                    relief: command.relief,
                    open_doors: command.open_doors.to_vec(),
                    loading,
                    blade_at_rest: at_rest,
                });
            }
        }
        Ok(true)
    }

    /// What a step of `dt_s` would do to the flows.
    pub fn outlook(&self, command: &AirCommand<'_>, dt_s: f64, state: &AirState) -> Outlook {
        if command.fan <= 0.0 {
            return if state.fan_m3_s == 0.0 && state.fan_speed == 0.0 {
                Outlook::Same
            } else {
                Outlook::New
            };
        }
        let Some(solved) = &state.solved else {
            return Outlook::New;
        };
        let loading = self.loading(state.fan_hours + dt_s / 3600.0);
        if solved.is_for(command, loading) {
            Outlook::Same
        } else if solved.fan == command.fan && solved.open_doors == command.open_doors {
            Outlook::Drifting
        } else {
            Outlook::New
        }
    }

    /// Filter resistance over clean, in steps of a thousandth: the filter does not change from second
    /// to second.
    fn loading(&self, fan_hours: f64) -> f64 {
        let loading = self.spec.filter_loading + self.spec.filter_growth_1_h * fan_hours;
        (loading * 1000.0 + 0.5) as i64 as f64 / 1000.0
    }

    /// Pressure drop across each outlet's damper alone at the last solution, Pa, into `drops_pa`;
    /// zero where there is no damper.
    pub fn damper_drops(&self, state: &AirState, scratch: &mut AirScratch, drops_pa: &mut [f64]) {
        let Some(solved) = &state.solved else {
            drops_pa.fill(0.0);
            return;
        };
        for (i, drop) in drops_pa.iter_mut().enumerate() {
            self.set_damper(i, solved.openings[i], scratch);
            *drop = scratch.dampers[i].drop_pa(state.outlets_m3_s[i]).abs();
        }
    }

    /// Sees to it that `scratch` has the laws of an outlet and its damper at an opening.
    #[inline]
    fn set_damper(&self, outlet: usize, opening: f64, scratch: &mut AirScratch) {
        if scratch.damper_at[outlet] == opening {
            return;
        }
        let spec = &self.spec;
        let damper = spec.outlets[outlet].damper.as_ref();
        let damper = damper.map_or(LinearQuadratic::NONE, |d| {
            d.law(opening, spec.air.density_kg_m3)
        });
        let law = Law::LinearQuadratic(self.branch[outlet].in_series(damper));
        scratch.network.set_law(self.outlets[outlet], law);
        scratch.dampers[outlet] = damper;
        scratch.damper_at[outlet] = opening;
    }

    /// Pressure drop across the relief damper alone at the last solution, Pa: what stands across
    /// the whole relief less the loss of its duct.
    pub fn relief_drop_pa(&self, state: &AirState) -> f64 {
        let Some(relief) = &self.spec.relief else {
            return 0.0;
        };
        let end_pa = match relief.to {
            ReliefTo::Return => state.return_pa,
            ReliefTo::Room(room) => state.rooms_pa[room],
        };
        let duct_pa = self.relief_duct.drop_pa(state.relief_m3_s);
        (state.supply_pa - end_pa - duct_pa).abs()
    }

    /// No fan, no wind, no buoyancy in the ducts: nothing flows.
    fn rest(&self, command: &AirCommand<'_>, dt_s: f64, state: &mut AirState) -> bool {
        if let Some(ReliefSpec {
            relief: Relief::WeightedBlade(blade),
            ..
        }) = &self.spec.relief
        {
            state.blade = state
                .impaired
                .relief_stuck
                .unwrap_or_else(|| blade.law(state.blade, dt_s).opening_at(0.0));
            state.relief_opening = state.blade;
        } else {
            state.relief_opening = state.impaired.relief_stuck.unwrap_or(command.relief);
        }
        if state.fan_m3_s == 0.0 && state.fan_speed == 0.0 {
            return false;
        }
        state.fan_m3_s = 0.0;
        state.fan_speed = 0.0;
        state.fan_w = 0.0;
        state.stalled = false;
        state.fan_rise_pa = 0.0;
        state.supply_pa = 0.0;
        state.return_pa = 0.0;
        state.filter_pa = 0.0;
        state.relief_m3_s = 0.0;
        for flows in [
            &mut state.trunks_m3_s,
            &mut state.outlets_m3_s,
            &mut state.returns_m3_s,
            &mut state.doors_m3_s,
            &mut state.leaks_m3_s,
            &mut state.rooms_pa,
        ] {
            flows.fill(0.0);
        }
        state.solved = None;
        state.moving = false;
        true
    }

    /// Gives every element its law, and notes those that had another at the last solution in `state`.
    fn set_laws(
        &self,
        command: &AirCommand<'_>,
        loading: f64,
        dt_s: f64,
        state: &AirState,
        scratch: &mut AirScratch,
    ) {
        let (spec, last) = (&self.spec, state.solved.as_ref());
        scratch.changed.clear();
        if last.is_some_and(|s| s.fan != command.fan || s.loading != loading) {
            scratch.changed.push(self.fan);
        }
        let filter = spec.filter;
        let loading = loading * state.impaired.filter;
        let drive = spec.drive.at(command.fan);
        let series = spec.coil.in_series(LinearQuadratic {
            a: filter.a * loading,
            b: filter.b * loading,
        });
        let same = |law: &FanLaw| law.drive == drive && law.series == series;
        if !matches!(scratch.network.law(self.fan), Law::Fan(law) if same(law))
            && let Law::Fan(law) = scratch.network.law_mut(self.fan)
        {
            (law.drive, law.series) = (drive, series);
        }
        for (i, &opening) in command.openings.iter().enumerate() {
            if last.is_some_and(|s| s.openings[i] != opening) {
                scratch.changed.push(self.outlets[i]);
            }
            self.set_damper(i, opening, scratch);
        }
        if let (Some(element), Some(r)) = (self.relief, &spec.relief)
            && let Some(law) = relief_law(
                &r.relief,
                command.relief,
                state.blade,
                dt_s,
                &state.impaired,
            )
        {
            let blade = matches!(r.relief, Relief::WeightedBlade(_));
            if last.is_some_and(|s| blade || s.relief != command.relief) {
                scratch.changed.push(element);
            }
            scratch.network.set_law(element, law);
        }
        for (i, &open) in command.open_doors.iter().enumerate() {
            let element = self.doors[i];
            if last.is_some_and(|s| s.open_doors[i] != open) {
                scratch.changed.push(element);
            }
            let law = if open {
                self.door_open[i]
            } else {
                self.door_shut[i]
            };
            scratch.network.set_law(element, Law::LinearQuadratic(law));
        }
    }

    /// Takes flows and pressures over; returns whether a weighted blade has come to rest.
    fn read(
        &self,
        command: &AirCommand<'_>,
        dt_s: f64,
        state: &mut AirState,
        network: &Network,
    ) -> bool {
        let n = &state.network;
        if let Some(point) = network.fan_point(self.fan, n) {
            state.fan_speed = point.speed;
            state.fan_w = point.power_w;
            state.stalled = point.stalled;
            state.fan_rise_pa = point.rise_pa;
        }
        state.fan_m3_s = n.flow_m3_s(self.fan);
        state.supply_pa = n.pressure_pa(self.supply);
        state.return_pa = n.pressure_pa(self.return_);
        state.relief_m3_s = self.relief.map_or(0.0, |e| n.flow_m3_s(e));
        for (flows, elements) in [
            (&mut state.trunks_m3_s, &self.trunks),
            (&mut state.outlets_m3_s, &self.outlets),
            (&mut state.returns_m3_s, &self.returns),
            (&mut state.doors_m3_s, &self.doors),
            (&mut state.leaks_m3_s, &self.leaks),
        ] {
            for (flow, &e) in flows.iter_mut().zip(elements) {
                *flow = n.flow_m3_s(e);
            }
        }
        for (p, &node) in state.rooms_pa.iter_mut().zip(&self.rooms) {
            *p = n.pressure_pa(node);
        }
        let Some(r) = &self.spec.relief else {
            return true;
        };
        match &r.relief {
            Relief::WeightedBlade(blade) => {
                let end = match r.to {
                    ReliefTo::Return => state.return_pa,
                    ReliefTo::Room(i) => state.rooms_pa[i],
                };
                let before = state.blade;
                state.blade = state
                    .impaired
                    .relief_stuck
                    .unwrap_or_else(|| blade.law(before, dt_s).opening_at(state.supply_pa - end));
                state.relief_opening = state.blade;
                (state.blade - before).abs() < BLADE_REST
            }
            Relief::Motorised(_) => {
                state.relief_opening = state.impaired.relief_stuck.unwrap_or(command.relief);
                true
            }
            Relief::None => true,
        }
    }
}
