//! A run restored from a snapshot equals the run that went on, bit by bit.

use std::path::Path;

use proptest::prelude::*;

use super::common;
use crate::engine::event::Event;
use crate::engine::{Engine, Scratch, State};
use crate::scenario::Scenario;

fn shipped(name: &str) -> Scenario {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios");
    Scenario::load(folder.join(format!("{name}.toml")))
        .unwrap_or_else(|e| panic!("{}", e.render(false)))
}

/// Steps until `until_s`; what was seen, as text: every bit of a number shows in it, and not-a-number is
/// equal to itself.
fn go_on(
    engine: &Engine<'_>,
    state: &mut State,
    scratch: &mut Scratch<'_>,
    until_s: f64,
    longest: u64,
) -> Vec<String> {
    let (mut seen, mut events): (_, Vec<Event>) = (Vec::new(), Vec::new());
    while state.t_s < until_s - 1e-6 {
        let left = ((until_s - state.t_s) / engine.step_s()).round() as u64;
        let most = left.min(longest);
        engine.advance(most, state, scratch, &mut events).unwrap();
        seen.push(format!("{:?} {:?}", state.sample, events));
        events.clear();
    }
    seen
}

/// From `begin_s`, a snapshot after `after_s`; then on for `on_s` in three ways: with the scratch that has
/// been there, with a fresh one, and with one that has gone elsewhere in the meantime.
fn restored_equals_gone_on(s: &Scenario, begin_s: f64, after_s: f64, on_s: f64, longest: u64) {
    let engine = Engine::new(s).unwrap();
    let (mut state, mut scratch) = (engine.initial_state(), engine.scratch());
    state.t_s = begin_s;
    let start = state.clone();
    let until_s = begin_s + after_s;
    go_on(&engine, &mut state, &mut scratch, until_s, longest);
    let snapshot = state.clone();
    let until_s = snapshot.t_s + on_s;
    let went = go_on(&engine, &mut state, &mut scratch, until_s, longest);
    assert!(went.len() > 1, "nothing went on");

    let mut elsewhere = engine.scratch();
    let mut other = start;
    go_on(
        &engine,
        &mut other,
        &mut elsewhere,
        begin_s + 0.6 * after_s,
        longest,
    );
    for (way, mut scratch) in [
        ("used here", scratch),
        ("fresh", engine.scratch()),
        ("used elsewhere", elsewhere),
    ] {
        let mut restored = snapshot.clone();
        let again = go_on(&engine, &mut restored, &mut scratch, until_s, longest);
        for (a, b) in went.iter().zip(&again) {
            assert_eq!(a, b, "{}: scratch {way}", s.title);
        }
        assert_eq!(went.len(), again.len(), "{}: scratch {way}", s.title);
        assert_eq!(
            format!("{state:?}"),
            format!("{restored:?}"),
            "{}: scratch {way}",
            s.title
        );
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(6))]

    /// Long steps and short ones, at random times of the day: a house, one whose relief lifts, one with many
    /// zones, and one with every kind of fault that its file has.
    #[test]
    fn at_random_times(
        hour in 0.0_f64..20.0,
        after_s in 60_u32..5400,
        longest in prop::sample::select(vec![1_u64, 4, 3600]),
    ) {
        for name in [
            "family-house",
            "small-zone-relief",
            "winter-morning",
            "clinic-twelve-rooms",
            "faults-demo",
        ] {
            let s = shipped(name);
            let begin_s = (hour * 3600.0).floor();
            restored_equals_gone_on(&s, begin_s, f64::from(after_s), 1500.0, longest);
        }
    }
}

/// Many zones, where some damper nearly always moves and long steps are taken back again and again.
#[test]
fn while_dampers_move() {
    let s = common::house(16);
    restored_equals_gone_on(&s, 13.0 * 3600.0, 3600.0, 1800.0, 3600);
}
