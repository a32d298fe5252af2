//! What a designer is told of a sweep at the terminal.

use comfy_table::{Cell, CellAlignment, ContentArrangement, Table, presets};

use super::merge::numbers_text;
use super::plan::PlannedLimit;
use super::statistics::{mean, sorted};
use super::summary::{Broken, Summary, group};
use super::tables::dimension;
use super::{Case, Plan, Sweep};
use crate::quantity::{UnitSystem, significant};
use crate::report::in_words;
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
        out += &words(sweep, summary, units, width, &bold);
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
    let mut told = cut(&of, "variants");
    if !which.is_empty() {
        told += &format!(" ({})", cut(&which, "cases"));
    }
    Some(format!(
        "Locked out: {told}. Their energy, starts and trips are of systems that stood still meanwhile."
    ))
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
            "Only {} keeps every limit in every case. Limits broken, by share of cases:",
            plan.label(*one)
        ),
        some => format!(
            "{} of {} variants keep every limit in every case. Limits broken, by share of cases:",
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
    let groups = summary.groups.len();
    let mut header: Vec<String> = ["measure", "where", "limit"].map(String::from).into();
    match groups {
        1 => header.extend(["broken in".into(), "5 % … median … 95 %".into()]),
        _ => header.extend((0..groups.min(VARIANTS)).map(|v| plan.label(v))),
    }
    table.set_header(header);
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
        let kind = dimension(&m.dimension);
        let shown = |v: f64| show(v, kind, units);
        let told = |l: &PlannedLimit| {
            let side = if l.at_most { "≤" } else { "≥" };
            format!("{side} {}", shown(l.value.0))
        };
        let limit = (0..groups).find_map(|g| m.limit(g));
        let title = match limit.is_some_and(|l| l.mandatory) {
            true => format!("{} (mandatory)", in_words(&m.title, units)),
            false => in_words(&m.title, units),
        };
        let mut row = vec![
            Cell::new(title),
            Cell::new(&m.subject),
            Cell::new(limit.map_or(String::new(), told)),
        ];
        let of_measure = |b: &&Broken| b.measure == measure && b.group < VARIANTS;
        for b in summary.limits.iter().filter(of_measure) {
            row.push(Cell::new(share(plan, b)).set_alignment(CellAlignment::Right));
        }
        if groups == 1 {
            let mut spreads = summary.spreads.iter();
            let spread = spreads.find(|s| s.measure == measure);
            let spread = spread.map(|s| s.quantiles.map(shown).join(" … "));
            row.push(Cell::new(spread.unwrap_or_default()));
        }
        table.add_row(row);
    }
    let mut text = format!("{}\n", table.trim_fmt());
    if groups > VARIANTS {
        text += &format!("The first {VARIANTS} of {groups} variants; limits.csv has all.\n");
    }
    if plan.samples > 0 {
        text += "In brackets: the 95 % interval of the share, by Wilson's score.\n";
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

/// Keys whose values are words, which no correlation can rank: a small table for each.
fn words(
    sweep: &Sweep,
    summary: &Summary,
    units: UnitSystem,
    width: u16,
    bold: &impl Fn(&str) -> String,
) -> String {
    let plan = &sweep.plan;
    let measures = worth_telling(plan, summary);
    let mut out = String::new();
    for (k, v) in plan.vary.iter().enumerate() {
        if v.numbers().is_some() {
            continue;
        }
        let head = format!(
            "{} takes words, so no correlation tells of it. By word:",
            v.key
        );
        out += &format!("\n{}\n", bold(&head));
        let mut table = Table::new();
        table
            .load_style(presets::NOTHING)
            .set_content_arrangement(ContentArrangement::Dynamic)
            .set_width(width);
        let mut header = vec![v.key.clone(), "cases".into(), "break a limit".into()];
        header.extend(measures.iter().map(|&m| {
            let m = &plan.measures[m];
            format!("mean {} ({})", in_words(&m.title, units), m.subject)
        }));
        table.set_header(header);
        for word in &v.values {
            let of_word = |c: &&Case| plan.varied(plan.place(c.index).0)[k] == word;
            let ran = sweep.cases.iter().filter(|c| c.fault.is_none());
            let cases: Vec<&Case> = ran.filter(of_word).collect();
            let broken = cases.iter().filter(|c| c.holds.contains(&Some(false)));
            let mut row = vec![
                Cell::new(word.trim_matches('"')),
                Cell::new(cases.len()).set_alignment(CellAlignment::Right),
                Cell::new(broken.count()).set_alignment(CellAlignment::Right),
            ];
            row.extend(measures.iter().map(|&m| {
                let values = sorted(cases.iter().map(|c| c.values[m]));
                let kind = dimension(&plan.measures[m].dimension);
                Cell::new(show(mean(&values), kind, units)).set_alignment(CellAlignment::Right)
            }));
            table.add_row(row);
        }
        out += &format!("{}\n", table.trim_fmt());
    }
    out
}

/// Measures to set beside words: electricity, and those whose limits are broken most often.
fn worth_telling(plan: &Plan, summary: &Summary) -> Vec<usize> {
    let energy = plan.measures.iter();
    let energy = energy.enumerate().filter(|m| m.1.key == "energy_electric");
    let mut out: Vec<usize> = energy.map(|m| m.0).take(1).collect();
    let most = out.len() + MEASURES;
    let mut broken: Vec<&Broken> = summary.limits.iter().filter(|b| b.broken > 0).collect();
    broken.sort_by(|a, b| {
        b.share()
            .total_cmp(&a.share())
            .then(a.measure.cmp(&b.measure))
    });
    for b in broken {
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
        let kind = dimension(&planned.dimension);
        let strong = summary.strongest(m).into_iter();
        let strong = strong.filter(|e| e.rank_correlation.abs() > chance);
        let lines: Vec<String> = strong
            .take(INPUTS)
            .map(|e| {
                let way = if e.rank_correlation > 0.0 { "up with" } else { "down with" };
                format!(
                    "  {way} {}: {} where it is low, {} where it is high (rank correlation {:+.2})\n",
                    summary.inputs[e.input],
                    show(e.thirds.0, kind, units),
                    show(e.thirds.1, kind, units),
                    e.rank_correlation,
                )
            })
            .collect();
        let head = format!(
            "What moves the {} ({}) most:",
            in_words(&planned.title, units),
            planned.subject
        );
        out += &format!("\n{}\n", bold(&head));
        match lines.is_empty() {
            true => out += "  no input stands out from chance\n",
            false => out += &lines.concat(),
        }
    }
    if !out.is_empty() && chance > 0.0 {
        let n = plan.samples;
        out += &format!("\nWith {n} samples a correlation within ±{chance:.2} may be chance.\n");
    }
    out
}
