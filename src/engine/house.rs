//! The rooms through time: heat and moisture of all rooms, stepped together.

use super::meter::{Closure, LaneTally, Meter};
use crate::math::clone_in_place;
use crate::math::lanes::{Lanes, Seat, blocks, gather, sum};
use crate::plant::air::{LATENT_HEAT_0C, MoistAir, SaturationTable, humidity_ratio};
use crate::plant::air_side::{AirState, ReliefTo};
use crate::plant::coupled_rooms::{
    BalanceLanes, CoupledRooms, DoorWay, MiddleLanes, RoomStores, RoomsState,
};
use crate::plant::door::DOORWAY_MEAN_K;
use crate::plant::doorway::with_net_flow;
use crate::plant::drivers::Drive;
use crate::plant::room::{CP_MOIST, Room};
use crate::scenario::Scenario;

/// What is fixed about a block of rooms.
#[derive(Clone, Copy, Debug)]
struct RoomFacts {
    window_w_k: Lanes,
    opaque_w_k: Lanes,
    ground_w_k: Lanes,
    gains_to_air: Lanes,
    sun_to_air: Lanes,
    rest_to_contents: Lanes,
    natural_m3_s: Lanes,
    /// Capacities of air, contents and fabric, J/K.
    heat_j_k: [Lanes; 3],
    /// Capacities of vapour and its buffer, kg of dry air.
    water_kg: [Lanes; 2],
}

impl RoomFacts {
    fn new(block: usize, rooms: &[Room], density: f64) -> RoomFacts {
        let by_room = |of: &dyn Fn(&Room) -> f64| gather(block, rooms, 0.0, of);
        RoomFacts {
            window_w_k: by_room(&|r| r.windows.iter().map(|w| w.ua_w_k).sum()),
            opaque_w_k: by_room(&|r| r.opaque.iter().map(|o| o.ua_w_k).sum()),
            ground_w_k: by_room(&|r| r.ground_w_k),
            gains_to_air: by_room(&|r| r.shares.gains_to_air),
            sun_to_air: by_room(&|r| r.shares.sun_to_air),
            rest_to_contents: by_room(&|r| r.shares.rest_to_contents),
            natural_m3_s: by_room(&|r| r.infiltration_ach * r.volume_m3() / 3600.0),
            heat_j_k: [
                by_room(&|r| r.stores.air_j_k),
                by_room(&|r| r.stores.contents_j_k),
                by_room(&|r| r.stores.fabric_j_k),
            ],
            water_kg: [
                by_room(&|r| density * r.volume_m3()),
                by_room(&|r| r.buffer_kg),
            ],
        }
    }
}

/// Air of a block of rooms in from outdoors and out to it, kg/s, and the conductance of the one together
/// with the glass, W/K.
#[derive(Clone, Copy, Debug, Default)]
struct Leaks {
    into_kg_s: Lanes,
    out_kg_s: Lanes,
    outdoors_w_k: Lanes,
}

/// A door: what is fixed, and the air the fan drives through it.
#[derive(Clone, Copy, Debug)]
struct DoorFacts {
    between: [usize; 2],
    /// Buoyant flow per square root of temperature difference, kg/s/√K.
    factor: f64,
    /// Net flow from the first room to the second, kg/s.
    net_kg_s: f64,
}

/// Air that enters a room from a duct, or leaves it by one when negative, kg/s.
#[derive(Clone, Copy, Debug)]
struct Stream {
    seat: Seat,
    kg_s: f64,
}

/// The air of a block of rooms as it will be in the middle of a step if it goes on changing as it did.
#[derive(Clone, Copy, Debug, Default)]
struct AheadLanes {
    air_c: Lanes,
    w: Lanes,
}

/// What rooms remember from step to step.
#[derive(Debug, PartialEq)]
pub struct HouseState {
    /// Temperatures and humidity of every room.
    pub rooms: RoomsState,
    /// The middle of the last step.
    middle: Vec<MiddleLanes>,
    /// Length of the last step, s; infinite before the first.
    last_s: f64,
    heat_meter: Meter,
    water_meter: Meter,
}

