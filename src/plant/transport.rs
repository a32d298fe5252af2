//! What air is like along the ducts: heat gained on the way, mixing where flows join.

use super::air::MoistAir;
use super::air_side::{AirSideSpec, AirState, DuctSpace, ReliefTo};
use super::room::CP_MOIST;

/// Temperatures of the spaces that ducts run through, °C.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spaces {
    /// Roof space.
    pub roof_c: f64,
    /// Inside the house.
    pub indoors_c: f64,
    /// Outdoors.
    pub outdoors_c: f64,
}

impl Spaces {
    fn at(&self, space: DuctSpace) -> f64 {
        match space {
            DuctSpace::Roof => self.roof_c,
            DuctSpace::Indoors => self.indoors_c,
            DuctSpace::Outdoors => self.outdoors_c,
        }
    }
}

/// A duct's part in the transport.
#[derive(Clone, Copy, Debug)]
struct Leg {
    upstream: Option<usize>,
    ua_w_k: f64,
    space: DuctSpace,
    /// e^(−NTU) at the present flow.
    kept: f64,
    flow_kg_s: f64,
}

/// Air along the duct tree. Rebuilt factors only when flows change; a step is sums and products.
#[derive(Clone, Debug)]
pub struct Transport {
    density_kg_m3: f64,
    trunks: Vec<Leg>,
    outlets: Vec<Leg>,
    outlet_room: Vec<usize>,
    return_room: Vec<usize>,
    relief_to_return: bool,
    returns_kg_s: Vec<f64>,
    relief_kg_s: f64,
    /// Air at the end of each trunk.
    trunk_air: Vec<MoistAir>,
    /// Air entering the room from each outlet.
    outlet_air: Vec<MoistAir>,
}

impl Transport {
    /// For an air side at rest, all of it at `air`.
    pub fn new(spec: &AirSideSpec, air: MoistAir) -> Transport {
        let leg = |upstream, run: &super::air_side::Run| Leg {
            upstream,
            ua_w_k: run.ua_w_k(),
            space: run.space,
            kept: 0.0,
            flow_kg_s: 0.0,
        };
        Transport {
            density_kg_m3: spec.air.density_kg_m3,
            trunks: spec.trunks.iter().map(|t| leg(t.parent, &t.run)).collect(),
            outlets: spec.outlets.iter().map(|o| leg(o.trunk, &o.run)).collect(),
            outlet_room: spec.outlets.iter().map(|o| o.room).collect(),
            return_room: spec.returns.iter().map(|r| r.room).collect(),
            relief_to_return: spec.relief.is_some_and(|r| r.to == ReliefTo::Return),
            returns_kg_s: vec![0.0; spec.returns.len()],
            relief_kg_s: 0.0,
            trunk_air: vec![air; spec.trunks.len()],
            outlet_air: vec![air; spec.outlets.len()],
        }
    }

    /// Takes over new flows.
    pub fn refresh(&mut self, state: &AirState) {
        let rho = self.density_kg_m3;
        let set = |legs: &mut [Leg], flows: &[f64]| {
            for (leg, &q) in legs.iter_mut().zip(flows) {
                leg.flow_kg_s = rho * q;
                let capacity = leg.flow_kg_s.abs() * CP_MOIST;
                // At no flow the exponent is −∞ and the duct's air is at its surroundings.
                leg.kept = (-leg.ua_w_k / capacity).exp();
            }
        };
        set(&mut self.trunks, &state.trunks_m3_s);
        set(&mut self.outlets, &state.outlets_m3_s);
        for (m, &q) in self.returns_kg_s.iter_mut().zip(&state.returns_m3_s) {
            *m = rho * q.max(0.0);
        }
        self.relief_kg_s = rho * state.relief_m3_s.max(0.0);
    }

    /// Air that enters the coil: what the return rooms give, mixed with relief air from the supply
    /// plenum by enthalpy and humidity. The first return room's air when nothing flows.
    pub fn entering(&self, room_air: impl Fn(usize) -> MoistAir, plenum: MoistAir) -> MoistAir {
        let (mut flow, mut enthalpy, mut water) = (0.0, 0.0, 0.0);
        let mut add = |m: f64, air: MoistAir| {
            flow += m;
            enthalpy += m * air.enthalpy_j_kg();
            water += m * air.w;
        };
        for (&room, &m) in self.return_room.iter().zip(&self.returns_kg_s) {
            add(m, room_air(room));
        }
        if self.relief_to_return {
            add(self.relief_kg_s, plenum);
        }
        if flow <= 0.0 {
            return room_air(self.return_room[0]);
        }
        MoistAir::from_enthalpy(enthalpy / flow, water / flow)
    }

    /// Whether relief air now flows back to the coil.
    pub fn relief_returns(&self) -> bool {
        self.relief_to_return && self.relief_kg_s > 0.0
    }

    /// Carries plenum air to the outlets; a reversed branch carries its room's air to its trunk.
    pub fn carry(
        &mut self,
        plenum: MoistAir,
        room_air: impl Fn(usize) -> MoistAir,
        spaces: &Spaces,
    ) {
        for i in 0..self.trunks.len() {
            let leg = self.trunks[i];
            if leg.flow_kg_s > 0.0 {
                let from = leg.upstream.map_or(plenum, |p| self.trunk_air[p]);
                self.trunk_air[i] = pass(&leg, from, spaces);
            }
        }
        for i in 0..self.outlets.len() {
            let leg = self.outlets[i];
            if leg.flow_kg_s < 0.0 {
                // Air that comes back out of a room reaches its trunk's end and mixes there.
                let back = pass(&leg, room_air(self.outlet_room[i]), spaces);
                if let Some(t) = leg.upstream {
                    let forward = self.trunks[t].flow_kg_s.max(0.0);
                    let air = self.trunk_air[t];
                    self.trunk_air[t] = MoistAir::mix(forward, air, -leg.flow_kg_s, back);
                }
            }
        }
        for i in 0..self.outlets.len() {
            let leg = self.outlets[i];
            let from = leg.upstream.map_or(plenum, |t| self.trunk_air[t]);
            self.outlet_air[i] = pass(&leg, from, spaces);
        }
    }

    /// Air entering the room from each outlet.
    pub fn outlet_air(&self) -> &[MoistAir] {
        &self.outlet_air
    }
}

/// Heat gain of a duct: `T_s + (T − T_s)·e^(−NTU)`.
fn pass(leg: &Leg, air: MoistAir, spaces: &Spaces) -> MoistAir {
    let around = spaces.at(leg.space);
    MoistAir {
        t_c: around + (air.t_c - around) * leg.kept,
        w: air.w,
    }
}
