//! Files side by side: what differs between them, and what it does.

use std::sync::Mutex;

use rayon::prelude::*;

use super::StudyError;
use super::case::{Case, has, shown};
use crate::measure::{Limit, Measure, Shown, Side};
use crate::run::{Outcome, simulate};

/// Keys that say nothing about the plant.
const PROSE: [&str; 2] = ["title", "about"];
/// Differences smaller than this share of the larger value are no difference.
const SAME_SHARE: f64 = 0.005;
/// So are differences smaller than this share of the limit.
const SAME_OF_LIMIT: f64 = 0.02;

/// A key that is not the same in all files.
#[derive(Clone, Debug, PartialEq)]
pub struct Change {
    /// The key, or the table when only some files have the whole table.
    pub key: String,
    /// What each file has; `None` when it has nothing. A whole table reads "there".
    pub values: Vec<Option<String>>,
}

/// How a value compares with that of the first file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Judgement {
    /// Better.
    Better,
    /// Worse.
    Worse,
    /// The same within half a per cent, or within two per cent of the limit.
    Same,
    /// Different, and which is better nobody can say.
    Different,
}

impl Judgement {
    /// Word for tables.
    pub fn word(self) -> &'static str {
        match self {
            Judgement::Better => "better",
            Judgement::Worse => "worse",
            Judgement::Same => "same",
            Judgement::Different => "",
        }
    }
}

/// A measure in all files.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// The measure in each file; `None` when the file has no such measure. One has it.
    pub runs: Vec<Option<Measure>>,
    name: Measure,
}

impl Row {
    /// The measure of the first file that has it: key, title, subject and dimension.
    pub fn name(&self) -> &Measure {
        &self.name
    }

    /// A value that is a number.
    pub fn value(&self, i: usize) -> Option<f64> {
        let m = self.runs.get(i)?.as_ref()?;
        m.value.is_finite().then_some(m.value)
    }

    /// The limit in a file.
    pub fn limit(&self, i: usize) -> Option<&Limit> {
        self.runs.get(i)?.as_ref()?.limit.as_ref()
    }

    /// The limit in the first file that has one.
    pub fn first_limit(&self) -> Option<&Limit> {
        (0..self.runs.len()).find_map(|i| self.limit(i))
    }

    /// Whether a file meets its limit.
    pub fn passes(&self, i: usize) -> Option<bool> {
        self.runs.get(i)?.as_ref()?.passes()
    }

    /// Value less that of the first file.
    pub fn difference(&self, i: usize) -> Option<f64> {
        Some(self.value(i)? - self.value(0)?)
    }

    /// How a file compares with the first.
    pub fn judgement(&self, i: usize) -> Judgement {
        let (Some(a), Some(b)) = (self.value(0), self.value(i)) else {
            return Judgement::Different;
        };
        let limit = self.limit(i).map_or(0.0, |l| l.value.abs());
        let same = (SAME_SHARE * a.abs().max(b.abs())).max(SAME_OF_LIMIT * limit);
        if (b - a).abs() <= same {
            return Judgement::Same;
        }
        let limit = self.first_limit().map(|l| l.side);
        match limit.or(self.name.good) {
            Some(Side::AtMost) if b < a => Judgement::Better,
            Some(Side::AtLeast) if b > a => Judgement::Better,
            Some(_) => Judgement::Worse,
            None => Judgement::Different,
        }
    }

    /// Whether a short table shows it: a limit that some file misses, a judged measure that moved, or
    /// one of the few that always count.
    pub fn is_shown(&self) -> bool {
        let files = 0..self.runs.len();
        let fails = files.clone().any(|i| self.passes(i) == Some(false));
        let judged = self.first_limit().is_some() && files.clone().any(|i| self.value(i).is_some());
        let moved = files
            .clone()
            .skip(1)
            .any(|i| self.judgement(i) != Judgement::Same);
        let any = files.clone().any(|i| self.value(i) > Some(0.0));
        fails
            || (judged && moved)
            || match self.name.shown {
                Shown::No => false,
                Shown::IfAny => any,
                Shown::Always => true,
            }
    }
}

