//! Which readings a fault moves, which way and by how much, beside the healthy run.

use crate::control::NoticeKind;
use crate::engine::event::What;
use crate::fault::Scheduled;
use crate::quantity::Dimension;
use crate::run::Outcome;
use crate::scenario::Scenario;

/// Fan flow above which the fan counts as running, m³/s.
const FAN_RUNS_M3_S: f64 = 1e-4;

/// Which way a reading has moved.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Direction {
    /// Down by more than what counts.
    Down,
    /// About the same, or without meaning in one of the runs.
    Same,
    /// Up by more than what counts.
    Up,
}

impl Direction {
    /// A sign for tables.
    pub fn sign(self) -> &'static str {
        match self {
            Direction::Down => "down",
            Direction::Same => "same",
            Direction::Up => "up",
        }
    }
}

/// One reading of the healthy and the faulty system.
#[derive(Clone, Debug, PartialEq)]
pub struct Telltale {
    /// Stable name, such as `static_full_speed`.
    pub key: &'static str,
    /// Plain words.
    pub title: &'static str,
    /// `house`, or the zone or outlet.
    pub subject: String,
    /// In the healthy run, SI; NaN when it has no meaning there.
    pub healthy: f64,
    /// In the faulty run.
    pub faulty: f64,
    /// A smaller difference counts as none, SI.
    pub counts: f64,
    /// What kind of quantity it is.
    pub dimension: Dimension,
}

impl Telltale {
    /// Faulty less healthy.
    pub fn difference(&self) -> f64 {
        self.faulty - self.healthy
    }

    /// Which way it has moved.
    pub fn direction(&self) -> Direction {
        let d = self.difference();
        if d > self.counts {
            Direction::Up
        } else if d < -self.counts {
            Direction::Down
        } else {
            Direction::Same
        }
    }
}

/// A reading that is taken: name, words, kind, and what difference counts.
type Kind = (&'static str, &'static str, Dimension, f64);

const STATIC: Kind = (
    "static_full_speed",
    "static pressure, brought to full fan speed",
    Dimension::Pressure,
    2.0,
);
const STATIC_WORST: Kind = (
    "static_worst",
    "highest external static",
    Dimension::Pressure,
    4.0,
);
const SUCTION: Kind = (
    "return_suction",
    "suction between filter and fan, brought to full fan speed",
    Dimension::Pressure,
    1.0,
);
const FLOW: Kind = (
    "fan_flow_full_speed",
    "fan flow, brought to full speed",
    Dimension::AirFlow,
    0.005,
);
const SUPPLY: Kind = (
    "supply_air",
    "mean supply air while the compressor runs",
    Dimension::Temperature,
    0.3,
);
const STARTS: Kind = ("starts_per_hour", "starts per hour", Dimension::Count, 0.15);
const RUNNING: Kind = (
    "running_share",
    "share of time running",
    Dimension::Fraction,
    0.02,
);
const PROTECTION: Kind = (
    "protection_acts",
    "times a protection acted",
    Dimension::Count,
    0.5,
);
const LOCKED: Kind = (
    "lock_outs",
    "times a protection locked the unit out",
    Dimension::Count,
    0.5,
);
const AIR: Kind = ("room_air", "mean room air", Dimension::Temperature, 0.15);
const ERROR: Kind = (
    "setpoint_error",
    "mean of room air less setpoint, in its bands",
    Dimension::TemperatureDifference,
    0.15,
);
const FURTHEST: Kind = (
    "furthest",
    "furthest that an hour's mean of the room air parts from the healthy run",
    Dimension::TemperatureDifference,
    0.5,
);
const CALLING: Kind = (
    "calling_share",
    "share of time calling",
    Dimension::Fraction,
    0.02,
);
const SENSOR: Kind = (
    "sensor_error",
    "mean of thermostat less a thermometer beside it",
    Dimension::TemperatureDifference,
    0.15,
);
const SPREAD: Kind = (
    "sensor_spread",
    "standard deviation of the thermostat's reading",
    Dimension::TemperatureDifference,
    0.1,
);
const LOST: Kind = (
    "sensor_lost_share",
    "share of time without reading",
    Dimension::Fraction,
    0.01,
);
const OPEN_FLOW: Kind = (
    "flow_reported_open",
    "flow at a damper reported half open or more, fan at full speed",
    Dimension::AirFlow,
    0.006,
);
const SHUT_FLOW: Kind = (
    "flow_reported_shut",
    "flow at a damper reported shut, fan at full speed",
    Dimension::AirFlow,
    0.006,
);
const POSITION: Kind = (
    "blade_off_report",
    "furthest that the blade stands from the position reported",
    Dimension::Fraction,
    0.1,
);

