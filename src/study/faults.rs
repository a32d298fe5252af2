//! What every fault looks like from outside: the healthy system beside each fault, in operation and
//! in a drill that opens one damper at a time.

pub mod drill;
pub mod separate;
pub mod suspects;
pub mod telltales;

use rayon::prelude::*;
use std::sync::atomic::{AtomicUsize, Ordering};

use crate::engine::RunError;
use crate::fault::Scheduled;
use crate::run::{Outcome, simulate};
use crate::scenario::Scenario;
use drill::Drill;
use separate::Alike;
use telltales::Telltale;

/// One fault with what it does.
#[derive(Debug)]
pub struct Case {
    /// The fault.
    pub fault: Scheduled,
    /// The fault in a few words.
    pub words: String,
    /// Zone in which it shows most, by index.
    pub zone: usize,
    /// The run with this fault.
    pub outcome: Outcome,
    /// The drill with this fault.
    pub drill: Drill,
    /// Every reading beside the healthy one.
    pub telltales: Vec<Telltale>,
}

impl Case {
    /// A telltale by key and subject.
    pub fn telltale(&self, key: &str, subject: &str) -> Option<&Telltale> {
        self.telltales
            .iter()
            .find(|t| t.key == key && t.subject == subject)
    }
}

/// The healthy system and every fault.
#[derive(Debug)]
pub struct FaultStudy {
    /// The healthy run.
    pub healthy: Outcome,
    /// The healthy drill.
    pub drill: Drill,
    /// The faults, each alone.
    pub cases: Vec<Case>,
    /// Faults that look alike in operation, with what tells them apart.
    pub alike: Vec<Alike>,
    /// Whether the faults are those of the file; generated ones otherwise.
    pub from_file: bool,
}

/// Runs the healthy system and each fault alone, in parallel; the order and the figures do not
/// depend on the number of threads. The faults are those of the file, or one or more of every kind
/// when it has none; `only` keeps one kind. `progress` hears the share done.
///
/// # Errors
/// [`RunError`] of the first run that cannot be solved.
pub fn study(
    scenario: &Scenario,
    only: Option<&str>,
    progress: impl Fn(f64) + Sync,
) -> Result<FaultStudy, RunError> {
    let from_file = !scenario.faults.is_empty();
    let mut faults = if from_file {
        scenario.faults.clone()
    } else {
        suspects::suspects(scenario)
    };
    faults.retain(|f| only.is_none_or(|kind| f.fault.kind() == kind));
    let with = |faults: Vec<Scheduled>| Scenario {
        faults,
        ..scenario.clone()
    };
    let mut shut = with(Vec::new());
    shut.doors.iter_mut().for_each(|d| d.open.clear());
    let ready = drill::ready(&shut)?;
    let done = AtomicUsize::new(0);
    let all = faults.len() + 1;
    let tick = || progress((done.fetch_add(1, Ordering::Relaxed) + 1) as f64 / all as f64);
    let mut runs: Vec<Result<(Outcome, Drill), RunError>> = (0..all)
        .into_par_iter()
        .map(|i| {
            let alone: Vec<Scheduled> = i
                .checked_sub(1)
                .map(|i| faults[i].clone())
                .into_iter()
                .collect();
            let drill = ready.run(&alone)?;
            let outcome = simulate(&with(alone), |_| ())?;
            tick();
            Ok((outcome, drill))
        })
        .collect();
    let (healthy, sound_drill) = runs.remove(0)?;
    let mut cases = Vec::new();
    for (fault, run) in faults.into_iter().zip(runs) {
        let (outcome, drill) = run?;
        let telltales = telltales::telltales(scenario, &fault, &healthy, &outcome);
        cases.push(Case {
            words: fault.fault.words(scenario),
            zone: telltales::zone_of(scenario, &fault, &telltales),
            fault,
            outcome,
            drill,
            telltales,
        });
    }
    let alike = separate::alike(scenario, &sound_drill, &cases);
    Ok(FaultStudy {
        healthy,
        drill: sound_drill,
        cases,
        alike,
        from_file,
    })
}
