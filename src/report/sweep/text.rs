//! A sweep in words and tables for a terminal.

use crate::quantity::{Dimension, UnitSystem};
use crate::report::table::{Column, Table, Value};
use crate::report::words;
use crate::study::sweep::plan::PlannedMeasure;
use crate::study::sweep::statistics::{mean, sorted};
use crate::study::sweep::summary::{Failures, Summary, group};
use crate::study::sweep::{Case, Plan, Sweep};

/// Variants shown one by one at most; the files hold all.
const VARIANTS: usize = 8;
/// Inputs shown for each measure.
const INPUTS: usize = 4;
/// Measures whose strongest inputs are shown.
const MEASURES: usize = 3;

/// The sweep as lines of text.
pub(crate) fn text(
    sweep: &Sweep,
    summary: &Summary,
    units: UnitSystem,
    width: u16,
    bold: impl Fn(&str) -> String,
) -> String {
    let plan = &sweep.plan;
    let mut out = format!("{}\n", bold(&plan.title));
    out += &counts(sweep);
    let hit: Vec<&Failures> = summary.limits.iter().filter(|b| b.failed > 0).collect();
    if sweep.cases.iter().any(|c| c.fault.is_none()) {
        out += "\n";
        if let Some(locked) = locked_out(sweep, summary) {
            out += &bold(&locked);
            out.push('\n');
        }
        out += &bold(&headline(plan, summary, &hit));
        out.push('\n');
        if !hit.is_empty() {
            out += &limits(plan, summary, &hit, units, width);
        }
        out += &effects(plan, summary, units, &bold);
        out += &by_word(sweep, summary, units, width, &bold);
    }
    out
}

fn counts(sweep: &Sweep) -> String {
    let plan = &sweep.plan;
    let mut out = match (plan.variants(), plan.samples) {
        (v, 0) => words::count(v, "variant"),
        (1, n) => words::count(n, "sample"),
        (v, n) => format!(
            "{v} variants × {}, the same draws in each",
            words::count(n, "sample")
        ),
    };
    if plan.samples > 0 {
        out += &format!(
            " ({}; house seed {}, day seed {})",
            words::count(plan.inputs.len(), "uncertain input"),
            plan.house_seed,
            plan.day_seed
        );
    }
    let missing = sweep.missing().len();
    if missing > 0 {
        let done = words::count(sweep.cases.len(), "case");
        out += &format!("; {done} done, {missing} to do");
    } else if sweep.shard.of > 1 {
        let (k, n) = (sweep.shard.number, sweep.shard.of);
        let cases = words::count(sweep.cases.len(), "case");
        out += &format!("; part {k} of {n}, {cases}");
    }
    out.push('\n');
    let faulty: Vec<_> = sweep.cases.iter().filter(|c| c.fault.is_some()).collect();
    if let Some(first) = faulty.first() {
        let numbers: Vec<usize> = faulty.iter().map(|c| c.index).collect();
        out += &format!(
            "{} could not be run and do not count: {}. The first: {}\n",
            words::count(numbers.len(), "case"),
            words::numbers(&numbers),
            first.fault.as_deref().unwrap_or(""),
        );
    }
    out
}

/// How many cases were locked out, by group where there are several; `None` when none was.
fn locked_out(sweep: &Sweep, summary: &Summary) -> Option<String> {
    let plan = &sweep.plan;
    let m = plan.measures.iter().position(|m| m.key == "locked_out")?;
    let groups = summary.groups.len();
    let mut counts = vec![(0, 0); groups];
    let mut which: Vec<String> = Vec::new();
    for case in sweep.cases.iter().filter(|c| c.fault.is_none()) {
        let (locked, all) = &mut counts[group(plan, case.index)];
        *all += 1;
        if case.values[m] > 0.0 {
            *locked += 1;
            if plan.samples == 0 && plan.variants() > 1 {
                which.push(plan.label(plan.place(case.index).0));
            }
        }
    }
    let of: Vec<String> = (0..groups)
        .filter(|&g| counts[g].0 > 0)
        .map(|g| {
            let (locked, all) = counts[g];
            match groups {
                1 => format!("{locked} of {all} cases"),
                _ => format!("{locked} of {all} cases of {}", plan.label(g)),
            }
        })
        .collect();
    if of.is_empty() {
        return None;
    }
    let cut = |list: &[String], what: &str| {
        let more = match list.len().saturating_sub(VARIANTS) {
            0 => String::new(),
            n => format!(" and {n} more {what}"),
        };
        format!("{}{more}", list[..list.len().min(VARIANTS)].join("; "))
    };
    let mut text = cut(&of, "variants");
    if !which.is_empty() {
        text += &format!(" ({})", cut(&which, "cases"));
    }
    Some(format!(
        "The unit locked out: {text}. A locked-out unit is off, so its energy, starts and trips are low."
    ))
}

