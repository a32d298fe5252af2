//! Room pressure against the return's room: what shut doors do.
//!
//! A room that gets supply air and has no way back for it but a thin gap under its door fills until
//! the air leaves through leaks instead, while the return draws outdoor air into the hall.

use super::lasting::Lasting;
use super::{Limit, Measure, Observer, call_mask, calling};
use crate::engine::sample::Sample;
use crate::quantity::Dimension;
use crate::scenario::Scenario;

/// Watches the pressure of rooms against the room of the first return grille. What is judged lasted
/// for [`super::lasting::QUALIFY_S`].
#[derive(Clone, Debug)]
pub(crate) struct RoomPressure {
    limit: Limit,
    zones: Vec<String>,
    rooms: Vec<String>,
    hall: usize,
    changes: u64,
    now: Apart,
    lasting: Lasting,
    worst: Apart,
}

/// A room, its pressure against the return's, and when.
#[derive(Clone, Copy, Debug)]
struct Apart {
    room: usize,
    pa: f64,
    t_s: f64,
    calls: u64,
}

impl Apart {
    const NONE: Apart = Apart {
        room: 0,
        pa: f64::NAN,
        t_s: f64::NAN,
        calls: 0,
    };
}

impl RoomPressure {
    /// Nothing seen yet.
    pub(crate) fn new(scenario: &Scenario) -> RoomPressure {
        RoomPressure {
            limit: scenario.limits.room_pressure_pa.clone(),
            zones: scenario.zones.iter().map(|z| z.name.clone()).collect(),
            rooms: scenario.rooms.iter().map(|r| r.name.clone()).collect(),
            hall: scenario.air.returns.first().map_or(0, |r| r.room),
            changes: u64::MAX,
            now: Apart::NONE,
            lasting: Lasting::new(scenario.run.step_s),
            worst: Apart::NONE,
        }
    }

    /// The room with the largest difference at this instant.
    fn look(&self, sample: &Sample) -> Apart {
        let Some(hall) = sample.rooms.get(self.hall).map(|r| r.pressure_pa) else {
            return Apart::NONE;
        };
        let mut furthest = Apart::NONE;
        for (room, r) in sample.rooms.iter().enumerate() {
            let pa = r.pressure_pa - hall;
            if furthest.pa.is_nan() || pa.abs() > furthest.pa.abs() {
                furthest = Apart {
                    room,
                    pa,
                    ..furthest
                };
            }
        }
        furthest
    }
}

impl Observer for RoomPressure {
    fn observe(&mut self, sample: &Sample, dt_s: f64) {
        // Whenever a flow changes, so does the sound; pressures change with flows.
        if sample.sound.changes != self.changes {
            self.changes = sample.sound.changes;
            self.now = self.look(sample);
        }
        if self.lasting.see_for(self.now.pa.abs(), dt_s) {
            self.worst = Apart {
                // The least of the last seconds, on the side where the room is now.
                pa: self.lasting.value().copysign(self.now.pa),
                t_s: sample.t_s,
                calls: call_mask(sample),
                ..self.now
            };
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
                "room pressure against the return's room",
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
        assert!(none[0].value.is_nan() && none[0].passes().is_none());
        let hall = scenario.air.returns[0].room;
        let other = (hall + 1) % scenario.rooms.len();
        let mut sample = Sample {
            rooms: vec![Default::default(); scenario.rooms.len()],
            ..Default::default()
        };
        // A hall 12 Pa below outdoors, one room 8 Pa below that, the rest above it.
        sample.rooms[hall].pressure_pa = -12.0;
        sample.rooms[other].pressure_pa = -20.0;
        for i in (0..sample.rooms.len()).filter(|&i| i != hall && i != other) {
            sample.rooms[i].pressure_pa = -9.0;
        }
        let mut changes = 0;
        let mut hold = |watch: &mut RoomPressure, pa: f64, seconds: usize| {
            changes += 1;
            sample.sound.changes = changes;
            sample.rooms[other].pressure_pa = pa;
            for _ in 0..seconds {
                sample.t_s += 1.0;
                watch.observe(&sample, 1.0);
            }
        };
        assert_eq!(scenario.run.step_s, 1.0);
        hold(&mut watch, -20.0, 5);
        hold(&mut watch, -32.0, 4);
        hold(&mut watch, -19.0, 5);
        let m = &watch.measures(14.0)[0];
        assert_eq!((m.value, m.at_s), (8.0, Some(5.0)));
        assert_eq!(m.passes(), Some(false));
        hold(&mut watch, -22.0, 5);
        let m = &watch.measures(19.0)[0];
        assert_eq!((m.value, m.at_s), (10.0, Some(19.0)));
        let note = format!(
            "{} below {}; no zone calling",
            scenario.rooms[other].name, scenario.rooms[hall].name
        );
        assert_eq!(m.note.to_string(), note);
    }
}
