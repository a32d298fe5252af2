//! Sound power of the fan, the same into the supply and the return side of the unit.
//!
//! In both forms `Lw = k + 10 lg Q + 20 lg p + C`, so its power is `k' Q p² c`: two products a
//! step. With flow as speed and pressure as speed squared it follows 50 lg of the speed, as the
//! fan laws have it.

use std::sync::LazyLock;

use super::octave::{Octaves, band_of, db_to_energy};

/// dB from (cfm, in. w.g.) to (m³/s, Pa) in `10 lg Q + 20 lg p`, computed from the units.
#[cfg(test)]
const FROM_CFM_INWG_DB: f64 = -14.67;

/// Specific sound power levels of a kind of fan: Lw at 1 m³/s and 1 Pa.
///
/// Published sets for one kind disagree by up to 10 dB in an octave, worth about 7 dB(A) in a
/// room; a measured spectrum is better wherever there is one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpecificLevels {
    /// Level per octave, dB re 1 pW at 1 m³/s and 1 Pa static.
    pub levels_db: Octaves,
    /// Blade frequency increment, dB: added to the one octave that holds the blade-pass tone.
    pub blade_increment_db: f64,
}

/// Forward-curved centrifugal fan, the default: `40 + 10 lg Q + 20 lg p` with octave terms
/// −2 −6 −13 −18 −19 −22 −25 −30 dB. A secondary text has the terms; the increment is from memory.
pub(crate) const FORWARD_CURVED: SpecificLevels = SpecificLevels {
    levels_db: [38.0, 34.0, 27.0, 22.0, 21.0, 18.0, 15.0, 10.0],
    blade_increment_db: 2.0,
};

/// Backward-curved centrifugal fan, octave terms −4 −6 −9 −11 −13 −16 −19 −22 dB (secondary text).
pub(crate) const BACKWARD_CURVED: SpecificLevels = SpecificLevels {
    levels_db: [36.0, 34.0, 31.0, 29.0, 27.0, 24.0, 21.0, 18.0],
    blade_increment_db: 3.0,
};

#[cfg(test)]
const fn from_imperial(mut levels_db: Octaves, blade_increment_db: f64) -> SpecificLevels {
    let mut i = 0;
    while i < levels_db.len() {
        levels_db[i] += FROM_CFM_INWG_DB;
        i += 1;
    }
    SpecificLevels {
        levels_db,
        blade_increment_db,
    }
}

/// Lower published forward-curved set (ASHRAE Handbook, 1980s and 1990s; from memory; 8 kHz
/// extrapolated here). With [`FORWARD_CURVED_UPPER`] it shows how far the method can be trusted.
#[cfg(test)]
pub const FORWARD_CURVED_LOWER: SpecificLevels =
    from_imperial([47.0, 43.0, 39.0, 33.0, 28.0, 25.0, 23.0, 20.0], 2.0);

/// Upper published forward-curved set (1970s; from memory).
#[cfg(test)]
pub const FORWARD_CURVED_UPPER: SpecificLevels =
    from_imperial([53.0, 53.0, 43.0, 36.0, 36.0, 31.0, 26.0, 21.0], 2.0);

/// What is known of the fan's sound.
#[derive(Debug, Clone, PartialEq)]
pub enum FanSpec {
    /// Octave sound power measured or published at one operating point, scaled by the fan laws.
    Measured {
        /// In-duct sound power level per octave, dB re 1 pW.
        level_db: Octaves,
        /// Flow of that point, m³/s.
        flow_m3_s: f64,
        /// Static pressure of that point, Pa.
        static_pa: f64,
        /// Static efficiency at that point over the peak efficiency, if known.
        efficiency_ratio: Option<f64>,
    },
    /// The specific sound power method (ASHRAE Handbook to the 1990s; US TM 5-805-4 eq. C-5).
    /// Made for built-up fans near their peak: ±4 dB at best on a small blower.
    Specific {
        /// The set for this kind of fan.
        levels: SpecificLevels,
        /// Blade-pass frequency, revolutions per second times blades, Hz. The octave it falls in
        /// is kept at every speed. [`DEFAULT_BLADE_PASS_HZ`] if unknown.
        blade_pass_hz: f64,
    },
}

/// Puts the blade increment in the 500 Hz octave: 950 rpm and 42 blades give 665 Hz.
pub(crate) const DEFAULT_BLADE_PASS_HZ: f64 = 500.0;

impl FanSpec {
    /// A forward-curved fan of which nothing else is known.
    pub const fn forward_curved() -> Self {
        Self::Specific {
            levels: FORWARD_CURVED,
            blade_pass_hz: DEFAULT_BLADE_PASS_HZ,
        }
    }

