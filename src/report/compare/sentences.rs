//! A comparison in sentences: the result first, then what differs and what it costs.

use crate::quantity::{Dimension, UnitSystem};
use crate::report::verdict::locked_out;
use crate::report::words::{count, listed};
use crate::study::compare::{Change, Comparison, Judgement, Row};

/// Most effects in a sentence.
const MOST_EFFECTS: usize = 3;
/// Most differing keys in a sentence.
const MOST_KEYS: usize = 4;

/// Which files locked out, if any; then a few sentences for each file after the first: what it does, what
/// it changes, what it costs.
pub(crate) fn sentences(c: &Comparison, units: UnitSystem) -> Vec<String> {
    let mut out: Vec<String> = lock_outs(c).into_iter().collect();
    for i in 1..c.cases.len() {
        out.extend(effects(c, i, units));
        out.push(changes(c, i));
        out.extend(energy(c, i, units));
    }
    out
}

/// A lock-out changes the meaning of every difference, so it comes first.
fn lock_outs(c: &Comparison) -> Option<String> {
    let runs = c.cases.iter().zip(&c.outcomes);
    let locked: Vec<String> = runs
        .filter_map(|(case, outcome)| {
            let locked = locked_out(&case.scenario, &outcome.measures)?;
            Some(format!("{} was {locked}", case.scenario.name))
        })
        .collect();
    let but = "A locked-out unit is off, so its energy, starts and trips are low";
    (!locked.is_empty()).then(|| format!("{}. {but}.", listed(&locked)))
}

fn name(c: &Comparison, i: usize) -> &str {
    &c.cases[i].scenario.name
}

fn changes(c: &Comparison, i: usize) -> String {
    let changed: Vec<&Change> = c
        .changes
        .iter()
        .filter(|c| c.values[0] != c.values[i])
        .collect();
    let (a, b) = (name(c, 0), name(c, i));
    if changed.is_empty() {
        return format!("{b} has the same keys as {a}.");
    }
    let mut each: Vec<String> = changed
        .iter()
        .take(MOST_KEYS)
        .map(|c| match (&c.values[0], &c.values[i]) {
            (Some(_), None) => format!("no {}", c.key),
            (None, Some(v)) if v == "there" => format!("also {}", c.key),
            (None, Some(v)) => format!("also {} = {}", c.key, short(v)),
            (Some(a), Some(b)) => format!("{} = {} instead of {}", c.key, short(b), short(a)),
            (None, None) => String::new(),
        })
        .collect();
    if changed.len() > MOST_KEYS {
        each.push(count(changed.len() - MOST_KEYS, "more changed key"));
    }
    format!("Changes against {a}: {}.", each.join("; "))
}

fn effects(c: &Comparison, i: usize, units: UnitSystem) -> Vec<String> {
    let crossed = |to: bool| -> Vec<&Row> {
        let rows = c.rows.iter();
        rows.filter(|r| r.passes(0) == Some(!to) && r.passes(i) == Some(to))
            .collect()
    };
    let b = name(c, i);
    let mut out = Vec::new();
    for (to, now, before) in [(false, "fails", "meets"), (true, "now meets", "fails")] {
        let rows = crossed(to);
        if rows.is_empty() {
            continue;
        }
        let limits = count(rows.len(), "limit");
        out.push(format!("{b} {now} {limits} that {} {before}:", name(c, 0)));
        out.extend(lines(&rows, i, units));
    }
    if !out.is_empty() {
        return out;
    }
    let passes = c.rows.iter().all(|r| r.passes(i) != Some(false));
    let mut moved: Vec<&Row> = c
        .rows
        .iter()
        .filter(|r| r.limit(i).is_some() && r.judgement(i) != Judgement::Same)
        .filter(|r| r.difference(i).is_some())
        .collect();
    let how_far = |r: &Row| {
        let limit = r.limit(i).map_or(1.0, |l| l.value.abs().max(1e-9));
        r.difference(i).map_or(0.0, |d| d.abs() / limit)
    };
    moved.sort_by(|x, y| how_far(y).total_cmp(&how_far(x)));
    let verdict = if passes {
        format!("{b} meets every limit")
    } else {
        format!("{b} fails the same limits as {}", name(c, 0))
    };
    if moved.is_empty() {
        return vec![format!("{verdict}. No judged measure changes.")];
    }
    out.push(format!("{verdict}. The largest changes:"));
    out.extend(lines(&moved, i, units));
    out
}

fn lines(rows: &[&Row], i: usize, units: UnitSystem) -> Vec<String> {
    let mut out: Vec<String> = rows
        .iter()
        .take(MOST_EFFECTS)
        .map(|r| {
            let dimension = r.name().dimension;
            let value = |i: usize| match (r.value(i), r.limit(i)) {
                (Some(v), Some(limit)) => limit.show_value(v, dimension, units),
                (v, _) => units.show(v.unwrap_or(f64::NAN), dimension),
            };
            let place = match r.name().subject.as_str() {
                "house" => String::new(),
                subject => format!(" ({subject})"),
            };
            let limit = r.limit(i).map_or(String::new(), |l| {
                format!("; {} {}", l.side.words(), units.show(l.value, dimension))
            });
            let title = r.name().title;
            format!("  - {title}{place}: {} to {}{limit}", value(0), value(i))
        })
        .collect();
    if rows.len() > MOST_EFFECTS {
        out.push(format!("  - and {} more", rows.len() - MOST_EFFECTS));
    }
    out
}

fn energy(c: &Comparison, i: usize, units: UnitSystem) -> Option<String> {
    let row = c.rows.iter().find(|r| r.name().key == "energy_electric")?;
    let (a, b) = (row.value(0)?, row.value(i)?);
    if c.cases[0].scenario.run.duration_s != c.cases[i].scenario.run.duration_s {
        return Some("The runs differ in length, so their energies do not compare.".into());
    }
    let shown = |v| units.show(v, Dimension::Energy);
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

/// Long values cut.
fn short(value: &str) -> String {
    if value.chars().count() <= 40 {
        return format!("\"{value}\"");
    }
    let cut: String = value.chars().take(37).collect();
    format!("\"{cut}...\"")
}
