//! Many cases of one scenario: every combination of values of some keys, samples of what is not
//! known, or both.
//!
//! Cases are numbered variant by variant, sample by sample within each. Sample `i` draws the same
//! numbers in every variant (common random numbers), so that differences between variants are not
//! blurred by luck. What is fixed and not known about the house hangs on one seed, what differs
//! from day to day on another. Any number of threads, any order of finishing, and any number of
//! interruptions leave the same bytes.

mod adjust;
pub(crate) mod inputs;
pub(crate) mod merge;
pub(crate) mod plan;
pub(crate) mod sample;
pub(crate) mod statistics;
pub(crate) mod store;
pub(crate) mod summary;
pub(crate) mod vary;

use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, Ordering};

use rayon::prelude::*;

pub use adjust::Adjustment;
pub use inputs::Variant;
pub use plan::{Options, Plan, Study};
pub use store::{Case, Journal, Shard};

use crate::run::{Outcome, simulate};
use crate::scenario::diagnostic::Diagnostic;

/// Why a sweep cannot be run, resumed or merged.
#[derive(Debug, thiserror::Error)]
pub enum SweepError {
    /// An argument.
    #[error("{what}; {advice}")]
    Argument {
        /// What is wrong.
        what: String,
        /// What to write.
        advice: String,
    },
    /// The scenario, or a key varied or drawn.
    #[error(transparent)]
    Scenario(#[from] Diagnostic),
    /// A folder that is not what it should be.
    #[error("{}: {what}; {advice}", .path.display())]
    Folder {
        /// The folder or file.
        path: PathBuf,
        /// What is wrong.
        what: String,
        /// What to do.
        advice: String,
    },
    /// The operating system refused to read or write.
    #[error("{}: {source}; check the path and the space left", .path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// What the operating system says.
        source: std::io::Error,
    },
}

impl SweepError {
    fn io(path: &Path, source: std::io::Error) -> SweepError {
        SweepError::Io {
            path: path.to_owned(),
            source,
        }
    }
}

/// The cases of a sweep, or as many as are finished.
#[derive(Clone, Debug)]
pub struct Sweep {
    /// The plan.
    pub plan: Plan,
    /// Which part of it was asked for.
    pub shard: Shard,
    /// Finished cases in ascending order.
    pub cases: Vec<Case>,
}

impl Sweep {
    /// Numbers of the cases that are asked for and not there.
    pub fn missing(&self) -> Vec<usize> {
        let mut have = self.cases.iter().map(|c| c.index).peekable();
        (0..self.plan.cases())
            .filter(|&i| self.shard.has(i))
            .filter(|i| {
                while have.next_if(|h| h < i).is_some() {}
                have.peek() != Some(i)
            })
            .collect()
    }
}

impl Study {
    /// Runs one case. A case that the scenario or the solver refuses is a result too.
    pub fn case(&self, index: usize) -> Case {
        let (variant, sample) = self.plan.place(index);
        let draws: Vec<f64> = self.draws.iter().map(|d| d[sample]).collect();
        let mut case = Case {
            index,
            fault: None,
            values: vec![f64::NAN; self.plan.measures.len()],
            passes: vec![None; self.plan.measures.len()],
            rooms_c: vec![f64::NAN; self.plan.rooms.len() * self.plan.instants_s.len()],
            draws,
        };
        let apply = |v: &Variant| inputs::apply(v, &self.inputs, &case.draws, &self.folder);
        let drawn = match self.kept.get(variant) {
            Some(v) => apply(v),
            None => self.variant(variant).and_then(|v| apply(&v)),
        };
        let ran = drawn.map_err(|e| e.to_string()).and_then(|mut s| {
            if self.plan.samples > 0 {
                s.run.seed = sample::run_seed(self.plan.day_seed, sample);
            }
            simulate(&s, |_| ()).map_err(|e| e.to_string())
        });
        match ran {
            Ok(outcome) => self.keep(&mut case, &outcome),
            Err(why) => case.fault = Some(why),
        }
        case
    }

