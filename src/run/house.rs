//! The rooms through time: heat and moisture of all rooms, stepped together.

use super::meter::{Closure, Meter};
use crate::plant::air::{MoistAir, SaturationTable, humidity_ratio};
use crate::plant::air_side::{AirState, ReliefTo};
use crate::plant::door::DOORWAY_MEAN_K;
use crate::plant::doorway::with_net_flow;
use crate::plant::drivers::Drive;
use crate::plant::room::CP_MOIST;
use crate::plant::thermal::{Drive as StoreDrive, StoreNetwork};
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
}

#[derive(Clone, Copy, Debug)]
struct DoorFacts {
    between: [usize; 2],
    /// Buoyant flow per square root of temperature difference, m³/s/√K.
    factor: f64,
}

/// All rooms as two networks of stores, with the memory a step needs.
#[derive(Clone, Debug)]
pub struct House {
    heat: StoreNetwork,
    moisture: StoreNetwork,
    rooms: Vec<RoomFacts>,
    doors: Vec<DoorFacts>,
    outlet_room: Vec<usize>,
    return_room: Vec<usize>,
    relief_room: Option<usize>,
    density: f64,
    saturation: SaturationTable,
    ground_c: f64,
    boundary: Vec<f64>,
    source: Vec<f64>,
    stream: Vec<f64>,
    middle: Vec<f64>,
    water_boundary: Vec<f64>,
    water_source: Vec<f64>,
    water_stream: Vec<f64>,
    water_middle: Vec<f64>,
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
        let mut heat = StoreNetwork::builder();
        let mut moisture = StoreNetwork::builder();
        let mut rooms = Vec::new();
        for r in &scenario.rooms {
            let s = &r.stores;
            let air = heat.store(s.air_j_k);
            let contents = heat.store(s.contents_j_k);
            let fabric = heat.store(s.fabric_j_k);
            heat.link(air, contents, s.air_contents_w_k);
            heat.link(air, fabric, s.air_fabric_w_k);
            heat.link(contents, fabric, s.contents_fabric_w_k);
            let air_kg = density * r.volume_m3();
            let vapour = moisture.store(air_kg);
            let buffer = moisture.store(r.buffer_kg);
            moisture.link(vapour, buffer, r.buffer_kg_s);
            rooms.push(RoomFacts {
                window_w_k: r.windows.iter().map(|w| w.ua_w_k).sum(),
                opaque_w_k: r.opaque.iter().map(|o| o.ua_w_k).sum(),
                ground_w_k: r.ground_w_k,
                natural_m3_s: r.infiltration_ach * r.volume_m3() / 3600.0,
                gains_to_air: r.shares.gains_to_air,
                sun_to_air: r.shares.sun_to_air,
                rest_to_contents: r.shares.rest_to_contents,
                air_kg,
            });
        }
        let mut doors = Vec::new();
        for d in &scenario.doors {
            let [a, b] = d.between;
            heat.link(3 * a + FABRIC, 3 * b + FABRIC, d.partition_w_k);
            for (from, to) in [(a, b), (b, a)] {
                heat.stream(3 * from, 3 * to);
                moisture.stream(2 * from, 2 * to);
            }
            let factor = d.opening.exchange_factor(DOORWAY_MEAN_K);
            doors.push(DoorFacts {
                between: d.between,
                factor,
            });
        }
        let (heat, moisture) = (heat.build(), moisture.build());
        let (n, m, streams) = (heat.len(), moisture.len(), 2 * doors.len());
        House {
            heat,
            moisture,
            outlet_room: scenario.outlets.iter().map(|o| o.room).collect(),
            return_room: scenario.air.returns.iter().map(|r| r.room).collect(),
            relief_room: scenario.relief.and_then(|r| match r.to {
                ReliefTo::Room(room) => Some(room),
                ReliefTo::Return => None,
            }),
            density,
            saturation: SaturationTable::new(scenario.site.pressure_pa),
            ground_c: GROUND_C,
            boundary: vec![0.0; n],
            source: vec![0.0; n],
            stream: vec![0.0; streams],
            middle: vec![0.0; n],
            water_boundary: vec![0.0; m],
            water_source: vec![0.0; m],
            water_stream: vec![0.0; streams],
            water_middle: vec![0.0; m],
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
        self.heat
            .capacity()
            .iter()
            .zip(&state.heat)
            .map(|(c, t)| c * t)
            .sum()
    }

    fn stored_water(&self, state: &HouseState) -> f64 {
        self.moisture
            .capacity()
            .iter()
            .zip(&state.moisture)
            .map(|(c, w)| c * w)
            .sum()
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
        let heat = StoreDrive {
            boundary: &self.boundary,
            source: &self.source,
            stream: &self.stream,
        };
        self.heat
            .step(dt_s, &heat, &mut state.heat, &mut self.middle)
            .map_err(|store| store / 3)?;
        let water = StoreDrive {
            boundary: &self.water_boundary,
            source: &self.water_source,
            stream: &self.water_stream,
        };
        self.moisture
            .step(dt_s, &water, &mut state.moisture, &mut self.water_middle)
            .map_err(|store| store / 2)?;
        self.meter(dt_s, drive, air, outlet_air, plenum);
        self.condense(dt_s, state);
        Ok(())
    }

