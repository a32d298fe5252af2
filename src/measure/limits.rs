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
    /// Whether the limits for face velocity are mandatory.
    pub face_velocity_mandatory: bool,
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

/// A default value, SI, with its source.
type Sourced = (f64, &'static str);

const COMMON: &str = "common practice, no source";

/// Default of [`Limits::static_pa`].
pub(crate) const STATIC_PA: Sourced = (
    125.0,
    "rated external static of small fans, trade press; to last 5 s, our own choice",
);
/// Default of [`Limits::room_pressure_pa`].
pub(crate) const ROOM_PRESSURE_PA: Sourced = (
    5.0,
    "ENERGY STAR homes: 3 Pa, 5 Pa for large flows, from memory; more undercut or a transfer grille lowers it",
);
/// Default of [`Limits::starts_per_hour`].
pub(crate) const STARTS_PER_HOUR: Sourced = (6.0, COMMON);
/// Default of [`Limits::shortest_run_s`].
pub(crate) const SHORTEST_RUN_S: Sourced = (300.0, COMMON);
/// Default of [`Limits::shortest_off_s`].
pub(crate) const SHORTEST_OFF_S: Sourced = (180.0, "compressor makers' guides, 180 s timer");
/// Default of [`Limits::relief_share`].
pub(crate) const BYPASS_FRACTION: Sourced = (0.30, "our own derivation for a fixed-speed coil");
/// Default of [`Limits::supply_margin_k`].
pub(crate) const SUPPLY_MARGIN_K: Sourced = (2.0, COMMON);
/// Default of [`Limits::trips`].
pub(crate) const TRIPS: Sourced = (0.0, "a protection is not a control");
/// Default of [`Limits::outside_band`].
pub(crate) const OUTSIDE_SETPOINT: Sourced = (0.05, "5 % of time, CEN/TR 16798-2, from memory");
/// Default of [`Limits::zone_spread_k`].
pub(crate) const ZONE_SPREAD_K: Sourced =
    (1.7, "±3 °F of the thermostat, ACCA Manual RS, from memory");
/// Default of [`Limits::house_spread_k`].
pub(crate) const HOUSE_SPREAD_K: Sourced = (3.3, "6 °F room to room, ACCA Manual RS, from memory");
/// Default of [`Limits::cycle_k`].
pub(crate) const SWING_K: Sourced = (1.1, "cycles up to 15 min, ASHRAE 55, from memory");
/// Default of [`Limits::humid_share`].
pub(crate) const HUMID_FRACTION: Sourced = (0.25, "our own choice");
/// Face velocity limits of bedrooms and of other rooms, m/s: derived from a published table of velocity
/// against noise criterion for open slots.
const FACE_VELOCITY_M_S: [f64; 2] = [2.0, 2.5];
const FACE_VELOCITY_SOURCE: &str = "velocity against NC, architectural-acoustics table";

impl Default for Limits {
    fn default() -> Self {
        let at_most = |(value, source): Sourced| Limit::at_most(value, source);
        let at_least = |(value, source): Sourced| Limit::at_least(value, source);
        Limits {
            static_pa: at_most(STATIC_PA),
            room_pressure_pa: at_most(ROOM_PRESSURE_PA),
            starts_per_hour: at_most(STARTS_PER_HOUR),
            face_velocity: None,
            face_velocity_mandatory: false,
            sound_dba: None,
            sound_mandatory: false,
            shortest_run_s: at_least(SHORTEST_RUN_S),
            shortest_off_s: at_least(SHORTEST_OFF_S),
            relief_share: at_most(BYPASS_FRACTION),
            supply_margin_k: at_least(SUPPLY_MARGIN_K),
            trips: at_most(TRIPS),
            outside_band: at_most(OUTSIDE_SETPOINT),
            band_half_width_k: 1.0,
            zone_spread_k: at_most(ZONE_SPREAD_K),
            house_spread_k: at_most(HOUSE_SPREAD_K),
            cycle_k: at_most(SWING_K),
            humid_share: at_most(HUMID_FRACTION),
        }
    }
}

impl Limits {
    /// Limit for the velocity over a grille's face, m/s: the scenario's, else by use of its room.
    pub fn face_velocity(&self, is_bedroom: bool) -> Limit {
        let usual = FACE_VELOCITY_M_S[usize::from(!is_bedroom)];
        let limit = self.face_velocity.clone();
        Limit {
            mandatory: self.face_velocity_mandatory,
            ..limit.unwrap_or_else(|| Limit::at_most(usual, FACE_VELOCITY_SOURCE))
        }
    }
}
