//! The rooms through time: heat and moisture of all rooms, stepped together.

use super::meter::{Closure, Meter, Tally};
use crate::plant::air::{MoistAir, SaturationTable, humidity_ratio};
use crate::plant::air_side::{AirState, ReliefTo};
use crate::plant::coupled_rooms::{CoupledRooms, DoorWay, Middle, RoomBalance, RoomStores};
use crate::plant::door::DOORWAY_MEAN_K;
use crate::plant::doorway::with_net_flow;
use crate::plant::drivers::Drive;
use crate::plant::room::CP_MOIST;
use crate::scenario::Scenario;

const AIR: usize = 0;
const CONTENTS: usize = 1;
const FABRIC: usize = 2;

/// Temperatures and humidity of every room.
#[derive(Clone, Debug, PartialEq)]
pub struct HouseState {
    /// Air, contents and fabric of each room in turn, °C.
    pub heat: Vec<f64>,
    /// Air and buffer of each room in turn, kg/kg.
    pub moisture: Vec<f64>,
}

impl HouseState {
    /// Air of a room.
    pub fn air(&self, room: usize) -> MoistAir {
        MoistAir {
            t_c: self.heat[3 * room + AIR],
            w: self.moisture[2 * room],
        }
    }

    /// Temperature of a room's contents, °C.
    pub fn contents_c(&self, room: usize) -> f64 {
        self.heat[3 * room + CONTENTS]
    }

    /// Temperature of a room's fabric, °C.
    pub fn fabric_c(&self, room: usize) -> f64 {
        self.heat[3 * room + FABRIC]
    }
}

/// What is fixed about one room.
#[derive(Clone, Copy, Debug)]
struct RoomFacts {
    window_w_k: f64,
    opaque_w_k: f64,
    ground_w_k: f64,
    natural_m3_s: f64,
    gains_to_air: f64,
    sun_to_air: f64,
    rest_to_contents: f64,
    air_kg: f64,
    /// Capacities of air, contents and fabric, J/K, and of vapour and its buffer, kg.
    heat_j_k: [f64; 3],
    water_kg: [f64; 2],
}

#[derive(Clone, Copy, Debug)]
struct DoorFacts {
    between: [usize; 2],
    /// Buoyant flow per square root of temperature difference, m³/s/√K.
    factor: f64,
}

/// All rooms with the memory a step needs.
#[derive(Clone, Debug)]
pub struct House {
    coupled: CoupledRooms,
    rooms: Vec<RoomFacts>,
    doors: Vec<DoorFacts>,
    outlet_room: Vec<usize>,
    return_room: Vec<usize>,
    relief_room: Option<usize>,
    density: f64,
    saturation: SaturationTable,
    ground_c: f64,
    balances: Vec<RoomBalance>,
    /// Dry air through each door, forth and back, kg/s.
    through_doors: Vec<(f64, f64)>,
    middle: Vec<Middle>,
    /// Air in from outdoors and out to it, by room, kg/s.
    infiltration: Vec<(f64, f64)>,
    heat_meter: Meter,
    water_meter: Meter,
    start_heat: f64,
    start_water: f64,
}

/// Temperature of the ground under rooms that touch it, °C: near the yearly mean of a temperate
/// site; common practice, no source.
const GROUND_C: f64 = 17.0;

impl House {
    /// The rooms of a scenario.
    pub fn new(scenario: &Scenario) -> House {
        let density = scenario.air.air.density_kg_m3;
        let mut stores = Vec::new();
        let mut rooms = Vec::new();
        for r in &scenario.rooms {
            let s = r.stores;
            let air_kg = density * r.volume_m3();
            stores.push(RoomStores {
                heat: s,
                vapour_kg: air_kg,
                buffer_kg: r.buffer_kg,
                buffer_kg_s: r.buffer_kg_s,
            });
            rooms.push(RoomFacts {
                window_w_k: r.windows.iter().map(|w| w.ua_w_k).sum(),
                opaque_w_k: r.opaque.iter().map(|o| o.ua_w_k).sum(),
                ground_w_k: r.ground_w_k,
                natural_m3_s: r.infiltration_ach * r.volume_m3() / 3600.0,
                gains_to_air: r.shares.gains_to_air,
                sun_to_air: r.shares.sun_to_air,
                rest_to_contents: r.shares.rest_to_contents,
                air_kg,
                heat_j_k: [s.air_j_k, s.contents_j_k, s.fabric_j_k],
                water_kg: [air_kg, r.buffer_kg],
            });
        }
        let mut ways = Vec::new();
        let mut doors = Vec::new();
        for d in &scenario.doors {
            ways.push(DoorWay {
                between: d.between,
                partition_w_k: d.partition_w_k,
            });
            let factor = d.opening.exchange_factor(DOORWAY_MEAN_K);
            doors.push(DoorFacts {
                between: d.between,
                factor,
            });
        }
        House {
            coupled: CoupledRooms::new(stores, &ways),
            outlet_room: scenario.outlets.iter().map(|o| o.room).collect(),
            return_room: scenario.air.returns.iter().map(|r| r.room).collect(),
            relief_room: scenario.relief.and_then(|r| match r.to {
                ReliefTo::Room(room) => Some(room),
                ReliefTo::Return => None,
            }),
            density,
            saturation: SaturationTable::new(scenario.site.pressure_pa),
            ground_c: GROUND_C,
            balances: vec![RoomBalance::default(); rooms.len()],
            through_doors: vec![(0.0, 0.0); doors.len()],
            middle: vec![Middle::default(); rooms.len()],
            infiltration: vec![(0.0, 0.0); rooms.len()],
            rooms,
            doors,
            heat_meter: Meter::default(),
            water_meter: Meter::default(),
            start_heat: 0.0,
            start_water: 0.0,
        }
    }

