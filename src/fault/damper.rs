//! A damper whose blade no longer follows.

use super::{Concerns, Fault, Now, Plant, Readings, outlet_names, zones_of};
use crate::scenario::Scenario;

/// What the controller is told of a stuck damper.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Feedback {
    /// The motor turns a loose shaft and reports its own travel: all looks well.
    Motor,
    /// The position is sensed at the blade: the controller sees it stand still. Holds the channels
    /// of the stuck outlets, in their order.
    Blade {
        /// Channels of the outlets, by index of the controller.
        channels: Vec<usize>,
    },
}

/// Blades that stand still whatever their motors do.
#[derive(Clone, Debug, PartialEq)]
pub struct DamperStuck {
    /// The outlets, by index.
    pub outlets: Vec<usize>,
    /// Where they stand, 0 to 1; `None` = where they stood when the fault began.
    pub position: Option<f64>,
    /// What is reported.
    pub feedback: Feedback,
}

impl DamperStuck {
    /// One outlet stuck at a position, its motor turning on.
    pub fn at(outlet: usize, position: f64) -> DamperStuck {
        DamperStuck {
            outlets: vec![outlet],
            position: Some(position),
            feedback: Feedback::Motor,
        }
    }
}

impl Fault for DamperStuck {
    fn kind(&self) -> &'static str {
        "damper stuck"
    }

    fn subject(&self, scenario: &Scenario) -> String {
        // All of a zone's dampers go by its name.
        let whole = scenario.zones.iter().find(|z| z.outlets == self.outlets);
        match whole {
            Some(z) if self.outlets.len() > 1 => z.name.clone(),
            _ => outlet_names(scenario, &self.outlets),
        }
    }

    fn words(&self, scenario: &Scenario) -> String {
        let how = match self.position {
            None => "where it stands".to_string(),
            Some(p) if p <= 0.0 => "shut".to_string(),
            Some(p) if p >= 1.0 => "open".to_string(),
            Some(p) => format!("at {:.0} %", 100.0 * p),
        };
        let dampers = if self.outlets.len() == 1 {
            "damper"
        } else {
            "dampers"
        };
        format!("{dampers} of {} stuck {how}", self.subject(scenario))
    }

    fn concerns(&self, scenario: &Scenario) -> Concerns {
        Concerns {
            zones: zones_of(scenario, &self.outlets),
            outlets: self.outlets.clone(),
        }
    }

    fn slots(&self) -> usize {
        self.outlets.len()
    }

    fn readings(&self, _now: &Now, held: &mut [f64], readings: &mut Readings<'_>) {
        let Feedback::Blade { channels } = &self.feedback else {
            return;
        };
        for (&channel, held) in channels.iter().zip(held) {
            if let Some(reported) = readings.damper_position.get_mut(channel) {
                if held.is_nan() {
                    *held = self.position.unwrap_or(*reported);
                }
                *reported = *held;
            }
        }
    }

    fn plant(&self, _now: &Now, held: &mut [f64], plant: &mut Plant<'_>) {
        for (&outlet, held) in self.outlets.iter().zip(held) {
            if let Some(opening) = plant.openings.get_mut(outlet) {
                if held.is_nan() {
                    *held = self.position.unwrap_or(*opening);
                }
                *opening = *held;
            }
        }
    }
}
