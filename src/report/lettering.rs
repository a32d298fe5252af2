//! Letters: sizes, styles, and how wide a text is.

use super::palette::{Colour, INK, MUTED};
use plotters::prelude::{FontFamily, FontStyle};
use plotters::style::{FontDesc, register_font};
use std::sync::Once;

/// Texts are measured this many times as large, since the metrics are whole numbers.
const FINE: f64 = 10.0;
/// Fonts asked for, best first; the first is the one measured with and rasterised with, the
/// second has nearly the same widths.
const FAMILY: &str = "DejaVu Sans, Verdana, sans-serif";
/// The backend writes its sizes divided by this.
pub const BACKEND_EM: f64 = 1.24;
/// The metrics take a size from ascent to descent, which in DejaVu Sans is this many em
/// (0.928 + 0.236, from the font's `hhea` table).
const DEJAVU_HEIGHT_EM: f64 = 1.164;

/// Size of the sheet's title, px.
pub const TITLE: f64 = 21.0;
/// Size of a panel's heading and of labels, px.
pub const BODY: f64 = 14.0;
/// Size of tick labels and notes, px.
pub const SMALL: f64 = 12.5;

/// Where a text is held.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Align {
    /// By its left end.
    Left,
    /// By its middle.
    Centre,
    /// By its right end.
    Right,
}

/// How text looks. It is always centred vertically on the point given.
#[derive(Debug, Clone, Copy)]
pub struct Type {
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
    pub fn new(size: f64) -> Self {
        Self {
            size,
            bold: false,
            colour: INK,
            align: Align::Left,
            upright: false,
        }
    }
    /// Bold.
    pub fn bold(self) -> Self {
        Self { bold: true, ..self }
    }
    /// In the colour of secondary text.
    pub fn muted(self) -> Self {
        Self {
            colour: MUTED,
            ..self
        }
    }
    /// In a colour.
    pub fn colour(self, colour: Colour) -> Self {
        Self { colour, ..self }
    }
    /// Held by another end.
    pub fn align(self, align: Align) -> Self {
        Self { align, ..self }
    }
    /// Reading from bottom to top.
    pub fn upright(self) -> Self {
        Self {
            upright: true,
            ..self
        }
    }
}

/// The font at a size in the backend's units.
pub fn font(size: f64, bold: bool) -> FontDesc<'static> {
    static REGISTER: Once = Once::new();
    REGISTER.call_once(|| {
        // The bytes are compiled in; a failure would show as an error on the first text drawn.
        let _ = register_font(FAMILY, FontStyle::Normal, dejavu::sans::regular());
        let _ = register_font(FAMILY, FontStyle::Bold, dejavu::sans::bold());
    });
    let weight = if bold {
        FontStyle::Bold
    } else {
        FontStyle::Normal
    };
    FontDesc::new(FontFamily::Name(FAMILY), size, weight)
}

/// Width of a text, px.
pub fn text_width(text: &str, size: f64, bold: bool) -> f64 {
    font(size * FINE * DEJAVU_HEIGHT_EM, bold)
        .box_size(text)
        .map_or(0.6 * size * text.chars().count() as f64, |(width, _)| {
            f64::from(width) / FINE
        })
}

/// The text itself, or as much of it as fits with an ellipsis behind.
pub fn elide(text: &str, size: f64, bold: bool, width: f64) -> String {
    if text_width(text, size, bold) <= width {
        return text.to_owned();
    }
    let mut short: String = text.to_owned();
    while short.pop().is_some() {
        let candidate = format!("{}…", short.trim_end());
        if text_width(&candidate, size, bold) <= width {
            return candidate;
        }
    }
    String::new()
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
}
