//! Several runs on the same axes.

use chrono::NaiveDateTime;

use super::canvas::{Stroke, sheet};
use super::context::Series;
use super::lettering::{BODY, TITLE, Type, elide};
use super::palette::{INK, LIMIT, Marker, PAPER, series};
use super::panel::{
    BODY_TOP, EDGE, EndLabel, HEADING, LINE, NOTE, Panel, TIME_AXIS, WIDTH, label_margin,
    nice_scale, notes,
};
use super::series::{cover, decimate, held, range};
use super::time_axis::ticks;
use super::{Figure, FigureError};

/// Points a line is thinned to.
const POINTS: usize = 1500;

/// One run's part in a panel.
#[derive(Debug, Clone, PartialEq)]
pub struct OverlayLine {
    /// Which run; the same in every panel, since it sets colour and marker.
    pub run: usize,
    /// Seconds since the common start.
    pub t_s: Vec<f64>,
    /// Values in shown units.
    pub values: Vec<f64>,
}

/// A panel with one quantity of every run.
#[derive(Debug, Clone, PartialEq)]
pub struct OverlayPanel {
    /// Its heading.
    pub heading: String,
    /// What the axis shows, with its unit.
    pub axis: String,
    /// The runs.
    pub lines: Vec<OverlayLine>,
    /// A limit or setpoint in shown units, with its label.
    pub limit: Option<(f64, String)>,
    /// A setpoint that holds and jumps: seconds since the common start, shown units.
    pub setpoint: Vec<(f64, f64)>,
    /// The worst of a run: which, when in seconds since the common start, value in shown units.
    pub worst: Vec<(usize, f64, f64)>,
    /// Values that the axis must reach, shown units.
    pub reach: Option<(f64, f64)>,
}

/// A sheet of panels over one time axis.
#[derive(Debug, Clone, PartialEq)]
pub struct Overlay {
    /// Title.
    pub title: String,
    /// Line below it.
    pub subtitle: String,
    /// Names of the runs.
    pub runs: Vec<String>,
    /// Local clock time at `t_s` = 0.
    pub start: NaiveDateTime,
    /// The panels.
    pub panels: Vec<OverlayPanel>,
    /// Remarks below.
    pub remarks: Vec<String>,
}

/// Draws the runs on the same axes, each with its own colour, marker and label.
///
/// # Errors
/// When no line spans any time.
pub fn overlay(name: &'static str, sheet_of: &Overlay) -> Result<Figure, FigureError> {
    let times = sheet_of
        .panels
        .iter()
        .flat_map(|p| &p.lines)
        .flat_map(|l| &l.t_s);
    let span = range(times).filter(|(from, to)| to > from);
    let span = span.ok_or(FigureError::NoTime { figure: name })?;
    let labels = sheet_of
        .panels
        .iter()
        .filter_map(|p| p.limit.as_ref().map(|l| l.1.as_str()));
    let margin = label_margin(
        sheet_of.runs.iter().map(String::as_str).chain(labels),
        250.0,
    );
    let count = sheet_of.panels.len();
    let tall: f64 = match count {
        0..=2 => 240.0,
        3 | 4 => 170.0,
        _ => 130.0,
    };
    let bottom = BODY_TOP + count as f64 * (tall + HEADING) + TIME_AXIS;
    let height = bottom + NOTE * sheet_of.remarks.len() as f64 + 16.0;
    sheet(name, &sheet_of.title, (WIDTH, height.ceil()), |canvas| {
        canvas.text(&sheet_of.title, (EDGE, 32.0), Type::new(TITLE).bold());
        let subtitle = elide(&sheet_of.subtitle, BODY, false, WIDTH - 2.0 * EDGE);
        canvas.text(&subtitle, (EDGE, 57.0), Type::new(BODY).muted());
        let (left, right) = (EDGE + 60.0, WIDTH - EDGE - margin);
        let ticks = ticks(sheet_of.start, span, right - left, 62.0);
        let mut top = BODY_TOP + HEADING;
        for (i, content) in sheet_of.panels.iter().enumerate() {
            let lines: Vec<Series> = content
                .lines
                .iter()
                .map(|line| Series {
                    name: sheet_of.runs.get(line.run).cloned().unwrap_or_default(),
                    colour: series(line.run),
                    marker: Some(line.run),
                    pieces: decimate(&line.t_s, &line.values, POINTS),
                })
                .collect();
            let seen = range(
                lines
                    .iter()
                    .flat_map(|l| l.pieces.iter().flatten())
                    .map(|p| &p.1),
            );
            let seen = cover(seen, range(content.worst.iter().map(|w| &w.2)));
            let seen = cover(seen, content.reach);
            let seen = cover(seen, content.limit.as_ref().map(|l| (l.0, l.0)));
            let seen = cover(seen, range(content.setpoint.iter().map(|p| &p.1)));
            let seen = seen.unwrap_or((0.0, 1.0));
            let pad = 0.04 * (seen.1 - seen.0);
            // An end that the axis had to reach anyway needs no air beyond it.
            let low = match content.reach {
                Some((low, _)) if seen.0 >= low => low,
                _ => seen.0 - pad,
            };
            let high = match content.reach {
                Some((low, high)) if high > low && seen.1 <= high => high,
                _ => seen.1 + pad,
            };
            let scale = nice_scale(low, high, 4.0);
            let panel = Panel {
                left,
                top,
                right,
                bottom: top + tall,
                time: span,
                value: (scale.0, scale.1),
                step: scale.2,
            };
            panel.ground(canvas, &[], &ticks);
            let mut labels = Vec::new();
            if let Some((value, text)) = &content.limit {
                let is_limit = text.starts_with("limit");
                let colour = if is_limit { LIMIT } else { INK };
                let stroke = Stroke::new(colour, 1.5).dashed(9.0, 4.0);
                let y = panel.y(*value);
                canvas.line((left, y), (right, y), stroke);
                labels.push(EndLabel::line(*value, text.clone(), stroke));
            }
            if let Some(&(_, last)) = content.setpoint.last() {
                let stroke = Stroke::new(INK, 1.5).dashed(9.0, 4.0);
                let line = Series {
                    name: "setpoint".into(),
                    colour: INK,
                    marker: None,
                    pieces: vec![held(&content.setpoint)],
                };
                panel.series(canvas, &line, stroke);
                labels.push(EndLabel::line(last, line.name, stroke));
            }
            for line in &lines {
                panel.series(canvas, line, Stroke::new(line.colour, LINE));
                labels.extend(EndLabel::of(line));
            }
            for &(run, t_s, value) in &content.worst {
                let (x, y) = panel.at((t_s, value));
                canvas.marker(Marker::Down, (x, y - 7.0), 6.5, PAPER);
                canvas.marker(Marker::Down, (x, y - 7.0), 5.0, series(run));
            }
            panel.value_axis(canvas, &content.axis);
            panel.heading(canvas, &content.heading);
            panel.end_labels(canvas, &labels, margin);
            if i + 1 == count {
                panel.time_axis(canvas, &ticks);
            }
            top += tall + HEADING;
        }
        notes(canvas, &sheet_of.remarks, bottom);
    })
}
