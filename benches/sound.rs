//! Time of a step of sound and of its reports: 8 rooms, 8 octaves.

use openshut::measure::noise_rating::{LaeqMeter, LoudestMinute, nc_rating};
use openshut::plant::sound::attenuation::{Elbow, Element};
use openshut::plant::sound::chain::background_db;
use openshut::plant::sound::damper::DamperSize;
use openshut::plant::sound::fan::FanSpec;
use openshut::plant::sound::grille::GrilleSpec;
use openshut::plant::sound::octave::to_db;
use openshut::plant::sound::{
    DamperPosition, Operating, OutletOperating, OutletSpec, ReliefSpec, ReturnSpec, RoomSpec,
    SoundModel, SoundSpec,
};

const ROOMS: usize = 8;

fn main() {
    divan::main();
}

fn model() -> SoundModel {
    let flexible = |length_m: f64| Element::Flexible {
        diameter_m: 0.2,
        length_m,
        porous_core: true,
    };
    let outlet = |room: usize| OutletSpec {
        room,
        trunk: vec![Element::Branch {
            branch_m2: 0.0314,
            branches_m2: 0.2512,
            trunk_m2: 0.2,
        }],
        branch: vec![
            Element::Elbow {
                kind: Elbow::Round,
                width_m: 0.2,
            },
            flexible(3.0),
        ],
        damper: Some((DamperSize::round(0.2), DamperPosition::TakeOff)),
        grille: GrilleSpec::register(0.045),
        distance_m: 1.5,
    };
    let room = RoomSpec {
        volume_m3: 34.0,
        background_db: background_db(20.0),
    };
    let spec = SoundSpec {
        fan: FanSpec::forward_curved(),
        rooms: vec![room; ROOMS],
        outlets: (0..ROOMS).map(outlet).collect(),
        returns: vec![ReturnSpec {
            room: 0,
            path: vec![flexible(2.0)],
            grille: GrilleSpec::register(0.3),
            distance_m: 2.0,
        }],
        relief: Some(ReliefSpec::ToReturn {
            damper: DamperSize::round(0.25),
            path: vec![],
        }),
    };
    SoundModel::new(&spec).expect("a sound spec")
}

const OUTLETS: [OutletOperating; ROOMS] = [OutletOperating {
    flow_m3_s: 0.08,
    damper_drop_pa: 12.0,
}; ROOMS];

fn operating() -> Operating<'static> {
    Operating {
        fan_flow_m3_s: 0.7,
        fan_static_pa: 150.0,
        fan_efficiency_ratio: Some(0.9),
        outlets: &OUTLETS,
        relief_flow_m3_s: 0.06,
        relief_drop_pa: 40.0,
        return_flow_m3_s: 0.64,
    }
}

/// Energies of every room, source and octave.
#[divan::bench(sample_size = 1000)]
fn step(bencher: divan::Bencher) {
    let (model, now) = (model(), operating());
    let mut state = model.initial();
    bencher.bench_local(|| {
        model.step(divan::black_box(&now), &mut state);
        divan::black_box(&mut state);
    });
}

/// A step, then the energy mean and the loudest minute.
#[divan::bench(sample_size = 1000)]
fn step_and_meters(bencher: divan::Bencher) {
    let (model, now) = (model(), operating());
    let mut state = model.initial();
    let (mut mean, mut loudest) = (LaeqMeter::new(ROOMS), LoudestMinute::new(ROOMS, 1.0));
    let mut time_s = 0.0;
    bencher.bench_local(|| {
        model.step(divan::black_box(&now), &mut state);
        mean.push(1.0, &state);
        loudest.push(time_s, &state);
        time_s += 1.0;
    });
}

/// dB(A) and NC of every room.
#[divan::bench(sample_size = 100)]
fn report(bencher: divan::Bencher) {
    let model = model();
    let mut state = model.initial();
    model.step(&operating(), &mut state);
    bencher.bench_local(|| {
        let rate = |sum: f64, room: &openshut::plant::sound::RoomSound| {
            let nc = nc_rating(&to_db(&room.total()));
            sum + room.dba() + nc.governing_band as f64
        };
        divan::black_box(&state).rooms.iter().fold(0.0, rate)
    });
}
