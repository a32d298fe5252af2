//! Rooms against exact solutions.
//!
//! Source of every number: `tests/reference/room_cases.json`, solved with 50-digit arithmetic
//! (mpmath) and checked against scipy's matrix exponential; the equations stand beside them there.

use crate::plant::doorway::{Doorway, with_net_flow};
use crate::plant::thermal::{Drive, StoreNetwork};
use proptest::prelude::*;
use serde_json::Value;

fn cases() -> Value {
    let path = concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/tests/reference/room_cases.json"
    );
    serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

fn number(v: &Value, key: &str) -> f64 {
    v[key]
        .as_f64()
        .unwrap_or_else(|| panic!("no number {key} in {v}"))
}

fn numbers(v: &Value) -> Vec<f64> {
    v.as_array()
        .unwrap()
        .iter()
        .map(|x| x.as_f64().unwrap())
        .collect()
}

/// Integrates from 0 to `end` in equal steps of about `h`, calling `drive` with the middle of each step.
fn integrate(
    network: &mut StoreNetwork,
    x: &mut [f64],
    end: f64,
    h: f64,
    mut drive: impl FnMut(f64, &mut [f64], &mut [f64]),
) {
    let steps = (end / h).round().max(1.0);
    let h = end / steps;
    let n = network.len();
    let (mut b, mut s, mut middle) = (vec![0.0; n], vec![0.0; n], vec![0.0; n]);
    for k in 0..steps as usize {
        drive((k as f64 + 0.5) * h, &mut b, &mut s);
        let drive = Drive {
            boundary: &b,
            source: &s,
            stream: &[],
        };
        network.step(h, &drive, x, &mut middle).unwrap();
    }
}

#[test]
fn case_1_single_store_follows_the_exponential() {
    let c = &cases()["case1_single_node"];
    let i = &c["inputs"];
    let mcp = number(i, "m_kg_s") * number(i, "cp_J_kgK");
    let (h_out, t_out, t_s) = (number(i, "H_W_K"), number(i, "To_C"), number(i, "Ts_C"));
    for (t, expected) in numbers(&c["t_s"]).into_iter().zip(numbers(&c["T_C"])) {
        let mut builder = StoreNetwork::builder();
        builder.store(number(i, "C_J_K"));
        let mut network = builder.build();
        let mut x = [number(i, "T0_C")];
        integrate(&mut network, &mut x, t, 1.0, |_, b, s| {
            b[0] = mcp + h_out;
            s[0] = mcp * t_s + h_out * t_out + number(i, "Q_W");
        });
        assert!(
            (x[0] - expected).abs() < 1e-8,
            "t {t}: {} against {expected}",
            x[0]
        );
    }
}

fn two_stores(i: &Value) -> StoreNetwork {
    let mut builder = StoreNetwork::builder();
    let air = builder.store(number(i, "Ca_J_K"));
    let mass = builder.store(number(i, "Cm_J_K"));
    builder.link(air, mass, number(i, "Ham_W_K"));
    builder.build()
}

#[test]
fn case_2_two_stores_step() {
    let c = &cases()["case2_two_node_step"];
    let i = &c["inputs"];
    let mcp = number(i, "m_kg_s") * number(i, "cp_J_kgK");
    for (t, expected) in numbers(&c["t_s"])
        .into_iter()
        .zip(c["Ta_Tm_C"].as_array().unwrap())
    {
        let mut network = two_stores(i);
        let mut x = [number(i, "Ta0_C"), number(i, "Tm0_C")];
        integrate(&mut network, &mut x, t, 1.0, |_, b, s| {
            b[0] = mcp + number(i, "Hao_W_K");
            b[1] = number(i, "Hmo_W_K");
            s[0] = mcp * number(i, "Ts_C") + number(i, "Hao_W_K") * number(i, "To_C");
            s[0] += number(i, "Qa_W");
            s[1] = number(i, "Hmo_W_K") * number(i, "To_C") + number(i, "Qm_W");
        });
        // Local truncation of the trapezoid rule: (λh)³/12 over 1/λ steps = (λh)²/12 of the fast
        // mode's 2.2 K with λ = 6.4e-3 /s, h = 1 s: 7.4e-6 K at most.
        for (got, want) in x.iter().zip(numbers(expected)) {
            assert!((got - want).abs() < 7.5e-6, "t {t}: {got} against {want}");
        }
    }
}

#[test]
fn case_3_periodic_outdoors() {
    let c = &cases()["case3_periodic_outdoor"];
    let i = &c["inputs"];
    for row in c["rows_full_solution"].as_array().unwrap() {
        let row = numbers(row);
        let mut network = two_stores(i);
        let mut x = [number(i, "Ta0_C"), number(i, "Tm0_C")];
        integrate(&mut network, &mut x, row[0], 5.0, |t, b, s| {
            let outdoor =
                30.0 + 6.0 * (2.0 * std::f64::consts::PI * (t - 54_000.0) / 86_400.0).cos();
            b[0] = number(i, "Hao_W_K");
            b[1] = number(i, "Hmo_W_K");
            s[0] = number(i, "Hao_W_K") * outdoor;
            s[1] = number(i, "Hmo_W_K") * outdoor;
        });
        for (got, want) in x.iter().zip(&row[1..]) {
            assert!(
                (got - want).abs() < 2e-5,
                "t {}: {got} against {want}",
                row[0]
            );
        }
    }
}

