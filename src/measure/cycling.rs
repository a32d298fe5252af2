//! Starts, runs and off-times, from the instants at which the compressor starts and stops.

use std::collections::VecDeque;

use super::{Limits, Measure, Observer, Shown};
use crate::control::NoticeKind;
use crate::engine::event::{Event, What};
use crate::engine::sample::Sample;
use crate::quantity::Dimension;

/// A complete run shorter than this is a *short start*, s; our own definition, there is no standard.
pub(crate) const SHORT_RUN_S: f64 = 300.0;

/// Counts compressor cycles.
#[derive(Clone, Debug)]
pub(crate) struct Cycling {
    limits: Limits,
    running: Option<bool>,
    changed_s: f64,
    /// Whether the present interval began with an edge (the first of a record has not).
    complete: bool,
    starts: u32,
    recent: VecDeque<f64>,
    worst_hour: usize,
    worst_hour_s: f64,
    shortest_run: (f64, f64),
    shortest_off: (f64, f64),
    short_by_demand: u32,
    short_by_protection: u32,
    tripped: bool,
    trips: u32,
    lock_outs: u32,
    locked: bool,
    locked_from_s: f64,
    locked_s: f64,
    locked_by: String,
    run_s: f64,
}

impl Cycling {
    /// Nothing seen yet.
    pub(crate) fn new(limits: &Limits) -> Cycling {
        Cycling {
            limits: limits.clone(),
            running: None,
            changed_s: 0.0,
            complete: false,
            starts: 0,
            recent: VecDeque::with_capacity(64),
            worst_hour: 0,
            worst_hour_s: f64::NAN,
            shortest_run: (f64::NAN, f64::NAN),
            shortest_off: (f64::NAN, f64::NAN),
            short_by_demand: 0,
            short_by_protection: 0,
            tripped: false,
            trips: 0,
            lock_outs: 0,
            locked: false,
            locked_from_s: f64::NAN,
            locked_s: 0.0,
            locked_by: String::new(),
            run_s: 0.0,
        }
    }

    fn edge(&mut self, t_s: f64, on: bool) {
        let length = t_s - self.changed_s;
        if on {
            if self.complete {
                keep_shortest(&mut self.shortest_off, length, t_s);
            }
            self.starts += 1;
            self.recent.push_back(t_s);
            while self.recent.front().is_some_and(|&t| t <= t_s - 3600.0) {
                self.recent.pop_front();
            }
            if self.recent.len() > self.worst_hour {
                self.worst_hour = self.recent.len();
                self.worst_hour_s = t_s;
            }
            self.tripped = false;
        } else if self.complete {
            keep_shortest(&mut self.shortest_run, length, t_s);
            if length < SHORT_RUN_S {
                if self.tripped {
                    self.short_by_protection += 1;
                } else {
                    self.short_by_demand += 1;
                }
            }
        }
        self.changed_s = t_s;
        self.complete = true;
    }
}

/// A lock-out of a run, as its measures have it.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct LockedOut {
    /// When it began first, s.
    pub from_s: f64,
    /// How long it lasted, all times together, s.
    pub total_s: f64,
    /// The protection that locked the unit out first.
    pub by: String,
}

impl LockedOut {
    /// Whether it was one time up to the end of a run of `duration_s`.
    pub(crate) fn to_end(&self, duration_s: f64) -> bool {
        self.from_s + self.total_s > duration_s - 0.5
    }
}

/// Whether a run was locked out, and how long.
pub(crate) fn locked_out(measures: &[Measure]) -> Option<LockedOut> {
    let m = measures.iter().find(|m| m.key == "locked_out")?;
    Some(LockedOut {
        from_s: m.at_s.filter(|_| m.value > 0.0)?,
        total_s: m.value,
        by: m.note.to_string(),
    })
}

fn keep_shortest(kept: &mut (f64, f64), length: f64, t_s: f64) {
    if kept.0.is_nan() || length < kept.0 {
        *kept = (length, t_s);
    }
}

impl Observer for Cycling {
    fn observe(&mut self, sample: &Sample, dt_s: f64) {
        let on = sample.unit.speed > 0.0;
        // The state shown at the end of a step has held since its beginning.
        let since = sample.t_s - dt_s;
        match self.running {
            None => self.changed_s = since,
            Some(was) if was != on => self.edge(since, on),
            Some(_) => {}
        }
        self.running = Some(on);
        if on {
            self.run_s += dt_s;
        }
        if self.locked {
            self.locked_s += dt_s;
        }
    }

    fn event(&mut self, event: &Event) {
        match event.what {
            What::Control(NoticeKind::Trip) => {
                self.trips += 1;
                self.tripped = true;
            }
            What::Control(NoticeKind::LockOut) => {
                self.lock_outs += 1;
                self.locked = true;
                if self.locked_from_s.is_nan() {
                    self.locked_from_s = event.t_s;
                    self.locked_by.clone_from(&event.subject);
                }
            }
            // A person clears all of them at once.
            What::Control(NoticeKind::LockOutCleared) => self.locked = false,
            _ => {}
        }
    }

