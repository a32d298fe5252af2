//! A relief blade held shut by a weight.
//!
//! At rest the weight's moment balances the pressure on the blade, so the opening is a rising
//! function of the drop: a smooth step from `open_pa` to `full_pa`. Bearing friction holds the
//! blade while the drop stays within `friction_pa` of the one that balances it, and the blade
//! follows its target with a first-order lag. Its opening is state kept outside the balance, yet
//! the law handed to it is implicit in the drop at the end of the step, so it stays monotone and
//! does not chatter at any step length.

use crate::plant::network::BladeLaw;
use thiserror::Error;

/// Why a weighted blade cannot be built.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
pub enum WeightedBladeError {
    /// The opening pressures are out of order.
    #[error(
        "a weighted blade opens at {open_pa} Pa and is full at {full_pa} Pa: the first must be above zero and below the second"
    )]
    Pressures {
        /// Opening pressure, Pa.
        open_pa: f64,
        /// Full-opening pressure, Pa.
        full_pa: f64,
    },
    /// The conductances are out of order.
    #[error("a weighted blade needs a leakage above zero and below its full conductance")]
    Conductances,
    /// Friction is negative or would hold the blade open against its weight.
    #[error("a friction of {friction_pa} Pa must lie between zero and the opening pressure")]
    Friction {
        /// Friction asked for, Pa.
        friction_pa: f64,
    },
    /// The lag is negative.
    #[error("a lag of {lag_s} s cannot be negative")]
    Lag {
        /// Lag asked for, s.
        lag_s: f64,
    },
}

/// A weighted relief blade, checked.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WeightedBlade {
    open_pa: f64,
    full_pa: f64,
    leak: f64,
    full: f64,
    friction_pa: f64,
    lag_s: f64,
}

impl WeightedBlade {
    /// A blade that begins to open at `open_pa` and is open at `full_pa` (usually 1.3 to 2 times
    /// that, common practice, no source), passing `leak` and `full` m³/s per √Pa.
    ///
    /// `friction_pa` is half the hysteresis band (5 to 20 % of the opening pressure in all, common
    /// practice, no source); `lag_s` is the time constant of the blade's movement.
    ///
    /// # Errors
    /// [`WeightedBladeError`] names the figure that cannot be.
    pub fn new(
        open_pa: f64,
        full_pa: f64,
        leak: f64,
        full: f64,
        friction_pa: f64,
        lag_s: f64,
    ) -> Result<Self, WeightedBladeError> {
        if !(open_pa > 0.0 && full_pa > open_pa && full_pa.is_finite()) {
            return Err(WeightedBladeError::Pressures { open_pa, full_pa });
        }
        if !(leak > 0.0 && full > leak && full.is_finite()) {
            return Err(WeightedBladeError::Conductances);
        }
        if !(0.0..open_pa).contains(&friction_pa) {
            return Err(WeightedBladeError::Friction { friction_pa });
        }
        if !(lag_s >= 0.0 && lag_s.is_finite()) {
            return Err(WeightedBladeError::Lag { lag_s });
        }
        Ok(Self {
            open_pa,
            full_pa,
            leak,
            full,
            friction_pa,
            lag_s,
        })
    }

    /// The law over a step of `step_s` that begins with the blade at `opening` (0 to 1).
    ///
    /// Once the drop at the end of the step is known, [`BladeLaw::opening_at`] gives the opening
    /// there, which begins the next step.
    pub fn law(&self, opening: f64, step_s: f64) -> BladeLaw {
        let follow = if self.lag_s > 0.0 {
            -(-step_s / self.lag_s).exp_m1()
        } else {
            1.0
        };
        BladeLaw {
            open_pa: self.open_pa,
            full_pa: self.full_pa,
            leak: self.leak,
            full: self.full,
            friction_pa: self.friction_pa,
            opening,
            follow,
        }
    }

    /// The law of a blade at rest without friction.
    pub fn at_rest(&self) -> BladeLaw {
        BladeLaw {
            friction_pa: 0.0,
            follow: 1.0,
            ..self.law(0.0, 0.0)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn blade(friction_pa: f64, lag_s: f64) -> WeightedBlade {
        WeightedBlade::new(60.0, 100.0, 1e-4, 0.03, friction_pa, lag_s).unwrap()
    }

    #[test]
    fn friction_leaves_a_band_between_opening_and_closing() {
        let blade = blade(5.0, 0.0);
        let mut opening = 0.0;
        let mut at_80 = Vec::new();
        for drop in (0..=120).chain((0..120).rev()) {
            opening = blade.law(opening, 1.0).opening_at(f64::from(drop));
            if drop == 80 {
                at_80.push(opening);
            }
        }
        let rest = |felt: f64| blade.at_rest().opening_at(felt);
        assert!((at_80[0] - rest(75.0)).abs() < 1e-12);
        assert!((at_80[1] - rest(85.0)).abs() < 1e-12);
        assert_eq!(opening, 0.0);
    }

    #[test]
    fn the_lag_is_exact_for_a_held_drop_at_any_step() {
        let blade = blade(0.0, 3.0);
        let run = |steps: usize| {
            let mut opening = 0.0;
            for _ in 0..steps {
                opening = blade.law(opening, 6.0 / steps as f64).opening_at(90.0);
            }
            opening
        };
        let target = blade.at_rest().opening_at(90.0);
        for steps in [1, 7, 600] {
            assert!((run(steps) - target * (1.0 - (-2.0_f64).exp())).abs() < 1e-12);
        }
    }

    #[test]
    fn flow_never_falls_as_the_drop_rises() {
        let blade = blade(8.0, 2.0);
        for opening in [0.0, 0.4, 1.0] {
            let law = blade.law(opening, 1.0);
            let mut last = f64::NEG_INFINITY;
            for i in -2000..3000 {
                let (flow, slope) = law.flow_and_slope(f64::from(i) * 0.05);
                assert!(
                    flow >= last && slope >= 0.0,
                    "at {} Pa",
                    f64::from(i) * 0.05
                );
                last = flow;
            }
        }
    }

    #[test]
    fn refuses_figures_out_of_order() {
        assert!(WeightedBlade::new(100.0, 60.0, 1e-4, 0.03, 0.0, 0.0).is_err());
        assert!(WeightedBlade::new(60.0, 100.0, 0.0, 0.03, 0.0, 0.0).is_err());
        assert!(WeightedBlade::new(60.0, 100.0, 1e-4, 0.03, 60.0, 0.0).is_err());
        assert!(WeightedBlade::new(60.0, 100.0, 1e-4, 0.03, 0.0, f64::NAN).is_err());
    }
}
