//! Runs a scenario: owns the state, the step, the record.
//!
//! The order of a step stands once, in [`step::Engine::step`].

pub mod by_hand;
pub mod event;
pub mod house;
pub mod meter;
pub mod record;
pub mod sample;
pub mod sound;
pub mod sound_record;
pub mod step;

use thiserror::Error;

use crate::measure::sound::LoudRoom;
use crate::measure::{Measure, observers};
use crate::plant::network::{BuildError, NetworkError};
use crate::plant::unit::UnitError;
use crate::scenario::Scenario;
use crate::trace::Trace;
use event::Event;
use meter::Closure;
use record::Recorder;
use sound_record::SoundRow;
use step::Engine;

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
    /// Rows or events could not be handed on.
    #[error("the run's tables cannot be written: {0}")]
    Tables(String),
    /// A room's balance has no solution.
    #[error("the balance of room \"{room}\" has no solution {t_s} s into the run")]
    Room {
        /// The room.
        room: String,
        /// When, s.
        t_s: f64,
    },
}

/// Takes rows and events as they come, so that a long run need not be held in memory.
pub trait Tables {
    /// Hears the columns of the rows to come.
    ///
    /// # Errors
    /// What went wrong, in words.
    fn begin(&mut self, columns: &[String]) -> Result<(), String>;
    /// Takes one row.
    ///
    /// # Errors
    /// What went wrong, in words.
    fn row(&mut self, row: &[f64]) -> Result<(), String>;
    /// Takes one event.
    ///
    /// # Errors
    /// What went wrong, in words.
    fn event(&mut self, event: &Event) -> Result<(), String>;
    /// Hears that the run is over.
    ///
    /// # Errors
    /// What went wrong, in words.
    fn end(&mut self) -> Result<(), String>;
}

/// Rows, and events, that are kept of a run whose tables are written as it goes: enough for
/// figures, a few megabytes for a house.
pub const KEPT: usize = 10_000;

/// Whether a run has so many rows that its tables should be written as it goes.
pub fn is_long(scenario: &Scenario) -> bool {
    scenario.run.duration_s / scenario.run.record_s > 2.0 * KEPT as f64
}

/// What a run leaves.
#[derive(Debug)]
pub struct Outcome {
    /// Rows at the recording interval; at a longer one where [`Outcome::handed_on`].
    pub trace: Trace,
    /// Sound by room at the recording interval.
    pub sound: Vec<SoundRow>,
    /// The loudest minute of every room.
    pub loudest: Vec<LoudRoom>,
    /// Everything that happened; the first [`KEPT`] events where [`Outcome::handed_on`].
    pub events: Vec<Event>,
    /// Whether all rows and events went to [`Tables`], and only a part is kept here.
    pub handed_on: bool,
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
pub fn simulate(scenario: &Scenario, progress: impl FnMut(f64)) -> Result<Outcome, RunError> {
    simulate_into(scenario, None, progress)
}

/// The same; with `tables`, rows and events go there as they come, and memory does not grow with
/// the length of the run.
///
/// # Errors
/// As [`simulate`], and [`RunError::Tables`].
pub fn simulate_into(
    scenario: &Scenario,
    mut tables: Option<&mut dyn Tables>,
    mut progress: impl FnMut(f64),
) -> Result<Outcome, RunError> {
    let (mut engine, mut state) = Engine::new(scenario)?;
    let run = &scenario.run;
    let count = |time_s: f64| (time_s / run.step_s).round() as u64;
    let (warm_up, steps) = (count(run.warm_up_s), count(run.duration_s));
    let every = count(run.record_s).max(1);
    let total = warm_up + steps;
    let report = (total / 50).max(1);
    let mut events = Vec::new();
    let mut recorder = Recorder::new(scenario);
    if let Some(tables) = &mut tables {
        recorder = recorder.keeping_every((steps / every).div_ceil(KEPT as u64));
        tables
            .begin(recorder.trace.columns())
            .map_err(RunError::Tables)?;
    }
    let mut kept = Vec::new();
    let mut k = 0;
    while k < warm_up {
        // Times are counted, not summed, so that a long run does not drift.
        state.t_s = -((warm_up - k) as f64) * run.step_s;
        let (sample, made) = engine.advance(&mut state, &mut events, warm_up - k)?;
        if k + made == warm_up {
            recorder.hear(sample, made as f64 * run.step_s);
            let row = recorder.record(sample);
            if let Some(tables) = &mut tables {
                tables.row(row).map_err(RunError::Tables)?;
            }
        }
        events.clear();
        if (k + made) / report != k / report {
            progress(k as f64 / total as f64);
        }
        k += made;
    }
    engine.begin(&mut state);
    let mut watchers = observers(scenario);
    let mut k = 0;
    while k < steps {
        state.t_s = k as f64 * run.step_s;
        let to_row = (every - k % every).min(steps - k);
        let (sample, made) = engine.advance(&mut state, &mut events, to_row)?;
        let lasted_s = made as f64 * run.step_s;
        for event in events.drain(..) {
            for w in &mut watchers {
                w.event(&event);
            }
            if let Some(tables) = &mut tables {
                tables.event(&event).map_err(RunError::Tables)?;
                if kept.len() >= KEPT {
                    continue;
                }
            }
            kept.push(event);
        }
        for w in &mut watchers {
            w.observe(sample, lasted_s);
        }
        recorder.hear(sample, lasted_s);
        if (k + made).is_multiple_of(every) {
            let row = recorder.record(sample);
            if let Some(tables) = &mut tables {
                tables.row(row).map_err(RunError::Tables)?;
            }
        }
        if (k + made) / report != k / report {
            progress((warm_up + k) as f64 / total as f64);
        }
        k += made;
    }
    progress(1.0);
    let handed_on = tables.is_some();
    if let Some(tables) = tables {
        tables.end().map_err(RunError::Tables)?;
    }
    let measures = watchers
        .iter()
        .flat_map(|w| w.measures(run.duration_s))
        .collect();
    let loudest = watchers.iter().flat_map(|w| w.loudest()).collect();
    Ok(Outcome {
        trace: recorder.trace,
        sound: recorder.sound,
        loudest,
        events: kept,
        handed_on,
        measures,
        heat: engine.house().heat_closure(&state.house),
        moisture: engine.house().water_closure(&state.house),
        steps: total,
    })
}
