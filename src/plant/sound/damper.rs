//! Sound that a damper makes of its own pressure drop.
//!
//! The Reynolds and Bledsoe algorithm (as in the ASHRAE handbooks), rewritten: its blockage
//! factor is `1 / (1 + √C)` with C the loss coefficient, which makes its constricted velocity
//! exactly the duct velocity plus the jet velocity. That form serves every damper; the published
//! single-blade fit passes through zero at C near 1850 and would give infinite sound.
//! Source data are commercial dampers: under 3 m/s or 250 mm it is extrapolation, ±5 dB, and
//! whistles are outside it.

use super::octave::{AIR_DENSITY_KG_M3, OCTAVE_HZ, Octaves, db_to_energy, energy_to_db};

/// Velocity at which the whole-power forms meet the published exponents, m/s.
const MATCH_M_S: f64 = 8.0;

/// Under this blockage factor the sound shrinks in step with it (our own choice).
const SHUT_BLOCKAGE: f64 = 0.05;

/// Constricted velocity in a damper, m/s: duct velocity plus the jet of its own drop.
///
/// `velocity_m_s` is flow over duct area, `drop_pa` the loss across the damper alone.
#[inline]
pub(crate) fn constricted_velocity(velocity_m_s: f64, drop_pa: f64) -> f64 {
    velocity_m_s + (drop_pa.max(0.0) * (2.0 / AIR_DENSITY_KG_M3)).sqrt()
}

/// Size of a damper where it sits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DamperSize {
    /// Duct area, m².
    pub area_m2: f64,
    /// Duct height across the blade axis, or the diameter, m.
    pub height_m: f64,
}

impl DamperSize {
    /// A damper in a round duct.
    pub fn round(diameter_m: f64) -> Self {
        let area_m2 = std::f64::consts::FRAC_PI_4 * diameter_m * diameter_m;
        Self {
            area_m2,
            height_m: diameter_m,
        }
    }

    /// Sound power level per octave, dB re 1 pW, with the published exponents.
    ///
    /// Minus infinity with no flow. Below a blockage factor of 0.05 the power is cut in
    /// proportion: the published form keeps the full duct as source and would leave a shut damper
    /// loud.
    pub fn level_db(&self, flow_m3_s: f64, drop_pa: f64) -> Octaves {
        let velocity = flow_m3_s.abs() / self.area_m2;
        if velocity.is_nan() || velocity <= 0.0 {
            return [f64::NEG_INFINITY; 8];
        }
        let fast = constricted_velocity(velocity, drop_pa);
        let shutting_db = energy_to_db((velocity / fast / SHUT_BLOCKAGE).min(1.0));
        OCTAVE_HZ.map(|f| {
            let strouhal = (f * self.height_m / fast).log10();
            let spectrum_db = (-13.1 - 10.7 * strouhal).min(22.1 - 35.9 * strouhal);
            spectrum_db + self.size_db(f) + 50.0 * fast.log10() + shutting_db
        })
    }

    fn size_db(&self, frequency_hz: f64) -> f64 {
        10.0 * frequency_hz.log10() + 10.0 * (self.area_m2 * self.height_m).log10()
    }
}

/// A damper with everything that does not change worked out: gives its energy without logarithms.
///
/// The exponents 6.07 and 8.59 of velocity become 6 and 8.5, matched at 8 m/s: at most 0.42 and
/// 0.54 dB from [`DamperSize::level_db`] between 2 and 32 m/s.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct DamperSource {
    per_area: f64,
    low: Octaves,
    high: Octaves,
}

impl DamperSource {
    /// The damper's own sound power, pW.
    pub(crate) fn new(size: &DamperSize) -> Self {
        let at_match = |constant: f64, slope: f64, power: f64| {
            OCTAVE_HZ.map(|f| {
                let level_db = constant - slope * (f * size.height_m / MATCH_M_S).log10()
                    + size.size_db(f)
                    + 50.0 * MATCH_M_S.log10();
                db_to_energy(level_db) / MATCH_M_S.powf(power)
            })
        };
        Self {
            per_area: size.area_m2.recip(),
            low: at_match(-13.1, 10.7, 6.0),
            high: at_match(22.1, 35.9, 8.5),
        }
    }

    /// The same damper heard through `gain`, energy received per energy sent.
    pub(crate) fn through(mut self, gain: &Octaves) -> Self {
        for (band, g) in gain.iter().enumerate() {
            self.low[band] *= g;
            self.high[band] *= g;
        }
        self
    }

    /// Its energy, with `flow_m3_s` through it and `drop_pa` across it alone.
    #[inline]
    pub(crate) fn energy(&self, flow_m3_s: f64, drop_pa: f64) -> Octaves {
        let velocity = flow_m3_s.abs() * self.per_area;
        if velocity.is_nan() || velocity <= 0.0 {
            return [0.0; 8];
        }
        let fast = constricted_velocity(velocity, drop_pa);
        let shutting = (velocity / (SHUT_BLOCKAGE * fast)).min(1.0);
        let square = fast * fast;
        let sixth = square * square * square * shutting;
        let eighth_half = sixth * square * fast.sqrt();
        let mut energy = [0.0; 8];
        for (band, energy) in energy.iter_mut().enumerate() {
            let (low, high) = (self.low[band] * sixth, self.high[band] * eighth_half);
            // Not f64::min, whose care for NaN costs three instructions more.
            *energy = if low < high { low } else { high };
        }
        energy
    }
}
