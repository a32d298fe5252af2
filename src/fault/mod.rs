//! Faults as plain data: a layer between readings, commands and plant.
//!
//! A fault never edits who owns which channel. It changes what the controller is told, what motors
//! and unit are told, or what the air side does with it; the controller sees only what it would
//! really see.
//!
//! To add a kind: a variant of [`Fault`], an entry of the list in `kinds.rs`, its effect in
//! `effect.rs`, its keys in `scenario/fault.rs`. The compiler asks for all but the effect, and a test
//! asks for that.

mod effect;
mod kinds;
mod parts;
mod state;
mod sun;

pub use effect::{Plant, Readings};
pub(crate) use kinds::{Kind, standard_set};
pub use parts::{OutletPart, Parts, ZonePart};
pub use state::{FaultState, Scheduled};
pub use sun::{SensorSun, SunOnSensor};

use crate::control::Mode;
use crate::quantity::{Dimension, UnitSystem};

/// What is broken, by indices of zones, outlets and the controller's channels.
#[derive(Clone, Debug, PartialEq)]
pub enum Fault {
    /// Blades that do not follow their motors.
    DamperStuck {
        /// The outlets.
        outlets: Vec<usize>,
        /// Opening at which they are stuck, 0 to 1; `None` = where they are when the fault begins.
        position: Option<f64>,
        /// Channels that report the blade, in the order of the outlets. Without any, the motor turns
        /// a loose shaft and reports its own travel.
        blade_reported_by: Vec<usize>,
    },
    /// Dampers of two zones wired to each other's terminals: each motor gets the other's command and
    /// reports there. The controller's map of channels stays as it is.
    DampersCrossed {
        /// The zones.
        zones: [usize; 2],
        /// Channels of each zone that are crossed, one at least.
        channels: [Vec<usize>; 2],
    },
    /// A relief damper whose blade does not move.
    ReliefStuck {
        /// Its opening, 0 to 1.
        position: f64,
    },
    /// A relief damper that passes less than the file says.
    ReliefUndersized {
        /// Its flow at a pressure as a share of what it should be, above 0.
        flow_fraction: f64,
    },
    /// A filter with a multiple of its resistance.
    FilterBlocked {
        /// Resistance over that in the file, 1 or more.
        resistance_factor: f64,
    },
    /// A thermostat without reading: the zone falls back to what its file says for a lost sensor.
    SensorLost {
        /// The zone.
        zone: usize,
    },
    /// A reading that never changes.
    SensorFrozen {
        /// The zone.
        zone: usize,
        /// What it reads, °C; `None` = what it reads when the fault begins.
        reading_c: Option<f64>,
    },
    /// A constant error.
    SensorOffset {
        /// The zone.
        zone: usize,
        /// Reading less truth, K.
        offset_k: f64,
    },
    /// A thermostat that the sun warms. The rise is added to the finished reading: the minutes of the
    /// sensor's lag are short against the hours of sun.
    SensorInSun {
        /// The zone.
        zone: usize,
        /// Error in full sun, K.
        rise_k: f64,
        /// When the sun reaches it.
        sun: SunOnSensor,
    },
    /// Dampers on a bus that is open between two of them: those beyond get no command, keep their
    /// position and report nothing.
    BusOpen {
        /// How many dampers are before the break, in the order of their channel numbers.
        after_damper: usize,
        /// Channels beyond it.
        beyond: Vec<usize>,
    },
    /// A thermostat out of radio contact: the receiver keeps the last reading for a time, then the
    /// sensor counts as lost.
    RadioLost {
        /// The zone.
        zone: usize,
        /// How long the last reading is kept, s.
        fallback_s: f64,
    },
    /// A unit that heats when told to cool: a reversing valve that sticks, or its wire on the wrong
    /// terminal. (A controller set to the wrong mode needs no fault: an `[[action]]` with `mode` sets it.)
    WrongMode {
        /// The one mode in which it runs; `None` = the opposite of what it is told.
        stuck_in: Option<Mode>,
    },
}

