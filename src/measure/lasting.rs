//! The largest value that lasted: peaks shorter than a qualifying time do not count.
//!
//! A fan that is switched from rest to speed in one step, ahead of a relief that lags, shows a peak
//! of a second that no duct or ear is judged by.

use super::steps;

/// How long a pressure must last to be judged, s: our own choice, there is no standard. Reliefs and
/// fans come to rest within it; a gauge read by a person shows no less.
pub(crate) const QUALIFY_S: f64 = 5.0;

/// Greatest of the least values over every window of [`QUALIFY_S`].
#[derive(Clone, Debug)]
pub(crate) struct Lasting {
    best: f64,
    /// The last values, as a ring as long as the window; the last `count` of them follow each other.
    recent: Vec<f64>,
    next: usize,
    count: usize,
    step_s: f64,
}

impl Lasting {
    /// Nothing seen yet; `step_s` is the time between values. Steps longer than the qualifying time
    /// make it a plain maximum.
    pub(crate) fn new(step_s: f64) -> Lasting {
        // Slack, so that 5 s of 0.1 s are 50 steps and not 51.
        let steps = (QUALIFY_S / step_s - 1e-9).ceil().clamp(1.0, 1e6) as usize;
        Lasting {
            best: f64::NEG_INFINITY,
            recent: vec![0.0; steps],
            next: 0,
            count: 0,
            step_s,
        }
    }

    /// Takes the next value; whether a new largest has just lasted long enough.
    pub(crate) fn see(&mut self, value: f64) -> bool {
        if value <= self.best || value.is_nan() {
            self.count = 0;
            return false;
        }
        self.recent[self.next] = value;
        self.next += 1;
        if self.next == self.recent.len() {
            self.next = 0;
        }
        self.count += 1;
        if self.count < self.recent.len() {
            return false;
        }
        self.count = self.recent.len();
        let least = self.recent.iter().copied().fold(f64::INFINITY, f64::min);
        let higher = least > self.best;
        self.best = self.best.max(least);
        higher
    }

    /// Takes a value that stood for `dt_s`, one time between values or several.
    pub(crate) fn see_for(&mut self, value: f64, dt_s: f64) -> bool {
        // What has lasted the whole window is no news when it goes on.
        let times = steps(dt_s, self.step_s).min(self.recent.len() as u64);
        (0..times).fold(false, |higher, _| self.see(value) || higher)
    }

    /// The largest so far; NaN as long as nothing has lasted.
    pub(crate) fn value(&self) -> f64 {
        if self.best.is_finite() {
            self.best
        } else {
            f64::NAN
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against the definition: the least of every window, and the greatest of those.
    #[test]
    fn it_is_the_greatest_of_the_least_over_windows() {
        let mut seed = 7_u64;
        let mut next = || {
            // Linear congruence with Knuth's MMIX constants.
            seed = seed.wrapping_mul(6364136223846793005);
            seed = seed.wrapping_add(1442695040888963407);
            (seed >> 33) as f64 / 2f64.powi(31)
        };
        for (step_s, steps) in [(1.0, 5), (0.1, 50), (2.0, 3), (5.0, 1), (60.0, 1)] {
            let values: Vec<f64> = (0..400)
                .map(|i| next() + f64::from(i % 90) / 60.0)
                .collect();
            let mut lasting = Lasting::new(step_s);
            for (i, &v) in values.iter().enumerate() {
                lasting.see(v);
                let windows = values[..=i].windows(steps);
                let least = windows.map(|w| w.iter().copied().fold(f64::INFINITY, f64::min));
                let want = least.fold(f64::NAN, f64::max);
                assert!(
                    lasting.value() == want || (want.is_nan() && lasting.value().is_nan()),
                    "{step_s} s, {i}: {} and {want}",
                    lasting.value()
                );
            }
        }
    }
}
