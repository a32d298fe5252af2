//! External static pressure against its limit, and what the relief does about it.

use super::canvas::{Stroke, sheet};
use super::context::{Context, FAN_RUNS_M3_S, Series, duration_text};
use super::lettering::{Align, SMALL, Type, text_width};
use super::marks::Key;
use super::palette::{BAND, BLUE, LIMIT, Marker, PAPER, VERMILLION};
use super::panel::{
    BODY_TOP, EDGE, EndLabel, HEADING, LINE, NOTE, Panel, TIME_AXIS, WIDTH, header, label_margin,
    nice_scale, notes,
};
use super::series::{cover, held, joined, range, spans};
use super::{Figure, FigureError, Quantity, Story, UnitSystem};
use crate::quantity::Dimension;
use crate::trace::Trace;

const STATIC_HEIGHT: f64 = 270.0;
const RELIEF_HEIGHT: f64 = 105.0;

/// Time spent above a limit.
struct Excess {
    /// As the recorded rows have it, for the hatching.
    spans: Vec<(f64, f64)>,
    /// As every step has it where the run measured that.
    total_s: f64,
}

/// Draws external static, from return plenum to supply plenum, with its limit, time above it hatched
/// and counted, and below it the relief's opening and its share of the fan's flow.
///
/// # Errors
/// When the trace spans no time, or lacks `supply_plenum.static_Pa` or
/// `return_plenum.static_Pa`.
pub fn pressure(story: &Story, trace: &Trace, units: UnitSystem) -> Result<Figure, FigureError> {
    let context = Context::new("pressure", story, trace, units)?;
    let column = &context.external_static()?[..];
    let pieces = context.thin(column, 1500, |v| units.convert(Quantity::Pressure, v));
    let line = Series {
        name: "supply less return".to_owned(),
        colour: BLUE,
        marker: None,
        pieces,
    };
    let limit = story.limits.static_pa.as_ref();
    let shown_limit = limit.map(|l| units.convert(Quantity::Pressure, l.value));
    let excess = limit.map(|l| {
        let spans = spans(context.t, |i| column[i] > l.value);
        let rows_s = spans.iter().map(|s| s.1 - s.0).sum();
        let total_s = story.static_pressure.map_or(rows_s, |s| s.above_s);
        Excess { spans, total_s }
    });
    let recorded = worst(context.t, column);
    let worst = match story.static_pressure {
        Some(s) => Some((s.at_s, s.worst_pa)).filter(|w| w.1 > 0.0),
        None => recorded,
    };

    let seen = range(line.pieces.iter().flatten().map(|p| &p.1));
    let peak = worst.map(|w| units.convert(Quantity::Pressure, w.1));
    let seen = cover(seen, peak.map(|p| (p, p)));
    let seen = cover(seen, shown_limit.map(|l| (l, l))).unwrap_or((0.0, 1.0));
    let low = seen.0.min(0.0);
    // Headroom keeps the count of minutes clear of the line.
    let scale = nice_scale(low, seen.1 + 0.2 * (seen.1 - low), 5.0);

    let opening = trace.column("relief.opening");
    let share: Option<Vec<f64>> = trace
        .column("relief.flow_m3_s")
        .zip(trace.column("fan.flow_m3_s"))
        .map(|(relief, fan)| {
            let share = |(r, f): (&f64, &f64)| if *f > FAN_RUNS_M3_S { r / f } else { f64::NAN };
            relief.iter().zip(fan).map(share).collect()
        });
    let limit_text = limit.map(|l| format!("limit {}", units.text(Quantity::Pressure, l.value)));
    let margin = label_margin(
        ["supply less return", "share of fan flow"]
            .into_iter()
            .chain(limit_text.as_deref()),
        190.0,
    );
    let mut remarks = remarks(&context, excess.as_ref(), worst);
    if let (Some(worst), Some(recorded)) = (worst, recorded)
        && worst.1 > 1.005 * recorded.1
    {
        remarks.push(format!(
            "The worst is that of every step; the line joins recorded rows, of which the highest has {}.",
            shown(recorded.1, units)
        ));
    }
    let small = [opening, share.as_deref()].iter().flatten().count() as f64;
    let bottom = BODY_TOP + HEADING + STATIC_HEIGHT + small * (HEADING + RELIEF_HEIGHT) + TIME_AXIS;
    let height = bottom + NOTE * remarks.len() as f64 + 16.0;

    sheet(
        "pressure",
        "External static pressure",
        (WIDTH, height.ceil()),
        |canvas| {
            header(canvas, "External static pressure and relief", &context);
            let (left, right) = (EDGE + 60.0, WIDTH - EDGE - margin);
            let ticks = context.ticks(right - left);
            let bands = context.any_band();
            let top = BODY_TOP + HEADING;
            let panel = Panel {
                left,
                top,
                right,
                bottom: top + STATIC_HEIGHT,
                time: context.span,
                value: (scale.0, scale.1),
                step: scale.2,
            };
            panel.ground(canvas, &bands, &ticks);
            let mut labels: Vec<_> = EndLabel::of(&line).into_iter().collect();
            if let (Some(value), Some(excess)) = (shown_limit, &excess) {
                let y = panel.y(value);
                let hair = context.length_s() / (right - left);
                for &(from, to) in &joined(&excess.spans, 2.0 * hair) {
                    let (x0, x1) = (panel.x(from), panel.x(to).max(panel.x(from) + 2.0));
                    canvas.rect(x0, panel.top, x1, y, VERMILLION.tint(0.16));
                    canvas.hatch(
                        (x0, panel.top, x1, y),
                        6.0,
                        true,
                        Stroke::new(VERMILLION.tint(0.75), 0.9),
                    );
                }
                let stroke = Stroke::new(LIMIT, 1.6).dashed(10.0, 4.0);
                canvas.line((left, y), (right, y), stroke);
                labels.push(EndLabel::line(
                    value,
                    limit_text.clone().unwrap_or_default(),
                    stroke,
                ));
            }
            panel.series(canvas, &line, Stroke::new(BLUE, 1.4));
            if let Some((t, value)) = worst {
                let (x, y) = panel.at((t, units.convert(Quantity::Pressure, value)));
                canvas.marker(Marker::Down, (x, y - 7.0), 5.5, LIMIT);
                let text = format!("worst {} at {}", shown(value, units), context.clock(t));
                let half = text_width(&text, SMALL, true) / 2.0 + 4.0;
                let x = x.clamp(left + half, right - half);
                let kind = Type::new(SMALL).bold().align(Align::Centre);
                canvas.label(&text, (x, y - 23.0), kind, PAPER);
            }
            let symbol = units.symbol(Quantity::Pressure);
            panel.value_axis(canvas, &format!("Static pressure, {symbol}"));
            panel.heading(
                canvas,
                "External static pressure, supply less return plenum",
            );
            let above = excess.as_ref().filter(|e| e.total_s > 0.0);
            let counted = above.map(|e| format!("above limit, {}", duration_text(e.total_s)));
            let mut key = Vec::new();
            if let Some(text) = &counted {
                key.push((
                    Key::Hatch(VERMILLION.tint(0.75), VERMILLION.tint(0.16)),
                    text.as_str(),
                ));
            }
            if !bands.is_empty() {
                key.push((Key::Fill(BAND), "a time band is open"));
            }
            panel.key(canvas, &key);
            panel.end_labels(canvas, &labels, margin);

            let mut last = panel;
            let shares = [
                (opening, "Relief opening", "opening", "Opening, %"),
                (
                    share.as_deref(),
                    "Relief flow as a share of fan flow, while the fan runs",
                    "share of fan flow",
                    "Share, %",
                ),
            ];
            for (i, (column, heading, name, axis)) in shares.into_iter().enumerate() {
                let Some(column) = column else { continue };
                let top = last.bottom + HEADING;
                let mut pieces = context.thin(column, 1500, |v| 100.0 * v);
                if i == 0 {
                    pieces.iter_mut().for_each(|p| *p = held(p));
                }
                let colour = if i == 0 { VERMILLION } else { BLUE };
                let series = Series {
                    name: name.to_owned(),
                    colour,
                    marker: None,
                    pieces,
                };
                let panel = Panel {
                    top,
                    bottom: top + RELIEF_HEIGHT,
                    value: (0.0, 100.0),
                    step: 25.0,
                    ..last
                };
                panel.ground(canvas, &bands, &ticks);
                panel.series(canvas, &series, Stroke::new(colour, LINE));
                panel.value_axis(canvas, axis);
                panel.heading(canvas, heading);
                panel.end_labels(canvas, EndLabel::of(&series).as_slice(), margin);
                last = panel;
            }
            last.time_axis(canvas, &ticks);
            notes(canvas, &remarks, bottom);
        },
    )
}

