//! Supply and entering air temperature against the unit's protections.

use super::canvas::{Stroke, sheet};
use super::context::{Context, FAN_RUNS_M3_S, Pieces, Series};
use super::marks::Key;
use super::palette::{BAND, BLUE, LIMIT, MUTED, ORANGE, QUIET, SKY_BLUE};
use super::panel::{
    BODY_TOP, EDGE, EndLabel, HEADING, LINE, NOTE, Panel, TIME_AXIS, WIDTH, header, label_margin,
    nice_scale, notes,
};
use super::series::{cover, range};
use super::{Figure, FigureError, Quantity, Story, StoryLimit, UnitSystem};
use crate::trace::Trace;

const HEIGHT: f64 = 420.0;
/// A protection this far from anything seen is named in a note instead of squeezing the scale, K.
const NEAR_K: f64 = 12.0;

/// Draws supply air and air entering the coil, the coil's surface if recorded, trip and reset
/// lines with their sources, and trips as numbered flags told below.
///
/// # Errors
/// When the trace spans no time, or lacks `unit.supply_C`.
pub fn supply(story: &Story, trace: &Trace, units: UnitSystem) -> Result<Figure, FigureError> {
    let context = Context::new("supply", story, trace, units)?;
    let show = |v| units.convert(Quantity::Temperature, v);
    let column = context.need("unit.supply_C")?;
    let flow = trace.column("fan.flow_m3_s");
    let runs = |column: &[f64]| -> Pieces {
        let Some(flow) = flow else {
            return context.thin(column, 1500, show);
        };
        let air = |(v, f): (&f64, &f64)| if *f > FAN_RUNS_M3_S { *v } else { f64::NAN };
        let moving: Vec<f64> = column.iter().zip(flow).map(air).collect();
        context.thin(&moving, 1500, show)
    };
    let whole = context.thin(column, 1500, show);
    let line = |column: &str, name: &str, colour, marker| {
        let pieces = runs(trace.column(column)?);
        let name = name.to_owned();
        (!pieces.is_empty()).then_some(Series {
            name,
            colour,
            marker: Some(marker),
            pieces,
        })
    };
    let lines: Vec<Series> = [
        line("unit.surface_C", "coil surface", SKY_BLUE, 2),
        line("unit.entering_C", "entering coil", ORANGE, 1),
        line("unit.supply_C", "supply", BLUE, 0),
    ]
    .into_iter()
    .flatten()
    .collect();

    let seen = range(column);
    let (near, far): (Vec<_>, Vec<_>) = protections(story)
        .into_iter()
        .partition(|p| seen.is_some_and(|s| (s.0 - NEAR_K..=s.1 + NEAR_K).contains(&p.1.value)));
    let all = lines
        .iter()
        .flat_map(|s| s.pieces.iter().flatten())
        .map(|p| &p.1);
    let mut shown = cover(range(all), range(whole.iter().flatten().map(|p| &p.1)));
    for (_, limit, _) in &near {
        let value = show(limit.value);
        shown = cover(shown, Some((value, value)));
    }
    let shown = shown.unwrap_or((0.0, 30.0));
    let scale = nice_scale(shown.0, shown.1 + 0.06 * (shown.1 - shown.0), 7.0);

    let limit_text = |name: &str, limit: &StoryLimit| {
        format!("{name} {}", units.text(Quantity::Temperature, limit.value))
    };
    let texts: Vec<String> = near
        .iter()
        .map(|(name, limit, _)| limit_text(name, limit))
        .collect();
    let margin = label_margin(
        texts.iter().map(String::as_str).chain(["entering coil"]),
        200.0,
    );
    let trips: Vec<_> = story.trips().collect();
    let mut remarks = Vec::new();
    for (name, limit, _) in near.iter().chain(&far) {
        let mut words = limit_text(name, limit);
        if let Some(first) = words.get(..1) {
            words = first.to_uppercase() + &words[1..];
        }
        let off = if far.iter().any(|f| f.0 == *name) {
            " (off the scale)"
        } else {
            ""
        };
        remarks.push(format!(
            "{words}{off}: {}.",
            limit.source.trim_end_matches('.')
        ));
    }
    remarks.extend(context.trip_notes(WIDTH - 2.0 * EDGE));
    if trips.is_empty() {
        remarks.push("No protection tripped.".to_owned());
    }
    let top = BODY_TOP + HEADING + 10.0;
    let bottom = top + HEIGHT + TIME_AXIS;
    let height = bottom + NOTE * remarks.len() as f64 + 16.0;

    sheet(
        "supply",
        "Supply air temperature",
        (WIDTH, height.ceil()),
        |canvas| {
            header(canvas, "Supply and entering air temperature", &context);
            let (left, right) = (EDGE + 54.0, WIDTH - EDGE - margin);
            let ticks = context.ticks(right - left);
            let bands = context.any_band();
            let panel = Panel {
                left,
                top,
                right,
                bottom: top + HEIGHT,
                time: context.span,
                value: (scale.0, scale.1),
                step: scale.2,
            };
            panel.ground(canvas, &bands, &ticks);
            let locked = context.locked_out();
            let times: Vec<f64> = trips.iter().map(|t| t.t_s).collect();
            panel.flag_lines(canvas, &times);
            let still = Stroke::new(QUIET.tint(0.8), 1.0);
            for piece in &whole {
                canvas.path(&panel.points(piece), still);
            }
            let mut labels = Vec::new();
            for ((_, limit, trip), text) in near.iter().zip(&texts) {
                let value = show(limit.value);
                let stroke = if *trip {
                    Stroke::new(LIMIT, 1.7).dashed(10.0, 4.0)
                } else {
                    Stroke::new(MUTED, 1.2).dashed(2.0, 3.0)
                };
                canvas.line((left, panel.y(value)), (right, panel.y(value)), stroke);
                labels.push(EndLabel::line(value, text.clone(), stroke));
            }
            for series in &lines {
                panel.series(canvas, series, Stroke::new(series.colour, LINE));
                labels.extend(EndLabel::of(series));
            }
            panel.value_axis(
                canvas,
                &format!("Air temperature, {}", units.symbol(Quantity::Temperature)),
            );
            panel.lock_outs(canvas, &locked);
            panel.flags(canvas, &times);
            let mut key = Vec::new();
            if flow.is_some() {
                key.push((Key::Line(still), "supply sensor while the fan is off"));
            }
            if !times.is_empty() {
                key.push((Key::Flag, "trip, told below"));
            }
            if !locked.is_empty() {
                key.push((Key::Fill(LIMIT), "locked out"));
            }
            if !bands.is_empty() {
                key.push((Key::Fill(BAND), "a time band is open"));
            }
            let above = Panel {
                top: panel.top - 10.0,
                ..panel
            };
            above.key(canvas, &key);
            above.time_axis(canvas, &ticks);
            above.end_labels(canvas, &labels, margin);
            notes(canvas, &remarks, bottom);
        },
    )
}

/// Protections that the story sets: name, limit, and whether it is a trip.
fn protections(story: &Story) -> Vec<(&'static str, &StoryLimit, bool)> {
    let limits = &story.limits;
    [
        ("high trip", &limits.supply_high_trip_c, true),
        ("high reset", &limits.supply_high_reset_c, false),
        ("low reset", &limits.supply_low_reset_c, false),
        ("low trip", &limits.supply_low_trip_c, true),
    ]
    .into_iter()
    .filter_map(|(name, limit, trip)| limit.as_ref().map(|l| (name, l, trip)))
    .filter(|(_, limit, _)| limit.value.is_finite())
    .collect()
}