    /// Every store of a room at its initial temperature and humidity.
    pub fn initial(scenario: &Scenario) -> HouseState {
        let mut state = HouseState {
            heat: Vec::new(),
            moisture: Vec::new(),
        };
        for r in &scenario.rooms {
            state.heat.extend([r.initial_c; 3]);
            let w = humidity_ratio(r.initial_rh, r.initial_c, scenario.site.pressure_pa);
            state.moisture.extend([w; 2]);
        }
        state
    }

    /// Starts the meters afresh at `state`.
    pub fn start_meters(&mut self, state: &HouseState) {
        self.heat_meter = Meter::default();
        self.water_meter = Meter::default();
        self.start_heat = self.stored_heat(state);
        self.start_water = self.stored_water(state);
    }

    /// How the heat balance has closed since the meters started, J.
    pub fn heat_closure(&self, state: &HouseState) -> Closure {
        self.heat_meter
            .closure(self.stored_heat(state) - self.start_heat)
    }

    /// How the moisture balance has closed since the meters started, kg.
    pub fn water_closure(&self, state: &HouseState) -> Closure {
        self.water_meter
            .closure(self.stored_water(state) - self.start_water)
    }

    fn stored_heat(&self, state: &HouseState) -> f64 {
        let capacities = self.rooms.iter().flat_map(|r| r.heat_j_k);
        capacities.zip(&state.heat).map(|(c, t)| c * t).sum()
    }

    fn stored_water(&self, state: &HouseState) -> f64 {
        let capacities = self.rooms.iter().flat_map(|r| r.water_kg);
        capacities.zip(&state.moisture).map(|(c, w)| c * w).sum()
    }

    /// Steps all rooms by `dt_s`; the error is the index of a room whose balance has no solution.
    pub fn step(
        &mut self,
        dt_s: f64,
        drive: &Drive,
        air: &AirState,
        outlet_air: &[MoistAir],
        plenum: MoistAir,
        state: &mut HouseState,
    ) -> Result<(), usize> {
        self.surroundings(drive, air);
        self.supply(air, outlet_air, plenum);
        self.between_rooms(drive, air, state);
        self.coupled.step(
            dt_s,
            &self.balances,
            &self.through_doors,
            &mut state.heat,
            &mut state.moisture,
            &mut self.middle,
        )?;
        self.meter(dt_s, drive, air, outlet_air, plenum);
        self.condense(dt_s, state);
        Ok(())
    }

    /// Outdoors, sun, people.
    fn surroundings(&mut self, drive: &Drive, air: &AirState) {
        let outdoor = drive.outdoor;
        let flows = self.infiltration.iter_mut().zip(&air.leaks_m3_s);
        let rooms = self.rooms.iter().zip(&drive.rooms);
        for (((room, d), (flow, &leak)), balance) in rooms.zip(flows).zip(&mut self.balances) {
            let (out, into) = with_net_flow(room.natural_m3_s, leak);
            let (into, out) = (self.density * into, self.density * out);
            *flow = (into, out);
            let outdoors_w_k = into * CP_MOIST + room.window_w_k;
            let to_air = room.gains_to_air * d.gain_w + room.sun_to_air * d.sun_w;
            let rest = d.gain_w + d.sun_w - to_air;
            let contents = room.rest_to_contents * rest;
            *balance = RoomBalance {
                air_w_k: outdoors_w_k,
                fabric_w_k: room.opaque_w_k + room.ground_w_k,
                source_w: [
                    outdoors_w_k * outdoor.t_c + to_air,
                    contents,
                    rest - contents + d.opaque_w + room.ground_w_k * self.ground_c,
                ],
                air_kg_s: into,
                moisture_kg_s: into * outdoor.w + d.moisture_kg_s,
            };
        }
    }