impl Fault {
    /// The zones it is in; none for a fault of the whole system.
    pub fn zones(&self, parts: &Parts<'_>) -> Vec<usize> {
        match self {
            Fault::DamperStuck { outlets, .. } => parts.zones_with(|o| outlets.contains(&o)),
            Fault::BusOpen { beyond, .. } => parts.zones_with(|o| {
                let channel = parts.outlets.get(o).and_then(|o| o.channel);
                channel.is_some_and(|c| beyond.contains(&c))
            }),
            Fault::DampersCrossed { zones, .. } => zones.to_vec(),
            Fault::SensorLost { zone }
            | Fault::SensorFrozen { zone, .. }
            | Fault::SensorOffset { zone, .. }
            | Fault::SensorInSun { zone, .. }
            | Fault::RadioLost { zone, .. } => vec![*zone],
            Fault::ReliefStuck { .. }
            | Fault::ReliefUndersized { .. }
            | Fault::FilterBlocked { .. }
            | Fault::WrongMode { .. } => Vec::new(),
        }
    }

    /// What is broken: a zone, an outlet, `relief`, `filter`, `unit`, `dampers`.
    pub fn subject(&self, parts: &Parts<'_>) -> String {
        let names = |zones: &[usize]| {
            let names: Vec<&str> = zones.iter().map(|&z| parts.zone_name(z)).collect();
            names.join(" and ")
        };
        match self {
            Fault::DamperStuck { outlets, .. } => parts.outlet_names(outlets),
            Fault::BusOpen { .. } => "dampers".to_string(),
            Fault::ReliefStuck { .. } | Fault::ReliefUndersized { .. } => "relief".to_string(),
            Fault::FilterBlocked { .. } => "filter".to_string(),
            Fault::WrongMode { .. } => "unit".to_string(),
            _ => names(&self.zones(parts)),
        }
    }

    /// The fault in a few words, such as `damper of study stuck at 30 %`.
    pub fn words(&self, parts: &Parts<'_>, units: UnitSystem) -> String {
        let subject = self.subject(parts);
        match self {
            Fault::DamperStuck {
                outlets, position, ..
            } => {
                let dampers = if outlets.len() == 1 {
                    "damper"
                } else {
                    "dampers"
                };
                let at = position.map_or("where it is".to_string(), stuck_at);
                format!("{dampers} of {subject} stuck {at}")
            }
            Fault::DampersCrossed { .. } => format!("dampers of {subject} crossed"),
            Fault::ReliefStuck { position } => format!("relief stuck {}", stuck_at(*position)),
            Fault::ReliefUndersized { flow_fraction } => {
                format!("relief passes {:.0} % of its flow", 100.0 * flow_fraction)
            }
            Fault::FilterBlocked { resistance_factor } => {
                format!("filter blocked, {resistance_factor} times its resistance")
            }
            Fault::SensorLost { .. } => format!("sensor of {subject} lost"),
            Fault::SensorFrozen { reading_c, .. } => {
                let at = reading_c.map_or(String::new(), |c| {
                    format!(" at {}", units.show(c, Dimension::Temperature))
                });
                format!("sensor of {subject} frozen{at}")
            }
            Fault::SensorOffset { offset_k, .. } => {
                let side = if *offset_k < 0.0 { "low" } else { "high" };
                let size = units.show_difference(offset_k.abs(), Dimension::Temperature);
                format!("sensor of {subject} reads {size} {side}")
            }
            Fault::SensorInSun { rise_k, .. } => {
                let rise = units.show_difference(*rise_k, Dimension::Temperature);
                format!("sensor of {subject} in the sun, up to {rise}")
            }
            Fault::BusOpen { after_damper, .. } => {
                format!("damper bus open after damper {after_damper}")
            }
            Fault::RadioLost { .. } => format!("thermostat of {subject} out of radio contact"),
            Fault::WrongMode { stuck_in: None } => "unit runs in the other mode".to_string(),
            Fault::WrongMode {
                stuck_in: Some(mode),
            } => format!("unit stuck in {}", mode.name()),
        }
    }
}

fn stuck_at(position: f64) -> String {
    match position {
        p if p <= 0.0 => "shut".to_string(),
        p if p >= 1.0 => "open".to_string(),
        p => format!("at {:.0} %", 100.0 * p),
    }
}
