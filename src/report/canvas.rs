//! A sheet to draw on: pixels as `f64`, text that can be measured, SVG out.
//!
//! The SVG backend takes whole-number coordinates only, so the sheet is drawn ten times as large
//! and shown at its proper size. Colours are opaque and drawn in order, which keeps the drawing
//! small and quick to rasterise.

use super::lettering::{Align, BACKEND_EM, Type, font, text_width};
use super::palette::{Colour, Marker, PAPER};
use super::{Figure, FigureError};
use plotters::prelude::{DrawingBackend, FontTransform, SVGBackend, ShapeStyle, TextStyle};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{Color, RGBColor};

/// Backend units in a pixel.
const FINE: f64 = 10.0;
/// How a line looks.
#[derive(Debug, Clone, Copy)]
pub struct Stroke {
    /// Colour of the line.
    pub colour: Colour,
    /// Width, px.
    pub width: f64,
    /// Lengths of dash and gap, px; `None` is a full line.
    pub dash: Option<(f64, f64)>,
}

impl Stroke {
    /// A full line.
    pub fn new(colour: Colour, width: f64) -> Self {
        Self {
            colour,
            width,
            dash: None,
        }
    }
    /// The same line with dashes and gaps of these lengths, px.
    pub fn dashed(self, dash: f64, gap: f64) -> Self {
        Self {
            dash: Some((dash, gap)),
            ..self
        }
    }
}

/// The sheet.
pub struct Canvas<'a> {
    backend: SVGBackend<'a>,
    failed: Option<String>,
}

/// Draws one sheet of `width` by `height` px and gives it back as a [`Figure`].
///
/// # Errors
/// When the drawing backend fails.
pub fn sheet(
    name: &'static str,
    title: &str,
    (width, height): (f64, f64),
    draw: impl FnOnce(&mut Canvas<'_>),
) -> Result<Figure, FigureError> {
    let mut svg = String::with_capacity(1 << 17);
    let size = ((width * FINE) as u32, (height * FINE) as u32);
    let mut canvas = Canvas {
        backend: SVGBackend::with_string(&mut svg, size),
        failed: None,
    };
    canvas.rect(0.0, 0.0, width, height, PAPER);
    draw(&mut canvas);
    let presented = canvas.backend.present();
    canvas.note(presented);
    if let Some(why) = canvas.failed.take() {
        return Err(FigureError::Drawing { name, why });
    }
    drop(canvas);
    let body = svg.find('>').map_or("", |at| &svg[at + 1..]);
    let title = title
        .replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;");
    let svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"{height}\" \
         viewBox=\"0 0 {} {}\" stroke-linejoin=\"round\" role=\"img\">\n<title>{title}</title>{body}",
        size.0, size.1
    );
    Ok(Figure {
        name,
        svg,
        width_px: width as u32,
        height_px: height as u32,
    })
}

fn style(colour: Colour, width: f64, filled: bool) -> ShapeStyle {
    ShapeStyle {
        color: RGBColor(colour.0, colour.1, colour.2).to_rgba(),
        filled,
        stroke_width: (width * FINE).round() as u32,
    }
}

fn fine((x, y): (f64, f64)) -> (i32, i32) {
    ((x * FINE).round() as i32, (y * FINE).round() as i32)
}

