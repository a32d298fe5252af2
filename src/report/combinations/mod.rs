//! Sets of calling zones in words, table, heat map and files.

mod figure;
mod tables;

use std::path::{Path, PathBuf};

use super::results::ResultsError;
use super::table::{Column, Table, Value};
use super::words::count;
use super::{OutputDir, UnitSystem};
use crate::measure::Side;
use crate::quantity::Dimension;
use crate::scenario::Scenario;
use crate::study::combinations::{
    ALL_SETS_UP_TO, Combination, Combinations, StatePoint, Worst, set_name,
};
use crate::study::criteria::{CRITERIA, Criterion, Facts, Finding};

pub(crate) use figure::figure;

/// The verdict and the `most` worst sets for a terminal.
pub(crate) fn text(
    s: &Scenario,
    c: &Combinations,
    units: UnitSystem,
    width: u16,
    most: usize,
    bold: impl Fn(&str) -> String,
) -> String {
    let mut out = format!("{} ({})\n", bold(&s.title), at(c, units));
    out += &bold(&verdict(c));
    out.push('\n');
    for sentence in findings(c, units) {
        out += &sentence;
        out.push('\n');
    }
    out.push('\n');
    out += &rows(s, c, units, width, most);
    if c.list.len() > most {
        out += &format!(
            "These are the {most} worst of {}. combinations.csv has all; --rows shows more.\n",
            c.list.len()
        );
    }
    for remark in remarks(c) {
        out += &remark;
        out.push('\n');
    }
    out
}

fn at(c: &Combinations, units: UnitSystem) -> String {
    let at: Vec<String> = c
        .modes
        .iter()
        .map(|m| {
            let outdoor = units.show(m.outdoor_c, Dimension::Temperature);
            format!("{} at {outdoor} outdoors", m.mode.name())
        })
        .collect();
    at.join(", ")
}

fn verdict(c: &Combinations) -> String {
    let (all, failed) = (c.list.len(), c.failed());
    let sets = if c.modes.len() > 1 {
        "sets and modes"
    } else {
        "sets of calling zones"
    };
    if failed == 0 {
        return format!("All {all} {sets} pass at steady state.");
    }
    let scheduled = c.list.iter().filter(|k| !k.passes() && k.permitted).count();
    let scheduled = match scheduled {
        n if n == failed => String::new(),
        n => format!("; the schedule allows {n} of them"),
    };
    let fail = if failed == 1 { "fails" } else { "fail" };
    format!("{failed} of {all} {sets} {fail} at steady state{scheduled}.")
}

/// Where a finding is, in brackets.
pub(super) fn place(finding: &Finding) -> String {
    match finding.place.as_str() {
        "" => String::new(),
        place => format!(" ({place})"),
    }
}

/// What a criterion does to its limit: `exceeds 125 Pa`.
pub(super) fn misses(criterion: &Criterion, finding: &Finding, units: UnitSystem) -> String {
    let verb = match finding.limit.side {
        Side::AtMost => "exceeds",
        Side::AtLeast => "falls short of",
    };
    let limit = units.show(finding.limit.value, criterion.dimension);
    format!("{verb} {limit}")
}

/// For each criterion that fails, with which set worst.
fn findings(c: &Combinations, units: UnitSystem) -> Vec<String> {
    let worst = |i: usize| {
        let failed = c.list.iter().filter(|k| k.failed().any(|b| b == i));
        let count = failed.clone().count();
        failed
            .filter_map(|k| Some((k, k.worst[i].as_ref()?)))
            .max_by(|a, b| a.1.finding.used().total_cmp(&b.1.finding.used()))
            .map(|(k, w)| (k, &w.finding, count))
    };
    CRITERIA
        .iter()
        .enumerate()
        .filter_map(|(i, criterion)| {
            let (k, finding, sets) = worst(i)?;
            let (first, rest) = criterion.title.split_at(1);
            Some(format!(
                "{}{rest}{} {} with {} calling in {}: {}. {} {}. Cure: {}. Limit: {}.",
                first.to_uppercase(),
                place(finding),
                misses(criterion, finding, units),
                set_name(&c.zones, k.calls),
                k.mode.name(),
                finding
                    .limit
                    .show_value(finding.value, criterion.dimension, units),
                count(sets, "set"),
                if sets == 1 { "fails" } else { "fail" },
                criterion.cure,
                finding.limit.source,
            ))
        })
        .collect()
}

fn remarks(c: &Combinations) -> Vec<String> {
    let mut remarks = vec![
        "Steady state: protections off, rooms at their setpoints, filter as at the start.".to_string(),
        "Each set is judged with its dampers full, at the unit's minimum speed and at the highest that the \
         controller reaches; with only its smallest zone full; and with all at minimum opening. The worst counts."
            .to_string(),
        "\"At rated\" lists the limits that would fail at rated speed. It does not count.".to_string(),
    ];
    if c.list.iter().any(|k| !k.permitted) {
        remarks.push(
            "\"Manual\" marks sets that the schedule never lets call together. A manual override still can."
                .into(),
        );
    }
    if c.faults_left_out {
        remarks.push("Faults in the file are left out: this is the healthy system.".into());
    }
    if !c.every_set {
        remarks.push(format!(
            "More than {ALL_SETS_UP_TO} zones: judged are all sets of 1, 2, n−1 and n zones. From the 8 worst, one \
             zone more or less was tried as long as it got worse. Other sets were not judged."
        ));
    }
    remarks
}

