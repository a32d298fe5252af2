//! Supply and entering air temperature against the unit's protections.

use super::canvas::Stroke;
use super::data::{FigureData, capital, sentence, when};
use super::marks::Key;
use super::palette::{BLUE, LIMIT, MUTED, ORANGE, QUIET, SCHEDULED, SKY_BLUE};
use super::series::range;
use super::sheet::{LIMIT_LINE, Layer, Line, Panel};
use super::{Figure, FigureError};
use crate::control::NoticeKind;
use crate::control::protection::Sense;
use crate::quantity::Dimension::{Temperature, TemperatureDifference};

const HEIGHT: f64 = 420.0;
/// A protection this far from anything seen is named in a note instead of squeezing the scale, K.
const NEAR_K: f64 = 12.0;
const STILL: Stroke = Stroke::new(QUIET.tint(0.8), 1.0);
const RE_ENABLE: Stroke = Stroke::new(MUTED, 1.2).dashed(2.0, 3.0);

/// Draws supply air and air entering the coil, the coil's surface if recorded, trip and re-enable
/// temperatures with their sources, and trips as numbered flags told below.
///
/// # Errors
/// When `unit.supply_C` was not recorded.
pub(crate) fn supply(data: &FigureData<'_>) -> Result<Figure, FigureError> {
    let column = data.need("unit.supply_C")?;
    let scheduled = data.any_scheduled();
    let mut layers = vec![
        Layer::Shade(scheduled.clone(), SCHEDULED),
        Layer::Line(Line::new(data.line(column, Temperature), "", QUIET).stroke(STILL)),
    ];
    let mut sheet = data.sheet(title(data));
    let seen = range(column);
    for (name, value, trip, origin) in protections(data) {
        let near = seen.is_some_and(|s| (s.0 - NEAR_K..=s.1 + NEAR_K).contains(&value));
        let text = format!("{name} {}", data.text(value, Temperature));
        let off = if near { "" } else { " (off the scale)" };
        let whose = format!("protection \"{origin}\"");
        sheet
            .notes
            .push(format!("{}{off}: {whose}.", capital(&text)));
        if near {
            let stroke = if trip { LIMIT_LINE } else { RE_ENABLE };
            layers.push(Layer::Limit(
                data.shown(value, Temperature),
                text,
                stroke,
                Vec::new(),
            ));
        }
    }
    for (column, name, colour, marker) in [
        ("unit.surface_C", "coil surface", SKY_BLUE, 2),
        ("unit.entering_C", "entering coil", ORANGE, 1),
        ("unit.supply_C", "supply", BLUE, 0),
    ] {
        if let Some(values) = data.column(column) {
            let pieces = data.line(&data.while_fan_runs(values), Temperature);
            layers.push(Layer::Line(Line::new(pieces, name, colour).marked(marker)));
        }
    }
    let (trips, locked) = (data.times(NoticeKind::Trip), data.locked_out());
    let mut key = Vec::new();
    if data.column("fan.flow_m3_s").is_some() {
        key.push((
            Key::Line(STILL),
            "supply sensor while the fan is off".into(),
        ));
    }
    if trips.is_empty() {
        sheet.notes.push("No protection tripped.".into());
    } else {
        key.push((Key::Flag, "trip, told below".into()));
    }
    if !locked.is_empty() {
        key.push((Key::Fill(LIMIT), "locked out".into()));
    }
    if !scheduled.is_empty() {
        key.push((Key::Fill(SCHEDULED), "any zone scheduled".into()));
    }
    layers.push(Layer::LockOuts(locked));
    layers.push(Layer::Flags(trips));
    sheet.notes.extend(data.trip_notes());
    let mut panel = Panel::new("", HEIGHT, layers);
    panel.key = key;
    sheet
        .panels
        .push(panel.fitted(&data.axis("Air temperature", Temperature), None, 7.0));
    sheet.draw()
}

/// Protections of the modes that ran, since a line for the other would squeeze the scale: name, value,
/// whether it is a trip, and whose it is.
fn protections<'a>(data: &FigureData<'a>) -> Vec<(&'static str, f64, bool, &'a str)> {
    let (mode, speed) = (data.column("unit.heating"), data.column("unit.speed"));
    let ran = |heating: bool| {
        let mut rows = mode
            .unwrap_or_default()
            .iter()
            .zip(speed.unwrap_or_default());
        rows.any(|(m, s)| *s > 0.0 && (*m > 0.5) == heating)
    };
    let high = data.protection(Sense::SupplyHigh).filter(|_| ran(true));
    let low = data
        .protection(Sense::SupplyLow)
        .filter(|_| ran(false) || high.is_none());
    let mut all = Vec::new();
    if let Some(p) = high {
        all.push(("high trip", p.trip, true, p.name.as_str()));
        all.push(("high re-enable", p.reset, false, p.name.as_str()));
    }
    if let Some(p) = low {
        all.push(("low re-enable", p.reset, false, p.name.as_str()));
        all.push(("low trip", p.trip, true, p.name.as_str()));
    }
    all.retain(|p| p.1.is_finite());
    all
}

fn title(data: &FigureData<'_>) -> String {
    let trips = data.count("trips", NoticeKind::Trip);
    let first = data.notices(NoticeKind::Trip).next();
    match (first, data.measure("supply_margin_minimum")) {
        (Some(trip), _) if trips > 1.0 => {
            format!("The unit trips {trips:.0} times, first by {}", trip.subject)
        }
        (Some(trip), _) => format!(
            "The unit trips once, at {}, by {}",
            data.clock(trip.t_s),
            trip.subject
        ),
        (None, Some(m)) => {
            let text = if m.value < 0.0 {
                let beyond = data.text(-m.value, TemperatureDifference);
                format!("Supply air goes {beyond} beyond its trip without tripping")
            } else {
                let margin = data.judged(m);
                format!("Supply air keeps {margin} from its trip at the closest")
            };
            let asked = m.limit.as_ref().filter(|l| !l.passes(m.value));
            let asked = asked.map_or(String::new(), |l| {
                format!(
                    "(at least {} is asked)",
                    data.text(l.value, TemperatureDifference)
                )
            });
            sentence(&[&text, &asked, &when(&m.note)])
        }
        _ => "Supply and entering air temperature".into(),
    }
}
