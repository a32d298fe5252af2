//! How far shut doors set rooms apart from the hall: pressure of every room against the return's.
//!
//! A room that gets supply air and has no way back for it but a thin gap under its door fills until
//! the air leaves through leaks instead, while the return draws outdoor air into the hall.

use super::{Limit, Measure, Observer, call_mask, calling};
use crate::quantity::Dimension;
use crate::run::sample::Sample;
use crate::scenario::Scenario;

/// Watches the pressure of rooms against the room of the first return grille.
#[derive(Clone, Debug)]
pub struct RoomPressure {
    limit: Limit,
    zones: Vec<String>,
    rooms: Vec<String>,
    hall: usize,
    changes: u64,
    worst: Apart,
}

/// A room, how far it stands apart, and when.
#[derive(Clone, Copy, Debug)]
struct Apart {
    room: usize,
    pa: f64,
    t_s: f64,
    calls: u64,
}

impl RoomPressure {
    /// Nothing seen yet.
    pub fn new(scenario: &Scenario) -> RoomPressure {
        RoomPressure {
            limit: scenario.limits.room_pressure_pa.clone(),
            zones: scenario.zones.iter().map(|z| z.name.clone()).collect(),
            rooms: scenario.rooms.iter().map(|r| r.name.clone()).collect(),
            hall: scenario.air.returns.first().map_or(0, |r| r.room),
            changes: u64::MAX,
            worst: Apart {
                room: 0,
                pa: f64::NAN,
                t_s: f64::NAN,
                calls: 0,
            },
        }
    }
}

impl Observer for RoomPressure {
    fn observe(&mut self, sample: &Sample, _dt_s: f64) {
        // Whenever a flow changes, so does the sound; pressures change with flows.
        if sample.sound.changes == self.changes {
            return;
        }
        self.changes = sample.sound.changes;
        let Some(hall) = sample.rooms.get(self.hall).map(|r| r.pressure_pa) else {
            return;
        };
        for (room, r) in sample.rooms.iter().enumerate() {
            let pa = r.pressure_pa - hall;
            if self.worst.pa.is_nan() || pa.abs() > self.worst.pa.abs() {
                self.worst = Apart {
                    room,
                    pa,
                    t_s: sample.t_s,
                    calls: call_mask(sample),
                };
            }
        }
    }

    fn measures(&self, _end_s: f64) -> Vec<Measure> {
        let w = &self.worst;
        let side = if w.pa < 0.0 { "below" } else { "above" };
        let name = |room: usize| self.rooms.get(room).map_or("", String::as_str);
        let note = if w.pa.abs() > 0.0 {
            let calls = calling(&self.zones, w.calls);
            format!("{} {side} {}; {calls}", name(w.room), name(self.hall))
        } else {
            String::new()
        };
        vec![
            Measure::new(
                "room_pressure_worst",
                "furthest pressure of a room from that of the return's",
                "house",
                w.pa.abs(),
                Dimension::Pressure,
            )
            .at(w.t_s, note)
            .judged(&self.limit),
        ]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_furthest_room_is_named_with_its_side_and_time() {
        let scenario = Scenario::embedded("family-house").unwrap();
        let mut watch = RoomPressure::new(&scenario);
        let none = watch.measures(0.0);
        assert!(none[0].value.is_nan() && none[0].holds().is_none());
        let hall = scenario.air.returns[0].room;
        let other = (hall + 1) % scenario.rooms.len();
        let mut sample = Sample {
            rooms: vec![Default::default(); scenario.rooms.len()],
            ..Default::default()
        };
        // A hall 12 Pa below outdoors, one room 8 Pa below that, the rest above it.
        sample.rooms[hall].pressure_pa = -12.0;
        sample.rooms[other].pressure_pa = -20.0;
        for (changes, pa) in [(1, -4.0), (2, -9.0)] {
            sample.t_s += 1.0;
            sample.sound.changes = changes;
            for (i, r) in sample.rooms.iter_mut().enumerate() {
                if i != hall && i != other {
                    r.pressure_pa = pa;
                }
            }
            watch.observe(&sample, 1.0);
        }
        let m = &watch.measures(2.0)[0];
        // In the first second those rooms stand 8 Pa above the hall, the other one 8 Pa below.
        assert_eq!((m.value, m.at_s), (8.0, Some(1.0)));
        assert_eq!(m.holds(), Some(false));
        sample.t_s = 3.0;
        sample.sound.changes = 3;
        sample.rooms[other].pressure_pa = -22.0;
        watch.observe(&sample, 1.0);
        let m = &watch.measures(3.0)[0];
        assert_eq!((m.value, m.at_s), (10.0, Some(3.0)));
        let told = format!(
            "{} below {}; no zone calling",
            scenario.rooms[other].name, scenario.rooms[hall].name
        );
        assert_eq!(m.note, told);
    }
}
