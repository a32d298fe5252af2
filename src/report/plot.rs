//! A plot: scales, axes, grid and labels at the ends of lines; and what every sheet has around its
//! plots.

use super::canvas::{Canvas, Stroke};
use super::lettering::{Align, BODY, SMALL, TITLE, Type, elide, text_width, wrapped};
use super::marks::{Key, key};
use super::palette::{self, FRAME, GRID};
use super::series::{spread, thinned};
use super::time_axis::Tick;

/// Width of every sheet, px.
pub(crate) const WIDTH: f64 = 1200.0;
/// Margin at the edges of a sheet, px.
pub(crate) const EDGE: f64 = 26.0;
/// Height of a panel's heading, px.
pub(crate) const HEADING: f64 = 34.0;
/// Height of the time axis with its labels, px.
pub(crate) const TIME_AXIS: f64 = 68.0;
/// Height of one line of notes, px.
pub(crate) const NOTE: f64 = 19.0;
/// Breadth within which points of a line are thinned, px.
const CELL: f64 = 2.0;
/// Width of a series' line, px.
pub(crate) const LINE: f64 = 1.7;

/// Title, subtitle and, at the right of it, the key of a sheet. Answers where the body may begin.
pub(crate) fn header(
    canvas: &mut Canvas,
    title: &str,
    subtitle: &str,
    entries: &[(Key, String)],
) -> f64 {
    const PITCH: f64 = 27.0;
    let mut y = 32.0;
    for line in wrapped(title, (TITLE, true), WIDTH - 2.0 * EDGE, 2) {
        canvas.text(&line, (EDGE, y), Type::new(TITLE).bold());
        y += PITCH;
    }
    let left = key(canvas, entries, (WIDTH - EDGE, y - 1.0));
    let subtitle = elide(subtitle, BODY, false, left - EDGE - 20.0);
    canvas.text(&subtitle, (EDGE, y - 2.0), Type::new(BODY).muted());
    y + 17.0
}

/// Notes below the plots, from `top`; long ones wrap. Answers where the sheet ends.
pub(crate) fn notes(canvas: &mut Canvas, notes: &[String], top: f64) -> f64 {
    let mut y = top + NOTE / 2.0;
    for note in notes {
        for line in wrapped(note, (SMALL, false), WIDTH - 2.0 * EDGE, 3) {
            canvas.text(&line, (EDGE, y), Type::new(SMALL).muted());
            y += NOTE;
        }
    }
    y + 8.0
}

/// Round numbers that cover a range.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Scale {
    /// At the foot of the plot, shown units.
    pub low: f64,
    /// At its top, shown units.
    pub high: f64,
    /// Between ticks, shown units.
    pub step: f64,
}

impl Scale {
    /// Per cent from nothing to all.
    pub(crate) const PER_CENT: Scale = Scale {
        low: 0.0,
        high: 100.0,
        step: 50.0,
    };

    /// Covers `low` to `high` in about so many intervals.
    pub(crate) fn over(low: f64, high: f64, intervals: f64) -> Scale {
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
        let low = (low / step).floor() * step;
        let high = (high / step).ceil() * step;
        Scale {
            low,
            high: if high > low { high } else { low + step },
            step,
        }
    }

    /// The same ticks with ends no further out than `low` and `high` need, to half a step.
    pub(crate) fn snug(low: f64, high: f64, intervals: f64) -> Scale {
        let round = Scale::over(low, high, intervals);
        let half = round.step / 2.0;
        Scale {
            low: ((low / half).floor() * half).max(round.low),
            high: ((high / half).ceil() * half).min(round.high),
            ..round
        }
    }

    /// Where the ticks are.
    pub(crate) fn ticks(&self) -> impl Iterator<Item = f64> {
        let (step, high) = (self.step, self.high + 1e-6 * self.step);
        let first = (self.low / step - 1e-6).ceil();
        (0..60)
            .map(move |i| (first + f64::from(i)) * step)
            .take_while(move |&v| v <= high)
    }

