//! Swings of temperature.

use super::Settling;
use crate::engine::sample::Sample;
use crate::measure::thermal_comfort::SlidingRange;
use crate::measure::{Limit, Measure};
use crate::quantity::Dimension;
use crate::scenario::Scenario;

/// Largest change of operative temperature within a quarter of an hour, by zone's own room.
///
/// ASHRAE 55 (from memory) allows 1.1 K for cycles of up to 15 minutes. Sampled every 30 s, which a
/// room's air cannot outrun by more than a few hundredths of a kelvin.
#[derive(Clone, Debug)]
pub(super) struct Swing {
    limit: Limit,
    rooms: Vec<(String, usize, usize, SlidingRange, f64, f64)>,
    next_s: f64,
}

const WINDOW_S: f64 = 900.0;
const SAMPLE_S: f64 = 30.0;

impl Swing {
    /// Nothing seen yet.
    pub(super) fn new(scenario: &Scenario) -> Swing {
        Swing {
            limit: scenario.limits.cycle_k.clone(),
            rooms: scenario
                .zones
                .iter()
                .enumerate()
                .map(|(z, zone)| {
                    (
                        zone.name.clone(),
                        z,
                        zone.room,
                        SlidingRange::new(WINDOW_S, SAMPLE_S),
                        0.0,
                        f64::NAN,
                    )
                })
                .collect(),
            next_s: f64::NEG_INFINITY,
        }
    }

    pub(super) fn see(&mut self, sample: &Sample, settling: &Settling) {
        if sample.t_s < self.next_s - 1e-6 {
            return;
        }
        // By the clock, so that it does not matter how the run is stepped in between.
        self.next_s = SAMPLE_S * ((sample.t_s / SAMPLE_S + 1e-9).floor() + 1.0);
        for (_, z, room, window, worst, worst_s) in &mut self.rooms {
            if !settling.is_settled(*z) {
                window.clear();
                continue;
            }
            let swing = window.push(sample.t_s, sample.rooms[*room].operative_c());
            if swing > *worst {
                *worst = swing;
                *worst_s = sample.t_s;
            }
        }
    }

    pub(super) fn measures(&self) -> Vec<Measure> {
        self.rooms
            .iter()
            .map(|(name, _, _, _, worst, worst_s)| {
                Measure::new(
                    "swing_15min",
                    "largest swing of operative temperature in 15 min",
                    name.clone(),
                    if worst_s.is_finite() {
                        *worst
                    } else {
                        f64::NAN
                    },
                    Dimension::TemperatureDifference,
                )
                .at(*worst_s, "")
                .judged(&self.limit)
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A triangle of 2 K peak to peak and 20 min period swings 1.5 K in any 15 min at most … except
    /// across a peak, where the window holds it whole: hand calculation.
    #[test]
    fn window_finds_the_swing_of_a_ramp() {
        let mut w = SlidingRange::new(WINDOW_S, SAMPLE_S);
        let mut worst = 0.0_f64;
        for k in 0..240 {
            let t = f64::from(k) * 30.0;
            worst = worst.max(w.push(t, t / 1800.0));
        }
        assert!((worst - 0.5).abs() < 1e-9, "{worst}");
    }
}
