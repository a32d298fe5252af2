//! Outlet flows and openings, a strip an outlet, all on one scale.

use super::canvas::Stroke;
use super::data::{FigureData, sentence, when};
use super::marks::Key;
use super::palette::{BLUE, Colour, MUTED, QUIET, SCHEDULED, series};
use super::series::range;
use super::sheet::{Layer, Line, Panel, all_held, fit};
use super::{Figure, FigureError};
use crate::quantity::Dimension::{AirFlow, Fraction};
use crate::scenario::control::Zone;

const TOTAL_HEIGHT: f64 = 110.0;
/// Most outlets that stand in one column.
const ONE_COLUMN: usize = 10;
/// Fill for a damper's opening.
const OPEN: Colour = Colour(0xD4, 0xD4, 0xD4);

/// Draws fan and relief flow, then each outlet's flow as a filled strip with its damper's opening
/// behind it, grouped by zone. More than ten outlets stand in two columns.
///
/// # Errors
/// When no outlet's flow was recorded.
pub(crate) fn outlets(data: &FigureData<'_>) -> Result<Figure, FigureError> {
    let s = data.scenario;
    let zones = s.zones.iter().enumerate();
    let mut strips: Vec<Panel> = zones.flat_map(|(i, z)| zone(data, i, z)).collect();
    let count = strips.len();
    if count == 0 {
        let outlet = s.outlets.first().map_or("NAME", |o| o.name.as_str());
        return Err(data.lacks(&format!("outlet.{outlet}.flow_m3_s")));
    }
    for strip in &mut strips {
        strip.height = if count > 5 { 54.0 } else { 76.0 };
    }
    fit(&mut strips, "", Some((0.0, 0.0)), 2.0);

    let mut sheet = data.sheet(title(data));
    sheet.columns = if count > ONE_COLUMN { 2 } else { 1 };
    if let Some(totals) = totals(data) {
        sheet.panels.push(totals);
        sheet.lead = 1;
    }
    // The first strip of each column says what its scale is.
    for strip in strips.iter_mut().step_by(count.div_ceil(sheet.columns)) {
        strip.heading = data.axis("Outlet flow", AirFlow);
    }
    sheet.panels.append(&mut strips);
    sheet
        .key
        .push((Key::Fill(OPEN), "Opening, % (damper; right scale)".into()));
    if data.has_schedules() {
        sheet
            .key
            .push((Key::Fill(SCHEDULED), "scheduled period".into()));
    }
    sheet.notes = vec![
        "All outlets share one scale. A damper is shut at the foot of its strip and fully open at its top; a shut damper still leaks."
            .to_owned(),
    ];
    sheet.draw()
}

/// Fan and relief flow.
fn totals(data: &FigureData<'_>) -> Option<Panel> {
    let fan = data.line(data.column("fan.flow_m3_s")?, AirFlow);
    let mut layers = vec![Layer::Shade(data.any_scheduled(), SCHEDULED)];
    let relief = data
        .column("relief.flow_m3_s")
        .filter(|_| data.scenario.relief.is_some());
    if let Some(relief) = relief {
        let pieces = data.line(relief, AirFlow);
        layers.push(Layer::Area(pieces.clone(), QUIET.tint(0.5)));
        let line = Line::new(pieces, "relief", MUTED);
        layers.push(Layer::Line(line.stroke(Stroke::new(MUTED, 1.0))));
    }
    layers.push(Layer::Line(Line::new(fan, "fan", BLUE)));
    let heading = match relief {
        Some(_) => "Fan, and relief (bypass) damper",
        None => "Fan",
    };
    let panel = Panel::new(heading, TOTAL_HEIGHT, layers);
    Some(panel.fitted(&data.axis("Flow", AirFlow), Some((0.0, 1e-3)), 3.0))
}

/// The strips of one zone, in its colour.
fn zone(data: &FigureData<'_>, i: usize, zone: &Zone) -> Vec<Panel> {
    let colour = series(i);
    let scheduled = data.scheduled(&zone.name).unwrap_or_default();
    let strip = |name: &str| {
        let flow = data.column(&format!("outlet.{name}.flow_m3_s"))?;
        let pieces = data.line(flow, AirFlow);
        let mut layers = vec![Layer::Shade(scheduled.clone(), SCHEDULED)];
        if let Some(opening) = data.column(&format!("outlet.{name}.opening")) {
            let mut pieces = all_held(&data.line(opening, Fraction));
            let whole = data.shown(1.0, Fraction);
            pieces.iter_mut().flatten().for_each(|p| p.1 /= whole);
            layers.push(Layer::Backdrop(pieces, OPEN));
        }
        layers.push(Layer::Area(pieces.clone(), colour.tint(0.55)));
        let line = Line::new(pieces, "", colour);
        layers.push(Layer::Line(line.stroke(Stroke::new(colour, 1.1))));
        let mut panel = Panel::strip(name, &format!("zone {}", zone.name), 0.0, layers);
        let most = range(flow).map_or(0.0, |r| r.1);
        panel.total = vec!["at most".into(), data.text(most, AirFlow)];
        Some(panel)
    };
    let outlets = zone.outlets.iter();
    outlets
        .filter_map(|&o| strip(&data.scenario.outlets[o].name))
        .collect()
}

/// The outlet whose face velocity stands worst against its limit.
fn title(data: &FigureData<'_>) -> String {
    let Some((m, limit)) = data
        .worst("face_velocity_worst")
        .and_then(|m| Some((m, m.limit.as_ref()?)))
    else {
        return "Air to every outlet, and how far its damper is open".into();
    };
    let (value, when) = (data.judged(m), when(&m.note));
    let limit_text = data.text(limit.value, m.dimension);
    let subject = &m.subject;
    match limit.passes(m.value) {
        true => format!(
            "Every grille stays below its face velocity limit: {subject} is closest, {value} of {limit_text}"
        ),
        false => sentence(&[
            &format!("Face velocity at {subject} exceeds {limit_text}: {value}"),
            &when,
        ]),
    }
}
