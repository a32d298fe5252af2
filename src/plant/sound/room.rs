//! From sound power at an outlet to the level where people listen.

use super::octave::{OCTAVE_HZ, Octaves};

/// Listening distance where nothing is said, m (our own choice).
pub(crate) const DEFAULT_DISTANCE_M: f64 = 1.5;

/// The furnished-room relation holds no nearer than this, m (our own limit).
pub(crate) const NEAREST_M: f64 = 1.0;

/// `Lp − Lw` per octave, dB, of one outlet in an ordinary furnished room: Schultz,
/// `12 − 10 lg r − 5 lg V − 3 lg f`, ±2 dB claimed. Distances under 1 m count as 1 m.
///
/// For rooms up to about 430 m³; the constant is the published imperial 25 in metres.
pub(crate) fn furnished_room_db(distance_m: f64, volume_m3: f64) -> Octaves {
    let distance = distance_m.max(NEAREST_M);
    OCTAVE_HZ.map(|f| 12.0 - 10.0 * distance.log10() - 5.0 * volume_m3.log10() - 3.0 * f.log10())
}
