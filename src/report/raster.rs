//! PNG from the shapes that the SVG is written from, with letters as the outlines of the font that
//! is compiled in.

use tiny_skia::{
    Color, FillRule, LineJoin, Paint, Path, PathBuilder, Pixmap, Stroke as Line, StrokeDash,
    Transform,
};
use ttf_parser::OutlineBuilder;

use super::canvas::{Shape, Stroke};
use super::lettering::{BASELINE_EM, Type, advance, face, text_width};
use super::palette::Colour;
use super::{Figure, FigureError};

/// PNG pixels in a pixel of the figure.
pub(crate) const PNG_SCALE: f32 = 2.0;

impl Figure {
    fn raster(&self, scale: f32) -> Result<Pixmap, FigureError> {
        let width = (self.width_px as f32 * scale).round() as u32;
        let height = (self.height_px as f32 * scale).round() as u32;
        let mut pixmap = Pixmap::new(width, height)
            .ok_or_else(|| self.failed(format!("no room for {width} by {height} pixels")))?;
        pixmap.fill(Color::WHITE);
        let transform = Transform::from_scale(scale, scale);
        for shape in &self.shapes {
            draw(&mut pixmap, shape, transform);
        }
        Ok(pixmap)
    }

    fn failed(&self, why: String) -> FigureError {
        FigureError::Drawing {
            name: self.name,
            why,
        }
    }

    /// The figure as a PNG, [`PNG_SCALE`] times as many pixels each way.
    ///
    /// # Errors
    /// When there is no memory for the image, or it cannot be encoded.
    pub(crate) fn png(&self) -> Result<Vec<u8>, FigureError> {
        let pixmap = self.raster(PNG_SCALE)?;
        pixmap.encode_png().map_err(|e| self.failed(e.to_string()))
    }

    /// Left, top, right and bottom of what is not white, px.
    #[cfg(test)]
    pub(super) fn ink_box(&self) -> Option<(f64, f64, f64, f64)> {
        let pixmap = self.raster(1.0).ok()?;
        let width = pixmap.width() as usize;
        let inked = pixmap
            .pixels()
            .iter()
            .enumerate()
            .filter(|(_, p)| p.red() < 128);
        let mut bounds: Option<(f64, f64, f64, f64)> = None;
        for (i, _) in inked {
            let (x, y) = ((i % width) as f64, (i / width) as f64);
            let b = bounds.get_or_insert((x, y, x, y));
            *b = (b.0.min(x), b.1.min(y), b.2.max(x + 1.0), b.3.max(y + 1.0));
        }
        bounds
    }
}

fn paint(Colour(r, g, b): Colour) -> Paint<'static> {
    let mut paint = Paint::default();
    paint.set_color_rgba8(r, g, b, 255);
    paint
}

fn draw(pixmap: &mut Pixmap, shape: &Shape, transform: Transform) {
    let (path, colour) = match shape {
        Shape::Line(points, stroke) => {
            if let Some(path) = joined(points, false) {
                let paint = paint(stroke.colour);
                pixmap.stroke_path(&path, &paint, &line(*stroke), transform, None);
            }
            return;
        }
        Shape::Polygon(points, colour) => (joined(points, true), *colour),
        Shape::Disc((x, y), r, colour) => {
            let path = PathBuilder::from_circle(*x as f32, *y as f32, *r as f32);
            (path, *colour)
        }
        Shape::Text(text, at, kind) => (letters(text, *at, kind), kind.colour),
    };
    if let Some(path) = path {
        pixmap.fill_path(&path, &paint(colour), FillRule::Winding, transform, None);
    }
}

fn line(stroke: Stroke) -> Line {
    Line {
        width: stroke.width as f32,
        line_join: LineJoin::Round,
        dash: stroke
            .dash
            .and_then(|(dash, gap)| StrokeDash::new(vec![dash as f32, gap as f32], 0.0)),
        ..Line::default()
    }
}

fn joined(points: &[(f64, f64)], close: bool) -> Option<Path> {
    let mut path = PathBuilder::with_capacity(points.len() + 1, points.len());
    for (i, &(x, y)) in points.iter().enumerate() {
        match i {
            0 => path.move_to(x as f32, y as f32),
            _ => path.line_to(x as f32, y as f32),
        }
    }
    if close {
        path.close();
    }
    path.finish()
}

/// Outlines of a text's letters, one after another.
fn letters(text: &str, at: (f64, f64), kind: &Type) -> Option<Path> {
    let face = face(kind.bold)?;
    let em = kind.size / f64::from(face.units_per_em());
    let mut pen = Pen {
        path: PathBuilder::new(),
        along: kind.left_of(0.0, text_width(text, kind.size, kind.bold)),
        em,
        at,
        drop: BASELINE_EM * kind.size,
        upright: kind.upright,
    };
    for letter in text.chars() {
        // A letter that the font lacks shows as its empty box.
        let id = face.glyph_index(letter).unwrap_or_default();
        face.outline_glyph(id, &mut pen);
        pen.along += kind.size * advance(face, letter);
    }
    pen.path.finish()
}

struct Pen {
    path: PathBuilder,
    /// Where the letter stands on the line of text, px from where the text is held.
    along: f64,
    em: f64,
    at: (f64, f64),
    drop: f64,
    upright: bool,
}

impl Pen {
    fn place(&self, x: f32, y: f32) -> (f32, f32) {
        let (along, below) = (
            self.along + f64::from(x) * self.em,
            self.drop - f64::from(y) * self.em,
        );
        let (x, y) = match self.upright {
            true => (self.at.0 + below, self.at.1 - along),
            false => (self.at.0 + along, self.at.1 + below),
        };
        (x as f32, y as f32)
    }
}

impl OutlineBuilder for Pen {
    fn move_to(&mut self, x: f32, y: f32) {
        let (x, y) = self.place(x, y);
        self.path.move_to(x, y);
    }
    fn line_to(&mut self, x: f32, y: f32) {
        let (x, y) = self.place(x, y);
        self.path.line_to(x, y);
    }
    fn quad_to(&mut self, x1: f32, y1: f32, x: f32, y: f32) {
        let ((x1, y1), (x, y)) = (self.place(x1, y1), self.place(x, y));
        self.path.quad_to(x1, y1, x, y);
    }
    fn curve_to(&mut self, x1: f32, y1: f32, x2: f32, y2: f32, x: f32, y: f32) {
        let (x1, y1) = self.place(x1, y1);
        let (x2, y2) = self.place(x2, y2);
        let (x, y) = self.place(x, y);
        self.path.cubic_to(x1, y1, x2, y2, x, y);
    }
    fn close(&mut self) {
        self.path.close();
    }
}
