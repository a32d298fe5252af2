//! Room temperatures, a panel a zone, all on one scale.

use super::canvas::Stroke;
use super::data::FigureData;
use super::marks::Key;
use super::palette::{INK, MUTED, ORANGE, QUIET, SCHEDULED, series};
use super::sheet::{Layer, Line, Panel, all_held, fit};
use super::{Figure, FigureError};
use crate::control::thermostat::Placement;
use crate::quantity::Dimension::{Fraction, Temperature, TemperatureDifference};
use crate::scenario::control::Zone;

/// Most zones that stand in one column.
const ONE_COLUMN: usize = 6;
const OUTDOOR_HEIGHT: f64 = 76.0;
const SETPOINT: Stroke = Stroke::new(INK, 1.3).dashed(6.0, 4.0);
/// Share of scheduled time off setpoint that a title tells of.
const TELLING: f64 = 0.01;

/// Draws room temperatures: a panel for each zone with its setpoint, its differential as a tinted strip and its
/// schedule shaded, and outdoor air in a panel of its own. More than six zones stand in two columns.
///
/// # Errors
/// When no room's temperature was recorded.
pub(crate) fn rooms(data: &FigureData<'_>) -> Result<Figure, FigureError> {
    let s = data.scenario;
    let mut panels: Vec<Panel> = (s.zones.iter().enumerate())
        .map(|(i, z)| zone(data, i, z))
        .collect();
    let others = (0..s.rooms.len()).filter(|&r| s.zone_of_room(r).is_none());
    let others = others.filter(|r| s.zones.iter().all(|z| z.room != *r));
    let others: Vec<&str> = others.map(|r| s.rooms[r].name.as_str()).collect();
    let others = lines(data, &others, s.zones.len());
    if !others.is_empty() {
        panels.push(Panel::new("Rooms in no zone", 0.0, others));
    }
    let drawn = |p: &Panel| {
        p.layers
            .iter()
            .any(|l| matches!(l, Layer::Line(l) if l.marker.is_some()))
    };
    if !panels.iter().any(drawn) {
        let room = s.rooms.first().map_or("NAME", |r| r.name.as_str());
        return Err(data.lacks(&format!("room.{room}.air_C")));
    }
    let base: f64 = match panels.len() {
        0..=2 => 230.0,
        3 | 4 => 150.0,
        5 | 6 => 118.0,
        _ => 104.0,
    };
    for panel in &mut panels {
        // Room for every label at the end of its line.
        panel.height = base.max(16.0 * (panel.layers.len() as f64 + 0.5));
    }
    fit(&mut panels, &data.axis("Air", Temperature), None, 4.0);

    let mut sheet = data.sheet(title(data));
    sheet.columns = if s.zones.len() > ONE_COLUMN { 2 } else { 1 };
    if let Some(outdoor) = data.column("outdoor.air_C") {
        let line = Line::new(data.line(outdoor, Temperature), "outdoor", MUTED);
        let line = line.stroke(Stroke::new(MUTED, 1.7).dashed(7.0, 3.0));
        let panel = Panel::new("Outdoor air", OUTDOOR_HEIGHT, vec![Layer::Line(line)]);
        panels.insert(0, panel.fitted(&data.axis("Air", Temperature), None, 2.4));
        sheet.lead = 1;
    }
    sheet.panels = panels;
    sheet.key.push((Key::Fill(STRIP), "differential".into()));
    let (below, above) = differential(data);
    sheet.notes.push(format!(
        "The tinted strip is the thermostats' differential, {} below to {} above the setpoint. All zones share one scale.",
        data.text(below, TemperatureDifference),
        data.text(above, TemperatureDifference)
    ));
    if data.has_schedules() {
        sheet
            .key
            .push((Key::Fill(SCHEDULED), "scheduled period".into()));
        sheet.notes.push(
            "Outside its schedule a zone's dampers are shut, unless its guard or set-back setpoint calls."
                .into(),
        );
    }
    sheet.draw()
}