fn headline(plan: &Plan, summary: &Summary, hit: &[&Failures]) -> String {
    if hit.is_empty() {
        return "Every case meets every limit.".into();
    }
    let whole: Vec<usize> = (0..summary.groups.len())
        .filter(|g| !hit.iter().any(|b| b.group == *g))
        .collect();
    match whole.as_slice() {
        _ if summary.groups.len() == 1 => {
            "Some cases fail. Failed limits, by share of cases:".into()
        }
        [] => "Every variant fails in some cases. Failed limits, by share of cases:".into(),
        [one] => format!(
            "Only {} passes in every case. Failed limits, by share of cases:",
            plan.label(*one)
        ),
        some => format!(
            "{} of {} variants pass in every case. Failed limits, by share of cases:",
            some.len(),
            summary.groups.len()
        ),
    }
}

/// A measure's title with its subject.
fn titled(m: &PlannedMeasure) -> String {
    match m.subject.as_str() {
        "house" => m.title.clone(),
        subject => format!("{} ({subject})", m.title),
    }
}

fn limits(
    plan: &Plan,
    summary: &Summary,
    hit: &[&Failures],
    units: UnitSystem,
    width: u16,
) -> String {
    let groups = summary.groups.len();
    let mut columns = vec![
        Column::text("measure"),
        Column::text("where"),
        Column::text("limit"),
    ];
    match groups {
        1 => columns
            .extend(["cases that fail", "5 % … median … 95 %"].map(|t| Column::text(t).right())),
        _ => columns.extend((0..groups.min(VARIANTS)).map(|v| Column::text(plan.label(v)).right())),
    }
    let mut table = Table::new(columns);
    let mut rows: Vec<(usize, f64)> = Vec::new();
    for b in hit {
        match rows.iter_mut().find(|(m, _)| *m == b.measure) {
            Some((_, worst)) => *worst = worst.max(b.share()),
            None => rows.push((b.measure, b.share())),
        }
    }
    rows.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    for (measure, _) in rows {
        let m = &plan.measures[measure];
        let limit = (0..plan.variants()).find_map(|v| m.limit(v));
        let title = match limit.is_some_and(|l| l.mandatory) {
            true => format!("{} (mandatory)", m.title),
            false => m.title.clone(),
        };
        let limit = limit.map_or(Value::None, |l| Value::Limit(l.clone()));
        let mut row = vec![title.into(), m.subject.as_str().into(), limit];
        let of_measure = |b: &&Failures| b.measure == measure && b.group < VARIANTS;
        row.extend(
            summary
                .limits
                .iter()
                .filter(of_measure)
                .map(|b| Value::from(share(plan, b, units))),
        );
        if groups == 1 {
            let mut spreads = summary.spreads.iter();
            let spread = spreads.find(|s| s.measure == measure);
            let shown = |v: f64| units.show(v, m.dimension);
            row.push(spread.map(|s| s.quantiles.map(shown).join(" … ")).into());
        }
        table.row_of(m.dimension, row);
    }
    let mut text = table.text(units, width);
    if groups > VARIANTS {
        text += &format!("The first {VARIANTS} of {groups} variants; limits.csv has all.\n");
    }
    if plan.samples > 0 {
        text += "In brackets: the 95 % interval of the share, by Wilson's score.\n";
    }
    text
}

/// Share of cases with its interval; of a factorial, which is no sample, the plain count.
fn share(plan: &Plan, b: &Failures, units: UnitSystem) -> String {
    if plan.samples == 0 {
        return format!("{} of {}", b.failed, b.count);
    }
    let percent = |v: f64| units.show(v, Dimension::Fraction);
    let (low, high) = b.interval;
    format!(
        "{} ({} to {})",
        percent(b.share()),
        percent(low),
        percent(high)
    )
}

