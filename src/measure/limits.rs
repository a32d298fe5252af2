//! The limits that measures are judged by, with their sources.

use serde::{Deserialize, Serialize};

use crate::quantity::{Dimension, UnitSystem};

/// Which side of the limit is good.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Side {
    /// The figure must not exceed the limit.
    AtMost,
    /// The figure must not fall below the limit.
    AtLeast,
}

impl Side {
    /// In words, for sentences and files.
    pub fn words(self) -> &'static str {
        match self {
            Side::AtMost => "at most",
            Side::AtLeast => "at least",
        }
    }

    /// The sign for tables.
    pub fn sign(self) -> &'static str {
        match self {
            Side::AtMost => "≤",
            Side::AtLeast => "≥",
        }
    }
}

/// One limit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Limit {
    /// Its value, SI, same quantity as the measure.
    pub value: f64,
    /// Which side is good.
    pub side: Side,
    /// Where it comes from; the scenario's author when set in the file.
    pub source: String,
    /// Whether missing it makes the program end with status 1.
    pub mandatory: bool,
}

impl Limit {
    /// An upper limit that is not mandatory.
    pub fn at_most(value: f64, source: impl Into<String>) -> Limit {
        Limit {
            value,
            side: Side::AtMost,
            source: source.into(),
            mandatory: false,
        }
    }

    /// A lower limit that is not mandatory.
    pub fn at_least(value: f64, source: impl Into<String>) -> Limit {
        Limit {
            value,
            side: Side::AtLeast,
            source: source.into(),
            mandatory: false,
        }
    }

    /// Whether `value` is good.
    pub fn passes(&self, value: f64) -> bool {
        match self.side {
            Side::AtMost => value <= self.value,
            Side::AtLeast => value >= self.value,
        }
    }

    /// A value for people, with digits enough to differ from a limit that it misses.
    pub fn show_value(&self, value: f64, dimension: Dimension, units: UnitSystem) -> String {
        if self.passes(value) {
            units.show(value, dimension)
        } else {
            units.show_apart(value, self.value, dimension)
        }
    }
}

/// Every limit of a scenario.
#[derive(Clone, Debug, PartialEq)]
pub struct Limits {
    /// Total external static, supply minus return, Pa.
    pub static_pa: Limit,
    /// Room pressure against the return's room, either way, Pa.
    pub room_pressure_pa: Limit,
    /// Starts in any rolling hour.
    pub starts_per_hour: Limit,
    /// Velocity over a grille's face, m/s, for all rooms; `None` = by use of the room.
    pub face_velocity: Option<Limit>,
    /// Sound in every room, dB(A), where the scenario sets one; `None` = by use of the room.
    pub sound_dba: Option<f64>,
    /// Whether the rooms' limits for sound are mandatory.
    pub sound_mandatory: bool,
    /// Shortest complete run, s.
    pub shortest_run_s: Limit,
    /// Shortest complete off-time, s.
    pub shortest_off_s: Limit,
    /// Bypass fraction: coil air that the relief (bypass) damper takes, 0..1.
    pub relief_share: Limit,
    /// Supply-temperature margin: supply air against its trip while the unit runs, K.
    pub supply_margin_k: Limit,
    /// Protection trips in the run.
    pub trips: Limit,
    /// Time that a zone's sensor is off its setpoint, after the first half hour of a scheduled period, as
    /// a share of the scheduled time, 0..1.
    pub outside_band: Limit,
    /// Difference from setpoint beyond which [`Limits::outside_band`] counts, K.
    pub band_half_width_k: f64,
    /// Spread between the rooms of one zone, K (95th percentile of scheduled time).
    pub zone_spread_k: Limit,
    /// Spread between all rooms whose zones are scheduled, K (95th percentile).
    pub house_spread_k: Limit,
    /// Peak-to-peak of operative temperature within 15 minutes, K.
    pub cycle_k: Limit,
    /// Share of occupied time above 60 % relative humidity, 0..1.
    pub humid_share: Limit,
}

impl Default for Limits {
    fn default() -> Self {
        Limits {
            static_pa: Limit::at_most(
                125.0,
                "rated external static of small fans, trade press; to last 5 s, our own choice",
            ),
            room_pressure_pa: Limit::at_most(
                5.0,
                "ENERGY STAR homes, large flows, from memory; cure: more undercut or a transfer grille",
            ),
            starts_per_hour: Limit::at_most(6.0, "common practice, no source"),
            face_velocity: None,
            sound_dba: None,
            sound_mandatory: false,
            shortest_run_s: Limit::at_least(300.0, "common practice, no source"),
            shortest_off_s: Limit::at_least(180.0, "compressor makers' guides, 180 s timer"),
            relief_share: Limit::at_most(0.30, "our own derivation for a fixed-speed coil"),
            supply_margin_k: Limit::at_least(2.0, "common practice, no source"),
            trips: Limit::at_most(0.0, "a protection is not a control"),
            outside_band: Limit::at_most(0.05, "5 % of time, CEN/TR 16798-2, from memory"),
            band_half_width_k: 1.0,
            zone_spread_k: Limit::at_most(
                1.7,
                "room against thermostat, ACCA Manual RS, from memory",
            ),
            house_spread_k: Limit::at_most(3.3, "room to room, ACCA Manual RS, from memory"),
            cycle_k: Limit::at_most(1.1, "cycles up to 15 min, ASHRAE 55, from memory"),
            humid_share: Limit::at_most(0.25, "our own choice"),
        }
    }
}

/// Limit for the velocity over a grille's face by use of its room, m/s, and its source: derived from
/// a published table of velocity against noise criterion for open slots.
pub fn face_velocity_limit(is_bedroom: bool) -> Limit {
    let source = "velocity against NC, architectural-acoustics table";
    if is_bedroom {
        Limit::at_most(2.0, source)
    } else {
        Limit::at_most(2.5, source)
    }
}