impl Canvas<'_> {
    fn note<E: std::fmt::Display>(&mut self, result: Result<(), E>) {
        if let Err(error) = result {
            self.failed.get_or_insert_with(|| error.to_string());
        }
    }

    /// A line through points. Points that are not finite are left out.
    pub fn path(&mut self, points: &[(f64, f64)], stroke: Stroke) {
        let drawn = style(stroke.colour, stroke.width, false);
        let Some((dash, gap)) = stroke.dash else {
            let points: Vec<_> = points.iter().copied().filter(finite).map(fine).collect();
            if points.len() > 1 {
                let result = self.backend.draw_path(points, &drawn);
                self.note(result);
            }
            return;
        };
        for piece in dashes(points, dash, gap) {
            let result = self.backend.draw_path(piece.into_iter().map(fine), &drawn);
            self.note(result);
        }
    }

    /// A straight line.
    pub fn line(&mut self, from: (f64, f64), to: (f64, f64), stroke: Stroke) {
        self.path(&[from, to], stroke);
    }

    /// A filled rectangle between two corners.
    pub fn rect(&mut self, x0: f64, y0: f64, x1: f64, y1: f64, fill: Colour) {
        if [x0, y0, x1, y1].iter().all(|v| v.is_finite()) && x1 > x0 && y1 > y0 {
            let drawn = style(fill, 0.0, true);
            let result = self
                .backend
                .draw_rect(fine((x0, y0)), fine((x1, y1)), &drawn, true);
            self.note(result);
        }
    }

    /// The outline of a rectangle.
    pub fn outline(&mut self, x0: f64, y0: f64, x1: f64, y1: f64, stroke: Stroke) {
        self.path(
            &[(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0), (x1, y0)],
            stroke,
        );
    }

    /// A filled shape.
    pub fn polygon(&mut self, points: &[(f64, f64)], fill: Colour) {
        let points: Vec<_> = points.iter().copied().filter(finite).map(fine).collect();
        if points.len() > 2 {
            let result = self.backend.fill_polygon(points, &style(fill, 0.0, true));
            self.note(result);
        }
    }

    /// Diagonal lines within a rectangle, `pitch` px apart: rising to the right, or falling.
    pub fn hatch(
        &mut self,
        (x0, y0, x1, y1): (f64, f64, f64, f64),
        pitch: f64,
        rising: bool,
        stroke: Stroke,
    ) {
        if !(x1 > x0 && y1 > y0 && pitch > 0.0) {
            return;
        }
        // Lines x + y = c, on one raster for the whole sheet so that neighbours join up.
        let mut c = ((x0 + y0) / pitch).ceil() * pitch;
        while c < x1 + y1 {
            let (xa, xb) = ((c - y1).max(x0), (c - y0).min(x1));
            if xb - xa > 0.05 {
                let (ya, yb) = (c - xa, c - xb);
                let flip = |y: f64| if rising { y } else { y0 + y1 - y };
                self.line((xa, flip(ya)), (xb, flip(yb)), stroke);
            }
            c += pitch;
        }
    }

    /// Text, centred vertically on `at`.
    pub fn text(&mut self, text: &str, at: (f64, f64), kind: Type) {
        if text.is_empty() || !finite(&at) {
            return;
        }
        let mut font = font(kind.size * FINE * BACKEND_EM, kind.bold);
        if kind.upright {
            font = font.transform(FontTransform::Rotate270);
        }
        let horizontal = match kind.align {
            Align::Left => HPos::Left,
            Align::Centre => HPos::Center,
            Align::Right => HPos::Right,
        };
        let Colour(r, g, b) = kind.colour;
        let colour = RGBColor(r, g, b);
        let style = TextStyle::from(font)
            .color(&colour)
            .pos(Pos::new(horizontal, VPos::Center));
        let result = self.backend.draw_text(text, &style, fine(at));
        self.note(result);
    }

    /// Text on a patch of `ground`, so that lines behind it do not cross the letters.
    pub fn label(&mut self, text: &str, at: (f64, f64), kind: Type, ground: Colour) {
        let width = text_width(text, kind.size, kind.bold);
        let left = match kind.align {
            Align::Left => at.0,
            Align::Centre => at.0 - width / 2.0,
            Align::Right => at.0 - width,
        };
        let half = kind.size * 0.62;
        self.rect(
            left - 3.0,
            at.1 - half,
            left + width + 3.0,
            at.1 + half,
            ground,
        );
        self.text(text, at, kind);
    }

    /// A marker of half-width `r` px.
    pub fn marker(&mut self, marker: Marker, (x, y): (f64, f64), r: f64, colour: Colour) {
        match marker {
            Marker::Disc => self.disc((x, y), r, colour),
            Marker::Ring => {
                self.disc((x, y), r, colour);
                self.disc((x, y), r * 0.5, PAPER);
            }
            Marker::Square => {
                let r = r * 0.88;
                self.rect(x - r, y - r, x + r, y + r, colour);
            }
            Marker::Up => {
                self.polygon(
                    &[(x, y - r * 1.1), (x + r * 1.1, y + r), (x - r * 1.1, y + r)],
                    colour,
                );
            }
            Marker::Down => {
                self.polygon(
                    &[(x, y + r * 1.1), (x + r * 1.1, y - r), (x - r * 1.1, y - r)],
                    colour,
                );
            }
            Marker::Diamond => {
                let r = r * 1.25;
                self.polygon(&[(x, y - r), (x + r, y), (x, y + r), (x - r, y)], colour);
            }
            Marker::Bar => self.rect(x - r * 0.3, y - r * 1.4, x + r * 0.3, y + r * 1.4, colour),
        }
    }

    fn disc(&mut self, at: (f64, f64), r: f64, colour: Colour) {
        if finite(&at) {
            let radius = (r * FINE).round() as u32;
            let result =
                self.backend
                    .draw_circle(fine(at), radius, &style(colour, 0.0, true), true);
            self.note(result);
        }
    }
}

