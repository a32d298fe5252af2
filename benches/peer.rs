//! The eight-room problem of `benches/peer/problem.py`, put together from this crate's parts.
//!
//! `benches/peer/run.sh` runs it beside the same problem in Python. Alone it prints simulated seconds
//! a second and the air temperatures at whole hours as JSON. As the engine does, it looks ahead to the
//! middle of a step, and takes longer steps while no damper moves.

use std::f64::consts::PI;
use std::sync::Arc;
use std::time::Instant;

use openshut::internals::{
    BalanceLanes, CP_MOIST, CoilMemory, CoolingCoil, CoupledRooms, DoorWay, Doorway, Drive, Fan,
    FanCurve, FanLaw, Lanes, Law, LinearQuadratic, MiddleLanes, MoistAir, Network, NetworkState,
    PowerCurve, RoomStores, RoomsState, STANDARD_PRESSURE, SaturationTable, Seat, Stores, blocks,
    gather, with_net_flow,
};

const SERVED: usize = 7;
const AREA: [f64; SERVED + 1] = [13.0, 12.0, 14.0, 16.0, 12.0, 14.0, 16.0, 12.0];
const RHO: f64 = 1.2;
const PARTITION_W_K: f64 = 25.0;
const OUTDOOR_W: f64 = 0.011;
const SHUT: f64 = 0.1;
const FAN_W: f64 = 150.0;

fn quadratic(b: f64) -> LinearQuadratic {
    LinearQuadratic { a: 0.0, b }
}

fn branch(opening: f64) -> Law {
    Law::LinearQuadratic(quadratic(2500.0 + 300.0 / (opening * opening) + 1.0))
}

/// Air of a room in the middle of the coming step if it goes on changing as it did in the last.
fn ahead(state: &RoomsState, middle: &[MiddleLanes], on: f64, room: usize) -> MoistAir {
    let (seat, now) = (Seat::of(room), state.air(room));
    let middle = &middle[seat.block];
    MoistAir {
        t_c: now.t_c + on * (now.t_c - seat.get(&middle.air_c)),
        w: now.w + on * (now.w - seat.get(&middle.w)),
    }
}

/// Air that left the coil in the middle of the last two steps, and when.
struct Left {
    at_s: [f64; 2],
    air: [MoistAir; 2],
}

impl Left {
    /// What left it at another time, along the line through both.
    fn at(&self, t_s: f64) -> MoistAir {
        let ([a_s, b_s], [a, b]) = (self.at_s, self.air);
        let f = (t_s - b_s) / (b_s - a_s);
        MoistAir {
            t_c: b.t_c + f * (b.t_c - a.t_c),
            w: b.w + f * (b.w - a.w),
        }
    }

    fn add(&mut self, t_s: f64, air: MoistAir) {
        (self.at_s, self.air) = ([self.at_s[1], t_s], [self.air[1], air]);
    }
}