    fn keep(&self, case: &mut Case, outcome: &Outcome) {
        for (i, p) in self.plan.measures.iter().enumerate() {
            if let Some(m) = outcome.measure(&p.key, &p.subject) {
                case.values[i] = m.value;
                case.passes[i] = m.passes();
            }
        }
        let (Some(times), n) = (outcome.trace.column("time_s"), self.plan.instants_s.len()) else {
            return;
        };
        for (r, room) in self.plan.rooms.iter().enumerate() {
            let Some(column) = outcome.trace.column(&format!("room.{room}.air_C")) else {
                continue;
            };
            for (k, at) in self.plan.instants_s.iter().enumerate() {
                let row = times.partition_point(|t| *t < at - 1e-3);
                if times.get(row).is_some_and(|t| (t - at).abs() < 1e-3) {
                    // Millikelvins are more than anybody will read; they keep the journal short.
                    case.rooms_c[r * n + k] = (column[row] * 1000.0).round() / 1000.0;
                }
            }
        }
    }

    /// Runs, on all cores, the cases of a part that are not in `done`, each into the journal as it
    /// ends. When `stop` is set no further case is begun. `on_end` is called for every case that ended.
    ///
    /// # Errors
    /// The journal cannot be written.
    pub fn run(
        &self,
        shard: Shard,
        done: Vec<Case>,
        journal: Journal,
        stop: &AtomicBool,
        on_end: &(dyn Fn() + Sync),
    ) -> Result<Sweep, SweepError> {
        let mut sweep = Sweep {
            plan: self.plan.clone(),
            shard,
            cases: done.into_iter().filter(|c| shard.has(c.index)).collect(),
        };
        let todo = sweep.missing();
        let journal = Mutex::new(journal);
        let refused = AtomicBool::new(false);
        let ended: Vec<Option<Result<Case, SweepError>>> = todo
            .into_par_iter()
            .with_max_len(1)
            .map(|index| {
                if stop.load(Ordering::Relaxed) || refused.load(Ordering::Relaxed) {
                    return None;
                }
                let case = self.case(index);
                let line = case.line();
                // Another thread's panic leaves no half line: each is one write.
                let mut journal = journal.lock().unwrap_or_else(|e| e.into_inner());
                let kept = journal.append(&line).map(|()| case);
                refused.fetch_or(kept.is_err(), Ordering::Relaxed);
                on_end();
                Some(kept)
            })
            .collect();
        for case in ended.into_iter().flatten() {
            sweep.cases.push(case?);
        }
        sweep.cases.sort_by_key(|c| c.index);
        Ok(sweep)
    }
}

/// Opens the results folder of a part to go on with what is there; `None` when it is to be made anew.
///
/// # Errors
/// With `resume`, a plan or an input that differs from that of the folder. Without, a folder whose
/// sweep is not finished, unless `restart` throws it away.
pub(crate) fn open(
    folder: &Path,
    plan: &Plan,
    shard: Shard,
    resume: bool,
    restart: bool,
) -> Result<Option<(Journal, store::Found)>, SweepError> {
    let there = match store::PlanFile::of_folder(folder) {
        // A folder that cannot be understood may be thrown away, not gone on with.
        Err(_) if restart && !resume => return Ok(None),
        there => there?,
    };
    let Some(there) = there else {
        return Ok(None);
    };
    if !resume {
        let sweep = Sweep {
            cases: store::read(folder, &there.plan)?.cases,
            plan: there.plan,
            shard: there.shard,
        };
        let missing = sweep.missing().len();
        if restart || missing == 0 || sweep.cases.is_empty() {
            // Opening says whether a running sweep has it, before anything is replaced.
            drop(Journal::open(folder, plan)?);
            return Ok(None);
        }
        return Err(SweepError::Folder {
            path: folder.to_owned(),
            what: format!(
                "has an unfinished sweep ({} cases done, {missing} to do)",
                sweep.cases.len()
            ),
            advice: "add --resume to go on, or --restart to delete it".into(),
        });
    }
    let mut differences = there.plan.differences(plan);
    if there.shard != shard {
        let (a, b) = (there.shard, shard);
        differences.push(format!(
            "--shard was {}/{} and is {}/{}",
            a.number, a.of, b.number, b.of
        ));
    }
    if !differences.is_empty() {
        return Err(SweepError::Folder {
            path: folder.to_owned(),
            what: format!("has another sweep: {}", differences.join("; ")),
            advice: "put back what changed, or add --restart in place of --resume to begin again"
                .into(),
        });
    }
    Journal::open(folder, plan).map(Some)
}
