//! Figure `tornado`: which inputs move a measure most, strongest on top.

use super::Figure;
use super::canvas::{Canvas, Stroke, sheet};
use super::data::capital;
use super::lettering::{Align, BODY, SMALL, Type, elide};
use super::palette::{BLUE, INK, LIMIT, ORANGE};
use super::plot::{EDGE, HEADING, Plot, Scale, WIDTH, header, notes, number};
use super::series::range;

/// One input.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct TornadoBar {
    /// Its name.
    pub name: String,
    /// The measure where the input is low and where it is high, shown units.
    pub ends: (f64, f64),
    /// Rank correlation, −1 to 1.
    pub rank_correlation: f64,
}

/// One measure.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct TornadoPanel {
    /// Its name.
    pub heading: String,
    /// What the axis shows, with its unit.
    pub axis: String,
    /// The measure's mean, shown units.
    pub centre: f64,
    /// Its limit, shown units.
    pub limit: Option<f64>,
    /// Inputs, strongest first.
    pub bars: Vec<TornadoBar>,
}

/// Everything the figure shows.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct TornadoSheet {
    /// What the sheet is about; its title says what was found.
    pub title: String,
    /// Name of the scenario.
    pub scenario: String,
    /// The panels.
    pub panels: Vec<TornadoPanel>,
    /// Notes below.
    pub notes: Vec<String>,
}

/// Share of its value by which a measure must move to be said to move at all.
const STILL: f64 = 1e-4;
const ROW: f64 = 24.0;
const AXIS: f64 = 62.0;
const LEFT: f64 = 300.0;
const RIGHT: f64 = 150.0;

/// Draws the figure.
pub(crate) fn tornado(data: &TornadoSheet) -> Figure {
    let strongest = data.panels.first().and_then(|p| Some((p, p.bars.first()?)));
    let title = strongest.map_or(data.title.clone(), |(panel, bar)| {
        format!("{} depends most on {}", capital(&panel.heading), bar.name)
    });
    let subtitle = format!("{} · {}", data.title, data.scenario);
    sheet("tornado", &title, WIDTH, |canvas| {
        let mut top = header(canvas, &title, &subtitle, &[]);
        for p in &data.panels {
            top = draw(canvas, p, top + HEADING) + AXIS;
        }
        notes(canvas, &data.notes, top)
    })
}

