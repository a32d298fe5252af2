//! Runs a scenario from its warm-up to its end: engine, measures and record together.
//!
//! Where steps end depends on the scenario's physics alone. Measures watch every step, and rows are taken
//! from the same steps whatever their interval: what is recorded, and how often, changes no result.

pub(crate) mod record;
pub(crate) mod sound_record;

use crate::engine::event::Event;
use crate::engine::meter::Closure;
use crate::engine::{Engine, RunError};
use crate::measure::sound::LoudRoom;
use crate::measure::{Measure, observers};
use crate::scenario::Scenario;
use crate::trace::Trace;
use record::Recorder;
use sound_record::SoundRow;

/// Takes rows and events as they come, so that a long run need not be held in memory.
pub(crate) trait Tables {
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
pub(crate) const KEPT: usize = 10_000;

/// Whether a run has so many rows that its tables should be written as it goes.
pub(crate) fn is_long(scenario: &Scenario) -> bool {
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
pub(crate) fn simulate_into(
    scenario: &Scenario,
    mut tables: Option<&mut dyn Tables>,
    mut progress: impl FnMut(f64),
) -> Result<Outcome, RunError> {
    let engine = Engine::new(scenario)?;
    let (mut state, mut scratch) = (engine.initial_state(), engine.scratch());
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
        let made = engine.advance(warm_up - k, &mut state, &mut scratch, &mut events)?;
        let sample = &state.sample;
        if k + made == warm_up {
            recorder.hear(sample, made as f64 * run.step_s);
            recorder.record(sample);
            hand_on(&mut tables, recorder.row())?;
        }
        events.clear();
        if (k + made) / report != k / report {
            progress(k as f64 / total as f64);
        }
        k += made;
    }
    engine.begin(&mut state, &scratch);
    let mut watchers = observers(scenario);
    let mut k = 0;
    while k < steps {
        state.t_s = k as f64 * run.step_s;
        let made = engine.advance(steps - k, &mut state, &mut scratch, &mut events)?;
        let sample = &state.sample;
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
        recorder.take(k, made, sample, |row| hand_on(&mut tables, row))?;
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
        heat: scratch.house().heat_closure(&state.plant.house),
        moisture: scratch.house().water_closure(&state.plant.house),
        steps: total,
    })
}

/// A row for whoever takes them as they come.
fn hand_on(tables: &mut Option<&mut dyn Tables>, row: &[f64]) -> Result<(), RunError> {
    match tables {
        Some(tables) => tables.row(row).map_err(RunError::Tables),
        None => Ok(()),
    }
}
