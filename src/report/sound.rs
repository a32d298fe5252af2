//! Sound in every room through the run, against the room's limit.

use super::canvas::{Canvas, Stroke, sheet};
use super::context::{Context, Series, duration_text};
use super::lettering::{BODY, SMALL, Type, elide, text_width};
use super::marks::{Key, key};
use super::palette::{BLUE, Colour, LIMIT, Marker, VERMILLION};
use super::panel::{
    BODY_TOP, EDGE, EndLabel, HEADING, NOTE, Panel, TIME_AXIS, WIDTH, header, label_margin,
    nice_scale, notes,
};
use super::series::{joined, range, spans};
use super::{Figure, FigureError, Story, StoryRoomSound, UnitSystem};
use crate::measure::sound::is_night;
use crate::trace::Trace;
use chrono::{TimeDelta, Timelike};

/// Most rooms that stand in one column.
const ONE_COLUMN: usize = 4;
/// Levels under this are of no interest and are left off the scale, dB(A).
const FLOOR_DBA: f64 = 15.0;

struct Content<'a> {
    room: &'a StoryRoomSound,
    line: Series,
    above: Vec<(f64, f64)>,
}

/// Draws the A-weighted level in every room with its limit, time above it hatched and counted, and
/// nights shaded. All rooms share one scale; more than four stand in two columns.
///
/// # Errors
/// When the trace spans no time, or no room's sound is in it.
pub fn sound(story: &Story, trace: &Trace, units: UnitSystem) -> Result<Figure, FigureError> {
    let context = Context::new("sound", story, trace, units)?;
    let rooms = story.sound.as_ref().map_or(&[][..], |s| &s.rooms);
    let columns = if rooms.len() > ONE_COLUMN { 2 } else { 1 };
    let contents: Vec<Content<'_>> = rooms
        .iter()
        .filter_map(|room| content(&context, room, 1500 / columns))
        .collect();
    if contents.is_empty() {
        let name = rooms.first().map_or("NAME", |r| r.name.as_str());
        return Err(FigureError::NoColumn {
            figure: "sound",
            column: format!("room.{name}.sound_dBA"),
        });
    }
    let shown = contents.iter().flat_map(|c| c.line.pieces.iter().flatten());
    let most = range(shown.map(|p| &p.1)).map_or(FLOOR_DBA, |r| r.1);
    let limits = contents.iter().map(|c| c.room.limit.value);
    let most = limits.fold(most, f64::max);
    let scale = nice_scale(FLOOR_DBA, most + 1.0, 5.5);
    let margin = label_margin(["limit 45 dB(A)"], 150.0);
    let tall = match contents.len() {
        0..=2 => 200.0,
        3 | 4 => 140.0,
        5..=8 => 118.0,
        _ => 96.0,
    };
    let per_column = contents.len().div_ceil(columns);
    let mut remarks = vec![
        "Levels are energy means over each recorded interval. All rooms share one scale; the limit \
         goes by the use of the room, its source is in measures.csv."
            .to_owned(),
    ];
    remarks.extend(story.sound.as_ref().map(|s| s.expected.clone()));
    let bottom = BODY_TOP + per_column as f64 * (HEADING + tall) + TIME_AXIS;
    let height = bottom + NOTE * remarks.len() as f64 + 16.0;
    let nights = nights(&context);

    sheet(
        "sound",
        "Sound in every room",
        (WIDTH, height.ceil()),
        |canvas| {
            header(canvas, "Sound in every room", &context);
            let mut entries = vec![(Key::Fill(NIGHT), "night, 22 to 07 h")];
            if contents.iter().any(|c| !c.above.is_empty()) {
                entries.insert(0, (ABOVE, "above the room's limit"));
            }
            key(canvas, &entries, (WIDTH - EDGE, 32.0));
            let wide = (WIDTH - 2.0 * EDGE) / columns as f64;
            for column in 0..columns {
                let left = EDGE + wide * column as f64 + 48.0;
                let right = EDGE + wide * (column as f64 + 1.0) - margin;
                let ticks = context.ticks(right - left);
                let mut top = BODY_TOP + HEADING;
                let here = contents.iter().skip(column * per_column).take(per_column);
                let mut last = None;
                for content in here {
                    let panel = Panel {
                        left,
                        top,
                        right,
                        bottom: top + tall,
                        time: context.span,
                        value: (scale.0, scale.1),
                        step: scale.2,
                    };
                    for &(from, to) in &nights {
                        canvas.rect(panel.x(from), top, panel.x(to), panel.bottom, NIGHT);
                    }
                    panel.ground(canvas, &[], &ticks);
                    draw(canvas, &panel, content, &context, margin);
                    top += tall + HEADING;
                    last = Some(panel);
                }
                if let Some(panel) = last {
                    panel.time_axis(canvas, &ticks);
                }
            }
            notes(canvas, &remarks, bottom);
        },
    )
}