    /// A number with as many decimals as the step needs.
    pub(crate) fn number(&self, value: f64) -> String {
        number(value, self.step)
    }
}

/// A number with as many decimals as `step` needs.
pub(crate) fn number(value: f64, step: f64) -> String {
    let decimals = (-step.log10().floor()).clamp(0.0, 4.0) as usize;
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(zero) if zero.chars().all(|c| matches!(c, '0' | '.')) => zero.to_owned(),
        Some(rest) => format!("−{rest}"),
        None => text,
    }
}

/// A label at the end of a line.
pub(crate) struct EndLabel {
    /// Where the line ends, in shown units.
    pub value: f64,
    /// The words.
    pub text: String,
    /// How the line looks.
    pub stroke: Stroke,
    /// The number of its marker, if it has one.
    pub marker: Option<usize>,
}

/// The plot's rectangle in px with its scales.
#[derive(Clone, Copy)]
pub(crate) struct Plot {
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
    /// Values from bottom to top.
    pub scale: Scale,
}

impl Plot {
    /// Horizontal place of a time, px.
    pub(crate) fn x(&self, t: f64) -> f64 {
        let share = (t - self.time.0) / (self.time.1 - self.time.0);
        self.left + share.clamp(0.0, 1.0) * (self.right - self.left)
    }

    /// Vertical place of a value, px.
    pub(crate) fn y(&self, v: f64) -> f64 {
        let share = (v - self.scale.low) / (self.scale.high - self.scale.low);
        self.bottom - share.clamp(0.0, 1.0) * (self.bottom - self.top)
    }

    /// Place of a point, px.
    pub(crate) fn at(&self, (t, v): (f64, f64)) -> (f64, f64) {
        (self.x(t), self.y(v))
    }

    /// A piece of a line in px, with no more points than can be seen.
    pub(crate) fn points(&self, piece: &[(f64, f64)]) -> Vec<(f64, f64)> {
        let points: Vec<_> = piece.iter().map(|&p| self.at(p)).collect();
        thinned(&points, CELL)
    }

    /// Halfway between bottom and top, px.
    pub(crate) fn middle(&self) -> f64 {
        (self.top + self.bottom) / 2.0
    }

    /// How long a time one px is, s.
    pub(crate) fn pixel_s(&self) -> f64 {
        (self.time.1 - self.time.0) / (self.right - self.left)
    }

    /// Upright grid lines at `times`.
    pub(crate) fn grid(&self, canvas: &mut Canvas, times: impl Iterator<Item = f64>) {
        for t in times {
            let x = self.x(t);
            canvas.line((x, self.top), (x, self.bottom), Stroke::new(GRID, 1.0));
        }
    }

    /// Level grid lines.
    pub(crate) fn value_grid(&self, canvas: &mut Canvas) {
        for v in self.scale.ticks() {
            let y = self.y(v);
            canvas.line((self.left, y), (self.right, y), Stroke::new(GRID, 1.0));
        }
    }

    /// The frame at left and bottom, value labels and, upright, what the axis shows.
    pub(crate) fn value_axis(&self, canvas: &mut Canvas, title: &str) {
        let corner = (self.left, self.bottom);
        canvas.path(
            &[(self.left, self.top), corner, (self.right, self.bottom)],
            Stroke::new(FRAME, 1.0),
        );
        let mut widest: f64 = 0.0;
        for v in self.scale.ticks() {
            let text = self.scale.number(v);
            widest = widest.max(text_width(&text, SMALL, false));
            let kind = Type::new(SMALL).muted().align(Align::Right);
            canvas.text(&text, (self.left - 7.0, self.y(v)), kind);
        }
        let x = (self.left - 7.0 - widest - 13.0).max(9.0);
        let kind = Type::new(SMALL).muted().align(Align::Centre).upright();
        let title = elide(title, SMALL, false, self.bottom - self.top + HEADING);
        canvas.text(&title, (x, self.middle()), kind);
    }

