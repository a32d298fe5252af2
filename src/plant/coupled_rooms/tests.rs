use super::*;
use crate::plant::room::Construction;
use proptest::prelude::*;

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    /// Trees, rings, doubled doors, rooms without doors: what every store gained in a step is what flowed
    /// into it at the middle of the step, which is the trapezoid rule itself.
    #[test]
    fn every_store_gains_what_flows_into_it(
        n in 1_usize..9,
        raw in prop::collection::vec((0_usize..9, 0_usize..9, 0.0_f64..80.0), 0..12),
        flows in prop::collection::vec(prop::array::uniform2(0.0_f64..0.3), 12),
        per in prop::collection::vec((8.0_f64..40.0, 15.0_f64..35.0, 0.003_f64..0.015), 9),
        h in prop::sample::select(vec![0.5, 1.0, 10.0]),
    ) {
        let stores: Vec<RoomStores> = per[..n].iter().map(|&(area, _, _)| RoomStores {
            heat: Stores::from_geometry(area, 2.4, Construction::Medium, 1.2),
            vapour_kg: 2.88 * area,
            buffer_kg: 20.0 * area,
            buffer_kg_s: 0.002 * area,
        }).collect();
        let doors: Vec<DoorWay> = raw
            .iter()
            .map(|&(a, b, w)| DoorWay { between: [a % n, b % n], partition_w_k: w })
            .filter(|d| d.between[0] != d.between[1])
            .collect();
        let block = |b: usize| {
            let of = |of: fn(f64, f64, f64) -> f64| {
                gather(b, &per[..n], 0.0, |&(area, t, w)| of(area, t, w))
            };
            let balance = BalanceLanes {
                air_w_k: of(|area, _, _| area),
                fabric_w_k: of(|area, _, _| 0.4 * area),
                to_air_w: of(|area, t, _| area * t),
                to_contents_w: of(|area, _, _| 3.0 * area),
                to_fabric_w: of(|area, _, _| 0.4 * area * 40.0),
                air_kg_s: of(|area, _, _| 0.001 * area),
                moisture_kg_s: of(|area, _, w| 0.001 * area * w),
            };
            let stores = StoreLanes {
                air_c: of(|_, t, _| t),
                contents_c: of(|_, t, _| t + 1.0),
                fabric_c: of(|_, t, _| t + 3.0),
                w: of(|_, _, w| w),
                buffer_w: of(|_, _, w| 1.1 * w),
            };
            (balance, stores)
        };
        let (balances, stores_now): (Vec<_>, Vec<_>) = (0..blocks(n)).map(block).unzip();
        let mut state = RoomsState { blocks: stores_now };
        let mut rooms = CoupledRooms::new(stores.clone(), &doors);
        let mut middle = vec![MiddleLanes::default(); blocks(n)];
        let flows = &flows[..doors.len()];
        for _ in 0..20 {
            let before = state.clone();
            rooms.step(h, &balances, flows, &mut state, &mut middle).unwrap();
            let at = |of: fn(&StoreLanes) -> Lanes, state: &RoomsState, room: usize| {
                let seat = Seat::of(room);
                seat.get(&of(&state.blocks[seat.block]))
            };
            let mid = |of: fn(&StoreLanes) -> Lanes, room: usize| {
                0.5 * (at(of, &before, room) + at(of, &state, room))
            };
            let gain = |of: fn(&StoreLanes) -> Lanes, room: usize| {
                (at(of, &state, room) - at(of, &before, room)) / h
            };
            for (room, own) in stores.iter().enumerate() {
                let seat = Seat::of(room);
                let b = &balances[seat.block];
                let given = |lanes: &Lanes| seat.get(lanes);
                let (a, l, f) = (mid(|s| s.air_c, room), mid(|s| s.contents_c, room), mid(|s| s.fabric_c, room));
                let (w, wb) = (mid(|s| s.w, room), mid(|s| s.buffer_w, room));
                let heat = &own.heat;
                let mut air = given(&b.to_air_w) - given(&b.air_w_k) * a
                    + heat.air_contents_w_k * (l - a) + heat.air_fabric_w_k * (f - a);
                let contents = given(&b.to_contents_w)
                    + heat.air_contents_w_k * (a - l) + heat.contents_fabric_w_k * (f - l);
                let mut fabric = given(&b.to_fabric_w) - given(&b.fabric_w_k) * f
                    + heat.air_fabric_w_k * (a - f) + heat.contents_fabric_w_k * (l - f);
                let mut vapour = given(&b.moisture_kg_s) - given(&b.air_kg_s) * w
                    + own.buffer_kg_s * (wb - w);
                let buffer = own.buffer_kg_s * (w - wb);
                for (door, flow) in doors.iter().zip(flows) {
                    for (here, into) in [(0, flow[1]), (1, flow[0])] {
                        if door.between[here] != room {
                            continue;
                        }
                        let other = door.between[1 - here];
                        air += CP_MOIST * into * (mid(|s| s.air_c, other) - a);
                        fabric += door.partition_w_k * (mid(|s| s.fabric_c, other) - f);
                        vapour += into * (mid(|s| s.w, other) - w);
                    }
                }
                for (what, capacity, gain, flow, scale) in [
                    ("air", heat.air_j_k, gain(|s| s.air_c, room), air, 1e4),
                    ("contents", heat.contents_j_k, gain(|s| s.contents_c, room), contents, 1e4),
                    ("fabric", heat.fabric_j_k, gain(|s| s.fabric_c, room), fabric, 1e4),
                    ("vapour", own.vapour_kg, gain(|s| s.w, room), vapour, 1.0),
                    ("buffer", own.buffer_kg, gain(|s| s.buffer_w, room), buffer, 1.0),
                ] {
                    // Differences of temperatures near 30 °C, over so short a step.
                    let noise = 1e-14 * capacity * 30.0 / h + 1e-11 * scale;
                    prop_assert!((capacity * gain - flow).abs() < noise, "{what} of {room}: {} {flow}", capacity * gain);
                }
                let m = &middle[seat.block];
                prop_assert!((seat.get(&m.air_c) - a).abs() < 1e-11);
                prop_assert!((seat.get(&m.fabric_c) - f).abs() < 1e-11);
                prop_assert!((seat.get(&m.w) - w).abs() < 1e-14);
            }
        }
        for seat in (n..LANES * blocks(n)).map(Seat::of) {
            let s = &state.blocks[seat.block];
            for lanes in [s.air_c, s.contents_c, s.fabric_c, s.w, s.buffer_w] {
                prop_assert_eq!(seat.get(&lanes), 0.0, "a room that is not there");
            }
        }
    }
}

#[test]
fn a_room_that_cannot_be_balanced_is_named() {
    let one = RoomStores {
        heat: Stores::from_geometry(12.0, 2.4, Construction::Light, 1.2),
        vapour_kg: 34.0,
        buffer_kg: 200.0,
        buffer_kg_s: 0.02,
    };
    let doors = [DoorWay {
        between: [0, 1],
        partition_w_k: 30.0,
    }];
    let mut rooms = CoupledRooms::new(vec![one; 2], &doors);
    let mut balances = [BalanceLanes::default()];
    balances[0].air_w_k = Lanes::from([f64::NAN, 0.0]);
    let mut state = RoomsState::uniform(&[(20.0, 0.008); 2]);
    let mut middle = [MiddleLanes::default()];
    let step = rooms.step(1.0, &balances, &[[0.0; 2]], &mut state, &mut middle);
    assert_eq!(step, Err(0));
}