/// Background of the night.
const NIGHT: Colour = Colour(0xED, 0xED, 0xED);
const ABOVE: Key = Key::Hatch(Colour(0xE0, 0x87, 0x40), Colour(0xF8, 0xE5, 0xD6));

fn content<'a>(
    context: &Context<'_>,
    room: &'a StoryRoomSound,
    points: usize,
) -> Option<Content<'a>> {
    let column = context
        .trace
        .column(&format!("room.{}.sound_dBA", room.name))?;
    let limit = room.limit.value;
    Some(Content {
        room,
        line: Series {
            name: room.name.clone(),
            colour: BLUE,
            marker: None,
            pieces: context.thin(column, points, |v| v),
        },
        above: spans(context.t, |i| column[i] > limit),
    })
}

/// Spans of night in the run, to a quarter of an hour.
fn nights(context: &Context<'_>) -> Vec<(f64, f64)> {
    const QUARTER_S: f64 = 900.0;
    let (from, to) = context.span;
    let n = ((to - from) / QUARTER_S).ceil() as usize;
    let quarter = |i: usize| (from + i as f64 * QUARTER_S).min(to);
    let dark = |i: usize| {
        let middle = quarter(i) + 1.0;
        let at = context.story.start + TimeDelta::milliseconds((middle * 1000.0) as i64);
        is_night(at.hour() * 60 + at.minute())
    };
    let dark = (0..n).filter(|&i| dark(i));
    joined(
        &dark
            .map(|i| (quarter(i), quarter(i + 1)))
            .collect::<Vec<_>>(),
        1.0,
    )
}

fn draw(
    canvas: &mut Canvas<'_>,
    panel: &Panel,
    content: &Content<'_>,
    context: &Context<'_>,
    margin: f64,
) {
    let limit = content.room.limit.value;
    let y = panel.y(limit);
    let hair = context.length_s() / (panel.right - panel.left);
    for &(from, to) in &joined(&content.above, 2.0 * hair) {
        let (x0, x1) = (panel.x(from), panel.x(to).max(panel.x(from) + 2.0));
        canvas.rect(x0, panel.top, x1, y, VERMILLION.tint(0.16));
        let stroke = Stroke::new(VERMILLION.tint(0.75), 0.9);
        canvas.hatch((x0, panel.top, x1, y), 6.0, true, stroke);
    }
    let stroke = Stroke::new(LIMIT, 1.6).dashed(10.0, 4.0);
    canvas.line((panel.left, y), (panel.right, y), stroke);
    panel.series(canvas, &content.line, Stroke::new(BLUE, 1.3));
    if let Some((t, level)) = content.room.loudest {
        let (x, y) = panel.at((t, level));
        canvas.marker(
            Marker::Down,
            (x, (y - 6.0).max(panel.top + 2.0)),
            4.6,
            LIMIT,
        );
    }
    panel.value_axis(canvas, "dB(A)");
    let mut told = String::new();
    if let Some((t, level)) = content.room.loudest {
        told += &format!("most {level:.0} dB(A) at {}", context.clock(t));
        told += &format!(", {}", content.room.ruling);
    }
    if content.room.above_s > 0.0 {
        told += &format!("; above for {}", duration_text(content.room.above_s));
    }
    panel.heading(canvas, &content.room.name);
    let left = panel.left + text_width(&content.room.name, BODY, true) + 12.0;
    let told = elide(&told, SMALL, false, panel.right + margin - left);
    canvas.text(&told, (left, panel.top - 12.0), Type::new(SMALL).muted());
    let label = EndLabel::line(limit, format!("limit {limit:.0} dB(A)"), stroke);
    panel.end_labels(canvas, &[label], margin + INTO_EDGE);
}

/// The labels may reach into the edge of the sheet, px.
const INTO_EDGE: f64 = 8.0;
