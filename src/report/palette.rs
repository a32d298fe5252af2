//! Colours and marker shapes.
//!
//! Series take the Okabe–Ito colours in their published order (M. Okabe and K. Ito, "Color
//! Universal Design", 2008). Black is kept for setpoints and text, and yellow is left out of lines because it
//! has next to no contrast on white. Every series also carries a marker shape and a label, so no
//! meaning hangs on a colour.

/// An opaque colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Colour(pub u8, pub u8, pub u8);

impl Colour {
    /// This colour at `share` (0 to 1) over white: opaque, so that drawing needs no blending.
    pub(crate) const fn tint(self, share: f64) -> Self {
        Self(mix(self.0, share), mix(self.1, share), mix(self.2, share))
    }
}

impl Colour {
    /// The `i`-th shade: the colour itself, darker, lighter, and again.
    pub(crate) const fn shade(self, i: usize) -> Self {
        match i % 3 {
            0 => self,
            1 => Self(self.0 / 2, self.1 / 2, self.2 / 2),
            _ => self.tint(0.55),
        }
    }
}

const fn mix(c: u8, share: f64) -> u8 {
    (255.5 + (c as f64 - 255.0) * share) as u8
}

/// Text and setpoints.
pub(crate) const INK: Colour = Colour(0x22, 0x22, 0x22);
/// Secondary text.
pub(crate) const MUTED: Colour = Colour(0x59, 0x59, 0x59);
/// Panel frames and ticks.
pub(crate) const FRAME: Colour = Colour(0x9A, 0x9A, 0x9A);
/// Grid lines.
pub(crate) const GRID: Colour = Colour(0xE3, 0xE3, 0xE3);
/// Background of a scheduled period.
pub(crate) const SCHEDULED: Colour = Colour(0xEE, 0xF2, 0xF7);
/// Quiet traces, such as a sensor beside its room.
pub(crate) const QUIET: Colour = Colour(0xA6, 0xA6, 0xA6);
/// Limit lines.
pub(crate) const LIMIT: Colour = Colour(0x7A, 0x1F, 0x3D);
/// Paper.
pub(crate) const PAPER: Colour = Colour(0xFF, 0xFF, 0xFF);

/// Okabe–Ito orange.
pub(crate) const ORANGE: Colour = Colour(0xE6, 0x9F, 0x00);
/// Okabe–Ito sky blue.
pub(crate) const SKY_BLUE: Colour = Colour(0x56, 0xB4, 0xE9);
/// Okabe–Ito bluish green.
pub(crate) const BLUISH_GREEN: Colour = Colour(0x00, 0x9E, 0x73);
/// Okabe–Ito blue.
pub(crate) const BLUE: Colour = Colour(0x00, 0x72, 0xB2);
/// Okabe–Ito vermillion.
pub(crate) const VERMILLION: Colour = Colour(0xD5, 0x5E, 0x00);
/// Okabe–Ito reddish purple.
pub(crate) const REDDISH_PURPLE: Colour = Colour(0xCC, 0x79, 0xA7);

const SERIES: [Colour; 6] = [
    ORANGE,
    SKY_BLUE,
    BLUISH_GREEN,
    BLUE,
    VERMILLION,
    REDDISH_PURPLE,
];

/// Shapes that tell series apart without colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Marker {
    /// A filled disc.
    Disc,
    /// A filled square.
    Square,
    /// A triangle pointing up.
    Up,
    /// A diamond.
    Diamond,
    /// A triangle pointing down.
    Down,
    /// An open ring.
    Ring,
    /// A bar across the line.
    Bar,
}

const MARKERS: [Marker; 7] = [
    Marker::Disc,
    Marker::Square,
    Marker::Up,
    Marker::Diamond,
    Marker::Down,
    Marker::Ring,
    Marker::Bar,
];

/// Colour of the `i`-th series. Colours repeat after six.
pub(crate) fn series(i: usize) -> Colour {
    SERIES[i % SERIES.len()]
}

/// Marker of the `i`-th series. Six colours and seven shapes make 42 pairs before one repeats.
pub(crate) fn marker(i: usize) -> Marker {
    MARKERS[i % MARKERS.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_pair_of_colour_and_shape_repeats_among_forty() {
        let mut pairs: Vec<_> = (0..40).map(|i| (series(i), marker(i))).collect();
        pairs.dedup();
        for i in 0..pairs.len() {
            assert!(!pairs[..i].contains(&pairs[i]));
        }
        assert_eq!(pairs.len(), 40);
    }

    #[test]
    fn text_colours_have_the_contrast_wcag_asks() {
        // WCAG 2.2, 1.4.3: 4.5 to 1 for text; relative luminance as it defines.
        let channel = |c: u8| {
            let c = f64::from(c) / 255.0;
            if c <= 0.04045 {
                c / 12.92
            } else {
                ((c + 0.055) / 1.055f64).powf(2.4)
            }
        };
        for Colour(r, g, b) in [INK, MUTED, LIMIT] {
            let luminance = 0.2126 * channel(r) + 0.7152 * channel(g) + 0.0722 * channel(b);
            assert!(1.05 / (luminance + 0.05) >= 4.5);
        }
    }
}
