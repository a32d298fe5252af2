//! Long steps against short ones: starts, run times and temperatures.
//!
//! A day of a house with several zones is not the same twice if anything changes by a hair: a reading
//! that crosses its edge a sample later moves every start that follows. So the two ways of stepping
//! are compared over single hours, each begun from the state of the short steps.

use super::common;
use std::path::Path;

use crate::control::NoticeKind;
use crate::engine::event::{Event, What};
use crate::engine::{Engine, Scratch, State};
use crate::measure::{Measure, observers};
use crate::quantity::Dimension;
use crate::scenario::Scenario;

/// Time between samples of a thermostat, s: what a reading near its edge may shift a start by.
const SAMPLE_S: f64 = 10.0;

fn shipped(name: &str) -> Scenario {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios");
    Scenario::load(path.join(format!("{name}.toml")))
        .unwrap_or_else(|e| panic!("{}", e.render(false)))
}

/// An hour: what was said of dampers and of everything else, and the air of every room at whole minutes, °C.
struct Hour {
    said: Vec<(f64, What, String)>,
    dampers: Vec<(f64, String)>,
    starts: Vec<f64>,
    stops: Vec<f64>,
    air_c: Vec<f64>,
    looks: u64,
}

fn hour(
    engine: &Engine<'_>,
    (state, scratch): (&mut State, &mut Scratch<'_>),
    from_s: f64,
    most: u64,
) -> Hour {
    let mut events: Vec<Event> = Vec::new();
    let (mut air_c, mut k, mut looks) = (Vec::new(), 0, 0);
    while k < 3600 {
        state.t_s = from_s + k as f64;
        let made = engine.advance(most, state, scratch, &mut events).unwrap();
        let sample = &state.sample;
        k += made;
        looks += 1;
        assert!((sample.t_s - from_s - k as f64).abs() < 1e-6);
        if k % 60 == 0 {
            air_c.extend(sample.rooms.iter().map(|r| r.air_c));
        }
    }
    assert_eq!(air_c.len() % 60, 0, "a step went across a minute");
    let times = |kind| {
        let of = events.iter().filter(|e| e.what == What::Control(kind));
        of.map(|e| e.t_s).collect::<Vec<_>>()
    };
    let (dampers, said): (Vec<&Event>, _) = events.iter().partition(|e| e.what == What::Damper);
    let said = said.into_iter();
    Hour {
        dampers: dampers.iter().map(|e| (e.t_s, e.text.clone())).collect(),
        said: said.map(|e| (e.t_s, e.what, e.subject.clone())).collect(),
        starts: times(NoticeKind::Start),
        stops: times(NoticeKind::Stop),
        air_c,
        looks,
    }
}

/// The beginning of a run with noise for which no reading is near its edge by chance when it matters, and for
/// which the bounds below were set: that of seeds by the place of a zone.
fn start<'a>(engine: &Engine<'a>, seed: u64) -> (State, Scratch<'a>) {
    let mut state = engine.initial_state();
    state.sensors =
        engine.initial_sensors(&state.plant.house, |zone| seed ^ ((zone as u64 + 1) << 32));
    (state, engine.scratch())
}

/// The hours of a day in which both ways say the same at the same second, the furthest that air
/// is apart in those and in the others, K, and looks at the plant per second.
struct Day {
    same: u32,
    apart_k: f64,
    looks: f64,
}

fn day(name: &str) -> Day {
    let scenario = shipped(name);
    let engine = Engine::new(&scenario).unwrap();
    let (mut state, mut scratch) = start(&engine, scenario.run.seed);
    let mut day = Day {
        same: 0,
        apart_k: 0.0,
        looks: 0.0,
    };
    for n in 0..24 {
        let mut other = state.clone();
        let from_s = f64::from(n) * 3600.0;
        let short = hour(&engine, (&mut state, &mut scratch), from_s, 1);
        let long = hour(&engine, (&mut other, &mut scratch), from_s, 3600);
        let count = |h: &Hour| (h.starts.len(), h.stops.len());
        assert_eq!(count(&short), count(&long), "{name}, hour {n}");
        let before = short.starts.iter().chain(&short.stops);
        for (a, b) in before.zip(long.starts.iter().chain(&long.stops)) {
            assert!((a - b).abs() <= SAMPLE_S, "{name}: {a} s against {b} s");
        }
        if short.said == long.said {
            day.same += 1;
            day.apart_k = day.apart_k.max(apart_k(&short.air_c, &long.air_c));
        }
        day.looks += long.looks as f64 / 86_400.0;
    }
    println!(
        "{name}: {} hours, {:.5} K, {:.3} looks a second",
        day.same, day.apart_k, day.looks
    );
    day
}

#[test]
fn a_house_says_the_same_at_the_same_second() {
    // The embedded scenario and a heating morning: nothing is ever said at another second.
    for name in ["family-house", "winter-morning"] {
        let day = day(name);
        assert_eq!(day.same, 24, "{name}");
        assert!(day.apart_k < 1e-3, "{name}: {} K", day.apart_k);
        assert!(day.looks < 0.4, "{name}: {} looks a second", day.looks);
    }
}

