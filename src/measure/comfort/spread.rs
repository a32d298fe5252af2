//! Rooms alike.

use super::Settling;
use crate::engine::sample::{RoomSample, Sample};
use crate::measure::{Histogram, Limit, Measure, Note};
use crate::quantity::Dimension;
use crate::scenario::Scenario;

/// Spread between rooms: of each zone with several rooms, and of the whole house.
#[derive(Clone, Debug)]
pub(super) struct Spread {
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
    pub(super) fn new(scenario: &Scenario) -> Spread {
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
        }
    }

    /// Chooses the rooms that count in the spread of the house.
    pub(super) fn choose(&mut self, settling: &Settling) {
        for (counts, zone) in self.counts.iter_mut().zip(&self.zone_of_room) {
            *counts = zone.is_some_and(|z| settling.is_settled(z));
        }
        self.counted = self.counts.iter().filter(|&&counts| counts).count();
    }

    pub(super) fn see(&mut self, sample: &Sample, settling: &Settling, dt_s: f64) {
        for z in &mut self.zones {
            if settling.is_settled(z.zone) {
                let mut extremes = Extremes::NONE;
                for &room in &z.rooms {
                    extremes.see(&sample.rooms[room]);
                }
                z.spread.add(extremes.spread_k(), dt_s);
            }
        }
        if self.counted < 2 {
            return;
        }
        let mut extremes = Extremes::NONE;
        for (room, &counts) in sample.rooms.iter().zip(&self.counts) {
            if counts {
                extremes.see(room);
            }
        }
        self.house.add(extremes.spread_k(), dt_s);
    }

    pub(super) fn measures(&self) -> Vec<Measure> {
        let mut out = Vec::new();
        let mut say = |key, title, subject: &str, h: &Histogram, limit: &Limit| {
            let note = if h.worst().is_nan() {
                Note::default()
            } else {
                let mean = Note::from("mean ").value(h.mean(), Dimension::TemperatureDifference);
                mean.words(", worst ")
                    .value(h.worst(), Dimension::TemperatureDifference)
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
                "spread of the zone's rooms, 95 % of scheduled time below",
                &z.name,
                &z.spread,
                &self.zone_limit,
            );
        }
        say(
            "house_spread_p95",
            "spread of all scheduled rooms, 95 % of time below",
            "house",
            &self.house,
            &self.house_limit,
        );
        out
    }
}

/// The coldest and the warmest room, by operative temperature.
struct Extremes {
    low_c: f64,
    high_c: f64,
}

impl Extremes {
    const NONE: Extremes = Extremes {
        low_c: f64::INFINITY,
        high_c: f64::NEG_INFINITY,
    };

    fn see(&mut self, room: &RoomSample) {
        let t = room.operative_c();
        // Not f64::min and max, whose care for NaN costs three instructions more each.
        self.low_c = if t < self.low_c { t } else { self.low_c };
        self.high_c = if t > self.high_c { t } else { self.high_c };
    }

    fn spread_k(&self) -> f64 {
        self.high_c - self.low_c
    }
}
