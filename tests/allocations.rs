//! A step allocates nothing, with everything on.

#[path = "../benches/common/mod.rs"]
mod common;

use openshut::measure::observers;
use openshut::run::engine::Engine;
use openshut::run::record::Recorder;

/// An hour of steps in which dampers move, zones call and the relief lifts, once the buffers have
/// grown to what they need. Events carry sentences and are left out: steps with an event may
/// allocate, and are few.
#[test]
fn a_step_allocates_nothing() {
    let scenario = common::house(8);
    let (mut engine, mut state) = Engine::new(&scenario).unwrap();
    let mut events = Vec::with_capacity(4096);
    let mut watchers = observers(&scenario);
    let mut recorder = Recorder::new(&scenario);
    recorder.trace.reserve(1440);
    let (mut quiet, mut told) = (0, 0);
    for k in 0..12 * 3600 {
        state.t_s = f64::from(k) + 6.0 * 3600.0;
        events.clear();
        let counted = allocation_counter::measure(|| {
            let sample = engine.step(&mut state, &mut events).unwrap();
            for w in &mut watchers {
                w.observe(sample, 1.0);
            }
            if (k + 1) % 60 == 0 {
                recorder.record(sample);
            }
        });
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
        quiet > 3000 && told > 10,
        "{quiet} quiet steps, {told} with events"
    );
}
