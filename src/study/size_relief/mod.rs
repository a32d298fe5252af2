//! Which relief (bypass) damper, or what instead of one, lets every set of zones that may call pass?
//!
//! Each alternative of [`super::alternatives`] is halved down to its least sufficient strength on settled states;
//! what is found is judged on every permitted set of zones, and one full run of each says what it costs.

mod search;

use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;

use super::StudyError;
use super::alternatives;
use super::case::{Case, Edit};
use super::combinations::Options;
use super::criteria::Finding;
use crate::control::Mode;
use crate::measure::{Measure, Note};
use crate::run::{Outcome, simulate};
use search::Search;

/// What to look at.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SizingOptions {
    /// Weather and modes.
    pub combinations: Options,
    /// Room that a dumped relief opens into; `None` = the first with a return grille.
    pub dump_to: Option<String>,
    /// Leaves the full runs out.
    pub steady_state_only: bool,
}

/// A limit that some sets fail.
#[derive(Clone, Debug, PartialEq)]
pub struct Failure {
    /// Index into [`CRITERIA`](crate::study::criteria::CRITERIA).
    pub criterion: usize,
    /// How many sets (and modes) fail it.
    pub sets: usize,
    /// The worst of them.
    pub finding: Finding,
    /// The zones that call then, one bit each.
    pub calls: u64,
    /// The mode then.
    pub mode: Mode,
}

/// What a day costs.
#[derive(Clone, Debug, PartialEq)]
pub struct Day {
    /// Electricity, J.
    pub electric_j: f64,
    /// Largest share of scheduled time off setpoint, and its zone.
    pub off_setpoint: (f64, String),
    /// 95th percentile of the spread over the house, K; NaN when none.
    pub house_spread_k: f64,
    /// Protection trips.
    pub trips: f64,
    /// Time locked out, s.
    pub locked_out_s: f64,
    /// Starts of the compressor.
    pub starts: f64,
    /// Limits that the run fails.
    pub failed: usize,
    /// Those of them that are judged at steady state too: static, face velocity, sound.
    pub failed_alike: Vec<Measure>,
}

/// One line of the answer.
#[derive(Clone, Debug, PartialEq)]
pub struct Answer {
    /// Stable name, for files.
    pub key: String,
    /// Plain words.
    pub title: String,
    /// What was found, in words.
    pub found: Note,
    /// Changes to the file.
    pub edits: Vec<Edit>,
    /// Limits that it fails; empty when it passes.
    pub failures: Vec<Failure>,
    /// Largest share of a limit in use that counts (see [`Finding::used`]).
    pub used: f64,
    /// Index of the criterion with that share, and its finding: what binds.
    pub binds: Option<Failure>,
    /// A full run.
    pub day: Option<Day>,
}

impl Answer {
    /// Whether it meets every limit that counts in every permitted set.
    pub fn passes(&self) -> bool {
        self.failures.is_empty()
    }
}

/// What was found.
#[derive(Clone, Debug, PartialEq)]
pub struct Sizing {
    /// Names of the zones.
    pub zones: Vec<String>,
    /// Sets and modes judged.
    pub judged: usize,
    /// Which of [`CRITERIA`](crate::study::criteria::CRITERIA) count.
    pub counts: Vec<bool>,
    /// Whether every set meets static, velocity and sound without any relief, so that nothing has to be
    /// sized.
    pub unneeded: bool,
    /// The file as written.
    pub as_written: Answer,
    /// Everything found, best first.
    pub answers: Vec<Answer>,
}

/// Finds the least relief and the least of each alternative. `progress` hears the share done.
///
/// # Errors
/// A scenario that cannot be settled or run.
pub fn size_relief(
    case: &Case,
    options: &SizingOptions,
    progress: &(dyn Fn(f64) + Sync),
) -> Result<Sizing, StudyError> {
    let search = Search::new(case, options)?;
    let dump_to = match &options.dump_to {
        Some(room) => known_room(case, room)?,
        None => case.scenario.rooms[case.scenario.air.returns[0].room]
            .name
            .clone(),
    };
    let mut answers = Vec::new();
    for alternative in alternatives::references(case) {
        answers.push(search.judge(&alternative, 0)?);
    }
    progress(0.05);
    let bare = search.settle_every(&[Edit::Without("relief".into())])?;
    let unneeded = search.heard_or_pressed(&bare) <= 1.0;
    if !unneeded {
        answers.extend(search.diameters(alternatives::reliefs(case))?);
        progress(0.15);
        let dumped = search.diameters(alternatives::dumps(case, &dump_to))?;
        answers.extend(dumped.into_iter().take(1));
        progress(0.25);
        let helped = search.diameters(alternatives::reliefs_with_variable_speed(case))?;
        answers.extend(helped.into_iter().take(1));
    }
    for alternative in alternatives::instead(case) {
        match search.least(&alternative)? {
            // A alternative that has something to choose and need not choose anything is no relief at all.
            Some(0) if alternative.strongest > 0 => {}
            Some(strength) => answers.push(search.judge(&alternative, strength)?),
            None => {
                let mut answer = search.judge(&alternative, alternative.strongest)?;
                if alternative.strongest > 0 {
                    answer.found = Note::from("not enough even with ").then(answer.found);
                }
                answers.push(answer);
            }
        }
    }
    progress(0.4);
    if !options.steady_state_only {
        days(case, &mut answers, &|share| progress(0.4 + 0.6 * share))?;
    }
    let as_written = answers[0].clone();
    rank(&mut answers);
    Ok(Sizing {
        zones: case.scenario.zones.iter().map(|z| z.name.clone()).collect(),
        judged: search.jobs.len(),
        counts: search.counts,
        unneeded,
        as_written,
        answers,
    })
}

