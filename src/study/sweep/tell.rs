//! What a designer is told of a sweep at the terminal.

use comfy_table::{Cell, CellAlignment, ContentArrangement, Table, presets};

use super::merge::numbers_text;
use super::summary::{Broken, Summary};
use super::tables::dimension;
use super::{Plan, Sweep};
use crate::quantity::{UnitSystem, significant};
use crate::report::verdict::show;

/// Variants told of one by one at most; the tables hold all.
const VARIANTS: usize = 8;
/// Inputs told of for each measure.
const INPUTS: usize = 4;
/// Measures of which it is told what moves them.
const MEASURES: usize = 3;

/// The sweep as lines of text.
pub fn tell(
    sweep: &Sweep,
    summary: &Summary,
    units: UnitSystem,
    width: u16,
    bold: impl Fn(&str) -> String,
) -> String {
    let plan = &sweep.plan;
    let mut out = format!("{}\n", bold(&plan.title));
    out += &counts(sweep);
    let hit: Vec<&Broken> = summary.limits.iter().filter(|b| b.broken > 0).collect();
    if sweep.cases.iter().any(|c| c.fault.is_none()) {
        out += "\n";
        out += &bold(&headline(plan, summary, &hit));
        out.push('\n');
        if !hit.is_empty() {
            out += &limits(plan, summary, &hit, units, width);
        }
        out += &effects(plan, summary, units, &bold);
    }
    out
}

fn counts(sweep: &Sweep) -> String {
    let plan = &sweep.plan;
    let mut out = match (plan.variants(), plan.samples) {
        (v, 0) => format!("{v} variants"),
        (1, n) => format!("{n} samples"),
        (v, n) => format!("{v} variants × {n} samples, the same draws in each"),
    };
    if plan.samples > 0 {
        out += &format!(
            " ({} uncertain inputs; house seed {}, day seed {})",
            plan.inputs.len(),
            plan.house_seed,
            plan.day_seed
        );
    }
    let missing = sweep.missing().len();
    if missing > 0 {
        out += &format!("; {} cases done, {missing} to do", sweep.cases.len());
    } else if sweep.shard.of > 1 {
        let (k, n) = (sweep.shard.number, sweep.shard.of);
        out += &format!("; part {k} of {n}, {} cases", sweep.cases.len());
    }
    out.push('\n');
    let faulty: Vec<_> = sweep.cases.iter().filter(|c| c.fault.is_some()).collect();
    if let Some(first) = faulty.first() {
        let numbers: Vec<usize> = faulty.iter().map(|c| c.index).collect();
        out += &format!(
            "{} could not be run and count nowhere: {}. The first: {}\n",
            if numbers.len() == 1 {
                "1 case".into()
            } else {
                format!("{} cases", numbers.len())
            },
            numbers_text(&numbers),
            first.fault.as_deref().unwrap_or(""),
        );
    }
    out
}

fn headline(plan: &Plan, summary: &Summary, hit: &[&Broken]) -> String {
    if hit.is_empty() {
        return "Every limit is kept in every case.".into();
    }
    let whole: Vec<usize> = (0..summary.groups.len())
        .filter(|g| !hit.iter().any(|b| b.group == *g))
        .collect();
    match whole.as_slice() {
        _ if summary.groups.len() == 1 => "Limits broken, by share of cases:".into(),
        [] => {
            "No variant keeps every limit in every case. Limits broken, by share of cases:".into()
        }
        [one] => format!(
            "Only {} keeps every limit in every case. Limits broken by the others, by share of cases:",
            plan.label(*one)
        ),
        some => format!(
            "{} of {} variants keep every limit in every case. Limits broken by the others, by share of cases:",
            some.len(),
            summary.groups.len()
        ),
    }
}

