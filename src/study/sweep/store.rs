//! The journal of a sweep: one line a case with a checksum, only ever appended to, so that a run
//! that dies at any moment loses no finished case.

use std::fs::{File, TryLockError};
use std::io::{Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::SweepError;
use super::plan::Plan;

/// File name of the journal.
pub(crate) const JOURNAL: &str = "cases.journal";
/// File name of the plan.
pub(crate) const PLAN: &str = "plan.json";
/// Time after which finished cases are on the disk for sure.
const SYNC: Duration = Duration::from_secs(1);

/// A finished case.
#[derive(Clone, Debug, PartialEq)]
pub struct Case {
    /// Its number, from 0.
    pub index: usize,
    /// Why it could not be run.
    pub fault: Option<String>,
    /// What was drawn, one number for each input.
    pub draws: Vec<f64>,
    /// Its measures, in the order of the plan; NaN where one has no value.
    pub values: Vec<f64>,
    /// Whether each meets its limit.
    pub passes: Vec<Option<bool>>,
    /// Room temperatures, °C: for each room of the plan, for each instant.
    pub rooms_c: Vec<f64>,
}

impl Case {
    /// The case as a line of the journal, its end included.
    pub fn line(&self) -> String {
        let numbers = |list: &[f64]| {
            let each: Vec<String> = list.iter().map(f64::to_string).collect();
            each.join(" ")
        };
        let passes = self.passes.iter().map(|p| match p {
            Some(true) => '+',
            Some(false) => '-',
            None => '.',
        });
        let fault = self.fault.as_deref().unwrap_or("");
        let fault: String = fault
            .chars()
            .map(|c| if c.is_control() { ' ' } else { c })
            .collect();
        let body = format!(
            "{}\t{fault}\t{}\t{}\t{}\t{}",
            self.index,
            numbers(&self.draws),
            numbers(&self.values),
            passes.collect::<String>(),
            numbers(&self.rooms_c),
        );
        format!("{body}\t{}\n", checksum(&body))
    }

    /// Reads a line without its end; `None` when it is torn, damaged or of another plan.
    pub fn read(line: &str, plan: &Plan) -> Option<Case> {
        let (body, sum) = line.rsplit_once('\t')?;
        if checksum(body) != sum {
            return None;
        }
        let mut fields = body.split('\t');
        let numbers = |text: &str| {
            text.split_ascii_whitespace()
                .map(|n| n.parse().ok())
                .collect::<Option<Vec<f64>>>()
        };
        let index = fields.next()?.parse().ok()?;
        let fault = fields.next()?.to_string();
        let case = Case {
            index,
            fault: (!fault.is_empty()).then_some(fault),
            draws: numbers(fields.next()?)?,
            values: numbers(fields.next()?)?,
            passes: fields
                .next()?
                .chars()
                .map(|c| match c {
                    '+' => Some(Some(true)),
                    '-' => Some(Some(false)),
                    '.' => Some(None),
                    _ => None,
                })
                .collect::<Option<_>>()?,
            rooms_c: numbers(fields.next()?)?,
        };
        let measures = plan.measures.len();
        let fits = case.index < plan.cases()
            && case.draws.len() == plan.inputs.len()
            && case.values.len() == measures
            && case.passes.len() == measures
            && case.rooms_c.len() == plan.rooms.len() * plan.instants_s.len();
        fits.then_some(case)
    }
}

fn checksum(body: &str) -> String {
    let digest = Sha256::digest(body.as_bytes());
    digest.iter().take(8).map(|b| format!("{b:02x}")).collect()
}

/// A part of a sweep: the cases whose number leaves `number − 1` when divided by `of`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Shard {
    /// Which, from 1.
    pub number: usize,
    /// Of how many.
    pub of: usize,
}

impl Shard {
    /// All cases.
    pub const WHOLE: Shard = Shard { number: 1, of: 1 };

    /// Reads `k/n`.
    ///
    /// # Errors
    /// Anything but two whole numbers with 1 ≤ k ≤ n.
    pub fn parse(text: &str) -> Result<Shard, SweepError> {
        let read = || {
            let (number, of) = text.split_once('/')?;
            let (number, of) = (number.trim().parse().ok()?, of.trim().parse().ok()?);
            (1..=of).contains(&number).then_some(Shard { number, of })
        };
        read().ok_or_else(|| SweepError::Argument {
            what: format!("--shard \"{text}\" is no part of a whole"),
            advice: "write --shard 2/8 for the second of eight parts, counted from 1".into(),
        })
    }

    /// Whether a case belongs to it.
    pub fn has(self, case: usize) -> bool {
        case % self.of == self.number - 1
    }

    /// Name of its results folder.
    pub fn folder(self, plan: &Plan) -> String {
        let name = format!("sweep-{}", plan.scenario);
        match self {
            Shard::WHOLE => name,
            Shard { number, of } => format!("{name}-part-{number}-of-{of}"),
        }
    }
}

