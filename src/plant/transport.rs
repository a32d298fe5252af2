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
    /// In an order that needs no branch.
    fn list(&self) -> [f64; 3] {
        [self.roof_c, self.indoors_c, self.outdoors_c]
    }
}

/// A duct's part in the transport.
#[derive(Clone, Copy, Debug)]
struct Leg {
    /// Where its air comes from: 0 the supply plenum, then the trunks.
    from: usize,
    /// Where it runs, in [`Spaces::list`].
    space: usize,
    ua_w_k: f64,
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
    /// Whether air comes back from a room through an outlet.
    reversed: bool,
    /// Air entering the room from each outlet.
    outlet_air: Vec<MoistAir>,
}

impl Transport {
    /// For an air side at rest.
    pub fn new(spec: &AirSideSpec) -> Transport {
        let leg = |upstream: Option<usize>, run: &super::air_side::Run| Leg {
            from: upstream.map_or(0, |trunk| trunk + 1),
            space: match run.space {
                DuctSpace::Roof => 0,
                DuctSpace::Indoors => 1,
                DuctSpace::Outdoors => 2,
            },
            ua_w_k: run.ua_w_k(),
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
            reversed: false,
            outlet_air: vec![MoistAir { t_c: 0.0, w: 0.0 }; spec.outlets.len()],
        }
    }

    /// All ducts filled with `air`: that of the supply plenum, then that at the end of each trunk. This is
    /// what ducts hold from step to step.
    pub fn filled(&self, air: MoistAir) -> Vec<MoistAir> {
        vec![air; self.trunks.len() + 1]
    }

    /// Takes over new flows.
    pub fn refresh(&mut self, state: &AirState) {
        let rho = self.density_kg_m3;
        let set = |legs: &mut [Leg], flows: &[f64]| {
            for (leg, &q) in legs.iter_mut().zip(flows) {
                leg.flow_kg_s = rho * q;
                // At no flow the exponent is −∞ and the duct's air is at its surroundings, unless the duct
                // has no length.
                let capacity = (leg.flow_kg_s.abs() * CP_MOIST).max(f64::MIN_POSITIVE);
                leg.kept = (-leg.ua_w_k / capacity).exp();
            }
        };
        set(&mut self.trunks, &state.trunks_m3_s);
        set(&mut self.outlets, &state.outlets_m3_s);
        self.reversed = self.outlets.iter().any(|leg| leg.flow_kg_s < 0.0);
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

    /// Carries plenum air through `ducts` to the outlets; a reversed branch carries its room's air to its trunk.
    pub fn carry(
        &mut self,
        plenum: MoistAir,
        room_air: impl Fn(usize) -> MoistAir,
        spaces: &Spaces,
        ducts: &mut [MoistAir],
    ) {
        let around_c = spaces.list();
        ducts[0] = plenum;
        for (i, leg) in self.trunks.iter().enumerate() {
            if leg.flow_kg_s > 0.0 {
                ducts[i + 1] = leg.pass(ducts[leg.from], &around_c);
            }
        }
        if self.reversed {
            self.carry_back(room_air, &around_c, ducts);
        }
        for (leg, air) in self.outlets.iter().zip(&mut self.outlet_air) {
            *air = leg.pass(ducts[leg.from], &around_c);
        }
    }

    /// Air that comes back out of a room reaches its trunk's end and mixes there.
    fn carry_back(
        &self,
        room_air: impl Fn(usize) -> MoistAir,
        around_c: &[f64; 3],
        ducts: &mut [MoistAir],
    ) {
        for (leg, &room) in self.outlets.iter().zip(&self.outlet_room) {
            if leg.flow_kg_s < 0.0 && leg.from > 0 {
                let back = leg.pass(room_air(room), around_c);
                let forward = self.trunks[leg.from - 1].flow_kg_s.max(0.0);
                let air = &mut ducts[leg.from];
                *air = MoistAir::mix(forward, *air, -leg.flow_kg_s, back);
            }
        }
    }

    /// Air entering the room from each outlet.
    pub fn outlet_air(&self) -> &[MoistAir] {
        &self.outlet_air
    }
}

impl Leg {
    /// Heat gain of a duct: `T_s + (T − T_s)·e^(−NTU)`.
    #[inline]
    fn pass(&self, air: MoistAir, around_c: &[f64; 3]) -> MoistAir {
        let around = around_c[self.space];
        MoistAir {
            t_c: around + (air.t_c - around) * self.kept,
            w: air.w,
        }
    }
}
