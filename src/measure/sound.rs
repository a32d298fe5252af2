//! Sound in every room over a run: levels by day and night, the loudest minute and what dominated it.

use super::loudest_minute::{LoudStretch, LoudestMinute};
use super::noise_rating::{NcRating, NcValue, nc_rating};
use super::{Measure, Note, Observer, call_mask, calling};
use crate::engine::sample::Sample;
use crate::plant::sound::heard::Heard;
use crate::plant::sound::octave::{A_WEIGHT, OCTAVE_HZ, energy_to_db, to_db};
use crate::plant::sound::{RoomSound, Source, UNCERTAINTY_DBA, UNCERTAINTY_MEASURED_FAN_DBA};
use crate::quantity::Dimension;
use crate::scenario::Scenario;
use crate::scenario::sound::RoomSoundLimit;

/// First and last minute of the day for noise, 07:00 to 22:00 (WHO Guidelines for Community Noise
/// count the night from 22 or 23 h for eight or nine hours; the hours are our own choice).
const DAY: std::ops::Range<u32> = 7 * 60..22 * 60;
/// A damper more open than this counts as open in the combination of a loudest minute.
const OPEN: f64 = 0.05;

/// Whether a minute of the week is at night.
pub(crate) fn is_night(minute_of_week: u32) -> bool {
    !DAY.contains(&(minute_of_week % 1440))
}

/// The loudest minute of a room.
#[derive(Clone, Debug, PartialEq)]
pub struct LoudRoom {
    /// Index of the room.
    pub room: usize,
    /// When, and the mean energies by source and octave.
    pub stretch: LoudStretch,
    /// Which zones were open and which called, in words.
    pub combination: String,
}

impl LoudRoom {
    /// Rating of its spectrum.
    pub fn nc(&self) -> NcRating {
        nc_rating(&to_db(&self.stretch.sound.total()))
    }
}

/// What may be expected of the levels, in one sentence.
pub(crate) fn expected_band(measured_fan: bool) -> String {
    let (level, fan) = if measured_fan {
        (UNCERTAINTY_MEASURED_FAN_DBA, "with")
    } else {
        (UNCERTAINTY_DBA, "without")
    };
    format!(
        "Expect sound levels within ±{level:.0} dB(A) ({fan} measured fan octaves), differences \
         between states of one system within ±2 to 3 dB; tones and whistles are not predicted."
    )
}

/// Octave with the largest part of a source's A-weighted energy.
pub(crate) fn loudest_octave(sound: &RoomSound, source: Source) -> usize {
    let weighted = sound.of(source).iter().zip(A_WEIGHT).map(|(e, a)| e * a);
    let start = (0, f64::NEG_INFINITY);
    weighted
        .enumerate()
        .fold(start, |best, now| if now.1 > best.1 { now } else { best })
        .0
}

/// An octave for people: `250 Hz`, `2 kHz`.
pub(crate) fn octave_text(band: usize) -> String {
    match OCTAVE_HZ.get(band) {
        Some(f) if *f >= 1000.0 => format!("{} kHz", f / 1000.0),
        Some(f) => format!("{f} Hz"),
        None => String::new(),
    }
}

/// Whether a verdict need not list this measure of sound: it passes, or the same room's loudest
/// minute, which is listed, fails.
pub(crate) fn is_folded(m: &Measure, all: &[Measure]) -> bool {
    if !matches!(m.key, "sound_nc" | "sound_laeq_day" | "sound_laeq_night") {
        return false;
    }
    let loudest = |other: &&Measure| other.key == "sound_loudest" && other.subject == m.subject;
    !m.fails() || all.iter().find(loudest).is_some_and(Measure::fails)
}

/// The day or the night, by room.
#[derive(Clone, Debug)]
struct Part {
    seconds: f64,
    energy_s: Vec<f64>,
    above_s: Vec<f64>,
}

impl Part {
    fn new(rooms: usize) -> Part {
        Part {
            seconds: 0.0,
            energy_s: vec![0.0; rooms],
            above_s: vec![0.0; rooms],
        }
    }

    /// Adds `dt_s` seconds of the A-weighted energies in the rooms.
    fn add(&mut self, dt_s: f64, a_energies: &[f64]) {
        self.seconds += dt_s;
        for (sum, energy) in self.energy_s.iter_mut().zip(a_energies) {
            *sum += dt_s * energy;
        }
    }

    fn laeq_dba(&self, room: usize) -> Option<f64> {
        (self.seconds > 0.0).then(|| energy_to_db(self.energy_s[room] / self.seconds))
    }
}

#[derive(Clone, Debug)]
struct Room {
    name: String,
    limit: RoomSoundLimit,
    limit_energy: f64,
}

/// Watches sound.
#[derive(Clone, Debug)]
pub struct Sound {
    rooms: Vec<Room>,
    /// By day and by night.
    parts: [Part; 2],
    zones: Vec<String>,
    /// Outlets of each zone.
    outlets: Vec<Vec<usize>>,
    loudest: LoudestMinute,
    changes: u64,
    /// A-weighted energy in each room now, and whether any is above its limit.
    a_energies: Vec<f64>,
    any_above: bool,
    /// Zones with a damper open now, one bit each.
    open: u64,
    zone_changes: u64,
    /// Time from which zones are open and call so; a new entry only where that changes.
    combinations: Vec<(f64, u64, u64)>,
}

