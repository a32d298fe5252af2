//! What the drill shows of each fault, and which test parts suspects that look alike in operation.

use super::Case;
use super::drill::{Drill, Test};
use super::telltales::Direction;
use crate::control::Mode;
use crate::scenario::Scenario;

/// Two answers part suspects when they differ by more than this share of the healthy answer.
const PARTS: f64 = 0.25;

/// A thermostat this far off is found with a thermometer, K; our own choice.
const SENSOR_OFF_K: f64 = 0.5;

/// A thermostat slower than this stands still, K/h.
const STILL_K_H: f64 = 1e-6;
/// A room faster than this moves, K/h; our own choice.
const MOVES_K_H: f64 = 1.0;

/// Faults with the same complaint.
#[derive(Clone, Debug, PartialEq)]
pub struct Alike {
    /// The complaint in words.
    pub complaint: String,
    /// The faults, by index of the cases.
    pub cases: Vec<usize>,
    /// For every two of them, what parts them.
    pub parted: Vec<Parted>,
}

/// What parts two suspects.
#[derive(Clone, Debug, PartialEq)]
pub struct Parted {
    /// The suspects, by index of the cases.
    pub cases: [usize; 2],
    /// The outlet whose damper is opened, by index; `None` when no test of the drill parts them.
    pub outlet: Option<usize>,
    /// What to look for.
    pub words: String,
}

/// What people would complain of: the zone that shows it, its room's direction, static and supply
/// air at the unit, starts, trips.
type Complaint = (usize, [Direction; 5]);

fn complaint(scenario: &Scenario, case: &Case) -> Complaint {
    let zone = scenario.zones[case.zone].name.as_str();
    let way = |key: &str, subject: &str| {
        case.telltale(key, subject)
            .map_or(Direction::Same, |t| t.direction())
    };
    let ways = [
        room(case, zone),
        way("static_full_speed", "house"),
        way("supply_air", "house"),
        way("starts_per_hour", "house"),
        way("protection_acts", "house"),
    ];
    (case.zone, ways)
}

/// Which way the zone's room has gone: on average, or else at its furthest.
fn room(case: &Case, zone: &str) -> Direction {
    let ways = ["room_air", "furthest"].into_iter();
    ways.filter_map(|key| case.telltale(key, zone))
        .map(|t| t.direction())
        .find(|d| *d != Direction::Same)
        .unwrap_or(Direction::Same)
}

fn in_words(scenario: &Scenario, (zone, ways): Complaint) -> String {
    let zone = &scenario.zones[zone].name;
    let words = [
        ("cooler", "warmer"),
        ("static lower", "static higher"),
        ("supply air colder", "supply air warmer"),
        ("fewer starts", "more starts"),
        ("fewer protections", "protections act"),
    ];
    let said: Vec<String> = ways
        .iter()
        .zip(words)
        .enumerate()
        .filter_map(|(i, (way, (down, up)))| {
            let word = match way {
                Direction::Down => down,
                Direction::Up => up,
                Direction::Same => return None,
            };
            Some(if i == 0 {
                format!("{zone} {word}")
            } else {
                word.to_string()
            })
        })
        .collect();
    if said.is_empty() {
        return "next to nothing moves".to_string();
    }
    said.join(", ")
}

/// Groups the faults by complaint and looks for the test that parts each two of a group.
pub fn alike(scenario: &Scenario, healthy: &Drill, cases: &[Case]) -> Vec<Alike> {
    let mut groups: Vec<(Complaint, Vec<usize>)> = Vec::new();
    for (i, case) in cases.iter().enumerate() {
        let key = complaint(scenario, case);
        match groups.iter_mut().find(|(k, _)| *k == key) {
            Some((_, members)) => members.push(i),
            None => groups.push((key, vec![i])),
        }
    }
    groups
        .into_iter()
        .filter(|(_, members)| members.len() > 1)
        .map(|(key, members)| {
            let mut parted = Vec::new();
            for (n, &a) in members.iter().enumerate() {
                for &b in &members[n + 1..] {
                    parted.push(part(scenario, healthy, cases, [a, b]));
                }
            }
            Alike {
                complaint: in_words(scenario, key),
                cases: members,
                parted,
            }
        })
        .collect()
}