fn rows(s: &Scenario, c: &Combinations, units: UnitSystem, width: u16, most: usize) -> String {
    let modes = c.modes.len() > 1;
    let mut columns = vec![Column::text("calling")];
    columns.extend(modes.then(|| Column::text("mode")));
    columns.extend(CRITERIA.iter().map(|k| {
        let column = Column::number(k.heading, k.dimension);
        // A number keeps its unit on its line.
        let bare = ["static", "margin"].contains(&k.heading);
        if bare { column.whole() } else { column }
    }));
    columns.extend([
        Column::number("supply air", Dimension::Temperature),
        Column::number("air per capacity", Dimension::FlowPerPower),
        Column::text("speed").right(),
        Column::text("fails at rated"),
        Column::text("fails"),
    ]);
    let mut table = Table::new(columns);
    let facts = Facts::new(s);
    for k in c.list.iter().take(most) {
        let mut cells: Vec<Value> = vec![name(k, &c.zones).into()];
        cells.extend(modes.then(|| k.mode.name().into()));
        for (w, criterion) in k.worst.iter().zip(CRITERIA) {
            cells.push(cell(w.as_ref(), criterion.dimension, units));
        }
        cells.extend([
            supply_c(&facts, k).map_or("—".into(), Value::Number),
            k.controlled()
                .map_or("—".into(), |s| s.point.coil_air_per_w().into()),
            speeds(k).into(),
            headings(k.failed_at_rated()).into(),
            headings(k.failed()).into(),
        ]);
        table.row(cells);
    }
    table.text(units, width) + "* fails its limit.\n"
}

fn name(k: &Combination, zones: &[String]) -> String {
    let manual = if k.permitted { "" } else { " (manual)" };
    format!("{}{manual}", set_name(zones, k.calls))
}

/// Headings of some criteria; "none" without any.
fn headings(failed: impl Iterator<Item = usize>) -> String {
    let failed: Vec<&str> = failed.map(|i| CRITERIA[i].heading).collect();
    match failed.is_empty() {
        true => "none".into(),
        false => failed.join(", "),
    }
}

fn cell(w: Option<&Worst>, dimension: Dimension, units: UnitSystem) -> Value {
    let Some(Worst { finding, .. }) = w else {
        return "—".into();
    };
    let value = finding.limit.show_value(finding.value, dimension, units);
    let place = match finding.place.as_str() {
        "" => String::new(),
        place => format!(" {place}"),
    };
    let star = if finding.passes() { "" } else { " *" };
    format!("{value}{place}{star}").into()
}

/// Supply air where its margin is smallest among the states that count; at the controller's speed when no
/// trip is fitted.
fn supply_c(facts: &Facts, k: &Combination) -> Option<f64> {
    let counted = k.states.iter().filter(|s| s.counts());
    counted
        .min_by(|a, b| {
            let margin = |s: &&StatePoint| facts.margin_k(&s.point, k.mode).unwrap_or(0.0);
            margin(a).total_cmp(&margin(b))
        })
        .map(|s| s.point.supply.t_c)
}

fn speeds(k: &Combination) -> String {
    let (mut minimum, mut maximum) = (f64::INFINITY, f64::NEG_INFINITY);
    for s in k.states.iter().filter(|s| s.counts()) {
        minimum = minimum.min(s.point.speed);
        maximum = maximum.max(s.point.speed);
    }
    if (maximum - minimum).abs() < 0.005 {
        format!("{:.0} %", 100.0 * maximum)
    } else {
        format!("{:.0} to {:.0} %", 100.0 * minimum, 100.0 * maximum)
    }
}

/// Folder that [`write()`] leaves: `out/combinations-<scenario>/`.
pub(crate) fn folder(out: &Path, s: &Scenario) -> PathBuf {
    out.join(format!("combinations-{}", s.name))
}

/// Writes tables and heat map into `out/combinations-<scenario>/`, whole or not at all.
///
/// # Errors
/// The folder cannot be written, or the figure not drawn.
pub(crate) fn write(
    out: &Path,
    s: &Scenario,
    c: &Combinations,
    units: UnitSystem,
    with_figures: bool,
) -> Result<PathBuf, ResultsError> {
    let mut drawn = Vec::new();
    if with_figures {
        let figure = figure(s, c, units);
        let png = figure.png()?;
        drawn.push((figure, png));
    }
    let staged = OutputDir::stage(folder(out, s))?;
    staged.write("combinations.csv", &tables::combinations(s, c).csv())?;
    staged.write("states.csv", &tables::states(s, c).csv())?;
    staged.figures(&drawn)?;
    Ok(staged.commit()?)
}