    fn measures(&self, end_s: f64) -> Vec<Measure> {
        let count =
            |key, title, n: u32| Measure::new(key, title, "house", f64::from(n), Dimension::Count);
        vec![
            count("starts", "compressor starts", self.starts)
                .less_is_better()
                .shown(Shown::Always),
            Measure::new(
                "starts_worst_hour",
                "starts in the worst rolling hour",
                "house",
                self.worst_hour as f64,
                Dimension::Count,
            )
            .at(self.worst_hour_s, "")
            .judged(&self.limits.starts_per_hour),
            Measure::new(
                "run_shortest",
                "shortest complete run",
                "house",
                self.shortest_run.0,
                Dimension::Time,
            )
            .at(self.shortest_run.1, "")
            .judged(&self.limits.shortest_run_s),
            Measure::new(
                "off_shortest",
                "shortest complete off-time",
                "house",
                self.shortest_off.0,
                Dimension::Time,
            )
            .at(self.shortest_off.1, "")
            .judged(&self.limits.shortest_off_s),
            count(
                "short_starts_demand",
                "runs under 5 min ended by demand",
                self.short_by_demand,
            ),
            count(
                "short_starts_protection",
                "runs under 5 min ended by a protection",
                self.short_by_protection,
            ),
            count("trips", "protection trips", self.trips).judged(&self.limits.trips),
            count("lock_outs", "lock-outs", self.lock_outs)
                .less_is_better()
                .shown(Shown::IfAny),
            Measure::new(
                "locked_out",
                "time locked out",
                "house",
                self.locked_s,
                Dimension::Time,
            )
            .at(self.locked_from_s, self.locked_by.as_str())
            .less_is_better()
            .shown(Shown::IfAny),
            Measure::new(
                "run_share",
                "share of the run with the compressor on",
                "house",
                self.run_s / end_s,
                Dimension::Fraction,
            ),
        ]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::sample::UnitSample;

    fn watch(pattern: &[(f64, bool)]) -> Cycling {
        let mut c = Cycling::new(&Limits::default());
        let mut t = 0.0;
        for &(length, on) in pattern {
            let mut left = length;
            while left > 0.0 {
                t += 1.0;
                left -= 1.0;
                let unit = UnitSample {
                    speed: f64::from(u8::from(on)),
                    ..Default::default()
                };
                c.observe(
                    &Sample {
                        t_s: t,
                        unit,
                        ..Default::default()
                    },
                    1.0,
                );
            }
        }
        c
    }

    #[test]
    fn first_and_last_intervals_are_not_complete() {
        let c = watch(&[(10.0, true), (400.0, false), (350.0, true), (200.0, false)]);
        assert_eq!(c.starts, 1);
        assert_eq!(c.shortest_run.0, 350.0);
        assert_eq!(c.shortest_off.0, 400.0);
        assert_eq!(c.run_s, 360.0);
    }

    #[test]
    fn a_lock_out_counts_until_a_person_clears_it() {
        use NoticeKind::{LockOut, LockOutCleared, Trip};
        let mut c = Cycling::new(&Limits::default());
        for k in 0..100 {
            let t_s = f64::from(k);
            let kinds: &[NoticeKind] = match k {
                10 => &[Trip, LockOut],
                40 => &[LockOutCleared],
                70 => &[LockOut],
                _ => &[],
            };
            for &kind in kinds {
                c.event(&Event {
                    t_s,
                    what: What::Control(kind),
                    subject: format!("guard {k}"),
                    cause: String::new(),
                    value: f64::NAN,
                    text: String::new(),
                });
            }
            let sample = Sample {
                t_s: t_s + 1.0,
                ..Default::default()
            };
            c.observe(&sample, 1.0);
        }
        let measures = c.measures(100.0);
        let found = locked_out(&measures).unwrap();
        assert_eq!((found.from_s, found.total_s), (10.0, 60.0));
        assert_eq!(found.by, "guard 10");
        assert!(!found.to_end(100.0));
        assert!(locked_out(&watch(&[(10.0, true)]).measures(10.0)).is_none());
    }

    #[test]
    fn worst_hour_rolls() {
        // Starts every 600 s: 120 s on, 480 s off, for three hours: six in any rolling hour.
        let mut pattern = vec![(480.0, false)];
        for _ in 0..18 {
            pattern.push((120.0, true));
            pattern.push((480.0, false));
        }
        let c = watch(&pattern);
        assert_eq!(c.worst_hour, 6);
        assert_eq!(c.starts, 18);
        assert_eq!(c.short_by_demand, 18);
    }
}
