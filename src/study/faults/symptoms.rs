//! Symptoms: which readings a fault moves, which way and by how much, beside the healthy run.

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
pub(crate) enum Direction {
    /// Down by more than the threshold.
    Down,
    /// About the same, or without meaning in one of the runs.
    Same,
    /// Up by more than the threshold.
    Up,
}

impl Direction {
    /// A sign for tables.
    pub(crate) fn sign(self) -> &'static str {
        match self {
            Direction::Down => "down",
            Direction::Same => "same",
            Direction::Up => "up",
        }
    }
}

/// One reading of the healthy and the faulty system.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Symptom {
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
    pub threshold: f64,
    /// What kind of quantity it is.
    pub dimension: Dimension,
}

impl Symptom {
    /// Faulty less healthy.
    pub(crate) fn difference(&self) -> f64 {
        self.faulty - self.healthy
    }

    /// Which way it has moved.
    pub(crate) fn direction(&self) -> Direction {
        let d = self.difference();
        if d > self.threshold {
            Direction::Up
        } else if d < -self.threshold {
            Direction::Down
        } else {
            Direction::Same
        }
    }
}

/// A reading that is taken: name, words, dimension, and the threshold of a difference.
type Reading = (&'static str, &'static str, Dimension, f64);

const STATIC: Reading = (
    "static_full_speed",
    "supply static, corrected to full fan speed",
    Dimension::Pressure,
    2.0,
);
const STATIC_WORST: Reading = (
    "static_worst",
    "highest total external static (supply minus return)",
    Dimension::Pressure,
    4.0,
);
const RETURN_STATIC: Reading = (
    "return_static",
    "return static between filter and fan, below room pressure, corrected to full fan speed",
    Dimension::Pressure,
    1.0,
);
const FLOW: Reading = (
    "fan_flow_full_speed",
    "fan flow, corrected to full fan speed",
    Dimension::AirFlow,
    0.005,
);
const SUPPLY: Reading = (
    "supply_air",
    "mean supply air while the compressor runs",
    Dimension::Temperature,
    0.3,
);
const STARTS: Reading = ("starts_per_hour", "starts per hour", Dimension::Count, 0.15);
const RUNNING: Reading = (
    "running_share",
    "share of time running",
    Dimension::Fraction,
    0.02,
);
const PROTECTION: Reading = (
    "protection_acts",
    "times a protection acted",
    Dimension::Count,
    0.5,
);
const LOCKED: Reading = (
    "lock_outs",
    "times the unit was locked out",
    Dimension::Count,
    0.5,
);
const AIR: Reading = ("room_air", "mean room air", Dimension::Temperature, 0.15);
const ERROR: Reading = (
    "setpoint_error",
    "mean of room air minus setpoint, while scheduled",
    Dimension::TemperatureDifference,
    0.15,
);
const GREATEST: Reading = (
    "room_air_greatest",
    "greatest difference of an hour's mean room air from the healthy run",
    Dimension::TemperatureDifference,
    0.5,
);
const CALLING: Reading = (
    "calling_share",
    "share of time calling",
    Dimension::Fraction,
    0.02,
);
const SENSOR: Reading = (
    "sensor_error",
    "mean of thermostat minus a thermometer beside it",
    Dimension::TemperatureDifference,
    0.15,
);
const SPREAD: Reading = (
    "sensor_spread",
    "standard deviation of the thermostat's reading",
    Dimension::TemperatureDifference,
    0.1,
);
const LOST: Reading = (
    "sensor_lost_share",
    "share of time without reading",
    Dimension::Fraction,
    0.01,
);
const OPEN_FLOW: Reading = (
    "flow_reported_open",
    "flow at a damper reported half open or more, fan at full speed",
    Dimension::AirFlow,
    0.006,
);
const SHUT_FLOW: Reading = (
    "flow_reported_shut",
    "flow at a damper reported shut, fan at full speed",
    Dimension::AirFlow,
    0.006,
);
const POSITION: Reading = (
    "blade_off_report",
    "greatest difference of the blade from the position reported",
    Dimension::Fraction,
    0.1,
);

/// Mean of the values that are numbers; NaN without one.
fn mean(values: impl Iterator<Item = f64>) -> f64 {
    let (sum, n) = values
        .filter(|v| v.is_finite())
        .fold((0.0, 0.0), |(sum, n), v| (sum + v, n + 1.0));
    sum / n
}

/// Everything read off one run within a window of time, in a fixed order.
struct RunReadings<'a> {
    scenario: &'a Scenario,
    outcome: &'a Outcome,
    rows: Vec<usize>,
    window: (f64, f64),
}

