//! How far a zone's dampers open while it calls.

/// The damper law of a zone. A zone commands all its channels alike.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Damper {
    /// Open while the zone calls, shut otherwise.
    TwoPosition,
    /// Opens with the zone's error.
    Modulating(Modulating),
    /// Never moves: a permanently open outlet, or one shut by hand.
    Fixed {
        /// Opening, 0 to 1.
        opening: f64,
    },
}

/// Proportional or proportional-integral damper control.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Modulating {
    /// Error at which a proportional damper is fully open, K; 1 to 2 K is common practice.
    pub proportional_band_k: f64,
    /// Least opening while the zone calls, 0 to 1; 0.1 to 0.2 is common practice.
    pub minimum_open: f64,
    /// Integral time, s; 0 is proportional only.
    pub integral_s: f64,
    /// A new command nearer than this to the old one is not sent; 0.03 to 0.05 is common practice.
    pub dead_band: f64,
    /// Time between commands, s; 60 s or more is common practice. 0 commands every step.
    pub update_s: f64,
}

/// What a modulating damper's control remembers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DamperState {
    /// Opening commanded, 0 to 1.
    pub opening: f64,
    /// Opening the law asks for, before the dead band.
    law: f64,
    error_before_k: f64,
    updated_s: f64,
}

impl Default for DamperState {
    fn default() -> Self {
        Self {
            opening: 0.0,
            law: 0.0,
            error_before_k: 0.0,
            updated_s: f64::NEG_INFINITY,
        }
    }
}

/// Proportional opening: u = clamp(u_min + (e / band)(1 - u_min), u_min, 1). `error_k` is the need,
/// positive in the sense of the mode.
pub(crate) fn proportional_opening(
    error_k: f64,
    proportional_band_k: f64,
    minimum_open: f64,
) -> f64 {
    let u = minimum_open + error_k / proportional_band_k * (1.0 - minimum_open);
    if u.is_nan() {
        minimum_open
    } else {
        u.clamp(minimum_open, 1.0)
    }
}

impl Modulating {
    /// Sets the opening for a call that begins with `error_k`.
    pub fn begin(&self, error_k: f64, t_s: f64, s: &mut DamperState) {
        let law = proportional_opening(error_k, self.proportional_band_k, self.minimum_open);
        *s = DamperState {
            opening: law,
            law,
            error_before_k: error_k,
            updated_s: t_s,
        };
    }

    /// Advances to `t_s` and returns the opening. `free` is false while the unit is off, in another
    /// mode or in protection: then the opening stands still, and so does the integral.
    ///
    /// The PI law is in velocity form and limited to minimum..1, so it cannot wind up.
    #[inline]
    pub fn step(&self, error_k: f64, t_s: f64, free: bool, s: &mut DamperState) -> f64 {
        let elapsed_s = t_s - s.updated_s;
        if elapsed_s < self.update_s - 1e-6 {
            return s.opening;
        }
        s.updated_s = t_s;
        self.update(error_k, elapsed_s, free, s);
        s.opening
    }

    /// When the next command may be sent, s.
    pub(super) fn due_s(&self, s: &DamperState) -> f64 {
        s.updated_s + self.update_s
    }

    #[inline(never)]
    fn update(&self, error_k: f64, elapsed_s: f64, free: bool, s: &mut DamperState) {
        let before_k = std::mem::replace(&mut s.error_before_k, error_k);
        if !free || !error_k.is_finite() {
            return;
        }
        s.law = if self.integral_s > 0.0 && before_k.is_finite() && elapsed_s.is_finite() {
            let gain = (1.0 - self.minimum_open) / self.proportional_band_k;
            let change = gain * (error_k - before_k + error_k * elapsed_s / self.integral_s);
            (s.law + change).clamp(self.minimum_open, 1.0)
        } else {
            proportional_opening(error_k, self.proportional_band_k, self.minimum_open)
        };
        // The end stop is always worth a move: a nearly open damper whistles.
        if (s.law - s.opening).abs() >= self.dead_band || s.law == 1.0 {
            s.opening = s.law;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const P: Modulating = Modulating {
        proportional_band_k: 1.5,
        minimum_open: 0.1,
        integral_s: 0.0,
        dead_band: 0.05,
        update_s: 60.0,
    };

    #[test]
    fn updates_at_its_interval_and_skips_small_moves() {
        let mut s = DamperState::default();
        P.begin(0.6, 0.0, &mut s);
        assert!((s.opening - 0.46).abs() < 1e-12);
        assert!((P.step(1.2, 59.0, true, &mut s) - 0.46).abs() < 1e-12);
        assert!(
            (P.step(0.65, 60.0, true, &mut s) - 0.46).abs() < 1e-12,
            "0.49 is within 5 %"
        );
        assert!((P.step(1.2, 119.0, true, &mut s) - 0.46).abs() < 1e-12);
        assert!((P.step(1.2, 120.0, true, &mut s) - 0.82).abs() < 1e-12);
        assert_eq!(P.step(1.5, 180.0, true, &mut s), 1.0);
    }

    #[test]
    fn integral_grows_only_while_free_and_does_not_wind_up() {
        let pi = Modulating {
            integral_s: 600.0,
            dead_band: 0.0,
            ..P
        };
        let mut s = DamperState::default();
        pi.begin(0.5, 0.0, &mut s);
        let start = s.opening;
        for k in 1..=10 {
            pi.step(0.5, 60.0 * f64::from(k), false, &mut s);
        }
        assert_eq!(s.opening, start, "frozen");
        for k in 11..=20 {
            pi.step(0.5, 60.0 * f64::from(k), true, &mut s);
        }
        // Constant error for one integral time adds one proportional share: 0.9/1.5 * 0.5.
        assert!((s.opening - (start + 0.3)).abs() < 1e-12, "{}", s.opening);
        for k in 21..=200 {
            pi.step(0.5, 60.0 * f64::from(k), true, &mut s);
        }
        assert_eq!(s.opening, 1.0);
        // Saturated for hours, it comes off the stop with the first step of falling error.
        assert!(pi.step(0.0, 60.0 * 201.0, true, &mut s) < 1.0);
    }
}
