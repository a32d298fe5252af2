//! A panel: a plot with its axes, grid, background and labels at the ends of its lines.

use super::canvas::{Canvas, Stroke};
use super::context::{Context, Pieces, Series};
use super::lettering::{Align, BODY, SMALL, TITLE, Type, elide, text_width};
use super::marks::{Key, key};
use super::palette::{self, BAND, FRAME, GRID, Marker};
use super::series::{joined, spread};
use super::time_axis::Tick;

/// Width of every sheet, px.
pub const WIDTH: f64 = 1200.0;
/// Margin at the edges of a sheet, px.
pub const EDGE: f64 = 26.0;
/// Where the first panel's heading may begin, px from the top.
pub const BODY_TOP: f64 = 76.0;
/// Height of a panel's heading, px.
pub const HEADING: f64 = 34.0;
/// Height of the time axis with its labels, px.
pub const TIME_AXIS: f64 = 68.0;
/// Height of one line of notes, px.
pub const NOTE: f64 = 19.0;

/// Title and subtitle of a sheet.
pub fn header(canvas: &mut Canvas<'_>, title: &str, context: &Context<'_>) {
    canvas.text(title, (EDGE, 32.0), Type::new(TITLE).bold());
    let subtitle = elide(&context.subtitle(), BODY, false, WIDTH - 2.0 * EDGE);
    canvas.text(&subtitle, (EDGE, 57.0), Type::new(BODY).muted());
}

/// Notes below the plots, one a line, from `top`.
pub fn notes(canvas: &mut Canvas<'_>, notes: &[String], top: f64) {
    for (i, note) in notes.iter().enumerate() {
        let text = elide(note, SMALL, false, WIDTH - 2.0 * EDGE);
        canvas.text(
            &text,
            (EDGE, top + NOTE * (i as f64 + 0.5)),
            Type::new(SMALL).muted(),
        );
    }
}

/// Round numbers that cover a range: lowest, highest, step.
pub fn nice_scale(low: f64, high: f64, intervals: f64) -> (f64, f64, f64) {
    let (low, high) = if low.is_finite() && high.is_finite() {
        (low, high)
    } else {
        (0.0, 1.0)
    };
    let span = (high - low).max(low.abs().max(high.abs()) * 1e-6).max(1e-9);
    let raw = span / intervals.max(1.0);
    let power = 10f64.powf(raw.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|m| m * power)
        .find(|&s| s >= raw * 0.999)
        .unwrap_or(10.0 * power);
    let (bottom, top) = ((low / step).floor() * step, (high / step).ceil() * step);
    (bottom, if top > bottom { top } else { bottom + step }, step)
}

/// A number with as many decimals as its step needs.
pub fn number(value: f64, step: f64) -> String {
    let decimals = (-step.log10().floor()).clamp(0.0, 4.0) as usize;
    let text = format!("{value:.decimals$}");
    if text
        .trim_start_matches('-')
        .chars()
        .all(|c| matches!(c, '0' | '.'))
    {
        return text.trim_start_matches('-').to_owned();
    }
    text.replace('-', "−")
}

/// A label at the end of a line.
pub struct EndLabel {
    /// Where the line ends, in shown units.
    pub value: f64,
    /// The words.
    pub text: String,
    /// How the line looks.
    pub stroke: Stroke,
    /// Its marker, if it has one.
    pub marker: Option<Marker>,
}

impl EndLabel {
    /// The label of a series: its last value, colour and marker.
    pub fn of(series: &Series) -> Option<Self> {
        let value = series.pieces.last()?.last()?.1;
        Some(Self {
            value,
            text: series.name.clone(),
            stroke: Stroke::new(series.colour, LINE),
            marker: series.marker.map(palette::marker),
        })
    }

    /// The label of a plain line.
    pub fn line(value: f64, text: impl Into<String>, stroke: Stroke) -> Self {
        Self {
            value,
            text: text.into(),
            stroke,
            marker: None,
        }
    }
}

/// Width of a series' line, px.
pub const LINE: f64 = 1.7;

/// The plot's rectangle in px with its scales.
pub struct Panel {
    /// Left edge, px.
    pub left: f64,
    /// Top edge, px.
    pub top: f64,
    /// Right edge, px.
    pub right: f64,
    /// Bottom edge, px.
    pub bottom: f64,
    /// Time at the left and right edges, s.
    pub time: (f64, f64),
    /// Value at the bottom and top edges, shown units.
    pub value: (f64, f64),
    /// Distance of value ticks, shown units.
    pub step: f64,
}

