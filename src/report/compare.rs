//! What a comparison tells: sentences, table, figures on the same axes, CSV.

use std::path::{Path, PathBuf};

use chrono::TimeDelta;
use comfy_table::{Cell, CellAlignment, ContentArrangement, Table, presets};

use super::context::external_static;
use super::overlay::{Overlay, OverlayLine, OverlayPanel, overlay};
use super::results::{ResultsError, symbol_of, table_of};
use super::tell::static_pressure;
use super::verdict::{clock, show, show_difference, show_judged};
use super::{Figure, FigureError, OutputDir, Quantity, UnitSystem, in_words};
use crate::measure::Side;
use crate::quantity::{self, Dimension};
use crate::study::case::Case;
use crate::study::compare::{Comparison, Judgement, Row};

/// Fewest shares of relief that are worth a panel.
const NO_RELIEF: f64 = 1e-6;
/// Flow at which the fan runs, m³/s.
const FAN_RUNS_M3_S: f64 = 1e-4;
const DAY_S: i64 = 86_400;

/// The comparison for a terminal.
pub fn text(
    c: &Comparison,
    units: UnitSystem,
    width: u16,
    bold: impl Fn(&str) -> String,
) -> String {
    let mut out = bold(&heading(c));
    out.push('\n');
    for sentence in c.sentences(units) {
        out += &sentence;
        out.push('\n');
    }
    out.push('\n');
    let telling: Vec<&Row> = c.rows.iter().filter(|r| r.is_telling()).collect();
    out += &rows(c, &telling, units, width);
    let left_out = c.rows.len() - telling.len();
    out += "* breaks its limit. Better and worse are against the first file.\n";
    if left_out > 0 {
        out += &format!("{left_out} more measures are in compare.csv.\n");
    }
    out
}

fn heading(c: &Comparison) -> String {
    let names: Vec<&str> = c.cases.iter().map(|k| k.scenario.title.as_str()).collect();
    names.join(" | ")
}

fn rows(c: &Comparison, rows: &[&Row], units: UnitSystem, width: u16) -> String {
    let mut table = Table::new();
    let mut head = vec!["measure".to_string(), "where".into(), "limit".into()];
    for (i, case) in c.cases.iter().enumerate() {
        head.push(case.scenario.name.clone());
        if i > 0 {
            head.push("change".into());
        }
    }
    table
        .load_style(presets::NOTHING)
        .set_content_arrangement(ContentArrangement::Dynamic)
        .set_width(width)
        .set_header(head);
    for row in rows {
        let limit = row.limits.iter().flatten().next();
        let mut cells = vec![
            Cell::new(in_words(row.title, units)),
            Cell::new(&row.subject),
            Cell::new(limit.map_or(String::new(), |l| {
                let side = if l.side == Side::AtMost { "≤" } else { "≥" };
                format!("{side} {}", show(l.value, row.dimension, units))
            })),
        ];
        for i in 0..c.cases.len() {
            let value = match row.values[i] {
                None => "—".to_string(),
                Some(v) => match &row.limits[i] {
                    Some(l) => show_judged(v, l, row.dimension, units),
                    None => show(v, row.dimension, units),
                },
            };
            let mark = if row.holds[i] == Some(false) {
                " *"
            } else {
                ""
            };
            let cell = Cell::new(format!("{value}{mark}"));
            cells.push(cell.set_alignment(CellAlignment::Right));
            if i > 0 {
                cells.push(Cell::new(change(row, i, units)).set_alignment(CellAlignment::Right));
            }
        }
        table.add_row(cells);
    }
    let mut text = table.trim_fmt();
    text.push('\n');
    text
}

fn change(row: &Row, i: usize, units: UnitSystem) -> String {
    let judgement = row.judgement(i);
    let Some(difference) = row.difference(i) else {
        return String::new();
    };
    if judgement == Judgement::Same {
        return "same".into();
    }
    let sign = if difference < 0.0 { "−" } else { "+" };
    let size = show_difference(difference.abs(), row.dimension, units);
    format!("{sign}{size} {}", judgement.word())
        .trim_end()
        .to_string()
}

/// Folder that [`write()`] leaves: `out/compare-<a>-<b>/`.
pub fn folder(out: &Path, cases: &[Case]) -> PathBuf {
    let names: Vec<&str> = cases.iter().map(|k| k.scenario.name.as_str()).collect();
    out.join(format!("compare-{}", names.join("-")))
}

