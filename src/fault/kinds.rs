//! The one list of kinds of fault. Reading of files, the standard set and reports follow it.

use super::{Fault, Parts, Scheduled, SunOnSensor};
use crate::plant::sun::Surface;

/// What there is to know of a kind.
#[derive(Clone, Copy, Debug)]
pub struct About {
    /// Its word in a scenario file.
    pub name: &'static str,
    /// What it does to the system.
    pub effect: &'static str,
    /// How it shows in operation.
    pub symptoms: &'static str,
    /// The test that finds it.
    pub test: &'static str,
    /// Its instances in the standard fault set of a system; none when the system lacks the part.
    pub standard: fn(&Parts<'_>) -> Vec<Fault>,
}

macro_rules! kinds {
    ($($(#[$doc:meta])* $kind:ident = $about:expr;)*) => {
        /// A kind of fault.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
        pub enum Kind { $(#[allow(missing_docs)] $(#[$doc])* $kind,)* }

        impl Kind {
            /// Every kind.
            pub const ALL: &[Kind] = &[$(Kind::$kind,)*];

            /// What there is to know of it.
            pub const fn about(self) -> About {
                match self { $(Kind::$kind => $about,)* }
            }
        }

        impl Fault {
            /// Its kind.
            pub fn kind(&self) -> Kind {
                match self { $(Fault::$kind { .. } => Kind::$kind,)* }
            }
        }
    };
}

kinds! {
    DamperStuck = About {
        name: "damper stuck",
        effect: "the blade stays where it is, whatever its motor does",
        symptoms: "stuck shut, its room drifts while its zone calls; stuck open, its room follows the other zones' calls",
        test: "open one damper at a time: stuck shut, its room does not respond; stuck open, it responds to every damper",
        standard: |parts| {
            let zones = parts.by_size();
            let stuck = |zone: Option<&usize>, position: f64| {
                let outlets: Vec<usize> = parts.dampers(*zone?).iter().map(|d| d.0).collect();
                (!outlets.is_empty()).then_some(Fault::DamperStuck {
                    outlets,
                    position: Some(position),
                    blade_reported_by: Vec::new(),
                })
            };
            let (small, large) = (zones.first(), zones.last());
            [stuck(large, 0.0), stuck(small, 1.0), stuck(large, 0.3)]
                .into_iter()
                .flatten()
                .collect()
        },
    };
    DampersCrossed = About {
        name: "dampers crossed",
        effect: "each of two dampers gets the other's command",
        symptoms: "the zone that calls drifts, the other is cooled or heated in its place",
        test: "open one damper at a time: the room of the other zone responds",
        standard: |parts| parts.crossed([0, 1]).into_iter().collect(),
    };
    ReliefStuck = About {
        name: "relief stuck",
        effect: "the relief (bypass) damper stays where it is",
        symptoms: "stuck shut, static is high when few zones call; stuck open, all rooms are slow and static is low",
        test: "run the fan at full with one damper open: stuck shut, static is high; stuck open, it is low",
        standard: |parts| {
            let at = |position| Fault::ReliefStuck { position };
            if_relief(parts, &[at(0.0), at(1.0)])
        },
    };
    ReliefUndersized = About {
        name: "relief undersized",
        effect: "the relief (bypass) damper passes less at the same pressure",
        symptoms: "static is high with the smallest zones alone, and right with all",
        test: "run the fan at full with the smallest damper alone open: static is high",
        standard: |parts| if_relief(parts, &[Fault::ReliefUndersized { flow_fraction: 0.5 }]),
    };
    FilterBlocked = About {
        name: "filter blocked",
        effect: "the filter has a multiple of its resistance",
        symptoms: "all rooms are slow, static is low, supply air is further from room air",
        test: "measure the pressure before the fan: it is further below that of the room",
        standard: |_| vec![Fault::FilterBlocked { resistance_factor: 6.0 }],
    };
    SensorLost = About {
        name: "sensor lost",
        effect: "the thermostat gives no reading",
        symptoms: "its zone does not call",
        test: "read the thermostat: it shows nothing",
        standard: |parts| of_largest(parts, |zone| Fault::SensorLost { zone }),
    };
    SensorFrozen = About {
        name: "sensor frozen",
        effect: "the thermostat's reading does not change",
        symptoms: "its zone calls without end, or never",
        test: "open its damper: the room responds, the reading does not move",
        standard: |parts| of_largest(parts, |zone| Fault::SensorFrozen { zone, reading_c: None }),
    };
    SensorOffset = About {
        name: "sensor offset",
        effect: "the thermostat reads high or low by a constant",
        symptoms: "its room is off its setpoint by as much, all day",
        test: "hold a thermometer beside the thermostat",
        standard: |parts| of_largest(parts, |zone| Fault::SensorOffset { zone, offset_k: 2.0 }),
    };
    SensorInSun = About {
        name: "sensor in sun",
        effect: "the thermostat reads high while the sun shines on it",
        symptoms: "its room is too cold at the same hours of every sunny day",
        test: "hold a thermometer in the shade beside the thermostat, at those hours",
        standard: |parts| of_largest(parts, |zone| Fault::SensorInSun {
            zone,
            rise_k: 3.0,
            sun: SunOnSensor::Facade(Surface::vertical(270.0)),
        }),
    };
    BusOpen = About {
        name: "damper bus open",
        effect: "dampers beyond the break get no command, keep their position and report nothing",
        symptoms: "the zones beyond no longer follow their calls, and their dampers report nothing",
        test: "open one damper at a time: from one channel number on, none moves",
        standard: |parts| parts.bus_open(parts.bus.len() / 2).into_iter().collect(),
    };
    RadioLost = About {
        name: "radio lost",
        effect: "the thermostat's last reading is kept for a time, then its sensor counts as lost",
        symptoms: "its reading stands still, then is gone, and its zone does not call",
        test: "bring the thermostat near its receiver: the reading comes back",
        standard: |parts| of_largest(parts, |zone| Fault::RadioLost { zone, fallback_s: 1800.0 }),
    };
    WrongMode = About {
        name: "wrong mode",
        effect: "the unit heats when told to cool, or the other way round",
        symptoms: "every room that calls moves away from its setpoint",
        test: "measure supply air while the unit runs: it is on the wrong side of room air",
        standard: |_| vec![Fault::WrongMode { stuck_in: None }],
    };
}

fn of_largest(parts: &Parts<'_>, fault: impl Fn(usize) -> Fault) -> Vec<Fault> {
    parts
        .by_size()
        .last()
        .map(|&z| fault(z))
        .into_iter()
        .collect()
}

fn if_relief(parts: &Parts<'_>, faults: &[Fault]) -> Vec<Fault> {
    if parts.relief {
        faults.to_vec()
    } else {
        Vec::new()
    }
}

/// The standard fault set of a system: instances of every kind that it can have, all from the start
/// of the run.
pub(crate) fn standard_set(parts: &Parts<'_>) -> Vec<Scheduled> {
    let faults = Kind::ALL.iter().flat_map(|k| (k.about().standard)(parts));
    faults.map(Scheduled::always).collect()
}
