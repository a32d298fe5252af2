//! How loud a room is: NC and NR ratings, energy means over time, limits by use.
//!
//! NC is rated by tangency alone against the classic Beranek curves. ANSI S12.2 tries the speech
//! interference level first and differs from these curves by 1 dB in places: up to 1 NC here.

use std::fmt;

use crate::plant::sound::heard::Heard;
use crate::plant::sound::octave::{Octaves, a_energy, energy_to_db};
use crate::plant::sound::{RoomSound, SoundState};

/// The NC curves: number, then levels in dB per octave (Beranek; the 88 values of
/// python-acoustics 0.2.6 are the same).
pub const NC_CURVES: [(f64, Octaves); 11] = [
    (15.0, [47.0, 36.0, 29.0, 22.0, 17.0, 14.0, 12.0, 11.0]),
    (20.0, [51.0, 40.0, 33.0, 26.0, 22.0, 19.0, 17.0, 16.0]),
    (25.0, [54.0, 44.0, 37.0, 31.0, 27.0, 24.0, 22.0, 21.0]),
    (30.0, [57.0, 48.0, 41.0, 35.0, 31.0, 29.0, 28.0, 27.0]),
    (35.0, [60.0, 52.0, 45.0, 40.0, 36.0, 34.0, 33.0, 32.0]),
    (40.0, [64.0, 56.0, 50.0, 45.0, 41.0, 39.0, 38.0, 37.0]),
    (45.0, [67.0, 60.0, 54.0, 49.0, 46.0, 44.0, 43.0, 42.0]),
    (50.0, [71.0, 64.0, 58.0, 54.0, 51.0, 49.0, 48.0, 47.0]),
    (55.0, [74.0, 67.0, 62.0, 58.0, 56.0, 54.0, 53.0, 52.0]),
    (60.0, [77.0, 71.0, 67.0, 63.0, 61.0, 59.0, 58.0, 57.0]),
    (65.0, [80.0, 75.0, 71.0, 68.0, 66.0, 64.0, 63.0, 62.0]),
];

/// An NC number, never extrapolated beyond the curves.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub enum NcValue {
    /// Under the NC-15 curve in every octave.
    Below15,
    /// Between curves, before rounding.
    Within(f64),
    /// Over the NC-65 curve in some octave.
    Above65,
}

impl NcValue {
    /// Rounded up to a whole number, our own rule; none outside the curves.
    pub fn rounded_up(self) -> Option<f64> {
        match self {
            Self::Within(value) => Some((value - 1e-9).ceil()),
            Self::Below15 | Self::Above65 => None,
        }
    }

    /// Whether it is over a limit that lies within the curves.
    pub fn exceeds(self, limit_nc: f64) -> bool {
        match self {
            Self::Below15 => false,
            Self::Within(value) => value - 1e-9 > limit_nc,
            Self::Above65 => true,
        }
    }
}

impl fmt::Display for NcValue {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Below15 => f.pad("<NC-15"),
            Self::Above65 => f.pad(">NC-65"),
            Self::Within(value) => f.pad(&format!("NC-{:.0}", (value - 1e-9).ceil())),
        }
    }
}

/// A rating and the octave that sets it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NcRating {
    /// The number.
    pub value: NcValue,
    /// Index of the governing octave, 0 for 63 Hz. Under NC-15 and over NC-65, the octave that
    /// stands highest against that curve.
    pub governing_band: usize,
}

/// NC by tangency of levels in dB per octave: the highest number any octave reaches, linear
/// between curves.
pub fn nc_rating(levels_db: &Octaves) -> NcRating {
    let (lowest, floor) = &NC_CURVES[0];
    let (_, ceiling) = &NC_CURVES[NC_CURVES.len() - 1];
    let over = |curve: &Octaves| highest(std::array::from_fn(|b| levels_db[b] - curve[b]));
    let (above, band) = over(ceiling);
    if above > 0.0 {
        return NcRating {
            value: NcValue::Above65,
            governing_band: band,
        };
    }
    let (above, band) = over(floor);
    if above.is_nan() || above < 0.0 {
        return NcRating {
            value: NcValue::Below15,
            governing_band: band,
        };
    }
    let number = |band: usize| {
        let level = levels_db[band];
        let mut pairs = NC_CURVES.iter().zip(&NC_CURVES[1..]);
        // Curves rise everywhere, so the last pair that starts at or below the level brackets it;
        // an octave under NC-15 has none, and another governs.
        let bracket = pairs.rfind(|((_, low), _)| level >= low[band]);
        bracket.map_or(lowest - 5.0, |((nc, low), (next, high))| {
            nc + (next - nc) * (level - low[band]) / (high[band] - low[band])
        })
    };
    let (value, governing_band) = highest(std::array::from_fn(number));
    NcRating {
        value: NcValue::Within(value),
        governing_band,
    }
}

