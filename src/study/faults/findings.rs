//! What the functional test finds of a fault, beside the healthy system.

use super::functional_test::{DamperTest, FunctionalTest};
use crate::control::Mode;
use crate::scenario::Scenario;

/// Two responses differ by more than this share of the healthy response; our own choice.
pub(super) const DIFFERS: f64 = 0.25;
/// A pressure differs by more than this share of the healthy one; our own choice.
const PRESSURE_DIFFERS: f64 = 0.1;
/// A thermostat this far off is found with a thermometer, K; our own choice.
pub(super) const SENSOR_OFF_K: f64 = 0.5;
/// A thermostat slower than this does not move, K/h.
const STILL_K_H: f64 = 1e-6;
/// A room faster than this moves, K/h; our own choice.
const MOVES_K_H: f64 = 1.0;

/// One finding. Rooms, outlets and zones by index.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Finding {
    /// Every room moves the wrong way for this mode.
    WrongWay {
        /// Mode of the test.
        mode: Mode,
    },
    /// A room responds to every damper.
    RespondsToAll {
        /// The room.
        room: usize,
    },
    /// A room responds to dampers of other rooms.
    RespondsTo {
        /// The room.
        room: usize,
        /// Their outlets.
        outlets: Vec<usize>,
    },
    /// A damper's own room responds by a share of what is healthy.
    OwnRoom {
        /// The outlet.
        outlet: usize,
        /// The share; next to none when it says so.
        share: Option<f64>,
    },
    /// A pressure, as a mean over the tests, Pa.
    Pressure {
        /// Which.
        which: Which,
        /// With the fault.
        faulty_pa: f64,
        /// Without.
        healthy_pa: f64,
    },
    /// A thermostat without reading.
    NoReading {
        /// The zone.
        zone: usize,
    },
    /// A thermostat that reads off.
    ReadsOff {
        /// The zone.
        zone: usize,
        /// Reading less that of the healthy one, K.
        off_k: f64,
    },
    /// A thermostat that does not move while its room does.
    NeverMoves {
        /// The zone.
        zone: usize,
    },
}

/// A pressure of the functional test.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Which {
    /// Supply static.
    Static,
    /// Supply static with the fan at full.
    StaticFullFan,
    /// Return static between filter and fan, below room pressure.
    ReturnStatic,
}

/// What the functional test finds; nothing when it is as in the healthy system.
pub(crate) fn findings(
    scenario: &Scenario,
    healthy: &FunctionalTest,
    faulty: &FunctionalTest,
) -> Vec<Finding> {
    let pairs: Vec<(&DamperTest, &DamperTest)> = healthy.tests.iter().zip(&faulty.tests).collect();
    let room_of = |t: &DamperTest| scenario.outlets[t.outlet].room;
    let wrong_way = !pairs.is_empty()
        && pairs.iter().all(|(h, f)| {
            let room = room_of(h);
            h.rooms_k_h[room] * f.rooms_k_h[room] < 0.0
        });
    let mut out = Vec::new();
    if wrong_way {
        out.push(Finding::WrongWay { mode: healthy.mode });
    } else {
        for room in 0..scenario.rooms.len() {
            out.extend(others_dampers(room, &pairs, room_of));
        }
        for (h, f) in &pairs {
            let share = f.rooms_k_h[room_of(h)] / h.rooms_k_h[room_of(h)];
            if share < DIFFERS || (share - 1.0).abs() > DIFFERS {
                out.push(Finding::OwnRoom {
                    outlet: h.outlet,
                    share: (share >= DIFFERS).then_some(share),
                });
            }
        }
    }
    out.extend(pressures(healthy, faulty));
    out.extend(thermostats(scenario, healthy, faulty));
    out
}

/// Dampers of other rooms to which a room responds.
fn others_dampers(
    room: usize,
    pairs: &[(&DamperTest, &DamperTest)],
    room_of: impl Fn(&DamperTest) -> usize,
) -> Option<Finding> {
    // Its response to its own damper in the healthy system: the strongest of its outlets.
    let own = pairs
        .iter()
        .filter(|(h, _)| room_of(h) == room)
        .map(|(h, _)| h.rooms_k_h[room])
        .fold(
            0.0,
            |most: f64, a| {
                if a.abs() > most.abs() { a } else { most }
            },
        );
    if own == 0.0 {
        return None;
    }
    let others = pairs.iter().filter(|(h, _)| room_of(h) != room);
    let responds = |(h, f): &&(&DamperTest, &DamperTest)| {
        (f.rooms_k_h[room] - h.rooms_k_h[room]) / own > DIFFERS
    };
    let outlets: Vec<usize> = others
        .clone()
        .filter(responds)
        .map(|(h, _)| h.outlet)
        .collect();
    match outlets.len() {
        0 => None,
        n if n == others.count() => Some(Finding::RespondsToAll { room }),
        _ => Some(Finding::RespondsTo { room, outlets }),
    }
}

fn pressures<'a>(
    healthy: &'a FunctionalTest,
    faulty: &'a FunctionalTest,
) -> impl Iterator<Item = Finding> + 'a {
    let of = |which: Which, test: &FunctionalTest| {
        let pressure = |t: &DamperTest| match which {
            Which::Static => t.static_pa,
            Which::StaticFullFan => t.full_fan_pa,
            Which::ReturnStatic => t.return_static_pa,
        };
        test.tests.iter().map(pressure).sum::<f64>() / test.tests.len().max(1) as f64
    };
    let all = [Which::Static, Which::StaticFullFan, Which::ReturnStatic].into_iter();
    all.filter_map(move |which| {
        let (healthy_pa, faulty_pa) = (of(which, healthy), of(which, faulty));
        let differs = (faulty_pa - healthy_pa).abs() > PRESSURE_DIFFERS * healthy_pa.abs().max(1.0);
        differs.then_some(Finding::Pressure {
            which,
            faulty_pa,
            healthy_pa,
        })
    })
}

fn thermostats(
    scenario: &Scenario,
    healthy: &FunctionalTest,
    faulty: &FunctionalTest,
) -> Vec<Finding> {
    let mut out = Vec::new();
    for (zone, z) in scenario.zones.iter().enumerate() {
        let (h, f) = (healthy.sensor_error_k[zone], faulty.sensor_error_k[zone]);
        if f.is_nan() && !h.is_nan() {
            out.push(Finding::NoReading { zone });
        } else if (f - h).abs() > SENSOR_OFF_K {
            out.push(Finding::ReadsOff { zone, off_k: f - h });
        }
        // A sensor that works lags, but never stays quite still while its room moves.
        let most =
            |of: &dyn Fn(&DamperTest) -> f64| faulty.tests.iter().map(of).fold(0.0, f64::max);
        let reading = most(&|t| t.thermostats_k_h[zone].abs());
        let truth = most(&|t| t.rooms_k_h[z.room].abs());
        if f.is_finite() && reading < STILL_K_H && truth > MOVES_K_H {
            out.push(Finding::NeverMoves { zone });
        }
    }
    out
}
