//! How loud a room is: NC ratings, and limits by use.
//!
//! NC is rated by tangency alone against the classic Beranek curves. ANSI S12.2 tries the speech
//! interference level first and differs from these curves by 1 dB in places: up to 1 NC here.

use std::fmt;

use crate::plant::sound::octave::Octaves;

/// The NC curves: number, then levels in dB per octave (Beranek; the 88 values of
/// python-acoustics 0.2.6 are the same).
pub(crate) const NC_CURVES: [(f64, Octaves); 11] = [
    (15.0, [47.0, 36.0, 29.0, 22.0, 17.0, 14.0, 12.0, 11.0]),
    (20.0, [51.0, 40.0, 33.0, 26.0, 22.0, 19.0, 17.0, 16.0]),
    (25.0, [54.0, 44.0, 37.0, 31.0, 27.0, 24.0, 22.0, 21.0]),
    (30.0, [57.0, 48.0, 41.0, 35.0, 31.0, 29.0, 28.0, 27.0]),
    (35.0, [60.0, 52.0, 45.0, 40.0, 36.0, 34.0, 33.0, 32.0]),
    (40.0, [64.0, 56.0, 50.0, 45.0, 41.0, 39.0, 38.0, 37.0]),
    (45.0, [67.0, 60.0, 54.0, 49.0, 46.0, 44.0, 43.0, 42.0]),
    (50.0, [71.0, 64.0, 58.0, 54.0, 51.0, 49.0, 48.0, 47.0]),
    (55.0, [74.0, 67.0, 62.0, 58.0, 56.0, 54.0, 53.0, 52.0]),
    (60.0, [77.0, 71.0, 67.0, 63.0, 61.0, 59.0, 58.0, 57.0]),
    (65.0, [80.0, 75.0, 71.0, 68.0, 66.0, 64.0, 63.0, 62.0]),
];

/// An NC number, never extrapolated beyond the curves.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub enum NcValue {
    /// Under the NC-15 curve in every octave.
    Below15,
    /// Between curves, before rounding.
    Within(f64),
    /// Over the NC-65 curve in some octave.
    Above65,
}

impl NcValue {
    /// Rounded up to a whole number, our own rule; none outside the curves.
    pub fn rounded_up(self) -> Option<f64> {
        match self {
            Self::Within(value) => Some((value - 1e-9).ceil()),
            Self::Below15 | Self::Above65 => None,
        }
    }
}

impl fmt::Display for NcValue {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Below15 => f.pad("<NC-15"),
            Self::Above65 => f.pad(">NC-65"),
            Self::Within(value) => f.pad(&format!("NC-{:.0}", (value - 1e-9).ceil())),
        }
    }
}

/// A rating and the octave that sets it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NcRating {
    /// The number.
    pub value: NcValue,
    /// Index of the governing octave, 0 for 63 Hz. Under NC-15 and over NC-65, the octave that
    /// stands highest against that curve.
    pub governing_band: usize,
}

/// NC by tangency of levels in dB per octave: the highest number any octave reaches, linear
/// between curves.
pub fn nc_rating(levels_db: &Octaves) -> NcRating {
    let (lowest, floor) = &NC_CURVES[0];
    let (_, ceiling) = &NC_CURVES[NC_CURVES.len() - 1];
    let over = |curve: &Octaves| highest(std::array::from_fn(|b| levels_db[b] - curve[b]));
    let (above, band) = over(ceiling);
    if above > 0.0 {
        return NcRating {
            value: NcValue::Above65,
            governing_band: band,
        };
    }
    let (above, band) = over(floor);
    if above.is_nan() || above < 0.0 {
        return NcRating {
            value: NcValue::Below15,
            governing_band: band,
        };
    }
    let number = |band: usize| {
        let level = levels_db[band];
        let mut pairs = NC_CURVES.iter().zip(&NC_CURVES[1..]);
        // Curves rise everywhere, so the last pair that starts at or below the level brackets it;
        // an octave under NC-15 has none, and another governs.
        let bracket = pairs.rfind(|((_, low), _)| level >= low[band]);
        bracket.map_or(lowest - 5.0, |((nc, low), (next, high))| {
            nc + (next - nc) * (level - low[band]) / (high[band] - low[band])
        })
    };
    let (value, governing_band) = highest(std::array::from_fn(number));
    NcRating {
        value: NcValue::Within(value),
        governing_band,
    }
}

/// Largest value and its place; the first of equals.
fn highest(values: Octaves) -> (f64, usize) {
    let first = (values[0], 0);
    values
        .into_iter()
        .zip(0..)
        .fold(first, |best, v| if v.0 > best.0 { v } else { best })
}

/// What continuous sound from building services may reach in a room, by its use.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct RoomLimit {
    /// Use of the room.
    pub room_use: &'static str,
    /// Limit, dB(A).
    pub dba: f64,
    /// Limit, NC.
    pub nc: f64,
    /// Where both come from, and how well that is known.
    pub source: &'static str,
}

const fn limit(room_use: &'static str, dba: f64, nc: f64, source: &'static str) -> RoomLimit {
    RoomLimit {
        room_use,
        dba,
        nc,
        source,
    }
}

/// Limits by use. Published tables disagree by 5 dB and more; a contract or code goes first.
pub(crate) const ROOM_LIMITS: &[RoomLimit] = &[
    limit(
        "bedroom",
        30.0,
        25.0,
        "WHO Guidelines for Community Noise 1999 (30 dB LAeq at night); classic NC design table \
         (bedrooms NC 25-35)",
    ),
    limit(
        "living room",
        35.0,
        30.0,
        "WHO Guidelines for Community Noise 1999 (dwelling, day); ASHRAE HVAC Applications, \
         living areas NC 30 (from memory)",
    ),
    limit(
        "kitchen",
        40.0,
        35.0,
        "ASHRAE HVAC Applications, residences (from memory)",
    ),
    limit(
        "bathroom",
        40.0,
        35.0,
        "ASHRAE HVAC Applications, residences (from memory)",
    ),
    limit(
        "hotel room",
        35.0,
        30.0,
        "ASHRAE table as quoted (NC 30); dB(A) from memory",
    ),
    limit(
        "private office",
        35.0,
        30.0,
        "ASHRAE HVAC Applications, offices (from memory)",
    ),
    limit(
        "open-plan office",
        45.0,
        40.0,
        "ASHRAE table as quoted (NC 40); dB(A) from memory",
    ),
    limit(
        "meeting room",
        35.0,
        30.0,
        "ASHRAE table as quoted (conference NC 30); dB(A) from memory",
    ),
    limit(
        "classroom",
        35.0,
        30.0,
        "ANSI S12.60 (35 dB(A)); ASHRAE, NC 30 (both from memory)",
    ),
    limit(
        "clinic exam room",
        40.0,
        35.0,
        "middle of FGI and ASHRAE NC 30-40 (from memory)",
    ),
    limit(
        "patient room",
        35.0,
        30.0,
        "ASHRAE HVAC Applications, hospitals (from memory)",
    ),
    limit(
        "waiting room",
        45.0,
        40.0,
        "ASHRAE HVAC Applications, public areas (from memory)",
    ),
    limit(
        "corridor",
        45.0,
        40.0,
        "ASHRAE HVAC Applications, public areas (from memory)",
    ),
];

/// The limit for a use named as in [`ROOM_LIMITS`].
pub(crate) fn room_limit(room_use: &str) -> Option<&'static RoomLimit> {
    ROOM_LIMITS.iter().find(|limit| limit.room_use == room_use)
}