/// Runs the problem with steps of up to `longest` seconds; the air temperatures at whole hours are
/// appended to `hourly`.
fn run(seconds: u64, longest: u64, hourly: &mut Vec<[f64; SERVED + 1]>) {
    let mut builder = Network::builder();
    let outdoors = builder.fixed("return plenum", 0.0);
    let supply = builder.node("supply plenum");
    let hall = builder.node("hall");
    let fan = builder.element(
        "fan",
        outdoors,
        supply,
        Law::Fan(FanLaw {
            fan: Arc::new(Fan {
                curve: FanCurve::from_rated_point(0.5, 110.0).unwrap(),
                power: PowerCurve::from_rated_point(0.5, FAN_W).unwrap(),
            }),
            drive: Drive::FixedSpeed { speed: 1.0 },
            series: quadratic(60.0),
        }),
    );
    let mut outlets = Vec::new();
    for t in 0..2 {
        let trunk = builder.node(&format!("trunk {t}"));
        let law = Law::LinearQuadratic(quadratic(40.0));
        builder.element(&format!("trunk {t}"), supply, trunk, law);
        for r in 4 * t..(4 * t + 4).min(SERVED) {
            outlets.push(builder.element(&format!("outlet {r}"), trunk, hall, branch(SHUT)));
        }
    }
    let law = Law::LinearQuadratic(quadratic(60.0));
    builder.element("return", hall, outdoors, law);
    let law = Law::LinearQuadratic(quadratic(60_000.0));
    let relief = builder.element("relief", supply, outdoors, law);
    let mut network = builder.build().unwrap();
    let mut flows = NetworkState::new(&network);

    let stores = AREA.map(|a| RoomStores {
        heat: Stores {
            air_j_k: 2950.0 * a,
            contents_j_k: 25_000.0 * a,
            fabric_j_k: 140_000.0 * a,
            air_contents_w_k: 3.0 * a,
            air_fabric_w_k: 11.0 * a,
            contents_fabric_w_k: 3.7 * a,
        },
        vapour_kg: 2.88 * a,
        buffer_kg: 20.0 * a,
        buffer_kg_s: 0.002 * a,
    });
    let ways: Vec<DoorWay> = (1..=SERVED)
        .map(|room| DoorWay {
            between: [room, 0],
            partition_w_k: PARTITION_W_K,
        })
        .collect();
    let door = Doorway {
        width_m: 0.8,
        height_m: 2.0,
        discharge: 0.6,
    };
    let factor = door.exchange_factor(296.15);
    let mut rooms = CoupledRooms::new(stores.to_vec(), &ways);
    let area: Vec<Lanes> = (0..blocks(SERVED + 1))
        .map(|b| gather(b, &AREA, 0.0, |a| *a))
        .collect();
    let leak: Vec<Lanes> = area.iter().map(|&a| a * Lanes::splat(2.5e-4)).collect();
    let outside: Vec<Lanes> = (area.iter().zip(&leak))
        .map(|(&a, &leak)| a * Lanes::splat(1.5) + leak * Lanes::splat(CP_MOIST))
        .collect();
    let mut balances: Vec<BalanceLanes> = area
        .iter()
        .map(|&a| BalanceLanes {
            fabric_w_k: a * Lanes::splat(1.2),
            to_contents_w: a * Lanes::splat(6.0),
            ..BalanceLanes::default()
        })
        .collect();
    let mut supply_kg_s = [0.0; SERVED];
    let mut doors = [[0.0; 2]; SERVED];
    let mut middle = vec![MiddleLanes::default(); blocks(SERVED + 1)];
    let mut state = RoomsState::uniform(&[(27.0, 0.010); SERVED + 1]);

    let saturation = SaturationTable::new(STANDARD_PRESSURE);
    let coil = CoolingCoil::generic(9000.0).unwrap();
    let mut memory = CoilMemory::default();
    let begin = MoistAir::new(27.0, 0.010);
    for middle in &mut middle {
        (middle.air_c, middle.w) = (Lanes::splat(begin.t_c), Lanes::splat(begin.w));
    }
    let mut left = Left {
        at_s: [-1.5, -0.5],
        air: [begin; 2],
    };
    let mut opening = [SHUT; SERVED];
    let mut target = [SHUT; SERVED];
    let mut speed = 0.0;
    let (mut second, mut last_s) = (0, 1.0);
    while second < seconds {
        if second % 60 == 0 {
            for (r, target) in target.iter_mut().enumerate() {
                *target = ((state.air_c(r + 1) - 21.0) / 6.0).clamp(SHUT, 1.0);
            }
            speed = 0.4 + 0.6 * target.iter().sum::<f64>() / SERVED as f64;
        }
        let mut moved = second == 0;
        for ((opening, &target), &outlet) in opening.iter_mut().zip(&target).zip(&outlets) {
            let to = target.clamp(*opening - 1.0 / 60.0, *opening + 1.0 / 60.0);
            if to != *opening || second == 0 {
                moved = true;
                *opening = to;
                network.set_law(outlet, branch(to));
            }
        }
        if moved {
            network.solve(&mut flows).unwrap();
            for (balance, (&outside, &leak)) in balances.iter_mut().zip(outside.iter().zip(&leak)) {
                balance.air_w_k = outside;
                balance.air_kg_s = leak;
            }
            for (room, &outlet) in outlets.iter().enumerate() {
                let seat = Seat::of(room + 1);
                let m = RHO * flows.flow_m3_s(outlet);
                supply_kg_s[room] = m;
                *seat.of_mut(&mut balances[seat.block].air_w_k) += m * CP_MOIST;
                *seat.of_mut(&mut balances[seat.block].air_kg_s) += m;
            }
        }
        // Nothing moves from here to the end of the minute.
        let steps = if opening == target {
            longest.min(60 - second % 60)
        } else {
            1
        };
        let dt_s = steps as f64;
        let (mid_s, on) = (second as f64 + 0.5 * dt_s, dt_s / last_s);
        last_s = dt_s;
        let through_fan = flows.flow_m3_s(fan);
        let air_kg_s = RHO * through_fan;
        let hall_air = ahead(&state, &middle, on, 0);
        let by_relief = flows.flow_m3_s(relief);
        // Relief air left the coil at the beginning of the second before.
        let relieved = left.at(mid_s - 1.5);
        let inlet = MoistAir::mix(through_fan - by_relief, hall_air, by_relief, relieved);
        let days = mid_s / 86_400.0;
        let outdoor_c = 30.0 + 6.0 * (2.0 * PI * (days - 15.0 / 24.0)).cos();
        let sol_air_c = outdoor_c + 12.0 * (2.0 * PI * (days - 0.25)).sin().max(0.0);
        let coiled = coil
            .solve(&saturation, inlet, air_kg_s, outdoor_c, speed, &mut memory)
            .unwrap();
        let mut last = coiled.leaving;
        last.t_c += FAN_W / (air_kg_s * CP_MOIST);
        left.add(mid_s, last);
        let (outdoor, sol_air) = (Lanes::splat(outdoor_c), Lanes::splat(sol_air_c));
        let fixed = area.iter().zip(&leak).zip(&outside);
        for (balance, ((&area, &leak), &outside)) in balances.iter_mut().zip(fixed) {
            balance.to_air_w = area * Lanes::splat(6.0) + outside * outdoor;
            balance.to_fabric_w = balance.fabric_w_k * sol_air;
            balance.moisture_kg_s = area * Lanes::splat(1.2e-6) + leak * Lanes::splat(OUTDOOR_W);
        }
        for (room, (&m, through)) in supply_kg_s.iter().zip(&mut doors).enumerate() {
            let seat = Seat::of(room + 1);
            let balance = &mut balances[seat.block];
            *seat.of_mut(&mut balance.to_air_w) += m * CP_MOIST * last.t_c;
            *seat.of_mut(&mut balance.moisture_kg_s) += m * last.w;
            let dt_k = ahead(&state, &middle, on, room + 1).t_c - hall_air.t_c;
            *through = with_net_flow(RHO * factor * dt_k.abs().sqrt(), m).into();
        }
        rooms
            .step(dt_s, &balances, &doors, &mut state, &mut middle)
            .unwrap();
        second += steps;
        if second.is_multiple_of(3600) {
            hourly.push(std::array::from_fn(|room| state.air_c(room)));
        }
    }
}

fn main() {
    let seconds = std::env::args().nth(1).and_then(|a| a.parse().ok());
    let seconds: u64 = seconds.unwrap_or(86_400);
    let rows = [1, 5, 7, 10, 15, 20, 30].map(|longest| {
        let mut best = f64::INFINITY;
        let mut hourly = Vec::new();
        for _ in 0..7 {
            hourly.clear();
            let begin = Instant::now();
            run(seconds, longest, &mut hourly);
            best = best.min(begin.elapsed().as_secs_f64());
        }
        serde_json::json!({
            "name": format!("this program's parts, quiet stretches of {longest} s"),
            "steps_s": seconds as f64 / best,
            "hourly": hourly,
        })
    });
    println!("{}", serde_json::Value::from(rows.to_vec()));
}
