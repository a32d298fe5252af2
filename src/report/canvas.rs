//! A sheet to draw on: shapes and texts in px, written as SVG or rastered as they are.

use std::fmt::Write as _;

use super::Figure;
use super::lettering::{Align, BASELINE_EM, FAMILY, Type, text_width};
use super::palette::{Colour, Marker, PAPER};

/// SVG units in a pixel: whole numbers of them keep the file small.
const FINE: f64 = 10.0;

/// How a line looks.
#[derive(Debug, Clone, Copy, PartialEq)]
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
    pub const fn new(colour: Colour, width: f64) -> Self {
        Self {
            colour,
            width,
            dash: None,
        }
    }
    /// The same line with dashes and gaps of these lengths, px.
    pub const fn dashed(self, dash: f64, gap: f64) -> Self {
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
pub struct Canvas {
    shapes: Vec<Shape>,
}

/// Draws one sheet `width` px wide and gives it back as a [`Figure`]; `draw` answers with its height, px.
pub fn sheet(
    name: &'static str,
    title: &str,
    width: f64,
    draw: impl FnOnce(&mut Canvas) -> f64,
) -> Figure {
    let mut canvas = Canvas::default();
    let height = draw(&mut canvas).ceil();
    let shapes = canvas.shapes;
    let mut svg = String::with_capacity(1 << 17);
    let (fine_width, fine_height) = (fine(width), fine(height));
    // Writing to a string cannot fail, here and below.
    let _ = write!(
        svg,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"{height}\" \
         viewBox=\"0 0 {fine_width} {fine_height}\" stroke-linejoin=\"round\" fill=\"none\" \
         font-family=\"{FAMILY}\" role=\"img\">\n<title>{}</title>\n\
         <rect width=\"{fine_width}\" height=\"{fine_height}\" fill=\"{}\"/>\n",
        escaped(title),
        hex(PAPER),
    );
    for shape in &shapes {
        write_shape(&mut svg, shape);
    }
    svg += "</svg>\n";
    Figure {
        name,
        svg,
        width_px: width as u32,
        height_px: height as u32,
        shapes,
    }
}

fn fine(v: f64) -> i64 {
    (v * FINE).round() as i64
}

fn hex(Colour(r, g, b): Colour) -> String {
    format!("#{r:02X}{g:02X}{b:02X}")
}

/// Text as XML holds it: control characters, which XML forbids, become spaces.
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out += "&amp;",
            '<' => out += "&lt;",
            '>' => out += "&gt;",
            '"' => out += "&quot;",
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

fn write_points(svg: &mut String, points: &[(f64, f64)]) {
    for (i, &(x, y)) in points.iter().enumerate() {
        let gap = if i == 0 { "" } else { " " };
        let _ = write!(svg, "{gap}{},{}", fine(x), fine(y));
    }
}

fn write_shape(svg: &mut String, shape: &Shape) {
    let _ = match shape {
        Shape::Line(points, stroke) => {
            *svg += "<polyline points=\"";
            write_points(svg, points);
            let (colour, width) = (hex(stroke.colour), fine(stroke.width));
            let _ = write!(svg, "\" stroke=\"{colour}\" stroke-width=\"{width}\"");
            if let Some((dash, gap)) = stroke.dash {
                let _ = write!(svg, " stroke-dasharray=\"{} {}\"", fine(dash), fine(gap));
            }
            writeln!(svg, "/>")
        }
        Shape::Polygon(points, colour) => {
            *svg += "<polygon points=\"";
            write_points(svg, points);
            writeln!(svg, "\" fill=\"{}\"/>", hex(*colour))
        }
        Shape::Disc((x, y), r, colour) => {
            let (x, y, r) = (fine(*x), fine(*y), fine(*r));
            let fill = hex(*colour);
            writeln!(
                svg,
                "<circle cx=\"{x}\" cy=\"{y}\" r=\"{r}\" fill=\"{fill}\"/>"
            )
        }
        Shape::Text(text, (x, y), kind) => {
            let drop = BASELINE_EM * kind.size;
            let (x, y, turn) = if kind.upright {
                let (x, y) = (fine(x + drop), fine(*y));
                (x, y, format!(" transform=\"rotate(-90 {x} {y})\""))
            } else {
                (fine(*x), fine(y + drop), String::new())
            };
            let anchor = match kind.align {
                Align::Left => "",
                Align::Centre => " text-anchor=\"middle\"",
                Align::Right => " text-anchor=\"end\"",
            };
            let weight = if kind.bold {
                " font-weight=\"bold\""
            } else {
                ""
            };
            writeln!(
                svg,
                "<text x=\"{x}\" y=\"{y}\" font-size=\"{}\" fill=\"{}\"{anchor}{weight}{turn}>{}</text>",
                fine(kind.size),
                hex(kind.colour),
                escaped(text),
            )
        }
    };
}

impl Canvas {
    /// A line through points. Points that are not finite are left out.
    pub fn path(&mut self, points: &[(f64, f64)], stroke: Stroke) {
        let points: Vec<_> = points.iter().copied().filter(finite).collect();
        if points.len() > 1 {
            self.shapes.push(Shape::Line(points, stroke));
        }
    }

    /// A straight line.
    pub fn line(&mut self, from: (f64, f64), to: (f64, f64), stroke: Stroke) {
        self.path(&[from, to], stroke);
    }

    /// A filled rectangle between two corners.
    pub fn rect(&mut self, x0: f64, y0: f64, x1: f64, y1: f64, fill: Colour) {
        if x1 > x0 && y1 > y0 {
            self.polygon(&[(x0, y0), (x1, y0), (x1, y1), (x0, y1)], fill);
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
        let points: Vec<_> = points.iter().copied().filter(finite).collect();
        if points.len() > 2 {
            self.shapes.push(Shape::Polygon(points, fill));
        }
    }

    /// A rectangle of `ground` with diagonal lines, rising to the right, `pitch` px apart.
    pub fn hatch(
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
    pub fn text(&mut self, text: &str, at: (f64, f64), kind: Type) {
        if !text.is_empty() && finite(&at) {
            self.shapes.push(Shape::Text(text.to_owned(), at, kind));
        }
    }

    /// Text on a patch of paper, so that lines behind it do not cross the letters.
    pub fn label(&mut self, text: &str, at: (f64, f64), kind: Type) {
        self.label_on(text, at, kind, PAPER);
    }

    /// Text on a patch of `ground`.
    pub fn label_on(&mut self, text: &str, at: (f64, f64), kind: Type, ground: Colour) {
        let width = text_width(text, kind.size, kind.bold);
        let left = kind.left_of(at.0, width) - 3.0;
        let half = kind.size * 0.62;
        self.rect(left, at.1 - half, left + width + 6.0, at.1 + half, ground);
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
        assert_eq!(
            escaped("R&D <\u{1}\"B\">"),
            "R&amp;D &lt; &quot;B&quot;&gt;"
        );
    }
}
