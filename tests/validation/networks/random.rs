//! A thousand random networks: balance, uniqueness, monotonicity.

use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};

use super::fan;
use crate::plant::fan::{Drive, Limits};
use crate::plant::network::{
    BladeLaw, ElementId, Law, LinearQuadratic, Network, NetworkState, NodeId,
};
use crate::validation::reference::{ReferenceError, refused};
use crate::validation::row::{Row, Worst};

const OWN: &str =
    "theorem: one solution of monotone elements (Birkhoff and Diaz 1956, from memory)";

/// Numbers for random networks, the same on every machine.
struct Draws(Xoshiro256PlusPlus);

impl Draws {
    fn between(&mut self, low: f64, high: f64) -> f64 {
        let unit = (self.0.next_u64() >> 11) as f64 / (1_u64 << 53) as f64;
        low + (high - low) * unit
    }

    fn below(&mut self, n: usize) -> usize {
        (self.between(0.0, n as f64) as usize).min(n.saturating_sub(1))
    }
}

/// A fan with coil, a tree of trunks, outlets, a return and a relief.
struct Tree {
    network: Network,
    free: Vec<NodeId>,
    plenum: NodeId,
    ret: NodeId,
    fan: ElementId,
    relief: ElementId,
    back: ElementId,
    /// Element, its upstream node, its room's node.
    outlets: Vec<(ElementId, NodeId, NodeId)>,
    blade: bool,
}

const RANDOM: usize = 1000;

fn tree(d: &mut Draws) -> Result<Tree, ReferenceError> {
    let mut b = Network::builder();
    let ret = b.node("return plenum");
    let plenum = b.node("supply plenum");
    let hall = b.fixed("hall", 0.0);
    let series = LinearQuadratic { a: 40.0, b: 250.0 };
    let speed = d.between(0.1, 1.2);
    let limits = Limits {
        power_max_w: 250.0,
        ..Limits::default()
    };
    let drive = match d.below(4) {
        0 => Drive::ConstantTorque {
            torque_w: d.between(60.0, 200.0),
            limits,
        },
        1 => Drive::ConstantAirflow {
            flow_m3_s: d.between(0.1, 0.5),
            limits,
        },
        _ => Drive::FixedSpeed { speed },
    };
    let fan = b.element(
        "fan",
        ret,
        plenum,
        fan([230.0, 0.0, -480.0, 0.0], drive, series)?,
    );
    let mut supply = vec![plenum];
    for i in 0..d.below(8) {
        let node = b.node(&format!("trunk {i}"));
        let law = Law::LinearQuadratic(LinearQuadratic {
            a: 2.0,
            b: d.between(1.5, 6.0).exp(),
        });
        let from = supply[d.below(supply.len())];
        b.element(&format!("trunk {i}"), from, node, law);
        supply.push(node);
    }
    let mut outlets = Vec::new();
    for i in 0..1 + d.below(16) {
        let room = b.fixed(&format!("room {i}"), d.between(-3.0, 3.0));
        let law = Law::LinearQuadratic(LinearQuadratic {
            a: d.between(0.0, 30.0),
            b: d.between(4.0, 19.0).exp(),
        });
        let from = supply[d.below(supply.len())];
        outlets.push((
            b.element(&format!("outlet {i}"), from, room, law),
            from,
            room,
        ));
    }
    let square = |log_b: f64| {
        Law::LinearQuadratic(LinearQuadratic {
            a: 0.0,
            b: log_b.exp(),
        })
    };
    let back = b.element("return", hall, ret, square(d.between(3.0, 7.0)));
    let blade = d.below(3) == 0;
    let law = if blade {
        Law::WeightedBlade(BladeLaw {
            open_pa: 60.0,
            full_pa: 90.0,
            leak: 1e-4,
            full: 0.04,
            friction_pa: 0.0,
            opening: 0.0,
            follow: 1.0,
        })
    } else {
        square(d.between(4.0, 19.0))
    };
    let relief = b.element("relief", plenum, ret, law);
    let mut free = supply;
    free.push(ret);
    Ok(Tree {
        network: b.build().map_err(refused("a random network"))?,
        free,
        plenum,
        ret,
        fan,
        relief,
        back,
        outlets,
        blade,
    })
}