impl Panel {
    /// Horizontal place of a time, px.
    pub fn x(&self, t: f64) -> f64 {
        let share = (t - self.time.0) / (self.time.1 - self.time.0);
        self.left + share.clamp(0.0, 1.0) * (self.right - self.left)
    }

    /// Vertical place of a value, px.
    pub fn y(&self, v: f64) -> f64 {
        let share = (v - self.value.0) / (self.value.1 - self.value.0);
        self.bottom - share.clamp(0.0, 1.0) * (self.bottom - self.top)
    }

    /// Place of a point, px.
    pub fn at(&self, (t, v): (f64, f64)) -> (f64, f64) {
        (self.x(t), self.y(v))
    }

    /// A piece of a line in px.
    pub fn points(&self, piece: &[(f64, f64)]) -> Vec<(f64, f64)> {
        piece.iter().map(|&p| self.at(p)).collect()
    }

    /// Background: time bands, then the grid of time and value.
    pub fn ground(&self, canvas: &mut Canvas<'_>, bands: &[(f64, f64)], ticks: &[Tick]) {
        self.shade(canvas, bands);
        for tick in ticks {
            let x = self.x(tick.t_s);
            canvas.line((x, self.top), (x, self.bottom), Stroke::new(GRID, 1.0));
        }
        for v in self.value_ticks() {
            canvas.line(
                (self.left, self.y(v)),
                (self.right, self.y(v)),
                Stroke::new(GRID, 1.0),
            );
        }
    }

    /// Shades time bands.
    pub fn shade(&self, canvas: &mut Canvas<'_>, bands: &[(f64, f64)]) {
        let hair = (self.time.1 - self.time.0) / (self.right - self.left);
        for &(from, to) in &joined(bands, hair) {
            canvas.rect(self.x(from), self.top, self.x(to), self.bottom, BAND);
        }
    }

    fn value_ticks(&self) -> Vec<f64> {
        let count = ((self.value.1 - self.value.0) / self.step)
            .round()
            .clamp(0.0, 60.0) as usize;
        let first = (self.value.0 / self.step).ceil();
        (0..=count)
            .map(|i| (first + i as f64) * self.step)
            .filter(|&v| v <= self.value.1 + 1e-6 * self.step)
            .collect()
    }

    /// The frame at left and bottom, value labels and, upright, what the axis shows.
    pub fn value_axis(&self, canvas: &mut Canvas<'_>, title: &str) {
        canvas.path(
            &[
                (self.left, self.top),
                (self.left, self.bottom),
                (self.right, self.bottom),
            ],
            Stroke::new(FRAME, 1.0),
        );
        let mut widest: f64 = 0.0;
        for v in self.value_ticks() {
            let text = number(v, self.step);
            widest = widest.max(text_width(&text, SMALL, false));
            let kind = Type::new(SMALL).muted().align(Align::Right);
            canvas.text(&text, (self.left - 7.0, self.y(v)), kind);
        }
        let x = (self.left - 7.0 - widest - 13.0).max(9.0);
        let kind = Type::new(SMALL).muted().align(Align::Centre).upright();
        canvas.text(title, (x, (self.top + self.bottom) / 2.0), kind);
    }

    /// Clock times below the panel.
    pub fn time_axis(&self, canvas: &mut Canvas<'_>, ticks: &[Tick]) {
        let y = self.bottom;
        for tick in ticks {
            let x = self.x(tick.t_s);
            canvas.line((x, y), (x, y + 5.0), Stroke::new(FRAME, 1.0));
            let kind = Type::new(SMALL).align(Align::Centre);
            canvas.text(&tick.label, (x, y + 15.0), kind.muted());
            if let Some(date) = &tick.date {
                canvas.text(date, (x, y + 31.0), kind.bold());
            }
        }
        let dated = ticks.iter().any(|t| t.date.is_some());
        let below = if dated { 49.0 } else { 36.0 };
        let kind = Type::new(SMALL).muted().align(Align::Centre);
        let clock = ticks.iter().any(|t| t.label.contains(':'));
        let title = if clock {
            "Local clock time, h:min"
        } else {
            "Local date, midnight at each mark"
        };
        canvas.text(title, ((self.left + self.right) / 2.0, y + below), kind);
    }