clone_in_place!(HouseState {
    rooms,
    middle,
    last_s,
    heat_meter,
    water_meter
});

/// The rooms as one system of equations, with the memory that a step needs.
#[derive(Clone, Debug)]
pub struct House {
    coupled: CoupledRooms,
    facts: Vec<RoomFacts>,
    doors: Vec<DoorFacts>,
    outlets: Vec<Stream>,
    returns: Vec<Stream>,
    /// Relief air into a room, if it goes there.
    relief: Option<Stream>,
    density: f64,
    saturation: SaturationTable,
    balances: Vec<BalanceLanes>,
    leaks: Vec<Leaks>,
    /// Dry air through each door, forth and back, kg/s.
    through_doors: Vec<[f64; 2]>,
    /// The air as extrapolated to the middle of the coming step.
    ahead: Vec<AheadLanes>,
    saturated_w: Vec<Lanes>,
}

/// Temperature of the ground under rooms that touch it, °C: near the yearly mean of a temperate
/// site; common practice, no source.
const GROUND_C: f64 = 17.0;

impl House {
    /// Makes ready for steps of `dt_s`, so that they allocate nothing.
    pub fn prepare(&mut self, dt_s: f64) {
        self.coupled.prepare(dt_s);
    }

    /// The rooms of a scenario, without any flow.
    pub fn new(scenario: &Scenario) -> House {
        let density = scenario.air.air.density_kg_m3;
        let count = scenario.rooms.len();
        let facts: Vec<RoomFacts> = (0..blocks(count))
            .map(|b| RoomFacts::new(b, &scenario.rooms, density))
            .collect();
        let stores = scenario.rooms.iter().map(|r| RoomStores {
            heat: r.stores,
            vapour_kg: density * r.volume_m3(),
            buffer_kg: r.buffer_kg,
            buffer_kg_s: r.buffer_kg_s,
        });
        let ways: Vec<DoorWay> = scenario
            .doors
            .iter()
            .map(|d| DoorWay {
                between: d.between,
                partition_w_k: d.partition_w_k,
            })
            .collect();
        let doors = scenario.doors.iter().map(|d| DoorFacts {
            between: d.between,
            factor: density * d.opening.exchange_factor(DOORWAY_MEAN_K),
            net_kg_s: 0.0,
        });
        let still = |room| Stream {
            seat: Seat::of(room),
            kg_s: 0.0,
        };
        let balances = facts.iter().map(|f| BalanceLanes {
            fabric_w_k: f.opaque_w_k + f.ground_w_k,
            ..BalanceLanes::default()
        });
        let mut house = House {
            coupled: CoupledRooms::new(stores.collect(), &ways),
            doors: doors.collect(),
            outlets: scenario.outlets.iter().map(|o| still(o.room)).collect(),
            returns: scenario.air.returns.iter().map(|r| still(r.room)).collect(),
            relief: scenario.relief.and_then(|r| match r.to {
                ReliefTo::Room(room) => Some(still(room)),
                ReliefTo::Return => None,
            }),
            density,
            saturation: SaturationTable::new(scenario.site.pressure_pa),
            balances: balances.collect(),
            leaks: vec![Leaks::default(); blocks(count)],
            through_doors: vec![[0.0; 2]; ways.len()],
            ahead: vec![AheadLanes::default(); blocks(count)],
            saturated_w: vec![Lanes::ZERO; blocks(count)],
            facts,
        };
        house.set_leaks(std::iter::repeat_n(0.0, count));
        house
    }

    /// Every store of a room at its initial temperature and humidity.
    pub fn initial(scenario: &Scenario) -> HouseState {
        let start = scenario.rooms.iter().map(|r| {
            let w = humidity_ratio(r.initial_rh, r.initial_c, scenario.site.pressure_pa);
            (r.initial_c, w)
        });
        HouseState {
            rooms: RoomsState::uniform(&start.collect::<Vec<_>>()),
            middle: vec![MiddleLanes::default(); blocks(scenario.rooms.len())],
            last_s: f64::INFINITY,
            heat_meter: Meter::default(),
            water_meter: Meter::default(),
        }
    }

