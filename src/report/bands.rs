//! Figure `bands`: what lies between the 5 and 95 % quantiles of many cases, through time.

use chrono::NaiveDateTime;

use super::canvas::Stroke;
use super::marks::Key;
use super::palette::BLUE;
use super::series::{Pieces, range};
use super::sheet::{Layer, Line, Panel, Sheet, fit};
use super::time_axis::{clock_text, span_text};
use super::{Figure, FigureError};

/// A quantity of many cases at one instant, shown units.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct BandPoint {
    /// Seconds since the start of the run.
    pub t_s: f64,
    /// The 5, 50 and 95 % quantiles.
    pub quantiles: [f64; 3],
}

/// One panel: a room, or a variant.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct BandPanel {
    /// Its name.
    pub heading: String,
    /// Its points in ascending time; those without a value part the band.
    pub points: Vec<BandPoint>,
}

/// Everything the figure shows.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct BandSheet {
    /// What the sheet is about; its title says what was found.
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

const MEDIAN: Stroke = Stroke::new(BLUE, 1.9);
const RIM: Stroke = Stroke::new(BLUE.tint(0.55), 0.8);

/// Draws the figure. All panels share one scale.
///
/// # Errors
/// Points that span no time.
pub(crate) fn bands(data: &BandSheet) -> Result<Figure, FigureError> {
    let times = data.panels.iter().flat_map(|p| &p.points).map(|p| &p.t_s);
    let span = range(times).unwrap_or((0.0, 0.0));
    let columns = if data.panels.len() > 3 { 2 } else { 1 };
    let tall = if columns == 1 { 190.0 } else { 150.0 };
    let mut panels: Vec<Panel> = data.panels.iter().map(|p| panel(p, tall)).collect();
    fit(&mut panels, &data.axis, None, 4.0);
    let when = span_text(data.start, span.0, span.1);
    Sheet {
        name: "bands",
        title: widest(data),
        subtitle: format!("{} · {} · {when}", data.title, data.scenario),
        key: vec![
            (Key::Fill(BLUE.tint(0.32)), "5 to 95 % of cases".into()),
            (Key::Line(MEDIAN), "median".into()),
        ],
        start: data.start,
        span,
        panels,
        lead: 0,
        columns,
        notes: data.notes.clone(),
    }
    .draw()
}

/// Where cases part most.
fn widest(data: &BandSheet) -> String {
    let width = |p: &BandPoint| p.quantiles[2] - p.quantiles[0];
    let all = data
        .panels
        .iter()
        .flat_map(|panel| panel.points.iter().map(move |p| (panel, p)));
    let whole = all.filter(|(_, p)| width(p).is_finite());
    let Some((panel, point)) = whole.max_by(|a, b| width(a.1).total_cmp(&width(b.1))) else {
        return data.title.clone();
    };
    let at = clock_text(data.start, point.t_s, point.t_s >= 86_400.0);
    let [low, _, high] = point.quantiles;
    format!(
        "Cases part most in {}: nine in ten lie between {low:.1} and {high:.1} {} at {at}",
        panel.heading, data.axis
    )
}

fn panel(content: &BandPanel, tall: f64) -> Panel {
    let whole = |p: &BandPoint| p.quantiles.iter().all(|v| v.is_finite());
    let pieces = content
        .points
        .split(|p| !whole(p))
        .filter(|p| !p.is_empty());
    let edges = pieces.clone().map(|piece| {
        let edge = |p: &BandPoint| (p.t_s, p.quantiles[0], p.quantiles[2]);
        Layer::Between(piece.iter().map(edge).collect(), BLUE.tint(0.32))
    });
    let mut layers: Vec<Layer> = edges.collect();
    for (k, label, stroke) in [(2, "95 %", RIM), (1, "median", MEDIAN), (0, "5 %", RIM)] {
        let line = |piece: &[BandPoint]| piece.iter().map(|p| (p.t_s, p.quantiles[k])).collect();
        let lines: Pieces = pieces.clone().map(line).collect();
        layers.push(Layer::Line(Line::new(lines, label, BLUE).stroke(stroke)));
    }
    Panel::new(&content.heading, tall, layers)
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
            assert_eq!(words(">\nroom "), n);
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