#[test]
fn short_cycles_and_many_zones_keep_their_starts() {
    // Supply air falls by kelvins a second here, and a call ends a sample later in some hours.
    for name in [
        "small-zone-relief",
        "small-zone-no-relief",
        "clinic-twelve-rooms",
        "faults-demo",
    ] {
        let day = day(name);
        assert!(day.same >= 18, "{name}: {} hours", day.same);
        assert!(day.apart_k < 0.06, "{name}: {} K", day.apart_k);
        assert!(day.looks < 0.5, "{name}: {} looks a second", day.looks);
    }
}

#[test]
fn dampers_of_many_zones_arrive_at_the_same_second() {
    // Of 31 zones some damper nearly always moves.
    let scenario = common::house(32);
    let engine = Engine::new(&scenario).unwrap();
    let (mut state, mut scratch) = start(&engine, scenario.run.seed);
    for n in 13..17 {
        let mut other = state.clone();
        let from_s = f64::from(n) * 3600.0;
        let short = hour(&engine, (&mut state, &mut scratch), from_s, 1);
        let long = hour(&engine, (&mut other, &mut scratch), from_s, 3600);
        assert!(short.dampers.len() > 150, "hour {n}");
        assert_eq!(short.dampers, long.dampers, "hour {n}");
        assert_eq!(short.said, long.said, "hour {n}");
        assert!(long.looks < 1000, "{} looks", long.looks);
        let apart_k = apart_k(&short.air_c, &long.air_c);
        println!(
            "hour {n}: {} dampers, {apart_k:.5} K, {} looks",
            short.dampers.len(),
            long.looks
        );
        assert!(apart_k < 1e-3, "{apart_k} K");
    }
}

/// The furthest that two lists are apart.
fn apart_k(a: &[f64], b: &[f64]) -> f64 {
    let pairs = a.iter().zip(b);
    pairs.fold(0.0, |most: f64, (a, b)| most.max((a - b).abs()))
}

#[test]
fn measures_of_a_whole_run_agree() {
    let scenario = shipped("winter-morning");
    let (short, _) = run(&scenario, 1);
    let (long, relative) = run(&scenario, u64::MAX);
    assert_eq!(short.len(), long.len());
    for (a, b) in short.iter().zip(&long) {
        // Counts and what flows make are the same. A step of up to 15 s counts as its end: that is as much of a period of two hours.
        let bound = match a.dimension {
            Dimension::Count if a.key == "cop_mean" => 1e-3 * a.value.abs(),
            // A vote moves by 0.3 for a kelvin: what 0.02 K makes of it.
            Dimension::Count if a.key.starts_with("pmv") => 0.006,
            Dimension::Count => 0.0,
            // While dampers move, flows are those of the middle of up to 5 s.
            Dimension::Pressure | Dimension::Velocity => 1e-3 * a.value.abs(),
            Dimension::Time => 15.0,
            Dimension::Fraction => 2e-3,
            Dimension::TemperatureDifference => 0.02,
            _ => 1e-3 * a.value.abs(),
        };
        let same = (a.value - b.value).abs() <= bound || (a.value.is_nan() && b.value.is_nan());
        let (key, of) = (a.key, &a.subject);
        assert!(same, "{key} of {of}: {} against {}", a.value, b.value);
    }
    assert!(relative.iter().all(|r| *r < 1e-9), "{relative:?}");
}

/// A run in steps of at most so many time steps: its measures, and how heat and moisture closed.
fn run(scenario: &Scenario, longest: u64) -> (Vec<Measure>, [f64; 2]) {
    let engine = Engine::new(scenario).unwrap();
    let (mut state, mut scratch) = start(&engine, scenario.run.seed);
    let (run, mut events, mut watchers) = (&scenario.run, Vec::new(), observers(scenario));
    let count = |time_s: f64| (time_s / run.step_s).round() as u64;
    for (begin_s, steps) in [
        (-run.warm_up_s, count(run.warm_up_s)),
        (0.0, count(run.duration_s)),
    ] {
        if begin_s == 0.0 {
            engine.begin(&mut state, &scratch);
        }
        let mut k = 0;
        while k < steps {
            state.t_s = begin_s + k as f64 * run.step_s;
            let most = longest.min(steps - k);
            let made = engine
                .advance(most, &mut state, &mut scratch, &mut events)
                .unwrap();
            k += made;
            for event in events.drain(..) {
                if begin_s == 0.0 {
                    watchers.iter_mut().for_each(|w| w.event(&event));
                }
            }
            if begin_s == 0.0 {
                let lasted_s = made as f64 * run.step_s;
                watchers
                    .iter_mut()
                    .for_each(|w| w.observe(&state.sample, lasted_s));
            }
        }
    }
    let measures = watchers.iter().flat_map(|w| w.measures(run.duration_s));
    let (house, state) = (scratch.house(), &state.plant.house);
    let closures = [house.heat_closure(state), house.water_closure(state)];
    (measures.collect(), closures.map(|c| c.relative))
}
