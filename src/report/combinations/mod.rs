//! What the sets of calling zones tell: verdict, table, heat map, CSV.

mod figure;
mod tables;

use std::path::{Path, PathBuf};

use comfy_table::{Cell, CellAlignment, ColumnConstraint, ContentArrangement, Table, presets};

use super::results::ResultsError;
use super::verdict::{show, show_judged};
use super::{OutputDir, UnitSystem};
use crate::measure::Side;
use crate::quantity::{self, Dimension};
use crate::scenario::Scenario;
use crate::study::combinations::{
    ALL_SETS_UP_TO, Combination, Combinations, StatePoint, Worst, set_name,
};
use crate::study::criteria::{CRITERIA, Facts};

pub use figure::figure;

/// The verdict and the `most` worst sets for a terminal.
pub fn text(
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
            "The {most} worst of {} are shown; combinations.csv has all (--rows shows more).\n",
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
            let outdoor = show(m.outdoor_c, Dimension::Temperature, units);
            format!("{} at {outdoor} outdoors", m.mode.name())
        })
        .collect();
    at.join(", ")
}

fn verdict(c: &Combinations) -> String {
    let (all, broken) = (c.list.len(), c.broken());
    let word = if c.modes.len() > 1 {
        "sets and modes"
    } else {
        "sets of calling zones"
    };
    match broken {
        0 => format!("Every one of {all} {word} keeps its limits."),
        _ => {
            let permitted = c.list.iter().filter(|k| !k.holds() && k.permitted).count();
            let bands = if permitted < broken {
                format!(", {permitted} of them possible within the time bands")
            } else {
                String::new()
            };
            format!("{broken} of {all} {word} break a limit{bands}.")
        }
    }
}

/// For each criterion that is broken, by which set worst.
fn findings(c: &Combinations, units: UnitSystem) -> Vec<String> {
    let worst = |i: usize| {
        let broken = c.list.iter().filter(|k| k.broken().any(|b| b == i));
        let count = broken.clone().count();
        broken
            .filter_map(|k| Some((k, k.worst[i].as_ref()?)))
            .max_by(|a, b| a.1.finding.used().total_cmp(&b.1.finding.used()))
            .map(|(k, w)| (k, w, count))
    };
    CRITERIA
        .iter()
        .enumerate()
        .filter_map(|(i, criterion)| {
            let (k, w, count) = worst(i)?;
            let place = if w.finding.place.is_empty() {
                String::new()
            } else {
                format!(" ({})", w.finding.place)
            };
            let side = match w.finding.limit.side {
                Side::AtMost => "at most",
                Side::AtLeast => "at least",
            };
            Some(format!(
                "{}{place}: {count} broken, worst {} with {} calling in {}; {side} {} ({}).",
                criterion.title,
                show_judged(
                    w.finding.value,
                    &w.finding.limit,
                    criterion.dimension,
                    units
                ),
                set_name(&c.zones, k.calls),
                k.mode.name(),
                show(w.finding.limit.value, criterion.dimension, units),
                w.finding.limit.source,
            ))
        })
        .collect()
}

fn remarks(c: &Combinations) -> Vec<String> {
    let mut remarks = vec![
        "Settled state, protections not acting, rooms at their setpoints, filter as at the start. \
         Judged: dampers of calling zones full, unit at its least speed and at the highest that the \
         controller brings about; the smallest zone full and the others at their least opening, unit at the highest; \
         all at their least opening, unit at its least."
            .to_string(),
        "\"At rated\" is what the limits would be if nothing held the unit back from rated speed; it \
         does not count."
            .to_string(),
    ];
    if c.list.iter().any(|k| !k.permitted) {
        remarks.push(
            "\"By hand\" marks sets that no minute of the time bands has; a person can still bring them \
             about."
                .into(),
        );
    }
    if c.faults_left_out {
        remarks.push("Faults in the file are left out: this is the healthy system.".into());
    }
    if !c.every_set {
        remarks.push(format!(
            "More than {ALL_SETS_UP_TO} zones: all sets of 1, 2, n−1 and n zones, and from the 8 worst \
             of them one zone more or less at a time as long as it got worse. Other sets were not \
             looked at."
        ));
    }
    remarks
}

