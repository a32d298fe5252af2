//! What a sweep leaves: text, tables and figures, written whole or not at all.

mod figures;
mod text;

use std::path::{Path, PathBuf};

use super::results::ResultsError;
use super::table::{Table, Value};
use super::words;
use super::{Figure, OutputDir, UnitSystem, bands, tornado};
use crate::study::sweep::store::{Found, JOURNAL, PLAN, PlanFile};
use crate::study::sweep::summary::{Summary, by_variant};
use crate::study::sweep::{self, Journal, Plan, Shard, Sweep};

pub(crate) use text::text;

fn with_unit(name: &str, unit: &str) -> String {
    if unit.is_empty() || unit == "1" {
        name.to_string()
    } else {
        format!("{name}_{}", unit.replace([' ', '/'], "_"))
    }
}

fn cases_table(sweep: &Sweep) -> Table {
    let plan = &sweep.plan;
    let mut names: Vec<String> = ["case", "variant", "sample", "fault"]
        .map(String::from)
        .into();
    names.extend(plan.vary.iter().map(|v| v.key.clone()));
    let drawn = plan.inputs.iter();
    names.extend(drawn.map(|i| with_unit(&format!("draw.{}", i.name), &i.unit)));
    names.extend(plan.measures.iter().map(|m| {
        let name = format!("{}.{}", m.key, m.subject);
        with_unit(&name, m.dimension.si_symbol())
    }));
    let mut table = Table::named(names);
    for c in &sweep.cases {
        let (variant, sample) = plan.place(c.index);
        let mut row: Vec<Value> = vec![
            c.index.into(),
            variant.into(),
            (plan.samples > 0).then_some(sample).into(),
            c.fault.clone().into(),
        ];
        row.extend(plan.varied(variant).into_iter().map(Value::from));
        row.extend(c.draws.iter().chain(&c.values).map(|v| Value::from(*v)));
        table.row(row);
    }
    table
}

/// Key, subject and unit of a measure of the plan.
fn named(plan: &Plan, measure: usize) -> [Value; 3] {
    let m = &plan.measures[measure];
    [
        m.key.as_str().into(),
        m.subject.as_str().into(),
        m.dimension.si_symbol().into(),
    ]
}

fn quantiles_table(plan: &Plan, s: &Summary) -> Table {
    let mut table = Table::named([
        "variant", "measure", "subject", "unit", "cases", "q05", "q50", "q95",
    ]);
    for q in &s.spreads {
        let [key, subject, unit] = named(plan, q.measure);
        let [low, middle, high] = q.quantiles.map(Value::from);
        let group = s.groups[q.group].as_str().into();
        table.row([group, key, subject, unit, q.count.into(), low, middle, high]);
    }
    table
}

fn limits_table(plan: &Plan, s: &Summary) -> Table {
    let mut table = Table::named([
        "variant",
        "measure",
        "subject",
        "side",
        "limit",
        "unit",
        "cases",
        "failed",
        "share",
        "low95",
        "high95",
        "mandatory",
        "source",
    ]);
    for b in &s.limits {
        let [key, subject, unit] = named(plan, b.measure);
        let limit = plan.measures[b.measure].limit(b.group);
        let interval = (plan.samples > 0 && b.count > 0).then_some(b.interval);
        table.row([
            s.groups[b.group].as_str().into(),
            key,
            subject,
            limit.map(|l| l.side.words()).into(),
            limit.map(|l| l.value).into(),
            unit,
            b.count.into(),
            b.failed.into(),
            b.share().into(),
            interval.map(|i| i.0).into(),
            interval.map(|i| i.1).into(),
            limit.map(|l| l.mandatory).into(),
            limit.map(|l| l.source.as_str()).into(),
        ]);
    }
    table
}

