//! Outlet flows and openings, a strip an outlet, all on one scale.

use super::canvas::{Canvas, Stroke, sheet};
use super::context::{Context, Series};
use super::lettering::{Align, BODY, SMALL, Type, elide};
use super::marks::Key;
use super::palette::{BAND, BLUE, Colour, MUTED, QUIET, series};
use super::panel::{
    BODY_TOP, EDGE, EndLabel, HEADING, LINE, NOTE, Panel, TIME_AXIS, WIDTH, header, nice_scale,
    notes,
};
use super::series::{held, range};
use super::{Figure, FigureError, Quantity, Story, UnitSystem};
use crate::trace::Trace;

const TOTAL_HEIGHT: f64 = 110.0;
/// Fill for a damper's opening.
const OPEN: Colour = Colour(0xD4, 0xD4, 0xD4);
/// Between strips, px.
const GAP: f64 = 18.0;
const LEFT: f64 = 178.0;
const MARGIN: f64 = 118.0;

/// One outlet's strip.
struct Strip<'a> {
    name: &'a str,
    zone: &'a str,
    colour: Colour,
    flow: &'a [f64],
    opening: Option<&'a [f64]>,
}

/// Draws fan and relief flow, then each outlet's flow as a filled strip with its damper's opening
/// as a line over it, grouped by zone. More than ten outlets stand in two columns.
///
/// # Errors
/// When the trace spans no time, or no outlet's flow is in it.
pub fn outlets(story: &Story, trace: &Trace, units: UnitSystem) -> Result<Figure, FigureError> {
    let context = Context::new("outlets", story, trace, units)?;
    let strips = strips(&context);
    if strips.is_empty() {
        let outlet = story.zones.iter().flat_map(|z| &z.outlets).next();
        let column = format!("outlet.{}.flow_m3_s", outlet.map_or("NAME", String::as_str));
        return Err(FigureError::NoColumn {
            figure: "outlets",
            column,
        });
    }
    let show = |v| units.convert(Quantity::AirFlow, v);
    let columns = if strips.len() > 10 { 2 } else { 1 };
    let tall = if strips.len() > 5 { 54.0 } else { 76.0 };
    let most = range(strips.iter().flat_map(|s| s.flow)).map_or(0.0, |r| r.1);
    let least = range(strips.iter().flat_map(|s| s.flow)).map_or(0.0, |r| r.0.min(0.0));
    let scale = nice_scale(show(least), show(most).max(1e-3), 2.0);
    let totals = totals(&context);
    let own_axis = if columns == 1 { 0.0 } else { TIME_AXIS };
    let total_height = if totals.is_empty() {
        0.0
    } else {
        HEADING + TOTAL_HEIGHT + own_axis
    };
    let per_column = strips.len().div_ceil(columns);
    let rows = per_column as f64 * (tall + GAP);
    let remarks = vec![
        "Coloured: flow, left scale. Grey behind it: the damper's opening, right scale, from shut at the foot of a strip to fully open at its top."
            .to_owned(),
        "A shut damper still leaks. All outlets share one scale.".to_owned(),
    ];
    let bottom = BODY_TOP + total_height + HEADING + rows + TIME_AXIS;
    let height = bottom + NOTE * remarks.len() as f64 + 16.0;

    sheet(
        "outlets",
        "Outlet flows and openings",
        (WIDTH, height.ceil()),
        |canvas| {
            header(
                canvas,
                "Air to every outlet, and how far its damper is open",
                &context,
            );
            let symbol = units.symbol(Quantity::AirFlow);
            if !totals.is_empty() {
                // Over one column of strips the times line up; over two it has its own axis.
                let left = if columns == 1 {
                    EDGE + LEFT
                } else {
                    EDGE + 54.0
                };
                let panel = draw_totals(canvas, &context, &totals, left);
                if columns > 1 {
                    panel.time_axis(canvas, &context.ticks(panel.right - panel.left));
                }
            }
            let top = BODY_TOP + total_height;
            let wide = (WIDTH - 2.0 * EDGE) / columns as f64;
            for column in 0..columns {
                let (from, to) = (
                    column * per_column,
                    ((column + 1) * per_column).min(strips.len()),
                );
                let mut y = top + HEADING + 8.0;
                let mut last = None;
                for (i, strip) in strips.iter().enumerate().take(to).skip(from) {
                    let panel = Panel {
                        left: EDGE + wide * column as f64 + LEFT,
                        top: y,
                        right: EDGE + wide * (column as f64 + 1.0) - MARGIN,
                        bottom: y + tall,
                        time: context.span,
                        value: (scale.0, scale.1),
                        step: scale.2,
                    };
                    let new_zone = i == from
                        || strips
                            .get(i.wrapping_sub(1))
                            .is_none_or(|s| s.zone != strip.zone);
                    draw(canvas, &panel, strip, &context, new_zone);
                    y += tall + GAP;
                    last = Some(panel);
                }
                if let Some(panel) = last {
                    panel.time_axis(canvas, &context.ticks(panel.right - panel.left));
                    let kind = Type::new(SMALL).bold().align(Align::Right);
                    let head = top + HEADING - 6.0;
                    canvas.text(&format!("Flow, {symbol}"), (panel.left - 4.0, head), kind);
                    canvas.text(
                        "Opening, %",
                        (panel.right + 2.0, head),
                        kind.align(Align::Left),
                    );
                }
            }
            notes(canvas, &remarks, bottom);
        },
    )
}