    fn supply(&mut self, air: &AirState, outlet_air: &[MoistAir], plenum: MoistAir) {
        let mut add = |room: usize, flow_m3_s: f64, from: MoistAir| {
            let m = self.density * flow_m3_s.max(0.0);
            let balance = &mut self.balances[room];
            balance.air_w_k += m * CP_MOIST;
            balance.source_w[AIR] += m * CP_MOIST * from.t_c;
            balance.air_kg_s += m;
            balance.moisture_kg_s += m * from.w;
        };
        let outlets = air.outlets_m3_s.iter().zip(outlet_air);
        for (&room, (&flow, &from)) in self.outlet_room.iter().zip(outlets) {
            add(room, flow, from);
        }
        if let Some(room) = self.relief_room {
            add(room, air.relief_m3_s, plenum);
        }
    }

    /// Doors: what the fan drives through them, and what warm and cold air exchange of themselves.
    /// The exchange follows the temperature difference at the start of the step.
    fn between_rooms(&mut self, drive: &Drive, air: &AirState, state: &HouseState) {
        let flows = air.doors_m3_s.iter().zip(&drive.open);
        let doors = self.doors.iter().zip(&mut self.through_doors);
        for ((door, through), (&net, &open)) in doors.zip(flows) {
            let [a, b] = door.between;
            let both_ways = if open {
                let dt_k = state.heat[3 * a] - state.heat[3 * b];
                door.factor * dt_k.abs().sqrt()
            } else {
                0.0
            };
            let (forth, back) = with_net_flow(both_ways, net);
            *through = (self.density * forth, self.density * back);
        }
    }

    /// Counts everything that crosses the rooms' boundary, at the middle of the step and in
    /// absolute terms: it closes only if every room's air balance does.
    fn meter(
        &mut self,
        dt_s: f64,
        drive: &Drive,
        air: &AirState,
        outlet_air: &[MoistAir],
        plenum: MoistAir,
    ) {
        let rho = self.density;
        let outdoor = drive.outdoor;
        // One tally a kind of flow, so that the sums do not wait for one another.
        let [
            mut blown_in,
            mut drawn_out,
            mut glass,
            mut opaque,
            mut ground,
            mut gains,
        ] = [Tally::default(); 6];
        let [mut damp_in, mut damp_out, mut damp_gains] = [Tally::default(); 3];
        let flows = self.infiltration.iter().zip(&self.middle);
        for ((room, d), (&(into, out), mid)) in self.rooms.iter().zip(&drive.rooms).zip(flows) {
            blown_in.add(into * CP_MOIST * outdoor.t_c);
            drawn_out.add(-out * CP_MOIST * mid.air_c);
            glass.add(room.window_w_k * (outdoor.t_c - mid.air_c));
            opaque.add(d.opaque_w - room.opaque_w_k * mid.fabric_c);
            ground.add(room.ground_w_k * (self.ground_c - mid.fabric_c));
            gains.add(d.gain_w + d.sun_w);
            damp_in.add(into * outdoor.w);
            damp_out.add(-out * mid.w);
            damp_gains.add(d.moisture_kg_s);
        }
        let [mut supply, mut damp_supply] = [Tally::default(); 2];
        let mut air_flow = |m3_s: f64, room: usize, from: MoistAir| {
            let m = rho * m3_s;
            let (t_c, w_kg) = if m >= 0.0 {
                (from.t_c, from.w)
            } else {
                (self.middle[room].air_c, self.middle[room].w)
            };
            supply.add(m * CP_MOIST * t_c);
            damp_supply.add(m * w_kg);
        };
        let outlets = air.outlets_m3_s.iter().zip(outlet_air);
        for (&room, (&flow, &from)) in self.outlet_room.iter().zip(outlets) {
            air_flow(flow, room, from);
        }
        if let Some(room) = self.relief_room {
            air_flow(air.relief_m3_s, room, plenum);
        }
        for (&room, &flow) in self.return_room.iter().zip(&air.returns_m3_s) {
            let own = MoistAir {
                t_c: self.middle[room].air_c,
                w: self.middle[room].w,
            };
            air_flow(-flow, room, own);
        }
        let heat = [blown_in, drawn_out, glass, opaque, ground, gains, supply];
        self.heat_meter.add_all(&heat, dt_s);
        let water = [damp_in, damp_out, damp_gains, damp_supply];
        self.water_meter.add_all(&water, dt_s);
    }

    /// Air cannot hold more than saturation: the rest runs down the wall and leaves the balance.
    fn condense(&mut self, dt_s: f64, state: &mut HouseState) {
        let (heat, _) = state.heat.as_chunks::<3>();
        let (moisture, _) = state.moisture.as_chunks_mut::<2>();
        for ((room, t), w) in self.rooms.iter().zip(heat).zip(moisture) {
            let most = self.saturation.w_sat(t[AIR]);
            let excess = w[0] - most;
            if excess > 0.0 {
                w[0] = most;
                self.water_meter.add(-excess * room.air_kg / dt_s, dt_s);
            }
        }
    }
}
