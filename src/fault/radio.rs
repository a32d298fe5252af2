//! A thermostat out of radio contact.

use super::{Concerns, Fault, Now, Readings, zone_name};
use crate::scenario::Scenario;

/// The last reading stands until the receiver gives it up; then the sensor counts as lost.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RadioLost {
    /// The zone.
    pub zone: usize,
    /// How long the last reading is held, s.
    pub fallback_s: f64,
}

impl Fault for RadioLost {
    fn kind(&self) -> &'static str {
        "radio lost"
    }

    fn subject(&self, s: &Scenario) -> String {
        zone_name(s, self.zone).to_string()
    }

    fn words(&self, s: &Scenario) -> String {
        format!(
            "thermostat of {} out of radio contact",
            zone_name(s, self.zone)
        )
    }

    fn concerns(&self, _s: &Scenario) -> Concerns {
        Concerns {
            zones: vec![self.zone],
            outlets: Vec::new(),
        }
    }

    fn slots(&self) -> usize {
        1
    }

    fn readings(&self, now: &Now, held: &mut [f64], readings: &mut Readings<'_>) {
        if let (Some(r), Some(held)) = (readings.zone_c.get_mut(self.zone), held.first_mut()) {
            if held.is_nan() {
                *held = *r;
            }
            *r = if now.since_s < self.fallback_s - 1e-6 {
                *held
            } else {
                f64::NAN
            };
        }
    }
}
