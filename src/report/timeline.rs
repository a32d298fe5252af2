//! The run as a strip: unit, starts, trips and every zone's calls.

use chrono::Timelike;

use super::canvas::Stroke;
use super::data::{FigureData, duration_text};
use super::marks::Key;
use super::palette::{BLUE, Colour, LIMIT, SCHEDULED, SKY_BLUE, VERMILLION, series};
use super::plot::Scale;
use super::series::{range, spans};
use super::sheet::{Layer, Line, Panel, all_held};
use super::{Figure, FigureError};
use crate::control::NoticeKind;
use crate::quantity::Dimension::Fraction;

const SPEED_HEIGHT: f64 = 80.0;
/// How high fan without compressor is hatched, %.
const FAN_ONLY: f64 = 40.0;
/// Most cells of counted starts that can be read.
const CELLS: f64 = 48.0;

/// Draws the run: unit speed as a filled strip, fan without compressor hatched, starts as triangles
/// counted by the hour, modes, trips as numbered flags, lock-outs as bars, and a strip of calls for
/// every zone within its schedule.
///
/// # Errors
/// When `unit.speed` was not recorded.
pub(crate) fn timeline(data: &FigureData<'_>) -> Result<Figure, FigureError> {
    let speed = data.need("unit.speed")?;
    let starts = data.times(NoticeKind::Start);
    let zones = &data.scenario.zones;
    let mut sheet = data.sheet(title(data));
    let (unit, key) = unit(data, speed);
    sheet.key = key;
    sheet.panels.extend(modes(data));
    sheet.panels.push(unit);
    let mut row = Panel::strip("Starts", "", 20.0, vec![Layer::Starts(starts.clone())]);
    row.total = vec![counted(starts.len() as f64, "start")];
    sheet.panels.push(row);
    sheet.panels.push(counts(data, &starts));
    let tall = if zones.len() > 8 { 20.0 } else { 28.0 };
    for (i, zone) in zones.iter().enumerate() {
        let mut row = calls(data, &zone.name, series(i), tall);
        if i == 0 {
            row.heading = "Calls by zone".into();
            row.told = "each in its colour, as high as the call is strong".into();
            row.key = vec![(Key::Fill(SCHEDULED), "scheduled period".into())];
        }
        sheet.panels.push(row);
    }
    if let Some(m) = data.measure("starts_worst_hour").filter(|m| m.value > 0.0) {
        let worst = m.at_s.map_or(String::new(), |t| {
            let (from, to) = ((t - 3600.0).max(data.span.0), t);
            format!(", from {} to {}", data.clock(from), data.clock(to))
        });
        sheet.notes.push(format!(
            "Most starts in any 60 minutes: {:.0}{worst}.",
            m.value
        ));
    }
    sheet.notes.extend(data.trip_notes());
    sheet.draw()
}

fn counted(n: f64, what: &str) -> String {
    let plural = if n == 1.0 { "" } else { "s" };
    format!("{n:.0} {what}{plural}")
}

/// Cooling and heating in words.
fn modes(data: &FigureData<'_>) -> Option<Panel> {
    let heating = data.column("unit.heating")?;
    let of = |mode: bool, name: &str| -> Vec<(f64, f64, String)> {
        let spans = spans(data.t, |i| (heating[i] > 0.5) == mode).into_iter();
        spans
            .map(|(from, to)| (from, to, name.to_owned()))
            .collect()
    };
    let mut spans = of(false, "cooling");
    spans.extend(of(true, "heating"));
    spans.sort_by(|a, b| a.0.total_cmp(&b.0));
    Some(Panel::strip("Mode", "", 24.0, vec![Layer::Words(spans)]))
}

