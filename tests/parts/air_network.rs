//! The air network against outside solutions, and against what must hold for every network.
//!
//! `reference/air_networks.json`: three networks solved by scipy `root`, scipy `least_squares` and
//! 40-digit mpmath, which agree to 3e-12. `reference/fan_duct_relief.json`: closed form.

use crate::plant::fan::{Drive, Fan, FanCurve, FanLaw, Limits, PowerCurve};
use crate::plant::network::{
    BuildError, ElementId, Law, LinearQuadratic, Network, NetworkError, NetworkState, NodeId, Power,
};
use crate::plant::relief::WeightedBlade;
use proptest::prelude::*;
use serde_json::Value;
use std::collections::BTreeMap;
use std::sync::Arc;

fn fan_law(a: [f64; 4], reach: f64, speed: f64, series: LinearQuadratic) -> FanLaw {
    let curve = FanCurve::from_polynomial(a, reach).unwrap();
    let power = PowerCurve::from_rated_point(0.5 * reach, 200.0).unwrap();
    FanLaw {
        fan: Arc::new(Fan { curve, power }),
        drive: Drive::FixedSpeed { speed },
        series,
    }
}

fn square(b: f64) -> Law {
    Law::LinearQuadratic(LinearQuadratic { a: 0.0, b })
}

type Names<T> = BTreeMap<String, T>;

fn network_of(case: &Value, soft_pa: f64) -> (Network, Names<NodeId>, Names<ElementId>) {
    let mut builder = Network::builder();
    let mut nodes = Names::new();
    for (name, p) in case["fixed_pressures_Pa"].as_object().unwrap() {
        nodes.insert(name.clone(), builder.fixed(name, p.as_f64().unwrap()));
    }
    for name in case["unknown_nodes"].as_array().unwrap() {
        let name = name.as_str().unwrap();
        nodes.insert(name.to_owned(), builder.node(name));
    }
    let mut elements = Names::new();
    for element in case["elements"].as_array().unwrap() {
        let text = |key: &str| element[key].as_str().unwrap();
        let number = |key: &str| element[key].as_f64().unwrap();
        let law = if text("type") == "fan" {
            let a = std::array::from_fn(|i| element["a"][i].as_f64().unwrap());
            Law::Fan(fan_law(a, 0.6, number("speed"), LinearQuadratic::NONE))
        } else {
            Law::Power(Power::from_resistance(number("R"), number("n"), soft_pa))
        };
        let id = builder.element(text("id"), nodes[text("from")], nodes[text("to")], law);
        elements.insert(text("id").to_owned(), id);
    }
    (builder.build().unwrap(), nodes, elements)
}

#[test]
fn reference_networks() {
    let all: Value = serde_json::from_str(include_str!("../reference/air_networks.json")).unwrap();
    let mut seen = 0;
    for case in all["networks"].as_array().unwrap() {
        for (key, soft_pa) in [("dps_0.01", 0.01), ("dps_0", 0.0)] {
            let (mut network, nodes, elements) = network_of(case, soft_pa);
            let mut state = NetworkState::new(&network);
            let solved = network.solve(&mut state).unwrap();
            println!("{} {key}: {solved:?}", case["name"]);
            let solution = &case["solution"][key];
            for (name, want) in solution["flows_m3s"].as_object().unwrap() {
                let (got, want) = (state.flow_m3_s(elements[name]), want.as_f64().unwrap());
                assert!(
                    (got / want - 1.0).abs() < 1e-9,
                    "{name}: {got} is not {want}"
                );
                seen += 1;
            }
            for (name, want) in solution["pressures_Pa"].as_object().unwrap() {
                let (got, want) = (state.pressure_pa(nodes[name]), want.as_f64().unwrap());
                assert!((got - want).abs() < 1e-8, "{name}: {got} is not {want}");
            }
        }
    }
    assert_eq!(seen, 2 * (6 + 15 + 18));
}

