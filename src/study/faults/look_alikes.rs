//! Faults that look alike in operation, and the test that distinguishes each two of them.

use super::FaultCase;
use super::findings::{DIFFERS, SENSOR_OFF_K};
use super::functional_test::{DamperTest, FunctionalTest};
use super::symptoms::Direction;
use crate::scenario::Scenario;

/// What people would complain of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Complaint {
    /// The zone that shows it, by index.
    pub zone: usize,
    /// Its room air, then of the house: static, supply air, starts, protections that act.
    pub moved: [Direction; 5],
}

/// Faults with the same complaint.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct LookAlikes {
    /// The complaint.
    pub complaint: Complaint,
    /// The faults, by index of the cases.
    pub cases: Vec<usize>,
    /// For every two of them, what distinguishes them.
    pub distinctions: Vec<Distinction>,
}

/// What distinguishes two faults.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Distinction {
    /// The faults, by index of the cases.
    pub cases: [usize; 2],
    /// The test, if there is one.
    pub test: Option<Test>,
    /// What it shows with the one fault and with the other, in the unit of what is read; NaN for
    /// a thermostat without reading.
    pub values: [f64; 2],
}

/// A test that distinguishes two faults.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Test {
    /// One damper is open alone.
    OpenDamper {
        /// Its outlet, by index.
        outlet: usize,
        /// What is read.
        read: Read,
    },
    /// A thermometer is held beside a thermostat: reading minus truth, K.
    Thermometer {
        /// The zone, by index.
        zone: usize,
    },
}

/// What is read while one damper is open.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Read {
    /// Response of a room, by index, K/h.
    Room(usize),
    /// Supply static, Pa.
    Static,
    /// Supply static with the fan at full, Pa.
    StaticFullFan,
}

impl Read {
    fn of(self, test: &DamperTest) -> f64 {
        match self {
            Read::Room(room) => test.rooms_k_h[room],
            Read::Static => test.static_pa,
            Read::StaticFullFan => test.full_fan_pa,
        }
    }
}

fn complaint(scenario: &Scenario, case: &FaultCase) -> Complaint {
    let zone = scenario.zones[case.zone].name.as_str();
    let moved = |key: &str, subject: &str| {
        case.symptom(key, subject)
            .map_or(Direction::Same, |s| s.direction())
    };
    // The room has moved on average, or else at its greatest.
    let room = match moved("room_air", zone) {
        Direction::Same => moved("room_air_greatest", zone),
        way => way,
    };
    Complaint {
        zone: case.zone,
        moved: [
            room,
            moved("static_full_speed", "house"),
            moved("supply_air", "house"),
            moved("starts_per_hour", "house"),
            moved("protection_acts", "house"),
        ],
    }
}

/// Groups the faults by complaint and looks for the test that distinguishes each two of a group.
pub(crate) fn look_alikes(
    scenario: &Scenario,
    healthy: &FunctionalTest,
    cases: &[FaultCase],
) -> Vec<LookAlikes> {
    let mut groups: Vec<LookAlikes> = Vec::new();
    for (i, case) in cases.iter().enumerate() {
        let complaint = complaint(scenario, case);
        match groups.iter_mut().find(|g| g.complaint == complaint) {
            Some(group) => {
                let pairs = group.cases.iter().map(|&a| [a, i]);
                let new = pairs.map(|pair| distinguish(scenario, healthy, cases, pair));
                group.distinctions.extend(new);
                group.cases.push(i);
            }
            None => groups.push(LookAlikes {
                complaint,
                cases: vec![i],
                distinctions: Vec::new(),
            }),
        }
    }
    groups.retain(|g| g.cases.len() > 1);
    for group in &mut groups {
        group.distinctions.sort_by_key(|d| d.cases);
    }
    groups
}

fn distinguish(
    scenario: &Scenario,
    healthy: &FunctionalTest,
    cases: &[FaultCase],
    pair: [usize; 2],
) -> Distinction {
    let [a, b] = pair.map(|i| &cases[i].test);
    let mut best = Distinction {
        cases: pair,
        test: None,
        values: [f64::NAN; 2],
    };
    let mut most = 0.0;
    for (n, h) in healthy.tests.iter().enumerate() {
        let rooms = (0..scenario.rooms.len()).map(Read::Room);
        for read in rooms.chain([Read::Static, Read::StaticFullFan]) {
            let values = [read.of(&a.tests[n]), read.of(&b.tests[n])];
            // Beside the healthy response of the room whose damper is open, or the healthy static.
            let scale = match read {
                Read::Room(_) => healthy.own_k_h(scenario, n),
                _ => read.of(h).abs().max(1.0),
            };
            let differs = (values[0] - values[1]).abs() / scale;
            // A later test must be clearly better.
            if differs.is_finite() && (best.test.is_none() || differs > 1.05 * most) {
                most = differs;
                best.values = values;
                best.test = Some(Test::OpenDamper {
                    outlet: h.outlet,
                    read,
                });
            }
        }
    }
    if most <= DIFFERS {
        let mut errors = a.sensor_error_k.iter().zip(&b.sensor_error_k);
        let found =
            errors.position(|(p, q)| p.is_nan() != q.is_nan() || (*p - *q).abs() > SENSOR_OFF_K);
        best.test = found.map(|zone| Test::Thermometer { zone });
        best.values = found.map_or([f64::NAN; 2], |z| [a, b].map(|t| t.sensor_error_k[z]));
    }
    best
}