const STRIP: super::palette::Colour = ORANGE.tint(0.25);

/// How far the temperature may move below and above the setpoint before the thermostat acts, K.
fn differential(data: &FigureData<'_>) -> (f64, f64) {
    let spec = data.scenario.control.controller.spec();
    let width = data
        .scenario
        .zones
        .first()
        .map_or(0.5, |z| z.differential_k);
    let one_sided =
        |z: &crate::control::zone::ZoneSpec| z.differential.placement == Placement::OneSided;
    match spec.zones.first().is_some_and(one_sided) {
        true => (width, width),
        false => (width / 2.0, width / 2.0),
    }
}

/// Temperatures of rooms that were recorded, in shades of the zone's colour, each with its marker.
fn lines(data: &FigureData<'_>, rooms: &[&str], zone: usize) -> Vec<Layer> {
    let line = |(i, name): (usize, &&str)| {
        let pieces = data.line(data.column(&format!("room.{name}.air_C"))?, Temperature);
        Some(Layer::Line(
            Line::new(pieces, *name, series(zone).shade(i)).marked(i),
        ))
    };
    rooms.iter().enumerate().filter_map(line).collect()
}

fn zone(data: &FigureData<'_>, i: usize, zone: &Zone) -> Panel {
    let name = &zone.name;
    let mut layers = Vec::new();
    if let Some(scheduled) = data.scheduled(name) {
        layers.push(Layer::Shade(scheduled, SCHEDULED));
    }
    if let Some(column) = data.column(&format!("zone.{name}.setpoint_C")) {
        let pieces = all_held(&data.line(column, Temperature));
        let k = data.shown(1.0, TemperatureDifference);
        let (below, above) = differential(data);
        layers.push(Layer::Strip(pieces.clone(), (below * k, above * k), STRIP));
        let last = column.iter().rev().find(|v| v.is_finite());
        let label = last.map_or(String::new(), |v| {
            format!("setpoint {}", data.text(*v, Temperature))
        });
        layers.push(Layer::Line(Line::new(pieces, label, INK).stroke(SETPOINT)));
    }
    // Two columns leave no room for a line that all but covers the room's own.
    let sensor = data.column(&format!("zone.{name}.sensor_C"));
    if let Some(column) = sensor.filter(|_| data.scenario.zones.len() <= ONE_COLUMN) {
        let line = Line::new(data.line(column, Temperature), "sensor", QUIET);
        layers.push(Layer::Line(line.stroke(Stroke::new(QUIET, 1.0))));
    }
    let rooms = lines(data, &data.rooms_of(zone), i);
    if rooms.is_empty() {
        layers.push(Layer::Absent("no room of this zone was recorded"));
    }
    layers.extend(rooms);
    Panel::new(name, 0.0, layers)
}

/// The worst spread beyond its limit, else the zone that is off its setpoint longest.
fn title(data: &FigureData<'_>) -> String {
    let spreads = ["zone_spread_p95", "house_spread_p95"];
    let failed = spreads
        .iter()
        .filter_map(|key| data.worst(key))
        .find(|m| m.passes() == Some(false));
    let near = data.text(1.0, TemperatureDifference);
    let off = data.worst("off_setpoint_share");
    match (failed, off) {
        (Some(m), _) => {
            let whose = match m.subject.as_str() {
                "house" => "All rooms".to_owned(),
                zone => format!("Rooms of zone {zone}"),
            };
            let limit = m.limit.as_ref().map_or(f64::NAN, |l| l.value);
            let limit = data.text(limit, m.dimension);
            format!(
                "{whose} spread {} in scheduled time, limit {limit}",
                data.judged(m)
            )
        }
        (None, Some(m)) if m.value >= TELLING => format!(
            "Zone {} is more than {near} off its setpoint for {} of its scheduled time",
            m.subject,
            data.text(m.value, Fraction)
        ),
        (None, Some(_)) => format!("Every zone keeps within {near} of its setpoint when scheduled"),
        _ => "Room temperatures by zone".to_owned(),
    }
}