fn rows(s: &Scenario, c: &Combinations, units: UnitSystem, width: u16, most: usize) -> String {
    let mut table = Table::new();
    let mut head = vec!["calling".to_string()];
    if c.modes.len() > 1 {
        head.push("mode".into());
    }
    head.extend(CRITERIA.iter().map(|k| k.heading.to_string()));
    head.extend(["supply air", "air per kW", "speed", "at rated", "verdict"].map(String::from));
    table
        .load_style(presets::NOTHING)
        .set_content_arrangement(ContentArrangement::Dynamic)
        .set_width(width)
        .set_header(head);
    let facts = Facts::new(s);
    for k in c.list.iter().take(most) {
        let mut cells = vec![Cell::new(name(k, &c.zones))];
        if c.modes.len() > 1 {
            cells.push(Cell::new(k.mode.name()));
        }
        for (i, criterion) in CRITERIA.iter().enumerate() {
            cells.push(right(finding(
                k.worst[i].as_ref(),
                criterion.dimension,
                units,
                " *",
            )));
        }
        cells.push(right(extreme_supply(&facts, k, units)));
        cells.push(right(air_per_kw(k, units)));
        cells.push(right(speeds(k)));
        let rated: Vec<&str> = k.broken_at_rated().map(|i| CRITERIA[i].heading).collect();
        cells.push(Cell::new(if rated.is_empty() {
            "holds".to_string()
        } else {
            format!("breaks {}", rated.join(", "))
        }));
        cells.push(Cell::new(word(k)));
        table.add_row(cells);
    }
    // A number keeps its unit on its line.
    let first = 1 + usize::from(c.modes.len() > 1);
    for (i, criterion) in CRITERIA.iter().enumerate() {
        let bare = ["static", "margin"].contains(&criterion.heading);
        if let Some(column) = table.column_mut(first + i).filter(|_| bare) {
            column.set_constraint(ColumnConstraint::ContentWidth);
        }
    }
    let mut text = table.trim_fmt();
    text.push_str("\n* breaks its limit.\n");
    text
}

fn right(text: String) -> Cell {
    Cell::new(text).set_alignment(CellAlignment::Right)
}

fn name(k: &Combination, zones: &[String]) -> String {
    let hand = if k.permitted { "" } else { " (by hand)" };
    format!("{}{hand}", set_name(zones, k.calls))
}

fn word(k: &Combination) -> String {
    let broken: Vec<&str> = k.broken().map(|i| CRITERIA[i].heading).collect();
    if broken.is_empty() {
        "holds".into()
    } else {
        format!("breaks {}", broken.join(", "))
    }
}

fn finding(w: Option<&Worst>, dimension: Dimension, units: UnitSystem, mark: &str) -> String {
    let Some(w) = w else { return "—".into() };
    let value = show_judged(w.finding.value, &w.finding.limit, dimension, units);
    let place = if w.finding.place.is_empty() {
        String::new()
    } else {
        format!(" {}", w.finding.place)
    };
    let mark = if w.finding.holds() { "" } else { mark };
    format!("{value}{place}{mark}")
}

/// Supply air where its margin is least among the states that count; at the controller's speed when no
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

fn extreme_supply(facts: &Facts, k: &Combination, units: UnitSystem) -> String {
    supply_c(facts, k).map_or("—".into(), |t| show(t, Dimension::Temperature, units))
}

/// Coil air per heat moved at the controller's speed.
fn air_per_kw(k: &Combination, units: UnitSystem) -> String {
    let Some(state) = k.controlled() else {
        return "—".into();
    };
    let per_kw = 1000.0 * state.point.coil_air_per_w();
    format!(
        "{}/kW",
        quantity::display(per_kw, Dimension::AirFlow, units)
    )
}

fn speeds(k: &Combination) -> String {
    let (mut least, mut most) = (f64::INFINITY, f64::NEG_INFINITY);
    for s in k.states.iter().filter(|s| s.counts()) {
        least = least.min(s.point.speed);
        most = most.max(s.point.speed);
    }
    if (most - least).abs() < 0.005 {
        format!("{:.0} %", 100.0 * most)
    } else {
        format!("{:.0} to {:.0} %", 100.0 * least, 100.0 * most)
    }
}

/// Folder that [`write()`] leaves: `out/combinations-<scenario>/`.
pub fn folder(out: &Path, s: &Scenario) -> PathBuf {
    out.join(format!("combinations-{}", s.name))
}

/// Writes tables and heat map into `out/combinations-<scenario>/`, whole or not at all.
///
/// # Errors
/// The folder cannot be written, or the figure not drawn.
pub fn write(
    out: &Path,
    s: &Scenario,
    c: &Combinations,
    units: UnitSystem,
    with_figures: bool,
) -> Result<PathBuf, ResultsError> {
    let drawn = match with_figures {
        true => {
            let figure = figure(s, c, units);
            let png = figure.png()?;
            Some((figure, png))
        }
        false => None,
    };
    let staged = OutputDir::stage(folder(out, s))?;
    staged.write("combinations.csv", &tables::csv(s, c))?;
    staged.write("states.csv", &tables::states_csv(s, c))?;
    if let Some((figure, png)) = &drawn {
        staged.write("figures/combinations.svg", figure.svg.as_bytes())?;
        staged.write("figures/combinations.png", png)?;
    }
    Ok(staged.commit()?)
}