/// Files run and set side by side.
#[derive(Debug)]
pub struct Comparison {
    /// The files.
    pub cases: Vec<Case>,
    /// Their outcomes.
    pub outcomes: Vec<Outcome>,
    /// Keys that differ.
    pub changes: Vec<Change>,
    /// Measures, in the order of the first file, then what only others have.
    pub rows: Vec<Row>,
}

/// Runs all files, side by side. `progress` hears the share done of all together.
///
/// # Errors
/// The first file, in order, that cannot be run.
pub fn compare(
    cases: Vec<Case>,
    progress: &(dyn Fn(f64) + Sync),
) -> Result<Comparison, StudyError> {
    let shares = Mutex::new(vec![0.0; cases.len()]);
    let heard = |i: usize, share: f64| {
        if let Ok(mut shares) = shares.lock() {
            shares[i] = share;
            progress(shares.iter().sum::<f64>() / shares.len() as f64);
        }
    };
    let outcomes: Vec<Result<Outcome, StudyError>> = cases
        .par_iter()
        .enumerate()
        .map(|(i, case)| {
            let s = &case.scenario;
            simulate(s, |share| heard(i, share)).map_err(StudyError::of(&s.name))
        })
        .collect();
    let outcomes: Vec<Outcome> = outcomes.into_iter().collect::<Result<_, _>>()?;
    Ok(Comparison {
        changes: changes(&cases),
        rows: rows(&outcomes),
        cases,
        outcomes,
    })
}

/// The keys in which the merged trees of some files differ, in the order of the files.
pub(crate) fn changes(cases: &[Case]) -> Vec<Change> {
    let mut keys: Vec<String> = Vec::new();
    let leaves: Vec<Vec<(String, String)>> = cases
        .iter()
        .map(|c| {
            let leaves = c.tree.leaves().into_iter();
            leaves
                .map(|(key, node)| (key, shown(&node.value)))
                .collect()
        })
        .collect();
    for (key, _) in leaves.iter().flatten() {
        if !keys.contains(key) && !PROSE.contains(&key.as_str()) {
            keys.push(key.clone());
        }
    }
    let mut out: Vec<Change> = Vec::new();
    for key in keys {
        let values: Vec<Option<String>> = leaves
            .iter()
            .map(|l| l.iter().find(|(k, _)| *k == key).map(|(_, v)| v.clone()))
            .collect();
        if values.windows(2).all(|w| w[0] == w[1]) {
            continue;
        }
        let change = match table_of(&key, cases) {
            Some(table) => Change {
                values: cases
                    .iter()
                    .map(|c| has(&c.tree, &table).then(|| "there".to_string()))
                    .collect(),
                key: table,
            },
            None => Change { key, values },
        };
        if !out.contains(&change) {
            out.push(change);
        }
    }
    out
}

/// The widest table above `key` that some file lacks altogether.
fn table_of(key: &str, cases: &[Case]) -> Option<String> {
    let ends = key.match_indices('.').map(|(at, _)| at);
    ends.map(|at| &key[..at])
        .find(|table| cases.iter().any(|c| !has(&c.tree, table)))
        .map(str::to_string)
}

fn rows(outcomes: &[Outcome]) -> Vec<Row> {
    let mut names: Vec<&Measure> = Vec::new();
    for m in outcomes.iter().flat_map(|o| &o.measures) {
        if !names
            .iter()
            .any(|n| n.key == m.key && n.subject == m.subject)
        {
            names.push(m);
        }
    }
    let row = |name: &Measure| Row {
        runs: outcomes
            .iter()
            .map(|o| o.measure(name.key, &name.subject).cloned())
            .collect(),
        name: name.clone(),
    };
    names.into_iter().map(row).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_table_that_a_file_lacks_is_one_change() {
        let cases = [
            Case::embedded("living-two-outlets").unwrap(),
            Case::embedded("living-one-outlet").unwrap(),
        ];
        let changes = changes(&cases);
        let keys: Vec<&str> = changes.iter().map(|c| c.key.as_str()).collect();
        assert_eq!(keys, ["outlet.living-south", "zone.living.channels"]);
        assert_eq!(changes[0].values, [Some("there".to_string()), None]);
        assert_eq!(changes[1].values[1].as_deref(), Some("[1]"));
    }
}