/// The content of `plan.json`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct PlanFile {
    /// Which part of the plan is in the folder.
    pub shard: Shard,
    /// Digest of the plan.
    pub plan_sha256: String,
    /// The plan.
    pub plan: Plan,
}

impl PlanFile {
    /// The file for a part of a plan.
    pub(crate) fn new(plan: &Plan, shard: Shard) -> PlanFile {
        PlanFile {
            shard,
            plan_sha256: plan.digest(),
            plan: plan.clone(),
        }
    }

    /// Its text.
    pub(crate) fn text(&self) -> Vec<u8> {
        let mut bytes = serde_json::to_vec_pretty(self).unwrap_or_default();
        bytes.push(b'\n');
        bytes
    }

    /// Reads that of a folder; `None` when the folder has none.
    ///
    /// # Errors
    /// A file that cannot be read or is no plan.
    pub(crate) fn of_folder(folder: &Path) -> Result<Option<PlanFile>, SweepError> {
        let path = folder.join(PLAN);
        let text = match std::fs::read(&path) {
            Ok(text) => text,
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Ok(None),
            Err(e) => return Err(SweepError::io(&path, e)),
        };
        let read: Result<PlanFile, _> = serde_json::from_slice(&text);
        read.map(Some).map_err(|e| SweepError::Folder {
            path,
            what: format!("is no plan of a sweep ({e})"),
            advice: "name the folder of a sweep made by this version, or begin it again".into(),
        })
    }
}

/// What was found in a journal.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Found {
    /// Finished cases in ascending order, each once.
    pub cases: Vec<Case>,
    /// Lines that were torn or damaged; their cases are to be run again.
    pub damaged: usize,
}

/// Reads the finished cases of a folder.
///
/// # Errors
/// A journal that cannot be read.
pub(crate) fn read(folder: &Path, plan: &Plan) -> Result<Found, SweepError> {
    let path = folder.join(JOURNAL);
    let bytes = std::fs::read(&path).map_err(|e| SweepError::io(&path, e))?;
    Ok(scan(&bytes, plan))
}

fn scan(bytes: &[u8], plan: &Plan) -> Found {
    let mut found = Found::default();
    let mut lines: Vec<&[u8]> = bytes.split(|b| *b == b'\n').collect();
    // Behind the last line's end there is nothing, or a torn line.
    let torn = lines.pop().is_some_and(|rest| !rest.is_empty());
    found.damaged = usize::from(torn);
    for line in lines {
        match std::str::from_utf8(line)
            .ok()
            .and_then(|l| Case::read(l, plan))
        {
            Some(case) => found.cases.push(case),
            None => found.damaged += 1,
        }
    }
    found.cases.sort_by_key(|c| c.index);
    found.cases.dedup_by_key(|c| c.index);
    found
}

/// A journal that cases are written to. One process at a time has it.
#[derive(Debug)]
pub struct Journal {
    file: File,
    path: PathBuf,
    synced: Instant,
}

impl Journal {
    /// Opens the journal of a folder to go on. A torn last line is cut off.
    ///
    /// # Errors
    /// A journal that cannot be opened or is held by another process.
    pub fn open(folder: &Path, plan: &Plan) -> Result<(Journal, Found), SweepError> {
        let path = folder.join(JOURNAL);
        let fail = |e| SweepError::io(&path, e);
        let mut file = File::options()
            .read(true)
            .write(true)
            .open(&path)
            .map_err(fail)?;
        match file.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                return Err(SweepError::Folder {
                    path: folder.to_owned(),
                    what: "is being written by another sweep".into(),
                    advice: "wait for it, or give --out another folder".into(),
                });
            }
            // Some file systems know no locks; then nobody is kept out.
            Err(TryLockError::Error(_)) => {}
        }
        let mut bytes = Vec::new();
        file.read_to_end(&mut bytes).map_err(fail)?;
        let whole = bytes.iter().rposition(|b| *b == b'\n').map_or(0, |i| i + 1);
        file.set_len(whole as u64).map_err(fail)?;
        file.seek(SeekFrom::End(0)).map_err(fail)?;
        let found = scan(&bytes, plan);
        let journal = Journal {
            file,
            path,
            synced: Instant::now(),
        };
        Ok((journal, found))
    }

    /// Adds a case, given as its [`Case::line`], so that threads that share a journal make their lines
    /// before they wait for it.
    ///
    /// # Errors
    /// The disk refuses.
    pub fn append(&mut self, line: &str) -> Result<(), SweepError> {
        let fail = |e| SweepError::io(&self.path, e);
        self.file.write_all(line.as_bytes()).map_err(fail)?;
        if self.synced.elapsed() >= SYNC {
            self.file.sync_data().map_err(fail)?;
            self.synced = Instant::now();
        }
        Ok(())
    }
}