/// NR number before rounding, and its governing octave: `max (L − a) / b` (ISO/R 1996:1971, as a
/// secondary text has it; its 0.930 for `b` at 500 Hz is taken for a misprint of 0.974, which
/// gives the NR-45 curve of the same text).
pub fn nr_rating(levels_db: &Octaves) -> (f64, usize) {
    const A: Octaves = [35.5, 22.0, 12.0, 4.8, 0.0, -3.5, -6.1, -8.0];
    const B: Octaves = [0.790, 0.870, 0.930, 0.974, 1.0, 1.015, 1.025, 1.030];
    highest(std::array::from_fn(|b| (levels_db[b] - A[b]) / B[b]))
}

/// Largest value and where it stands; the first of equals.
fn highest(values: Octaves) -> (f64, usize) {
    let first = (values[0], 0);
    values
        .into_iter()
        .zip(0..)
        .fold(first, |best, v| if v.0 > best.0 { v } else { best })
}

/// Energy mean of the A-weighted level in each room over a whole run.
#[derive(Debug, Clone, PartialEq)]
pub struct LaeqMeter {
    seconds: f64,
    energy_s: Vec<f64>,
}

impl LaeqMeter {
    /// A meter for that many rooms.
    pub fn new(rooms: usize) -> Self {
        Self {
            seconds: 0.0,
            energy_s: vec![0.0; rooms],
        }
    }

    /// Adds the sound of `duration_s` seconds.
    pub fn push(&mut self, duration_s: f64, state: &SoundState) {
        self.seconds += duration_s;
        for (sum, room) in self.energy_s.iter_mut().zip(&state.rooms) {
            *sum += duration_s * room.a_energy();
        }
    }

    /// LAeq of a room, dB(A); none before the first push or for a room that is not there.
    pub fn laeq_dba(&self, room: usize) -> Option<f64> {
        let energy = *self.energy_s.get(room)?;
        (self.seconds > 0.0).then(|| energy_to_db(energy / self.seconds))
    }
}

/// The loudest stretch found by a [`LoudestMinute`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LoudStretch {
    /// Start time, as pushed, s.
    pub start_s: f64,
    /// Length, s: 60, or the whole run if that is shorter.
    pub duration_s: f64,
    /// Mean energies over it, by source and octave.
    pub sound: RoomSound,
}

/// Finds the minute of highest A-weighted energy in each room, by a running mean.
///
/// Keeps two minutes of spectra, one each time the sound changes. Those of a loudest minute are put
/// aside once it has stood for a minute; its mean is worked out only when asked for.
#[derive(Debug, Clone)]
pub struct LoudestMinute {
    rooms: usize,
    step_s: f64,
    window: usize,
    count: usize,
    /// The last two minutes, a ring.
    steps: Vec<Step>,
    /// Where the next step goes in the ring.
    next: usize,
    /// Spectra by slot and room; a new slot is taken only when the sound changes.
    sounds: Vec<RoomSound>,
    /// The same, A-weighted.
    a_energies: Vec<f64>,
    slot: usize,
    /// A-weighted energy of the minute that ends now, by room, and the most it has been.
    running: Vec<f64>,
    most: Vec<f64>,
    best: Vec<Best>,
    /// The step at which the next spectra must be put aside.
    settles_at: usize,
}

#[derive(Debug, Clone, Copy, Default)]
struct Step {
    time_s: f64,
    slot: usize,
}

/// The loudest minute of a room.
#[derive(Debug, Clone)]
struct Best {
    last: usize,
    /// From here on once it has stood for a minute; until then it is in the ring.
    start_s: f64,
    /// Its sounds, and for how many steps each lasted; empty while it is in the ring.
    runs: Vec<(usize, RoomSound)>,
}