    /// Starts the meters afresh.
    pub fn start_meters(&self, state: &mut HouseState) {
        state.heat_meter = Meter::starting_at(self.stored_heat(&state.rooms));
        state.water_meter = Meter::starting_at(self.stored_water(&state.rooms));
    }

    /// How the heat balance has closed since the meters started, J.
    pub fn heat_closure(&self, state: &HouseState) -> Closure {
        state.heat_meter.closure(self.stored_heat(&state.rooms))
    }

    /// How the moisture balance has closed since the meters started, kg.
    pub fn water_closure(&self, state: &HouseState) -> Closure {
        state.water_meter.closure(self.stored_water(&state.rooms))
    }

    fn stored_heat(&self, state: &RoomsState) -> f64 {
        let rooms = self.facts.iter().zip(&state.blocks);
        rooms
            .map(|(f, s)| {
                let [air, contents, fabric] = f.heat_j_k;
                sum(air * s.air_c + contents * s.contents_c + fabric * s.fabric_c)
            })
            .sum()
    }

    fn stored_water(&self, state: &RoomsState) -> f64 {
        let rooms = self.facts.iter().zip(&state.blocks);
        rooms
            .map(|(f, s)| sum(f.water_kg[0] * s.w + f.water_kg[1] * s.buffer_w))
            .sum()
    }

    /// Humidity ratio of saturated air at the air temperature each room had at the end of the last
    /// step, kg/kg, by blocks.
    pub fn saturated_w(&self) -> &[Lanes] {
        &self.saturated_w
    }

    /// Takes over flows: to be called whenever they have changed.
    pub fn take_flows(&mut self, air: &AirState) {
        self.set_leaks(air.leaks_m3_s.iter().copied());
        for (door, net) in self.doors.iter_mut().zip(&air.doors_m3_s) {
            door.net_kg_s = self.density * net;
        }
        for (stream, flow) in self.outlets.iter_mut().zip(&air.outlets_m3_s) {
            stream.kg_s = self.density * flow;
        }
        for (stream, flow) in self.returns.iter_mut().zip(&air.returns_m3_s) {
            stream.kg_s = -self.density * flow;
        }
        if let Some(stream) = &mut self.relief {
            stream.kg_s = self.density * air.relief_m3_s;
        }
        for stream in self.outlets.iter().chain(&self.relief) {
            let kg_s = stream.kg_s.max(0.0);
            let balance = &mut self.balances[stream.seat.block];
            *stream.seat.of_mut(&mut balance.air_w_k) += kg_s * CP_MOIST;
            *stream.seat.of_mut(&mut balance.air_kg_s) += kg_s;
        }
    }

    /// Air through leaks: what wind and buoyancy bring, and what the fan drives out, m³/s.
    fn set_leaks(&mut self, out_m3_s: impl Iterator<Item = f64>) {
        for (room, leak) in out_m3_s.enumerate() {
            let seat = Seat::of(room);
            let natural = seat.get(&self.facts[seat.block].natural_m3_s);
            let (out, into) = with_net_flow(natural, leak);
            let leaks = &mut self.leaks[seat.block];
            *seat.of_mut(&mut leaks.into_kg_s) = self.density * into;
            *seat.of_mut(&mut leaks.out_kg_s) = self.density * out;
        }
        let rooms = self.facts.iter().zip(&mut self.leaks);
        for ((facts, leaks), balance) in rooms.zip(&mut self.balances) {
            leaks.outdoors_w_k = leaks.into_kg_s * Lanes::splat(CP_MOIST) + facts.window_w_k;
            balance.air_w_k = leaks.outdoors_w_k;
            balance.air_kg_s = leaks.into_kg_s;
        }
    }