impl Sound {
    /// Nothing measured yet.
    pub fn new(scenario: &Scenario) -> Sound {
        let limits = scenario.rooms.iter().zip(&scenario.sound.limits);
        let n = scenario.rooms.len();
        let model = &scenario.sound.model;
        Sound {
            rooms: limits
                .map(|(room, limit)| Room {
                    name: room.name.clone(),
                    limit: limit.clone(),
                    limit_energy: 10f64.powf(0.1 * limit.dba.value),
                })
                .collect(),
            parts: [Part::new(n), Part::new(n)],
            zones: scenario.zones.iter().map(|z| z.name.clone()).collect(),
            outlets: scenario.zones.iter().map(|z| z.outlets.clone()).collect(),
            loudest: LoudestMinute::with_sources(
                model.initial().rooms,
                |room| model.sources(room),
                scenario.run.step_s,
            ),
            changes: u64::MAX,
            a_energies: vec![0.0; n],
            any_above: false,
            open: 0,
            zone_changes: u64::MAX,
            combinations: Vec::with_capacity(1024),
        }
    }

    /// Takes in a sound that changed.
    fn take_in(&mut self, heard: &[Heard]) {
        self.any_above = false;
        let rooms = self.a_energies.iter_mut().zip(&self.rooms);
        for ((energy, room), heard) in rooms.zip(heard) {
            *energy = heard.a_energy();
            self.any_above |= *energy > room.limit_energy;
        }
    }

    /// Counts `dt_s` seconds of the present sound to the day or the night.
    fn count(&mut self, part: usize, dt_s: f64) {
        let part = &mut self.parts[part];
        part.add(dt_s, &self.a_energies);
        if !self.any_above {
            return;
        }
        let rooms = self.rooms.iter().zip(&self.a_energies);
        for (above_s, (room, &energy)) in part.above_s.iter_mut().zip(rooms) {
            if energy > room.limit_energy {
                *above_s += dt_s;
            }
        }
    }

    /// Zones with a damper open, one bit each.
    fn open_mask(&self, sample: &Sample) -> u64 {
        let zones = self.outlets.iter().take(64).enumerate();
        zones.fold(0, |mask, (i, outlets)| {
            let open = outlets
                .iter()
                .any(|&o| sample.outlets.get(o).is_some_and(|o| o.opening > OPEN));
            mask | u64::from(open) << i
        })
    }

    /// Notes which zones are open and call, where that changes.
    fn combine(&mut self, start_s: f64, sample: &Sample, moved: bool) {
        if moved {
            self.open = self.open_mask(sample);
        }
        let now = (self.open, call_mask(sample));
        if self.combinations.last().is_none_or(|c| (c.1, c.2) != now) {
            self.combinations.push((start_s, now.0, now.1));
        }
    }

    fn combination(&self, stretch: &LoudStretch) -> String {
        let middle = stretch.start_s + 0.5 * stretch.duration_s;
        let after = self.combinations.partition_point(|c| c.0 <= middle);
        let Some(&(_, open, calls)) = self.combinations.get(after.saturating_sub(1)) else {
            return String::new();
        };
        let names = |mask: u64| -> Vec<&str> {
            let zones = self.zones.iter().enumerate();
            zones
                .filter(|(i, _)| mask >> i & 1 == 1)
                .map(|(_, z)| z.as_str())
                .collect()
        };
        let all = self.zones.len();
        let open = match names(open) {
            open if open.len() == all => "all zones open".to_string(),
            open if open.is_empty() => "all zones shut".to_string(),
            open => format!("open: {}", open.join(", ")),
        };
        format!("{}; {open}", calling(&self.zones, calls))
    }

