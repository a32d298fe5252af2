//! Lays out a sheet of panels and draws it.

use super::canvas::{Canvas, Stroke, sheet};
use super::lettering::{Align, BODY, SMALL, Type, elide, text_width};
use super::marks::{FLAG_HALF, flag_lines, flags, key, lock_outs};
use super::palette::{self, Colour, FRAME, GRID, INK, LIMIT, Marker, PAPER, QUIET, VERMILLION};
use super::plot::{
    EDGE, EndLabel, HEADING, Plot, Scale, TIME_AXIS, WIDTH, header, label_margin, notes,
};
use super::series::{Pieces, joined};
use super::sheet::{ABOVE, Layer, Line, Panel, Sheet};
use super::time_axis::{Tick, ticks};
use super::{Figure, FigureError};

/// Between panels without headings, px: those with ticks, and those without.
const GAPS: (f64, f64) = (18.0, 8.0);
/// Left of a plot: tick labels and the axis' title, px.
const AXIS: f64 = 54.0;
/// Left of a strip without ticks, between its name and itself, px.
const NAME_GAP: f64 = 14.0;
/// Right of every plot: half of the last clock time, px.
const LEAST_MARGIN: f64 = 24.0;
/// Between clock times, px.
const TICK_GAP: f64 = 62.0;
/// Extents of columns: names at the left, labels at the right, px.
const MOST: (f64, f64) = (170.0, 250.0);
/// Between columns, px.
const COLUMN_GAP: f64 = 18.0;
/// A plot narrower than this has thinner lines, px.
const NARROW: f64 = 500.0;
/// Between lines of text beside a strip, px.
const LINES: f64 = 18.0;

impl Sheet {
    /// Draws the sheet.
    ///
    /// # Errors
    /// When it spans no time.
    pub(crate) fn draw(&self) -> Result<Figure, FigureError> {
        let length = self.span.1 - self.span.0;
        if !(length > 0.0 && length.is_finite()) {
            return Err(FigureError::NoTime { figure: self.name });
        }
        let (lead, rest) = match self.columns {
            0 | 1 => self.panels.split_at(0),
            _ => self.panels.split_at(self.lead.min(self.panels.len())),
        };
        Ok(sheet(self.name, &self.title, WIDTH, |canvas| {
            let mut top = header(canvas, &self.title, &self.subtitle, &self.key);
            for (panels, columns) in [(lead, 1), (rest, self.columns.max(1))] {
                if !panels.is_empty() {
                    top = self.block(canvas, panels, columns, top);
                }
            }
            notes(canvas, &self.notes, top)
        }))
    }

    /// Panels in columns over one time axis each. Answers where they end.
    fn block(&self, canvas: &mut Canvas, panels: &[Panel], columns: usize, top: f64) -> f64 {
        let per_column = panels.len().div_ceil(columns);
        let wide = (WIDTH - 2.0 * EDGE) / columns as f64;
        let most = MOST.0 / columns as f64;
        let (gutter, margin) = (
            gutter(panels, most.max(110.0)),
            margin(panels).min(wide * 0.4),
        );
        let at = |row: usize, column: usize| panels.get(column * per_column + row);
        let mut y = top;
        for row in 0..per_column {
            let here = || (0..columns).filter_map(|c| at(row, c));
            y += here().map(Panel::above).fold(0.0, f64::max);
            let bottom = y + here().map(|p| p.height).fold(0.0, f64::max);
            for column in 0..columns {
                let Some(panel) = at(row, column) else {
                    continue;
                };
                let left = EDGE + wide * column as f64;
                let plot = Plot {
                    left: left + gutter,
                    top: y,
                    right: left + wide - margin - if columns > 1 { COLUMN_GAP } else { 0.0 },
                    bottom,
                    time: self.span,
                    scale: panel.scale.unwrap_or(Scale::PER_CENT),
                };
                let ticks = ticks(self.start, self.span, plot.right - plot.left, TICK_GAP);
                panel.draw(canvas, &plot, &ticks, (left, margin));
                if row + 1 == per_column || at(row + 1, column).is_none() {
                    plot.time_axis(canvas, &ticks);
                }
            }
            y = bottom;
        }
        y + TIME_AXIS
    }
}

/// Room left of the plots, px.
fn gutter(panels: &[Panel], most: f64) -> f64 {
    let of = |p: &Panel| {
        let width = text_width(&p.name.0, BODY, true).max(text_width(&p.name.1, SMALL, false));
        match (width > 0.0, p.axis.is_some()) {
            (true, true) => width.min(most) + AXIS,
            (true, false) => width.min(most) + NAME_GAP,
            _ => AXIS,
        }
    };
    panels.iter().map(of).fold(0.0, f64::max)
}