#[test]
fn fan_duct_and_relief_in_closed_form() {
    let all: Value =
        serde_json::from_str(include_str!("../reference/fan_duct_relief.json")).unwrap();
    let case = &all["case5_fan_duct_relief"];
    let whole = case["G_total"].as_f64().unwrap();
    let relief = case["relief_needed_g"].as_f64().unwrap();
    let shares = [0.3, 0.25, 0.2, 0.15, 0.1];
    for (name, open, relief, filter) in [
        ("all_open", [1; 5], 0.0, 120.0),
        ("zone3_only_relief_shut", [0, 0, 1, 0, 0], 0.0, 120.0),
        (
            "zone3_only_relief_holds_100Pa",
            [0, 0, 1, 0, 0],
            relief,
            120.0,
        ),
        (
            "zone3_only_relief_half_size",
            [0, 0, 1, 0, 0],
            0.5 * relief,
            120.0,
        ),
        ("all_open_relief_stuck_open", [1; 5], relief, 120.0),
        ("all_open_filter_x6", [1; 5], 0.0, 720.0),
        (
            "zone1_stuck_closed_others_open",
            [0, 1, 1, 1, 1],
            0.0,
            120.0,
        ),
        ("zone3_calls_zone1_stuck_open", [1, 0, 1, 0, 0], 0.0, 120.0),
    ] {
        let want = &case["runs"][name];
        let mut builder = Network::builder();
        let rooms = builder.fixed("rooms", 0.0);
        let plenum = builder.node("plenum");
        let series = LinearQuadratic { a: 0.0, b: filter };
        let law = fan_law([230.0, 0.0, -480.0, 0.0], 0.69, 1.0, series);
        let fan = builder.element("fan", rooms, plenum, Law::Fan(law));
        let mut zones = Vec::new();
        for (i, (&share, &open)) in shares.iter().zip(&open).enumerate() {
            if open == 1 {
                let law = square((share * whole).powi(-2));
                zones.push((i, builder.element(&format!("zone {i}"), plenum, rooms, law)));
            }
        }
        let spill = (relief > 0.0)
            .then(|| builder.element("relief", plenum, rooms, square(relief.powi(-2))));
        let mut network = builder.build().unwrap();
        let mut state = NetworkState::new(&network);
        network.solve(&mut state).unwrap();

        // The reference gives six digits.
        let check = |got: f64, want: &Value| {
            let want = want.as_f64().unwrap();
            assert!(
                (got - want).abs() <= 5e-6 * want.abs(),
                "{name}: {got} is not {want}"
            );
        };
        check(state.flow_m3_s(fan), &want["V_fan"]);
        check(state.pressure_pa(plenum), &want["p_plenum_Pa"]);
        check(
            network.fan_point(fan, &state).unwrap().rise_pa,
            &want["fan_total_Pa"],
        );
        for (i, zone) in zones {
            check(state.flow_m3_s(zone), &want["V_zones"][i]);
        }
        let spilt = spill.map_or(0.0, |id| state.flow_m3_s(id));
        check(spilt, &want["V_relief"]);
        check(spilt / state.flow_m3_s(fan), &want["x_relief"]);
    }
}

/// A return plenum, a fan with its coil, a supply tree of trunks, outlets into rooms, a return
/// path and a relief.
struct Tree {
    network: Network,
    plenum: NodeId,
    free: Vec<NodeId>,
    fan: ElementId,
    relief: ElementId,
    outlets: Vec<ElementId>,
    back: ElementId,
}

#[derive(Debug, Clone)]
struct Draft {
    trunks: Vec<(usize, f64)>,
    /// Trunk node, linear resistance, logarithm of the quadratic one, room pressure.
    outlets: Vec<(usize, f64, f64, f64)>,
    relief: f64,
    back: f64,
    speed: f64,
}

fn draft() -> impl Strategy<Value = Draft> {
    (
        prop::collection::vec((0usize..100, 1.5f64..6.0), 0..8),
        prop::collection::vec(
            (0usize..100, 0.0f64..30.0, 4.0f64..19.0, -3.0f64..3.0),
            1..17,
        ),
        4.0f64..19.0,
        3.0f64..7.0,
        prop_oneof![1 => Just(0.0), 9 => 0.0f64..1.2],
    )
        .prop_map(|(trunks, outlets, relief, back, speed)| Draft {
            trunks,
            outlets,
            relief,
            back,
            speed,
        })
}

