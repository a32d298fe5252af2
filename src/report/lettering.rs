//! Letters: sizes, styles, and how wide a text is.

use std::sync::OnceLock;

use ttf_parser::Face;

use super::palette::{Colour, INK, MUTED};

/// Fonts asked for, best first; the first is the one measured with and rastered with, the second
/// has nearly the same widths.
pub(super) const FAMILY: &str = "DejaVu Sans, Verdana, sans-serif";
/// From the middle of capitals down to their foot: half DejaVu's capital height, em.
pub(super) const BASELINE_EM: f64 = 0.365;

/// Size of the sheet's title, px.
pub(crate) const TITLE: f64 = 21.0;
/// Size of a panel's heading and of labels, px.
pub(crate) const BODY: f64 = 14.0;
/// Size of tick labels and notes, px.
pub(crate) const SMALL: f64 = 12.5;

/// Where a text is held.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Align {
    /// By its left end.
    Left,
    /// By its middle.
    Centre,
    /// By its right end.
    Right,
}

/// How text looks. It is always centred vertically on the point given.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Type {
    /// Size of the em, px.
    pub size: f64,
    /// Bold or regular.
    pub bold: bool,
    /// Colour of the letters.
    pub colour: Colour,
    /// Which end is held.
    pub align: Align,
    /// Turned to read from bottom to top.
    pub upright: bool,
}

impl Type {
    /// Plain text of a size, held by its left end.
    pub(crate) const fn new(size: f64) -> Self {
        Self {
            size,
            bold: false,
            colour: INK,
            align: Align::Left,
            upright: false,
        }
    }
    /// Bold.
    pub(crate) const fn bold(self) -> Self {
        Self { bold: true, ..self }
    }
    /// In the colour of secondary text.
    pub(crate) const fn muted(self) -> Self {
        self.colour(MUTED)
    }
    /// In a colour.
    pub(crate) const fn colour(self, colour: Colour) -> Self {
        Self { colour, ..self }
    }
    /// Held by another end.
    pub(crate) const fn align(self, align: Align) -> Self {
        Self { align, ..self }
    }
    /// Reading from bottom to top.
    pub(crate) const fn upright(self) -> Self {
        Self {
            upright: true,
            ..self
        }
    }
    /// Left end of a text `width` px wide that is held at `x`.
    pub(crate) fn left_of(&self, x: f64, width: f64) -> f64 {
        match self.align {
            Align::Left => x,
            Align::Centre => x - width / 2.0,
            Align::Right => x - width,
        }
    }
}

/// The font, compiled in; `None` only if its bytes were damaged.
pub(super) fn face(bold: bool) -> Option<&'static Face<'static>> {
    static FACES: OnceLock<[Option<Face<'static>>; 2]> = OnceLock::new();
    let faces = FACES.get_or_init(|| {
        [dejavu::sans::regular(), dejavu::sans::bold()].map(|bytes| Face::parse(bytes, 0).ok())
    });
    faces[usize::from(bold)].as_ref()
}

/// Width of a letter, em. One that the font lacks has a guess.
pub(super) fn advance(face: &Face<'_>, letter: char) -> f64 {
    let id = face.glyph_index(letter);
    let width = id.and_then(|id| face.glyph_hor_advance(id));
    width.map_or(0.6, |w| f64::from(w) / f64::from(face.units_per_em()))
}

/// Width of a text, px.
pub(crate) fn text_width(text: &str, size: f64, bold: bool) -> f64 {
    face(bold).map_or(0.0, |face| {
        size * text.chars().map(|c| advance(face, c)).sum::<f64>()
    })
}

/// The text itself, or as much of it as fits with an ellipsis behind.
pub(crate) fn elide(text: &str, size: f64, bold: bool, width: f64) -> String {
    let Some(face) = face(bold) else {
        return text.to_owned();
    };
    let dots = size * advance(face, '…');
    let (mut used, mut fits) = (0.0, 0);
    for (at, c) in text.char_indices() {
        used += size * advance(face, c);
        if used + dots <= width {
            fits = at + c.len_utf8();
        }
        if used > width {
            let short = text[..fits].trim_end();
            return if fits > 0 {
                format!("{short}…")
            } else {
                String::new()
            };
        }
    }
    text.to_owned()
}

/// A text cut into at most `most` lines no wider than `width` px; what is left over is elided.
pub(crate) fn wrapped(
    text: &str,
    (size, bold): (f64, bool),
    width: f64,
    most: usize,
) -> Vec<String> {
    let mut lines = vec![String::new()];
    let mut used = 0.0;
    let space = text_width(" ", size, bold);
    for word in text.split_whitespace() {
        let needed = text_width(word, size, bold);
        let full = used > 0.0 && used + space + needed > width;
        if full && lines.len() < most {
            lines.push(String::new());
            used = 0.0;
        }
        let line = lines.len() - 1;
        if used > width {
            // The last line is full and will be elided: no use in growing it.
            break;
        }
        if used > 0.0 {
            lines[line].push(' ');
            used += space;
        }
        lines[line] += word;
        used += needed;
    }
    lines.iter().map(|l| elide(l, size, bold, width)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_names_are_cut_with_an_ellipsis() {
        let short = elide("Consulting room on the north side", 14.0, false, 120.0);
        assert!(short.ends_with('…') && text_width(&short, 14.0, false) <= 120.0);
        assert_eq!(elide("Office", 14.0, false, 120.0), "Office");
    }

    #[test]
    fn words_wrap_within_their_width() {
        let text = "Less air through the grille or a larger face: half the flow is 18 dB less";
        let lines = wrapped(text, (SMALL, false), 200.0, 9);
        assert!(lines.len() > 2);
        assert!(lines.iter().all(|l| text_width(l, SMALL, false) <= 200.0));
        assert_eq!(lines.join(" "), text);
        let cut = wrapped(text, (SMALL, false), 200.0, 2);
        assert!(cut.len() == 2 && cut[1].ends_with('…'));
    }
}
