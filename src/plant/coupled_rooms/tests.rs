use super::*;
use crate::plant::room::Construction;
use crate::plant::thermal::{Drive, StoreNetwork};
use proptest::prelude::*;

/// The same rooms as two general networks of stores.
fn general(stores: &[RoomStores], doors: &[DoorWay]) -> (StoreNetwork, StoreNetwork) {
    let (mut heat, mut moisture) = (StoreNetwork::builder(), StoreNetwork::builder());
    for s in stores {
        let a = heat.store(s.heat.air_j_k);
        let l = heat.store(s.heat.contents_j_k);
        let f = heat.store(s.heat.fabric_j_k);
        heat.link(a, l, s.heat.air_contents_w_k);
        heat.link(a, f, s.heat.air_fabric_w_k);
        heat.link(l, f, s.heat.contents_fabric_w_k);
        let v = moisture.store(s.vapour_kg);
        let b = moisture.store(s.buffer_kg);
        moisture.link(v, b, s.buffer_kg_s);
    }
    for d in doors {
        let [a, b] = d.between;
        heat.link(3 * a + 2, 3 * b + 2, d.partition_w_k);
        for (from, to) in [(a, b), (b, a)] {
            heat.stream(3 * from, 3 * to);
            moisture.stream(2 * from, 2 * to);
        }
    }
    (heat.build(), moisture.build())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    /// Trees, rings, doubled doors, rooms without doors: as the general network steps them.
    #[test]
    fn agrees_with_the_general_network(
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
        let start: Vec<f64> = per[..n].iter().flat_map(|p| [p.1, p.1 + 1.0, p.1 + 3.0]).collect();
        let damp: Vec<f64> = per[..n].iter().flat_map(|p| [p.2, 1.1 * p.2]).collect();

        let mut rooms = CoupledRooms::new(stores.clone(), &doors);
        let mut middle = vec![MiddleLanes::default(); blocks(n)];
        let (mut heat, mut moisture) = general(&stores, &doors);
        let (mut gt, mut gw) = (start, damp);
        let (mut gm, mut gwm) = (gt.clone(), gw.clone());
        let flows = &flows[..doors.len()];
        // Room after room, so many numbers each.
        fn spread<T, const N: usize>(n: usize, of: &[T], all: fn(&T) -> [Lanes; N]) -> Vec<f64> {
            (0..n)
                .map(Seat::of)
                .flat_map(|seat| all(&of[seat.block]).map(|lanes| seat.get(&lanes)))
                .collect()
        }
        let boundary = spread(n, &balances, |b| [b.air_w_k, Lanes::ZERO, b.fabric_w_k]);
        let source = spread(n, &balances, |b| [b.to_air_w, b.to_contents_w, b.to_fabric_w]);
        let damp_boundary = spread(n, &balances, |b| [b.air_kg_s, Lanes::ZERO]);
        let damp_source = spread(n, &balances, |b| [b.moisture_kg_s, Lanes::ZERO]);
        for _ in 0..20 {
            rooms.step(h, &balances, flows, &mut state, &mut middle).unwrap();
            let kg: Vec<f64> = flows.iter().flatten().copied().collect();
            let w_k: Vec<f64> = kg.iter().map(|m| m * CP_MOIST).collect();
            heat.step(h, &Drive {
                boundary: &boundary,
                source: &source,
                stream: &w_k,
            }, &mut gt, &mut gm).unwrap();
            moisture.step(h, &Drive {
                boundary: &damp_boundary,
                source: &damp_source,
                stream: &kg,
            }, &mut gw, &mut gwm).unwrap();
        }
        let t = spread(n, &state.blocks, |s| [s.air_c, s.contents_c, s.fabric_c]);
        let w = spread(n, &state.blocks, |s| [s.w, s.buffer_w]);
        for (a, b) in t.iter().zip(&gt) {
            prop_assert!((a - b).abs() < 1e-11, "{t:?} {gt:?}");
        }
        for (a, b) in w.iter().zip(&gw) {
            prop_assert!((a - b).abs() < 1e-14, "{w:?} {gw:?}");
        }
        let m = spread(n, &middle, |m| [m.air_c, m.fabric_c, m.w]);
        for (i, m) in m.as_chunks::<3>().0.iter().enumerate() {
            prop_assert!((m[0] - gm[3 * i]).abs() < 1e-11);
            prop_assert!((m[1] - gm[3 * i + 2]).abs() < 1e-11);
            prop_assert!((m[2] - gwm[2 * i]).abs() < 1e-14);
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