fn unit(data: &FigureData<'_>, speed: &[f64]) -> (Panel, Vec<(Key, String)>) {
    let mut key = vec![(Key::Fill(SKY_BLUE), "compressor on".to_owned())];
    let mut layers = Vec::new();
    if let Some(flow) = data.column("fan.flow_m3_s") {
        let moves = |i: usize| flow[i] > super::data::FAN_RUNS_M3_S;
        let fan_only = spans(data.t, |i| moves(i) && speed[i] <= 0.0);
        if !fan_only.is_empty() {
            let patch = Key::Hatch(VERMILLION, VERMILLION.tint(0.08));
            key.push((patch, "fan without compressor".to_owned()));
        }
        layers.push(Layer::Hatch(fan_only, FAN_ONLY));
    }
    let pieces = all_held(&data.line(speed, Fraction));
    layers.push(Layer::Area(pieces.clone(), SKY_BLUE));
    layers.push(Layer::Line(
        Line::new(pieces, "", BLUE).stroke(Stroke::new(BLUE, 0.9)),
    ));
    let locked = data.locked_out();
    if !locked.is_empty() {
        key.push((Key::Fill(LIMIT), "locked out".to_owned()));
    }
    let trips = data.times(NoticeKind::Trip);
    if !trips.is_empty() {
        key.push((Key::Flag, "trip, told below".to_owned()));
    }
    layers.push(Layer::LockOuts(locked));
    layers.push(Layer::Flags(trips));
    let mut panel = Panel::strip("Unit speed", "share of full, %", SPEED_HEIGHT, layers);
    panel.axis = Some(String::new());
    let most = range(speed).map_or(100.0, |r| data.shown(r.1, Fraction).max(100.0));
    panel.scale = Some(Scale {
        high: most,
        ..Scale::PER_CENT
    });
    let on: f64 = spans(data.t, |i| speed[i] > 0.0)
        .iter()
        .map(|s| s.1 - s.0)
        .sum();
    panel.total = vec!["compressor on".into(), duration_text(on)];
    (panel, key)
}

/// Starts counted in cells of clock time, wide enough for their number.
fn counts(data: &FigureData<'_>, starts: &[f64]) -> Panel {
    let most = data.length_s() / 3600.0 / CELLS;
    let hours = [1.0, 2.0, 3.0, 6.0, 12.0, 24.0, 168.0]
        .into_iter()
        .find(|h| *h >= most);
    let hours = hours.unwrap_or(672.0);
    let cell = hours * 3600.0;
    let midnight = f64::from(data.scenario.start().num_seconds_from_midnight());
    let mut from = ((data.span.0 + midnight) / cell).floor() * cell - midnight;
    let mut cells = Vec::new();
    while from < data.span.1 {
        let count = starts
            .iter()
            .filter(|t| (from..from + cell).contains(*t))
            .count();
        cells.push((from, from + cell, count));
        from += cell;
    }
    let name = match hours {
        1.0 => "Starts per hour".to_owned(),
        _ => format!("Starts per {hours:.0} h"),
    };
    Panel::strip(&name, "", 22.0, vec![Layer::Counts(cells)])
}

/// A zone's calls, as high as they are strong, on its scheduled periods.
fn calls(data: &FigureData<'_>, zone: &str, colour: Colour, tall: f64) -> Panel {
    let scheduled = data.scheduled(zone).unwrap_or_else(|| vec![data.span]);
    let mut layers = vec![Layer::Shade(scheduled, SCHEDULED)];
    let total = match data.column(&format!("zone.{zone}.call")) {
        Some(call) => {
            let strength: Vec<f64> = call.iter().map(|c| c.abs().min(1.0)).collect();
            layers.push(Layer::Area(
                all_held(&data.line(&strength, Fraction)),
                colour,
            ));
            let called = spans(data.t, |i| strength[i] > 1e-9);
            duration_text(called.iter().map(|s| s.1 - s.0).sum())
        }
        None => "not recorded".to_owned(),
    };
    let mut panel = Panel::strip(zone, "", tall, layers);
    panel.total = vec![total];
    panel
}

/// Lock-outs and trips first, then starts against their limit.
fn title(data: &FigureData<'_>) -> String {
    let (trips, starts) = (
        data.count("trips", NoticeKind::Trip),
        data.count("starts", NoticeKind::Start),
    );
    let locked = data.measure("locked_out").map_or(0.0, |m| m.value);
    let trips = match trips {
        0.0 => String::new(),
        1.0 => "The unit trips once".to_owned(),
        n => format!("The unit trips {n:.0} times"),
    };
    if locked > 0.0 {
        let before = if trips.is_empty() {
            "The unit is".to_owned()
        } else {
            format!("{trips} and is")
        };
        return format!("{before} locked out for {}", duration_text(locked));
    }
    if !trips.is_empty() {
        return format!("{trips}; {}", counted(starts, "start"));
    }
    let Some(m) = data.measure("starts_worst_hour").filter(|_| starts > 0.0) else {
        return match starts {
            0.0 => "The unit does not start".to_owned(),
            _ => format!("The unit starts {starts:.0} times"),
        };
    };
    let text = format!(
        "{}, at most {:.0} in an hour",
        counted(starts, "start"),
        m.value
    );
    match m.limit.as_ref() {
        Some(l) if !l.passes(m.value) => format!("{text}: more than the limit of {:.0}", l.value),
        Some(l) => format!("{text}: within the limit of {:.0}", l.value),
        None => text,
    }
}