fn tree(draft: &Draft) -> Tree {
    let mut builder = Network::builder();
    let ret = builder.node("return plenum");
    let plenum = builder.node("supply plenum");
    let series = LinearQuadratic { a: 40.0, b: 250.0 };
    let law = fan_law([230.0, 0.0, -480.0, 0.0], 0.69, draft.speed, series);
    let fan = builder.element("fan", ret, plenum, Law::Fan(law));
    let mut supply = vec![plenum];
    for (i, &(parent, log_b)) in draft.trunks.iter().enumerate() {
        let node = builder.node(&format!("trunk {i}"));
        let law = Law::LinearQuadratic(LinearQuadratic {
            a: 2.0,
            b: log_b.exp(),
        });
        builder.element(
            &format!("trunk {i}"),
            supply[parent % supply.len()],
            node,
            law,
        );
        supply.push(node);
    }
    let hall = builder.fixed("hall", 0.0);
    let mut outlets = Vec::new();
    for (i, &(at, a, log_b, room_pa)) in draft.outlets.iter().enumerate() {
        let room = builder.fixed(&format!("room {i}"), room_pa);
        let law = Law::LinearQuadratic(LinearQuadratic { a, b: log_b.exp() });
        outlets.push(builder.element(&format!("outlet {i}"), supply[at % supply.len()], room, law));
    }
    let back = builder.element("return", hall, ret, square(draft.back.exp()));
    let relief = builder.element("relief", plenum, ret, square(draft.relief.exp()));
    let mut free = supply;
    free.push(ret);
    Tree {
        network: builder.build().unwrap(),
        plenum,
        free,
        fan,
        relief,
        outlets,
        back,
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 500, failure_persistence: None, ..Default::default() })]

    /// Mass at every plenum to rounding, and every flow true to its law at the pressures found.
    #[test]
    fn random_trees_balance(draft in draft()) {
        let mut tree = tree(&draft);
        let mut state = NetworkState::new(&tree.network);
        let solved = tree.network.solve(&mut state);
        prop_assert!(solved.is_ok(), "{solved:?}");
        let fan = state.flow_m3_s(tree.fan);
        let out: f64 = tree.outlets.iter().map(|&e| state.flow_m3_s(e)).sum();
        let relief = state.flow_m3_s(tree.relief);
        prop_assert!((fan - out - relief).abs() <= 1e-12 * fan.abs().max(1e-3));
        let back = state.flow_m3_s(tree.back) + relief;
        prop_assert!((fan - back).abs() <= 1e-12 * fan.abs().max(1e-3));
        for (i, &outlet) in tree.outlets.iter().enumerate() {
            let Law::LinearQuadratic(law) = *tree.network.law(outlet) else { unreachable!() };
            let at = tree.free[draft.outlets[i].0 % (draft.trunks.len() + 1)];
            let drop = state.pressure_pa(at) - draft.outlets[i].3;
            prop_assert!((law.flow_m3_s(drop) - state.flow_m3_s(outlet)).abs() < 1e-10);
        }
        let rise = state.pressure_pa(tree.plenum) - state.pressure_pa(tree.free[tree.free.len() - 1]);
        let Law::Fan(law) = tree.network.law(tree.fan) else { unreachable!() };
        prop_assert!((law.point(rise).flow_m3_s - fan).abs() < 1e-10);
    }

    /// From any start within ±300 Pa the same flows come out.
    #[test]
    fn random_starts_end_alike(draft in draft(), starts in prop::collection::vec(-300.0f64..300.0, 12)) {
        let mut tree = tree(&draft);
        let mut cold = NetworkState::new(&tree.network);
        tree.network.solve(&mut cold).unwrap();
        let mut far = NetworkState::new(&tree.network);
        for (i, &node) in tree.free.iter().enumerate() {
            far.set_start(node, starts[i % starts.len()]);
        }
        let solved = tree.network.solve(&mut far);
        prop_assert!(solved.is_ok(), "{solved:?}");
        for (a, b) in cold.flows_m3_s().iter().zip(far.flows_m3_s()) {
            prop_assert!((a - b).abs() < 1e-10, "{a} against {b}");
        }
    }

    /// Every drive with a weighted blade, from anywhere: solved, alike, and in few steps.
    #[test]
    fn every_drive_and_blade_is_solved_from_anywhere(
        draft in draft(),
        drive in 0usize..3,
        (opening, step_s) in (0.0f64..1.0, 0.1f64..20.0),
        starts in prop::collection::vec(-300.0f64..300.0, 12),
    ) {
        let mut tree = tree(&draft);
        let limits = Limits { power_max_w: 250.0, ..Limits::default() };
        if let Law::Fan(law) = tree.network.law_mut(tree.fan) {
            law.drive = match drive {
                0 => Drive::FixedSpeed { speed: draft.speed },
                1 => Drive::ConstantTorque { torque_w: 150.0, limits },
                _ => Drive::ConstantAirflow { flow_m3_s: 0.3, limits },
            };
        }
        let blade = WeightedBlade::new(60.0, 90.0, 1e-4, 0.04, 5.0, 2.0).unwrap();
        tree.network.set_law(tree.relief, Law::WeightedBlade(blade.law(opening, step_s)));
        let mut cold = NetworkState::new(&tree.network);
        let solved = tree.network.solve(&mut cold);
        prop_assert!(solved.as_ref().is_ok_and(|s| s.iterations < 40), "{solved:?}");
        let mut far = NetworkState::new(&tree.network);
        for (i, &node) in tree.free.iter().enumerate() {
            far.set_start(node, starts[i % starts.len()]);
        }
        let again = tree.network.solve(&mut far);
        prop_assert!(again.as_ref().is_ok_and(|s| s.iterations < 40), "{again:?}");
        for (a, b) in cold.flows_m3_s().iter().zip(far.flows_m3_s()) {
            prop_assert!((a - b).abs() < 1e-9, "{a} against {b}");
        }
        let out: f64 = tree.outlets.iter().map(|&e| cold.flow_m3_s(e)).sum();
        let fan = cold.flow_m3_s(tree.fan);
        prop_assert!((fan - out - cold.flow_m3_s(tree.relief)).abs() < 1e-12);
    }

    /// Closing one damper never lowers the plenum's pressure, nor any other outlet's flow or the
    /// relief's.
    #[test]
    fn closing_a_damper_helps_the_others(draft in draft(), which in 0usize..100, by in 1.01f64..1e4) {
        let mut tree = tree(&draft);
        let mut state = NetworkState::new(&tree.network);
        tree.network.solve(&mut state).unwrap();
        let before = state.clone();
        let closing = tree.outlets[which % tree.outlets.len()];
        // Where air comes back from the room, throttling it works the other way round.
        let sign = before.flow_m3_s(closing).signum();
        if let Law::LinearQuadratic(law) = tree.network.law_mut(closing) {
            law.b *= by;
        }
        tree.network.solve(&mut state).unwrap();
        let gain = |e: ElementId| sign * (state.flow_m3_s(e) - before.flow_m3_s(e));
        let rise = state.pressure_pa(tree.plenum) - before.pressure_pa(tree.plenum);
        prop_assert!(sign * rise >= -1e-9);
        for &outlet in tree.outlets.iter().filter(|&&e| e != closing) {
            prop_assert!(gain(outlet) >= -1e-11);
        }
        prop_assert!(gain(closing) <= 1e-11 && gain(tree.relief) >= -1e-11);
    }
}

