//! A step allocates nothing, with everything on.

#[path = "../benches/common/mod.rs"]
mod common;

use openshut::internals::{Recorder, observers};
use openshut::{Engine, Scenario};

/// Hours of steps in which dampers move, zones call and the relief lifts, once the buffers have
/// grown to what they need. Events carry sentences and are left out: steps with an event may
/// allocate, and are few.
#[test]
fn a_step_allocates_nothing() {
    steps_allocate_nothing(1, 3000);
}

#[test]
fn a_long_step_allocates_nothing() {
    steps_allocate_nothing(60, 1000);
}

/// Steps of at most so many seconds; at least so many of them have no event.
fn steps_allocate_nothing(most: u64, at_least: usize) {
    let scenario = common::house(8);
    let engine = Engine::new(&scenario).unwrap();
    let (mut state, mut scratch) = (engine.initial_state(), engine.scratch());
    let mut events = Vec::with_capacity(4096);
    let mut watchers = observers(&scenario);
    let mut recorder = Recorder::new(&scenario);
    recorder.trace.reserve(1440);
    let (mut quiet, mut told) = (0, 0);
    let mut k = 0;
    while k < 12 * 3600 {
        state.t_s = k as f64 + 6.0 * 3600.0;
        events.clear();
        let mut made = 0;
        let counted = allocation_counter::measure(|| {
            let steps = engine
                .advance(most, &mut state, &mut scratch, &mut events)
                .unwrap();
            let sample = &state.sample;
            made = steps;
            for w in &mut watchers {
                w.observe(sample, steps as f64);
            }
            if (k + steps).is_multiple_of(60) {
                recorder.record(sample);
            }
        });
        k += made;
        if k < 9 * 3600 {
            continue;
        }
        if events.is_empty() {
            quiet += 1;
            assert_eq!(counted.count_total, 0, "{k} s after six in the morning");
        } else {
            told += 1;
        }
    }
    assert!(
        quiet > at_least && told > 10,
        "{quiet} quiet steps, {told} with events"
    );
}