    /// Extrapolates to the middle of the coming step of `dt_s`: the air of every room goes on changing as it
    /// did in the last one. What coil and doors do with it is then right to second order, as the trapezoid
    /// rule is (two-step Adams-Bashforth for what the rule leaves explicit).
    pub fn extrapolate(&mut self, dt_s: f64, state: &mut HouseState) {
        let on = Lanes::splat(dt_s / state.last_s);
        let rooms = state.rooms.blocks.iter().zip(&state.middle);
        for (ahead, (now, mid)) in self.ahead.iter_mut().zip(rooms) {
            ahead.air_c = now.air_c + on * (now.air_c - mid.air_c);
            ahead.w = now.w + on * (now.w - mid.w);
        }
        state.last_s = dt_s;
    }

    /// How far the air of any room ended from where the step's outset pointed, K: with the square of a
    /// step's length it grows, and says how long the next may be. Moisture counts by the heat that it takes
    /// to evaporate.
    fn deviation_k(&self, middle: &[MiddleLanes]) -> f64 {
        // Latent heat over specific heat, K per kg/kg.
        let per_w = Lanes::splat(LATENT_HEAT_0C / CP_MOIST);
        let rooms = middle.iter().zip(&self.ahead);
        let apart = rooms.fold(Lanes::ZERO, |most, (mid, ahead)| {
            let warmer = (mid.air_c - ahead.air_c).abs();
            most.max(warmer).max(per_w * (mid.w - ahead.w).abs())
        });
        let [a, b] = apart.to_array();
        2.0 * a.max(b)
    }

    /// Air of a room as last extrapolated.
    #[inline]
    pub fn ahead(&self, room: usize) -> MoistAir {
        let seat = Seat::of(room);
        let block = &self.ahead[seat.block];
        MoistAir {
            t_c: seat.get(&block.air_c),
            w: seat.get(&block.w),
        }
    }

    /// Steps all rooms by `dt_s`, for which [`extrapolate`](Self::extrapolate) was called, at the flows
    /// last taken over. Returns how far the air of any room ended from where the step's outset pointed, K;
    /// the error is the index of a room whose balance has no solution.
    pub fn step(
        &mut self,
        dt_s: f64,
        drive: &Drive,
        outlet_air: &[MoistAir],
        plenum: MoistAir,
        state: &mut HouseState,
    ) -> Result<f64, usize> {
        self.surroundings(drive);
        self.supply(outlet_air, plenum);
        self.between_rooms(drive);
        self.coupled.step(
            dt_s,
            &self.balances,
            &self.through_doors,
            &mut state.rooms,
            &mut state.middle,
        )?;
        self.meter(dt_s, drive, outlet_air, plenum, state);
        self.condense(dt_s, state);
        Ok(self.deviation_k(&state.middle))
    }

    /// Outdoors, sun, people.
    fn surroundings(&mut self, drive: &Drive) {
        let outdoor_c = Lanes::splat(drive.outdoor.t_c);
        let outdoor_w = Lanes::splat(drive.outdoor.w);
        let ground_c = Lanes::splat(GROUND_C);
        let rooms = self.facts.iter().zip(&self.leaks).zip(&drive.rooms);
        for (((facts, leaks), d), balance) in rooms.zip(&mut self.balances) {
            let to_air = facts.gains_to_air * d.gain_w + facts.sun_to_air * d.sun_w;
            let rest = d.gain_w + d.sun_w - to_air;
            let contents = facts.rest_to_contents * rest;
            balance.to_air_w = leaks.outdoors_w_k * outdoor_c + to_air;
            balance.to_contents_w = contents;
            balance.to_fabric_w = rest - contents + d.opaque_w + facts.ground_w_k * ground_c;
            balance.moisture_kg_s = leaks.into_kg_s * outdoor_w + d.moisture_kg_s;
        }
    }

    fn supply(&mut self, outlet_air: &[MoistAir], plenum: MoistAir) {
        let relief = self.relief.iter().zip(std::iter::once(&plenum));
        for (stream, from) in self.outlets.iter().zip(outlet_air).chain(relief) {
            let kg_s = stream.kg_s.max(0.0);
            let balance = &mut self.balances[stream.seat.block];
            *stream.seat.of_mut(&mut balance.to_air_w) += kg_s * CP_MOIST * from.t_c;
            *stream.seat.of_mut(&mut balance.moisture_kg_s) += kg_s * from.w;
        }
    }

