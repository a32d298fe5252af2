//! `[limits]`: what a run is judged by, and which limits are mandatory.

use super::diagnostic::Diagnostic;
use super::reader::{Name, Section};
use crate::measure::limits::{Limit, Limits};

const AUTHOR: &str = "set in the scenario";

type Pick = fn(&mut Limits) -> &mut Limit;

/// The limits that hold for the whole system, by key.
const ENTRIES: [(&str, Pick); 13] = [
    ("external_static", |l| &mut l.static_pa),
    ("room_pressure", |l| &mut l.room_pressure_pa),
    ("starts_per_hour", |l| &mut l.starts_per_hour),
    ("shortest_run", |l| &mut l.shortest_run_s),
    ("shortest_off", |l| &mut l.shortest_off_s),
    ("bypass_fraction", |l| &mut l.relief_share),
    ("supply_margin", |l| &mut l.supply_margin_k),
    ("trips", |l| &mut l.trips),
    ("outside_setpoint", |l| &mut l.outside_band),
    ("zone_spread", |l| &mut l.zone_spread_k),
    ("house_spread", |l| &mut l.house_spread_k),
    ("swing", |l| &mut l.cycle_k),
    ("humid_fraction", |l| &mut l.humid_share),
];

pub(super) fn limits(top: &Section<'_>) -> Result<Limits, Diagnostic> {
    let s = top.table("limits");
    let mut limits = Limits::default();
    for (key, pick) in ENTRIES {
        let limit = pick(&mut limits);
        limit.value = s.get(key)?;
        limit.source = if s.has(key) { AUTHOR } else { s.source(key)? }.to_string();
    }
    let own: Option<f64> = s.opt("face_velocity")?;
    limits.face_velocity = own.map(|v| Limit::at_most(v, AUTHOR));
    limits.sound_dba = s.opt("sound")?;
    limits.band_half_width_k = s.get("setpoint_tolerance")?;
    for name in s.opt::<Vec<Name>>("mandatory")?.unwrap_or_default() {
        match (name.as_str(), ENTRIES.iter().find(|e| e.0 == name.text)) {
            (_, Some((_, pick))) => pick(&mut limits).mandatory = true,
            ("face_velocity", _) => limits.face_velocity_mandatory = true,
            _ => limits.sound_mandatory = true,
        }
    }
    Ok(limits)
}