/// Keys whose values are words, which no correlation can rank: a small table for each.
fn by_word(
    sweep: &Sweep,
    summary: &Summary,
    units: UnitSystem,
    width: u16,
    bold: &impl Fn(&str) -> String,
) -> String {
    let plan = &sweep.plan;
    let measures = shown_measures(plan, summary);
    let mut out = String::new();
    for (k, v) in plan.vary.iter().enumerate() {
        if v.numbers().is_some() {
            continue;
        }
        let head = format!("{} takes words, which have no correlation. By word:", v.key);
        out += &format!("\n{}\n", bold(&head));
        let mut columns = vec![
            Column::text(v.key.as_str()),
            Column::text("cases").right(),
            Column::text("cases that fail").right(),
        ];
        columns.extend(measures.iter().map(|&m| {
            let m = &plan.measures[m];
            Column::number(format!("mean {}", titled(m)), m.dimension)
        }));
        let mut table = Table::new(columns);
        for word in &v.values {
            let of_word = |c: &&Case| plan.varied(plan.place(c.index).0)[k] == word;
            let ran = sweep.cases.iter().filter(|c| c.fault.is_none());
            let cases: Vec<&Case> = ran.filter(of_word).collect();
            let failed = cases.iter().filter(|c| c.passes.contains(&Some(false)));
            let mut row: Vec<Value> = vec![
                word.trim_matches('"').into(),
                cases.len().into(),
                failed.count().into(),
            ];
            row.extend(measures.iter().map(|&m| {
                let values = sorted(cases.iter().map(|c| c.values[m]));
                Value::from(mean(&values))
            }));
            table.row(row);
        }
        out += &table.text(units, width);
    }
    out
}

/// Measures to set beside words: electricity, and those that fail most often.
fn shown_measures(plan: &Plan, summary: &Summary) -> Vec<usize> {
    let energy = plan.measures.iter();
    let energy = energy.enumerate().filter(|m| m.1.key == "energy_electric");
    let mut out: Vec<usize> = energy.map(|m| m.0).take(1).collect();
    let most = out.len() + MEASURES;
    let mut failed: Vec<&Failures> = summary.limits.iter().filter(|b| b.failed > 0).collect();
    failed.sort_by(|a, b| {
        b.share()
            .total_cmp(&a.share())
            .then(a.measure.cmp(&b.measure))
    });
    for b in failed {
        let key = &plan.measures[b.measure].key;
        if out.len() < most && !out.iter().any(|&o| plan.measures[o].key == *key) {
            out.push(b.measure);
        }
    }
    out
}

fn effects(
    plan: &Plan,
    summary: &Summary,
    units: UnitSystem,
    bold: &impl Fn(&str) -> String,
) -> String {
    let mut out = String::new();
    // Under no correlation, |r| exceeds 1.96/√(n − 1) in one of twenty inputs. Variants repeat the
    // same draws, so they add nothing to n.
    let chance = match plan.samples {
        0 => 0.0,
        n => 1.96 / (n as f64 - 1.0).max(1.0).sqrt(),
    };
    for m in summary.most_at_stake(plan, MEASURES) {
        let planned = &plan.measures[m];
        let shown = |v: f64| units.show(v, planned.dimension);
        let strong = summary.strongest(m).into_iter();
        let strong = strong.filter(|e| e.rank_correlation.abs() > chance);
        let lines: Vec<String> = strong
            .take(INPUTS)
            .map(|e| {
                format!(
                    "  {}: {} where it is low, {} where it is high (rank correlation {:+.2})\n",
                    summary.inputs[e.input],
                    shown(e.thirds.0),
                    shown(e.thirds.1),
                    e.rank_correlation,
                )
            })
            .collect();
        let head = format!("Inputs that move the {} most:", titled(planned));
        out += &format!("\n{}\n", bold(&head));
        match lines.is_empty() {
            true => out += "  none beyond chance\n",
            false => out += &lines.concat(),
        }
    }
    if !out.is_empty() && chance > 0.0 {
        let samples = words::count(plan.samples, "sample");
        out += &format!("\nWith {samples}, a correlation within ±{chance:.2} may be chance.\n");
    }
    out
}
