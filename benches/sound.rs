//! Time of a step of sound and of its reports: 8 rooms, 8 octaves.

use divan::black_box;
use openshut::internals::{
    AirSide, DamperPosition, DamperSize, Elbow, Element, FanSpec, GrilleSpec, Heard, LoudestMinute,
    Observer, Operating, OutletOperating, OutletSpec, Recorder, ReliefSpec, ReturnSpec, RoomSound,
    RoomSpec, Sample, Sound, SoundModel, SoundSpec, SoundStage, background_db, nc_rating, to_db,
};
use openshut::{Engine, Scenario, simulate};
use std::sync::OnceLock;
use std::time::Instant;

const ROOMS: usize = 8;

fn main() {
    share_of_a_step();
    divan::main();
}

/// Eight rooms, for the share that sound has in a step of the whole program.
const EIGHT_ROOMS: &str = r#"
based_on = "family-house.toml"
[run]
start = "2027-01-18 12:00"
duration = "8 h"
warm_up = "0 s"
[room.guest]
use = "bedroom"
area = "11 m2"
walls = [{ faces = "west", area = "8 m2" }]
[room.bath]
use = "bathroom"
area = "6 m2"
walls = [{ faces = "south", area = "5 m2" }]
[door.guest]
between = ["guest", "hall"]
[door.bath]
between = ["bath", "hall"]
[outlet.guest]
room = "guest"
from = "night"
diameter = "150 mm"
channel = 7
[outlet.bath]
room = "bath"
from = "night"
diameter = "125 mm"
channel = 8
[zone.guest]
thermostat = "guest"
channels = [7, 8]
cooling = "24 °C"
bands = [{ from = "14:00", to = "08:00" }]
"#;

/// Time this thread has had on a processor, s, so that whatever else the machine does is left out;
/// the clock's where the system does not tell.
fn processor_s() -> f64 {
    static START: OnceLock<Instant> = OnceLock::new();
    let told = std::fs::read_to_string("/proc/thread-self/schedstat").ok();
    let spent = told.and_then(|t| t.split(' ').next()?.parse::<f64>().ok());
    let clock = || START.get_or_init(Instant::now).elapsed().as_secs_f64();
    spent.map_or_else(clock, |ns| ns * 1e-9)
}

/// Prints what sound costs in a run: everything of it, replayed on the flows of that run, against
/// the run without it.
fn share_of_a_step() {
    let scenario = Scenario::from_text("eight-rooms", EIGHT_ROOMS).expect("a scenario");
    assert_eq!(scenario.rooms.len(), ROOMS);
    let steps = (scenario.run.duration_s / scenario.run.step_s) as usize;
    let engine = Engine::new(&scenario).expect("an engine");
    let (mut state, mut scratch) = (engine.initial_state(), engine.scratch());
    engine.begin(&mut state, &scratch);
    state.t_s = 0.0;
    let mut events = Vec::new();
    let (mut airs, mut changed) = (Vec::with_capacity(steps), Vec::with_capacity(steps));
    let (mut sample, mut last) = (Sample::default(), u64::MAX);
    for _ in 0..steps {
        engine
            .step(&mut state, &mut scratch, &mut events)
            .expect("a step");
        let now = &state.sample;
        changed.push(now.sound.changes != last);
        last = now.sound.changes;
        sample.clone_from(now);
        airs.push(state.plant.air.clone());
    }
    let air_side =
        AirSide::new(scenario.air.clone(), &scenario.rooms, &scenario.doors).expect("an air side");
    let each = |times: usize, run: &mut dyn FnMut()| {
        let start = processor_s();
        (0..times).for_each(|_| run());
        (processor_s() - start) / (times * steps) as f64 * 1e6
    };
    let whole = each(10, &mut || {
        black_box(simulate(&scenario, |_| ()).expect("a run"));
    });
    let sound = each(50, &mut || {
        let stage = SoundStage::new(&scenario);
        let mut minute = stage.initial_minute();
        let mut air_scratch = air_side.scratch();
        let mut own = SoundStage::scratch(scenario.outlets.len());
        let mut recorder = Recorder::new(&scenario);
        let mut watcher = Sound::new(&scenario);
        sample.sound = stage.initial();
        for (k, (air, &changed)) in airs.iter().zip(&changed).enumerate() {
            if changed {
                minute.settle(&sample.sound.heard);
                stage.step(
                    &air_side,
                    air,
                    &mut air_scratch,
                    &mut own,
                    &mut sample.sound,
                );
            }
            sample.t_s = (k + 1) as f64;
            stage.judge(sample.t_s, 1.0, &sample.sound, &mut minute, &mut events);
            events.clear();
            recorder.hear(&sample, 1.0);
            if (k + 1) % 60 == 0 {
                recorder.record(&sample);
            }
            watcher.observe(&sample, 1.0);
        }
        black_box((recorder.sound.len(), watcher.measures(0.0).len()));
    });
    let moves = changed.iter().filter(|&&c| c).count();
    println!(
        "8 rooms, {steps} steps, flows change in {moves}: sound {sound:.3} us a step, the rest \
         {:.3} us, share {:.1} % of the rest",
        whole - sound,
        100.0 * sound / (whole - sound)
    );
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

/// A step, then the loudest minute.
#[divan::bench(sample_size = 1000)]
fn step_and_meters(bencher: divan::Bencher) {
    let (model, now) = (model(), operating());
    let mut state = model.initial();
    let mut loudest = LoudestMinute::new(ROOMS, 1.0);
    let mut heard: Vec<Heard> = state.rooms.iter().map(Heard::of).collect();
    let mut time_s = 0.0;
    bencher.bench_local(|| {
        model.step(divan::black_box(&now), &mut state);
        for (i, (heard, room)) in heard.iter_mut().zip(&state.rooms).enumerate() {
            heard.follow(room, model.sources(i));
        }
        loudest.push(time_s, &state, &heard);
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
        let rate = |sum: f64, room: &RoomSound| {
            let nc = nc_rating(&to_db(&room.total()));
            sum + room.dba() + nc.governing_band as f64
        };
        divan::black_box(&state).rooms.iter().fold(0.0, rate)
    });
}