/// Writes `compare.csv` and the figures into `out/compare-<a>-<b>/`, whole or not at all.
///
/// # Errors
/// The folder cannot be written, or a figure not drawn.
pub fn write(
    out: &Path,
    c: &Comparison,
    units: UnitSystem,
    with_figures: bool,
) -> Result<PathBuf, ResultsError> {
    let drawn = if with_figures {
        figures(c, units)?
    } else {
        Vec::new()
    };
    let staged = OutputDir::stage(folder(out, &c.cases))?;
    staged.write("compare.csv", &csv(c))?;
    staged.write("changes.csv", &changes_csv(c))?;
    for (figure, png) in &drawn {
        staged.write(
            format!("figures/{}.svg", figure.name),
            figure.svg.as_bytes(),
        )?;
        staged.write(format!("figures/{}.png", figure.name), png)?;
    }
    Ok(staged.commit()?)
}

fn number(v: Option<f64>) -> String {
    v.filter(|v| v.is_finite())
        .map_or(String::new(), |v| v.to_string())
}

fn csv(c: &Comparison) -> Vec<u8> {
    let mut head: Vec<String> = ["measure", "subject", "unit", "limit", "side"]
        .map(String::from)
        .to_vec();
    for (i, case) in c.cases.iter().enumerate() {
        let name = &case.scenario.name;
        head.push(name.clone());
        head.push(format!("{name}.holds"));
        if i > 0 {
            head.push(format!("{name}.difference"));
            head.push(format!("{name}.judgement"));
        }
    }
    let rows = c.rows.iter().map(|row| {
        let limit = row.limits.iter().flatten().next();
        let mut cells = vec![
            row.key.to_string(),
            row.subject.clone(),
            symbol_of(row.dimension).to_string(),
            number(limit.map(|l| l.value)),
            limit
                .map_or("", |l| match l.side {
                    Side::AtMost => "at most",
                    Side::AtLeast => "at least",
                })
                .to_string(),
        ];
        for i in 0..c.cases.len() {
            cells.push(number(row.value(i)));
            let holds = match row.holds[i] {
                Some(true) => "yes",
                Some(false) => "no",
                None => "",
            };
            cells.push(holds.into());
            if i > 0 {
                cells.push(number(row.difference(i)));
                cells.push(row.judgement(i).word().into());
            }
        }
        cells
    });
    table_of(&head, rows)
}

fn changes_csv(c: &Comparison) -> Vec<u8> {
    let mut head = vec!["key".to_string()];
    head.extend(c.cases.iter().map(|k| k.scenario.name.clone()));
    let rows = c.changes.iter().map(|change| {
        let values = change.values.iter().map(|v| v.clone().unwrap_or_default());
        std::iter::once(change.key.clone())
            .chain(values)
            .collect::<Vec<_>>()
    });
    table_of(&head, rows)
}

/// Every overlay figure with its PNG.
///
/// # Errors
/// The first that cannot be drawn.
pub fn figures(c: &Comparison, units: UnitSystem) -> Result<Vec<(Figure, Vec<u8>)>, FigureError> {
    use rayon::prelude::*;
    let sheets = [
        ("plant", plant(c, units)),
        ("rooms", rooms(c, units)),
        ("outlets", outlets(c, units)),
    ];
    sheets
        .par_iter()
        .filter(|(_, sheet)| !sheet.panels.is_empty())
        .map(|(name, sheet)| {
            let figure = overlay(name, sheet)?;
            let png = figure.png()?;
            Ok((figure, png))
        })
        .collect()
}

/// Seconds by which each run is shifted so that the same clock time stands above each other. Runs on
/// other dates are shifted by whole days to the first.
fn offsets_s(c: &Comparison) -> (Vec<f64>, bool) {
    let first = &c.cases[0].scenario.run;
    let mut moved = false;
    let offsets = c
        .cases
        .iter()
        .map(|case| {
            let run = &case.scenario.run;
            let apart = (run.start - first.start).num_seconds();
            let overlap = run.start < first.end() && first.start < run.end();
            if overlap {
                return apart as f64;
            }
            moved = true;
            let rest = apart.rem_euclid(DAY_S);
            let fits = (rest as f64) < first.duration_s;
            (if fits { rest } else { rest - DAY_S }) as f64
        })
        .collect();
    (offsets, moved)
}

