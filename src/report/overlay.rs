//! Several runs on the same axes.

use chrono::NaiveDateTime;

use super::canvas::Stroke;
use super::palette::{INK, series};
use super::series::{held, pieces, range};
use super::sheet::{LIMIT_LINE, Layer, Line, Panel, Sheet};
use super::{Figure, FigureError};

const SETPOINT: Stroke = Stroke::new(INK, 1.5).dashed(9.0, 4.0);

/// One run's part in a panel.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct OverlayLine {
    /// Which run; the same in every panel, since it sets colour and marker.
    pub run: usize,
    /// Seconds since the common start.
    pub t_s: Vec<f64>,
    /// Values in shown units.
    pub values: Vec<f64>,
}

/// A panel with one quantity of every run.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct OverlayPanel {
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
pub(crate) struct Overlay {
    /// What the sheet is about; its title says what was found.
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
pub(crate) fn overlay(name: &'static str, of: &Overlay) -> Result<Figure, FigureError> {
    let lines = of.panels.iter().flat_map(|p| &p.lines);
    let tall = match of.panels.len() {
        0..=2 => 240.0,
        3 | 4 => 170.0,
        _ => 130.0,
    };
    Sheet {
        name,
        title: finding(of).unwrap_or_else(|| of.title.clone()),
        subtitle: format!("{} · {}", of.title, of.subtitle),
        key: Vec::new(),
        start: of.start,
        span: range(lines.flat_map(|l| &l.t_s)).unwrap_or((0.0, 0.0)),
        panels: of.panels.iter().map(|p| panel(of, p, tall)).collect(),
        lead: 0,
        columns: 1,
        notes: of.remarks.clone(),
    }
    .draw()
}

/// The quantity whose worst values part the runs most, else the one whose means do.
fn finding(of: &Overlay) -> Option<String> {
    let worst = of.panels.iter().find(|p| p.worst.len() > 1);
    let mean = |l: &OverlayLine| {
        let (n, sum) = (l.values.iter().filter(|v| v.is_finite()))
            .fold((0.0, 0.0), |(n, sum), v| (n + 1.0, sum + v));
        (l.run, sum / n)
    };
    let means = |p: &OverlayPanel| -> Vec<(usize, f64)> { p.lines.iter().map(mean).collect() };
    let (panel, of_runs, what) = match worst {
        Some(p) => (p, p.worst.iter().map(|w| (w.0, w.2)).collect(), "at most"),
        None => {
            let all = of.panels.iter().map(|p| (p, means(p)));
            let (p, means) = all
                .filter(|(_, m)| m.len() > 1)
                .max_by(|a, b| apart(&a.1).total_cmp(&apart(&b.1)))?;
            (p, means, "on average")
        }
    };
    let unit = panel.axis.rsplit(", ").next().unwrap_or_default();
    let told = of_runs
        .iter()
        .filter(|(_, v)| v.is_finite())
        .map(|(run, v)| {
            let value = crate::quantity::significant(*v, 3);
            let name = of.runs.get(*run).map_or("", String::as_str);
            format!("{value} {unit} in {name}")
        });
    let told: Vec<String> = told.collect();
    Some(format!("{}: {what} {}", panel.heading, told.join(", ")))
}

/// How far values lie apart.
fn apart(values: &[(usize, f64)]) -> f64 {
    range(values.iter().map(|v| &v.1)).map_or(0.0, |(low, high)| high - low)
}

fn panel(of: &Overlay, panel: &OverlayPanel, tall: f64) -> Panel {
    let mut layers = Vec::new();
    if let Some((value, text)) = &panel.limit {
        let stroke = if text.starts_with("limit") {
            LIMIT_LINE
        } else {
            SETPOINT
        };
        layers.push(Layer::Limit(*value, text.clone(), stroke, Vec::new()));
    }
    if !panel.setpoint.is_empty() {
        let line = Line::new(vec![held(&panel.setpoint)], "setpoint", INK);
        layers.push(Layer::Line(line.stroke(SETPOINT)));
    }
    for line in &panel.lines {
        let pieces = pieces(&line.t_s, &line.values);
        let name = of.runs.get(line.run).cloned().unwrap_or_default();
        layers.push(Layer::Line(
            Line::new(pieces, name, series(line.run)).marked(line.run),
        ));
    }
    for &(run, t_s, value) in &panel.worst {
        layers.push(Layer::Mark((t_s, value), String::new(), series(run)));
    }
    Panel::new(&panel.heading, tall, layers).fitted(&panel.axis, panel.reach, 4.0)
}