fn draw_totals(
    canvas: &mut Canvas<'_>,
    context: &Context<'_>,
    totals: &[Series],
    left: f64,
) -> Panel {
    let peak = range(
        totals
            .iter()
            .flat_map(|s| s.pieces.iter().flatten())
            .map(|p| &p.1),
    );
    let scale = nice_scale(0.0, peak.map_or(1.0, |r| r.1.max(1e-3)), 3.0);
    let panel = Panel {
        left,
        top: BODY_TOP + HEADING,
        right: WIDTH - EDGE - MARGIN,
        bottom: BODY_TOP + HEADING + TOTAL_HEIGHT,
        time: context.span,
        value: (scale.0, scale.1),
        step: scale.2,
    };
    let ticks = context.ticks(panel.right - panel.left);
    panel.ground(canvas, &context.any_band(), &ticks);
    let mut labels = Vec::new();
    for line in totals {
        let relief = line.colour == MUTED;
        for piece in line.pieces.iter().filter(|_| relief) {
            area(canvas, &panel, piece, QUIET.tint(0.5));
        }
        let stroke = Stroke::new(line.colour, if relief { 1.0 } else { LINE });
        panel.series(canvas, line, stroke);
        labels.extend(EndLabel::of(line).map(|l| EndLabel { stroke, ..l }));
    }
    panel.value_axis(
        canvas,
        &format!("Flow, {}", context.units.symbol(Quantity::AirFlow)),
    );
    panel.heading(canvas, "Fan and relief");
    let mut key = vec![(Key::Fill(OPEN), "damper opening")];
    if context.has_bands() {
        key.push((Key::Fill(BAND), "time band open"));
    }
    panel.key(canvas, &key);
    panel.end_labels(canvas, &labels, MARGIN);
    panel
}

/// Fills between a line and zero.
fn area(canvas: &mut Canvas<'_>, panel: &Panel, piece: &[(f64, f64)], fill: Colour) {
    let mut shape = panel.points(piece);
    if let (Some(&first), Some(&last)) = (shape.first(), shape.last()) {
        let zero = panel.y(0.0);
        shape.extend([(last.0, zero), (first.0, zero)]);
        canvas.polygon(&shape, fill);
    }
}

fn strips<'a>(context: &Context<'a>) -> Vec<Strip<'a>> {
    let mut strips = Vec::new();
    for (i, zone) in context.story.zones.iter().enumerate() {
        for name in &zone.outlets {
            if let Some(flow) = context.trace.column(&format!("outlet.{name}.flow_m3_s")) {
                let opening = context.trace.column(&format!("outlet.{name}.opening"));
                strips.push(Strip {
                    name,
                    zone: &zone.name,
                    colour: series(i),
                    flow,
                    opening,
                });
            }
        }
    }
    strips
}

fn totals(context: &Context<'_>) -> Vec<Series> {
    [
        ("fan.flow_m3_s", "fan", BLUE),
        ("relief.flow_m3_s", "relief", MUTED),
    ]
    .into_iter()
    .filter_map(|(column, name, colour)| {
        let flow = context.trace.column(column)?;
        let pieces = context.thin(flow, 1500, |v| context.units.convert(Quantity::AirFlow, v));
        let name = name.to_owned();
        (!pieces.is_empty()).then_some(Series {
            name,
            colour,
            marker: None,
            pieces,
        })
    })
    .collect()
}

fn draw(
    canvas: &mut Canvas<'_>,
    panel: &Panel,
    strip: &Strip<'_>,
    context: &Context<'_>,
    new_zone: bool,
) {
    let units = context.units;
    let show = |v| units.convert(Quantity::AirFlow, v);
    let ticks = context.ticks(panel.right - panel.left);
    let bands = context.story.zones.iter().find(|z| z.name == strip.zone);
    panel.ground(
        canvas,
        &bands.and_then(|z| context.zone_band(z)).unwrap_or_default(),
        &ticks,
    );
    let points = ((panel.right - panel.left) * 1.6) as usize;
    if let Some(opening) = strip.opening {
        let whole = Panel {
            value: (0.0, 1.0),
            ..*panel
        };
        for piece in context.thin(opening, points, |v| v) {
            let steps = held(&piece);
            area(canvas, &whole, &steps, OPEN);
            canvas.path(&whole.points(&steps), Stroke::new(QUIET, 0.6));
        }
        let kind = Type::new(SMALL).muted();
        canvas.text("100", (panel.right + 6.0, panel.top), kind);
        canvas.text("0", (panel.right + 6.0, panel.bottom), kind);
    }
    for piece in context.thin(strip.flow, points, show) {
        area(canvas, panel, &piece, strip.colour.tint(0.55));
        let line = panel.points(&piece);
        canvas.path(&line, Stroke::new(strip.colour, 1.1));
    }
    let middle = (panel.top + panel.bottom) / 2.0;
    let left = panel.left - LEFT;
    panel.value_axis(canvas, "");
    let name = elide(strip.name, BODY, true, LEFT - 52.0);
    canvas.text(&name, (left, middle - 9.0), Type::new(BODY).bold());
    let zone = if new_zone {
        format!("zone {}", strip.zone)
    } else {
        "same zone".to_owned()
    };
    let zone = elide(&zone, SMALL, false, LEFT - 52.0);
    canvas.text(&zone, (left, middle + 10.0), Type::new(SMALL).muted());
    if let Some((_, most)) = range(strip.flow) {
        let text = format!("most {}", units.text(Quantity::AirFlow, most));
        canvas.text(&text, (panel.right + 30.0, middle), Type::new(SMALL));
    }
}