fn finite(&(x, y): &(f64, f64)) -> bool {
    x.is_finite() && y.is_finite()
}

/// Cuts a line into its dashes by length along it.
fn dashes(points: &[(f64, f64)], dash: f64, gap: f64) -> Vec<Vec<(f64, f64)>> {
    let mut pieces = Vec::new();
    let mut piece: Vec<(f64, f64)> = Vec::new();
    let (mut on, mut left) = (true, dash);
    let mut previous: Option<(f64, f64)> = None;
    for &next in points.iter().filter(|p| finite(p)) {
        let Some(mut from) = previous else {
            piece.push(next);
            previous = Some(next);
            continue;
        };
        let mut length = (next.0 - from.0).hypot(next.1 - from.1);
        while length > left {
            let share = left / length;
            from = (
                from.0 + (next.0 - from.0) * share,
                from.1 + (next.1 - from.1) * share,
            );
            length -= left;
            if on {
                piece.push(from);
                pieces.push(std::mem::take(&mut piece));
            } else {
                piece.push(from);
            }
            on = !on;
            left = if on { dash.max(0.5) } else { gap.max(0.5) };
        }
        left -= length;
        if on {
            piece.push(next);
        }
        previous = Some(next);
    }
    if piece.len() > 1 {
        pieces.push(piece);
    }
    pieces
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dashes_cover_their_share_of_a_bent_line() {
        let pieces = dashes(&[(0.0, 0.0), (55.0, 0.0), (55.0, 45.0)], 6.0, 4.0);
        let length = |p: &[(f64, f64)]| -> f64 {
            p.windows(2)
                .map(|w| (w[1].0 - w[0].0).hypot(w[1].1 - w[0].1))
                .sum()
        };
        assert_eq!(pieces.len(), 10);
        let total: f64 = pieces.iter().map(|p| length(p)).sum();
        assert!((total - 60.0).abs() < 1e-9, "{total}");
    }

    #[test]
    fn text_is_measured_as_the_rasteriser_sets_it() {
        let svg = sheet("widths", "widths", (600.0, 40.0), |canvas| {
            canvas.text("Supply air 12.5 °C, relief", (10.0, 20.0), Type::new(20.0));
        });
        let drawn = svg.unwrap().ink_box().unwrap();
        let measured = text_width("Supply air 12.5 °C, relief", 20.0, false);
        // Side bearings are within an em's tenth at each end.
        assert!(
            (drawn.2 - drawn.0 - measured).abs() < 4.0,
            "{drawn:?} {measured}"
        );
    }
}
