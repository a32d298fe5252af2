//! A fault over the healthy run: room air of the zone that shows it, and external static.

use super::canvas::{Canvas, Stroke, sheet};
use super::context::{Context, Series};
use super::lettering::{Align, SMALL, Type};
use super::palette::{BLUE, INK, LIMIT, PAPER, VERMILLION};
use super::panel::{
    BODY_TOP, EDGE, EndLabel, HEADING, LINE, NOTE, Panel, TIME_AXIS, WIDTH, header, label_margin,
    nice_scale, notes,
};
use super::series::{cover, held, range};
use super::time_axis::Tick;
use super::{EventKind, Figure, FigureError, Quantity, Story, UnitSystem};
use crate::trace::Trace;

const HEIGHT: f64 = 250.0;

/// The two runs to compare.
#[derive(Clone, Copy, Debug)]
pub struct Overlay<'a> {
    /// The fault in words.
    pub words: &'a str,
    /// Room whose air is drawn.
    pub room: &'a str,
    /// Zone whose setpoint is drawn.
    pub zone: &'a str,
    /// The healthy run.
    pub healthy: &'a Trace,
    /// The run with the fault; the story's events are of this run.
    pub faulty: &'a Trace,
}

/// Draws the two runs over each other on one time axis.
///
/// # Errors
/// When a trace spans no time, or lacks the static pressure or the room's air.
pub fn fault_figure(
    story: &Story,
    overlay: &Overlay<'_>,
    units: UnitSystem,
) -> Result<Figure, FigureError> {
    let context = Context::new("fault", story, overlay.faulty, units)?;
    let healthy = Context::new("fault", story, overlay.healthy, units)?;
    let air = format!("room.{}.air_C", overlay.room);
    let set = format!("zone.{}.setpoint_C", overlay.zone);
    let mut lines = Vec::new();
    for quantity in [Quantity::Temperature, Quantity::Pressure] {
        let line = |of: &Context<'_>, name: &str, colour, marker| -> Result<Series, FigureError> {
            let column = match quantity {
                Quantity::Pressure => of.external_static()?,
                _ => of.need(&air)?.to_vec(),
            };
            Ok(Series {
                name: name.to_owned(),
                colour,
                marker,
                pieces: of.thin(&column, 1500, |v| units.convert(quantity, v)),
            })
        };
        lines.push([
            line(&healthy, "healthy", BLUE, None)?,
            line(&context, "with the fault", VERMILLION, Some(0))?,
        ]);
    }
    let setpoint = overlay.faulty.column(&set).map(|column| {
        let mut pieces = context.thin(column, 1500, |v| units.convert(Quantity::Temperature, v));
        pieces.iter_mut().for_each(|p| *p = held(p));
        pieces
    });
    let limit = story.limits.static_pa.as_ref();
    let limit = limit.map(|l| (units.convert(Quantity::Pressure, l.value), l));
    let limit_text =
        limit.map(|(_, l)| format!("limit {}", units.text(Quantity::Pressure, l.value)));
    let margin = label_margin(
        ["with the fault"].into_iter().chain(limit_text.as_deref()),
        190.0,
    );
    let mut remarks = vec![format!(
        "Above: air of {}, setpoint dotted. Below: total external static, supply minus return.",
        overlay.room
    )];
    remarks.extend(context.trip_notes(WIDTH - 2.0 * EDGE));
    let bottom = BODY_TOP + 2.0 * (HEADING + HEIGHT) + TIME_AXIS;
    let height = bottom + NOTE * remarks.len() as f64 + 16.0;
    let title = format!("Fault: {}", overlay.words);
    sheet("fault", &title, (WIDTH, height.ceil()), |canvas| {
        header(canvas, &title, &context);
        let (left, right) = (EDGE + 60.0, WIDTH - EDGE - margin);
        let ticks = context.ticks(right - left);
        let mut top = BODY_TOP + HEADING;
        for (i, pair) in lines.iter().enumerate() {
            let mut seen = range(
                pair.iter()
                    .flat_map(|s| s.pieces.iter().flatten())
                    .map(|p| &p.1),
            );
            if i == 0 {
                let set = setpoint.iter().flatten().flatten().map(|p| &p.1);
                seen = cover(seen, range(set));
            } else {
                seen = cover(seen, limit.map(|l| (0.0, l.0)));
            }
            let (low, high) = seen.unwrap_or((0.0, 1.0));
            let scale = nice_scale(low, high, 5.0);
            let panel = Panel {
                left,
                top,
                right,
                bottom: top + HEIGHT,
                time: context.span,
                value: (scale.0, scale.1),
                step: scale.2,
            };
            ground(canvas, &panel, &context, &ticks);
            let mut labels: Vec<EndLabel> = Vec::new();
            if i == 0 {
                for piece in setpoint.iter().flatten() {
                    canvas.path(&panel.points(piece), Stroke::new(INK, 1.2).dashed(2.0, 3.0));
                }
            } else if let (Some((at, _)), Some(text)) = (limit, &limit_text) {
                let stroke = Stroke::new(LIMIT, 1.6).dashed(10.0, 4.0);
                canvas.line((left, panel.y(at)), (right, panel.y(at)), stroke);
                labels.push(EndLabel::line(at, text.clone(), stroke));
            }
            for series in pair {
                panel.series(canvas, series, Stroke::new(series.colour, LINE));
                labels.extend(EndLabel::of(series));
            }
            let (quantity, what) = match i {
                0 => (Quantity::Temperature, "Room air"),
                _ => (Quantity::Pressure, "Static pressure"),
            };
            panel.value_axis(canvas, &format!("{what}, {}", units.symbol(quantity)));
            let heading = match i {
                0 => format!("Air of {}", overlay.room),
                _ => "Total external static pressure (supply minus return)".to_owned(),
            };
            panel.heading(canvas, &heading);
            panel.end_labels(canvas, &labels, margin);
            if i == 1 {
                panel.time_axis(canvas, &ticks);
            }
            top = panel.bottom + HEADING;
        }
        notes(canvas, &remarks, bottom);
    })
}

/// Grid, scheduled periods, and a mark where a fault begins or ends.
fn ground(canvas: &mut Canvas<'_>, panel: &Panel, context: &Context<'_>, ticks: &[Tick]) {
    panel.ground(canvas, &context.any_band(), ticks);
    for event in context.story.events_of(EventKind::Fault) {
        let x = panel.x(event.t_s);
        let stroke = Stroke::new(INK, 1.2).dashed(6.0, 4.0);
        canvas.line((x, panel.top), (x, panel.bottom), stroke);
        let word = if event.text.starts_with("fault ends") {
            "ends"
        } else {
            "begins"
        };
        let x = x.clamp(panel.left + 4.0, panel.right - 60.0);
        let kind = Type::new(SMALL).bold().align(Align::Left);
        canvas.label(
            &format!("fault {word}"),
            (x + 6.0, panel.top + 11.0),
            kind,
            PAPER,
        );
    }
}
