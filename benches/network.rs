//! Time to solve the air network of an eight-room house with relief.

use divan::{Bencher, black_box};
use openshut::internals::{
    Air, DAMPER_KINDS, Damper, Drive, Duct, ElementId, Fan, FanCurve, FanLaw, Grille, Law,
    LeakageClass, LinearQuadratic, Network, NetworkState, Power, PowerCurve, SparseLu,
};
use std::f64::consts::PI;
use std::sync::Arc;

fn main() {
    divan::main();
}

fn damper() -> Damper {
    Damper::new(DAMPER_KINDS[0].form, 0.01 * PI, LeakageClass::Class2).unwrap()
}

fn branch(opening: f64) -> LinearQuadratic {
    let air = Air::STANDARD;
    let grille = Grille {
        loss_k: 3.0,
        face_area_m2: 0.045,
    };
    Duct {
        fitting_c: 0.6,
        ..Duct::round(0.2, 6.0)
    }
    .law(&air)
    .in_series(damper().law(opening, air.density_kg_m3))
    .in_series(grille.law(&air))
}

/// Eight rooms with undercuts to a hall and cracks to outdoors, two trunks, relief to the return.
fn house() -> (Network, Vec<ElementId>) {
    let air = Air::STANDARD;
    let mut builder = Network::builder();
    let outdoors = builder.fixed("outdoors", 0.0);
    let ret = builder.node("return plenum");
    let supply = builder.node("supply plenum");
    let hall = builder.node("hall");
    let curve = FanCurve::from_rated_point(0.5, 110.0).unwrap();
    let power = PowerCurve::from_rated_point(0.5, 250.0).unwrap();
    let fan = FanLaw {
        fan: Arc::new(Fan { curve, power }),
        drive: Drive::FixedSpeed { speed: 1.0 },
        series: LinearQuadratic { a: 20.0, b: 60.0 },
    };
    builder.element("fan", ret, supply, Law::Fan(fan));
    let duct = Duct::round(0.315, 8.0).law(&air);
    let mut outlets = Vec::new();
    for t in 0..2 {
        let trunk = builder.node(&format!("trunk {t}"));
        builder.element(
            &format!("trunk duct {t}"),
            supply,
            trunk,
            Law::LinearQuadratic(duct),
        );
        for r in 0..4 {
            let name = format!("room {t}{r}");
            let room = builder.node(&name);
            let outlet = Law::LinearQuadratic(branch(1.0 - 0.2 * f64::from(r)));
            outlets.push(builder.element(&format!("outlet {t}{r}"), trunk, room, outlet));
            let under = Law::LinearQuadratic(LinearQuadratic { a: 1.0, b: 2000.0 });
            builder.element(&format!("undercut {t}{r}"), room, hall, under);
            let crack = Law::Power(Power {
                k: 4e-4,
                m: 0.65,
                soft_pa: 0.01,
            });
            builder.element(&format!("cracks {t}{r}"), room, outdoors, crack);
        }
    }
    let back = LinearQuadratic { a: 5.0, b: 60.0 };
    builder.element("return", hall, ret, Law::LinearQuadratic(back));
    let relief = LinearQuadratic {
        a: 2.0,
        b: 60_000.0,
    };
    builder.element("relief", supply, ret, Law::LinearQuadratic(relief));
    (builder.build().unwrap(), outlets)
}

/// The first solution, from nothing.
#[divan::bench]
fn cold(bencher: Bencher) {
    let (mut network, _) = house();
    let fresh = NetworkState::new(&network);
    let mut state = fresh.clone();
    bencher.bench_local(|| {
        state.clone_from(&fresh);
        black_box(network.solve(&mut state)).unwrap()
    });
}

/// One damper moves by one percent of its travel a step.
#[divan::bench]
fn warm(bencher: Bencher) {
    let (mut network, outlets) = house();
    let mut state = NetworkState::new(&network);
    network.solve(&mut state).unwrap();
    let laws: Vec<_> = (0..100).map(|i| branch(0.01 * f64::from(i))).collect();
    let mut at = 0_usize;
    bencher.bench_local(|| {
        at = (at + 1) % 200;
        let law = laws[if at < 100 { at } else { 199 - at }];
        network.set_law(outlets[1], Law::LinearQuadratic(law));
        black_box(network.solve(&mut state)).unwrap()
    });
}

/// Nothing moves.
#[divan::bench]
fn still(bencher: Bencher) {
    let (mut network, _) = house();
    let mut state = NetworkState::new(&network);
    bencher.bench_local(|| black_box(network.solve(&mut state)).unwrap());
}

/// One damper's resistance from its opening.
#[divan::bench]
fn damper_resistance(bencher: Bencher) {
    let damper = damper();
    bencher.bench_local(|| black_box(damper.resistance(black_box(0.37), 1.2)));
}

/// Factors of a 24-node tree.
#[divan::bench]
fn factor_24(bencher: Bencher) {
    let pattern: Vec<_> = (1..24).map(|i| (i, (i - 1) / 3)).collect();
    let mut lu = SparseLu::new(24, &pattern);
    for i in 0..24 {
        lu.add(lu.slot(i, i), 4.5);
    }
    for &(i, j) in &pattern {
        lu.add(lu.slot(i, j), -1.0);
        lu.add(lu.slot(j, i), -0.9);
    }
    bencher.bench_local(|| black_box(lu.factor()).unwrap());
}

/// A solution with those factors.
#[divan::bench]
fn solve_24(bencher: Bencher) {
    let pattern: Vec<_> = (1..24).map(|i| (i, (i - 1) / 3)).collect();
    let mut lu = SparseLu::new(24, &pattern);
    for i in 0..24 {
        lu.add(lu.slot(i, i), 4.5);
    }
    lu.factor().unwrap();
    let (mut rhs, mut scratch) = ([1.0; 24], [0.0; 24]);
    bencher.bench_local(|| {
        rhs.fill(1.0);
        lu.solve(black_box(&mut rhs), &mut scratch);
    });
}