impl LoudestMinute {
    /// A finder for that many rooms and steps of `step_s` seconds; steps are whole parts of a
    /// minute, or the window is the nearest whole number of them.
    pub fn new(rooms: usize, step_s: f64) -> Self {
        let window = (60.0 / step_s).round().clamp(1.0, 6_000.0) as usize;
        let best = || Best {
            last: 0,
            start_s: f64::NAN,
            runs: Vec::with_capacity(window),
        };
        Self {
            rooms,
            step_s,
            window,
            count: 0,
            // Steps before the first are silent, as slot 0 is until all others have been used.
            steps: vec![Step::default(); 2 * window],
            next: 0,
            sounds: vec![RoomSound::SILENT; 2 * window * rooms],
            a_energies: vec![0.0; 2 * window * rooms],
            slot: 0,
            running: vec![0.0; rooms],
            most: vec![-1.0; rooms],
            best: (0..rooms).map(|_| best()).collect(),
            settles_at: usize::MAX,
        }
    }

    /// Adds the sound of the step that starts at `time_s`; `heard` is the short form of `state`.
    pub fn push(&mut self, time_s: f64, state: &SoundState, heard: &[Heard]) {
        // As many slots as steps in the ring: one is used again only when its last step has left.
        self.slot = (self.slot + 1) % (2 * self.window);
        let slot = self.slot * self.rooms..(self.slot + 1) * self.rooms;
        let rooms = self.rooms.min(state.rooms.len());
        self.sounds[slot.start..][..rooms].copy_from_slice(&state.rooms[..rooms]);
        for (held, heard) in self.a_energies[slot].iter_mut().zip(heard) {
            *held = a_energy(&heard.bands);
        }
        self.push_same(time_s);
    }

    /// Adds a step that sounds exactly as the one before it; silence if there was none.
    pub fn push_same(&mut self, time_s: f64) {
        let (now, slot) = (self.count, self.slot);
        self.count += 1;
        self.steps[self.next] = Step { time_s, slot };
        // The step that leaves the window stands half a ring back.
        let left = if self.next < self.window {
            self.next + self.window
        } else {
            self.next - self.window
        };
        self.next += 1;
        if self.next == self.steps.len() {
            self.next = 0;
        }
        let left = self.steps[left].slot;
        let entering = &self.a_energies[slot * self.rooms..][..self.rooms];
        let leaving = &self.a_energies[left * self.rooms..][..self.rooms];
        let louder = slide(&mut self.running, &self.most, entering, leaving);
        if now + 1 < self.window {
            return;
        }
        if louder {
            self.note(now);
        }
        if now == self.settles_at {
            self.settle(now);
        }
    }

    /// Notes the rooms whose loudest minute ends with the step `now`.
    fn note(&mut self, now: usize) {
        let rooms = self.running.iter().zip(&mut self.most).zip(&mut self.best);
        for ((running, most), best) in rooms {
            if running > most {
                *most = *running;
                best.last = now;
                best.runs.clear();
                self.settles_at = self.settles_at.min(now + self.window);
            }
        }
    }

    /// Puts aside the sounds of the minutes that have stood for a minute, before the ring loses them.
    #[cold]
    fn settle(&mut self, now: usize) {
        self.settles_at = usize::MAX;
        for (room, best) in self.best.iter_mut().enumerate() {
            if !best.runs.is_empty() {
                continue;
            }
            if best.last + self.window > now {
                self.settles_at = self.settles_at.min(best.last + self.window);
                continue;
            }
            let first = (best.last + 1).saturating_sub(self.window);
            let mut before = None;
            best.start_s = self.steps[first % self.steps.len()].time_s;
            for step in first..=best.last {
                let slot = self.steps[step % self.steps.len()].slot;
                match best.runs.last_mut() {
                    Some(run) if before == Some(slot) => run.0 += 1,
                    _ => best.runs.push((1, self.sounds[slot * self.rooms + room])),
                }
                before = Some(slot);
            }
        }
    }

    /// The loudest minute of a room so far; none before the first push or for a room that is not
    /// there.
    pub fn loudest(&self, room: usize) -> Option<LoudStretch> {
        let best = self.best.get(room)?;
        let steps = self.window.min(self.count);
        let (start_s, sound) = if steps == 0 {
            return None;
        } else if best.runs.is_empty() {
            let last = best.last.max(steps - 1);
            let ring = (last + 1 - steps..=last).map(|step| self.steps[step % self.steps.len()]);
            let start_s = ring.clone().next().map_or(f64::NAN, |step| step.time_s);
            let sounds = ring.map(|step| (1, &self.sounds[step.slot * self.rooms + room]));
            (start_s, mean(steps, sounds))
        } else {
            let runs = best.runs.iter().map(|(steps, sound)| (*steps, sound));
            (best.start_s, mean(steps, runs))
        };
        Some(LoudStretch {
            start_s,
            duration_s: steps as f64 * self.step_s,
            sound,
        })
    }
}

