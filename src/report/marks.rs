//! Marks beside the data: flags for trips, and keys.

use super::canvas::{Canvas, Stroke};
use super::lettering::{Align, SMALL, Type, text_width};
use super::palette::{Colour, FRAME, INK, LIMIT, PAPER, QUIET};
use super::plot::Plot;

const FLAG_TEXT: f64 = 11.5;
/// How far a flag's points stand out beyond its text, px.
const FLAG_TIP: f64 = 8.0;
/// Half a flag's height, px: the plot needs as much free above it.
pub(crate) const FLAG_HALF: f64 = 11.5;

/// Thin lines down from where [`flags`] puts its flags; drawn first, under the data.
pub(crate) fn flag_lines(canvas: &mut Canvas, plot: &Plot, times: &[f64]) {
    for &t in times {
        let x = plot.x(t);
        let line = Stroke::new(QUIET, 1.0).dashed(2.0, 3.0);
        canvas.line((x, plot.top), (x, plot.bottom), line);
    }
}

/// Numbered flags along the top edge; flags that would touch share one.
pub(crate) fn flags(canvas: &mut Canvas, plot: &Plot, times: &[f64]) {
    let mut flags: Vec<Flag> = Vec::new();
    for (i, &t) in times.iter().enumerate() {
        let mut flag = Flag::new((i, i), (plot.x(t), plot.x(t)));
        while let Some(last) = flags.pop_if(|last| last.right() + 3.0 > flag.left()) {
            flag = Flag::new(
                (last.numbers.0, flag.numbers.1),
                (last.reach.0, flag.reach.1),
            );
        }
        flags.push(flag);
    }
    let kind = Type::new(FLAG_TEXT).bold().colour(PAPER);
    for flag in &flags {
        let at = (flag.middle(), plot.top);
        hexagon(canvas, at, (flag.half, FLAG_TIP, FLAG_HALF));
        canvas.text(&flag.text, at, kind.align(Align::Centre));
    }
}

/// The shape of a flag: half its width, its points beyond, half its height.
fn hexagon(canvas: &mut Canvas, (x, y): (f64, f64), (half, tip, tall): (f64, f64, f64)) {
    let corners = [
        (-half, -tall),
        (half, -tall),
        (half + tip, 0.0),
        (half, tall),
        (-half, tall),
        (-half - tip, 0.0),
    ];
    canvas.polygon(&corners.map(|(dx, dy)| (x + dx, y + dy)), INK);
}

/// Spans of lock-out as bars below where [`flags`] puts its flags, each with a solid line down from its
/// beginning.
pub(crate) fn lock_outs(canvas: &mut Canvas, plot: &Plot, spans: &[(f64, f64)]) {
    let (top, bottom) = (plot.top + 14.0, plot.top + 20.0);
    for &(from, to) in spans {
        let (x0, x1) = (plot.x(from), plot.x(to).max(plot.x(from) + 3.0));
        canvas.line((x0, top), (x0, plot.bottom), Stroke::new(LIMIT, 1.4));
        canvas.rect(x0, top, x1, bottom, LIMIT);
        let text = "locked out";
        if x1 - x0 > text_width(text, SMALL, true) + 38.0 {
            let kind = Type::new(SMALL).bold().colour(LIMIT).align(Align::Centre);
            canvas.label(text, ((x0 + x1) / 2.0, (top + bottom) / 2.0), kind);
        }
    }
}

/// A flag for one trip or a run of neighbours.
struct Flag {
    /// First and last trip, from 0.
    numbers: (usize, usize),
    /// Where the first and last happened, px.
    reach: (f64, f64),
    text: String,
    /// Half the width of the text, px.
    half: f64,
}

impl Flag {
    fn new(numbers: (usize, usize), reach: (f64, f64)) -> Self {
        let (first, last) = (numbers.0 + 1, numbers.1 + 1);
        let text = if first == last {
            format!("{first}")
        } else {
            format!("{first}–{last}")
        };
        let half = text_width(&text, FLAG_TEXT, true) / 2.0 + 1.0;
        Self {
            numbers,
            reach,
            text,
            half,
        }
    }

    fn middle(&self) -> f64 {
        (self.reach.0 + self.reach.1) / 2.0
    }

    fn left(&self) -> f64 {
        self.middle() - self.half - FLAG_TIP
    }

    fn right(&self) -> f64 {
        self.middle() + self.half + FLAG_TIP
    }
}

/// Small patches with their meaning in a row that ends at `right`, centred on `y`. Answers where the
/// row begins.
pub(crate) fn key(canvas: &mut Canvas, entries: &[(Key, String)], (right, y): (f64, f64)) -> f64 {
    let mut x = right;
    for (i, (key, text)) in entries.iter().rev().enumerate() {
        if i > 0 {
            x -= 18.0;
        }
        let kind = Type::new(SMALL).muted().align(Align::Right);
        canvas.label(text, (x, y), kind);
        x -= text_width(text, SMALL, false) + 31.0;
        key.draw(canvas, (x, y - 6.0, x + 24.0, y + 6.0));
    }
    x
}

/// A patch in a key.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Key {
    /// A filled patch.
    Fill(Colour),
    /// Diagonal hatching on a ground.
    Hatch(Colour, Colour),
    /// A line.
    Line(Stroke),
    /// The shape of a trip's flag.
    Flag,
}

impl Key {
    fn draw(self, canvas: &mut Canvas, (x0, y0, x1, y1): (f64, f64, f64, f64)) {
        let middle = (y0 + y1) / 2.0;
        match self {
            Self::Fill(colour) => canvas.rect(x0, y0, x1, y1, colour),
            Self::Hatch(colour, ground) => {
                canvas.hatch((x0, y0, x1, y1), 5.0, Stroke::new(colour, 1.0), ground);
            }
            Self::Line(stroke) => canvas.line((x0, middle), (x1, middle), stroke),
            Self::Flag => hexagon(canvas, (x1 - 9.0, middle), (4.0, 4.0, 7.0)),
        }
        if matches!(self, Self::Fill(_) | Self::Hatch(..)) {
            canvas.outline(x0, y0, x1, y1, Stroke::new(FRAME, 0.7));
        }
    }
}