fn plain_draft() -> Draft {
    Draft {
        trunks: vec![(0, 3.5), (1, 4.0)],
        outlets: vec![(0, 5.0, 8.0, 0.0), (1, 5.0, 8.5, 0.0), (2, 5.0, 9.0, 0.0)],
        relief: 18.0,
        back: 5.0,
        speed: 1.0,
    }
}

#[test]
fn a_stopped_fan_leaves_air_still_and_wind_blows_it_back() {
    let mut tree = tree(&plain_draft());
    let mut state = NetworkState::new(&tree.network);
    tree.network.solve(&mut state).unwrap();
    if let Law::Fan(law) = tree.network.law_mut(tree.fan) {
        law.drive = Drive::FixedSpeed { speed: 0.0 };
    }
    tree.network.solve(&mut state).unwrap();
    assert!(state.flows_m3_s().iter().all(|q| q.abs() < 1e-9));
    let mut pressed = plain_draft();
    for outlet in &mut pressed.outlets {
        outlet.3 = 10.0;
    }
    pressed.speed = 0.0;
    let mut back = self::tree(&pressed);
    let mut state = NetworkState::new(&back.network);
    back.network.solve(&mut state).unwrap();
    assert!(state.flow_m3_s(back.fan) < -0.01);
    assert!(back.outlets.iter().all(|&e| state.flow_m3_s(e) < 0.0));
}

