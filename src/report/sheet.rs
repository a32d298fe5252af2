//! A figure over time as data: a sheet of panels, each with its axis and layers. The drawer lays it
//! out.

use chrono::NaiveDateTime;

use super::canvas::Stroke;
use super::marks::Key;
use super::palette::{Colour, LIMIT, VERMILLION};
use super::plot::{LINE, Scale};
use super::series::{Pieces, Spans, cover, held, range};

/// Hatching of time above a limit: lines and ground.
pub(crate) const ABOVE: (Colour, Colour) = (VERMILLION.tint(0.75), VERMILLION.tint(0.16));
/// How a limit is drawn.
pub(crate) const LIMIT_LINE: Stroke = Stroke::new(LIMIT, 1.6).dashed(10.0, 4.0);

/// A figure over time.
pub(crate) struct Sheet {
    /// Name of the figure, for files.
    pub name: &'static str,
    /// What it shows, as a finding.
    pub title: String,
    /// Whose, and when.
    pub subtitle: String,
    /// What patches on the whole sheet mean.
    pub key: Vec<(Key, String)>,
    /// Local clock time at 0 s.
    pub start: NaiveDateTime,
    /// First and last time, s.
    pub span: (f64, f64),
    /// The panels.
    pub panels: Vec<Panel>,
    /// How many of the first panels take the whole width.
    pub lead: usize,
    /// In how many columns the others stand, filled one after another.
    pub columns: usize,
    /// Notes below.
    pub notes: Vec<String>,
}

/// One plot over time, or one strip of a timeline.
#[derive(Default)]
pub(crate) struct Panel {
    /// Its name above it.
    pub heading: String,
    /// More, beside the heading.
    pub told: String,
    /// What its patches mean, above its right end.
    pub key: Vec<(Key, String)>,
    /// Name and second line left of a strip.
    pub name: (String, String),
    /// Lines right of a strip.
    pub total: Vec<String>,
    /// What the value axis shows; without one the panel has no ticks.
    pub axis: Option<String>,
    /// Values from bottom to top.
    pub scale: Option<Scale>,
    /// Height of the plot, px.
    pub height: f64,
    /// What is drawn, in order; shades and strips lie under the grid.
    pub layers: Vec<Layer>,
}

/// Something drawn in a panel. Values are in shown units.
pub(crate) enum Layer {
    /// Spans shaded over the whole height.
    Shade(Spans, Colour),
    /// A strip about a line: the line, how far below and above, and its colour.
    Strip(Pieces, (f64, f64), Colour),
    /// The area between a line and zero.
    Area(Pieces, Colour),
    /// An area behind the data on a scale of its own, from 0 at the foot to 1 at the top.
    Backdrop(Pieces, Colour),
    /// The area between two lines: time, low, high.
    Between(Vec<(f64, f64, f64)>, Colour),
    /// Spans hatched from the foot up to a value.
    Hatch(Spans, f64),
    /// A line.
    Line(Line),
    /// A limit or setpoint with its words, and spans above it to be hatched.
    Limit(f64, String, Stroke, Spans),
    /// A marked point with its words, which may be empty.
    Mark((f64, f64), String, Colour),
    /// Triangles at the foot.
    Starts(Vec<f64>),
    /// Outlined cells with a number.
    Counts(Vec<(f64, f64, usize)>),
    /// Spans named in words.
    Words(Vec<(f64, f64, String)>),
    /// Numbered flags on the top edge.
    Flags(Vec<f64>),
    /// Spans of lock-out as bars below the flags.
    LockOuts(Spans),
    /// Named instants, each a line over the whole height.
    Events(Vec<(f64, String)>),
    /// Words in the middle, in place of data.
    Absent(&'static str),
}

/// A line with its look and its label.
pub(crate) struct Line {
    /// The line.
    pub pieces: Pieces,
    /// How it looks.
    pub stroke: Stroke,
    /// The number of its marker.
    pub marker: Option<usize>,
    /// Its label at the right end; empty for none.
    pub label: String,
}

impl Line {
    /// A full line of the usual width.
    pub(crate) fn new(pieces: Pieces, label: impl Into<String>, colour: Colour) -> Line {
        Line {
            pieces,
            stroke: Stroke::new(colour, LINE),
            marker: None,
            label: label.into(),
        }
    }