    /// Doors: what the fan drives through them, and what warm and cold air exchange of themselves.
    /// The exchange follows the temperature difference extrapolated for the middle of the step.
    fn between_rooms(&mut self, drive: &Drive) {
        let ahead = &self.ahead;
        let air_c = |room: usize| {
            let seat = Seat::of(room);
            seat.get(&ahead[seat.block].air_c)
        };
        let doors = self.doors.iter().zip(&drive.open);
        for ((door, &open), through) in doors.zip(&mut self.through_doors) {
            let [a, b] = door.between;
            let both_ways = if open {
                let dt_k = air_c(a) - air_c(b);
                door.factor * dt_k.abs().sqrt()
            } else {
                0.0
            };
            *through = with_net_flow(both_ways, door.net_kg_s).into();
        }
    }

    /// Counts everything that crosses the rooms' boundary, at the middle of the step and in
    /// absolute terms: it closes only if every room's air balance does.
    fn meter(
        &self,
        dt_s: f64,
        drive: &Drive,
        outlet_air: &[MoistAir],
        plenum: MoistAir,
        state: &mut HouseState,
    ) {
        let outdoor_c = Lanes::splat(drive.outdoor.t_c);
        let outdoor_w = Lanes::splat(drive.outdoor.w);
        let ground_c = Lanes::splat(GROUND_C);
        let cp = Lanes::splat(CP_MOIST);
        let (mut heat, mut water) = (LaneTally::default(), LaneTally::default());
        let rooms = self.facts.iter().zip(&self.leaks);
        for ((facts, leaks), (d, mid)) in rooms.zip(drive.rooms.iter().zip(&state.middle)) {
            heat.add([
                leaks.into_kg_s * cp * outdoor_c,
                -(leaks.out_kg_s * cp * mid.air_c),
                facts.window_w_k * (outdoor_c - mid.air_c),
                d.opaque_w - facts.opaque_w_k * mid.fabric_c,
                facts.ground_w_k * (ground_c - mid.fabric_c),
                d.gain_w + d.sun_w,
            ]);
            water.add([
                leaks.into_kg_s * outdoor_w,
                -(leaks.out_kg_s * mid.w),
                d.moisture_kg_s,
            ]);
        }
        let (mut heat, mut water) = (heat.total(), water.total());
        let mut flow = |kg_s: f64, (t_c, w): (f64, f64)| {
            heat.add(kg_s * CP_MOIST * t_c);
            water.add(kg_s * w);
        };
        let own = |seat: Seat| {
            let mid = &state.middle[seat.block];
            (seat.get(&mid.air_c), seat.get(&mid.w))
        };
        let relief = self.relief.iter().zip(std::iter::once(&plenum));
        for (stream, from) in self.outlets.iter().zip(outlet_air).chain(relief) {
            if stream.kg_s >= 0.0 {
                flow(stream.kg_s, (from.t_c, from.w));
            } else {
                flow(stream.kg_s, own(stream.seat));
            }
        }
        for stream in &self.returns {
            flow(stream.kg_s, own(stream.seat));
        }
        state.heat_meter.add(heat, dt_s);
        state.water_meter.add(water, dt_s);
    }

    /// Air cannot hold more than saturation: the rest runs down the wall and leaves the balance.
    fn condense(&mut self, dt_s: f64, state: &mut HouseState) {
        let table = &self.saturation;
        let rooms = state.rooms.blocks.iter_mut().zip(&mut self.saturated_w);
        for ((s, saturated), facts) in rooms.zip(&self.facts) {
            *saturated = Lanes::from(s.air_c.to_array().map(|t_c| table.w_sat(t_c)));
            let excess = s.w - *saturated;
            if excess.to_array().iter().all(|&x| x <= 0.0) {
                continue;
            }
            let gone = excess.max(Lanes::ZERO);
            let mut condensed = LaneTally::default();
            condensed.add([-(gone * facts.water_kg[0]) / Lanes::splat(dt_s)]);
            state.water_meter.add(condensed.total(), dt_s);
            s.w -= gone;
        }
    }
}