impl<'a> RunReadings<'a> {
    fn new(scenario: &'a Scenario, outcome: &'a Outcome, window: (f64, f64)) -> RunReadings<'a> {
        let t = outcome.trace.column("time_s").unwrap_or(&[]);
        let within = |&i: &usize| t[i] > window.0 && t[i] <= window.1;
        RunReadings {
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
        mean(self.rows.iter().map(|&i| value(i)))
    }

    /// Greatest value over the rows at which it is a number; NaN without one.
    fn worst(&self, value: impl Fn(usize) -> f64) -> f64 {
        self.rows.iter().map(|&i| value(i)).fold(f64::NAN, f64::max)
    }

    fn house(&self, out: &mut Vec<(Reading, String, f64)>) {
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
        // A lock-out comes with a trip, and is counted apart.
        let acts = [NoticeKind::Trip, NoticeKind::SteppedDown];
        for (reading, value) in [
            (STATIC, self.mean(|i| pressure(&supply, i))),
            (STATIC_WORST, self.worst(|i| supply(i) - back(i))),
            (
                RETURN_STATIC,
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
            out.push((reading, "house".to_string(), value));
        }
    }

    fn zones(&self, out: &mut Vec<(Reading, String, f64)>) {
        for z in &self.scenario.zones {
            let air = self.column(&format!("room.{}.air_C", self.scenario.rooms[z.room].name));
            let [sensor, set, call, band] = ["sensor_C", "setpoint_C", "call", "scheduled"]
                .map(|what| self.column(&format!("zone.{}.{what}", z.name)));
            let mean = self.mean(&sensor);
            let spread = self.mean(|i| (sensor(i) - mean).powi(2)).sqrt();
            for (reading, value) in [
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
                out.push((reading, z.name.clone(), value));
            }
        }
    }

    fn outlets(&self, out: &mut Vec<(Reading, String, f64)>) {
        let (fan, speed) = (self.column("fan.flow_m3_s"), self.column("fan.speed"));
        for (o, outlet) in self.scenario.outlets.iter().enumerate() {
            if self.scenario.control.outlet_channel[o].is_none() {
                continue;
            }
            let [flow, opening, reported] = ["flow_m3_s", "opening", "reported_opening"]
                .map(|what| self.column(&format!("outlet.{}.{what}", outlet.name)));
            let when = |wanted: &dyn Fn(f64) -> bool, i: usize| {
                if fan(i) > FAN_RUNS_M3_S && wanted(reported(i)) {
                    flow(i) / speed(i)
                } else {
                    f64::NAN
                }
            };
            for (reading, value) in [
                (OPEN_FLOW, self.mean(|i| when(&|p| p >= 0.5, i))),
                (SHUT_FLOW, self.mean(|i| when(&|p| p <= 0.02, i))),
                (POSITION, self.worst(|i| (opening(i) - reported(i)).abs())),
            ] {
                out.push((reading, outlet.name.clone(), value));
            }
        }
    }

    fn all(&self) -> Vec<(Reading, String, f64)> {
        let mut out = Vec::new();
        self.house(&mut out);
        self.zones(&mut out);
        self.outlets(&mut out);
        out
    }
}

/// Every reading of the two runs while the fault lasts.
pub(crate) fn symptoms(
    scenario: &Scenario,
    fault: &Scheduled,
    healthy: &Outcome,
    faulty: &Outcome,
) -> Vec<Symptom> {
    let window = (fault.from_s, fault.until_s.min(scenario.run.duration_s));
    let (a, b) = (
        RunReadings::new(scenario, healthy, window),
        RunReadings::new(scenario, faulty, window),
    );
    let both = a.all().into_iter().zip(b.all());
    let mut out: Vec<Symptom> = both
        .map(|((reading, subject, healthy), (_, _, faulty))| {
            symptom(reading, subject, healthy, faulty)
        })
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
        let means = hours.into_iter().map(|(_, apart)| mean(apart.into_iter()));
        let greatest = means.fold(0.0, |far: f64, d| if d.abs() > far.abs() { d } else { far });
        out.push(symptom(GREATEST, z.name.clone(), 0.0, greatest));
    }
    out
}

fn symptom(reading: Reading, subject: String, healthy: f64, faulty: f64) -> Symptom {
    let (key, title, dimension, threshold) = reading;
    Symptom {
        key,
        title,
        subject,
        healthy,
        faulty,
        threshold,
        dimension,
    }
}

/// The zone a fault is in; of several, and for a fault of the whole system, the one whose room
/// differs most from the healthy run.
pub(crate) fn zone_of(scenario: &Scenario, fault: &Scheduled, symptoms: &[Symptom]) -> usize {
    let own = fault.fault.zones(&scenario.parts());
    let apart = |z: usize| {
        let name = &scenario.zones[z].name;
        let found = symptoms
            .iter()
            .find(|t| t.key == GREATEST.0 && t.subject == *name);
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