struct ThreeRooms {
    network: StoreNetwork,
    case: Value,
    /// Door streams both ways, then return-air streams.
    doors: Vec<f64>,
    returns: Vec<f64>,
}

impl ThreeRooms {
    fn new() -> ThreeRooms {
        let case = cases()["case4_three_rooms"].clone();
        let cp = number(&case, "cp_J_kgK");
        let rooms = case["rooms"].as_array().unwrap();
        let mut b = StoreNetwork::builder();
        for r in rooms {
            let [a, l, f] = ["Ca", "CL", "CF"].map(|k| b.store(number(r, k)));
            b.link(a, l, number(r, "HaL"));
            b.link(a, f, number(r, "HaF"));
            b.link(l, f, number(r, "HLF"));
        }
        let pair = |key: &str| -> (usize, usize) {
            let (i, j) = key.split_once('-').unwrap();
            (i.parse().unwrap(), j.parse().unwrap())
        };
        for (key, h) in case["links"]["partition_W_K"].as_object().unwrap() {
            let (i, j) = pair(key);
            b.link(3 * i + 2, 3 * j + 2, h.as_f64().unwrap());
        }
        let mut doors = Vec::new();
        for (key, m) in case["links"]["door_kg_s"].as_object().unwrap() {
            let (i, j) = pair(key);
            for (from, to) in [(i, j), (j, i)] {
                b.stream(3 * from, 3 * to);
                doors.push(m.as_f64().unwrap() * cp);
            }
        }
        let mut returns = Vec::new();
        for (i, r) in rooms.iter().enumerate().take(2) {
            b.stream(3 * i, 6);
            returns.push(number(r, "m") * cp);
        }
        ThreeRooms {
            network: b.build(),
            case,
            doors,
            returns,
        }
    }

    /// State at `t_end`, and the sum of all boundary heat, J.
    fn run(&mut self, t_end: f64, h: f64) -> (Vec<f64>, f64) {
        let rooms = self.case["rooms"].as_array().unwrap().clone();
        let (t_out, t_s) = (number(&self.case, "To_C"), number(&self.case, "Ts_C"));
        let cp = number(&self.case, "cp_J_kgK");
        let mut x: Vec<f64> = rooms.iter().flat_map(|r| numbers(&r["T0"])).collect();
        let mut middle = vec![0.0; 9];
        let (mut boundary, mut source) = (vec![0.0; 9], vec![0.0; 9]);
        let mut heat = 0.0;
        let mut t = 0.0;
        for phase in self.case["schedule"].as_array().unwrap().clone() {
            let on = phase["supply_on"].as_bool().unwrap();
            let length = number(&phase, "duration_s").min(t_end - t);
            let steps = (length / h).round();
            if length <= 0.0 {
                break;
            }
            let mut streams = self.doors.clone();
            streams.extend(self.returns.iter().map(|g| if on { *g } else { 0.0 }));
            for (i, r) in rooms.iter().enumerate() {
                let mcp = if on { number(r, "m") * cp } else { 0.0 };
                let (hao, hfo) = (number(r, "Hao"), number(r, "HFo"));
                boundary[3 * i] = mcp + hao;
                boundary[3 * i + 2] = hfo;
                source[3 * i] = mcp * t_s + hao * t_out + number(r, "Qa");
                source[3 * i + 1] = number(r, "QL");
                source[3 * i + 2] = hfo * t_out + number(r, "QF");
            }
            for _ in 0..steps as usize {
                let drive = Drive {
                    boundary: &boundary,
                    source: &source,
                    stream: &streams,
                };
                self.network
                    .step(length / steps, &drive, &mut x, &mut middle)
                    .unwrap();
                // Everything that crosses the boundary, the return air leaving from the hall.
                let mut w: f64 = (0..9).map(|i| source[i] - boundary[i] * middle[i]).sum();
                for (i, g) in self.returns.iter().enumerate().filter(|_| on) {
                    w += g * (middle[3 * i] - middle[6]);
                }
                heat += w * length / steps;
            }
            t += length;
        }
        (x, heat)
    }
}

#[test]
fn case_4_three_rooms_with_doors_partitions_and_return_air() {
    let mut house = ThreeRooms::new();
    for row in house.case["rows"].as_array().unwrap().clone() {
        let row = numbers(&row);
        let (x, _) = house.run(row[0], 1.0);
        // The reference's own measurement of this method at 1 s: 1.2e-5 K at worst.
        for (got, want) in x.iter().zip(&row[1..]) {
            assert!(
                (got - want).abs() < 1.3e-5,
                "t {}: {got} against {want}",
                row[0]
            );
        }
    }
}