    fn of_room(&self, i: usize, room: &Room, out: &mut Vec<Measure>) {
        let measure = |key, title, value, dimension| {
            Measure::new(key, title, room.name.clone(), value, dimension)
        };
        let [day, night] = &self.parts;
        let level_of = |note: Note, what: &str, part: &Part| {
            let Some(level) = part.laeq_dba(i) else {
                return note;
            };
            let note = note
                .words(format!("; {what} LAeq "))
                .value(level, Dimension::SoundLevel);
            match part.above_s[i] {
                above if above >= 60.0 => note
                    .words(", ")
                    .value(above, Dimension::Time)
                    .words(" above the limit"),
                _ => note,
            }
        };
        const NC_TITLE: &str = "noise criterion (NC) of the loudest minute";
        if let Some(loud) = self.loudest.loudest(i) {
            let sound = &loud.sound;
            let first = sound.ranking()[0];
            let octave = octave_text(loudest_octave(sound, first.source));
            let rating = nc_rating(&to_db(&sound.total()));
            let combination = self.combination(&loud);
            let note = Note::from(format!(
                "{combination}; {} dominates ({:.0} %, most at {octave}); {}",
                first.source.name(),
                100.0 * first.share,
                rating.value,
            ));
            let note = level_of(level_of(note, "day", day), "night", night);
            let level = sound.dba();
            let key = "sound_loudest";
            out.push(
                measure(key, "loudest minute", level, Dimension::SoundLevel)
                    .at(loud.start_s, note)
                    .judged(&room.limit.dba),
            );
            let octave = octave_text(rating.governing_band);
            let source = sound.loudest_in(rating.governing_band).name();
            let note = format!(
                "{}; dominant source at {octave}: {source}; {combination}",
                rating.value
            );
            let number = nc_number(rating.value);
            out.push(
                measure("sound_nc", NC_TITLE, number, Dimension::Count)
                    .at(loud.start_s, note)
                    .judged(&room.limit.nc),
            );
        } else {
            let (key, title) = ("sound_loudest", "loudest minute");
            let none = measure(key, title, f64::NAN, Dimension::SoundLevel);
            out.push(none.judged(&room.limit.dba));
            let none = measure("sound_nc", NC_TITLE, f64::NAN, Dimension::Count);
            out.push(none.judged(&room.limit.nc));
        }
        let parts = [
            (
                day,
                ("sound_laeq_day", "mean level by day (LAeq, 07 to 22 h)"),
                ("sound_above_day", "time above the sound limit by day"),
            ),
            (
                night,
                ("sound_laeq_night", "mean level by night (LAeq, 22 to 07 h)"),
                ("sound_above_night", "time above the sound limit by night"),
            ),
        ];
        for (part, mean, above) in parts {
            let level = part.laeq_dba(i).unwrap_or(f64::NAN);
            out.push(measure(mean.0, mean.1, level, Dimension::SoundLevel).judged(&room.limit.dba));
            out.push(measure(above.0, above.1, part.above_s[i], Dimension::Time));
        }
    }
}

/// A rating as a number: the edge of the curves where there is none, and one over above NC-65, so
/// that comparing it with a limit is right.
fn nc_number(value: NcValue) -> f64 {
    match value {
        NcValue::Below15 => 15.0,
        NcValue::Within(_) => value.rounded_up().unwrap_or(f64::NAN),
        NcValue::Above65 => 66.0,
    }
}

impl Observer for Sound {
    fn observe(&mut self, sample: &Sample, dt_s: f64) {
        let start_s = sample.t_s - dt_s;
        let sound = &sample.sound;
        let changed = sound.changes != self.changes;
        if changed {
            self.changes = sound.changes;
            self.loudest.push(start_s, &sound.state, &sound.heard);
            self.take_in(&sound.heard);
        } else {
            self.loudest.push_same(start_s);
        }
        self.loudest.push_on(start_s, dt_s);
        self.count(usize::from(is_night(sample.minute_of_week)), dt_s);
        // While the fan runs, no damper moves without a change of flow, and so of sound.
        let moved = changed || sample.air.fan_speed <= 0.0;
        if moved || sample.zone_changes != self.zone_changes {
            self.zone_changes = sample.zone_changes;
            self.combine(start_s, sample, moved);
        }
    }

    fn measures(&self, _end_s: f64) -> Vec<Measure> {
        let mut out = Vec::with_capacity(6 * self.rooms.len());
        for (i, room) in self.rooms.iter().enumerate() {
            self.of_room(i, room, &mut out);
        }
        out
    }

    fn loudest(&self) -> Vec<LoudRoom> {
        let room = |room: usize| {
            let stretch = self.loudest.loudest(room)?;
            Some(LoudRoom {
                room,
                combination: self.combination(&stretch),
                stretch,
            })
        };
        (0..self.rooms.len()).filter_map(room).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_night_runs_from_ten_to_seven() {
        for (minute, night) in [
            (0, true),
            (419, true),
            (420, false),
            (1319, false),
            (1320, true),
        ] {
            assert_eq!(is_night(minute), night, "{minute}");
            assert_eq!(is_night(minute + 3 * 1440), night, "{minute} on Thursday");
        }
    }

    #[test]
    fn laeq_is_the_energy_mean_of_python_acoustics() {
        let file = concat!(
            env!("CARGO_MANIFEST_DIR"),
            "/tests/reference/sound_rating.json"
        );
        let json = std::fs::read_to_string(file).unwrap();
        let json: serde_json::Value = serde_json::from_str(&json).unwrap();
        let mut part = Part::new(1);
        assert_eq!(part.laeq_dba(0), None);
        for level in json["leq"]["levels_db"].as_array().unwrap() {
            part.add(1.0, &[10f64.powf(0.1 * level.as_f64().unwrap())]);
        }
        let leq = json["leq"]["leq_db"].as_f64().unwrap();
        assert!((part.laeq_dba(0).unwrap() - leq).abs() < 1e-9);
    }

    #[test]
    fn ratings_off_the_curves_compare_rightly() {
        assert!(nc_number(NcValue::Below15) <= 15.0);
        assert!(nc_number(NcValue::Above65) > 65.0);
        assert_eq!(nc_number(NcValue::Within(27.2)), 28.0);
    }
}
