//! The heat map of sets of calling zones.

use super::{at, headings, name, remarks, verdict};
use crate::quantity::Dimension;
use crate::report::heat_map::{HeatCell, HeatMap, HeatRow, heat_map};
use crate::report::{Figure, UnitSystem};
use crate::scenario::Scenario;
use crate::study::combinations::{Combinations, Worst};
use crate::study::criteria::CRITERIA;

/// Rows of the heat map.
const MAP_ROWS: usize = 40;

/// Draws the heat map: the worst sets against the criteria.
pub(crate) fn figure(s: &Scenario, c: &Combinations, units: UnitSystem) -> Figure {
    let limit = |i: usize| -> String {
        let limits = c.list.iter().filter_map(|k| k.worst[i].as_ref());
        let mut limits: Vec<f64> = limits.map(|w| w.finding.limit.value).collect();
        limits.sort_by(f64::total_cmp);
        limits.dedup();
        let worst = c.list.iter().find_map(|k| k.worst[i].as_ref());
        let Some(worst) = worst else {
            return "not judged".into();
        };
        let shown: Vec<String> = limits
            .iter()
            .map(|l| units.show(*l, CRITERIA[i].dimension))
            .collect();
        format!(
            "{} {}",
            worst.finding.limit.side.words(),
            shown.join(" or ")
        )
    };
    let mut columns: Vec<(String, String)> = CRITERIA
        .iter()
        .enumerate()
        .map(|(i, k)| (k.heading.to_string(), limit(i)))
        .collect();
    columns.push(("fails at rated".into(), "does not count".into()));
    let rows = c
        .list
        .iter()
        .take(MAP_ROWS)
        .map(|k| {
            let mode = if c.modes.len() > 1 {
                format!(", {}", k.mode.name())
            } else {
                String::new()
            };
            let mut cells: Vec<HeatCell> = k
                .worst
                .iter()
                .enumerate()
                .map(|(i, w)| HeatCell {
                    text: without_unit(w.as_ref(), CRITERIA[i].dimension, units),
                    used: w.as_ref().map_or(f64::NAN, |w| w.finding.used()),
                    exceeded: w.as_ref().is_some_and(|w| !w.finding.passes()),
                })
                .collect();
            cells.push(HeatCell {
                text: Some(headings(k.failed_at_rated()))
                    .filter(|t| !t.is_empty())
                    .unwrap_or("passes".into()),
                used: f64::NAN,
                exceeded: false,
            });
            HeatRow {
                name: format!("{}{mode}", name(k, &c.zones)),
                cells,
            }
        })
        .collect();
    let mut remarks = remarks(c);
    if c.list.len() > MAP_ROWS {
        remarks.insert(
            0,
            format!(
                "These are the {MAP_ROWS} worst of {}; combinations.csv has all.",
                c.list.len()
            ),
        );
    }
    heat_map(
        "combinations",
        &HeatMap {
            title: verdict(c),
            subtitle: format!("{} · {} · worst first", s.title, at(c, units)),
            rows_are: "zones calling".into(),
            columns,
            rows,
            remarks,
        },
    )
}

/// Value and place; the unit stands in the column's head.
fn without_unit(w: Option<&Worst>, dimension: Dimension, units: UnitSystem) -> String {
    let Some(w) = w else { return "—".into() };
    let shown = units.show_apart(w.finding.value, w.finding.limit.value, dimension);
    let value = shown.split_once(' ').map_or(shown.as_str(), |(n, _)| n);
    format!("{value} {}", w.finding.place)
        .trim_end()
        .to_string()
}
