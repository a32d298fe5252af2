//! Octave-band sound in every room, from the fan, dampers, grilles, relief and return.
//!
//! Everything that does not change with flow is worked out once by [`SoundModel::new`]; a step is
//! then sums and products of energies, and logarithms wait until somebody asks for a level.
//!
//! Left out: breakout through duct walls, noise of elbows and take-offs (inaudible under 5 m/s),
//! sound that a damper sends back to other rooms, and all tones: blade, whistle, motor. Expect
//! ±5 dB(A) with a measured fan spectrum, ±8 dB(A) without, and ±2 to 3 dB between two states of
//! one system (own judgement, about 68 %).

pub(crate) mod attenuation;
pub(crate) mod chain;
mod check;
pub(crate) mod damper;
pub(crate) mod end_reflection;
pub(crate) mod fan;
pub(crate) mod grille;
pub(crate) mod heard;
pub(crate) mod octave;
pub(crate) mod room;

use octave::{Octaves, a_energy, add, dba};

#[cfg(test)]
pub use chain::SoundError;
pub use chain::{
    DamperPosition, Operating, OutletOperating, OutletSpec, ReliefSpec, ReturnSpec, RoomSpec,
    SoundModel, SoundSpec,
};

/// Expected error of a room level with a measured fan spectrum, dB(A), about 68 % (own judgement).
pub(crate) const UNCERTAINTY_MEASURED_FAN_DBA: f64 = 5.0;
/// Expected error of a room level without one, dB(A), about 68 % (own judgement).
pub(crate) const UNCERTAINTY_DBA: f64 = 8.0;

/// Where sound in a room comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Source {
    /// The fan, through the supply.
    Fan,
    /// The room's own dampers.
    Damper,
    /// The room's own supply grilles.
    Grille,
    /// The relief damper, and its grille if it opens into the room.
    Relief,
    /// The fan through the return, and the return grille.
    Return,
    /// What is there with the system off.
    Background,
}

impl Source {
    /// Every source, in the order of [`RoomSound::by_source`].
    pub const ALL: [Self; 6] = [
        Self::Fan,
        Self::Damper,
        Self::Grille,
        Self::Relief,
        Self::Return,
        Self::Background,
    ];

    /// Name for tables and figures.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Fan => "fan",
            Self::Damper => "damper",
            Self::Grille => "grille",
            Self::Relief => "relief",
            Self::Return => "return",
            Self::Background => "background",
        }
    }
}

/// Sound at the listener in one room: energies per source and octave, relative to (20 µPa)².
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RoomSound {
    /// Band energies in the order of [`Source::ALL`].
    pub by_source: [Octaves; 6],
}

/// One source's part in a room's A-weighted level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SourceShare {
    /// The source.
    pub source: Source,
    /// Its part of the room's A-weighted energy, 0 to 1.
    pub share: f64,
    /// Its own level, dB(A); minus infinity if silent.
    pub dba: f64,
}

impl RoomSound {
    /// No sound at all.
    pub const SILENT: Self = Self {
        by_source: [[0.0; 8]; 6],
    };

    /// Band energies of one source.
    pub fn of(&self, source: Source) -> &Octaves {
        &self.by_source[source as usize]
    }

    /// Band energies of all sources.
    #[inline]
    pub fn total(&self) -> Octaves {
        self.by_source
            .iter()
            .fold([0.0; 8], |sum, energy| add(&sum, energy))
    }

    /// A-weighted energy of all sources, without a logarithm.
    #[inline]
    pub fn a_energy(&self) -> f64 {
        a_energy(&self.total())
    }

    /// A-weighted level of all sources, dB(A).
    pub fn dba(&self) -> f64 {
        dba(&self.total())
    }

    /// Sources by their part in the A-weighted level, loudest first.
    pub fn ranking(&self) -> [SourceShare; 6] {
        let all = self.a_energy();
        let mut shares = Source::ALL.map(|source| {
            let own = a_energy(self.of(source));
            let share = if all > 0.0 { own / all } else { 0.0 };
            SourceShare {
                source,
                share,
                dba: octave::energy_to_db(own),
            }
        });
        shares.sort_by(|a, b| b.share.total_cmp(&a.share));
        shares
    }

    /// Source that rules octave `band` (0 for 63 Hz): with the governing octave of a rating, what
    /// to quieten.
    pub fn loudest_in(&self, band: usize) -> Source {
        let level = |source: Source| self.of(source).get(band).copied().unwrap_or(0.0);
        Source::ALL
            .into_iter()
            .max_by(|&a, &b| level(a).total_cmp(&level(b)))
            .unwrap_or(Source::Fan)
    }
}

/// Sound in every room now.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SoundState {
    /// One entry a room, in the order of [`SoundSpec::rooms`].
    pub rooms: Vec<RoomSound>,
}