struct Mean {
    sum: f64,
    n: f64,
}

impl Mean {
    fn of(values: impl Iterator<Item = f64>) -> f64 {
        let m = values
            .filter(|v| v.is_finite())
            .fold(Mean { sum: 0.0, n: 0.0 }, |m, v| Mean {
                sum: m.sum + v,
                n: m.n + 1.0,
            });
        m.sum / m.n
    }
}

/// Everything read off one run within a window of time, in a fixed order.
struct Look<'a> {
    scenario: &'a Scenario,
    outcome: &'a Outcome,
    rows: Vec<usize>,
    window: (f64, f64),
}

impl<'a> Look<'a> {
    fn new(scenario: &'a Scenario, outcome: &'a Outcome, window: (f64, f64)) -> Look<'a> {
        let t = outcome.trace.column("time_s").unwrap_or(&[]);
        let within = |&i: &usize| t[i] > window.0 && t[i] <= window.1;
        Look {
            scenario,
            outcome,
            rows: (0..t.len()).filter(within).collect(),
            window,
        }
    }

    fn column(&self, name: &str) -> impl Fn(usize) -> f64 + use<'a> {
        let column = self.outcome.trace.column(name).unwrap_or(&[]);
        move |i| column.get(i).copied().unwrap_or(f64::NAN)
    }

    /// Mean of a value over the rows at which it is a number.
    fn mean(&self, value: impl Fn(usize) -> f64) -> f64 {
        Mean::of(self.rows.iter().map(|&i| value(i)))
    }

    /// Greatest value over the rows at which it is a number; NaN without one.
    fn worst(&self, value: impl Fn(usize) -> f64) -> f64 {
        self.rows.iter().map(|&i| value(i)).fold(f64::NAN, f64::max)
    }

    fn house(&self, out: &mut Vec<(Kind, String, f64)>) {
        let [flow, speed, supply, back, filter] = [
            "fan.flow_m3_s",
            "fan.speed",
            "supply_plenum.static_Pa",
            "return_plenum.static_Pa",
            "filter.drop_Pa",
        ]
        .map(|n| self.column(n));
        let fan = |i: usize| flow(i) > FAN_RUNS_M3_S;
        // Pressures go with the square of the speed, flows with the speed (fan laws).
        let pressure = |p: &dyn Fn(usize) -> f64, i: usize| {
            if fan(i) {
                p(i) / (speed(i) * speed(i))
            } else {
                f64::NAN
            }
        };
        let [unit, air] = ["unit.speed", "unit.supply_C"].map(|n| self.column(n));
        let on = |i: usize| f64::from(u8::from(unit(i) > 0.0));
        let hours = (self.window.1 - self.window.0) / 3600.0;
        let count = |kinds: &[NoticeKind]| {
            let events = self.outcome.events.iter();
            let counted = events.filter(|e| {
                let within = e.t_s >= self.window.0 && e.t_s < self.window.1;
                within && matches!(e.what, What::Control(k) if kinds.contains(&k))
            });
            counted.count() as f64
        };
        // A lock-out comes with the trip that earned it, and is counted of its own.
        let acts = [NoticeKind::Trip, NoticeKind::SteppedDown];
        for (kind, value) in [
            (STATIC, self.mean(|i| pressure(&supply, i))),
            (STATIC_WORST, self.worst(|i| supply(i) - back(i))),
            (
                SUCTION,
                self.mean(|i| pressure(&|i| filter(i) - back(i), i)),
            ),
            (
                FLOW,
                self.mean(|i| if fan(i) { flow(i) / speed(i) } else { f64::NAN }),
            ),
            (
                SUPPLY,
                self.mean(|i| if on(i) > 0.0 { air(i) } else { f64::NAN }),
            ),
            (STARTS, count(&[NoticeKind::Start]) / hours),
            (RUNNING, self.mean(on)),
            (PROTECTION, count(&acts)),
            (LOCKED, count(&[NoticeKind::LockOut])),
        ] {
            out.push((kind, "house".to_string(), value));
        }
    }

    fn zones(&self, out: &mut Vec<(Kind, String, f64)>) {
        for z in &self.scenario.zones {
            let air = self.column(&format!("room.{}.air_C", self.scenario.rooms[z.room].name));
            let [sensor, set, call, band] = ["sensor_C", "setpoint_C", "call", "in_band"]
                .map(|what| self.column(&format!("zone.{}.{what}", z.name)));
            let mean = self.mean(&sensor);
            let spread = self.mean(|i| (sensor(i) - mean).powi(2)).sqrt();
            for (kind, value) in [
                (AIR, self.mean(&air)),
                (
                    ERROR,
                    self.mean(|i| {
                        if band(i) > 0.5 {
                            air(i) - set(i)
                        } else {
                            f64::NAN
                        }
                    }),
                ),
                (CALLING, self.mean(&call)),
                (SENSOR, self.mean(|i| sensor(i) - air(i))),
                (SPREAD, spread),
                (LOST, self.mean(|i| f64::from(u8::from(sensor(i).is_nan())))),
            ] {
                out.push((kind, z.name.clone(), value));
            }
        }
    }

    fn outlets(&self, out: &mut Vec<(Kind, String, f64)>) {
        let (fan, speed) = (self.column("fan.flow_m3_s"), self.column("fan.speed"));
        for (o, outlet) in self.scenario.outlets.iter().enumerate() {
            if self.scenario.control.outlet_channel[o].is_none() {
                continue;
            }
            let [flow, opening, reported] = ["flow_m3_s", "opening", "reported_opening"]
                .map(|what| self.column(&format!("outlet.{}.{what}", outlet.name)));
            let when = |holds: &dyn Fn(f64) -> bool, i: usize| {
                if fan(i) > FAN_RUNS_M3_S && holds(reported(i)) {
                    flow(i) / speed(i)
                } else {
                    f64::NAN
                }
            };
            for (kind, value) in [
                (OPEN_FLOW, self.mean(|i| when(&|p| p >= 0.5, i))),
                (SHUT_FLOW, self.mean(|i| when(&|p| p <= 0.02, i))),
                (POSITION, self.worst(|i| (opening(i) - reported(i)).abs())),
            ] {
                out.push((kind, outlet.name.clone(), value));
            }
        }
    }

    fn all(&self) -> Vec<(Kind, String, f64)> {
        let mut out = Vec::new();
        self.house(&mut out);
        self.zones(&mut out);
        self.outlets(&mut out);
        out
    }
}