#[test]
fn case_4_heat_balance_closes_to_round_off() {
    let mut house = ThreeRooms::new();
    let start: Vec<f64> = house.case["rooms"]
        .as_array()
        .unwrap()
        .iter()
        .flat_map(|r| numbers(&r["T0"]))
        .collect();
    let (x, heat) = house.run(3600.0, 1.0);
    let stored: f64 = house
        .network
        .capacity()
        .iter()
        .zip(x.iter().zip(&start))
        .map(|(c, (a, b))| c * (a - b))
        .sum();
    assert!(
        (stored - heat).abs() / stored.abs() < 1e-11,
        "{stored} J against {heat} J"
    );
    let exact = number(&house.case["energy_check_J"], "stored_change");
    assert!(
        (stored - exact).abs() / exact < 2e-6,
        "{stored} J against {exact} J"
    );
}

/// Observed order of accuracy on case 4 inside the first constant-flow interval.
#[test]
fn trapezoid_is_second_order() {
    let mut house = ThreeRooms::new();
    let want = house.case["rows"]
        .as_array()
        .unwrap()
        .iter()
        .map(numbers)
        .find(|r| r[0] == 1200.0)
        .unwrap();
    let mut error = |h: f64| (house.run(1200.0, h).0[3] - want[4]).abs();
    let errors: Vec<f64> = [40.0, 20.0, 10.0, 5.0]
        .into_iter()
        .map(&mut error)
        .collect();
    let order = (errors[2] / errors[3]).log2();
    println!("errors at 40, 20, 10, 5 s: {errors:?}; observed order {order:.3}");
    assert!((order - 2.0).abs() < 0.1, "observed order {order}");
}

#[test]
fn case_5_moisture_with_buffer() {
    let c = &cases()["case5_moisture_buffer"];
    let i = &c["inputs"];
    for row in c["rows"].as_array().unwrap() {
        let row = numbers(row);
        let mut builder = StoreNetwork::builder();
        let air = builder.store(number(i, "Ma_kg"));
        let buffer = builder.store(number(i, "Mb_kg"));
        builder.link(air, buffer, number(i, "kb_kg_s"));
        let mut network = builder.build();
        let mut x = [number(i, "w0"), number(i, "wb0")];
        let (ms, mi) = (number(i, "ms_kg_s"), number(i, "mi_kg_s"));
        integrate(&mut network, &mut x, row[0], 1.0, |_, b, s| {
            b[0] = ms + mi;
            s[0] = ms * number(i, "ws") + mi * number(i, "wo") + number(i, "G_kg_s");
        });
        for (got, want) in x.iter().zip(&row[1..]) {
            assert!(
                (got - want).abs() < 1e-9,
                "t {}: {got} against {want}",
                row[0]
            );
        }
    }
}

/// Brown & Solvason's doorway, integral re-derived in the reference file.
#[test]
fn case_7_doorway_exchange() {
    for row in cases()["case7_doorway_buoyant_exchange"]["rows"]
        .as_array()
        .unwrap()
    {
        let door = Doorway {
            width_m: number(row, "W_m"),
            height_m: number(row, "H_m"),
            discharge: number(row, "Cd"),
        };
        let flow = door.buoyant_flow_m3_s(number(row, "dT_K"), number(row, "Tmean_K"));
        let want = number(row, "V_m3_s");
        assert!((flow / want - 1.0).abs() < 1e-9, "{flow} against {want}");
    }
}

proptest! {
    /// A closed network keeps its heat, whatever the links and streams that return what they take.
    #[test]
    fn a_closed_network_conserves(
        capacities in prop::collection::vec(1e3..1e6_f64, 3..12),
        seed in prop::collection::vec((0usize..12, 0usize..12, 0.1..500.0_f64), 1..30),
        h in 0.5..60.0_f64,
    ) {
        let n = capacities.len();
        let mut b = StoreNetwork::builder();
        for c in &capacities {
            b.store(*c);
        }
        let mut streams = Vec::new();
        for (k, (i, j, g)) in seed.iter().enumerate() {
            let (i, j) = (i % n, j % n);
            if i == j {
                continue;
            }
            if k % 2 == 0 {
                b.link(i, j, *g);
            } else {
                b.stream(i, j);
                b.stream(j, i);
                streams.extend([*g, *g]);
            }
        }
        let mut network = b.build();
        let zero = vec![0.0; n];
        let mut x: Vec<f64> = (0..n).map(|i| 15.0 + i as f64).collect();
        let heat = |x: &[f64]| -> f64 { x.iter().zip(&capacities).map(|(x, c)| x * c).sum() };
        let before = heat(&x);
        let mut middle = vec![0.0; n];
        for _ in 0..50 {
            let drive = Drive { boundary: &zero, source: &zero, stream: &streams };
            network.step(h, &drive, &mut x, &mut middle).unwrap();
        }
        prop_assert!((heat(&x) / before - 1.0).abs() < 1e-12);
    }

    /// Splitting a doorway's flow never makes air: the two ways differ by exactly the net flow.
    #[test]
    fn net_flow_is_kept(both in 0.0..1.0_f64, net in -1.0..1.0_f64) {
        let (out, back) = with_net_flow(both, net);
        prop_assert!(out >= 0.0 && back >= 0.0);
        prop_assert!((out - back - net).abs() < 1e-15);
    }
}
