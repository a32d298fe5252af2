//! Damp air where people are.

use crate::engine::sample::Sample;
use crate::measure::{Limit, Measure, Observer};
use crate::quantity::Dimension;
use crate::scenario::Scenario;

/// Share of occupied time above 60 % relative humidity, over all rooms.
#[derive(Clone, Debug)]
pub(crate) struct Humidity {
    limit: Limit,
    occupied_s: f64,
    humid_s: f64,
    worst: f64,
    worst_room: usize,
    worst_s: f64,
    /// A humidity up to this is neither humid nor the worst so far.
    notable: f64,
    names: Vec<String>,
}

/// Relative humidity above which air is humid.
pub(crate) const HUMID: f64 = 0.60;

impl Humidity {
    /// Nothing seen yet.
    pub(crate) fn new(scenario: &Scenario) -> Humidity {
        Humidity {
            limit: scenario.limits.humid_share.clone(),
            occupied_s: 0.0,
            humid_s: 0.0,
            worst: f64::NAN,
            worst_room: 0,
            worst_s: f64::NAN,
            notable: f64::NEG_INFINITY,
            names: scenario.rooms.iter().map(|r| r.name.clone()).collect(),
        }
    }

    fn note(&mut self, room: usize, rh: f64, t_s: f64, dt_s: f64) {
        if rh > HUMID {
            self.humid_s += dt_s;
        }
        if self.worst.is_nan() || rh > self.worst {
            (self.worst, self.worst_room, self.worst_s) = (rh, room, t_s);
        }
        self.notable = self.worst.min(HUMID);
    }
}

impl Observer for Humidity {
    fn observe(&mut self, sample: &Sample, dt_s: f64) {
        for (i, r) in sample.rooms.iter().enumerate() {
            if r.people <= 0.0 {
                continue;
            }
            self.occupied_s += dt_s;
            if r.rh > self.notable {
                self.note(i, r.rh, sample.t_s, dt_s);
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
                "occupied time above 60 % relative humidity",
                "house",
                self.humid_s / self.occupied_s,
                Dimension::Fraction,
            )
            .at(self.worst_s, note)
            .judged(&self.limit),
        ]
    }
}
