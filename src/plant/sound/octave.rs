//! Octave bands, and the sums that sound obeys: energies add, decibels never do.

/// One value for each octave band of [`OCTAVE_HZ`], lowest first.
///
/// The same array holds levels in dB (names ending in `_db`) or energies: sound power in pW, or
/// squared pressure relative to (20 µPa)², so that 0 dB is an energy of 1 in both cases.
pub(crate) type Octaves = [f64; 8];

/// Nominal mid-band frequencies, Hz.
pub(crate) const OCTAVE_HZ: Octaves = [63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0];

/// A-weighting, dB (IEC 61672-1; the table of python-acoustics 0.2.6 is the same).
#[cfg(test)]
pub const A_WEIGHT_DB: Octaves = [-26.2, -16.1, -8.6, -3.2, 0.0, 1.2, 1.0, -1.1];

/// A-weighting as energy factors, `10^(A_WEIGHT_DB / 10)`.
pub(crate) const A_WEIGHT: Octaves = [
    0.002_398_832_919_019_490_7,
    0.024_547_089_156_850_305,
    0.138_038_426_460_288_5,
    0.478_630_092_322_638_26,
    1.0,
    1.318_256_738_556_407,
    1.258_925_411_794_167_3,
    0.776_247_116_628_691_7,
];

/// Density of air for sound, kg/m³ (20 °C).
pub(crate) const AIR_DENSITY_KG_M3: f64 = 1.204;

/// Speed of sound in air, m/s (20 °C).
pub(crate) const SOUND_SPEED_M_S: f64 = 343.0;

/// Energy of a level: `10^(db / 10)`. Minus infinity gives zero.
pub(crate) fn db_to_energy(db: f64) -> f64 {
    10f64.powf(0.1 * db)
}

/// Level of an energy, dB. Zero, and anything that is not positive, gives minus infinity.
pub(crate) fn energy_to_db(energy: f64) -> f64 {
    if energy > 0.0 {
        10.0 * energy.log10()
    } else {
        f64::NEG_INFINITY
    }
}

/// Band levels to band energies.
pub(crate) fn to_energy(levels_db: &Octaves) -> Octaves {
    levels_db.map(db_to_energy)
}

/// Band energies to band levels, dB.
pub fn to_db(energy: &Octaves) -> Octaves {
    energy.map(energy_to_db)
}

// Plain loops below: they become straight vector code, where `map` and `from_fn` stay calls.

/// Band by band sum of two arrays: of energies, or of attenuations in dB.
#[inline]
pub(crate) fn add(a: &Octaves, b: &Octaves) -> Octaves {
    let mut sum = *a;
    for band in 0..8 {
        sum[band] += b[band];
    }
    sum
}

/// Every band times `factor`.
#[inline]
pub(crate) fn scaled(energy: &Octaves, factor: f64) -> Octaves {
    let mut product = *energy;
    for product in &mut product {
        *product *= factor;
    }
    product
}

/// Energy sum of levels, dB: two equal levels give 3 dB more, none gives minus infinity.
#[cfg(test)]
pub fn sum_levels_db(levels_db: impl IntoIterator<Item = f64>) -> f64 {
    energy_to_db(levels_db.into_iter().map(db_to_energy).sum())
}

/// A-weighted energy of band energies: no logarithm, so fit for every step.
#[inline]
pub(crate) fn a_energy(energy: &Octaves) -> f64 {
    // Two sums side by side, so that they share vector registers.
    let mut sums = [0.0; 2];
    for pair in 0..4 {
        sums[0] += energy[2 * pair] * A_WEIGHT[2 * pair];
        sums[1] += energy[2 * pair + 1] * A_WEIGHT[2 * pair + 1];
    }
    sums[0] + sums[1]
}

/// A-weighted level of band energies, dB(A).
pub(crate) fn dba(energy: &Octaves) -> f64 {
    energy_to_db(a_energy(energy))
}

/// Index of the octave band that holds `frequency_hz`; the ends take what lies beyond them.
pub(crate) fn band_of(frequency_hz: f64) -> usize {
    let upper_edges = OCTAVE_HZ.iter().map(|f| f * std::f64::consts::SQRT_2);
    upper_edges
        .take(OCTAVE_HZ.len() - 1)
        .filter(|&edge| frequency_hz >= edge)
        .count()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn weights_are_the_energies_of_their_decibels() {
        for (energy, db) in A_WEIGHT.iter().zip(A_WEIGHT_DB) {
            assert!((energy - db_to_energy(db)).abs() < 1e-14, "{db} dB");
        }
    }

    #[test]
    fn energies_add() {
        // Two equal sources: +10 lg 2. Ten: +10 dB.
        assert!((sum_levels_db([40.0, 40.0]) - (40.0 + 10.0 * 2f64.log10())).abs() < 1e-12);
        assert!((sum_levels_db([30.0; 10]) - 40.0).abs() < 1e-12);
        assert!((sum_levels_db([50.0, f64::NEG_INFINITY]) - 50.0).abs() < 1e-12);
        assert_eq!(sum_levels_db([]), f64::NEG_INFINITY);
    }

    #[test]
    fn decibels_and_energies_are_inverse() {
        for db in [-40.0, -3.0, 0.0, 17.5, 96.0] {
            assert!((energy_to_db(db_to_energy(db)) - db).abs() < 1e-12);
        }
        assert_eq!(energy_to_db(0.0), f64::NEG_INFINITY);
        assert_eq!(db_to_energy(f64::NEG_INFINITY), 0.0);
    }

    #[test]
    fn a_tone_falls_in_the_band_that_holds_it() {
        assert_eq!(band_of(665.0), 3); // 950 rpm and 42 blades: the 500 Hz octave
        assert_eq!(band_of(10.0), 0);
        assert_eq!(band_of(710.0), 4);
        assert_eq!(band_of(20_000.0), 7);
        for (i, f) in OCTAVE_HZ.iter().enumerate() {
            assert_eq!(band_of(*f), i);
        }
    }
}