/// One observation that could part two suspects.
struct Observed {
    /// Difference as a share of the healthy answer.
    apart: f64,
    outlet: usize,
    words: String,
}

fn part(scenario: &Scenario, healthy: &Drill, cases: &[Case], pair: [usize; 2]) -> Parted {
    let [a, b] = pair.map(|i| &cases[i].drill);
    let mut best: Option<Observed> = None;
    let tests = healthy.tests.iter().zip(&a.tests).zip(&b.tests);
    for (n, ((sound, x), y)) in tests.enumerate() {
        let name = &scenario.outlets[sound.outlet].name;
        let own = healthy.own_k_h(scenario, n);
        let mut offer = |apart: f64, words: String| {
            // A test must part clearly better to be preferred to an earlier one.
            if apart.is_finite() && best.as_ref().is_none_or(|o| apart > 1.05 * o.apart) {
                let outlet = sound.outlet;
                best = Some(Observed {
                    apart,
                    outlet,
                    words,
                });
            }
        };
        for (r, room) in scenario.rooms.iter().enumerate() {
            let (p, q) = (x.rooms_k_h[r], y.rooms_k_h[r]);
            offer(
                (p - q).abs() / own,
                format!(
                    "open {name} alone: {} answers {p:+.1} K/h or {q:+.1} K/h",
                    room.name
                ),
            );
        }
        let (p, q) = (x.static_pa, y.static_pa);
        offer(
            (p - q).abs() / sound.static_pa.abs().max(1.0),
            format!("open {name} alone: static {p:.0} Pa or {q:.0} Pa"),
        );
        let (p, q) = (x.full_fan_pa, y.full_fan_pa);
        offer(
            (p - q).abs() / sound.full_fan_pa.abs().max(1.0),
            format!("open {name} alone with the fan at full: static {p:.0} Pa or {q:.0} Pa"),
        );
    }
    if best.as_ref().is_none_or(|o| o.apart <= PARTS)
        && let Some(words) = by_thermometer(scenario, a, b)
    {
        return Parted {
            cases: pair,
            outlet: None,
            words,
        };
    }
    match best {
        Some(o) if o.apart > PARTS => Parted {
            cases: pair,
            outlet: Some(o.outlet),
            words: o.words,
        },
        _ => Parted {
            cases: pair,
            outlet: None,
            words: "the drill does not part them".to_string(),
        },
    }
}

/// A thermometer held beside a thermostat that parts the two, if there is one.
fn by_thermometer(scenario: &Scenario, a: &Drill, b: &Drill) -> Option<String> {
    let shown = |v: f64| {
        if v.is_nan() {
            "does not read".to_string()
        } else {
            format!("reads {v:+.1} K off")
        }
    };
    let errors = a.sensor_error_k.iter().zip(&b.sensor_error_k);
    let found = errors
        .zip(&scenario.zones)
        .find(|((p, q), _)| p.is_nan() != q.is_nan() || (*p - *q).abs() > SENSOR_OFF_K);
    found.map(|((p, q), zone)| {
        format!(
            "hold a thermometer beside the thermostat of {}: it {} or {}",
            zone.name,
            shown(*p),
            shown(*q)
        )
    })
}

