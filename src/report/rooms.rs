//! Room temperatures, one panel a zone, all on one scale.

use super::canvas::{Canvas, Stroke, sheet};
use super::context::{Context, Series};
use super::lettering::{Align, BODY, Type};
use super::marks::{Key, key};
use super::palette::{BAND, INK, MUTED, ORANGE, QUIET, series};
use super::panel::{
    BODY_TOP, EDGE, EndLabel, HEADING, LINE, NOTE, Panel, TIME_AXIS, WIDTH, header, label_margin,
    nice_scale, notes,
};
use super::series::{cover, held, range};
use super::{Figure, FigureError, Quantity, Story, StoryZone, UnitSystem};
use crate::trace::Trace;

/// Most zones that stand in one column.
const ONE_COLUMN: usize = 6;

/// A panel's contents before it is placed.
struct Content<'a> {
    zone: Option<&'a StoryZone>,
    name: String,
    rooms: Vec<Series>,
    sensor: Option<Series>,
    setpoint: Option<Series>,
}

impl Content<'_> {
    fn labels(&self) -> usize {
        self.rooms.len() + usize::from(self.sensor.is_some()) + usize::from(self.setpoint.is_some())
    }
}

/// Draws room temperatures: a panel for each zone with its setpoint, its differential as a tinted
/// strip and its time bands shaded, and outdoor air in a panel of its own. More than six zones
/// stand in two columns.
///
/// # Errors
/// When the trace spans no time, or no room's temperature is in it.
pub fn rooms(story: &Story, trace: &Trace, units: UnitSystem) -> Result<Figure, FigureError> {
    let context = Context::new("rooms", story, trace, units)?;
    let columns = if story.zones.len() > ONE_COLUMN { 2 } else { 1 };
    let points = 1500 / columns;
    let contents = contents(&context, points);
    if contents.iter().all(|c| c.rooms.is_empty()) {
        let room = story
            .zones
            .iter()
            .flat_map(|z| &z.rooms)
            .chain(&story.other_rooms)
            .next();
        let column = format!("room.{}.air_C", room.map_or("NAME", String::as_str));
        return Err(FigureError::NoColumn {
            figure: "rooms",
            column,
        });
    }
    let outdoor = outdoor(&context, points);

    let shown = contents
        .iter()
        .flat_map(|c| c.rooms.iter().chain(&c.setpoint))
        .flat_map(|s| s.pieces.iter().flatten());
    let seen = range(shown.map(|p| &p.1)).unwrap_or((20.0, 25.0));
    let scale = nice_scale(
        seen.0 - 0.2,
        seen.1 + 0.2,
        if columns == 1 { 4.6 } else { 3.6 },
    );

    let margin = label_margin(
        contents
            .iter()
            .flat_map(|c| &c.rooms)
            .map(|s| s.name.as_str())
            .chain(["setpoint 24.5 °C"]),
        190.0,
    );
    let base: f64 = match contents.len() {
        0..=2 => 230.0,
        3 | 4 => 150.0,
        5 | 6 => 118.0,
        _ => 104.0,
    };
    let per_column = contents.len().div_ceil(columns);
    let height_of = |c: &Content<'_>| -> f64 { base.max(16.0 * (c.labels() as f64 + 0.5)) };
    let rows: Vec<f64> = (0..per_column)
        .map(|row| {
            let in_row = (0..columns).filter_map(|col| contents.get(col * per_column + row));
            in_row.map(height_of).fold(base, f64::max)
        })
        .collect();
    let outdoor_height = if outdoor.is_some() {
        76.0 + HEADING
    } else {
        0.0
    };
    let plots: f64 = rows.iter().map(|h| h + HEADING).sum();
    let remarks = remarks(&context);
    let bottom = BODY_TOP + outdoor_height + plots + TIME_AXIS;
    let height = bottom + NOTE * remarks.len() as f64 + 16.0;

    sheet(
        "rooms",
        "Room temperatures",
        (WIDTH, height.ceil()),
        |canvas| {
            header(canvas, "Room temperatures by zone", &context);
            meanings(canvas, &context);
            let wide = (WIDTH - 2.0 * EDGE) / columns as f64;
            for column in 0..columns {
                let left = EDGE + wide * column as f64 + 48.0;
                let right = EDGE + wide * (column as f64 + 1.0) - margin;
                let ticks = context.ticks(right - left);
                let mut top = BODY_TOP + HEADING;
                if let Some((series, scale)) = &outdoor {
                    let panel = panel(&context, (left, top, right, top + 76.0), *scale);
                    panel.ground(canvas, &[], &ticks);
                    let stroke = Stroke::new(MUTED, LINE).dashed(7.0, 3.0);
                    panel.series(canvas, series, stroke);
                    panel.value_axis(canvas, units.symbol(Quantity::Temperature));
                    panel.heading(canvas, "Outdoor air");
                    let label = EndLabel::of(series).map(|l| EndLabel { stroke, ..l });
                    panel.end_labels(canvas, label.as_slice(), margin);
                    top += 76.0 + HEADING;
                }
                for (row, &tall) in rows.iter().enumerate() {
                    let Some(content) = contents.get(column * per_column + row) else {
                        continue;
                    };
                    let panel = panel(&context, (left, top, right, top + tall), scale);
                    draw(canvas, &panel, content, &context, margin);
                    let last = contents.len().min((column + 1) * per_column) - 1;
                    if column * per_column + row == last {
                        panel.time_axis(canvas, &ticks);
                    }
                    top += tall + HEADING;
                }
            }
            notes(canvas, &remarks, bottom);
        },
    )
}

