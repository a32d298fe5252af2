//! The rooms through time: heat and moisture of all rooms, stepped together.

use super::meter::{Closure, LaneTally, Meter};
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

/// What a step overwrites besides the rooms' state.
#[derive(Clone, Debug, Default)]
struct Kept {
    middle: Vec<MiddleLanes>,
    last_s: f64,
    heat_meter: Meter,
    water_meter: Meter,
}

/// All rooms with the memory a step needs.
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
    /// Temperature of the ground under rooms that touch it, °C.
    ground_c: f64,
    saturation: SaturationTable,
    balances: Vec<BalanceLanes>,
    leaks: Vec<Leaks>,
    /// Dry air through each door, forth and back, kg/s.
    through_doors: Vec<[f64; 2]>,
    middle: Vec<MiddleLanes>,
    /// Length of the last step, s; infinite before the first.
    last_s: f64,
    /// How far the last step went from what was foreseen, K.
    surprise_k: f64,
    kept: Kept,
    /// The air as foreseen for the middle of the coming step.
    ahead: Vec<AheadLanes>,
    saturated_w: Vec<Lanes>,
    heat_meter: Meter,
    water_meter: Meter,
    start_heat: f64,
    start_water: f64,
}

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
            ground_c: scenario.surroundings.ground_c,
            density,
            saturation: SaturationTable::new(scenario.site.pressure_pa),
            balances: balances.collect(),
            leaks: vec![Leaks::default(); blocks(count)],
            through_doors: vec![[0.0; 2]; ways.len()],
            middle: vec![MiddleLanes::default(); blocks(count)],
            last_s: f64::INFINITY,
            surprise_k: 0.0,
            kept: Kept::default(),
            ahead: vec![AheadLanes::default(); blocks(count)],
            saturated_w: vec![Lanes::ZERO; blocks(count)],
            facts,
            heat_meter: Meter::default(),
            water_meter: Meter::default(),
            start_heat: 0.0,
            start_water: 0.0,
        };
        house.leak(std::iter::repeat_n(0.0, count));
        house
    }

    /// Every store of a room at its initial temperature and humidity.
    pub fn initial(scenario: &Scenario) -> RoomsState {
        let start = scenario.rooms.iter().map(|r| {
            let w = humidity_ratio(r.initial_rh, r.initial_c, scenario.site.pressure_pa);
            (r.initial_c, w)
        });
        RoomsState::uniform(&start.collect::<Vec<_>>())
    }

    /// Starts the meters afresh at `state`.
    pub fn start_meters(&mut self, state: &RoomsState) {
        self.heat_meter = Meter::default();
        self.water_meter = Meter::default();
        self.start_heat = self.stored_heat(state);
        self.start_water = self.stored_water(state);
    }

    /// How the heat balance has closed since the meters started, J.
    pub fn heat_closure(&self, state: &RoomsState) -> Closure {
        self.heat_meter
            .closure(self.stored_heat(state) - self.start_heat)
    }

    /// How the moisture balance has closed since the meters started, kg.
    pub fn water_closure(&self, state: &RoomsState) -> Closure {
        self.water_meter
            .closure(self.stored_water(state) - self.start_water)
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
        self.leak(air.leaks_m3_s.iter().copied());
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
    fn leak(&mut self, out_m3_s: impl Iterator<Item = f64>) {
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

    /// Looks ahead to the middle of the coming step of `dt_s`: the air of every room goes on changing
    /// as it did in the last one. What coil and doors do with it is then right to second order, as
    /// the trapezoid rule is (two-step Adams-Bashforth for what the rule leaves explicit).
    pub fn foresee(&mut self, dt_s: f64, state: &RoomsState) {
        let on = Lanes::splat(dt_s / self.last_s);
        let rooms = state.blocks.iter().zip(&self.middle);
        for (ahead, (now, mid)) in self.ahead.iter_mut().zip(rooms) {
            ahead.air_c = now.air_c + on * (now.air_c - mid.air_c);
            ahead.w = now.w + on * (now.w - mid.w);
        }
        self.last_s = dt_s;
    }

    /// Keeps what [`take_back`](Self::take_back) brings back.
    pub fn keep(&mut self) {
        self.kept.middle.clone_from(&self.middle);
        self.kept.last_s = self.last_s;
        self.kept.heat_meter = self.heat_meter;
        self.kept.water_meter = self.water_meter;
    }

    /// As if no step had been made since [`keep`](Self::keep); the caller keeps the rooms' state.
    pub fn take_back(&mut self) {
        self.middle.clone_from(&self.kept.middle);
        self.last_s = self.kept.last_s;
        self.heat_meter = self.kept.heat_meter;
        self.water_meter = self.kept.water_meter;
    }

    /// How far the air of any room ended from where the last step's outset pointed, K: with the
    /// square of a step's length it grows, and says how long the next may be. Moisture counts by
    /// the heat that it takes to evaporate.
    pub fn surprise_k(&self) -> f64 {
        self.surprise_k
    }

    fn compare(&mut self) {
        // Latent heat over specific heat, K per kg/kg.
        let per_w = Lanes::splat(LATENT_HEAT_0C / CP_MOIST);
        let rooms = self.middle.iter().zip(&self.ahead);
        let apart = rooms.fold(Lanes::ZERO, |most, (mid, ahead)| {
            let warmer = (mid.air_c - ahead.air_c).abs();
            most.max(warmer).max(per_w * (mid.w - ahead.w).abs())
        });
        let [a, b] = apart.to_array();
        self.surprise_k = 2.0 * a.max(b);
    }

    /// Air of a room as last foreseen.
    #[inline]
    pub fn ahead(&self, room: usize) -> MoistAir {
        let seat = Seat::of(room);
        let block = &self.ahead[seat.block];
        MoistAir {
            t_c: seat.get(&block.air_c),
            w: seat.get(&block.w),
        }
    }

    /// Steps all rooms by `dt_s`, which [`foresee`](Self::foresee) must have been told, at the flows
    /// last taken over; the error is the index of a room whose balance has no solution.
    pub fn step(
        &mut self,
        dt_s: f64,
        drive: &Drive,
        outlet_air: &[MoistAir],
        plenum: MoistAir,
        state: &mut RoomsState,
    ) -> Result<(), usize> {
        self.surroundings(drive);
        self.supply(outlet_air, plenum);
        self.between_rooms(drive);
        self.coupled.step(
            dt_s,
            &self.balances,
            &self.through_doors,
            state,
            &mut self.middle,
        )?;
        self.compare();
        self.meter(dt_s, drive, outlet_air, plenum);
        self.condense(dt_s, state);
        Ok(())
    }

    /// Outdoors, sun, people.
    fn surroundings(&mut self, drive: &Drive) {
        let outdoor_c = Lanes::splat(drive.outdoor.t_c);
        let outdoor_w = Lanes::splat(drive.outdoor.w);
        let ground_c = Lanes::splat(self.ground_c);
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
    /// The exchange follows the temperature difference foreseen for the middle of the step.
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
    fn meter(&mut self, dt_s: f64, drive: &Drive, outlet_air: &[MoistAir], plenum: MoistAir) {
        let outdoor_c = Lanes::splat(drive.outdoor.t_c);
        let outdoor_w = Lanes::splat(drive.outdoor.w);
        let ground_c = Lanes::splat(self.ground_c);
        let cp = Lanes::splat(CP_MOIST);
        let (mut heat, mut water) = (LaneTally::default(), LaneTally::default());
        let rooms = self.facts.iter().zip(&self.leaks);
        for ((facts, leaks), (d, mid)) in rooms.zip(drive.rooms.iter().zip(&self.middle)) {
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
        let mut blow = |kg_s: f64, (t_c, w): (f64, f64)| {
            heat.add(kg_s * CP_MOIST * t_c);
            water.add(kg_s * w);
        };
        let own = |seat: Seat| {
            let mid = &self.middle[seat.block];
            (seat.get(&mid.air_c), seat.get(&mid.w))
        };
        let relief = self.relief.iter().zip(std::iter::once(&plenum));
        for (stream, from) in self.outlets.iter().zip(outlet_air).chain(relief) {
            if stream.kg_s >= 0.0 {
                blow(stream.kg_s, (from.t_c, from.w));
            } else {
                blow(stream.kg_s, own(stream.seat));
            }
        }
        for stream in &self.returns {
            blow(stream.kg_s, own(stream.seat));
        }
        self.heat_meter.add(heat, dt_s);
        self.water_meter.add(water, dt_s);
    }

    /// Air cannot hold more than saturation: the rest runs down the wall and leaves the balance.
    fn condense(&mut self, dt_s: f64, state: &mut RoomsState) {
        let table = &self.saturation;
        let rooms = state.blocks.iter_mut().zip(&mut self.saturated_w);
        for ((s, saturated), facts) in rooms.zip(&self.facts) {
            *saturated = Lanes::from(s.air_c.to_array().map(|t_c| table.w_sat(t_c)));
            let excess = s.w - *saturated;
            if excess.to_array().iter().all(|&x| x <= 0.0) {
                continue;
            }
            let gone = excess.max(Lanes::ZERO);
            let mut condensed = LaneTally::default();
            condensed.add([-(gone * facts.water_kg[0]) / Lanes::splat(dt_s)]);
            self.water_meter.add(condensed.total(), dt_s);
            s.w -= gone;
        }
    }
}