/// What the drill shows of one fault beside the healthy system, in plain words.
pub fn drill_words(scenario: &Scenario, healthy: &Drill, faulty: &Drill) -> Vec<String> {
    let mut out = Vec::new();
    let name = |t: &Test| scenario.outlets[t.outlet].name.as_str();
    // The answer a room gives to its own damper in the healthy system: the strongest of its outlets.
    let own = |room: usize| {
        let tests = healthy.tests.iter();
        let of_room = tests.filter(|t| scenario.outlets[t.outlet].room == room);
        of_room.map(|t| t.rooms_k_h[room]).fold(
            0.0,
            |most: f64, a| {
                if a.abs() > most.abs() { a } else { most }
            },
        )
    };
    let turned = healthy.tests.iter().zip(&faulty.tests).all(|(h, f)| {
        let room = scenario.outlets[h.outlet].room;
        h.rooms_k_h[room] * f.rooms_k_h[room] < 0.0
    });
    if turned && !healthy.tests.is_empty() {
        let way = if healthy.mode == Mode::Cooling {
            "warms"
        } else {
            "cools"
        };
        out.push(format!("every damper opened {way} its room"));
    }
    // Rooms that answer to dampers of others: a full column.
    for (room, r) in scenario.rooms.iter().enumerate() {
        let full = own(room);
        if full == 0.0 || turned {
            continue;
        }
        let strangers: Vec<(&Test, &Test)> = healthy
            .tests
            .iter()
            .zip(&faulty.tests)
            .filter(|(h, _)| scenario.outlets[h.outlet].room != room)
            .collect();
        let answers = |(h, f): &&(&Test, &Test)| {
            let gained = (f.rooms_k_h[room] - h.rooms_k_h[room]) / full;
            gained > PARTS
        };
        let to: Vec<&str> = strangers
            .iter()
            .filter(answers)
            .map(|(h, _)| name(h))
            .collect();
        if !to.is_empty() && to.len() == strangers.len() {
            out.push(format!("{} answers whichever damper is opened", r.name));
        } else if !to.is_empty() {
            out.push(format!(
                "{} answers to the damper of {}",
                r.name,
                to.join(", ")
            ));
        }
    }
    for (h, f) in healthy.tests.iter().zip(&faulty.tests) {
        let room = scenario.outlets[h.outlet].room;
        let share = f.rooms_k_h[room] / h.rooms_k_h[room];
        let room_name = &scenario.rooms[room].name;
        if turned || share.is_nan() {
            continue;
        }
        if share < PARTS {
            out.push(format!("opening {} does not reach {room_name}", name(h)));
        } else if (share - 1.0).abs() > PARTS {
            let percent = 100.0 * share;
            out.push(format!(
                "opening {}: {room_name} answers {percent:.0} %",
                name(h)
            ));
        }
    }
    let mean = |d: &Drill, of: &dyn Fn(&Test) -> f64| {
        d.tests.iter().map(of).sum::<f64>() / d.tests.len().max(1) as f64
    };
    for (what, of) in [
        ("static", &(|t: &Test| t.static_pa) as &dyn Fn(&Test) -> f64),
        ("static with the fan at full", &|t: &Test| t.full_fan_pa),
        ("suction before the fan", &|t: &Test| t.suction_pa),
    ] {
        let (h, f) = (mean(healthy, of), mean(faulty, of));
        if (f - h).abs() > 0.1 * h.abs().max(1.0) {
            out.push(format!("{what} {f:.0} Pa instead of {h:.0} Pa on average"));
        }
    }
    for (z, zone) in scenario.zones.iter().enumerate() {
        let (h, f) = (healthy.sensor_error_k[z], faulty.sensor_error_k[z]);
        if f.is_nan() && !h.is_nan() {
            out.push(format!("the thermostat of {} does not read", zone.name));
        } else if (f - h).abs() > SENSOR_OFF_K {
            out.push(format!(
                "the thermostat of {} reads {:+.1} K off",
                zone.name,
                f - h
            ));
        }
        // A sensor that works lags, but never stands quite still while its room moves.
        let most = |of: &dyn Fn(&Test) -> f64| faulty.tests.iter().map(of).fold(0.0, f64::max);
        let reading = most(&|t| t.thermostats_k_h[z].abs());
        let truth = most(&|t| t.rooms_k_h[zone.room].abs());
        if f.is_finite() && reading < STILL_K_H && truth > MOVES_K_H {
            out.push(format!("the thermostat of {} never moves", zone.name));
        }
    }
    if out.is_empty() {
        out.push("as in the healthy system".to_string());
    }
    out
}