fn panel(context: &Context<'_>, place: (f64, f64, f64, f64), scale: (f64, f64, f64)) -> Panel {
    let (left, top, right, bottom) = place;
    let value = (scale.0, scale.1);
    Panel {
        left,
        top,
        right,
        bottom,
        time: context.span,
        value,
        step: scale.2,
    }
}

fn meanings(canvas: &mut Canvas<'_>, context: &Context<'_>) {
    let mut entries = vec![(Key::Fill(ORANGE.tint(0.25)), "differential")];
    if context.has_bands() {
        entries.push((Key::Fill(BAND), "time band open"));
    }
    key(canvas, &entries, (WIDTH - EDGE, 32.0));
}

fn contents<'a>(context: &Context<'a>, points: usize) -> Vec<Content<'a>> {
    let units = context.units;
    let show = |v| units.convert(Quantity::Temperature, v);
    let room = |i: usize, name: &String| {
        let column = context.trace.column(&format!("room.{name}.air_C"))?;
        let pieces = context.thin(column, points, show);
        Some(Series {
            name: name.clone(),
            colour: series(i),
            marker: Some(i),
            pieces,
        })
    };
    let quiet = |column: String, name: &str, colour| {
        let pieces = context.thin(context.trace.column(&column)?, points, show);
        (!pieces.is_empty()).then(|| Series {
            name: name.to_owned(),
            colour,
            marker: None,
            pieces,
        })
    };
    let mut contents: Vec<Content<'a>> = context
        .story
        .zones
        .iter()
        .map(|zone| {
            let rooms = zone
                .rooms
                .iter()
                .enumerate()
                .filter_map(|(i, r)| room(i, r))
                .collect();
            let mut setpoint = quiet(format!("zone.{}.setpoint_C", zone.name), "setpoint", INK);
            if let Some(line) = &mut setpoint {
                for piece in &mut line.pieces {
                    *piece = held(piece);
                }
            }
            // Two columns leave no room for a line that all but covers the room's own.
            let sensor = (context.story.zones.len() <= ONE_COLUMN)
                .then(|| quiet(format!("zone.{}.sensor_C", zone.name), "sensor", QUIET))
                .flatten();
            Content {
                zone: Some(zone),
                name: zone.name.clone(),
                rooms,
                sensor,
                setpoint,
            }
        })
        .collect();
    let others: Vec<Series> = (context.story.other_rooms.iter().enumerate())
        .filter_map(|(i, r)| room(i, r))
        .collect();
    if !others.is_empty() {
        let name = "Rooms in no zone".to_owned();
        contents.push(Content {
            zone: None,
            name,
            rooms: others,
            sensor: None,
            setpoint: None,
        });
    }
    contents
}

