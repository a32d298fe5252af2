//! Files side by side: what differs between them, and what it does.

use std::sync::Mutex;

use rayon::prelude::*;

use super::StudyError;
use super::case::{Case, has, shown};
use crate::measure::{Limit, Measure, Side};
use crate::quantity::{Dimension, UnitSystem};
use crate::report::verdict::show;
use crate::run::{Outcome, simulate};

/// Keys that say nothing about the plant.
const TALK: [&str; 2] = ["title", "about"];
/// Differences smaller than this share of the larger value are no difference.
const SAME_SHARE: f64 = 0.005;
/// So are differences smaller than this share of the limit.
const SAME_OF_LIMIT: f64 = 0.02;
/// Most differing keys told in a sentence.
const TOLD_KEYS: usize = 4;
/// Most effects told in a sentence.
const TOLD_EFFECTS: usize = 3;

/// Measures without a limit of which less is better.
const LESS_IS_BETTER: [&str; 10] = [
    "energy_electric",
    "energy_fan",
    "energy_fan_share",
    "starts",
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
        broken || (judged && moved) || SHOWN.contains(&self.key)
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

impl Comparison {
    /// Two or three sentences for each file after the first: what it changes, and what that does.
    pub fn sentences(&self, units: UnitSystem) -> Vec<String> {
        (1..self.cases.len())
            .flat_map(|i| {
                let energy = self.energy(i, units);
                [
                    Some(self.what_changed(i)),
                    Some(self.what_it_did(i, units)),
                    energy,
                ]
            })
            .flatten()
            .collect()
    }

    fn name(&self, i: usize) -> &str {
        &self.cases[i].scenario.name
    }

    fn what_changed(&self, i: usize) -> String {
        let changed: Vec<&Change> = self
            .changes
            .iter()
            .filter(|c| c.values[0] != c.values[i])
            .collect();
        let (a, b) = (self.name(0), self.name(i));
        if changed.is_empty() {
            return format!("{b} says the same as {a}.");
        }
        let mut told: Vec<String> = changed
            .iter()
            .take(TOLD_KEYS)
            .map(|c| match (&c.values[0], &c.values[i]) {
                (Some(_), None) => format!("has no {}", c.key),
                (None, Some(v)) if v == "there" => format!("adds {}", c.key),
                (None, Some(v)) => format!("adds {} = {}", c.key, short(v)),
                (Some(a), Some(b)) => {
                    format!("has {} = {} in place of {}", c.key, short(b), short(a))
                }
                (None, None) => String::new(),
            })
            .collect();
        if changed.len() > TOLD_KEYS {
            told.push(format!(
                "differs in {} more keys",
                changed.len() - TOLD_KEYS
            ));
        }
        format!("Against {a}, {b} {}.", listed(&told))
    }

    fn what_it_did(&self, i: usize, units: UnitSystem) -> String {
        let crossed = |to: bool| -> Vec<&Row> {
            let rows = self.rows.iter();
            rows.filter(|r| r.holds[0] == Some(!to) && r.holds[i] == Some(to))
                .collect()
        };
        let (mended, broken) = (crossed(true), crossed(false));
        let mut parts = Vec::new();
        if !broken.is_empty() {
            parts.push(format!(
                "breaks {}: {}",
                limits(broken.len(), "that held"),
                self.effects(&broken, i, units)
            ));
        }
        if !mended.is_empty() {
            parts.push(format!(
                "mends {}: {}",
                limits(mended.len(), "that did not hold"),
                self.effects(&mended, i, units)
            ));
        }
        let b = self.name(i);
        if !parts.is_empty() {
            return format!("It {}.", parts.join(". It "));
        }
        let kept = self.rows.iter().all(|r| r.holds[i] != Some(false));
        let mut moved: Vec<&Row> = self
            .rows
            .iter()
            .filter(|r| r.limits[i].is_some() && r.judgement(i) != Judgement::Same)
            .filter(|r| r.difference(i).is_some())
            .collect();
        let how_far = |r: &Row| {
            let limit = r.limits[i]
                .as_ref()
                .map_or(1.0, |l| l.value.abs().max(1e-9));
            r.difference(i).map_or(0.0, |d| d.abs() / limit)
        };
        moved.sort_by(|x, y| how_far(y).total_cmp(&how_far(x)));
        let verdict = if kept {
            format!("{b} keeps every limit")
        } else {
            format!("{b} breaks the same limits")
        };
        if moved.is_empty() {
            return format!("{verdict}, and no judged measure moves.");
        }
        format!(
            "{verdict}; what moves most is {}.",
            self.effects(&moved, i, units)
        )
    }

    fn effects(&self, rows: &[&Row], i: usize, units: UnitSystem) -> String {
        let mut told: Vec<String> = rows
            .iter()
            .take(TOLD_EFFECTS)
            .map(|r| {
                let value = |i| {
                    r.value(i)
                        .map_or("none".into(), |v| show(v, r.dimension, units))
                };
                let place = if r.subject == "house" {
                    String::new()
                } else {
                    format!(" ({})", r.subject)
                };
                let limit = r.limits[i].as_ref().map_or(String::new(), |l| {
                    let side = if l.side == Side::AtMost {
                        "at most"
                    } else {
                        "at least"
                    };
                    format!(" ({side} {})", show(l.value, r.dimension, units))
                });
                format!(
                    "{}{place} from {} to {}{limit}",
                    r.title,
                    value(0),
                    value(i)
                )
            })
            .collect();
        if rows.len() > TOLD_EFFECTS {
            told.push(format!("{} more", rows.len() - TOLD_EFFECTS));
        }
        listed(&told)
    }

    fn energy(&self, i: usize, units: UnitSystem) -> Option<String> {
        let row = self.rows.iter().find(|r| r.key == "energy_electric")?;
        let (a, b) = (row.value(0)?, row.value(i)?);
        if self.cases[0].scenario.run.duration_s != self.cases[i].scenario.run.duration_s {
            return Some("The runs are not equally long, so their energies do not compare.".into());
        }
        let shown = |v| show(v, Dimension::Energy, units);
        Some(match row.judgement(i) {
            Judgement::Same => format!("Electricity stays at {}.", shown(b)),
            _ => format!(
                "Electricity goes from {} to {} ({:+.0} %).",
                shown(a),
                shown(b),
                100.0 * (b - a) / a
            ),
        })
    }
}

fn limits(count: usize, which: &str) -> String {
    match count {
        1 => format!("1 limit {which}"),
        n => format!("{n} limits {which}"),
    }
}

/// Long values cut.
fn short(value: &str) -> String {
    if value.chars().count() <= 40 {
        return format!("\"{value}\"");
    }
    let cut: String = value.chars().take(37).collect();
    format!("\"{cut}...\"")
}

/// "a, b and c".
fn listed(items: &[String]) -> String {
    match items {
        [] => String::new(),
        [one] => one.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
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

    #[test]
    fn lists_read_as_people_write_them() {
        let items: Vec<String> = ["a", "b", "c"].map(String::from).to_vec();
        assert_eq!(listed(&items), "a, b and c");
        assert_eq!(listed(&items[..1]), "a");
    }
}
