//! What is kept of a room's sound from step to step, and its mean over time.

use super::octave::{Octaves, a_energy, add, energy_to_db, to_db};
use super::{RoomSound, Source};

/// Sound in a room, short: octaves of all sources together, and each source A-weighted. Energies
/// relative to (20 µPa)².
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Heard {
    /// Band energies of all sources.
    pub bands: Octaves,
    /// A-weighted energy of each source, in the order of [`Source::ALL`].
    pub by_source_a: [f64; 6],
}

impl Heard {
    /// Short form of a room's sound, without a logarithm.
    pub fn of(sound: &RoomSound) -> Self {
        Self {
            bands: sound.total(),
            by_source_a: Source::ALL.map(|source| a_energy(sound.of(source))),
        }
    }

    /// Follows a change of `sound` that came from `sources`, in the order of [`Source::ALL`]: every
    /// source of the room but the background, which stays as [`Heard::of`] found it. Sources that
    /// the room does not have cost nothing.
    pub fn follow(&mut self, sound: &RoomSound, sources: &[Source]) {
        let mut bands = [0.0; 8];
        for &source in sources {
            let energy = sound.of(source);
            bands = add(&bands, energy);
            self.by_source_a[source as usize] = a_energy(energy);
        }
        self.bands = add(&bands, sound.of(Source::Background));
    }

    /// A-weighted energy of all sources.
    pub fn a_energy(&self) -> f64 {
        self.by_source_a.iter().sum()
    }

    /// A-weighted level, dB(A).
    pub fn dba(&self) -> f64 {
        energy_to_db(self.a_energy())
    }

    /// Levels per octave, dB.
    pub fn bands_db(&self) -> Octaves {
        to_db(&self.bands)
    }

    /// Parts of the A-weighted energy by source, in the order of [`Source::ALL`].
    pub fn shares(&self) -> [f64; 6] {
        let all = self.a_energy();
        self.by_source_a
            .map(|own| if all > 0.0 { own / all } else { 0.0 })
    }

    /// The source with the largest part of the A-weighted energy, and that part.
    pub fn ruling(&self) -> (Source, f64) {
        let shares = self.shares();
        let parts = Source::ALL.into_iter().zip(shares);
        parts.fold((Source::Fan, -1.0), |best, part| {
            if part.1 > best.1 { part } else { best }
        })
    }

    fn add(&mut self, other: &Self, factor: f64) {
        for (sum, e) in self.bands.iter_mut().zip(&other.bands) {
            *sum += factor * e;
        }
        for (sum, e) in self.by_source_a.iter_mut().zip(&other.by_source_a) {
            *sum += factor * e;
        }
    }
}

/// Energy mean of the sound in every room. Sound that stays the same costs nothing.
#[derive(Debug, Clone)]
pub(crate) struct SoundMean {
    sums: Vec<Heard>,
    held: Vec<Heard>,
    held_s: f64,
    seconds: f64,
    changes: u64,
}

impl SoundMean {
    /// A mean over nothing yet, for that many rooms.
    pub(crate) fn new(rooms: usize) -> Self {
        Self {
            sums: vec![Heard::default(); rooms],
            held: vec![Heard::default(); rooms],
            held_s: 0.0,
            seconds: 0.0,
            changes: u64::MAX,
        }
    }

    /// Adds `dt_s` seconds of `heard`; `changes` tells one sound from another: as long as it
    /// stays, so does the sound.
    pub(crate) fn push(&mut self, dt_s: f64, heard: &[Heard], changes: u64) {
        if changes != self.changes {
            self.settle();
            for (held, now) in self.held.iter_mut().zip(heard) {
                *held = *now;
            }
            self.changes = changes;
        }
        self.held_s += dt_s;
        self.seconds += dt_s;
    }

    fn settle(&mut self) {
        if self.held_s > 0.0 {
            for (sum, held) in self.sums.iter_mut().zip(&self.held) {
                sum.add(held, self.held_s);
            }
            self.held_s = 0.0;
        }
    }

    /// Mean of a room so far; silence before the first second or for a room that is not there.
    pub(crate) fn mean(&mut self, room: usize) -> Heard {
        self.settle();
        let mut mean = Heard::default();
        if let Some(sum) = self.sums.get(room).filter(|_| self.seconds > 0.0) {
            mean.add(sum, self.seconds.recip());
        }
        mean
    }

    /// Begins a new mean.
    pub(crate) fn restart(&mut self) {
        self.sums.fill(Heard::default());
        self.held_s = 0.0;
        self.seconds = 0.0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tone(energy: f64) -> Heard {
        let mut sound = RoomSound::SILENT;
        sound.by_source[Source::Grille as usize][4] = energy;
        Heard::of(&sound)
    }

    #[test]
    fn energies_are_averaged_not_decibels() {
        let mut mean = SoundMean::new(1);
        // 40 dB for one second, 30 dB for nine: 10 lg ((10⁴ + 9·10³)/10) = 32.79 dB, hand calculation.
        mean.push(1.0, &[tone(1e4)], 0);
        for _ in 0..9 {
            mean.push(1.0, &[tone(1e3)], 1);
        }
        assert!((mean.mean(0).dba() - 32.787_536).abs() < 1e-6);
        assert_eq!(mean.mean(0).ruling().0, Source::Grille);
        mean.restart();
        mean.push(5.0, &[tone(1e3)], 1);
        assert!((mean.mean(0).dba() - 30.0).abs() < 1e-9);
        assert_eq!(mean.mean(3), Heard::default());
    }
}