    /// Sound power per octave at unit [`strength`], pW.
    pub fn unit_power(&self) -> Octaves {
        match self {
            Self::Measured {
                level_db,
                flow_m3_s,
                static_pa,
                efficiency_ratio,
            } => {
                let at_point = strength(*flow_m3_s, *static_pa, *efficiency_ratio);
                level_db.map(|l| db_to_energy(l) / at_point)
            }
            Self::Specific {
                levels,
                blade_pass_hz,
            } => {
                let mut unit_db = levels.levels_db;
                unit_db[band_of(*blade_pass_hz)] += levels.blade_increment_db;
                unit_db.map(db_to_energy)
            }
        }
    }

    /// In-duct sound power per octave, pW, at an operating point (see [`strength`]).
    pub fn power(&self, flow_m3_s: f64, static_pa: f64, efficiency_ratio: Option<f64>) -> Octaves {
        let strength = strength(flow_m3_s, static_pa, efficiency_ratio);
        self.unit_power().map(|k| k * strength)
    }
}

/// `Q p² c`, which scales the fan's spectrum: flow in m³/s, static pressure in Pa, and the
/// efficiency factor where the efficiency over its peak is known.
///
/// A fan that moves no air, or makes no pressure, is silent.
#[inline]
pub(crate) fn strength(flow_m3_s: f64, static_pa: f64, efficiency_ratio: Option<f64>) -> f64 {
    let pressure = static_pa.max(0.0);
    let factor = efficiency_ratio.map_or(1.0, efficiency_factor);
    flow_m3_s.max(0.0) * pressure * pressure * factor
}

const CORRECTION_MAX_DB: f64 = 15.0;
const CORRECTION_SLOPE_DB: f64 = 34.0;
const RATIO_QUIET: f64 = 0.957;
const RATIO_LOUD: f64 = RATIO_QUIET - CORRECTION_MAX_DB / CORRECTION_SLOPE_DB;

/// Correction for running away from peak efficiency, dB: `min(15, 34 max(0, 0.957 − r))` with `r`
/// the static efficiency over its peak.
///
/// Our own fit through the steps of the published table (0 dB from 90 %, 3 from 85, 6 from 75, 9
/// from 65, 12 from 55, 15 from 50), within 0.5 dB at the middle of each.
#[cfg(test)]
pub fn efficiency_correction_db(ratio: f64) -> f64 {
    (CORRECTION_SLOPE_DB * (RATIO_QUIET - ratio).max(0.0)).min(CORRECTION_MAX_DB)
}

const ROWS: usize = 64;

static FACTORS: LazyLock<[f64; ROWS + 1]> = LazyLock::new(|| {
    std::array::from_fn(|i| db_to_energy(CORRECTION_MAX_DB * (1.0 - i as f64 / ROWS as f64)))
});

/// The efficiency correction as an energy factor, from a table (within 0.004 dB).
#[inline]
fn efficiency_factor(ratio: f64) -> f64 {
    let along = (ratio - RATIO_LOUD) / (RATIO_QUIET - RATIO_LOUD);
    let x = along.clamp(0.0, 1.0) * ROWS as f64;
    let row = (x as usize).min(ROWS - 1);
    FACTORS[row] + (FACTORS[row + 1] - FACTORS[row]) * (x - row as f64)
}

#[cfg(test)]
mod tests {
    use super::super::octave::energy_to_db;
    use super::*;

    #[test]
    fn efficiency_table_follows_the_fit() {
        for i in 0..=1000 {
            let ratio = 0.4 + 0.7 * f64::from(i) / 1000.0;
            let error = energy_to_db(efficiency_factor(ratio)) - efficiency_correction_db(ratio);
            assert!(error.abs() < 0.004, "{ratio}: {error}");
        }
        assert!((efficiency_factor(0.92) - db_to_energy(34.0 * 0.037)).abs() < 1e-3);
        assert_eq!(efficiency_factor(1.0), 1.0);
    }

    #[test]
    fn efficiency_fit_follows_the_published_steps() {
        // Middle of each range of percent of peak efficiency, as published.
        for (ratio, db) in [
            (0.95, 0.0),
            (0.87, 3.0),
            (0.795, 6.0),
            (0.695, 9.0),
            (0.595, 12.0),
            (0.52, 15.0),
        ] {
            assert!(
                (efficiency_correction_db(ratio) - db).abs() <= 0.51,
                "{ratio}"
            );
        }
    }

    #[test]
    fn imperial_sets_come_over_by_their_units() {
        // 1 m³/s is 2118.88 cfm, 1 in. w.g. is 249.09 Pa.
        let shift = 10.0 * 2118.88f64.log10() - 20.0 * 249.09f64.log10();
        assert!((FROM_CFM_INWG_DB - shift).abs() < 0.005);
    }
}
