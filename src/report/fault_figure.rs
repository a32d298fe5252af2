//! A fault over the healthy run: room air of the zone that shows it, and external static.

use super::canvas::Stroke;
use super::data::{FigureData, external_static};
use super::palette::{BLUE, INK, SCHEDULED, VERMILLION};
use super::sheet::{LIMIT_LINE, Layer, Line, Panel, all_held};
use super::{Figure, FigureError};
use crate::engine::event::What;
use crate::quantity::Dimension::{self, Pressure, Temperature, TemperatureDifference};
use crate::trace::Trace;

const HEIGHT: f64 = 250.0;
const SETPOINT: Stroke = Stroke::new(INK, 1.2).dashed(2.0, 3.0);

/// What is laid over what: the figure's data are of the run with the fault.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Faulty<'a> {
    /// The fault in words.
    pub words: &'a str,
    /// Room whose air is drawn.
    pub room: &'a str,
    /// Zone whose setpoint is drawn.
    pub zone: &'a str,
    /// The healthy run, recorded at the same instants.
    pub healthy: &'a Trace,
}

/// Draws the two runs over each other on one time axis.
///
/// # Errors
/// When a trace lacks the static pressure or the room's air.
pub(crate) fn fault_figure(
    data: &FigureData<'_>,
    fault: &Faulty<'_>,
) -> Result<Figure, FigureError> {
    let air = format!("room.{}.air_C", fault.room);
    let healthy_air = fault.healthy.column(&air).ok_or_else(|| data.lacks(&air))?;
    let air = data.need(&air)?;
    let lacks = || data.lacks("supply_plenum.static_Pa");
    let healthy_static = external_static(fault.healthy).ok_or_else(lacks)?;
    let statics = external_static(&data.outcome.trace).ok_or_else(lacks)?;

    let mut temperature = under(data);
    if let Some(column) = data.column(&format!("zone.{}.setpoint_C", fault.zone)) {
        let pieces = all_held(&data.line(column, Temperature));
        let line = Line::new(pieces, "setpoint", INK).stroke(SETPOINT);
        temperature.push(Layer::Line(line));
    }
    temperature.extend(pair(data, healthy_air, air, Temperature));
    let limit = &data.scenario.limits.static_pa;
    let text = format!("limit {}", data.text(limit.value, Pressure));
    let mut pressure = under(data);
    let value = data.shown(limit.value, Pressure);
    pressure.push(Layer::Limit(value, text, LIMIT_LINE, Vec::new()));
    pressure.extend(pair(data, &healthy_static, &statics, Pressure));

    let apart = [
        apart(
            data,
            healthy_air,
            air,
            TemperatureDifference,
            ("warmer", "colder"),
        )
        .map(|text| format!("{} up to {text}", fault.room)),
        apart(
            data,
            &healthy_static,
            &statics,
            Pressure,
            ("higher", "lower"),
        )
        .map(|text| format!("static up to {text}")),
    ];
    let apart: Vec<String> = apart.into_iter().flatten().collect();
    let finding = match apart.is_empty() {
        true => "no difference to be seen".to_owned(),
        false => apart.join(", "),
    };
    let mut sheet = data.sheet(format!("{}: {finding}", super::data::capital(fault.words)));
    let zero = Some((0.0, 0.0));
    sheet.panels = vec![
        Panel::new(format!("Air of {}", fault.room), HEIGHT, temperature).fitted(
            &data.axis("Room air", Temperature),
            None,
            5.0,
        ),
        Panel::new(
            "Total external static (supply minus return)",
            HEIGHT,
            pressure,
        )
        .fitted(&data.axis("Static", Pressure), zero, 5.0),
    ];
    sheet.notes = data.trip_notes();
    sheet.draw()
}

/// Scheduled periods, and marks where a fault begins or ends.
fn under(data: &FigureData<'_>) -> Vec<Layer> {
    let faults = data.outcome.events.iter().filter(|e| e.what == What::Fault);
    let named = faults.map(|e| {
        let ends = e.text.starts_with("fault ends");
        (
            e.t_s,
            if ends { "fault ends" } else { "fault begins" }.to_owned(),
        )
    });
    vec![
        Layer::Shade(data.any_scheduled(), SCHEDULED),
        Layer::Events(named.collect()),
    ]
}

fn pair(
    data: &FigureData<'_>,
    healthy: &[f64],
    faulty: &[f64],
    dimension: Dimension,
) -> [Layer; 2] {
    let line = |values, name, colour| Line::new(data.line(values, dimension), name, colour);
    [
        Layer::Line(line(healthy, "healthy", BLUE)),
        Layer::Line(line(faulty, "with the fault", VERMILLION).marked(0)),
    ]
}

/// The furthest that two runs part, in words; `None` when it would read as nothing.
fn apart(
    data: &FigureData<'_>,
    healthy: &[f64],
    faulty: &[f64],
    dimension: Dimension,
    (more, less): (&str, &str),
) -> Option<String> {
    let differences = faulty.iter().zip(healthy).map(|(f, h)| f - h);
    let furthest = differences
        .filter(|d| d.is_finite())
        .max_by(|a, b| a.abs().total_cmp(&b.abs()))?;
    let shown = data.shown(furthest.abs(), dimension);
    let rounded = crate::quantity::significant((shown * 10.0).round() / 10.0, 3);
    let word = if furthest > 0.0 { more } else { less };
    let symbol = dimension.shown_unit(data.units).symbol;
    (rounded != "0").then(|| format!("{rounded} {symbol} {word}"))
}