#[test]
fn a_fan_that_holds_its_flow_raises_the_plenum_until_it_meets_its_limit() {
    let mut tree = tree(&plain_draft());
    let limits = Limits {
        speed_max: 1.0,
        ..Limits::default()
    };
    if let Law::Fan(law) = tree.network.law_mut(tree.fan) {
        law.drive = Drive::ConstantAirflow {
            flow_m3_s: 0.25,
            limits,
        };
    }
    let mut state = NetworkState::new(&tree.network);
    let mut last = 0.0;
    let mut held = 0;
    let mut limited = 0;
    for shut in 0..10 {
        if let Law::LinearQuadratic(law) = tree.network.law_mut(tree.outlets[0]) {
            law.b = 3000.0 * 3.0_f64.powi(shut);
        }
        if let Law::LinearQuadratic(law) = tree.network.law_mut(tree.outlets[1]) {
            law.b = 5000.0 * 3.0_f64.powi(shut);
        }
        tree.network.solve(&mut state).unwrap();
        let point = tree.network.fan_point(tree.fan, &state).unwrap();
        if point.speed < 1.0 {
            let flow = state.flow_m3_s(tree.fan);
            assert!((flow - 0.25).abs() < 1e-9, "{flow} at {point:?}");
            held += 1;
        } else {
            assert!(state.flow_m3_s(tree.fan) < 0.25);
            limited += 1;
        }
        assert!(state.pressure_pa(tree.plenum) > last);
        last = state.pressure_pa(tree.plenum);
    }
    assert!(held >= 2 && limited >= 2, "{held} held, {limited} limited");
}

#[test]
fn a_weighted_blade_settles_without_chatter_at_any_step() {
    let blade = WeightedBlade::new(60.0, 100.0, 1e-4, 0.035, 4.0, 3.0).unwrap();
    let mut ends = Vec::new();
    for step_s in [0.1, 1.0, 10.0, 60.0] {
        let mut draft = plain_draft();
        draft.outlets.truncate(1);
        let mut tree = tree(&draft);
        let mut state = NetworkState::new(&tree.network);
        let mut opening = 0.0;
        let mut last = f64::INFINITY;
        for _ in 0..(240.0 / step_s) as usize {
            tree.network
                .set_law(tree.relief, Law::WeightedBlade(blade.law(opening, step_s)));
            tree.network.solve(&mut state).unwrap();
            let ret = tree.free[tree.free.len() - 1];
            let plenum = state.pressure_pa(tree.plenum);
            let drop = plenum - state.pressure_pa(ret);
            opening = blade.law(opening, step_s).opening_at(drop);
            assert!(
                plenum <= last + 1e-7,
                "{plenum} after {last} with steps of {step_s} s"
            );
            last = plenum;
        }
        ends.push(last);
    }
    for end in &ends {
        assert!((end - ends[0]).abs() < 1e-6, "{ends:?}");
    }
}

#[test]
fn errors_name_what_is_wrong() {
    let mut builder = Network::builder();
    let room = builder.fixed("room", 0.0);
    let plenum = builder.node("plenum");
    builder.element("supply", room, plenum, Law::ConstantFlow(0.1));
    assert_eq!(
        builder.clone().build().unwrap_err(),
        BuildError::Sealed("plenum".into())
    );
    let outlet = builder.element("outlet", plenum, room, square(100.0));
    let mut network = builder.clone().build().unwrap();
    let mut state = NetworkState::new(&network);
    network.set_law(outlet, square(f64::NAN));
    let error = network.solve(&mut state).unwrap_err();
    assert_eq!(
        error,
        NetworkError::NotFinite {
            element: "outlet".into()
        }
    );
    network.set_law(outlet, square(100.0));
    network.solve(&mut state).unwrap();
    assert!((state.pressure_pa(plenum) - 1.0).abs() < 1e-12);
    builder.element("hole", plenum, room, square(0.0));
    assert_eq!(builder.build().unwrap_err(), BuildError::Law("hole".into()));
}