    /// With the `i`-th marker.
    pub(crate) fn marked(self, i: usize) -> Line {
        Line {
            marker: Some(i),
            ..self
        }
    }

    /// With another look.
    pub(crate) fn stroke(self, stroke: Stroke) -> Line {
        Line { stroke, ..self }
    }

    /// The last value.
    pub(crate) fn end(&self) -> Option<f64> {
        Some(self.pieces.last()?.last()?.1)
    }
}

/// Lines that hold each value until the next.
pub(crate) fn all_held(pieces: &Pieces) -> Pieces {
    pieces.iter().map(|piece| held(piece)).collect()
}

impl Layer {
    fn range(&self) -> Option<(f64, f64)> {
        let of = |pieces: &Pieces| range(pieces.iter().flatten().map(|p| &p.1));
        match self {
            Layer::Line(line) => of(&line.pieces),
            Layer::Area(pieces, _) => cover(of(pieces), Some((0.0, 0.0))),
            Layer::Between(points, _) => cover(
                range(points.iter().map(|p| &p.1)),
                range(points.iter().map(|p| &p.2)),
            ),
            Layer::Limit(v, ..) | Layer::Mark((_, v), ..) => Some((*v, *v)),
            _ => None,
        }
    }
}

impl Panel {
    /// A plot with a heading.
    pub(crate) fn new(heading: impl Into<String>, height: f64, layers: Vec<Layer>) -> Panel {
        Panel {
            heading: heading.into(),
            height,
            layers,
            ..Panel::default()
        }
    }

    /// A strip with its name at the left.
    pub(crate) fn strip(name: &str, more: &str, height: f64, layers: Vec<Layer>) -> Panel {
        Panel {
            name: (name.to_owned(), more.to_owned()),
            height,
            layers,
            ..Panel::default()
        }
    }

    /// With a value axis of its own that reaches at least over `reach`.
    pub(crate) fn fitted(
        mut self,
        title: &str,
        reach: Option<(f64, f64)>,
        intervals: f64,
    ) -> Panel {
        fit(std::slice::from_mut(&mut self), title, reach, intervals);
        self
    }

    /// Whether flags stand on its top edge.
    pub(crate) fn has_flags(&self) -> bool {
        self.layers
            .iter()
            .any(|l| matches!(l, Layer::Flags(t) if !t.is_empty()))
    }
}

/// Gives panels one scale that covers what they show and `reach`.
pub(crate) fn fit(panels: &mut [Panel], title: &str, reach: Option<(f64, f64)>, intervals: f64) {
    let layers = || panels.iter().flat_map(|p| &p.layers);
    let seen = layers().map(Layer::range).fold(None, cover);
    let (mut low, mut high) = cover(seen, reach).unwrap_or((0.0, 1.0));
    let reaches = |v: f64| reach.is_some_and(|r| v == r.0 || v == r.1);
    // What does not move has an axis all the same.
    let biggest = low.abs().max(high.abs());
    if high - low < 1e-3 * biggest || biggest == 0.0 {
        let room = if biggest > 0.0 { 0.05 * biggest } else { 1.0 };
        high += room;
        low -= if reaches(low) { 0.0 } else { room };
    }
    let span = high - low;
    // Words over a marked point need room above it.
    if layers().any(|l| matches!(l, Layer::Mark(_, words, _) if !words.is_empty())) {
        high += 0.2 * span;
    }
    // Lines need air, except at an end that the axis had to reach anyway.
    if !reaches(low) {
        low -= 0.03 * span;
    }
    if !reaches(high) {
        high += 0.03 * span;
    }
    let scale = Scale::snug(low, high, intervals);
    for panel in panels {
        panel.axis = Some(title.to_owned());
        panel.scale = Some(scale);
    }
}
