//! Loss where a duct opens into a room: long waves turn back.
//!
//! `10 lg(1 + (a c / (π f D))²)`, ASHRAE from 2011 (RP-1314), within 0.2 dB of baffled-piston and
//! Levine-Schwinger theory where it exceeds 1 dB. It supposes plane waves in a straight rigid
//! duct; laboratories scatter by 10 dB about it. It never applies to a grille's own sound.

use super::octave::{OCTAVE_HZ, Octaves, SOUND_SPEED_M_S};

/// End reflection loss per octave, dB, of an opening of `area_m2`: take the grille face, which
/// gives less loss than the duct behind it and so errs on the loud side.
pub(crate) fn end_reflection_db(area_m2: f64) -> Octaves {
    let diameter_m = (4.0 * area_m2 / std::f64::consts::PI).sqrt();
    // Flush in a wall or ceiling.
    let a = 0.7;
    OCTAVE_HZ.map(|f| {
        let ratio = a * SOUND_SPEED_M_S / (std::f64::consts::PI * f * diameter_m);
        10.0 * (1.0 + ratio * ratio).log10()
    })
}
