//! What every fault looks like from outside: the healthy system beside each fault, in operation and
//! in a functional test that opens one damper at a time.

pub(crate) mod findings;
pub(crate) mod functional_test;
pub(crate) mod look_alikes;
pub(crate) mod symptoms;

use rayon::prelude::*;
use std::sync::atomic::{AtomicUsize, Ordering};

use crate::engine::RunError;
use crate::fault::{Kind, Scheduled, standard_set};
use crate::quantity::UnitSystem;
use crate::run::{Outcome, simulate};
use crate::scenario::Scenario;
use functional_test::FunctionalTest;
use look_alikes::LookAlikes;
use symptoms::Symptom;

/// One fault with what it does.
#[derive(Debug)]
pub(crate) struct FaultCase {
    /// The fault.
    pub fault: Scheduled,
    /// The fault in a few words.
    pub words: String,
    /// Zone in which it shows most, by index.
    pub zone: usize,
    /// The run with this fault.
    pub outcome: Outcome,
    /// The functional test with this fault.
    pub test: FunctionalTest,
    /// Every reading beside the healthy one.
    pub symptoms: Vec<Symptom>,
}

impl FaultCase {
    /// A symptom by key and subject.
    pub(crate) fn symptom(&self, key: &str, subject: &str) -> Option<&Symptom> {
        self.symptoms
            .iter()
            .find(|s| s.key == key && s.subject == subject)
    }
}

/// The healthy system and every fault.
#[derive(Debug)]
pub(crate) struct FaultStudy {
    /// The healthy run.
    pub healthy: Outcome,
    /// The functional test of the healthy system.
    pub test: FunctionalTest,
    /// The faults, each alone.
    pub cases: Vec<FaultCase>,
    /// Faults that look alike in operation, with the test that distinguishes them.
    pub look_alikes: Vec<LookAlikes>,
    /// Whether the faults are those of the file; the standard fault set otherwise.
    pub from_file: bool,
}

/// Runs the healthy system and each fault alone, in parallel; the order and the figures do not
/// depend on the number of threads. The faults are those of the file, or the standard fault set
/// when it has none; `only` keeps one kind. `progress` hears the share done.
///
/// # Errors
/// [`RunError`] of the first run that cannot be solved.
pub(crate) fn study(
    scenario: &Scenario,
    only: Option<Kind>,
    progress: impl Fn(f64) + Sync,
) -> Result<FaultStudy, RunError> {
    let from_file = !scenario.faults.is_empty();
    let mut faults = if from_file {
        scenario.faults.clone()
    } else {
        standard_set(&scenario.parts())
    };
    faults.retain(|f| only.is_none_or(|kind| f.fault.kind() == kind));
    let with = |faults: Vec<Scheduled>| Scenario {
        faults,
        ..scenario.clone()
    };
    let mut shut = with(Vec::new());
    shut.doors.iter_mut().for_each(|d| d.open.clear());
    let prepared = functional_test::prepare(&shut)?;
    let done = AtomicUsize::new(0);
    let all = faults.len() + 1;
    let tick = || progress((done.fetch_add(1, Ordering::Relaxed) + 1) as f64 / all as f64);
    let mut runs: Vec<Result<(Outcome, FunctionalTest), RunError>> = (0..all)
        .into_par_iter()
        .map(|i| {
            let alone: Vec<Scheduled> = i
                .checked_sub(1)
                .map(|i| faults[i].clone())
                .into_iter()
                .collect();
            let test = prepared.run(&alone)?;
            let outcome = simulate(&with(alone), |_| ())?;
            tick();
            Ok((outcome, test))
        })
        .collect();
    let (healthy, healthy_test) = runs.remove(0)?;
    let parts = scenario.parts();
    let mut cases = Vec::new();
    for (fault, run) in faults.into_iter().zip(runs) {
        let (outcome, test) = run?;
        let symptoms = symptoms::symptoms(scenario, &fault, &healthy, &outcome);
        cases.push(FaultCase {
            words: fault.fault.words(&parts, UnitSystem::Si),
            zone: symptoms::zone_of(scenario, &fault, &symptoms),
            fault,
            outcome,
            test,
            symptoms,
        });
    }
    let look_alikes = look_alikes::look_alikes(scenario, &healthy_test, &cases);
    Ok(FaultStudy {
        healthy,
        test: healthy_test,
        cases,
        look_alikes,
        from_file,
    })
}