/// Every reading of the two runs while the fault lasts.
pub fn telltales(
    scenario: &Scenario,
    fault: &Scheduled,
    healthy: &Outcome,
    faulty: &Outcome,
) -> Vec<Telltale> {
    let window = (fault.from_s, fault.until_s.min(scenario.run.duration_s));
    let (a, b) = (
        Look::new(scenario, healthy, window),
        Look::new(scenario, faulty, window),
    );
    let both = a.all().into_iter().zip(b.all());
    let mut out: Vec<Telltale> = both
        .map(|((kind, subject, healthy), (_, _, faulty))| telltale(kind, subject, healthy, faulty))
        .collect();
    for z in &scenario.zones {
        let name = format!("room.{}.air_C", scenario.rooms[z.room].name);
        let (x, y) = (a.column(&name), b.column(&name));
        // Means of an hour, so that two runs that cycle out of step do not seem apart.
        let time = a.column("time_s");
        let mut hours: Vec<(u64, Vec<f64>)> = Vec::new();
        for &i in &a.rows {
            let hour = ((time(i) - window.0) / 3600.0).ceil() as u64;
            match hours.last_mut() {
                Some((last, apart)) if *last == hour => apart.push(y(i) - x(i)),
                _ => hours.push((hour, vec![y(i) - x(i)])),
            }
        }
        let means = hours
            .into_iter()
            .map(|(_, apart)| Mean::of(apart.into_iter()));
        let furthest = means.fold(0.0, |far: f64, d| if d.abs() > far.abs() { d } else { far });
        out.push(telltale(FURTHEST, z.name.clone(), 0.0, furthest));
    }
    out
}

fn telltale(kind: Kind, subject: String, healthy: f64, faulty: f64) -> Telltale {
    let (key, title, dimension, counts) = kind;
    Telltale {
        key,
        title,
        subject,
        healthy,
        faulty,
        counts,
        dimension,
    }
}

/// The zone a fault sits in; of several, and for a fault of the whole system, the one whose room
/// parts furthest from the healthy run.
pub fn zone_of(scenario: &Scenario, fault: &Scheduled, telltales: &[Telltale]) -> usize {
    let own = fault.fault.concerns(scenario).zones;
    let apart = |z: usize| {
        let name = &scenario.zones[z].name;
        let found = telltales
            .iter()
            .find(|t| t.key == FURTHEST.0 && t.subject == *name);
        found.map_or(0.0, |t| t.faulty.abs())
    };
    (0..scenario.zones.len())
        .filter(|z| own.is_empty() || own.contains(z))
        .fold(None, |best: Option<usize>, z| match best {
            Some(b) if apart(b) >= apart(z) => Some(b),
            _ => Some(z),
        })
        .unwrap_or(0)
}
