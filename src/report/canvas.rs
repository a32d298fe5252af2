//! A sheet to draw on: shapes and texts in px, written as SVG or rastered as they are.

use plotters::prelude::{DrawingBackend, FontTransform, SVGBackend, ShapeStyle, TextStyle};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{Color, FontDesc, FontFamily, FontStyle, RGBColor};

use super::Figure;
use super::lettering::{Align, FAMILY, Type, text_width};
use super::palette::{Colour, Marker, PAPER};

/// SVG units in a pixel: the backend takes whole numbers only.
const FINE: f64 = 10.0;
/// The backend divides sizes of letters by this.
const BACKEND_EM: f64 = 1.24;

/// How a line looks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Stroke {
    /// Colour of the line.
    pub colour: Colour,
    /// Width, px.
    pub width: f64,
    /// Lengths of dash and gap, px; `None` is a full line.
    pub dash: Option<(f64, f64)>,
}

impl Stroke {
    /// A full line.
    pub(crate) const fn new(colour: Colour, width: f64) -> Self {
        Self {
            colour,
            width,
            dash: None,
        }
    }
    /// The same line with dashes and gaps of these lengths, px.
    pub(crate) const fn dashed(self, dash: f64, gap: f64) -> Self {
        Self {
            dash: Some((dash, gap)),
            ..self
        }
    }
}

/// Something on the sheet; all coordinates are finite.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Shape {
    Line(Vec<(f64, f64)>, Stroke),
    Polygon(Vec<(f64, f64)>, Colour),
    Disc((f64, f64), f64, Colour),
    /// Where the text's box is held and centred vertically.
    Text(String, (f64, f64), Type),
}

/// The sheet, drawn in order with opaque colours.
#[derive(Debug, Default)]
pub(crate) struct Canvas {
    shapes: Vec<Shape>,
}

/// Draws one sheet `width` px wide and gives it back as a [`Figure`]; `draw` answers with its height, px.
pub(crate) fn sheet(
    name: &'static str,
    title: &str,
    width: f64,
    draw: impl FnOnce(&mut Canvas) -> f64,
) -> Figure {
    let mut canvas = Canvas::default();
    let height = draw(&mut canvas).ceil();
    let shapes = canvas.shapes;
    let mut body = String::with_capacity(1 << 17);
    let size = fine((width, height));
    let mut backend = SVGBackend::with_string(&mut body, (size.0 as u32, size.1 as u32));
    let paper = style(PAPER, 0.0);
    let _ = backend.draw_rect((0, 0), size, &paper, true);
    for shape in &shapes {
        write_shape(&mut backend, shape);
    }
    let _ = backend.present();
    drop(backend);
    let body = body.split_once('>').map_or("", |(_, body)| body);
    let svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"{height}\" \
         viewBox=\"0 0 {} {}\" stroke-linejoin=\"round\" role=\"img\">\n<title>{}</title>{body}",
        size.0,
        size.1,
        escaped(title),
    );
    Figure {
        name,
        svg,
        width_px: width as u32,
        height_px: height as u32,
        shapes,
    }
}

fn fine((x, y): (f64, f64)) -> (i32, i32) {
    ((x * FINE).round() as i32, (y * FINE).round() as i32)
}

fn style(Colour(r, g, b): Colour, width: f64) -> ShapeStyle {
    ShapeStyle {
        color: RGBColor(r, g, b).to_rgba(),
        filled: width == 0.0,
        stroke_width: (width * FINE).round() as u32,
    }
}

/// Text as XML may hold it: control characters, which it forbids, become spaces.
fn plain(text: &str) -> String {
    let text = text.chars();
    text.map(|c| if c.is_control() { ' ' } else { c }).collect()
}

fn escaped(text: &str) -> String {
    let text = plain(text).replace('&', "&amp;");
    text.replace('<', "&lt;").replace('>', "&gt;")
}