/// A pressure with the digits that the verdict gives it.
fn shown(pa: f64, units: UnitSystem) -> String {
    units.show(pa, Dimension::Pressure)
}

fn worst(t: &[f64], column: &[f64]) -> Option<(f64, f64)> {
    let rows = t.iter().zip(column).filter(|(_, v)| v.is_finite());
    rows.map(|(&t, &v)| (t, v))
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .filter(|w| w.1 > 0.0)
}

fn remarks(
    context: &Context<'_>,
    excess: Option<&Excess>,
    worst: Option<(f64, f64)>,
) -> Vec<String> {
    let Some((limit, excess)) = context.story.limits.static_pa.as_ref().zip(excess) else {
        return vec!["No limit for static pressure is set.".to_owned()];
    };
    let units = context.units;
    let text = units.text(Quantity::Pressure, limit.value);
    let mut lines = vec![format!(
        "Limit {text}: {}.",
        limit.source.trim_end_matches('.')
    )];
    let share = 100.0 * excess.total_s / context.length_s();
    let total = duration_text(excess.total_s);
    match (excess.total_s > 0.0, excess.spans.len(), worst) {
        (false, _, Some((_, worst))) => {
            let spare = shown(limit.value - worst, units);
            lines.push(format!(
                "Never above the limit; {spare} in hand at the worst."
            ));
        }
        (true, 0, _) => lines.push(format!(
            "Above the limit {total} in all, too short for a recorded row to show it."
        )),
        (true, count, _) => {
            let spells = if count == 1 {
                "1 spell".to_owned()
            } else {
                format!("{count} spells")
            };
            lines.push(format!(
                "Above the limit {total} in {spells}, {share:.1} % of the run."
            ));
        }
        _ => {}
    }
    lines
}
