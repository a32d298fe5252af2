//! Total external static, face velocity and bypass fraction.

use super::lasting::Lasting;
use super::{Limit, Measure, Note, Observer, Shown, call_mask, calling};
use crate::engine::sample::Sample;
use crate::quantity::Dimension;
use crate::scenario::Scenario;

/// A largest value with its instant and the zones that called.
#[derive(Clone, Copy, Debug)]
struct Worst {
    value: f64,
    t_s: f64,
    calls: u64,
}

impl Worst {
    const NONE: Worst = Worst {
        value: f64::NAN,
        t_s: f64::NAN,
        calls: 0,
    };

    fn see(&mut self, value: f64, sample: &Sample) {
        if self.value.is_nan() || value > self.value {
            self.set(value, sample);
        }
    }

    fn set(&mut self, value: f64, sample: &Sample) {
        *self = Worst {
            value,
            t_s: sample.t_s,
            calls: call_mask(sample),
        };
    }
}

fn zone_names(scenario: &Scenario) -> Vec<String> {
    scenario.zones.iter().map(|z| z.name.clone()).collect()
}

/// A peak is noted where it is so much higher than what lasted.
const SHOWN_PEAK: f64 = 1.02;

/// Watches total external static: supply minus return. What is judged lasted for
/// [`super::lasting::QUALIFY_S`]; time above the limit counts every step.
#[derive(Clone, Debug)]
pub(crate) struct Pressure {
    limit: Limit,
    zones: Vec<String>,
    lasting: Lasting,
    worst: Worst,
    peak_pa: f64,
    above_s: f64,
    stalled_s: f64,
}

impl Pressure {
    /// Nothing seen yet.
    pub(crate) fn new(scenario: &Scenario) -> Pressure {
        Pressure {
            limit: scenario.limits.static_pa.clone(),
            zones: zone_names(scenario),
            lasting: Lasting::new(scenario.run.step_s),
            worst: Worst::NONE,
            peak_pa: f64::NAN,
            above_s: 0.0,
            stalled_s: 0.0,
        }
    }
}

impl Observer for Pressure {
    fn observe(&mut self, sample: &Sample, dt_s: f64) {
        let p = sample.air.external_static_pa();
        if self.lasting.see_for(p, dt_s) {
            self.worst.set(self.lasting.value(), sample);
        }
        self.peak_pa = self.peak_pa.max(p);
        if !self.limit.passes(p) {
            self.above_s += dt_s;
        }
        if sample.air.stalled {
            self.stalled_s += dt_s;
        }
    }

    fn measures(&self, _end_s: f64) -> Vec<Measure> {
        let mut note = Note::from(calling(&self.zones, self.worst.calls));
        if self.peak_pa > SHOWN_PEAK * self.worst.value {
            note = note
                .words("; peak ")
                .value(self.peak_pa, Dimension::Pressure)
                .words(" for less than 5 s");
        }
        vec![
            Measure::new(
                "static_worst",
                "highest total external static (supply minus return)",
                "house",
                self.worst.value,
                Dimension::Pressure,
            )
            .at(self.worst.t_s, note)
            .judged(&self.limit),
            Measure::new(
                "static_above_limit",
                "time above the limit of total external static",
                "house",
                self.above_s,
                Dimension::Time,
            )
            .less_is_better(),
            Measure::new(
                "fan_stalled",
                "time the fan ran stalled, left of its peak",
                "house",
                self.stalled_s,
                Dimension::Time,
            )
            .less_is_better(),
        ]
    }
}

/// Watches the velocity over every grille's face.
#[derive(Clone, Debug)]
pub(crate) struct FaceVelocity {
    zones: Vec<String>,
    outlets: Vec<Face>,
    changes: u64,
    any_above: bool,
}

/// The face of one outlet's grille.
#[derive(Clone, Debug)]
struct Face {
    name: String,
    limit: Limit,
    worst: Worst,
    above: bool,
    above_s: f64,
}

impl FaceVelocity {
    /// Nothing seen yet.
    pub(crate) fn new(scenario: &Scenario) -> FaceVelocity {
        let outlets = scenario
            .outlets
            .iter()
            .map(|o| {
                let bedroom = scenario.room_uses[o.room].is_bedroom();
                let limit = scenario.limits.face_velocity(bedroom);
                Face {
                    name: o.name.clone(),
                    limit,
                    worst: Worst::NONE,
                    above: false,
                    above_s: 0.0,
                }
            })
            .collect();
        FaceVelocity {
            zones: zone_names(scenario),
            outlets,
            changes: u64::MAX,
            any_above: false,
        }
    }
}

impl Observer for FaceVelocity {
    fn observe(&mut self, sample: &Sample, dt_s: f64) {
        // Whenever a flow changes, so does the sound.
        if sample.sound.changes != self.changes {
            self.changes = sample.sound.changes;
            self.any_above = false;
            for (face, o) in self.outlets.iter_mut().zip(&sample.outlets) {
                face.worst.see(o.face_velocity_m_s, sample);
                face.above = !face.limit.passes(o.face_velocity_m_s);
                self.any_above |= face.above;
            }
        }
        if self.any_above {
            for face in self.outlets.iter_mut().filter(|face| face.above) {
                face.above_s += dt_s;
            }
        }
    }

