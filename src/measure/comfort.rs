//! What people in the rooms feel: setpoint kept, rooms alike, swings, humidity.

use super::thermal_comfort::SlidingRange;
use super::{Histogram, Limit, Measure, Observer};
use crate::quantity::Dimension;
use crate::run::sample::{RoomSample, Sample, ZoneSample};
use crate::scenario::Scenario;

/// The first half hour of a band is recovery, not control; our own choice.
const SETTLING_S: f64 = 1800.0;

/// Time a zone's sensor is warmer than its cooling setpoint or colder than its heating setpoint by
/// more than the band allows, by zone. A unit that only cools has no cold side, and the reverse.
#[derive(Clone, Debug)]
pub struct OutsideBand {
    limit: Limit,
    half_width_k: f64,
    zones: Vec<BandWatch>,
}

#[derive(Clone, Debug)]
struct BandWatch {
    name: String,
    in_band_s: f64,
    judged_s: f64,
    outside_s: f64,
    furthest_k: f64,
    furthest_s: f64,
    /// An error up to this is neither outside the band nor the furthest so far, K.
    notable_k: f64,
}

impl BandWatch {
    /// Notes a sensor so much too warm and too cold; the side that has no setpoint is NaN.
    fn note(&mut self, warm_k: f64, cold_k: f64, half_width_k: f64, t_s: f64, dt_s: f64) {
        let (warm_k, cold_k) = (warm_k.max(0.0), cold_k.max(0.0));
        let error = if warm_k >= cold_k { warm_k } else { -cold_k };
        if error.abs() > half_width_k {
            self.outside_s += dt_s;
        }
        if error.abs() > self.furthest_k.abs() {
            self.furthest_k = error;
            self.furthest_s = t_s;
        }
        self.notable_k = half_width_k.min(self.furthest_k.abs());
    }
}

/// Which zones have been in band for so long that they are judged.
#[derive(Clone, Debug)]
struct Settling {
    zones: Vec<InBand>,
    /// Whether a zone in band is not yet judged.
    waiting: bool,
}

#[derive(Clone, Copy, Debug, Default)]
struct InBand {
    now: bool,
    seconds: f64,
    settled: bool,
}

impl Settling {
    fn new(scenario: &Scenario) -> Settling {
        Settling {
            zones: vec![InBand::default(); scenario.zones.len()],
            waiting: false,
        }
    }

    /// Sees a step; says whether it settled a zone or ended a band.
    fn see(&mut self, zones: &[ZoneSample], dt_s: f64) -> bool {
        let mut pairs = self.zones.iter().zip(zones);
        if !self.waiting && pairs.all(|(kept, z)| kept.now == z.in_band) {
            return false;
        }
        let mut changed = false;
        self.waiting = false;
        for (kept, z) in self.zones.iter_mut().zip(zones) {
            kept.now = z.in_band;
            kept.seconds = if z.in_band { kept.seconds + dt_s } else { 0.0 };
            let settled = kept.seconds > SETTLING_S;
            changed |= settled != kept.settled;
            kept.settled = settled;
            self.waiting |= z.in_band && !settled;
        }
        changed
    }

    fn is_settled(&self, zone: usize) -> bool {
        self.zones.get(zone).is_some_and(|z| z.settled)
    }
}

impl OutsideBand {
    /// Nothing seen yet.
    pub fn new(scenario: &Scenario) -> OutsideBand {
        OutsideBand {
            limit: scenario.limits.outside_band.clone(),
            half_width_k: scenario.limits.band_half_width_k,
            zones: scenario
                .zones
                .iter()
                .map(|z| BandWatch {
                    name: z.name.clone(),
                    in_band_s: 0.0,
                    judged_s: 0.0,
                    outside_s: 0.0,
                    furthest_k: 0.0,
                    furthest_s: f64::NAN,
                    notable_k: 0.0,
                })
                .collect(),
        }
    }
}

impl Observer for OutsideBand {
    fn observe(&mut self, sample: &Sample, dt_s: f64) {
        for (watch, z) in self.zones.iter_mut().zip(&sample.zones) {
            if !z.in_band || z.setpoint_c.is_nan() || z.sensor_c.is_nan() {
                watch.in_band_s = 0.0;
                continue;
            }
            if watch.in_band_s <= SETTLING_S {
                watch.in_band_s += dt_s;
                if watch.in_band_s <= SETTLING_S {
                    continue;
                }
            }
            watch.judged_s += dt_s;
            let (warm_k, cold_k) = (z.sensor_c - z.cooling_c, z.heating_c - z.sensor_c);
            if warm_k > watch.notable_k || cold_k > watch.notable_k {
                watch.note(warm_k, cold_k, self.half_width_k, sample.t_s, dt_s);
            }
        }
    }

