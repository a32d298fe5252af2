//! Figure `bands`: what lies between the 5 and 95 % quantiles of many cases, through time.

use chrono::NaiveDateTime;

use super::canvas::{Canvas, Stroke, sheet};
use super::lettering::{BODY, TITLE, Type, elide};
use super::marks::Key;
use super::palette::{BLUE, Colour};
use super::panel::{
    BODY_TOP, EDGE, EndLabel, HEADING, NOTE, Panel, TIME_AXIS, WIDTH, nice_scale, notes,
};
use super::series::range;
use super::time_axis::{span_text, ticks};
use super::{Figure, FigureError};

/// A quantity of many cases at one instant, shown units.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BandPoint {
    /// Seconds since the start of the run.
    pub t_s: f64,
    /// The 5, 50 and 95 % quantiles.
    pub quantiles: [f64; 3],
}

/// One panel: a room, or a variant.
#[derive(Clone, Debug, PartialEq)]
pub struct BandPanel {
    /// Its name.
    pub heading: String,
    /// Its points in ascending time; those without a value part the band.
    pub points: Vec<BandPoint>,
}

/// Everything the figure shows.
#[derive(Clone, Debug, PartialEq)]
pub struct BandSheet {
    /// Title of the sheet.
    pub title: String,
    /// Name of the scenario.
    pub scenario: String,
    /// Local clock time at the start.
    pub start: NaiveDateTime,
    /// What the value axes show, with its unit.
    pub axis: String,
    /// The panels.
    pub panels: Vec<BandPanel>,
    /// Notes below.
    pub notes: Vec<String>,
}

const BAND_TINT: f64 = 0.32;
const MEDIAN: Stroke = Stroke {
    colour: BLUE,
    width: 1.9,
    dash: None,
};
const LEFT: f64 = 70.0;
const RIGHT: f64 = 92.0;

/// Draws the figure. All panels share one scale.
///
/// # Errors
/// Points that span no time, or the drawing failing.
pub fn bands(data: &BandSheet) -> Result<Figure, FigureError> {
    let figure = "bands";
    let points = || data.panels.iter().flat_map(|p| &p.points);
    let times: Vec<f64> = points().map(|p| p.t_s).collect();
    let values: Vec<f64> = points().flat_map(|p| p.quantiles).collect();
    let time = match range(&times) {
        Some((from, to)) if to > from => (from, to),
        _ => return Err(FigureError::NoTime { figure }),
    };
    let (low, high) = range(&values).unwrap_or((0.0, 1.0));
    let (bottom, top, step) = nice_scale(low, high, 4.0);
    let columns = if data.panels.len() > 3 { 2 } else { 1 };
    let rows = data.panels.len().div_ceil(columns).max(1);
    let tall = if columns == 1 { 190.0 } else { 150.0 };
    let pitch = tall + HEADING;
    let height = BODY_TOP + rows as f64 * pitch + TIME_AXIS + data.notes.len() as f64 * NOTE + EDGE;
    let wide = (WIDTH - EDGE) / columns as f64;
    sheet(figure, &data.title, (WIDTH, height), |canvas| {
        let title = elide(&data.title, TITLE, true, WIDTH - 2.0 * EDGE);
        canvas.text(&title, (EDGE, 32.0), Type::new(TITLE).bold());
        let span = span_text(data.start, time.0, time.1);
        let subtitle = format!("{} · {span}", data.scenario);
        let subtitle = elide(&subtitle, BODY, false, WIDTH - 2.0 * EDGE);
        canvas.text(&subtitle, (EDGE, 57.0), Type::new(BODY).muted());
        for (i, content) in data.panels.iter().enumerate() {
            let (row, column) = (i / columns, i % columns);
            let y = BODY_TOP + HEADING + row as f64 * pitch;
            let x = wide * column as f64;
            let panel = Panel {
                left: x + LEFT,
                top: y,
                right: x + wide - RIGHT,
                bottom: y + tall,
                time,
                value: (bottom, top),
                step,
            };
            let last = i + columns >= data.panels.len();
            draw(canvas, &panel, content, data, (i == 0, last));
        }
        let below = BODY_TOP + rows as f64 * pitch + TIME_AXIS;
        notes(canvas, &data.notes, below);
    })
}

fn draw(
    canvas: &mut Canvas<'_>,
    panel: &Panel,
    content: &BandPanel,
    data: &BandSheet,
    (first, last): (bool, bool),
) {
    let ticks = ticks(data.start, panel.time, panel.right - panel.left, 62.0);
    panel.ground(canvas, &[], &ticks);
    let fill: Colour = BLUE.tint(BAND_TINT);
    let whole = |p: &BandPoint| p.quantiles.iter().all(|v| v.is_finite());
    for piece in content.points.split(|p| !whole(p)) {
        let edge = |k: usize| piece.iter().map(move |p| panel.at((p.t_s, p.quantiles[k])));
        let outline: Vec<_> = edge(2).chain(edge(0).rev()).collect();
        canvas.polygon(&outline, fill);
        for k in [0, 2] {
            canvas.path(
                &edge(k).collect::<Vec<_>>(),
                Stroke::new(BLUE.tint(0.55), 0.8),
            );
        }
        canvas.path(&edge(1).collect::<Vec<_>>(), MEDIAN);
    }
    panel.value_axis(canvas, &data.axis);
    panel.heading(canvas, &content.heading);
    if first {
        let entries = [
            (Key::Fill(fill), "5 to 95 % of cases"),
            (Key::Line(MEDIAN), "median"),
        ];
        panel.key(canvas, &entries);
    }
    if last {
        panel.time_axis(canvas, &ticks);
    }
    if let Some(end) = content.points.iter().rev().find(|p| whole(p)) {
        let edge = Stroke::new(BLUE.tint(0.55), 0.8);
        let names = [("5 %", edge), ("median", MEDIAN), ("95 %", edge)];
        let labels: Vec<EndLabel> = end
            .quantiles
            .iter()
            .zip(names)
            .map(|(&value, (text, stroke))| EndLabel::line(value, text, stroke))
            .collect();
        panel.end_labels(canvas, &labels, RIGHT);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::NaiveDate;

    fn example(panels: usize) -> BandSheet {
        let point = |i: usize| BandPoint {
            t_s: i as f64 * 3600.0,
            quantiles: [22.0, 24.0 + i as f64 * 0.1, 27.0],
        };
        BandSheet {
            title: "Room temperatures over 40 cases".into(),
            scenario: "house".into(),
            start: NaiveDate::from_ymd_opt(2027, 1, 18)
                .and_then(|d| d.and_hms_opt(0, 0, 0))
                .unwrap(),
            axis: "°C".into(),
            panels: (0..panels)
                .map(|i| BandPanel {
                    heading: format!("room {i}"),
                    points: (0..25).map(point).collect(),
                })
                .collect(),
            notes: vec!["a note".into()],
        }
    }

    #[test]
    fn every_panel_is_drawn_within_the_sheet() {
        for n in [1, 3, 4, 7] {
            let figure = bands(&example(n)).unwrap();
            let words = |w: &str| figure.svg.matches(w).count();
            assert_eq!(words("room "), n);
            assert!(words("<polygon") >= n);
            let (l, t, r, b) = figure.ink_box().unwrap();
            assert!(l > 0.0 && t > 0.0);
            assert!(r < f64::from(figure.width_px) && b < f64::from(figure.height_px));
        }
    }

    #[test]
    fn no_time_is_an_error() {
        let mut data = example(1);
        data.panels[0].points.truncate(1);
        assert_eq!(bands(&data), Err(FigureError::NoTime { figure: "bands" }));
    }
}
