//! Comfort in the rooms: setpoint met, rooms alike, swings, humidity, votes.

pub(crate) mod humidity;
mod off_setpoint;
mod spread;
mod swing;
mod vote;

use super::{Measure, Observer, steps};
use crate::engine::sample::{Sample, ZoneSample};
use crate::scenario::Scenario;

pub(crate) use humidity::Humidity;
pub(crate) use off_setpoint::OffSetpoint;
pub(crate) use vote::Votes;

use spread::Spread;
use swing::Swing;

/// The first half hour of a scheduled period is recovery, not control; our own choice.
pub(crate) const SETTLING_S: f64 = 1800.0;

/// What is judged in zones that have settled in their scheduled period: spread between rooms, and swings.
#[derive(Clone, Debug)]
pub(crate) struct Scheduled {
    settling: Settling,
    spread: Spread,
    swing: Swing,
}

impl Scheduled {
    /// Nothing seen yet.
    pub(crate) fn new(scenario: &Scenario) -> Scheduled {
        Scheduled {
            settling: Settling::new(scenario.zones.len(), scenario.run.step_s),
            spread: Spread::new(scenario),
            swing: Swing::new(scenario),
        }
    }
}

impl Observer for Scheduled {
    fn observe(&mut self, sample: &Sample, dt_s: f64) {
        if self
            .settling
            .see(&sample.zones, sample.zone_changes, dt_s, |z| z.scheduled)
        {
            self.spread.choose(&self.settling);
        }
        self.spread.see(sample, &self.settling, dt_s);
        self.swing.see(sample, &self.settling);
    }

    fn measures(&self, _end_s: f64) -> Vec<Measure> {
        let mut all = self.spread.measures();
        all.extend(self.swing.measures());
        all
    }
}

/// Which zones have been scheduled for so long that they are judged.
#[derive(Clone, Debug)]
struct Settling {
    zones: Vec<Settled>,
    step_s: f64,
    /// Scheduled steps before a zone is judged.
    recovery: u64,
    step: u64,
    changes: u64,
    /// The step at which the next zone settles, if all stay scheduled.
    next: u64,
}

#[derive(Clone, Copy, Debug, Default)]
struct Settled {
    scheduled: bool,
    /// The first step at which a scheduled zone is judged.
    from: u64,
    settled: bool,
}

impl Settling {
    fn new(zones: usize, step_s: f64) -> Settling {
        let (mut recovery, mut scheduled_s) = (0, step_s);
        while scheduled_s <= SETTLING_S {
            scheduled_s += step_s;
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

    /// Sees a step of `dt_s`, how often zones have changed, and which `counts` as scheduled; says
    /// whether it settled a zone or ended a period.
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
            let scheduled = counts(z);
            if scheduled && !kept.scheduled {
                kept.from = first + self.recovery;
            }
            kept.scheduled = scheduled;
            let settled = scheduled && self.step >= kept.from;
            changed |= settled != kept.settled;
            kept.settled = settled;
            if scheduled && !settled {
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

    /// Against the scheduled time summed from step to step, with periods that end and begin again.
    #[test]
    fn a_zone_settles_after_half_an_hour_without_a_break() {
        for step_s in [1.0, 0.2, 1.2, 10.0] {
            let mut settling = Settling::new(2, step_s);
            let (mut summed, mut was) = ([0.0; 2], [false; 2]);
            let (mut changes, mut edges, mut before) = (0, 0, [false; 2]);
            for k in 0..(9_000.0 / step_s) as u64 {
                let t_s = k as f64 * step_s;
                let scheduled = [t_s >= 100.0, (t_s % 4_000.0) > 1_500.0 && t_s != 2_000.0];
                let zones = scheduled.map(|scheduled| ZoneSample {
                    scheduled,
                    ..ZoneSample::default()
                });
                edges += u64::from(scheduled != before);
                before = scheduled;
                let changed = settling.see(&zones, edges, step_s, |z| z.scheduled);
                for (sum, scheduled) in summed.iter_mut().zip(scheduled) {
                    *sum = if scheduled { *sum + step_s } else { 0.0 };
                }
                let settled = summed.map(|sum| sum > SETTLING_S);
                assert_eq!([0, 1].map(|z| settling.is_settled(z)), settled, "{t_s} s");
                assert_eq!(changed, settled != was, "{t_s} s");
                changes += u32::from(changed);
                was = settled;
            }
            // The first zone settles once, the second twice, and two of its periods end.
            assert_eq!(changes, 5, "{step_s} s");
        }
    }
}
