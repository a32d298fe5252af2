//! Thermostats that read nothing, the same for ever, or the wrong thing.
//!
//! These faults act on the finished reading, after lag, noise and resolution. Sun on a sensor passes
//! through the sensor's lag in truth; its minutes are short against the hours of sun.

use std::sync::Arc;

use super::{Concerns, Fault, Now, Readings, zone_name};
use crate::scenario::Scenario;

fn of_zone(zone: usize) -> Concerns {
    Concerns {
        zones: vec![zone],
        outlets: Vec::new(),
    }
}

/// No reading: the zone falls back to what its file says for a lost sensor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SensorLost {
    /// The zone.
    pub zone: usize,
}

impl Fault for SensorLost {
    fn kind(&self) -> &'static str {
        "sensor lost"
    }

    fn subject(&self, s: &Scenario) -> String {
        zone_name(s, self.zone).to_string()
    }

    fn words(&self, s: &Scenario) -> String {
        format!("sensor of {} lost", zone_name(s, self.zone))
    }

    fn concerns(&self, _s: &Scenario) -> Concerns {
        of_zone(self.zone)
    }

    fn readings(&self, _now: &Now, _held: &mut [f64], readings: &mut Readings<'_>) {
        if let Some(r) = readings.zone_c.get_mut(self.zone) {
            *r = f64::NAN;
        }
    }
}

/// A reading that never changes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SensorFrozen {
    /// The zone.
    pub zone: usize,
    /// What it reads, °C; `None` = what it read when the fault began.
    pub reading_c: Option<f64>,
}

impl Fault for SensorFrozen {
    fn kind(&self) -> &'static str {
        "sensor frozen"
    }

    fn subject(&self, s: &Scenario) -> String {
        zone_name(s, self.zone).to_string()
    }

    fn words(&self, s: &Scenario) -> String {
        let at = self
            .reading_c
            .map_or(String::new(), |c| format!(" at {c:.1} °C"));
        format!("sensor of {} frozen{at}", zone_name(s, self.zone))
    }

    fn concerns(&self, _s: &Scenario) -> Concerns {
        of_zone(self.zone)
    }

    fn slots(&self) -> usize {
        1
    }

    fn readings(&self, _now: &Now, held: &mut [f64], readings: &mut Readings<'_>) {
        if let (Some(r), Some(held)) = (readings.zone_c.get_mut(self.zone), held.first_mut()) {
            if held.is_nan() {
                *held = self.reading_c.unwrap_or(*r);
            }
            *r = *held;
        }
    }
}

/// A constant error.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SensorOffset {
    /// The zone.
    pub zone: usize,
    /// Reading less truth, K.
    pub offset_k: f64,
}

impl Fault for SensorOffset {
    fn kind(&self) -> &'static str {
        "sensor offset"
    }

    fn subject(&self, s: &Scenario) -> String {
        zone_name(s, self.zone).to_string()
    }

    fn words(&self, s: &Scenario) -> String {
        let side = if self.offset_k < 0.0 { "low" } else { "high" };
        let zone = zone_name(s, self.zone);
        format!("sensor of {zone} reads {:.1} K {side}", self.offset_k.abs())
    }

    fn concerns(&self, _s: &Scenario) -> Concerns {
        of_zone(self.zone)
    }

    fn readings(&self, _now: &Now, _held: &mut [f64], readings: &mut Readings<'_>) {
        if let Some(r) = readings.zone_c.get_mut(self.zone) {
            *r += self.offset_k;
        }
    }
}

/// Direct sun in which a sensor is off by its full rise, W/m²: a west wall of an afternoon in
/// summer sees 600 to 800; our own choice.
pub const BEAM_W_M2: f64 = 700.0;

/// When the sun shines on a sensor, and how strongly.
#[derive(Clone, Debug, PartialEq)]
pub enum SunOnSensor {
    /// Every day between two times of day, s after midnight, rising and falling as half a sine.
    Hours {
        /// Local time of day at the start of the run, s.
        start_s: f64,
        /// Begin, s after midnight.
        from_s: f64,
        /// End, s after midnight, later than the begin.
        to_s: f64,
    },
    /// As the direct sun on a façade: its share of [`BEAM_W_M2`] at even steps from the start of
    /// the run, linear between them.
    Facade {
        /// Time between entries, s.
        every_s: f64,
        /// The shares.
        shares: Arc<[f64]>,
    },
}

impl SunOnSensor {
    /// Share of the full rise at `t_s` after the start of the run.
    pub fn share(&self, t_s: f64) -> f64 {
        match self {
            SunOnSensor::Hours {
                start_s,
                from_s,
                to_s,
            } => {
                let part = ((start_s + t_s).rem_euclid(86_400.0) - from_s) / (to_s - from_s);
                if (0.0..1.0).contains(&part) {
                    (std::f64::consts::PI * part).sin()
                } else {
                    0.0
                }
            }
            SunOnSensor::Facade { every_s, shares } => {
                let at = (t_s / every_s).max(0.0);
                let share = |i: usize| shares.get(i).copied().unwrap_or(0.0);
                let (i, f) = (at as usize, at.fract());
                share(i) + f * (share(i + 1) - share(i))
            }
        }
    }
}

/// A sensor that the sun warms.
#[derive(Clone, Debug, PartialEq)]
pub struct SensorInSun {
    /// The zone.
    pub zone: usize,
    /// Error in full sun, K.
    pub rise_k: f64,
    /// When.
    pub sun: SunOnSensor,
}

impl Fault for SensorInSun {
    fn kind(&self) -> &'static str {
        "sensor in sun"
    }

    fn subject(&self, s: &Scenario) -> String {
        zone_name(s, self.zone).to_string()
    }

    fn words(&self, s: &Scenario) -> String {
        let zone = zone_name(s, self.zone);
        format!("sensor of {zone} in the sun, {:.1} K at full", self.rise_k)
    }

    fn concerns(&self, _s: &Scenario) -> Concerns {
        of_zone(self.zone)
    }

    fn readings(&self, now: &Now, _held: &mut [f64], readings: &mut Readings<'_>) {
        if let Some(r) = readings.zone_c.get_mut(self.zone) {
            *r += self.rise_k * self.sun.share(now.t_s);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn half_a_sine_every_day() {
        let sun = SunOnSensor::Hours {
            start_s: 6.0 * 3600.0,
            from_s: 15.0 * 3600.0,
            to_s: 19.0 * 3600.0,
        };
        for day in [0.0, 86_400.0] {
            let at = |hour: f64| sun.share(day + (hour - 6.0) * 3600.0);
            assert!(at(14.9) == 0.0 && at(19.0) == 0.0);
            assert!((at(17.0) - 1.0).abs() < 1e-12 && (at(16.0) - 0.5_f64.sqrt()).abs() < 1e-12);
        }
    }

    #[test]
    fn a_facade_is_linear_between_its_entries_and_dark_beyond_them() {
        let sun = SunOnSensor::Facade {
            every_s: 300.0,
            shares: Arc::from([0.0, 0.4, 0.8]),
        };
        assert!((sun.share(450.0) - 0.6).abs() < 1e-12);
        assert_eq!(sun.share(1e9), 0.0);
    }
}