/// Room right of the plots, px.
fn margin(panels: &[Panel]) -> f64 {
    let labels = panels.iter().flat_map(Panel::labels);
    let labels: Vec<String> = labels.map(|l| l.text).collect();
    let totals = panels.iter().flat_map(|p| {
        let wide = |t: &String| text_width(t, SMALL, false) + p.total_gap() + 4.0;
        p.total.iter().map(wide)
    });
    let widest = label_margin(labels.iter().map(String::as_str));
    totals.fold(widest.clamp(LEAST_MARGIN, MOST.1), f64::max)
}

impl Panel {
    /// Height above the plot, px.
    fn above(&self) -> f64 {
        let titled = !(self.heading.is_empty() && self.told.is_empty() && self.key.is_empty());
        let flagged = if self.has_flags() {
            FLAG_HALF + 2.0
        } else {
            0.0
        };
        flagged
            + match (titled, self.axis.is_some()) {
                (true, _) => HEADING,
                (false, true) => GAPS.0,
                (false, false) => GAPS.1,
            }
    }

    fn has_backdrop(&self) -> bool {
        self.layers.iter().any(|l| matches!(l, Layer::Backdrop(..)))
    }

    fn total_gap(&self) -> f64 {
        if self.has_backdrop() { 34.0 } else { 12.0 }
    }

    /// Labels at the right, of limits and lines in their order.
    fn labels(&self) -> Vec<EndLabel> {
        let of = |layer: &Layer| match layer {
            Layer::Limit(value, text, stroke, _) => Some(EndLabel {
                value: *value,
                text: text.clone(),
                stroke: *stroke,
                marker: None,
            }),
            Layer::Line(line) if !line.label.is_empty() => Some(EndLabel {
                value: line.end()?,
                text: line.label.clone(),
                stroke: line.stroke,
                marker: line.marker,
            }),
            _ => None,
        };
        self.layers.iter().filter_map(of).collect()
    }

    fn draw(&self, canvas: &mut Canvas, plot: &Plot, ticks: &[Tick], (left, margin): (f64, f64)) {
        let under = |l: &&Layer| matches!(l, Layer::Shade(..) | Layer::Strip(..));
        for layer in self.layers.iter().filter(under) {
            layer.draw(canvas, plot);
        }
        plot.grid(canvas, ticks.iter().map(|t| t.t_s));
        if self.axis.is_some() {
            plot.value_grid(canvas);
        }
        for layer in self.layers.iter().filter(|l| !under(l)) {
            layer.draw(canvas, plot);
        }
        match &self.axis {
            Some(title) => plot.value_axis(canvas, title),
            // A strip of areas stands on a line.
            None if self.layers.iter().any(|l| matches!(l, Layer::Area(..))) => {
                let foot = |x| (x, plot.bottom);
                canvas.line(foot(plot.left), foot(plot.right), Stroke::new(FRAME, 0.8));
            }
            None => {}
        }
        if self.has_backdrop() {
            let kind = Type::new(SMALL).muted();
            for (text, y) in [("100 %", plot.top), ("0 %", plot.bottom)] {
                canvas.text(text, (plot.right + 6.0, y), kind);
            }
        }
        self.title(canvas, plot, margin);
        self.beside(canvas, plot, left);
        plot.end_labels(canvas, &self.labels(), margin);
    }

    /// Heading, what is told beside it, and the key, above the plot.
    fn title(&self, canvas: &mut Canvas, plot: &Plot, margin: f64) {
        let flagged = if self.has_flags() {
            FLAG_HALF + 2.0
        } else {
            0.0
        };
        let y = plot.top - 12.0 - flagged;
        let right = if self.key.is_empty() {
            plot.right + margin
        } else {
            key(canvas, &self.key, (plot.right, y)) - 16.0
        };
        let heading = elide(&self.heading, BODY, true, right - plot.left);
        canvas.text(&heading, (plot.left, y), Type::new(BODY).bold());
        let left = plot.left + text_width(&heading, BODY, true) + 12.0;
        let told = elide(&self.told, SMALL, false, right - left);
        canvas.text(&told, (left, y), Type::new(SMALL).muted());
    }