    fn measures(&self, _end_s: f64) -> Vec<Measure> {
        self.outlets
            .iter()
            .map(|face| {
                let mut note = Note::from(calling(&self.zones, face.worst.calls));
                if face.above_s > 0.0 {
                    let above = note.words("; ").value(face.above_s, Dimension::Time);
                    note = above.words(" above the limit");
                }
                Measure::new(
                    "face_velocity_worst",
                    "highest face velocity at the grille",
                    face.name.clone(),
                    face.worst.value,
                    Dimension::Velocity,
                )
                .at(face.worst.t_s, note)
                .judged(&face.limit)
            })
            .collect()
    }
}

/// Watches the bypass fraction: coil air that goes round through the relief while the unit runs.
#[derive(Clone, Debug)]
pub(crate) struct BypassFraction {
    limit: Limit,
    zones: Vec<String>,
    fitted: bool,
    worst: Worst,
    relief_m3: f64,
    fan_m3: f64,
}

impl BypassFraction {
    /// Nothing seen yet.
    pub(crate) fn new(scenario: &Scenario) -> BypassFraction {
        BypassFraction {
            limit: scenario.limits.relief_share.clone(),
            zones: zone_names(scenario),
            fitted: scenario.relief.is_some(),
            worst: Worst::NONE,
            relief_m3: 0.0,
            fan_m3: 0.0,
        }
    }
}

impl Observer for BypassFraction {
    fn observe(&mut self, sample: &Sample, dt_s: f64) {
        if !self.fitted || sample.unit.speed <= 0.0 || sample.air.fan_flow_m3_s <= 0.0 {
            return;
        }
        self.worst.see(
            sample.air.relief_flow_m3_s / sample.air.fan_flow_m3_s,
            sample,
        );
        self.relief_m3 += sample.air.relief_flow_m3_s * dt_s;
        self.fan_m3 += sample.air.fan_flow_m3_s * dt_s;
    }

    fn measures(&self, _end_s: f64) -> Vec<Measure> {
        if !self.fitted {
            return Vec::new();
        }
        vec![
            Measure::new(
                "bypass_fraction_worst",
                "highest bypass fraction (relief air over coil air)",
                "house",
                self.worst.value,
                Dimension::Fraction,
            )
            .at(self.worst.t_s, calling(&self.zones, self.worst.calls))
            .judged(&self.limit),
            Measure::new(
                "bypass_fraction_mean",
                "mean bypass fraction while the unit runs",
                "house",
                self.relief_m3 / self.fan_m3,
                Dimension::Fraction,
            )
            .less_is_better()
            .shown(Shown::Always),
        ]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::sample::AirSample;

    fn pressed(seconds: &[(f64, f64)]) -> Vec<Measure> {
        let scenario = Scenario::embedded("family-house").unwrap();
        let mut watch = Pressure::new(&scenario);
        for (i, &(supply, back)) in seconds.iter().enumerate() {
            let air = AirSample {
                supply_static_pa: supply,
                return_static_pa: back,
                ..Default::default()
            };
            let sample = Sample {
                t_s: i as f64 + 1.0,
                air,
                ..Default::default()
            };
            watch.observe(&sample, 1.0);
        }
        watch.measures(seconds.len() as f64)
    }

    /// A house held far below outdoors by its return: 100 Pa in supply, 30 Pa below in return, rated 125 Pa.
    #[test]
    fn static_counts_the_return_static() {
        let m = pressed(&[(100.0, -20.0); 30]);
        assert_eq!((m[0].value, m[0].passes()), (120.0, Some(true)));
        let m = pressed(&[(100.0, -30.0); 30]);
        assert_eq!((m[0].value, m[0].passes()), (130.0, Some(false)));
        assert_eq!(m[1].value, 30.0);
    }

    /// One second of 148 Pa, as when a fan starts ahead of its relief, exceeds no limit; five seconds do.
    #[test]
    fn a_peak_of_a_second_is_noted_and_not_judged() {
        let mut day = [(60.0, -20.0); 40];
        day[10].0 = 128.0;
        let m = pressed(&day);
        assert_eq!((m[0].value, m[0].passes()), (80.0, Some(true)));
        assert!(
            m[0].note
                .to_string()
                .ends_with("peak 148 Pa for less than 5 s"),
            "{}",
            m[0].note
        );
        assert_eq!(m[1].value, 1.0);
        day[10..15].fill((128.0, -20.0));
        let m = pressed(&day);
        assert_eq!((m[0].value, m[0].at_s), (148.0, Some(15.0)));
        assert_eq!(m[0].passes(), Some(false));
        assert!(!m[0].note.to_string().contains("peak"), "{}", m[0].note);
    }
}
