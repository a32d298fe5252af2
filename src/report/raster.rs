//! PNG from SVG, with the fonts compiled in and nothing taken from the system.

use super::{Figure, FigureError};
use resvg::tiny_skia::{Color, Pixmap, Transform};
use resvg::usvg::{Options, Tree, fontdb};
use std::sync::{Arc, OnceLock};

/// PNG pixels in a pixel of the figure.
pub const PNG_SCALE: f32 = 2.0;

fn fonts() -> Arc<fontdb::Database> {
    static FONTS: OnceLock<Arc<fontdb::Database>> = OnceLock::new();
    FONTS
        .get_or_init(|| {
            let mut fonts = fontdb::Database::new();
            for bytes in [dejavu::sans::regular(), dejavu::sans::bold()] {
                fonts.load_font_source(fontdb::Source::Binary(Arc::new(bytes)));
            }
            Arc::new(fonts)
        })
        .clone()
}

impl Figure {
    fn raster(&self, scale: f32) -> Result<Pixmap, FigureError> {
        let fail = |why: String| FigureError::Drawing {
            name: self.name,
            why,
        };
        let options = Options {
            fontdb: fonts(),
            ..Options::default()
        };
        let tree = Tree::from_str(&self.svg, &options).map_err(|e| fail(e.to_string()))?;
        let width = (self.width_px as f32 * scale).round() as u32;
        let height = (self.height_px as f32 * scale).round() as u32;
        let mut pixmap = Pixmap::new(width, height)
            .ok_or_else(|| fail(format!("no room for {width} by {height} pixels")))?;
        pixmap.fill(Color::WHITE);
        resvg::render(
            &tree,
            Transform::from_scale(scale, scale),
            &mut pixmap.as_mut(),
        );
        Ok(pixmap)
    }

    /// The figure as a PNG, [`PNG_SCALE`] times as many pixels each way.
    ///
    /// # Errors
    /// When the drawing cannot be read back or the image not be encoded.
    pub fn png(&self) -> Result<Vec<u8>, FigureError> {
        self.raster(PNG_SCALE)?
            .encode_png()
            .map_err(|e| FigureError::Drawing {
                name: self.name,
                why: e.to_string(),
            })
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
