//! Runs a scenario: owns the state, the step, the record.
//!
//! The order of a step stands once, in [`engine::Engine::step`].

pub mod by_hand;
pub mod engine;
pub mod event;
pub mod fault;
pub mod house;
pub mod meter;
pub mod record;
pub mod sample;
pub mod sound;
pub mod sound_record;

use thiserror::Error;

use crate::measure::sound::LoudRoom;
use crate::measure::{Measure, observers};
use crate::plant::network::{BuildError, NetworkError};
use crate::plant::unit::UnitError;
use crate::scenario::Scenario;
use crate::trace::Trace;
use engine::Engine;
use event::Event;
use meter::Closure;
use record::Recorder;
use sound_record::SoundRow;

/// Why a run stopped.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum RunError {
    /// The air network cannot be joined.
    #[error("the air side cannot be joined: {0}")]
    Build(#[from] BuildError),
    /// The air network has no solution at some step.
    #[error("the air side could not be solved: {0}")]
    Air(#[from] NetworkError),
    /// The unit has no solution at some step.
    #[error("the unit could not be solved: {0}")]
    Unit(#[from] UnitError),
    /// A room's balance has no solution.
    #[error("the balance of room \"{room}\" has no solution {t_s} s into the run")]
    Room {
        /// The room.
        room: String,
        /// When, s.
        t_s: f64,
    },
}

/// What a run leaves.
#[derive(Debug)]
pub struct Outcome {
    /// Rows at the recording interval.
    pub trace: Trace,
    /// Sound by room at the recording interval.
    pub sound: Vec<SoundRow>,
    /// The loudest minute of every room.
    pub loudest: Vec<LoudRoom>,
    /// Everything that happened.
    pub events: Vec<Event>,
    /// What it means.
    pub measures: Vec<Measure>,
    /// How the rooms' heat balance closed, J.
    pub heat: Closure,
    /// How the rooms' moisture balance closed, kg.
    pub moisture: Closure,
    /// Steps taken, warm-up included.
    pub steps: u64,
}

impl Outcome {
    /// A measure by key and subject.
    pub fn measure(&self, key: &str, subject: &str) -> Option<&Measure> {
        self.measures
            .iter()
            .find(|m| m.key == key && m.subject == subject)
    }
}

/// Runs a scenario from its warm-up to its end. `progress` hears the share done now and then.
///
/// # Errors
/// [`RunError`], naming the element, unit or room that could not be solved.
pub fn simulate(scenario: &Scenario, mut progress: impl FnMut(f64)) -> Result<Outcome, RunError> {
    let (mut engine, mut state) = Engine::new(scenario)?;
    let run = &scenario.run;
    let count = |time_s: f64| (time_s / run.step_s).round() as u64;
    let (warm_up, steps) = (count(run.warm_up_s), count(run.duration_s));
    let every = count(run.record_s).max(1);
    let total = warm_up + steps;
    let report = (total / 50).max(1);
    let mut events = Vec::new();
    let mut recorder = Recorder::new(scenario);
    for k in 0..warm_up {
        // Times are counted, not summed, so that a long run does not drift.
        state.t_s = -((warm_up - k) as f64) * run.step_s;
        let sample = engine.step(&mut state, &mut events)?;
        if k + 1 == warm_up {
            recorder.hear(sample, run.step_s);
            recorder.record(sample);
        }
        events.clear();
        if k % report == 0 {
            progress(k as f64 / total as f64);
        }
    }
    engine.begin(&mut state);
    let mut watchers = observers(scenario);
    let mut told = 0;
    for k in 0..steps {
        state.t_s = k as f64 * run.step_s;
        let sample = engine.step(&mut state, &mut events)?;
        while told < events.len() {
            for w in &mut watchers {
                w.event(&events[told]);
            }
            told += 1;
        }
        for w in &mut watchers {
            w.observe(sample, run.step_s);
        }
        recorder.hear(sample, run.step_s);
        if (k + 1) % every == 0 {
            recorder.record(sample);
        }
        if k % report == 0 {
            progress((warm_up + k) as f64 / total as f64);
        }
    }
    progress(1.0);
    let measures = watchers
        .iter()
        .flat_map(|w| w.measures(run.duration_s))
        .collect();
    let loudest = watchers.iter().flat_map(|w| w.loudest()).collect();
    Ok(Outcome {
        trace: recorder.trace,
        sound: recorder.sound,
        loudest,
        events,
        measures,
        heat: engine.house().heat_closure(&state.house),
        moisture: engine.house().water_closure(&state.house),
        steps: total,
    })
}