/// A column of every run that has it.
fn lines(
    c: &Comparison,
    column: impl Fn(usize) -> Option<Vec<f64>>,
    show: impl Fn(f64) -> f64,
) -> Vec<OverlayLine> {
    let (offsets, _) = offsets_s(c);
    (0..c.cases.len())
        .filter_map(|run| {
            let t = c.outcomes[run].trace.column("time_s")?;
            let values = column(run)?;
            Some(OverlayLine {
                run,
                t_s: t.iter().map(|t| t + offsets[run]).collect(),
                values: values.into_iter().map(&show).collect(),
            })
        })
        .collect()
}

fn column(c: &Comparison, run: usize, name: &str) -> Option<Vec<f64>> {
    c.outcomes[run].trace.column(name).map(<[f64]>::to_vec)
}

fn sheet(c: &Comparison, title: &str, panels: Vec<OverlayPanel>, remark: &str) -> Overlay {
    let (offsets, moved) = offsets_s(c);
    let start = c.cases[0].scenario.start();
    let least = offsets.iter().copied().fold(0.0, f64::min);
    let mut remarks: Vec<String> = c
        .cases
        .iter()
        .map(|k| format!("{}: {}", k.scenario.name, k.scenario.title))
        .collect();
    if moved {
        remarks.push("Runs on other dates are shifted by whole days to the first run's.".into());
    }
    remarks.extend(remark.lines().map(str::to_string));
    // The axis begins with the earliest run.
    let mut panels = panels;
    for panel in &mut panels {
        for line in &mut panel.lines {
            line.t_s.iter_mut().for_each(|t| *t -= least);
        }
        panel.worst.iter_mut().for_each(|w| w.1 -= least);
    }
    Overlay {
        title: title.into(),
        subtitle: "The same axes for every file; colour, marker and label say which".into(),
        runs: c.cases.iter().map(|k| k.scenario.name.clone()).collect(),
        start: start + TimeDelta::milliseconds((least * 1000.0) as i64),
        panels,
        remarks,
    }
}

/// Static, supply air, unit speed, fan flow and relief share.
fn plant(c: &Comparison, units: UnitSystem) -> Overlay {
    let limit = &c.cases[0].scenario.limits.static_pa;
    let plain = |name: &'static str, quantity: Quantity| {
        lines(
            c,
            |run| column(c, run, name),
            |v| units.convert(quantity, v),
        )
    };
    let external = |run: usize| {
        let trace = &c.outcomes[run].trace;
        external_static(|name| trace.column(name).ok_or(())).ok()
    };
    let (offsets, _) = offsets_s(c);
    let mut told = Vec::new();
    let mut worst = Vec::new();
    for (run, case) in c.cases.iter().enumerate() {
        if let Some(w) = static_pressure(&c.outcomes[run]) {
            worst.push((
                run,
                w.at_s + offsets[run],
                units.convert(Quantity::Pressure, w.worst_pa),
            ));
            told.push(format!(
                "{} {} at {}",
                case.scenario.name,
                show(w.worst_pa, Dimension::Pressure, units),
                clock(&case.scenario, w.at_s)
            ));
        }
    }
    let axis = |what: &str, quantity: Quantity| format!("{what}, {}", units.symbol(quantity));
    let mut panels = vec![
        OverlayPanel {
            heading: "External static pressure, supply less return plenum".into(),
            axis: axis("Static", Quantity::Pressure),
            lines: lines(c, external, |v| units.convert(Quantity::Pressure, v)),
            limit: Some((
                units.convert(Quantity::Pressure, limit.value),
                format!("limit {}", units.text(Quantity::Pressure, limit.value)),
            )),
            setpoint: Vec::new(),
            worst: worst.clone(),
            reach: Some((0.0, 0.0)),
        },
        OverlayPanel {
            heading: "Supply air".into(),
            axis: axis("Temperature", Quantity::Temperature),
            lines: plain("unit.supply_C", Quantity::Temperature),
            limit: c.cases[0].scenario.supply_low_trip_c().map(|trip| {
                let text = format!("limit: trip {}", units.text(Quantity::Temperature, trip));
                (units.convert(Quantity::Temperature, trip), text)
            }),
            setpoint: Vec::new(),
            worst: Vec::new(),
            reach: None,
        },
        OverlayPanel {
            heading: "Speed of the unit, of rated".into(),
            axis: axis("Speed", Quantity::Share),
            lines: plain("unit.speed", Quantity::Share),
            limit: None,
            setpoint: Vec::new(),
            worst: Vec::new(),
            reach: Some((0.0, 100.0)),
        },
        OverlayPanel {
            heading: "Fan flow".into(),
            axis: axis("Flow", Quantity::Flow),
            lines: plain("fan.flow_m3_s", Quantity::Flow),
            limit: None,
            setpoint: Vec::new(),
            worst: Vec::new(),
            reach: Some((0.0, 0.0)),
        },
    ];
    let share = |run: usize| {
        let relief = column(c, run, "relief.flow_m3_s")?;
        let fan = column(c, run, "fan.flow_m3_s")?;
        let share = |(r, f): (f64, f64)| if f > FAN_RUNS_M3_S { r / f } else { f64::NAN };
        let share: Vec<f64> = relief.into_iter().zip(fan).map(share).collect();
        share.iter().any(|s| *s > NO_RELIEF).then_some(share)
    };
    let relief = lines(c, share, |v| 100.0 * v);
    if !relief.is_empty() {
        panels.push(OverlayPanel {
            heading: "Relief flow as a share of fan flow, while the fan runs".into(),
            axis: "Share, %".into(),
            lines: relief,
            limit: None,
            setpoint: Vec::new(),
            worst: Vec::new(),
            reach: Some((0.0, 100.0)),
        });
    }
    let mut remark = String::new();
    if !told.is_empty() {
        remark += &format!(
            "Triangles: worst static of every step, recorded or not: {}.\n",
            told.join("; ")
        );
    }
    if panels.len() > 4 {
        remark += "A file without relief has no line of relief flow.";
    }
    sheet(c, "Plant, side by side", panels, &remark)
}