    /// Name at the left and totals at the right of a strip.
    fn beside(&self, canvas: &mut Canvas, plot: &Plot, left: f64) {
        let (name, more) = &self.name;
        let width = plot.left - left - if self.axis.is_some() { AXIS - 6.0 } else { 8.0 };
        let name = elide(name, BODY, true, width);
        if more.is_empty() {
            canvas.text(&name, (left, plot.middle()), Type::new(BODY));
        } else {
            let more = elide(more, SMALL, false, width);
            let (over, under) = (plot.middle() - 9.0, plot.middle() + 10.0);
            canvas.text(&name, (left, over), Type::new(BODY));
            canvas.text(&more, (left, under), Type::new(SMALL).muted());
        }
        let first = plot.middle() - LINES * (self.total.len() as f64 - 1.0) / 2.0;
        for (i, text) in self.total.iter().enumerate() {
            let at = (plot.right + self.total_gap(), first + LINES * i as f64);
            canvas.text(text, at, Type::new(SMALL).muted());
        }
    }
}

impl Layer {
    fn draw(&self, canvas: &mut Canvas, plot: &Plot) {
        match self {
            Layer::Shade(spans, colour) => {
                for &(from, to) in &joined(spans, plot.pixel_s()) {
                    canvas.rect(plot.x(from), plot.top, plot.x(to), plot.bottom, *colour);
                }
            }
            Layer::Strip(pieces, (below, above), colour) => {
                for ends in pieces.iter().flat_map(|p| p.windows(2)) {
                    let (low, high) = (ends[0].1 - below, ends[0].1 + above);
                    let (from, to) = (plot.x(ends[0].0), plot.x(ends[1].0));
                    canvas.rect(from, plot.y(high), to, plot.y(low), *colour);
                }
            }
            Layer::Area(pieces, colour) => area(canvas, plot, pieces, *colour),
            Layer::Backdrop(pieces, colour) => {
                let scale = Scale {
                    low: 0.0,
                    high: 1.0,
                    step: 0.5,
                };
                let whole = Plot { scale, ..*plot };
                area(canvas, &whole, pieces, *colour);
                for piece in pieces {
                    let rim = whole.points(piece);
                    canvas.path(&rim, Stroke::new(QUIET, 0.6));
                }
            }
            Layer::Between(points, colour) => {
                let high = points.iter().map(|&(t, _, v)| plot.at((t, v)));
                let low = points.iter().rev().map(|&(t, v, _)| plot.at((t, v)));
                canvas.polygon(&high.chain(low).collect::<Vec<_>>(), *colour);
            }
            Layer::Hatch(spans, up_to) => {
                for &(from, to) in &joined(spans, plot.pixel_s()) {
                    let (x, y) = plot.at((from, *up_to));
                    let right = plot.x(to).max(x + 1.5);
                    let stroke = Stroke::new(VERMILLION, 0.9);
                    let place = (x, y, right, plot.bottom);
                    canvas.hatch(place, 4.5, stroke, VERMILLION.tint(0.08));
                    canvas.line((x, y), (right, y), stroke);
                }
            }
            Layer::Line(line) => line.draw(canvas, plot),
            Layer::Limit(value, _, stroke, above) => {
                let y = plot.y(*value);
                for &(from, to) in &joined(above, 2.0 * plot.pixel_s()) {
                    let x = plot.x(from);
                    let place = (x, plot.top, plot.x(to).max(x + 2.0), y);
                    canvas.hatch(place, 6.0, Stroke::new(ABOVE.0, 0.9), ABOVE.1);
                }
                canvas.line((plot.left, y), (plot.right, y), *stroke);
            }
            Layer::Mark(at, words, colour) => mark(canvas, plot, *at, words, *colour),
            Layer::Starts(times) => {
                for &t in times {
                    canvas.marker(Marker::Up, (plot.x(t), plot.middle()), 5.0, INK);
                }
            }
            Layer::Counts(cells) => counts(canvas, plot, cells),
            Layer::Words(spans) => words(canvas, plot, spans),
            Layer::Flags(times) => {
                flag_lines(canvas, plot, times);
                flags(canvas, plot, times);
            }
            Layer::LockOuts(spans) => lock_outs(canvas, plot, spans),
            Layer::Events(events) => named(canvas, plot, events),
            Layer::Absent(text) => {
                let middle = ((plot.left + plot.right) / 2.0, plot.middle());
                let kind = Type::new(BODY).muted().align(Align::Centre);
                canvas.text(text, middle, kind);
            }
        }
    }
}

impl Line {
    fn draw(&self, canvas: &mut Canvas, plot: &Plot) {
        let narrow = plot.right - plot.left < NARROW;
        let width = self.stroke.width * if narrow { 0.7 } else { 1.0 };
        let stroke = Stroke {
            width,
            ..self.stroke
        };
        for piece in &self.pieces {
            canvas.path(&plot.points(piece), stroke);
        }
        if let Some(i) = self.marker {
            for at in self.marker_places(plot, i) {
                canvas.marker(palette::marker(i), at, 4.2, self.stroke.colour);
            }
        }
    }

