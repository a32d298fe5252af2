//! The loudest minute of every room, found while a run goes on.

use super::steps;
use crate::plant::sound::heard::Heard;
use crate::plant::sound::octave::{Octaves, a_energy};
use crate::plant::sound::{RoomSound, SoundState, Source};

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
    /// Spectra by slot; a new slot is taken only when the sound changes.
    spectra: Spectra,
    /// The same by slot and room, A-weighted.
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
    /// When it began; NaN while it is in the ring.
    start_s: f64,
    /// Its sounds, and for how many steps each lasted; empty while it is in the ring.
    runs: Vec<(usize, RoomSound)>,
}

/// Sounds in slots, of which only what may change is kept.
#[derive(Debug, Clone)]
struct Spectra {
    always: Vec<RoomSound>,
    /// What may change, by room.
    sources: Vec<(usize, Source)>,
    /// Where the sources of each room begin, and where the last ends.
    starts: Vec<usize>,
    /// By slot and source.
    kept: Vec<Octaves>,
}

impl Spectra {
    fn new<'a>(always: Vec<RoomSound>, of: impl Fn(usize) -> &'a [Source], slots: usize) -> Self {
        let (mut sources, mut starts) = (Vec::new(), vec![0]);
        for room in 0..always.len() {
            sources.extend(of(room).iter().map(|&source| (room, source)));
            starts.push(sources.len());
        }
        // As they always are until put.
        let each = sources
            .iter()
            .map(|&(room, source)| *always[room].of(source));
        let kept: Vec<Octaves> = each.collect();
        Self {
            kept: kept.repeat(slots),
            always,
            sources,
            starts,
        }
    }

    fn put(&mut self, slot: usize, state: &SoundState) {
        let kept = &mut self.kept[slot * self.sources.len()..];
        for (spectrum, &(room, source)) in kept.iter_mut().zip(&self.sources) {
            if let Some(sound) = state.rooms.get(room) {
                *spectrum = *sound.of(source);
            }
        }
    }

    fn get(&self, slot: usize, room: usize) -> RoomSound {
        let mut sound = self.always[room];
        let list = self.starts[room]..self.starts[room + 1];
        let kept = &self.kept[slot * self.sources.len()..][list.clone()];
        for (spectrum, &(_, source)) in kept.iter().zip(&self.sources[list]) {
            sound.by_source[source as usize] = *spectrum;
        }
        sound
    }
}

impl LoudestMinute {
    /// A finder for that many rooms and steps of `step_s` seconds; steps are whole parts of a
    /// minute, or the window is the nearest whole number of them.
    pub fn new(rooms: usize, step_s: f64) -> Self {
        Self::with_sources(vec![RoomSound::SILENT; rooms], |_| &Source::ALL, step_s)
    }

    /// As [`new`](Self::new), of sounds that differ from `always` in the `sources` of each room only:
    /// most rooms have few, and what is always the same is not kept again and again.
    pub fn with_sources<'a>(
        always: Vec<RoomSound>,
        sources: impl Fn(usize) -> &'a [Source],
        step_s: f64,
    ) -> Self {
        let rooms = always.len();
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
            spectra: Spectra::new(always, sources, 2 * window),
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
        self.spectra.put(self.slot, state);
        let slot = self.slot * self.rooms..(self.slot + 1) * self.rooms;
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

    /// Adds what is left of a step of `dt_s` whose first part was pushed for `start_s`.
    pub fn push_on(&mut self, start_s: f64, dt_s: f64) {
        for part in 1..steps(dt_s, self.step_s) {
            self.push_same(start_s + part as f64 * self.step_s);
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
                    _ => best.runs.push((1, self.spectra.get(slot, room))),
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
            let sounds = ring.map(|step| (1, self.spectra.get(step.slot, room)));
            (start_s, mean(steps, sounds))
        } else {
            (best.start_s, mean(steps, best.runs.iter().copied()))
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
fn mean(steps: usize, runs: impl Iterator<Item = (usize, RoomSound)>) -> RoomSound {
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