    fn measures(&self, _end_s: f64) -> Vec<Measure> {
        self.zones
            .iter()
            .flat_map(|z| {
                let share = if z.judged_s > 0.0 {
                    z.outside_s / z.judged_s
                } else {
                    f64::NAN
                };
                [
                    Measure::new(
                        "outside_band_share",
                        "share of band time off setpoint by more than 1 K",
                        z.name.clone(),
                        share,
                        Dimension::Fraction,
                    )
                    .at(
                        z.furthest_s,
                        format!(
                            "{:.0} min; furthest {:+.1} K",
                            z.outside_s / 60.0,
                            z.furthest_k
                        ),
                    )
                    .judged(&self.limit),
                    Measure::new(
                        "outside_band",
                        "band time off setpoint by more than 1 K",
                        z.name.clone(),
                        z.outside_s,
                        Dimension::Time,
                    ),
                ]
            })
            .collect()
    }
}

/// Spread between rooms: of each zone with several rooms, and of the whole house.
#[derive(Clone, Debug)]
pub struct Spread {
    zone_limit: Limit,
    house_limit: Limit,
    /// Zones with several rooms.
    zones: Vec<ZoneSpread>,
    /// Zone that conditions each room.
    zone_of_room: Vec<Option<usize>>,
    /// Rooms that count in the spread of the house now, and how many they are.
    counts: Vec<bool>,
    counted: usize,
    house: Histogram,
    settling: Settling,
}

#[derive(Clone, Debug)]
struct ZoneSpread {
    name: String,
    zone: usize,
    rooms: Vec<usize>,
    spread: Histogram,
}

impl Spread {
    /// Nothing seen yet.
    pub fn new(scenario: &Scenario) -> Spread {
        let zone_of_room: Vec<Option<usize>> = (0..scenario.rooms.len())
            .map(|r| scenario.zone_of_room(r))
            .collect();
        let zones = scenario
            .zones
            .iter()
            .enumerate()
            .map(|(z, zone)| ZoneSpread {
                name: zone.name.clone(),
                zone: z,
                rooms: (0..scenario.rooms.len())
                    .filter(|&r| zone_of_room[r] == Some(z))
                    .collect(),
                spread: Histogram::new(0.02, 1000),
            })
            .filter(|z| z.rooms.len() >= 2)
            .collect();
        Spread {
            zone_limit: scenario.limits.zone_spread_k.clone(),
            house_limit: scenario.limits.house_spread_k.clone(),
            zones,
            counts: vec![false; zone_of_room.len()],
            counted: 0,
            zone_of_room,
            house: Histogram::new(0.02, 1000),
            settling: Settling::new(scenario),
        }
    }
}

/// Warmest less coldest.
fn spread<'a>(rooms: impl Iterator<Item = &'a RoomSample>) -> f64 {
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    for room in rooms {
        let t = room.operative_c();
        // Not f64::min and max, whose care for NaN costs three instructions more each.
        low = if t < low { t } else { low };
        high = if t > high { t } else { high };
    }
    high - low
}

impl Observer for Spread {
    fn observe(&mut self, sample: &Sample, dt_s: f64) {
        if self.settling.see(&sample.zones, dt_s) {
            for (counts, zone) in self.counts.iter_mut().zip(&self.zone_of_room) {
                *counts = zone.is_some_and(|z| self.settling.is_settled(z));
            }
            self.counted = self.counts.iter().filter(|&&counts| counts).count();
        }
        for z in &mut self.zones {
            if self.settling.is_settled(z.zone) {
                let rooms = z.rooms.iter().map(|&r| &sample.rooms[r]);
                z.spread.add(spread(rooms), dt_s);
            }
        }
        if self.counted >= 2 {
            let rooms = self.counts.iter().zip(&sample.rooms);
            let counted = rooms.filter_map(|(counts, room)| counts.then_some(room));
            self.house.add(spread(counted), dt_s);
        }
    }

    fn measures(&self, _end_s: f64) -> Vec<Measure> {
        let mut out = Vec::new();
        let mut say = |key, title, subject: &str, h: &Histogram, limit: &Limit| {
            let note = if h.worst().is_nan() {
                String::new()
            } else {
                format!("mean {:.1} K, worst {:.1} K", h.mean(), h.worst())
            };
            out.push(
                Measure::new(
                    key,
                    title,
                    subject,
                    h.quantile(0.95),
                    Dimension::TemperatureDifference,
                )
                .at(f64::NAN, note)
                .judged(limit),
            );
        };
        for z in &self.zones {
            say(
                "zone_spread_p95",
                "spread of the zone's rooms, 95 % of band time below",
                &z.name,
                &z.spread,
                &self.zone_limit,
            );
        }
        say(
            "house_spread_p95",
            "spread of all rooms in band, 95 % of time below",
            "house",
            &self.house,
            &self.house_limit,
        );
        out
    }
}