    /// Evenly spaced places on the line, shifted by `i` so that neighbours' markers stand apart.
    fn marker_places(&self, plot: &Plot, i: usize) -> Vec<(f64, f64)> {
        const COUNT: usize = 6;
        let shift = 0.12 + 0.13 * (i % 7) as f64;
        let each = (plot.time.1 - plot.time.0) / COUNT as f64;
        let place = |k: usize| {
            let t = plot.time.0 + each * (k as f64 + shift);
            let points = self.pieces.iter().flatten();
            let nearest = points.min_by(|a, b| (a.0 - t).abs().total_cmp(&(b.0 - t).abs()))?;
            // A long gap gets no marker, rather than a crowd of them at its edge.
            ((nearest.0 - t).abs() < each / 2.0).then(|| plot.at(*nearest))
        };
        (0..COUNT).filter_map(place).collect()
    }
}

/// Fills between lines and zero.
fn area(canvas: &mut Canvas, plot: &Plot, pieces: &Pieces, fill: Colour) {
    let zero = plot.y(0.0);
    for piece in pieces {
        let mut shape = plot.points(piece);
        if let (Some(&first), Some(&last)) = (shape.first(), shape.last()) {
            shape.extend([(last.0, zero), (first.0, zero)]);
            canvas.polygon(&shape, fill);
        }
    }
}

/// A triangle over a point, with words above it if there are any.
fn mark(canvas: &mut Canvas, plot: &Plot, at: (f64, f64), words: &str, colour: Colour) {
    let (x, y) = plot.at(at);
    let tip = (x, (y - 7.0).max(plot.top + 3.0));
    canvas.marker(Marker::Down, tip, 6.3, PAPER);
    canvas.marker(Marker::Down, tip, 5.0, colour);
    if !words.is_empty() {
        let half = text_width(words, SMALL, true) / 2.0 + 4.0;
        let x = x.min(plot.right - half).max(plot.left + half);
        let kind = Type::new(SMALL).bold().align(Align::Centre);
        canvas.label(words, (x, y - 23.0), kind);
    }
}

fn counts(canvas: &mut Canvas, plot: &Plot, cells: &[(f64, f64, usize)]) {
    for &(from, to, count) in cells {
        let (x0, x1) = (plot.x(from), plot.x(to));
        canvas.outline(x0, plot.top, x1, plot.bottom, Stroke::new(GRID, 1.0));
        if x1 - x0 >= 14.0 {
            let kind = Type::new(SMALL).align(Align::Centre);
            let kind = match count {
                0 => kind.colour(FRAME),
                _ => kind.bold(),
            };
            let at = ((x0 + x1) / 2.0, plot.middle());
            canvas.text(&count.to_string(), at, kind);
        }
    }
}

/// Spans as lines with their name, or its first letter where it does not fit.
fn words(canvas: &mut Canvas, plot: &Plot, spans: &[(f64, f64, String)]) {
    let y = plot.middle();
    for (from, to, name) in spans {
        let (x0, x1) = (plot.x(*from), plot.x(*to));
        canvas.line((x0, y), (x1, y), Stroke::new(FRAME, 1.0));
        canvas.line((x0, y - 5.0), (x0, y + 5.0), Stroke::new(FRAME, 1.0));
        let fits = text_width(name, SMALL, true) <= x1 - x0 - 16.0;
        let text = match name.chars().next() {
            Some(first) if !fits => first.to_uppercase().to_string(),
            _ => name.clone(),
        };
        if x1 - x0 > 22.0 {
            canvas.label(&text, (x0 + 8.0, y), Type::new(SMALL).bold());
        }
    }
}

/// Lines over the whole height with their names; names that would touch step down.
fn named(canvas: &mut Canvas, plot: &Plot, events: &[(f64, String)]) {
    let mut taken: Option<(f64, usize)> = None;
    for (t, name) in events {
        let x = plot.x(*t);
        let stroke = Stroke::new(LIMIT, 1.2).dashed(6.0, 4.0);
        canvas.line((x, plot.top), (x, plot.bottom), stroke);
        let width = text_width(name, SMALL, true);
        let x = (x + 6.0).min(plot.right - width - 3.0);
        let row = match taken {
            Some((right, row)) if right > x => (row + 1) % 3,
            _ => 0,
        };
        taken = Some((x + width + 8.0, row));
        let y = plot.top + 11.0 + 17.0 * row as f64;
        canvas.label(name, (x, y), Type::new(SMALL).bold());
    }
}
