//! Events of the step in words; all of them rare, and kept out of the common path.

use crate::control::{Commands, Notice};
use crate::engine::event::{Event, What};
use crate::fault::Scheduled;
use crate::quantity::UnitSystem;
use crate::scenario::Scenario;

/// A motor has come to rest.
#[cold]
pub(super) fn motor_arrived(s: &Scenario, channel: usize, position: f64, t_s: f64) -> Event {
    let of_channel = |o: &Option<usize>| *o == Some(channel);
    let outlet = s.control.outlet_channel.iter().position(of_channel);
    let subject = outlet.map_or("relief", |o| s.outlets[o].name.as_str());
    Event {
        t_s,
        what: What::Damper,
        subject: subject.to_string(),
        cause: "commanded".to_string(),
        text: format!("damper of {subject} is at {:.0} %", 100.0 * position),
        value: position,
    }
}

/// The fan has started or stopped.
#[cold]
pub(super) fn fan_switched(commands: &Commands, on: bool, t_s: f64) -> Event {
    Event {
        t_s,
        what: What::Fan,
        subject: "fan".to_string(),
        cause: commands.phase.name().to_string(),
        text: format!("fan {}", if on { "starts" } else { "stops" }),
        value: f64::from(u8::from(on)),
    }
}

/// A fault has begun or ended.
#[cold]
pub(super) fn fault_switched(s: &Scenario, scheduled: &Scheduled, begins: bool, t_s: f64) -> Event {
    let (parts, fault) = (s.parts(), &scheduled.fault);
    let verb = if begins { "begins" } else { "ends" };
    Event {
        t_s,
        what: What::Fault,
        subject: fault.subject(&parts),
        cause: fault.kind().about().name.to_string(),
        value: f64::from(u8::from(begins)),
        text: format!("fault {verb}: {}", fault.words(&parts, UnitSystem::Si)),
    }
}

/// What the controller decided, in words.
#[cold]
pub(super) fn noticed(s: &Scenario, n: &Notice, lead_s: f64) -> Event {
    let subject = n
        .zone
        .and_then(|z| s.zones.get(z))
        .map(|z| z.name.clone())
        .or_else(|| {
            let p = n
                .protection
                .and_then(|p| s.control.controller.spec().protections.get(p));
            p.map(|p| p.name.clone())
        })
        .unwrap_or_else(|| "system".to_string());
    Event {
        t_s: n.t_s - lead_s,
        what: What::Control(n.kind),
        value: n.value,
        subject,
        cause: n.cause.map_or("", |c| c.phrase()).to_string(),
        text: s.control.controller.describe(n),
    }
}
