//! Setpoints kept.

use super::SETTLING_S;
use crate::measure::{Limit, Measure, Observer};
use crate::quantity::Dimension;
use crate::run::sample::Sample;
use crate::scenario::Scenario;

/// Time a zone's sensor is warmer than its cooling setpoint or colder than its heating setpoint by
/// more than the band allows, by zone. A unit that only cools has no cold side, and the reverse.
#[derive(Clone, Debug)]
pub struct OutsideBand {
    limit: Limit,
    half_width_k: f64,
    zones: Vec<BandWatch>,
}

#[derive(Clone, Debug)]
struct BandWatch {
    name: String,
    in_band_s: f64,
    judged_s: f64,
    outside_s: f64,
    furthest_k: f64,
    furthest_s: f64,
    /// An error up to this is neither outside the band nor the furthest so far, K.
    notable_k: f64,
}

impl BandWatch {
    /// Notes a sensor so much too warm and too cold; the side that has no setpoint is NaN.
    fn note(&mut self, warm_k: f64, cold_k: f64, half_width_k: f64, t_s: f64, dt_s: f64) {
        let (warm_k, cold_k) = (warm_k.max(0.0), cold_k.max(0.0));
        let error = if warm_k >= cold_k { warm_k } else { -cold_k };
        if error.abs() > half_width_k {
            self.outside_s += dt_s;
        }
        if error.abs() > self.furthest_k.abs() {
            self.furthest_k = error;
            self.furthest_s = t_s;
        }
        self.notable_k = half_width_k.min(self.furthest_k.abs());
    }
}

impl OutsideBand {
    /// Nothing seen yet.
    pub fn new(scenario: &Scenario) -> OutsideBand {
        OutsideBand {
            limit: scenario.limits.outside_band.clone(),
            half_width_k: scenario.limits.band_half_width_k,
            zones: scenario
                .zones
                .iter()
                .map(|z| BandWatch {
                    name: z.name.clone(),
                    in_band_s: 0.0,
                    judged_s: 0.0,
                    outside_s: 0.0,
                    furthest_k: 0.0,
                    furthest_s: f64::NAN,
                    notable_k: 0.0,
                })
                .collect(),
        }
    }
}

impl Observer for OutsideBand {
    fn observe(&mut self, sample: &Sample, dt_s: f64) {
        for (watch, z) in self.zones.iter_mut().zip(&sample.zones) {
            if !z.in_band || (z.setpoint_c.is_nan() | z.sensor_c.is_nan()) {
                watch.in_band_s = 0.0;
                continue;
            }
            if watch.in_band_s <= SETTLING_S {
                watch.in_band_s += dt_s;
                if watch.in_band_s <= SETTLING_S {
                    continue;
                }
            }
            watch.judged_s += dt_s;
            let (warm_k, cold_k) = (z.sensor_c - z.cooling_c, z.heating_c - z.sensor_c);
            if warm_k > watch.notable_k || cold_k > watch.notable_k {
                watch.note(warm_k, cold_k, self.half_width_k, sample.t_s, dt_s);
            }
        }
    }

    fn measures(&self, _end_s: f64) -> Vec<Measure> {
        self.zones
            .iter()
            .flat_map(|z| {
                let share = if z.judged_s > 0.0 {
                    z.outside_s / z.judged_s
                } else {
                    f64::NAN
                };
                [
                    Measure::new(
                        "outside_band_share",
                        "share of band time off setpoint by more than 1 K",
                        z.name.clone(),
                        share,
                        Dimension::Fraction,
                    )
                    .at(
                        z.furthest_s,
                        format!(
                            "{:.0} min; furthest {:+.1} K",
                            z.outside_s / 60.0,
                            z.furthest_k
                        ),
                    )
                    .judged(&self.limit),
                    Measure::new(
                        "outside_band",
                        "band time off setpoint by more than 1 K",
                        z.name.clone(),
                        z.outside_s,
                        Dimension::Time,
                    ),
                ]
            })
            .collect()
    }
}