    /// Outdoors, sun, people.
    fn surroundings(&mut self, drive: &Drive, air: &AirState) {
        let outdoor = drive.outdoor;
        for (i, room) in self.rooms.iter().enumerate() {
            let d = &drive.rooms[i];
            let (out, into) = with_net_flow(room.natural_m3_s, air.leaks_m3_s[i]);
            let (into, out) = (self.density * into, self.density * out);
            self.infiltration[i] = (into, out);
            let (a, l, f) = (3 * i + AIR, 3 * i + CONTENTS, 3 * i + FABRIC);
            let outdoors_w_k = into * CP_MOIST + room.window_w_k;
            self.boundary[a] = outdoors_w_k;
            self.boundary[l] = 0.0;
            self.boundary[f] = room.opaque_w_k + room.ground_w_k;
            let to_air = room.gains_to_air * d.gain_w + room.sun_to_air * d.sun_w;
            let rest = d.gain_w + d.sun_w - to_air;
            self.source[a] = outdoors_w_k * outdoor.t_c + to_air;
            self.source[l] = room.rest_to_contents * rest;
            self.source[f] =
                (1.0 - room.rest_to_contents) * rest + d.opaque_w + room.ground_w_k * self.ground_c;
            self.water_boundary[2 * i] = into;
            self.water_source[2 * i] = into * outdoor.w + d.moisture_kg_s;
        }
    }

    fn supply(&mut self, air: &AirState, outlet_air: &[MoistAir], plenum: MoistAir) {
        let mut add = |room: usize, flow_m3_s: f64, from: MoistAir| {
            let m = self.density * flow_m3_s.max(0.0);
            self.boundary[3 * room] += m * CP_MOIST;
            self.source[3 * room] += m * CP_MOIST * from.t_c;
            self.water_boundary[2 * room] += m;
            self.water_source[2 * room] += m * from.w;
        };
        for (o, &room) in self.outlet_room.iter().enumerate() {
            add(room, air.outlets_m3_s[o], outlet_air[o]);
        }
        if let Some(room) = self.relief_room {
            add(room, air.relief_m3_s, plenum);
        }
    }

    /// Doors: what the fan drives through them, and what warm and cold air exchange of themselves.
    /// The exchange follows the temperature difference at the start of the step.
    fn between_rooms(&mut self, drive: &Drive, air: &AirState, state: &HouseState) {
        for (i, door) in self.doors.iter().enumerate() {
            let [a, b] = door.between;
            let both_ways = if drive.open[i] {
                let dt_k = state.heat[3 * a] - state.heat[3 * b];
                door.factor * dt_k.abs().sqrt()
            } else {
                0.0
            };
            let (forth, back) = with_net_flow(both_ways, air.doors_m3_s[i]);
            for (k, flow) in [(2 * i, forth), (2 * i + 1, back)] {
                let m = self.density * flow;
                self.water_stream[k] = m;
                self.stream[k] = m * CP_MOIST;
            }
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
        let (t, w) = (&self.middle, &self.water_middle);
        let rho = self.density;
        let (heat, water) = (&mut self.heat_meter, &mut self.water_meter);
        for (i, room) in self.rooms.iter().enumerate() {
            let d = &drive.rooms[i];
            let (into, out) = self.infiltration[i];
            heat.add(into * CP_MOIST * drive.outdoor.t_c, dt_s);
            heat.add(-out * CP_MOIST * t[3 * i], dt_s);
            heat.add(room.window_w_k * (drive.outdoor.t_c - t[3 * i]), dt_s);
            heat.add(d.opaque_w - room.opaque_w_k * t[3 * i + FABRIC], dt_s);
            heat.add(room.ground_w_k * (self.ground_c - t[3 * i + FABRIC]), dt_s);
            heat.add(d.gain_w + d.sun_w, dt_s);
            water.add(into * drive.outdoor.w, dt_s);
            water.add(-out * w[2 * i], dt_s);
            water.add(d.moisture_kg_s, dt_s);
        }
        let mut air_flow = |m3_s: f64, room: usize, from: MoistAir| {
            let m = rho * m3_s;
            let (t_c, w_kg) = if m >= 0.0 {
                (from.t_c, from.w)
            } else {
                (t[3 * room], w[2 * room])
            };
            heat.add(m * CP_MOIST * t_c, dt_s);
            water.add(m * w_kg, dt_s);
        };
        for (o, &room) in self.outlet_room.iter().enumerate() {
            air_flow(air.outlets_m3_s[o], room, outlet_air[o]);
        }
        if let Some(room) = self.relief_room {
            air_flow(air.relief_m3_s, room, plenum);
        }
        for (r, &room) in self.return_room.iter().enumerate() {
            let own = MoistAir {
                t_c: t[3 * room],
                w: w[2 * room],
            };
            air_flow(-air.returns_m3_s[r], room, own);
        }
    }

    /// Air cannot hold more than saturation: the rest runs down the wall and leaves the balance.
    fn condense(&mut self, dt_s: f64, state: &mut HouseState) {
        for (i, room) in self.rooms.iter().enumerate() {
            let most = self.saturation.w_sat(state.heat[3 * i]);
            let excess = state.moisture[2 * i] - most;
            if excess > 0.0 {
                state.moisture[2 * i] = most;
                self.water_meter.add(-excess * room.air_kg / dt_s, dt_s);
            }
        }
    }
}