/// Draws a panel from `top`. Answers where its bars end.
fn draw(canvas: &mut Canvas, p: &TornadoPanel, top: f64) -> f64 {
    let mut values: Vec<f64> = p.bars.iter().flat_map(|b| [b.ends.0, b.ends.1]).collect();
    values.push(p.centre);
    let seen = range(&values).unwrap_or((0.0, 1.0));
    // A limit far away would squeeze the bars; it is then told in words.
    let widest = seen.0.abs().max(seen.1.abs());
    let still = seen.1 - seen.0 <= STILL * widest;
    let seen = match (still, 0.05 * widest) {
        (false, _) => seen,
        (true, pad) if pad > 0.0 => (seen.0 - pad, seen.1 + pad),
        (true, _) => (-1.0, 1.0),
    };
    let near = p.limit.filter(|l| {
        let reach = 1.5 * (seen.1 - seen.0);
        (seen.0 - reach..=seen.1 + reach).contains(l)
    });
    let seen = near.map_or(seen, |l| (seen.0.min(l), seen.1.max(l)));
    // Room for the words beside the longest bars.
    let pad = 0.04 * (seen.1 - seen.0);
    let scale = Scale::over(seen.0 - pad, seen.1 + pad, 6.0);
    let plot = Plot {
        left: LEFT,
        top,
        right: WIDTH - RIGHT,
        bottom: top + ROW * p.bars.len().max(1) as f64,
        time: (scale.low, scale.high),
        scale,
    };
    let x = |v: f64| plot.x(v);
    let (left, right, bottom) = (plot.left, plot.right, plot.bottom);
    plot.grid(canvas, scale.ticks());
    let labels: Vec<String> = scale.ticks().map(|v| scale.number(v)).collect();
    let ticks = scale.ticks().zip(labels.iter().map(String::as_str));
    plot.foot_axis(canvas, ticks, &p.axis, 32.0);
    if still {
        let kind = Type::new(SMALL).muted();
        let at = (x(p.centre) + 10.0, plot.middle());
        canvas.label("nothing moves it", at, kind);
    }
    for (i, bar) in p.bars.iter().enumerate() {
        let y = top + ROW * (i as f64 + 0.5);
        let half = ROW * 0.34;
        let name = elide(&bar.name, SMALL, false, LEFT - EDGE - 14.0);
        canvas.text(
            &name,
            (left - 10.0, y),
            Type::new(SMALL).align(Align::Right),
        );
        let mut ends = [(bar.ends.0, "low", ORANGE), (bar.ends.1, "high", BLUE)];
        let away = |end: f64| (end - p.centre).abs();
        // When both lie on one side the shorter is drawn over the longer, and goes without a word.
        ends.sort_by(|a, b| away(b.0).total_cmp(&away(a.0)));
        let one_side = (ends[0].0 > p.centre) == (ends[1].0 > p.centre);
        for (k, (end, word, colour)) in ends.into_iter().enumerate() {
            if !end.is_finite() || still {
                continue;
            }
            let (from, to) = (x(end.min(p.centre)), x(end.max(p.centre)));
            canvas.rect(from, y - half, to, y + half, colour.tint(0.75));
            if k == 0 || !one_side {
                let (at, align) = match end > p.centre {
                    true => (to + 4.0, Align::Left),
                    false => (from - 4.0, Align::Right),
                };
                canvas.label(word, (at, y), Type::new(10.5).muted().align(align));
            }
        }
        let rho = number(bar.rank_correlation, 0.01);
        let sign = if bar.rank_correlation > 0.0 { "+" } else { "" };
        let kind = Type::new(SMALL).align(Align::Right);
        canvas.text(&format!("{sign}{rho}"), (WIDTH - EDGE, y), kind);
    }
    canvas.line(
        (x(p.centre), top - 4.0),
        (x(p.centre), bottom),
        Stroke::new(INK, 1.3),
    );
    if let Some(limit) = near {
        let stroke = Stroke::new(LIMIT, 1.6).dashed(7.0, 4.0);
        canvas.line((x(limit), top - 4.0), (x(limit), bottom), stroke);
        let kind = Type::new(SMALL).colour(LIMIT).align(Align::Centre);
        canvas.text("limit", (x(limit), bottom + 46.0), kind);
    }
    let heading = elide(&p.heading, BODY, true, right - EDGE - 60.0);
    canvas.text(&heading, (EDGE, top - 14.0), Type::new(BODY).bold());
    let kind = Type::new(SMALL).muted().align(Align::Right);
    canvas.text("rank correlation", (WIDTH - EDGE, top - 14.0), kind);
    bottom
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_measure_that_nothing_moves_has_an_axis_all_the_same() {
        let bar = TornadoBar {
            name: "fan.flow".into(),
            ends: (222.5, 222.5 + 1e-9),
            rank_correlation: 0.5,
        };
        let data = TornadoSheet {
            title: "What matters most".into(),
            scenario: "house".into(),
            panels: vec![TornadoPanel {
                heading: "worst supply-plenum static".into(),
                axis: "Pa".into(),
                centre: 222.5,
                limit: None,
                bars: vec![bar],
            }],
            notes: Vec::new(),
        };
        let figure = tornado(&data);
        assert!(figure.svg.contains("nothing moves it"));
        assert!(!figure.svg.contains("222.5000"), "no axis of one number");
        assert!(figure.svg.contains(">\n220\n<") && figure.svg.contains(">\n230\n<"));
    }

    #[test]
    fn bars_limits_and_words_stay_on_the_sheet() {
        let bar = |i: usize| TornadoBar {
            name: format!("flow.a-room-with-a-long-name-{i}"),
            ends: (100.0 - i as f64, 130.0 + i as f64),
            rank_correlation: 0.9 - 0.1 * i as f64,
        };
        let panel = |limit| TornadoPanel {
            heading: "worst external static".into(),
            axis: "Pa".into(),
            centre: 118.0,
            limit,
            bars: (0..12).map(bar).collect(),
        };
        let data = TornadoSheet {
            title: "What matters most".into(),
            scenario: "house".into(),
            panels: vec![panel(Some(125.0)), panel(Some(900.0)), panel(None)],
            notes: vec!["a note".into()],
        };
        let figure = tornado(&data);
        assert_eq!(figure.svg.matches(">\nflow.a-room").count(), 36);
        assert_eq!(figure.svg.matches(">\nlimit\n<").count(), 1);
        let (l, t, r, b) = figure.ink_box().unwrap();
        assert!(l > 0.0 && t > 0.0);
        assert!(r < f64::from(figure.width_px) && b < f64::from(figure.height_px));
    }
}
