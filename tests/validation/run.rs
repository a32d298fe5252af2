//! A scenario file of this folder, stepped as every run is.

use crate::engine::Engine;
use crate::engine::event::Event;
use crate::engine::sample::Sample;
use crate::scenario::Scenario;

use super::reference::{ReferenceError, refused};

/// A scenario of this folder, by its name without ending, with pieces of its text replaced.
pub(super) fn scenario(name: &str, changes: &[(&str, &str)]) -> Result<Scenario, ReferenceError> {
    let path = format!(
        "{}/tests/validation/{name}.toml",
        env!("CARGO_MANIFEST_DIR")
    );
    let mut text = std::fs::read_to_string(&path).map_err(refused(&path))?;
    for (from, to) in changes {
        if !text.contains(from) {
            return Err(ReferenceError::Missing(format!("{from} in {path}")));
        }
        text = text.replace(from, to);
    }
    Scenario::from_text(name, &text).map_err(|e| ReferenceError::Refused {
        what: path,
        why: e.render(false),
    })
}

/// Steps a scenario from its start to its end, past no mark of `every_s`. `see` gets each sample, how
/// long it lasted, s, and what happened.
pub(super) fn steps(
    s: &Scenario,
    every_s: f64,
    mut see: impl FnMut(&Sample, f64, &[Event]),
) -> Result<(), ReferenceError> {
    let refuse = || refused::<crate::engine::RunError>(&s.name);
    let engine = Engine::new(s).map_err(refuse())?;
    let (mut state, mut scratch) = (engine.initial_state(), engine.scratch());
    assert_eq!(
        s.run.warm_up_s, 0.0,
        "{} is compared from its start",
        s.name
    );
    engine.begin(&mut state, &scratch);
    let count = |time_s: f64| (time_s / s.run.step_s).round() as u64;
    let (total, every) = (count(s.run.duration_s), count(every_s).max(1));
    let (mut k, mut events) = (0, Vec::new());
    while k < total {
        state.t_s = k as f64 * s.run.step_s;
        let most = (every - k % every).min(total - k);
        let made = engine
            .advance(most, &mut state, &mut scratch, &mut events)
            .map_err(refuse())?;
        see(&state.sample, made as f64 * s.run.step_s, &events);
        events.clear();
        k += made;
    }
    Ok(())
}

/// The last sample of a run.
pub(super) fn end(s: &Scenario) -> Result<Sample, ReferenceError> {
    let mut last = Sample::default();
    steps(s, s.run.duration_s, |sample, _, _| last.clone_from(sample))?;
    Ok(last)
}