/// The room of each thermostat.
fn rooms(c: &Comparison, units: UnitSystem) -> Overlay {
    let first = &c.cases[0].scenario;
    let panels = first
        .zones
        .iter()
        .enumerate()
        .map(|(i, zone)| {
            let room = &first.rooms[zone.room].name;
            let setpoint = format!("zone.{}.setpoint_C", zone.name);
            let setpoint = column(c, 0, &setpoint).unwrap_or_default();
            let times = c.outcomes[0].trace.column("time_s").unwrap_or_default();
            let shown = |v: f64| units.convert(Quantity::Temperature, v);
            let offset_s = offsets_s(c).0[0];
            let points = times.iter().zip(setpoint).filter(|p| p.1.is_finite());
            let setpoint = points.map(|(t, v)| (t + offset_s, shown(v))).collect();
            let name = format!("room.{room}.air_C");
            OverlayPanel {
                heading: format!("{}: air of {room}", first.zones[i].name),
                axis: units.symbol(Quantity::Temperature).into(),
                lines: lines(c, |run| column(c, run, &name), shown),
                limit: None,
                setpoint,
                worst: Vec::new(),
                reach: None,
            }
        })
        .collect();
    let remark = "The dashed line is the setpoint in force in the first file.";
    sheet(c, "Rooms with thermostats, side by side", panels, remark)
}

/// The highest face velocity among each zone's outlets.
fn outlets(c: &Comparison, units: UnitSystem) -> Overlay {
    let first = &c.cases[0].scenario;
    let unit = Dimension::Velocity.shown_unit(units);
    let symbol = unit.symbol;
    let shown = |v: f64| unit.from_si(v);
    let panels = first
        .zones
        .iter()
        .map(|zone| {
            let highest = |run: usize| -> Option<Vec<f64>> {
                let s = &c.cases[run].scenario;
                let zone = s.zones.iter().find(|z| z.name == zone.name)?;
                let mut most: Vec<f64> = Vec::new();
                for &o in &zone.outlets {
                    let name = format!("outlet.{}.face_velocity_m_s", s.outlets[o].name);
                    let column = c.outcomes[run].trace.column(&name)?;
                    if most.is_empty() {
                        most = column.to_vec();
                    } else {
                        most.iter_mut()
                            .zip(column)
                            .for_each(|(m, v)| *m = m.max(*v));
                    }
                }
                Some(most)
            };
            let limit = first
                .limits
                .face_velocity(first.room_uses[zone.room].is_bedroom());
            let text = quantity::display(limit.value, Dimension::Velocity, units);
            OverlayPanel {
                heading: format!("{}: highest face velocity at its grilles", zone.name),
                axis: symbol.into(),
                lines: lines(c, highest, shown),
                limit: Some((shown(limit.value), format!("limit {text}"))),
                setpoint: Vec::new(),
                worst: Vec::new(),
                reach: Some((0.0, 0.0)),
            }
        })
        .collect();
    sheet(c, "Grilles, side by side", panels, "")
}
