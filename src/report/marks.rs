//! Marks beside the data: flags for trips, and keys.

use super::canvas::{Canvas, Stroke};
use super::lettering::{Align, SMALL, Type, text_width};
use super::palette::{self, Colour, FRAME, INK, LIMIT};
use super::panel::Panel;

impl Panel {
    /// Thin lines down from where [`Panel::flags`] puts its flags; drawn first, under the data.
    pub fn flag_lines(&self, canvas: &mut Canvas<'_>, times: &[f64]) {
        for &t in times {
            let x = self.x(t);
            let line = Stroke::new(palette::QUIET, 1.0).dashed(2.0, 3.0);
            canvas.line((x, self.top), (x, self.bottom), line);
        }
    }

    /// Numbered flags along the top edge; flags that would touch share one.
    pub fn flags(&self, canvas: &mut Canvas<'_>, times: &[f64]) {
        let mut flags: Vec<Flag> = Vec::new();
        for (i, &t) in times.iter().enumerate() {
            let mut flag = Flag::new(i, i, self.x(t), self.x(t));
            while let Some(last) = flags.pop_if(|last| last.right() + 3.0 > flag.left()) {
                flag = Flag::new(last.numbers.0, flag.numbers.1, last.reach.0, flag.reach.1);
            }
            flags.push(flag);
        }
        for flag in &flags {
            let (x, half) = (flag.middle(), flag.half);
            let tip = half + FLAG_TIP;
            let shape = [
                (x - half, self.top - 11.5),
                (x + half, self.top - 11.5),
                (x + tip, self.top),
                (x + half, self.top + 11.5),
                (x - half, self.top + 11.5),
                (x - tip, self.top),
            ];
            canvas.polygon(&shape, INK);
            let kind = Type::new(FLAG_TEXT)
                .bold()
                .colour(palette::PAPER)
                .align(Align::Centre);
            canvas.text(&flag.text, (x, self.top), kind);
        }
    }
}

impl Panel {
    /// Spans of lock-out as bars below where [`Panel::flags`] puts its flags, each with a solid
    /// line down from its beginning.
    pub fn lock_outs(&self, canvas: &mut Canvas<'_>, spans: &[(f64, f64)]) {
        let (top, bottom) = (self.top + 14.0, self.top + 20.0);
        for &(from, to) in spans {
            let (x0, x1) = (self.x(from), self.x(to).max(self.x(from) + 3.0));
            canvas.line((x0, top), (x0, self.bottom), Stroke::new(LIMIT, 1.4));
            canvas.rect(x0, top, x1, bottom, LIMIT);
            let kind = Type::new(SMALL).bold().colour(LIMIT);
            let text = "locked out";
            let half = text_width(text, SMALL, true) / 2.0 + 4.0;
            if x1 - x0 > 2.0 * half + 30.0 {
                let middle = (x0 + x1) / 2.0;
                let y = (top + bottom) / 2.0;
                canvas.label(text, (middle, y), kind.align(Align::Centre), palette::PAPER);
            }
        }
    }
}

const FLAG_TEXT: f64 = 11.5;
/// How far a flag's points stand out beyond its text, px.
const FLAG_TIP: f64 = 8.0;

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
    fn new(first: usize, last: usize, from: f64, to: f64) -> Self {
        let text = match last - first {
            0 => format!("{}", first + 1),
            _ => format!("{}–{}", first + 1, last + 1),
        };
        let half = text_width(&text, FLAG_TEXT, true) / 2.0 + 1.0;
        Self {
            numbers: (first, last),
            reach: (from, to),
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

/// Small patches with their meaning in a row that ends at `right`, centred on `y`.
pub fn key(canvas: &mut Canvas<'_>, entries: &[(Key, &str)], (right, y): (f64, f64)) {
    let mut x = right;
    for (key, text) in entries.iter().rev() {
        let kind = Type::new(SMALL).muted().align(Align::Right);
        canvas.label(text, (x, y), kind, palette::PAPER);
        x -= text_width(text, SMALL, false) + 7.0;
        key.draw(canvas, (x - 24.0, y - 6.0, x, y + 6.0));
        x -= 24.0 + 18.0;
    }
}

/// A patch in a key.
#[derive(Debug, Clone, Copy)]
pub enum Key {
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
    fn draw(self, canvas: &mut Canvas<'_>, (x0, y0, x1, y1): (f64, f64, f64, f64)) {
        let middle = (y0 + y1) / 2.0;
        match self {
            Self::Fill(colour) => {
                canvas.rect(x0, y0, x1, y1, colour);
                canvas.outline(x0, y0, x1, y1, Stroke::new(FRAME, 0.7));
            }
            Self::Hatch(colour, ground) => {
                canvas.rect(x0, y0, x1, y1, ground);
                canvas.hatch((x0, y0, x1, y1), 5.0, true, Stroke::new(colour, 1.0));
                canvas.outline(x0, y0, x1, y1, Stroke::new(FRAME, 0.7));
            }
            Self::Line(stroke) => canvas.line((x0, middle), (x1, middle), stroke),
            Self::Flag => {
                let shape = [
                    (-8.0, 0.0),
                    (-4.0, -7.0),
                    (4.0, -7.0),
                    (8.0, 0.0),
                    (4.0, 7.0),
                    (-4.0, 7.0),
                ];
                let (x, y) = (x1 - 9.0, middle);
                canvas.polygon(&shape.map(|(dx, dy)| (x + dx, y + dy)), INK);
            }
        }
    }
}