fn write_shape(svg: &mut SVGBackend<'_>, shape: &Shape) {
    // Writing to a string cannot fail.
    let _ = match shape {
        Shape::Line(points, stroke) => {
            for piece in dashes(points, stroke.dash) {
                let drawn = style(stroke.colour, stroke.width);
                let _ = svg.draw_path(piece.into_iter().map(fine), &drawn);
            }
            Ok(())
        }
        Shape::Polygon(points, colour) => {
            svg.fill_polygon(points.iter().copied().map(fine), &style(*colour, 0.0))
        }
        Shape::Disc(at, r, colour) => {
            let radius = (r * FINE).round() as u32;
            svg.draw_circle(fine(*at), radius, &style(*colour, 0.0), true)
        }
        Shape::Text(text, at, kind) => {
            let weight = if kind.bold {
                FontStyle::Bold
            } else {
                FontStyle::Normal
            };
            let font = FontDesc::new(
                FontFamily::Name(FAMILY),
                kind.size * FINE * BACKEND_EM,
                weight,
            );
            let font = match kind.upright {
                true => font.transform(FontTransform::Rotate270),
                false => font,
            };
            let held = match kind.align {
                Align::Left => HPos::Left,
                Align::Centre => HPos::Center,
                Align::Right => HPos::Right,
            };
            let Colour(r, g, b) = kind.colour;
            let colour = RGBColor(r, g, b);
            let kind = TextStyle::from(font).color(&colour);
            let kind = kind.pos(Pos::new(held, VPos::Center));
            svg.draw_text(&plain(text), &kind, fine(*at))
        }
    };
}

/// Cuts a line into its dashes by length along it; the backend knows none.
fn dashes(points: &[(f64, f64)], pattern: Option<(f64, f64)>) -> Vec<Vec<(f64, f64)>> {
    let Some((dash, gap)) = pattern else {
        return vec![points.to_vec()];
    };
    let lengths = [dash.max(0.5), gap.max(0.5)];
    let (mut pieces, mut piece) = (Vec::new(), points[..1].to_vec());
    let (mut turn, mut left) = (0, lengths[0]);
    for pair in points.windows(2) {
        let (mut from, to) = (pair[0], pair[1]);
        let mut length = (to.0 - from.0).hypot(to.1 - from.1);
        while length > left {
            let part = left / length;
            from = (
                from.0 + (to.0 - from.0) * part,
                from.1 + (to.1 - from.1) * part,
            );
            length -= left;
            piece.push(from);
            if turn == 0 {
                pieces.push(std::mem::take(&mut piece));
            } else {
                piece = vec![from];
            }
            turn = 1 - turn;
            left = lengths[turn];
        }
        left -= length;
        if turn == 0 {
            piece.push(to);
        }
    }
    if turn == 0 && piece.len() > 1 {
        pieces.push(piece);
    }
    pieces
}

impl Canvas {
    /// A line through points. Points that are not finite are left out.
    pub(crate) fn path(&mut self, points: &[(f64, f64)], stroke: Stroke) {
        let points: Vec<_> = points.iter().copied().filter(finite).collect();
        if points.len() > 1 {
            self.shapes.push(Shape::Line(points, stroke));
        }
    }

    /// A straight line.
    pub(crate) fn line(&mut self, from: (f64, f64), to: (f64, f64), stroke: Stroke) {
        self.path(&[from, to], stroke);
    }

    /// A filled rectangle between two corners.
    pub(crate) fn rect(&mut self, x0: f64, y0: f64, x1: f64, y1: f64, fill: Colour) {
        if x1 > x0 && y1 > y0 {
            self.polygon(&[(x0, y0), (x1, y0), (x1, y1), (x0, y1)], fill);
        }
    }

    /// The outline of a rectangle.
    pub(crate) fn outline(&mut self, x0: f64, y0: f64, x1: f64, y1: f64, stroke: Stroke) {
        self.path(
            &[(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0), (x1, y0)],
            stroke,
        );
    }