pub(super) fn rows() -> Result<Vec<Row>, ReferenceError> {
    let mut d = Draws(Xoshiro256PlusPlus::seed_from_u64(20_270_118));
    let (mut balance, mut laws, mut starts) =
        (Worst::default(), Worst::default(), Worst::default());
    let (mut never_lower, mut closed) = (0usize, 0usize);
    for _ in 0..RANDOM {
        let mut t = tree(&mut d)?;
        let mut state = NetworkState::new(&t.network);
        t.network
            .solve(&mut state)
            .map_err(refused("a random network"))?;
        let q = |e: ElementId| state.flow_m3_s(e);
        let out: f64 = t.outlets.iter().map(|o| q(o.0)).sum();
        balance.push((q(t.fan) - out - q(t.relief)).abs());
        balance.push((q(t.fan) - q(t.back) - q(t.relief)).abs());
        for &(e, from, room) in &t.outlets {
            if let Law::LinearQuadratic(law) = t.network.law(e) {
                let drop = state.pressure_pa(from) - state.pressure_pa(room);
                laws.push((law.flow_m3_s(drop) - q(e)).abs());
            }
        }
        if let Law::Fan(law) = t.network.law(t.fan) {
            let rise = state.pressure_pa(t.plenum) - state.pressure_pa(t.ret);
            laws.push((law.point(rise).flow_m3_s - q(t.fan)).abs());
        }
        let mut far = NetworkState::new(&t.network);
        for &node in &t.free {
            far.set_start(node, d.between(-300.0, 300.0));
        }
        t.network
            .solve(&mut far)
            .map_err(refused("a random network"))?;
        for (a, b) in state.flows_m3_s().iter().zip(far.flows_m3_s()) {
            starts.add(*a, *b);
        }
        // Closing one damper. Where air comes back from the room the sense turns round.
        let (closing, ..) = t.outlets[d.below(t.outlets.len())];
        let sign = q(closing).signum();
        let before = state.clone();
        let by = d.between(0.01, 9.0).exp();
        if let Law::LinearQuadratic(law) = t.network.law_mut(closing) {
            law.b *= by;
        }
        t.network
            .solve(&mut state)
            .map_err(refused("a random network"))?;
        let gain = |e: ElementId| sign * (state.flow_m3_s(e) - before.flow_m3_s(e));
        let rise = sign * (state.pressure_pa(t.plenum) - before.pressure_pa(t.plenum));
        let others = t.outlets.iter().filter(|o| o.0 != closing);
        let holds = rise >= -1e-9
            && others.clone().all(|o| gain(o.0) >= -1e-11)
            && gain(t.relief) >= if t.blade { -1e-9 } else { -1e-11 };
        closed += 1;
        never_lower += usize::from(holds);
    }
    Ok(vec![
        Row::largest(
            "a thousand random networks: air balance left at the plenums",
            "conservation of mass",
            balance,
            1e-9,
            "m³/s",
        )
        .remark("up to 8 trunks, 16 outlets, three drives, fixed and weighted relief"),
        Row::largest(
            "the same: flow of each element against its law at the pressures found",
            "the laws themselves",
            laws,
            1e-9,
            "m³/s",
        ),
        Row::largest(
            "the same from random starts within ±300 Pa: flows",
            OWN,
            starts,
            1e-9,
            "m³/s",
        ),
        Row::cases(
            "the same with one damper closed: plenum pressure and no other flow falls",
            "monotonicity of such networks (from memory)",
            (never_lower, closed),
        ),
    ])
}
