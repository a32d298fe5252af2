//! Setpoints met.

use super::Settling;
use crate::engine::sample::{Sample, ZoneSample};
use crate::measure::{Limit, Measure, Note, Observer};
use crate::quantity::Dimension;
use crate::scenario::Scenario;

/// Time a zone's sensor is warmer than its cooling setpoint or colder than its heating setpoint by
/// more than is allowed, by zone. A unit that only cools has no cold side, and the reverse.
#[derive(Clone, Debug)]
pub(crate) struct OffSetpoint {
    limit: Limit,
    half_width_k: f64,
    zones: Vec<Watch>,
    settling: Settling,
    changes: u64,
    /// Time since the zones were last looked at: all has stayed as it was, s.
    held_s: f64,
}

#[derive(Clone, Debug)]
struct Watch {
    name: String,
    /// Whether it is judged now, and off its setpoint.
    judged: bool,
    off: bool,
    judged_s: f64,
    off_s: f64,
    furthest_k: f64,
    furthest_s: f64,
    /// An error up to this is neither off setpoint nor the furthest so far, K.
    notable_k: f64,
}

impl Watch {
    /// Time judged, and of it off setpoint, s, when all has stayed as it was for `held_s`.
    fn times_s(&self, held_s: f64) -> (f64, f64) {
        let counts = |now: bool| if now { held_s } else { 0.0 };
        let judged_s = self.judged_s + counts(self.judged);
        (judged_s, self.off_s + counts(self.off))
    }

    /// Notes a sensor so much too warm and too cold; the side that has no setpoint is NaN.
    fn note(&mut self, warm_k: f64, cold_k: f64, half_width_k: f64, t_s: f64) {
        let (warm_k, cold_k) = (warm_k.max(0.0), cold_k.max(0.0));
        let error = if warm_k >= cold_k { warm_k } else { -cold_k };
        self.off = error.abs() > half_width_k;
        if error.abs() > self.furthest_k.abs() {
            self.furthest_k = error;
            self.furthest_s = t_s;
        }
        self.notable_k = half_width_k.min(self.furthest_k.abs());
    }
}

impl OffSetpoint {
    /// Nothing seen yet.
    pub(crate) fn new(scenario: &Scenario) -> OffSetpoint {
        OffSetpoint {
            limit: scenario.limits.outside_band.clone(),
            half_width_k: scenario.limits.band_half_width_k,
            zones: scenario
                .zones
                .iter()
                .map(|z| Watch {
                    name: z.name.clone(),
                    judged: false,
                    off: false,
                    judged_s: 0.0,
                    off_s: 0.0,
                    furthest_k: 0.0,
                    furthest_s: f64::NAN,
                    notable_k: 0.0,
                })
                .collect(),
            settling: Settling::new(scenario.zones.len(), scenario.run.step_s),
            changes: u64::MAX,
            held_s: 0.0,
        }
    }

    /// Looks at every zone; what it finds is so from the beginning of this step.
    fn look(&mut self, sample: &Sample) {
        for (i, (watch, z)) in self.zones.iter_mut().zip(&sample.zones).enumerate() {
            (watch.judged_s, watch.off_s) = watch.times_s(self.held_s);
            watch.judged = self.settling.is_settled(i);
            watch.off = false;
            let (warm_k, cold_k) = (z.sensor_c - z.cooling_c, z.heating_c - z.sensor_c);
            if watch.judged && (warm_k > watch.notable_k || cold_k > watch.notable_k) {
                watch.note(warm_k, cold_k, self.half_width_k, sample.t_s);
            }
        }
        self.held_s = 0.0;
    }
}

impl Observer for OffSetpoint {
    fn observe(&mut self, sample: &Sample, dt_s: f64) {
        let changes = sample.zone_changes;
        let known = |z: &ZoneSample| z.scheduled && !z.setpoint_c.is_nan() && !z.sensor_c.is_nan();
        let settled = self.settling.see(&sample.zones, changes, dt_s, known);
        if settled || changes != self.changes {
            self.changes = changes;
            self.look(sample);
        }
        self.held_s += dt_s;
    }

    fn measures(&self, _end_s: f64) -> Vec<Measure> {
        self.zones
            .iter()
            .flat_map(|z| {
                let (judged_s, off_s) = z.times_s(self.held_s);
                let share = if judged_s > 0.0 {
                    off_s / judged_s
                } else {
                    f64::NAN
                };
                [
                    Measure::new(
                        "off_setpoint_share",
                        "scheduled time off setpoint, at the thermostat",
                        z.name.clone(),
                        share,
                        Dimension::Fraction,
                    )
                    .at(
                        z.furthest_s,
                        Note::default()
                            .value(off_s, Dimension::Time)
                            .words(" off by more than ")
                            .value(self.half_width_k, Dimension::TemperatureDifference)
                            .words("; furthest ")
                            .signed(z.furthest_k, Dimension::TemperatureDifference),
                    )
                    .judged(&self.limit),
                    Measure::new(
                        "off_setpoint",
                        "total scheduled time off setpoint, at the thermostat",
                        z.name.clone(),
                        off_s,
                        Dimension::Time,
                    )
                    .less_is_better(),
                ]
            })
            .collect()
    }
}
