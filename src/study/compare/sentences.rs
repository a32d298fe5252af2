//! What a comparison says in words.

use super::{Change, Comparison, Judgement, Row};
use crate::measure::Side;
use crate::quantity::{Dimension, UnitSystem};
use crate::report::verdict::{locked_out, show, show_judged};

/// Most effects told in a sentence.
const TOLD_EFFECTS: usize = 3;

/// Most differing keys told in a sentence.
const TOLD_KEYS: usize = 4;
impl Comparison {
    /// Who was locked out, if anyone; then two or three sentences for each file after the first: what it
    /// changes, and what that does.
    pub fn sentences(&self, units: UnitSystem) -> Vec<String> {
        let changes = (1..self.cases.len())
            .flat_map(|i| {
                let energy = self.energy(i, units);
                [
                    Some(self.what_changed(i)),
                    Some(self.what_it_did(i, units)),
                    energy,
                ]
            })
            .flatten();
        self.locked_out().into_iter().chain(changes).collect()
    }

    /// A lock-out changes the meaning of every difference, so it is told first.
    fn locked_out(&self) -> Option<String> {
        let runs = self.cases.iter().zip(&self.outcomes);
        let told: Vec<String> = runs
            .filter_map(|(case, outcome)| {
                let locked = locked_out(&case.scenario, &outcome.measures)?;
                Some(format!("{} was {locked}", case.scenario.name))
            })
            .collect();
        let every = told.len() == self.cases.len();
        let but = if every {
            "energy, starts, trips and temperatures are of systems that stood still meanwhile"
        } else {
            "what it saves in energy, starts and trips it saves by standing still"
        };
        (!told.is_empty()).then(|| format!("{}: {but}.", listed(&told)))
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
                let value = |i: usize| {
                    r.value(i).map_or("none".into(), |v| match &r.limits[i] {
                        Some(l) => show_judged(v, l, r.dimension, units),
                        None => show(v, r.dimension, units),
                    })
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
    fn lists_read_as_people_write_them() {
        let items: Vec<String> = ["a", "b", "c"].map(String::from).to_vec();
        assert_eq!(listed(&items), "a, b and c");
        assert_eq!(listed(&items[..1]), "a");
    }
}
