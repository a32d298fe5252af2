//! A table whose cells are shaded by how much of a limit is used. The numbers stand in the cells, and a
//! limit that is exceeded carries a mark and hatching, so that nothing hangs on the shade.

use super::Figure;
use super::canvas::{Canvas, Stroke, sheet};
use super::lettering::{Align, SMALL, Type, elide, text_width};
use super::marks::Key;
use super::palette::{Colour, FRAME, INK, LIMIT, Marker, ORANGE, PAPER, VERMILLION};
use super::plot::{EDGE, WIDTH, header, notes};

/// Height of a row, px.
const ROW: f64 = 26.0;
/// Height of the columns' heads, px.
const HEAD: f64 = 44.0;
/// Widest that the rows' names may be, px.
const WIDEST_NAME: f64 = 330.0;

/// A cell.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct HeatCell {
    /// What stands in it.
    pub text: String,
    /// Share of the limit in use; NaN for a cell that is not judged.
    pub used: f64,
    /// Whether the limit is exceeded.
    pub exceeded: bool,
}

/// A row.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct HeatRow {
    /// Its name.
    pub name: String,
    /// One cell a column.
    pub cells: Vec<HeatCell>,
}

/// A sheet.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct HeatMap {
    /// Title.
    pub title: String,
    /// Line below it.
    pub subtitle: String,
    /// What the rows are.
    pub rows_are: String,
    /// Heads of the columns: what, and in which unit or by which limit.
    pub columns: Vec<(String, String)>,
    /// The rows.
    pub rows: Vec<HeatRow>,
    /// Remarks below.
    pub remarks: Vec<String>,
}

/// Draws a heat map.
pub(crate) fn heat_map(name: &'static str, map: &HeatMap) -> Figure {
    let names = map.rows.iter().map(|r| text_width(&r.name, SMALL, false));
    let widest = names.fold(text_width(&map.rows_are, SMALL, true), f64::max);
    let left = EDGE + widest.min(WIDEST_NAME) + 16.0;
    let wide = (WIDTH - EDGE - left) / map.columns.len().max(1) as f64;
    let key = [
        (Key::Fill(shade(0.5)), "half of a limit used".to_owned()),
        (Key::Fill(shade(1.0)), "nearly all".to_owned()),
        (
            Key::Hatch(VERMILLION.tint(0.7), shade(2.0)),
            "exceeded, marked ▲".to_owned(),
        ),
    ];
    sheet(name, &map.title, WIDTH, |canvas| {
        let top = header(canvas, &map.title, &map.subtitle, &key) + HEAD;
        let bottom = top + ROW * map.rows.len() as f64;
        let head = Type::new(SMALL).bold();
        canvas.text(&map.rows_are, (EDGE, top - 12.0), head);
        for (i, (what, unit)) in map.columns.iter().enumerate() {
            let x = left + wide * (i as f64 + 0.5);
            let what = elide(what, SMALL, true, wide - 6.0);
            canvas.text(&what, (x, top - 28.0), head.align(Align::Centre));
            let kind = Type::new(SMALL).muted().align(Align::Centre);
            let unit = elide(unit, SMALL, false, wide - 6.0);
            canvas.text(&unit, (x, top - 12.0), kind);
        }
        for (r, row) in map.rows.iter().enumerate() {
            let y = top + ROW * r as f64;
            let name = elide(&row.name, SMALL, false, left - EDGE - 10.0);
            canvas.text(&name, (EDGE, y + ROW / 2.0), Type::new(SMALL));
            for (i, cell) in row.cells.iter().enumerate() {
                let x = left + wide * i as f64;
                let place = (x + 1.0, y + 1.0, x + wide - 1.0, y + ROW - 1.0);
                draw(canvas, cell, place);
            }
        }
        canvas.outline(left, top, WIDTH - EDGE, bottom, Stroke::new(FRAME, 1.0));
        notes(canvas, &map.remarks, bottom + 14.0)
    })
}

fn draw(canvas: &mut Canvas, cell: &HeatCell, (x0, y0, x1, y1): (f64, f64, f64, f64)) {
    let ground = shade(cell.used);
    canvas.rect(x0, y0, x1, y1, ground);
    let middle = ((x0 + x1) / 2.0, (y0 + y1) / 2.0);
    let kind = Type::new(SMALL).align(Align::Centre);
    if !cell.exceeded {
        let text = elide(&cell.text, SMALL, false, x1 - x0 - 8.0);
        canvas.text(&text, middle, kind);
        return;
    }
    let stroke = Stroke::new(VERMILLION.tint(0.7), 0.9);
    canvas.hatch((x0, y0, x1, y1), 6.0, stroke, ground);
    canvas.marker(Marker::Up, (x0 + 12.0, middle.1), 5.0, LIMIT);
    let text = elide(&cell.text, SMALL, true, x1 - x0 - 40.0);
    canvas.label_on(
        &text,
        (middle.0 + 6.0, middle.1),
        kind.bold().colour(INK),
        ground,
    );
}

/// White when nothing of the limit is used, deeper towards it, one more shade beyond.
fn shade(used: f64) -> Colour {
    if used.is_nan() {
        PAPER
    } else if used > 1.0 {
        VERMILLION.tint(0.30)
    } else {
        ORANGE.tint(0.45 * used.max(0.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_broken_limit_shows_without_its_colour() {
        let cell = |text: &str, used: f64| HeatCell {
            text: text.into(),
            used,
            exceeded: used > 1.0,
        };
        let map = HeatMap {
            title: "Sets of zones".into(),
            subtitle: "house".into(),
            rows_are: "zones calling".into(),
            columns: vec![
                ("static".into(), "Pa".into()),
                ("velocity".into(), "m/s".into()),
            ],
            rows: vec![HeatRow {
                name: "study".into(),
                cells: vec![cell("263", 2.1), cell("1.2", 0.5)],
            }],
            remarks: vec!["Rooms at their setpoints.".into()],
        };
        let figure = heat_map("combinations", &map);
        for text in ["263", "1.2", "study", "zones calling", "exceeded, marked ▲"] {
            assert!(figure.svg.contains(text), "{text}");
        }
        assert!(figure.svg.contains("<polygon"), "the mark is a shape");
        assert_eq!(figure, heat_map("combinations", &map));
    }
}
