//! Files side by side: what differs between them, and what it does.

mod sentences;

use std::sync::Mutex;

use rayon::prelude::*;

use super::StudyError;
use super::case::{Case, has, shown};
use crate::measure::{Limit, Measure, Side};
use crate::quantity::Dimension;
use crate::run::{Outcome, simulate};

/// Keys that say nothing about the plant.
const TALK: [&str; 2] = ["title", "about"];
/// Differences smaller than this share of the larger value are no difference.
const SAME_SHARE: f64 = 0.005;
/// So are differences smaller than this share of the limit.
const SAME_OF_LIMIT: f64 = 0.02;

/// Measures without a limit of which less is better.
const LESS_IS_BETTER: [&str; 12] = [
    "energy_electric",
    "energy_fan",
    "energy_fan_share",
    "starts",
    "lock_outs",
    "locked_out",
    "static_above_limit",
    "fan_stalled",
    "cycling_loss",
    "outside_band",
    "relief_share_mean",
    "zone_spread_worst",
];
/// Measures without a limit of which more is better.
const MORE_IS_BETTER: [&str; 1] = ["cop_mean"];
/// Measures without a limit that are shown all the same.
const SHOWN: [&str; 5] = [
    "energy_electric",
    "energy_fan",
    "cop_mean",
    "starts",
    "relief_share_mean",
];

/// Measures that are shown wherever they are not nought: what they tell of changes the meaning of
/// all others.
const SHOWN_IF_ANY: [&str; 2] = ["lock_outs", "locked_out"];

/// A key that is not the same in all files.
#[derive(Clone, Debug, PartialEq)]
pub struct Change {
    /// The key, or the table when a whole table stands in some files only.
    pub key: String,
    /// What each file has; `None` when it has nothing. A whole table reads "there".
    pub values: Vec<Option<String>>,
}

/// How a value stands to that of the first file.
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
    /// Stable name of the measure.
    pub key: &'static str,
    /// Plain words.
    pub title: &'static str,
    /// What it belongs to.
    pub subject: String,
    /// Kind of quantity.
    pub dimension: Dimension,
    /// Value in each file; `None` when the file has no such measure.
    pub values: Vec<Option<f64>>,
    /// Limit in each file.
    pub limits: Vec<Option<Limit>>,
    /// Whether the limit holds in each file.
    pub holds: Vec<Option<bool>>,
}

impl Row {
    /// A value that is a number.
    pub fn value(&self, i: usize) -> Option<f64> {
        self.values
            .get(i)
            .copied()
            .flatten()
            .filter(|v| v.is_finite())
    }

    /// Value less that of the first file.
    pub fn difference(&self, i: usize) -> Option<f64> {
        Some(self.value(i)? - self.value(0)?)
    }

    /// Which way is good; `None` when nobody can say.
    fn good(&self) -> Option<Side> {
        let limit = self.limits.iter().flatten().next();
        if let Some(limit) = limit {
            return Some(limit.side);
        }
        if LESS_IS_BETTER.contains(&self.key) {
            Some(Side::AtMost)
        } else if MORE_IS_BETTER.contains(&self.key) {
            Some(Side::AtLeast)
        } else {
            None
        }
    }

    /// How a file stands to the first.
    pub fn judgement(&self, i: usize) -> Judgement {
        let (Some(a), Some(b)) = (self.value(0), self.value(i)) else {
            return Judgement::Different;
        };
        let limit = self.limits[i].as_ref().map_or(0.0, |l| l.value.abs());
        let same = (SAME_SHARE * a.abs().max(b.abs())).max(SAME_OF_LIMIT * limit);
        if (b - a).abs() <= same {
            return Judgement::Same;
        }
        match self.good() {
            Some(Side::AtMost) if b < a => Judgement::Better,
            Some(Side::AtLeast) if b > a => Judgement::Better,
            Some(_) => Judgement::Worse,
            None => Judgement::Different,
        }
    }

    /// Whether a reader of the short table wants it: a limit that is broken somewhere, a judged measure
    /// that moved, or one of the few that always count.
    pub fn is_telling(&self) -> bool {
        let broken = self.holds.contains(&Some(false));
        let judged = self.values.iter().flatten().any(|v| v.is_finite())
            && self.limits.iter().any(Option::is_some);
        let moved = (1..self.values.len()).any(|i| self.judgement(i) != Judgement::Same);
        let any = self.values.iter().flatten().any(|v| *v > 0.0);
        let shown = SHOWN.contains(&self.key) || (any && SHOWN_IF_ANY.contains(&self.key));
        broken || (judged && moved) || shown
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
pub fn changes(cases: &[Case]) -> Vec<Change> {
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
        if !keys.contains(key) && !TALK.contains(&key.as_str()) {
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
    names
        .into_iter()
        .map(|m| {
            let all: Vec<Option<&Measure>> = outcomes
                .iter()
                .map(|o| o.measure(m.key, &m.subject))
                .collect();
            Row {
                key: m.key,
                title: m.title,
                subject: m.subject.clone(),
                dimension: m.dimension,
                values: all.iter().map(|m| m.map(|m| m.value)).collect(),
                limits: all
                    .iter()
                    .map(|m| m.and_then(|m| m.limit.clone()))
                    .collect(),
                holds: all.iter().map(|m| m.and_then(|m| m.holds())).collect(),
            }
        })
        .collect()
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
