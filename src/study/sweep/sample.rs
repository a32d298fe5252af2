//! Latin hypercube samples with a stream of random numbers for every input.
//!
//! Each input has its own generator, seeded with the seed of its kind (house or day) and its name.
//! So inputs may be added or taken away, or one seed changed, without moving the draws of the rest;
//! and every variant sees the same draws (common random numbers).

use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};
use sha2::{Digest, Sha256};

/// Generator for one named purpose under a seed.
pub(crate) fn stream(seed: u64, name: &str) -> Xoshiro256PlusPlus {
    let mut hash = Sha256::new();
    hash.update(seed.to_le_bytes());
    hash.update(name.as_bytes());
    let mut bytes = [0; 32];
    bytes.copy_from_slice(&hash.finalize());
    Xoshiro256PlusPlus::from_seed(bytes)
}

/// A number from 0 to 1, neither included.
pub(crate) fn unit(random: &mut Xoshiro256PlusPlus) -> f64 {
    // 53 bits, put into the middle of their steps.
    ((random.next_u64() >> 11) as f64 + 0.5) / (1u64 << 53) as f64
}

/// A whole number below `n`, which must not be 0.
pub(crate) fn below(random: &mut Xoshiro256PlusPlus, n: usize) -> usize {
    // Multiply and shift; its bias is below n/2⁶⁴.
    ((u128::from(random.next_u64()) * n as u128) >> 64) as usize
}

/// One column of a Latin hypercube: `n` probabilities, one in each stratum of width 1/n, in random
/// order (M. D. McKay, R. J. Beckman, W. J. Conover, Technometrics 21 (1979)).
pub(crate) fn column(n: usize, seed: u64, name: &str) -> Vec<f64> {
    let mut random = stream(seed, name);
    let mut strata: Vec<usize> = (0..n).collect();
    for i in (1..n).rev() {
        strata.swap(i, below(&mut random, i + 1));
    }
    strata
        .into_iter()
        .map(|s| (s as f64 + unit(&mut random)) / n as f64)
        .collect()
}

/// The seed of a sample's sensor noise and other run-time chance.
pub(crate) fn run_seed(day_seed: u64, sample: usize) -> u64 {
    // A TOML integer has 63 bits.
    stream(day_seed, &format!("run {sample}")).next_u64() >> 1
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn every_stratum_is_hit_once(n in 1usize..400, seed in any::<u64>(), name in "[a-z.]{1,20}") {
            let column = column(n, seed, &name);
            let mut hit = vec![0; n];
            for u in column {
                prop_assert!(u > 0.0 && u < 1.0);
                hit[((u * n as f64) as usize).min(n - 1)] += 1;
            }
            prop_assert!(hit.iter().all(|&h| h == 1));
        }
    }

    #[test]
    fn names_and_seeds_part_the_streams() {
        assert_eq!(column(20, 1, "a"), column(20, 1, "a"));
        assert_ne!(column(20, 1, "a"), column(20, 1, "b"));
        assert_ne!(column(20, 1, "a"), column(20, 2, "a"));
        assert_ne!(run_seed(1, 0), run_seed(1, 1));
    }

    #[test]
    fn columns_are_nearly_uncorrelated() {
        // The correlation of two independent columns has standard deviation 1/√(n − 1).
        let n = 400;
        let (a, b) = (column(n, 7, "one"), column(n, 7, "two"));
        let sum: f64 = a.iter().zip(&b).map(|(a, b)| (a - 0.5) * (b - 0.5)).sum();
        let r = sum / n as f64 * 12.0;
        assert!(r.abs() < 4.0 / (n as f64).sqrt(), "{r}");
    }
}
