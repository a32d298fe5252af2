//! `[limits]`: what a run is judged by, and which limits are mandatory.

use super::diagnostic::Diagnostic;
use super::reader::Section;
use crate::measure::limits::{Limit, Limits};
use crate::quantity::{self, Dimension, UnitSystem};

const AUTHOR: &str = "set in the scenario";

type Entry = (
    &'static str,
    Dimension,
    (f64, f64),
    fn(&mut Limits) -> &mut Limit,
);

/// Every limit with its key, dimension and allowed range. One entry a limit.
const ENTRIES: [Entry; 13] = [
    ("static", Dimension::Pressure, (5.0, 2000.0), |l| {
        &mut l.static_pa
    }),
    ("room_pressure", Dimension::Pressure, (0.5, 200.0), |l| {
        &mut l.room_pressure_pa
    }),
    ("starts_per_hour", Dimension::Count, (0.0, 60.0), |l| {
        &mut l.starts_per_hour
    }),
    ("shortest_run", Dimension::Time, (0.0, 7200.0), |l| {
        &mut l.shortest_run_s
    }),
    ("shortest_off", Dimension::Time, (0.0, 7200.0), |l| {
        &mut l.shortest_off_s
    }),
    ("relief_share", Dimension::Fraction, (0.0, 1.0), |l| {
        &mut l.relief_share
    }),
    (
        "supply_margin",
        Dimension::TemperatureDifference,
        (0.0, 30.0),
        |l| &mut l.supply_margin_k,
    ),
    ("trips", Dimension::Count, (0.0, 1000.0), |l| &mut l.trips),
    ("outside_band", Dimension::Fraction, (0.0, 1.0), |l| {
        &mut l.outside_band
    }),
    (
        "zone_spread",
        Dimension::TemperatureDifference,
        (0.1, 20.0),
        |l| &mut l.zone_spread_k,
    ),
    (
        "house_spread",
        Dimension::TemperatureDifference,
        (0.1, 20.0),
        |l| &mut l.house_spread_k,
    ),
    (
        "swing",
        Dimension::TemperatureDifference,
        (0.1, 20.0),
        |l| &mut l.cycle_k,
    ),
    ("humid_share", Dimension::Fraction, (0.0, 1.0), |l| {
        &mut l.humid_share
    }),
];

pub(super) fn limits(top: &Section<'_>) -> Result<Limits, Diagnostic> {
    let s = top.table("limits")?;
    let mut limits = Limits::default();
    for (key, dimension, (least, most), pick) in ENTRIES {
        let written = if dimension == Dimension::Count {
            s.number(key).within(least, most).optional()?
        } else {
            s.quantity(key, dimension).within(least, most).optional()?
        };
        let limit = pick(&mut limits);
        match written {
            Some(value) => {
                limit.value = value;
                limit.source = AUTHOR.to_string();
            }
            None => s.note(
                &format!("limits.{key}"),
                &quantity::display_full(limit.value, dimension, UnitSystem::Si),
                &limit.source,
            ),
        }
    }
    if let Some(v) = s
        .quantity("face_velocity", Dimension::Velocity)
        .within(0.2, 20.0)
        .optional()?
    {
        limits.face_velocity = Some(Limit::at_most(v, AUTHOR));
    }
    limits.sound_dba = s
        .quantity("sound", Dimension::SoundLevel)
        .within(10.0, 90.0)
        .optional()?;
    limits.band_half_width_k = s
        .quantity("band_half_width", Dimension::TemperatureDifference)
        .within(0.1, 5.0)
        .or(
            1.0,
            "half-width of a comfort category band, EN 16798-1, from memory",
        )?;
    for name in s.names("mandatory").optional()?.unwrap_or_default() {
        match ENTRIES.iter().find(|e| e.0 == name.text) {
            Some((_, _, _, pick)) => pick(&mut limits).mandatory = true,
            None if name.text == "sound" => limits.sound_mandatory = true,
            None => {
                let known = ENTRIES.iter().map(|e| e.0).chain(["sound"]);
                return Err(name.unknown("limit", known));
            }
        }
    }
    s.finish()?;
    Ok(limits)
}