/// Largest change of operative temperature within a quarter of an hour, by zone's own room.
///
/// ASHRAE 55 (from memory) allows 1.1 K for cycles of up to 15 minutes. Sampled every 30 s, which a
/// room's air cannot outrun by more than a few hundredths of a kelvin.
#[derive(Clone, Debug)]
pub struct Drift {
    limit: Limit,
    rooms: Vec<(String, usize, usize, SlidingRange, f64, f64)>,
    next_s: f64,
    settling: Settling,
}

const WINDOW_S: f64 = 900.0;
const SAMPLE_S: f64 = 30.0;

impl Drift {
    /// Nothing seen yet.
    pub fn new(scenario: &Scenario) -> Drift {
        Drift {
            limit: scenario.limits.cycle_k.clone(),
            rooms: scenario
                .zones
                .iter()
                .enumerate()
                .map(|(z, zone)| {
                    (
                        zone.name.clone(),
                        z,
                        zone.room,
                        SlidingRange::new(WINDOW_S, SAMPLE_S),
                        0.0,
                        f64::NAN,
                    )
                })
                .collect(),
            next_s: f64::NEG_INFINITY,
            settling: Settling::new(scenario),
        }
    }
}

impl Observer for Drift {
    fn observe(&mut self, sample: &Sample, dt_s: f64) {
        self.settling.see(&sample.zones, dt_s);
        if sample.t_s < self.next_s {
            return;
        }
        self.next_s = sample.t_s + SAMPLE_S;
        for (_, z, room, window, worst, worst_s) in &mut self.rooms {
            if !self.settling.is_settled(*z) {
                window.clear();
                continue;
            }
            let swing = window.push(sample.t_s, sample.rooms[*room].operative_c());
            if swing > *worst {
                *worst = swing;
                *worst_s = sample.t_s;
            }
        }
    }

    fn measures(&self, _end_s: f64) -> Vec<Measure> {
        self.rooms
            .iter()
            .map(|(name, _, _, _, worst, worst_s)| {
                Measure::new(
                    "swing_15min",
                    "largest swing of operative temperature in 15 min",
                    name.clone(),
                    if worst_s.is_finite() {
                        *worst
                    } else {
                        f64::NAN
                    },
                    Dimension::TemperatureDifference,
                )
                .at(*worst_s, "")
                .judged(&self.limit)
            })
            .collect()
    }
}

/// Share of occupied time above 60 % relative humidity, over all rooms.
#[derive(Clone, Debug)]
pub struct Humidity {
    limit: Limit,
    occupied_s: f64,
    humid_s: f64,
    worst: f64,
    worst_room: usize,
    worst_s: f64,
    names: Vec<String>,
}

impl Humidity {
    /// Nothing seen yet.
    pub fn new(scenario: &Scenario) -> Humidity {
        Humidity {
            limit: scenario.limits.humid_share.clone(),
            occupied_s: 0.0,
            humid_s: 0.0,
            worst: f64::NAN,
            worst_room: 0,
            worst_s: f64::NAN,
            names: scenario.rooms.iter().map(|r| r.name.clone()).collect(),
        }
    }
}

impl Observer for Humidity {
    fn observe(&mut self, sample: &Sample, dt_s: f64) {
        for (i, r) in sample.rooms.iter().enumerate() {
            if r.people <= 0.0 {
                continue;
            }
            self.occupied_s += dt_s;
            if r.rh > 0.60 {
                self.humid_s += dt_s;
            }
            if self.worst.is_nan() || r.rh > self.worst {
                (self.worst, self.worst_room, self.worst_s) = (r.rh, i, sample.t_s);
            }
        }
    }

    fn measures(&self, _end_s: f64) -> Vec<Measure> {
        let room = self.names.get(self.worst_room).map_or("", String::as_str);
        let note = if self.worst.is_nan() {
            String::new()
        } else {
            format!("highest {:.0} % in {room}", self.worst * 100.0)
        };
        vec![
            Measure::new(
                "humid_share",
                "share of occupied time above 60 % humidity",
                "house",
                self.humid_s / self.occupied_s,
                Dimension::Fraction,
            )
            .at(self.worst_s, note)
            .judged(&self.limit),
        ]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A triangle of 2 K peak to peak and 20 min period swings 1.5 K in any 15 min at most … except
    /// across a peak, where the window holds it whole: hand calculation.
    #[test]
    fn window_finds_the_swing_of_a_ramp() {
        let mut w = SlidingRange::new(WINDOW_S, SAMPLE_S);
        let mut worst = 0.0_f64;
        for k in 0..240 {
            let t = f64::from(k) * 30.0;
            worst = worst.max(w.push(t, t / 1800.0));
        }
        assert!((worst - 0.5).abs() < 1e-9, "{worst}");
    }
}