fn limits(
    plan: &Plan,
    summary: &Summary,
    hit: &[&Broken],
    units: UnitSystem,
    width: u16,
) -> String {
    let mut table = Table::new();
    table
        .load_style(presets::NOTHING)
        .set_content_arrangement(ContentArrangement::Dynamic)
        .set_width(width);
    let grouped = summary.groups.len() > 1;
    let mut header = vec![
        "measure",
        "where",
        "limit",
        "broken in",
        "5 % … median … 95 %",
    ];
    if grouped {
        header.insert(0, "variant");
    }
    table.set_header(header);
    let mut rows: Vec<&&Broken> = hit.iter().collect();
    rows.sort_by(|a, b| {
        let order = b.share().total_cmp(&a.share());
        (a.group.cmp(&b.group))
            .then(order)
            .then(a.measure.cmp(&b.measure))
    });
    let mut told = 0;
    for b in rows.iter().filter(|b| b.group < VARIANTS) {
        let m = &plan.measures[b.measure];
        let kind = dimension(&m.dimension);
        let shown = |v: f64| show(v, kind, units);
        let limit = m.limit(b.group);
        let spread = summary
            .spreads
            .iter()
            .find(|s| s.group == b.group && s.measure == b.measure);
        let spread = spread.map_or(String::new(), |s| s.quantiles.map(shown).join(" … "));
        let mandatory = limit.is_some_and(|l| l.mandatory);
        let title = if mandatory {
            format!("{} (mandatory)", m.title)
        } else {
            m.title.clone()
        };
        let limit = limit.map_or(String::new(), |l| {
            format!("{} {}", if l.at_most { "≤" } else { "≥" }, shown(l.value.0))
        });
        let mut row = vec![
            Cell::new(title),
            Cell::new(&m.subject),
            Cell::new(limit),
            Cell::new(share(plan, b)).set_alignment(CellAlignment::Right),
            Cell::new(spread),
        ];
        if grouped {
            row.insert(0, Cell::new(&summary.groups[b.group]));
        }
        table.add_row(row);
        told += 1;
    }
    let mut text = format!("{}\n", table.trim_fmt());
    if told < rows.len() {
        text += &format!(
            "… and {} more rows of later variants, in limits.csv\n",
            rows.len() - told
        );
    }
    text
}

/// Share of cases with its interval; of a factorial, which is no sample, the plain count.
fn share(plan: &Plan, b: &Broken) -> String {
    if plan.samples == 0 {
        return format!("{} of {}", b.broken, b.count);
    }
    let percent = |v: f64| significant((1000.0 * v).round() / 10.0, 1);
    format!(
        "{} % ({} to {})",
        percent(b.share()),
        percent(b.interval.0),
        percent(b.interval.1)
    )
}

fn effects(
    plan: &Plan,
    summary: &Summary,
    units: UnitSystem,
    bold: &impl Fn(&str) -> String,
) -> String {
    let mut out = String::new();
    for m in summary.most_at_stake(plan, MEASURES) {
        let planned = &plan.measures[m];
        let kind = dimension(&planned.dimension);
        out += &format!(
            "\n{}\n",
            bold(&format!(
                "What moves the {} ({}) most:",
                planned.title, planned.subject
            ))
        );
        for e in summary.strongest(m).into_iter().take(INPUTS) {
            let way = if e.rank_correlation > 0.0 {
                "up with"
            } else {
                "down with"
            };
            out += &format!(
                "  {way} {}: {} where it is low, {} where it is high (rank correlation {:+.2})\n",
                summary.inputs[e.input],
                show(e.thirds.0, kind, units),
                show(e.thirds.1, kind, units),
                e.rank_correlation,
            );
        }
    }
    let told = !out.is_empty();
    if told && plan.samples > 0 {
        // Under no correlation, |r| exceeds this in one of twenty inputs: 1.96/√(n − 1).
        let n = plan.cases() as f64;
        let bar = 1.96 / (n - 1.0).max(1.0).sqrt();
        out += &format!("  (with {n:.0} cases, less than ±{bar:.2} may be chance)\n");
    }
    out
}
