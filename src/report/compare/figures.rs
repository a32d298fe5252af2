//! Figures of a comparison: every file on the same axes.

use chrono::TimeDelta;

use crate::quantity::Dimension;
use crate::report::data::{external_static, static_pressure};
use crate::report::overlay::{Overlay, OverlayLine, OverlayPanel, overlay};
use crate::report::verdict::clock;
use crate::report::{Figure, FigureError, UnitSystem};
use crate::study::compare::Comparison;

/// Bypass fractions below are none.
const NO_RELIEF: f64 = 1e-6;
/// Flow at which the fan runs, m³/s.
const FAN_RUNS_M3_S: f64 = 1e-4;
const DAY_S: i64 = 86_400;

/// Every overlay figure with its PNG.
///
/// # Errors
/// The first that cannot be drawn.
pub(crate) fn figures(
    c: &Comparison,
    units: UnitSystem,
) -> Result<Vec<(Figure, Vec<u8>)>, FigureError> {
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
        subtitle: "The same axes for every file; colour, marker and label name the file".into(),
        runs: c.cases.iter().map(|k| k.scenario.name.clone()).collect(),
        start: start + TimeDelta::milliseconds((least * 1000.0) as i64),
        panels,
        remarks,
    }
}

/// Static, supply air, unit speed, fan flow and bypass fraction.
fn plant(c: &Comparison, units: UnitSystem) -> Overlay {
    let limit = &c.cases[0].scenario.limits.static_pa;
    let plain = |name: &'static str, quantity: Dimension| {
        lines(
            c,
            |run| column(c, run, name),
            |v| units.convert(quantity, v),
        )
    };
    let external = |run: usize| {
        let trace = &c.outcomes[run].trace;
        external_static(trace)
    };
    let (offsets, _) = offsets_s(c);
    let mut peaks = Vec::new();
    let mut worst = Vec::new();
    for (run, case) in c.cases.iter().enumerate() {
        if let Some(w) = static_pressure(&c.outcomes[run]) {
            worst.push((
                run,
                w.at_s + offsets[run],
                units.convert(Dimension::Pressure, w.worst_pa),
            ));
            peaks.push(format!(
                "{} {} at {}",
                case.scenario.name,
                units.show(w.worst_pa, Dimension::Pressure),
                clock(&case.scenario, w.at_s)
            ));
        }
    }
    let axis = |what: &str, quantity: Dimension| format!("{what}, {}", units.symbol(quantity));
    let mut panels = vec![
        OverlayPanel {
            heading: "Total external static, supply minus return".into(),
            axis: axis("Static", Dimension::Pressure),
            lines: lines(c, external, |v| units.convert(Dimension::Pressure, v)),
            limit: Some((
                units.convert(Dimension::Pressure, limit.value),
                format!("limit {}", units.show(limit.value, Dimension::Pressure)),
            )),
            setpoint: Vec::new(),
            worst: worst.clone(),
            reach: Some((0.0, 0.0)),
        },
        OverlayPanel {
            heading: "Supply air".into(),
            axis: axis("Temperature", Dimension::Temperature),
            lines: plain("unit.supply_C", Dimension::Temperature),
            limit: c.cases[0].scenario.supply_low_trip_c().map(|trip| {
                let text = format!("limit: trip {}", units.show(trip, Dimension::Temperature));
                (units.convert(Dimension::Temperature, trip), text)
            }),
            setpoint: Vec::new(),
            worst: Vec::new(),
            reach: None,
        },
        OverlayPanel {
            heading: "Unit speed, share of rated".into(),
            axis: axis("Speed", Dimension::Fraction),
            lines: plain("unit.speed", Dimension::Fraction),
            limit: None,
            setpoint: Vec::new(),
            worst: Vec::new(),
            reach: Some((0.0, 100.0)),
        },
        OverlayPanel {
            heading: "Fan flow".into(),
            axis: axis("Flow", Dimension::AirFlow),
            lines: plain("fan.flow_m3_s", Dimension::AirFlow),
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
            heading: "Bypass fraction: relief flow over fan flow, while the fan runs".into(),
            axis: "Bypass fraction, %".into(),
            lines: relief,
            limit: None,
            setpoint: Vec::new(),
            worst: Vec::new(),
            reach: Some((0.0, 100.0)),
        });
    }
    let mut remark = String::new();
    if !peaks.is_empty() {
        remark += &format!(
            "Triangles: highest static of all steps, recorded or not: {}.\n",
            peaks.join("; ")
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
            let shown = |v: f64| units.convert(Dimension::Temperature, v);
            let offset_s = offsets_s(c).0[0];
            let points = times.iter().zip(setpoint).filter(|p| p.1.is_finite());
            let setpoint = points.map(|(t, v)| (t + offset_s, shown(v))).collect();
            let name = format!("room.{room}.air_C");
            OverlayPanel {
                heading: format!("{}: air of {room}", first.zones[i].name),
                axis: units.symbol(Dimension::Temperature).into(),
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
    let symbol = units.symbol(Dimension::Velocity);
    let shown = |v: f64| units.convert(Dimension::Velocity, v);
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
            let bedroom = first.room_uses[zone.room].is_bedroom();
            let limit = first.limits.face_velocity(bedroom);
            let text = units.show(limit.value, Dimension::Velocity);
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
