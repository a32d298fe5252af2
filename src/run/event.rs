//! What happened, when, to what, and why.

use crate::control::NoticeKind;
use crate::control::protection::{Protection, Sense};

/// Kinds of event, each with a stable name for `events.csv`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum What {
    /// Something the controller decided.
    Control(NoticeKind),
    /// The fan started or stopped.
    Fan,
    /// A damper has come to rest.
    Damper,
    /// A room went above its sound limit, or came back.
    Sound,
    /// A person acted.
    Action,
    /// A fault began or ended.
    Fault,
}

impl What {
    /// Stable name.
    pub fn name(self) -> &'static str {
        match self {
            What::Control(kind) => kind.name(),
            What::Fan => "fan",
            What::Damper => "damper",
            What::Sound => "sound",
            What::Action => "action",
            What::Fault => "fault",
        }
    }
}

/// One event.
#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    /// Seconds since the start of the run.
    pub t_s: f64,
    /// Kind.
    pub what: What,
    /// The zone, outlet or protection it concerns, or `system`.
    pub subject: String,
    /// Why; empty when there is nothing to add.
    pub cause: String,
    /// A figure that goes with it, SI: the reading at a trip, a position, a speed; NaN without one.
    pub value: f64,
    /// The whole of it as a sentence.
    pub text: String,
}

impl Event {
    /// Gives a trip's text the unit of its reading, which the controller's notice does not carry.
    pub fn name_unit(&mut self, protections: &[Protection]) {
        if self.what != What::Control(NoticeKind::Trip) || !self.value.is_finite() {
            return;
        }
        let Some(guard) = protections.iter().find(|p| p.name == self.subject) else {
            return;
        };
        let (value, unit) = match guard.sense {
            Sense::StaticHigh => (self.value, "Pa"),
            Sense::CoilFlowLow => (100.0 * self.value, "% of rated"),
            Sense::SupplyLow | Sense::SupplyHigh | Sense::CoilSurfaceLow => (self.value, "°C"),
        };
        let sign = if value < 0.0 { "−" } else { "" };
        self.text = format!("Trip: {} at {sign}{:.1} {unit}.", guard.name, value.abs());
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_trip_says_the_unit_of_its_reading() {
        let scenario = crate::scenario::Scenario::embedded("family-house").unwrap();
        let protections = &scenario.control.controller.spec().protections;
        for guard in protections {
            let mut event = Event {
                t_s: 60.0,
                what: What::Control(NoticeKind::Trip),
                subject: guard.name.clone(),
                cause: String::new(),
                value: -3.5,
                text: "Trip.".into(),
            };
            event.name_unit(protections);
            let said = match guard.sense {
                Sense::StaticHigh => "−3.5 Pa",
                Sense::CoilFlowLow => "−350.0 % of rated",
                _ => "−3.5 °C",
            };
            assert_eq!(event.text, format!("Trip: {} at {said}.", guard.name));
        }
        assert!(!protections.is_empty());
    }
}