fn outdoor(context: &Context<'_>, points: usize) -> Option<(Series, (f64, f64, f64))> {
    let column = context.trace.column("outdoor.air_C")?;
    let pieces = context.thin(column, points, |v| {
        context.units.convert(Quantity::Temperature, v)
    });
    let seen = range(pieces.iter().flatten().map(|p| &p.1))?;
    let seen = cover(
        Some(seen),
        Some(((seen.0 + seen.1) / 2.0 - 1.0, (seen.0 + seen.1) / 2.0 + 1.0)),
    )?;
    let series = Series {
        name: "outdoor".to_owned(),
        colour: MUTED,
        marker: None,
        pieces,
    };
    Some((series, nice_scale(seen.0, seen.1, 2.4)))
}

fn draw(
    canvas: &mut Canvas<'_>,
    panel: &Panel,
    content: &Content<'_>,
    context: &Context<'_>,
    margin: f64,
) {
    let units = context.units;
    let ticks = context.ticks(panel.right - panel.left);
    let bands = content
        .zone
        .and_then(|z| context.zone_band(z))
        .unwrap_or_default();
    panel.shade(canvas, &bands);
    let mut labels = Vec::new();
    if let Some(setpoint) = &content.setpoint {
        let below = units.convert(
            Quantity::TemperatureDifference,
            context.story.differential.below_k,
        );
        let above = units.convert(
            Quantity::TemperatureDifference,
            context.story.differential.above_k,
        );
        for piece in &setpoint.pieces {
            for ends in piece.windows(2).filter(|w| w[1].0 > w[0].0) {
                let (from, to) = (panel.x(ends[0].0), panel.x(ends[1].0));
                let (low, high) = (panel.y(ends[0].1 - below), panel.y(ends[0].1 + above));
                canvas.rect(from, high, to, low, ORANGE.tint(0.25));
            }
        }
    }
    panel.ground(canvas, &[], &ticks);
    if let Some(setpoint) = &content.setpoint {
        let stroke = Stroke::new(INK, 1.3).dashed(6.0, 4.0);
        for piece in &setpoint.pieces {
            canvas.path(&panel.points(piece), stroke);
        }
        labels.extend(EndLabel::of(setpoint).map(|label| {
            let symbol = units.symbol(Quantity::Temperature);
            let value = format!("{:.1}", label.value);
            let value = value.trim_end_matches('0').trim_end_matches('.');
            let text = format!("setpoint {value} {symbol}");
            EndLabel {
                stroke,
                text,
                ..label
            }
        }));
    }
    if let Some(sensor) = &content.sensor {
        let stroke = Stroke::new(QUIET, 1.0);
        panel.series(canvas, sensor, stroke);
        labels.extend(EndLabel::of(sensor).map(|label| EndLabel { stroke, ..label }));
    }
    for room in &content.rooms {
        panel.series(canvas, room, Stroke::new(room.colour, LINE));
        labels.extend(EndLabel::of(room));
    }
    if content.rooms.is_empty() {
        let at = (
            (panel.left + panel.right) / 2.0,
            (panel.top + panel.bottom) / 2.0,
        );
        let kind = Type::new(BODY).muted().align(Align::Centre);
        canvas.text("no room of this zone was recorded", at, kind);
    }
    panel.value_axis(canvas, units.symbol(Quantity::Temperature));
    panel.heading(canvas, &content.name);
    panel.end_labels(canvas, &labels, margin);
}

fn remarks(context: &Context<'_>) -> Vec<String> {
    let units = context.units;
    let d = context.story.differential;
    let shown = |k: f64| units.text(Quantity::TemperatureDifference, k);
    let mut lines = vec![format!(
        "The tinted strip is the thermostats' differential, {} below to {} above the setpoint. All zones share one scale.",
        shown(d.below_k),
        shown(d.above_k)
    )];
    if context.has_bands() {
        lines.push("Outside its time band a zone's dampers are shut, unless its guard or set-back setpoint calls.".to_owned());
    }
    lines
}
