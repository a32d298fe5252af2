//! What people in the rooms feel: setpoint kept, rooms alike, swings, humidity.

mod band;
mod drift;
pub mod humidity;
mod spread;

use super::{Measure, Observer, steps};
use crate::engine::sample::{Sample, ZoneSample};
use crate::scenario::Scenario;

pub use band::OutsideBand;
pub use humidity::Humidity;

use drift::Drift;
use spread::Spread;

/// The first half hour of a band is recovery, not control; our own choice.
pub const SETTLING_S: f64 = 1800.0;

/// What is judged in zones that have settled in their band: spread between rooms, and swings.
#[derive(Clone, Debug)]
pub struct InBand {
    settling: Settling,
    spread: Spread,
    drift: Drift,
}

impl InBand {
    /// Nothing seen yet.
    pub fn new(scenario: &Scenario) -> InBand {
        InBand {
            settling: Settling::new(scenario.zones.len(), scenario.run.step_s),
            spread: Spread::new(scenario),
            drift: Drift::new(scenario),
        }
    }
}

impl Observer for InBand {
    fn observe(&mut self, sample: &Sample, dt_s: f64) {
        if self
            .settling
            .see(&sample.zones, sample.zone_changes, dt_s, |z| z.in_band)
        {
            self.spread.choose(&self.settling);
        }
        self.spread.see(sample, &self.settling, dt_s);
        self.drift.see(sample, &self.settling);
    }

    fn measures(&self, _end_s: f64) -> Vec<Measure> {
        let mut all = self.spread.measures();
        all.extend(self.drift.measures());
        all
    }
}

/// Which zones have been in band for so long that they are judged.
#[derive(Clone, Debug)]
struct Settling {
    zones: Vec<Settled>,
    step_s: f64,
    /// Steps in band before a zone is judged.
    recovery: u64,
    step: u64,
    changes: u64,
    /// The step at which the next zone settles, if all stay in band.
    next: u64,
}

#[derive(Clone, Copy, Debug, Default)]
struct Settled {
    in_band: bool,
    /// The first step at which a zone in band is judged.
    from: u64,
    settled: bool,
}

impl Settling {
    fn new(zones: usize, step_s: f64) -> Settling {
        let (mut recovery, mut in_band_s) = (0, step_s);
        while in_band_s <= SETTLING_S {
            in_band_s += step_s;
            recovery += 1;
        }
        Settling {
            zones: vec![Settled::default(); zones],
            step_s,
            recovery,
            step: 0,
            changes: u64::MAX,
            next: u64::MAX,
        }
    }

    /// Sees a step of `dt_s`, how often zones have changed, and which `counts` as in band; says
    /// whether it settled a zone or ended a band.
    #[inline]
    fn see(
        &mut self,
        zones: &[ZoneSample],
        changes: u64,
        dt_s: f64,
        counts: impl Fn(&ZoneSample) -> bool,
    ) -> bool {
        let first = self.step + 1;
        self.step += steps(dt_s, self.step_s);
        if self.step < self.next && changes == self.changes {
            return false;
        }
        self.changes = changes;
        let mut changed = false;
        self.next = u64::MAX;
        for (kept, z) in self.zones.iter_mut().zip(zones) {
            let in_band = counts(z);
            if in_band && !kept.in_band {
                kept.from = first + self.recovery;
            }
            kept.in_band = in_band;
            let settled = in_band && self.step >= kept.from;
            changed |= settled != kept.settled;
            kept.settled = settled;
            if in_band && !settled {
                self.next = self.next.min(kept.from);
            }
        }
        changed
    }

    fn is_settled(&self, zone: usize) -> bool {
        self.zones.get(zone).is_some_and(|z| z.settled)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against the time in band summed from step to step, with bands that end and begin again.
    #[test]
    fn a_zone_settles_after_half_an_hour_without_a_break() {
        for step_s in [1.0, 0.2, 1.2, 10.0] {
            let mut settling = Settling::new(2, step_s);
            let (mut summed, mut was) = ([0.0; 2], [false; 2]);
            let (mut changes, mut edges, mut before) = (0, 0, [false; 2]);
            for k in 0..(9_000.0 / step_s) as u64 {
                let t_s = k as f64 * step_s;
                let in_band = [t_s >= 100.0, (t_s % 4_000.0) > 1_500.0 && t_s != 2_000.0];
                let zones = in_band.map(|in_band| ZoneSample {
                    in_band,
                    ..ZoneSample::default()
                });
                edges += u64::from(in_band != before);
                before = in_band;
                let changed = settling.see(&zones, edges, step_s, |z| z.in_band);
                for (sum, in_band) in summed.iter_mut().zip(in_band) {
                    *sum = if in_band { *sum + step_s } else { 0.0 };
                }
                let settled = summed.map(|sum| sum > SETTLING_S);
                assert_eq!([0, 1].map(|z| settling.is_settled(z)), settled, "{t_s} s");
                assert_eq!(changed, settled != was, "{t_s} s");
                changes += u32::from(changed);
                was = settled;
            }
            // The first zone settles once, the second twice, and two of its bands end.
            assert_eq!(changes, 5, "{step_s} s");
        }
    }
}
