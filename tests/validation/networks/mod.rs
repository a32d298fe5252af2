//! Fans and air networks against scipy and mpmath, and against what must hold for any network.

mod random;

use std::collections::BTreeMap;
use std::sync::Arc;

use serde_json::Value;

use crate::plant::fan::{Drive, Fan, FanCurve, FanLaw, Limits, PowerCurve};
use crate::plant::network::{
    BladeLaw, ElementId, Law, LinearQuadratic, Network, NetworkState, NodeId, Power,
};
use crate::validation::reference::{ReferenceError, list, number, numbers, parse, refused, text};
use crate::validation::row::{Row, Worst};

const THREE_WAYS: &str =
    "scipy 1.17.1 root and least_squares, mpmath 1.4.1 with 40 digits; agree to 1e-8";

pub(super) fn rows() -> Result<Vec<Row>, ReferenceError> {
    let mut out = solved_elsewhere()?;
    out.extend(random::rows()?);
    Ok(out)
}

/// A fan of the given polynomial.
fn fan(a: [f64; 4], drive: Drive, series: LinearQuadratic) -> Result<Law, ReferenceError> {
    // Far enough that no reference fan runs beyond it, and on the falling side of every curve.
    const REACH: f64 = 0.6;
    let curve = FanCurve::from_polynomial(a, REACH).map_err(refused("a reference fan"))?;
    let power = PowerCurve::from_rated_point(0.3, 200.0).map_err(refused("a reference fan"))?;
    Ok(Law::Fan(FanLaw {
        fan: Arc::new(Fan { curve, power }),
        drive,
        series,
    }))
}

fn law(e: &Value, soft_pa: f64) -> Result<Law, ReferenceError> {
    let n = |key: &str| number(e, &format!("/{key}"));
    let polynomial = || -> Result<[f64; 4], ReferenceError> {
        let a = numbers(e, "/a")?;
        a.try_into()
            .map_err(|_| ReferenceError::Missing("fan polynomial".into()))
    };
    Ok(match text(e, "/type")? {
        "power" => Law::Power(Power::from_resistance(n("R")?, n("n")?, soft_pa)),
        "linear_quadratic" => Law::LinearQuadratic(LinearQuadratic {
            a: n("a")?,
            b: n("b")?,
        }),
        "weighted" => Law::WeightedBlade(BladeLaw {
            open_pa: n("p_open")?,
            full_pa: n("p_full")?,
            leak: n("G_leak")?,
            full: n("G_full")?,
            friction_pa: 0.0,
            opening: 0.0,
            follow: 1.0,
        }),
        "fan" => {
            let drive = Drive::FixedSpeed { speed: n("speed")? };
            fan(polynomial()?, drive, LinearQuadratic::NONE)?
        }
        "constant_flow_fan" => {
            let limits = Limits {
                speed_max: n("speed_max")?,
                ..Limits::default()
            };
            let flow_m3_s = n("flow_set")?;
            let drive = Drive::ConstantAirflow { flow_m3_s, limits };
            fan(polynomial()?, drive, LinearQuadratic::NONE)?
        }
        other => return Err(ReferenceError::Missing(format!("element type {other}"))),
    })
}

struct Joined {
    network: Network,
    nodes: BTreeMap<String, NodeId>,
    elements: BTreeMap<String, ElementId>,
    softened: bool,
}

fn joined(case: &Value, soft_pa: f64) -> Result<Joined, ReferenceError> {
    let mut builder = Network::builder();
    let mut nodes = BTreeMap::new();
    let fixed = case["fixed_pressures_Pa"].as_object();
    for (name, p) in fixed.into_iter().flatten() {
        let pa = p.as_f64().unwrap_or(f64::NAN);
        nodes.insert(name.clone(), builder.fixed(name, pa));
    }
    for name in list(case, "/unknown_nodes")? {
        let name = name.as_str().unwrap_or_default();
        nodes.insert(name.to_string(), builder.node(name));
    }
    let mut elements = BTreeMap::new();
    let mut softened = false;
    for e in list(case, "/elements")? {
        let at = |key: &str| -> Result<NodeId, ReferenceError> {
            let name = text(e, key)?;
            nodes
                .get(name)
                .copied()
                .ok_or_else(|| ReferenceError::Missing(format!("node {name}")))
        };
        softened |= text(e, "/type")? == "weighted";
        let id = text(e, "/id")?;
        let made = builder.element(id, at("/from")?, at("/to")?, law(e, soft_pa)?);
        elements.insert(id.to_string(), made);
    }
    Ok(Joined {
        network: builder.build().map_err(refused("a reference network"))?,
        nodes,
        elements,
        softened,
    })
}

