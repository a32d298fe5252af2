//! Total external static against its limit, and what the relief (bypass) damper does about it.

use super::canvas::Stroke;
use super::data::{
    FigureData, bypass_fraction, duration_text, external_static, sentence, source, static_pressure,
    when,
};
use super::marks::Key;
use super::palette::{BLUE, LIMIT, SCHEDULED, VERMILLION};
use super::plot::Scale;
use super::series::spans;
use super::sheet::{ABOVE, LIMIT_LINE, Layer, Line, Panel, all_held};
use super::{Figure, FigureError};
use crate::quantity::Dimension::{Fraction, Pressure};

const STATIC_HEIGHT: f64 = 270.0;
const RELIEF_HEIGHT: f64 = 105.0;

/// Draws total external static with its limit, time above it hatched and counted, and below it the
/// relief damper's opening and the bypass fraction.
///
/// # Errors
/// When `supply_plenum.static_Pa` or `return_plenum.static_Pa` was not recorded.
pub(crate) fn pressure(data: &FigureData<'_>) -> Result<Figure, FigureError> {
    for column in ["supply_plenum.static_Pa", "return_plenum.static_Pa"] {
        data.need(column)?;
    }
    let trace = &data.outcome.trace;
    let column = external_static(trace).unwrap_or_default();
    let limit = &data.scenario.limits.static_pa;
    let above = spans(data.t, |i| column[i] > limit.value);
    // Every step counts where the run measured them; the trace has only some.
    let rows_s: f64 = above.iter().map(|s| s.1 - s.0).sum();
    let above_s = data
        .measure("static_above_limit")
        .map_or(rows_s, |m| m.value);
    let recorded = column.iter().zip(data.t).filter(|(v, _)| v.is_finite());
    let recorded = recorded
        .max_by(|a, b| a.0.total_cmp(b.0))
        .map(|(v, t)| (*t, *v));
    let worst = static_pressure(data.outcome)
        .map(|w| (w.at_s, w.worst_pa))
        .or(recorded);
    let worst = worst.filter(|w| w.1 > 0.0);

    let mut sheet = data.sheet(title(data, above_s));
    let scheduled = data.any_scheduled();
    let shade = || Layer::Shade(scheduled.clone(), SCHEDULED);
    let limit_text = format!("limit {}", data.text(limit.value, Pressure));
    let line = Line::new(data.line(&column, Pressure), "supply minus return", BLUE);
    let mut layers = vec![
        shade(),
        Layer::Limit(
            data.shown(limit.value, Pressure),
            limit_text,
            LIMIT_LINE,
            above.clone(),
        ),
        Layer::Line(line.stroke(Stroke::new(BLUE, 1.4))),
    ];
    if let Some((t, pa)) = worst {
        let words = format!("worst {} at {}", data.text(pa, Pressure), data.clock(t));
        layers.push(Layer::Mark((t, data.shown(pa, Pressure)), words, LIMIT));
    }
    let heading = "Total external static (supply minus return)";
    let zero = Some((0.0, 0.0));
    let mut panel = Panel::new(heading, STATIC_HEIGHT, layers).fitted(
        &data.axis("Static", Pressure),
        zero,
        5.0,
    );
    if above_s > 0.0 {
        let text = format!("above the limit, {}", duration_text(above_s));
        panel.key.push((Key::Hatch(ABOVE.0, ABOVE.1), text));
    }
    if !scheduled.is_empty() {
        panel
            .key
            .push((Key::Fill(SCHEDULED), "any zone scheduled".into()));
    }
    sheet.panels.push(panel);
    if data.scenario.relief.is_some() {
        let opening = data
            .column("relief.opening")
            .map(|o| all_held(&data.line(o, Fraction)));
        let share = bypass_fraction(trace).map(|share| data.line(&share, Fraction));
        for (pieces, heading, label, axis, colour) in [
            (
                opening,
                "Opening of the relief (bypass) damper",
                "relief opening",
                "Opening",
                VERMILLION,
            ),
            (
                share,
                "Bypass fraction: relief flow over fan flow, while the fan runs",
                "bypass fraction",
                "Fraction",
                BLUE,
            ),
        ] {
            let Some(pieces) = pieces else {
                continue;
            };
            let line = Layer::Line(Line::new(pieces, label, colour));
            let mut panel = Panel::new(heading, RELIEF_HEIGHT, vec![shade(), line]);
            panel.axis = Some(data.axis(axis, Fraction));
            panel.scale = Some(Scale {
                step: 25.0,
                ..Scale::PER_CENT
            });
            sheet.panels.push(panel);
        }
    } else {
        sheet
            .notes
            .push("There is no relief (bypass) damper.".into());
    }
    let text = data.text(limit.value, Pressure);
    sheet
        .notes
        .push(format!("Limit {text}: {}.", source(&limit.source)));
    sheet
        .notes
        .extend(excess(data, above.len(), above_s, worst));
    if let (Some(worst), Some(recorded)) = (worst, recorded)
        && worst.1 > 1.005 * recorded.1
    {
        sheet.notes.push(format!(
            "The worst is that of every step; the line joins recorded rows, of which the highest has {}.",
            data.text(recorded.1, Pressure)
        ));
    }
    sheet.draw()
}

/// Share of the run above the limit, or the time where that share is small.
fn above_text(data: &FigureData<'_>, above_s: f64) -> String {
    let share = above_s / data.length_s();
    match share >= 0.01 {
        true => format!("{:.0} % of the time", 100.0 * share),
        false => duration_text(above_s),
    }
}

fn title(data: &FigureData<'_>, above_s: f64) -> String {
    let limit = data.text(data.scenario.limits.static_pa.value, Pressure);
    let Some(worst) = data.measure("static_worst").filter(|m| m.value > 0.0) else {
        return "Total external static and the relief (bypass) damper".into();
    };
    let (value, when) = (data.judged(worst), when(&worst.note));
    match above_s > 0.0 {
        true => sentence(&[
            &format!(
                "Static exceeds {limit} for {}: {value}",
                above_text(data, above_s)
            ),
            &when,
        ]),
        false => sentence(&[
            &format!("Static stays below {limit}: at most {value}"),
            &when,
        ]),
    }
}

fn excess(
    data: &FigureData<'_>,
    times: usize,
    above_s: f64,
    worst: Option<(f64, f64)>,
) -> Option<String> {
    let total = duration_text(above_s);
    let share = 100.0 * above_s / data.length_s();
    match (above_s > 0.0, times, worst) {
        (false, _, Some((_, worst))) => {
            let margin = data.text(data.scenario.limits.static_pa.value - worst, Pressure);
            Some(format!(
                "Never above the limit; the margin is {margin} at the worst."
            ))
        }
        (true, 0, _) => Some(format!(
            "Above the limit {total} in all, too short for a recorded row to show it."
        )),
        (true, 1, _) => Some(format!(
            "Above the limit {total}, once, {share:.1} % of the run."
        )),
        (true, _, _) => Some(format!(
            "Above the limit {total} in all, {times} times, {share:.1} % of the run."
        )),
        _ => None,
    }
}