    /// A filled shape.
    pub(crate) fn polygon(&mut self, points: &[(f64, f64)], fill: Colour) {
        let points: Vec<_> = points.iter().copied().filter(finite).collect();
        if points.len() > 2 {
            self.shapes.push(Shape::Polygon(points, fill));
        }
    }

    /// A rectangle of `ground` with diagonal lines, rising to the right, `pitch` px apart.
    pub(crate) fn hatch(
        &mut self,
        (x0, y0, x1, y1): (f64, f64, f64, f64),
        pitch: f64,
        stroke: Stroke,
        ground: Colour,
    ) {
        if !(x1 > x0 && y1 > y0 && pitch > 0.0) {
            return;
        }
        self.rect(x0, y0, x1, y1, ground);
        // Lines x + y = c, on one raster for the whole sheet so that neighbours join up.
        let mut c = ((x0 + y0) / pitch).ceil() * pitch;
        while c < x1 + y1 {
            let (xa, xb) = ((c - y1).max(x0), (c - y0).min(x1));
            if xb - xa > 0.05 {
                self.line((xa, c - xa), (xb, c - xb), stroke);
            }
            c += pitch;
        }
    }

    /// Text, centred vertically on `at`.
    pub(crate) fn text(&mut self, text: &str, at: (f64, f64), kind: Type) {
        if !text.is_empty() && finite(&at) {
            self.shapes.push(Shape::Text(text.to_owned(), at, kind));
        }
    }

    /// Text on a patch of paper, so that lines behind it do not cross the letters.
    pub(crate) fn label(&mut self, text: &str, at: (f64, f64), kind: Type) {
        self.label_on(text, at, kind, PAPER);
    }

    /// Text on a patch of `ground`.
    pub(crate) fn label_on(&mut self, text: &str, at: (f64, f64), kind: Type, ground: Colour) {
        let width = text_width(text, kind.size, kind.bold);
        let left = kind.left_of(at.0, width) - 3.0;
        let half = kind.size * 0.62;
        self.rect(left, at.1 - half, left + width + 6.0, at.1 + half, ground);
        self.text(text, at, kind);
    }

    /// A marker of half-width `r` px.
    pub(crate) fn marker(&mut self, marker: Marker, (x, y): (f64, f64), r: f64, colour: Colour) {
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
            self.shapes.push(Shape::Disc(at, r, colour));
        }
    }
}

fn finite(&(x, y): &(f64, f64)) -> bool {
    x.is_finite() && y.is_finite()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_is_measured_as_it_is_rastered() {
        let text = "Supply air 12.5 °C, relief";
        let drawn = sheet("widths", "widths", 600.0, |canvas| {
            canvas.text(text, (10.0, 20.0), Type::new(20.0));
            40.0
        });
        let (left, _, right, _) = drawn.ink_box().unwrap();
        let measured = text_width(text, 20.0, false);
        // Side bearings are within an em's tenth at each end.
        assert!(
            (right - left - measured).abs() < 4.0,
            "{left} {right} {measured}"
        );
    }

    #[test]
    fn what_xml_forbids_is_escaped_or_a_space() {
        assert_eq!(escaped("R&D <\u{1}>"), "R&amp;D &lt; &gt;");
        let drawn = sheet("s", "s", 90.0, |canvas| {
            canvas.text("a\u{1}<b", (1.0, 9.0), Type::new(9.0));
            20.0
        });
        assert!(drawn.svg.contains("a &lt;b"), "{}", drawn.svg);
    }

    #[test]
    fn dashes_cover_their_share_of_a_bent_line() {
        let pieces = dashes(&[(0.0, 0.0), (55.0, 0.0), (55.0, 45.0)], Some((6.0, 4.0)));
        let length = |p: &[(f64, f64)]| -> f64 {
            let steps = p.windows(2);
            steps
                .map(|w| (w[1].0 - w[0].0).hypot(w[1].1 - w[0].1))
                .sum()
        };
        let total: f64 = pieces.iter().map(|p| length(p)).sum();
        assert!(pieces.len() == 10 && (total - 60.0).abs() < 1e-9, "{total}");
    }
}