fn correlations_table(plan: &Plan, s: &Summary) -> Table {
    let mut table = Table::named([
        "measure",
        "subject",
        "input",
        "rank_correlation",
        "mean_low_third",
        "mean_high_third",
        "unit",
    ]);
    for e in s.effects.iter().filter(|e| e.rank_correlation.is_finite()) {
        let [key, subject, unit] = named(plan, e.measure);
        table.row([
            key,
            subject,
            s.inputs[e.input].as_str().into(),
            e.rank_correlation.into(),
            e.thirds.0.into(),
            e.thirds.1.into(),
            unit,
        ]);
    }
    table
}

fn paired_table(plan: &Plan, s: &Summary) -> Table {
    let mut table = Table::named([
        "variant",
        "against",
        "measure",
        "subject",
        "unit",
        "pairs",
        "mean_difference",
        "low95",
        "high95",
    ]);
    for p in s.paired.iter().filter(|p| p.count > 0) {
        let [key, subject, unit] = named(plan, p.measure);
        table.row([
            s.groups[p.variant].as_str().into(),
            s.groups[0].as_str().into(),
            key,
            subject,
            unit,
            p.count.into(),
            p.mean.0.into(),
            p.mean.1.into(),
            p.mean.2.into(),
        ]);
    }
    table
}

/// What is missing of a whole, in words.
pub(crate) fn missing_text(sweep: &Sweep) -> Option<String> {
    let missing = sweep.missing();
    let all = words::count(sweep.plan.cases(), "case");
    (!missing.is_empty()).then(|| {
        let numbers = words::numbers(&missing);
        format!("{} of {all} are missing: {numbers}", missing.len())
    })
}

/// Opens the results folder of a part, to go on with what is there or, where [`sweep::open`] finds that
/// nothing is, with a new one.
///
/// # Errors
/// As [`sweep::open`]; a folder that cannot be written or holds somebody else's files.
pub fn open(
    folder: &Path,
    plan: &Plan,
    shard: Shard,
    resume: bool,
    restart: bool,
) -> Result<(Journal, Found), ResultsError> {
    if let Some(there) = sweep::open(folder, plan, shard, resume, restart)? {
        return Ok(there);
    }
    let staged = OutputDir::stage(folder)?;
    staged.write(PLAN, &PlanFile::new(plan, shard).text())?;
    staged.write(JOURNAL, b"")?;
    Ok(Journal::open(&staged.commit()?, plan)?)
}

/// Writes everything a sweep leaves into `folder`.
///
/// # Errors
/// The folder cannot be written, or a figure not be drawn; the folder is then as it was.
pub fn write(
    folder: &Path,
    sweep: &Sweep,
    summary: &Summary,
    units: UnitSystem,
    with_figures: bool,
) -> Result<PathBuf, ResultsError> {
    let plan = &sweep.plan;
    let mut drawn: Vec<(Figure, Vec<u8>)> = Vec::new();
    if with_figures {
        let sheets = [
            figures::band_figure(sweep, units).map(|s| bands(&s)),
            figures::tornado_figure(sweep, summary, units).map(|s| Ok(tornado(&s))),
        ];
        for figure in sheets.into_iter().flatten() {
            let figure = figure?;
            let png = figure.png()?;
            drawn.push((figure, png));
        }
    }
    let staged = OutputDir::stage(folder)?;
    staged.write(PLAN, &PlanFile::new(plan, sweep.shard).text())?;
    staged.write_with(JOURNAL, |w| {
        use std::io::Write;
        sweep
            .cases
            .iter()
            .try_for_each(|c| w.write_all(c.line().as_bytes()))
    })?;
    staged.write("cases.csv", &cases_table(sweep).csv())?;
    staged.write("quantiles.csv", &quantiles_table(plan, summary).csv())?;
    staged.write("limits.csv", &limits_table(plan, summary).csv())?;
    staged.write("correlations.csv", &correlations_table(plan, summary).csv())?;
    if by_variant(plan) {
        staged.write("paired.csv", &paired_table(plan, summary).csv())?;
    }
    staged.figures(&drawn)?;
    Ok(staged.commit()?)
}