/// Moves the running sums on by a step; says whether one is more than it has ever been. A function of
/// its own, so that the compiler knows the four apart and makes vector code of it.
fn slide(running: &mut [f64], most: &[f64], entering: &[f64], leaving: &[f64]) -> bool {
    let mut louder = false;
    let sums = running.iter_mut().zip(most);
    for ((running, most), (enters, leaves)) in sums.zip(entering.iter().zip(leaving)) {
        *running = *running - leaves + enters;
        louder |= *running > *most;
    }
    louder
}

/// Mean over `steps` of sounds that last so many steps each.
fn mean<'a>(steps: usize, runs: impl Iterator<Item = (usize, &'a RoomSound)>) -> RoomSound {
    let mut mean = RoomSound::SILENT;
    let part = 1.0 / steps as f64;
    for (times, sound) in runs {
        let sums = mean.by_source.iter_mut().zip(&sound.by_source);
        for (sum, now) in sums.flat_map(|(sums, now)| sums.iter_mut().zip(now)) {
            for _ in 0..times {
                *sum += part * now;
            }
        }
    }
    mean
}

/// What continuous sound from building services may reach in a room, by its use.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RoomLimit {
    /// Use of the room.
    pub room_use: &'static str,
    /// Limit, dB(A).
    pub dba: f64,
    /// Limit, NC.
    pub nc: f64,
    /// Where both come from, and how well that is known.
    pub source: &'static str,
}

const fn limit(room_use: &'static str, dba: f64, nc: f64, source: &'static str) -> RoomLimit {
    RoomLimit {
        room_use,
        dba,
        nc,
        source,
    }
}

/// Limits by use. Published tables disagree by 5 dB and more; a contract or code goes first.
pub const ROOM_LIMITS: &[RoomLimit] = &[
    limit(
        "bedroom",
        30.0,
        25.0,
        "WHO Guidelines for Community Noise 1999 (30 dB LAeq at night); classic NC design table \
         (bedrooms NC 25-35)",
    ),
    limit(
        "living room",
        35.0,
        30.0,
        "WHO Guidelines for Community Noise 1999 (dwelling, day); ASHRAE HVAC Applications, \
         living areas NC 30 (from memory)",
    ),
    limit(
        "kitchen",
        40.0,
        35.0,
        "ASHRAE HVAC Applications, residences (from memory)",
    ),
    limit(
        "bathroom",
        40.0,
        35.0,
        "ASHRAE HVAC Applications, residences (from memory)",
    ),
    limit(
        "hotel room",
        35.0,
        30.0,
        "ASHRAE table as quoted (NC 30); dB(A) from memory",
    ),
    limit(
        "private office",
        35.0,
        30.0,
        "ASHRAE HVAC Applications, offices (from memory)",
    ),
    limit(
        "open-plan office",
        45.0,
        40.0,
        "ASHRAE table as quoted (NC 40); dB(A) from memory",
    ),
    limit(
        "meeting room",
        35.0,
        30.0,
        "ASHRAE table as quoted (conference NC 30); dB(A) from memory",
    ),
    limit(
        "classroom",
        35.0,
        30.0,
        "ANSI S12.60 (35 dB(A)); ASHRAE, NC 30 (both from memory)",
    ),
    limit(
        "clinic exam room",
        40.0,
        35.0,
        "middle of FGI and ASHRAE NC 30-40 (from memory)",
    ),
    limit(
        "patient room",
        35.0,
        30.0,
        "ASHRAE HVAC Applications, hospitals (from memory)",
    ),
    limit(
        "waiting room",
        45.0,
        40.0,
        "ASHRAE HVAC Applications, public areas (from memory)",
    ),
    limit(
        "corridor",
        45.0,
        40.0,
        "ASHRAE HVAC Applications, public areas (from memory)",
    ),
];

/// The limit for a use named as in [`ROOM_LIMITS`].
pub fn room_limit(room_use: &str) -> Option<&'static RoomLimit> {
    ROOM_LIMITS.iter().find(|limit| limit.room_use == room_use)
}