    /// Ticks with their labels, and what the axis shows, below the plot.
    pub(crate) fn foot_axis<'t>(
        &self,
        canvas: &mut Canvas,
        ticks: impl Iterator<Item = (f64, &'t str)>,
        title: &str,
        below: f64,
    ) {
        let y = self.bottom;
        let kind = Type::new(SMALL).muted().align(Align::Centre);
        for (t, label) in ticks {
            let x = self.x(t);
            canvas.line((x, y), (x, y + 5.0), Stroke::new(FRAME, 1.0));
            canvas.text(label, (x, y + 15.0), kind);
        }
        canvas.text(title, ((self.left + self.right) / 2.0, y + below), kind);
    }

    /// Clock times below the plot.
    pub(crate) fn time_axis(&self, canvas: &mut Canvas, ticks: &[Tick]) {
        let kind = Type::new(SMALL).bold().align(Align::Centre);
        for tick in ticks {
            if let Some(date) = &tick.date {
                canvas.text(date, (self.x(tick.t_s), self.bottom + 31.0), kind);
            }
        }
        let dated = ticks.iter().any(|t| t.date.is_some());
        let title = if ticks.iter().any(|t| t.label.contains(':')) {
            "Local clock time, h:min"
        } else {
            "Local date, midnight at each mark"
        };
        let labels = ticks.iter().map(|t| (t.t_s, t.label.as_str()));
        self.foot_axis(canvas, labels, title, if dated { 49.0 } else { 36.0 });
    }

    /// Labels right of the plot, each led to from the end of its line.
    pub(crate) fn end_labels(&self, canvas: &mut Canvas, labels: &[EndLabel], margin: f64) {
        let wanted: Vec<f64> = labels.iter().map(|l| self.y(l.value)).collect();
        let placed = spread(&wanted, 16.0, (self.top, self.bottom));
        for ((label, from), to) in labels.iter().zip(wanted).zip(placed) {
            let (x0, x1, x2) = (self.right + 2.0, self.right + 14.0, self.right + 34.0);
            let colour = label.stroke.colour;
            canvas.line((x0, from), (x1, to), Stroke::new(colour, 1.0));
            canvas.line((x1, to), (x2, to), label.stroke);
            if let Some(i) = label.marker {
                let at = ((x1 + x2) / 2.0, to);
                canvas.marker(palette::marker(i), at, 4.2, colour);
            }
            let text = elide(&label.text, SMALL, false, margin - 40.0);
            canvas.text(&text, (x2 + 6.0, to), Type::new(SMALL));
        }
    }
}

/// Room right of a plot for end labels of these texts, px.
pub(crate) fn label_margin<'t>(texts: impl IntoIterator<Item = &'t str>) -> f64 {
    let widths = texts
        .into_iter()
        .map(|t| text_width(t, SMALL, false) + 44.0);
    widths.fold(0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn scales_are_round_and_cover_the_range() {
        let scale = |low, high, intervals| {
            let s = Scale::over(low, high, intervals);
            (s.low, s.high, s.step)
        };
        assert_eq!(scale(21.3, 27.9, 4.0), (20.0, 28.0, 2.0));
        assert_eq!(scale(0.0, 142.0, 4.0), (0.0, 150.0, 50.0));
        let (low, high, step) = scale(24.0, 24.0, 4.0);
        assert!(low < high && step > 0.0);
        assert_eq!(scale(f64::NAN, 1.0, 2.0), (0.0, 1.0, 0.5));
        let ticks: Vec<f64> = Scale::PER_CENT.ticks().collect();
        assert_eq!(ticks, [0.0, 50.0, 100.0]);
    }

    #[test]
    fn numbers_have_the_decimals_of_their_step() {
        assert_eq!(number(0.25, 0.05), "0.25");
        assert_eq!(number(-5.0, 5.0), "−5");
        assert_eq!(number(-0.0, 5.0), "0");
        assert_eq!(number(20.0, 10.0), "20");
    }
}