fn known_room(case: &Case, room: &str) -> Result<String, StudyError> {
    use crate::scenario::diagnostic::{Diagnostic, nearest};
    let names = || case.scenario.rooms.iter().map(|r| r.name.as_str());
    if names().any(|n| n == room) {
        return Ok(room.to_string());
    }
    let fault = Diagnostic::plain(format!("there is no room \"{room}\" to dump into"));
    let advice = match nearest(room, names()) {
        Some(near) => format!("did you mean \"{near}\"?"),
        None => format!("the rooms are: {}", names().collect::<Vec<_>>().join(", ")),
    };
    Err(fault.advise(advice).into())
}

/// What passes first; then what is locked out for less of its day (it trips less and costs less for
/// standing still), trips less, fails fewer limits in its day, and costs less energy.
/// What fails by how near it comes.
fn rank(answers: &mut [Answer]) {
    let day = |a: &Answer, of: fn(&Day) -> f64| a.day.as_ref().map_or(0.0, of);
    answers.sort_by(|a, b| {
        let near = if a.passes() {
            std::cmp::Ordering::Equal
        } else {
            a.used.total_cmp(&b.used)
        };
        b.passes()
            .cmp(&a.passes())
            .then(near)
            .then(day(a, |d| d.locked_out_s).total_cmp(&day(b, |d| d.locked_out_s)))
            .then(day(a, |d| d.trips).total_cmp(&day(b, |d| d.trips)))
            .then(day(a, |d| d.failed as f64).total_cmp(&day(b, |d| d.failed as f64)))
            .then(day(a, |d| d.electric_j).total_cmp(&day(b, |d| d.electric_j)))
            .then(a.key.cmp(&b.key))
    });
}

/// One full run of every answer, side by side.
fn days(
    case: &Case,
    answers: &mut [Answer],
    progress: &(dyn Fn(f64) + Sync),
) -> Result<(), StudyError> {
    let done = AtomicUsize::new(0);
    let count = answers.len();
    let runs: Vec<Result<Day, StudyError>> = answers
        .par_iter()
        .map(|answer| {
            let changed = case.with(&case.scenario.name, &answer.edits)?;
            let outcome =
                simulate(&changed.scenario, |_| {}).map_err(StudyError::of(&answer.key))?;
            progress((done.fetch_add(1, Ordering::Relaxed) + 1) as f64 / count as f64);
            Ok(day(&outcome))
        })
        .collect();
    for (answer, run) in answers.iter_mut().zip(runs) {
        answer.day = Some(run?);
    }
    Ok(())
}

/// Measures of a run that steady states are judged by too.
const JUDGED_ALIKE: [&str; 3] = ["static_worst", "face_velocity_worst", "sound_loudest"];

fn day(outcome: &Outcome) -> Day {
    let value = |key: &str| outcome.measure(key, "house").map_or(f64::NAN, |m| m.value);
    let off_setpoint = outcome
        .measures
        .iter()
        .filter(|m| m.key == "off_setpoint_share" && m.value.is_finite())
        .max_by(|a, b| a.value.total_cmp(&b.value));
    Day {
        electric_j: value("energy_electric"),
        off_setpoint: off_setpoint
            .map_or((f64::NAN, String::new()), |m| (m.value, m.subject.clone())),
        house_spread_k: value("house_spread_p95"),
        trips: value("trips"),
        locked_out_s: value("locked_out"),
        starts: value("starts"),
        failed: outcome.measures.iter().filter(|m| m.fails()).count(),
        failed_alike: outcome
            .measures
            .iter()
            .filter(|m| m.fails())
            .filter(|m| JUDGED_ALIKE.contains(&m.key))
            .cloned()
            .collect(),
    }
}
