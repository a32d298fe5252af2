//! Sound in every room through the run, against the room's limit.

use chrono::{TimeDelta, Timelike};

use super::canvas::Stroke;
use super::data::{FigureData, capital, duration_text};
use super::marks::Key;
use super::palette::{BLUE, Colour, LIMIT};
use super::series::{Spans, joined, spans};
use super::sheet::{ABOVE, LIMIT_LINE, Layer, Line, Panel, fit};
use super::{Figure, FigureError};
use crate::measure::sound::{expected_band, is_night};
use crate::quantity::Dimension::SoundLevel;

/// Most rooms that stand in one column.
const ONE_COLUMN: usize = 4;
/// The scale begins here at the latest, dB(A).
const FLOOR_DBA: f64 = 15.0;
/// Background of the night.
const NIGHT: Colour = Colour(0xED, 0xED, 0xED);

/// Draws the A-weighted level in every room with its limit, time above it hatched and counted, and
/// nights shaded. All rooms share one scale; more than four stand in two columns.
///
/// # Errors
/// When no room's sound was recorded.
pub(crate) fn sound(data: &FigureData<'_>) -> Result<Figure, FigureError> {
    let nights = nights(data);
    let rooms = 0..data.scenario.rooms.len();
    let mut panels: Vec<Panel> = rooms.filter_map(|r| room(data, r, &nights)).collect();
    if panels.is_empty() {
        let name = data
            .scenario
            .rooms
            .first()
            .map_or("NAME", |r| r.name.as_str());
        return Err(data.lacks(&format!("room.{name}.sound_dBA")));
    }
    let tall = match panels.len() {
        0..=2 => 200.0,
        3 | 4 => 140.0,
        5..=8 => 118.0,
        _ => 96.0,
    };
    panels.iter_mut().for_each(|p| p.height = tall);
    fit(&mut panels, "dB(A)", Some((FLOOR_DBA, FLOOR_DBA)), 3.5);
    let mut sheet = data.sheet(title(data));
    let hatched = |l: &Layer| matches!(l, Layer::Limit(_, _, _, above) if !above.is_empty());
    if panels.iter().flat_map(|p| &p.layers).any(hatched) {
        sheet.key.push((
            Key::Hatch(ABOVE.0, ABOVE.1),
            "above the room's limit".into(),
        ));
    }
    if !nights.is_empty() {
        sheet
            .key
            .push((Key::Fill(NIGHT), "night, 22 to 07 h".into()));
    }
    sheet.columns = if panels.len() > ONE_COLUMN { 2 } else { 1 };
    sheet.panels = panels;
    sheet.notes = vec![
        "Levels are energy means over each recorded interval. All rooms share one scale; the limit \
         goes by the use of the room, its source is in measures.csv."
            .to_owned(),
        expected_band(data.scenario.sound.measured_fan),
    ];
    sheet.draw()
}

fn room(data: &FigureData<'_>, r: usize, nights: &Spans) -> Option<Panel> {
    let name = &data.scenario.rooms[r].name;
    let column = data.column(&format!("room.{name}.sound_dBA"))?;
    let limit = data.scenario.sound.limits.get(r)?.dba.value;
    let above = spans(data.t, |i| column[i] > limit);
    let line = Line::new(data.line(column, SoundLevel), "", BLUE).stroke(Stroke::new(BLUE, 1.3));
    let mut layers = vec![
        Layer::Shade(nights.clone(), NIGHT),
        Layer::Limit(limit, format!("limit {limit:.0} dB(A)"), LIMIT_LINE, above),
        Layer::Line(line),
    ];
    let mut told = String::new();
    if let Some(loud) = data.outcome.loudest.iter().find(|l| l.room == r) {
        let (t, level) = (loud.stretch.start_s, loud.stretch.sound.dba());
        layers.push(Layer::Mark((t, level), String::new(), LIMIT));
        let first = loud.stretch.sound.ranking()[0];
        told = format!(
            "at most {level:.0} dB(A) at {}, {} {:.0} %",
            data.clock(t),
            first.source.name(),
            100.0 * first.share
        );
    }
    let above_s = above_s(data, name);
    if above_s > 0.0 {
        told += &format!("; above for {}", duration_text(above_s));
    }
    let mut panel = Panel::new(name, 0.0, layers);
    panel.told = told;
    Some(panel)
}

/// Time above a room's limit, s.
fn above_s(data: &FigureData<'_>, room: &str) -> f64 {
    let of = |key: &&str| data.outcome.measure(key, room).map(|m| m.value);
    ["sound_above_day", "sound_above_night"]
        .iter()
        .filter_map(of)
        .sum()
}

/// Spans of night in the run, to a quarter of an hour.
fn nights(data: &FigureData<'_>) -> Spans {
    const QUARTER_S: f64 = 900.0;
    let (from, to) = data.span;
    let n = ((to - from) / QUARTER_S).ceil() as usize;
    let quarter = |i: usize| (from + i as f64 * QUARTER_S).min(to);
    let dark = |i: &usize| {
        let at = TimeDelta::milliseconds(((quarter(*i) + 1.0) * 1000.0) as i64);
        let at = data.scenario.start() + at;
        is_night(at.hour() * 60 + at.minute())
    };
    let dark: Spans = (0..n)
        .filter(dark)
        .map(|i| (quarter(i), quarter(i + 1)))
        .collect();
    joined(&dark, 1.0)
}

/// The room that stands worst against its limit in dB(A).
fn title(data: &FigureData<'_>) -> String {
    let over = |l: &crate::measure::sound::LoudRoom| {
        let level = l.stretch.sound.dba();
        (level - data.scenario.sound.limits[l.room].dba.value, level)
    };
    let loudest = data.outcome.loudest.iter();
    let Some(l) = loudest.max_by(|a, b| over(a).0.total_cmp(&over(b).0)) else {
        return "Sound in every room".into();
    };
    let room = &data.scenario.rooms[l.room].name;
    let (excess, level) = over(l);
    let limit = data.scenario.sound.limits[l.room].dba.value;
    let measure = data.outcome.measure("sound_loudest", room);
    let level = measure.map_or(format!("{level:.0} dB(A)"), |m| data.judged(m));
    match excess > 0.0 {
        true => format!(
            "{} exceeds {limit:.0} dB(A) for {}: {level} at the loudest",
            capital(room),
            duration_text(above_s(data, room))
        ),
        false => format!(
            "Every room stays within its sound limit: {room} is closest, {level} of {limit:.0}"
        ),
    }
}