/// Which row a reference network belongs to.
fn family(name: &str) -> usize {
    if name.starts_with("fan_") {
        0
    } else if name.contains("relief") && !name.starts_with("constant") || name.contains("dump") {
        2
    } else if name.contains("back_flow") || name.contains("closed") {
        3
    } else if name.starts_with("constant") || name.starts_with("two_fans") {
        4
    } else {
        1
    }
}

const FAMILIES: [&str; 5] = [
    "fan laws, fan with its system curve",
    "series, parallel and branching ducts",
    "trees with motorised, weighted and dumping relief",
    "back-flow, leaking ducts, every damper shut",
    "fan that holds its flow (with weighted relief), two fans",
];

fn solved_elsewhere() -> Result<Vec<Row>, ReferenceError> {
    let file = parse(
        "networks.json",
        include_str!("../../reference/networks.json"),
    )?;
    let older = parse(
        "air_networks.json",
        include_str!("../../reference/air_networks.json"),
    )?;
    let mut flows = [Worst::default(); 5];
    let mut counts = [0usize; 5];
    let mut pressures = Worst::default();
    let mut speed = Worst::default();
    let mut laws: BTreeMap<String, (f64, f64)> = BTreeMap::new();
    for case in list(&file, "/networks")?
        .iter()
        .chain(list(&older, "/networks")?)
    {
        let name = text(case, "/name")?;
        let row = family(name);
        counts[row] += 1;
        for (key, soft_pa) in [("dps_0.01", 0.01), ("dps_0", 0.0)] {
            let mut it = joined(case, soft_pa)?;
            // A weighted blade is always softened over 0.01 Pa.
            if it.softened && soft_pa == 0.0 {
                continue;
            }
            let mut state = NetworkState::new(&it.network);
            it.network.solve(&mut state).map_err(refused(name))?;
            let solution = &case["solution"][key];
            let scale = solution["flows_m3s"]
                .as_object()
                .into_iter()
                .flatten()
                .filter_map(|(_, q)| q.as_f64())
                .fold(0.0_f64, |m, q| m.max(q.abs()));
            for (id, want) in solution["flows_m3s"].as_object().into_iter().flatten() {
                let got = it
                    .elements
                    .get(id)
                    .map_or(f64::NAN, |&e| state.flow_m3_s(e));
                let want = want.as_f64().unwrap_or(f64::NAN);
                // Relative to each flow itself, and where that is next to nothing to the largest.
                flows[row].push((got - want).abs() / want.abs().max(1e-6 * scale));
            }
            for (id, want) in solution["pressures_Pa"].as_object().into_iter().flatten() {
                let got = it.nodes.get(id).map_or(f64::NAN, |&n| state.pressure_pa(n));
                pressures.add(got, want.as_f64().unwrap_or(f64::NAN));
            }
            if let Some(want) = solution["fan_speed"].as_f64() {
                let point = it
                    .elements
                    .get("fan")
                    .and_then(|&f| it.network.fan_point(f, &state));
                speed.add_relative(point.map_or(f64::NAN, |p| p.speed), want);
            }
            if name.starts_with("fan_law") && soft_pa == 0.0 {
                let flow = it
                    .elements
                    .get("fan")
                    .map_or(f64::NAN, |&f| state.flow_m3_s(f));
                let rise = it
                    .nodes
                    .get("sup")
                    .map_or(f64::NAN, |&n| state.pressure_pa(n));
                laws.insert(name.to_string(), (flow, rise));
            }
        }
    }
    let mut out: Vec<Row> = (0..FAMILIES.len())
        .map(|i| {
            Row::largest(
                format!("{}: flows, relative", FAMILIES[i]),
                THREE_WAYS,
                flows[i],
                1e-6,
                "1",
            )
            .remark(format!("{} networks", counts[i]))
        })
        .collect();
    out.push(Row::largest(
        "all of these networks: pressures",
        THREE_WAYS,
        pressures,
        1e-6,
        "Pa",
    ));
    out.push(Row::largest(
        "speed of the fan that holds its flow, relative",
        THREE_WAYS,
        speed,
        1e-6,
        "1",
    ));
    let mut affinity = Worst::default();
    if let Some(&(flow, rise)) = laws.get("fan_law_speed_1") {
        for (name, share) in [("fan_law_speed_0.8", 0.8), ("fan_law_speed_0.5", 0.5)] {
            let (q, p) = laws.get(name).copied().unwrap_or((f64::NAN, f64::NAN));
            affinity.add_relative(q, share * flow);
            affinity.add_relative(p, share * share * rise);
        }
    }
    out.push(Row::largest(
        "fan laws: flow with speed, pressure with its square, relative",
        "affinity laws, exact on a quadratic system",
        affinity,
        1e-6,
        "1",
    ));
    Ok(out)
}