    /// The panel's name above it.
    pub fn heading(&self, canvas: &mut Canvas<'_>, text: &str) {
        let text = elide(text, BODY, true, self.right - self.left);
        canvas.text(&text, (self.left, self.top - 12.0), Type::new(BODY).bold());
    }

    /// Small patches with their meaning, at the right end above the panel.
    pub fn key(&self, canvas: &mut Canvas<'_>, entries: &[(Key, &str)]) {
        key(canvas, entries, (self.right, self.top - 12.0));
    }

    /// A series: its line, then its marker here and there.
    pub fn series(&self, canvas: &mut Canvas<'_>, series: &Series, stroke: Stroke) {
        for piece in &series.pieces {
            canvas.path(&self.points(piece), stroke);
        }
        if let Some(i) = series.marker {
            for at in self.marker_places(&series.pieces, i) {
                canvas.marker(palette::marker(i), at, 4.2, series.colour);
            }
        }
    }

    /// Evenly spaced places on a line, shifted by `i` so that neighbours' markers stand apart.
    fn marker_places(&self, pieces: &Pieces, i: usize) -> Vec<(f64, f64)> {
        let count = 6;
        let shift = 0.12 + 0.13 * (i % 7) as f64;
        let mut places = Vec::with_capacity(count);
        for k in 0..count {
            let t = self.time.0 + (self.time.1 - self.time.0) * (k as f64 + shift) / count as f64;
            let nearest = pieces
                .iter()
                .flatten()
                .min_by(|a, b| (a.0 - t).abs().total_cmp(&(b.0 - t).abs()));
            // A long gap gets no marker, rather than a crowd of them at its edge.
            let near = (self.time.1 - self.time.0) / count as f64 / 2.0;
            places.extend(
                nearest
                    .filter(|p| (p.0 - t).abs() < near)
                    .map(|&p| self.at(p)),
            );
        }
        places
    }

    /// Labels right of the panel, each led to from the end of its line.
    pub fn end_labels(&self, canvas: &mut Canvas<'_>, labels: &[EndLabel], margin: f64) {
        let wanted: Vec<f64> = labels.iter().map(|l| self.y(l.value)).collect();
        let placed = spread(&wanted, 16.0, (self.top, self.bottom));
        for ((label, from), to) in labels.iter().zip(wanted).zip(placed) {
            let (x0, x1, x2) = (self.right + 2.0, self.right + 14.0, self.right + 34.0);
            canvas.path(
                &[(x0, from), (x1, to)],
                Stroke::new(label.stroke.colour, 1.0),
            );
            canvas.line((x1, to), (x2, to), label.stroke);
            if let Some(marker) = label.marker {
                canvas.marker(marker, ((x1 + x2) / 2.0, to), 4.2, label.stroke.colour);
            }
            let text = elide(&label.text, SMALL, false, margin - 44.0);
            canvas.text(&text, (x2 + 6.0, to), Type::new(SMALL));
        }
    }
}

/// Room right of a panel for labels of these texts, px.
pub fn label_margin<'t>(texts: impl IntoIterator<Item = &'t str>, most: f64) -> f64 {
    let widest = texts
        .into_iter()
        .map(|t| text_width(t, SMALL, false))
        .fold(0.0, f64::max);
    (widest + 48.0).clamp(80.0, most)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn scales_are_round_and_cover_the_range() {
        assert_eq!(nice_scale(21.3, 27.9, 4.0), (20.0, 28.0, 2.0));
        assert_eq!(nice_scale(0.0, 142.0, 4.0), (0.0, 150.0, 50.0));
        let (low, high, step) = nice_scale(24.0, 24.0, 4.0);
        assert!(low < high && step > 0.0);
        assert_eq!(nice_scale(f64::NAN, 1.0, 2.0), (0.0, 1.0, 0.5));
    }

    #[test]
    fn numbers_have_the_decimals_of_their_step() {
        assert_eq!(number(0.25, 0.05), "0.25");
        assert_eq!(number(-5.0, 5.0), "−5");
        assert_eq!(number(-0.0, 5.0), "0");
        assert_eq!(number(20.0, 10.0), "20");
    }
}
