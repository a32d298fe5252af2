//! The second table of a run: octaves, ratings and shares by room, `sound.csv`.

use std::io::{self, Write};

use crate::measure::noise_rating::nc_rating;
use crate::plant::sound::Source;
use crate::plant::sound::heard::Heard;
use crate::plant::sound::octave::OCTAVE_HZ;

/// One room over one recording interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SoundRow {
    /// End of the interval, s.
    pub t_s: f64,
    /// Index of the room.
    pub room: u16,
    /// Level per octave, dB, of the interval's mean energy.
    pub bands_db: [f32; 8],
    /// A-weighted level, dB(A).
    pub dba: f32,
    /// NC rounded up; NaN under NC-15 and over NC-65, where there is none.
    pub nc: f32,
    /// Index of the octave that sets the NC.
    pub governing_band: u8,
    /// Parts of the A-weighted energy by source, in the order of [`Source::ALL`].
    pub shares: [f32; 6],
}

impl SoundRow {
    /// The row of a mean.
    pub fn new(t_s: f64, room: usize, mean: &Heard) -> SoundRow {
        let bands_db = mean.bands_db();
        let rating = nc_rating(&bands_db);
        SoundRow {
            t_s,
            room: room as u16,
            bands_db: bands_db.map(|l| l as f32),
            dba: mean.dba() as f32,
            nc: rating.value.rounded_up().map_or(f32::NAN, |nc| nc as f32),
            governing_band: rating.governing_band as u8,
            shares: mean.shares().map(|s| s as f32),
        }
    }
}

/// Writes rows as CSV: time, room, eight octaves, dB(A), NC, governing octave, shares by source.
/// Levels are written to 0.1 dB, shares to 0.001; a level or rating that does not exist is empty.
///
/// # Errors
/// When the writer fails.
pub(crate) fn write_csv(rows: &[SoundRow], rooms: &[String], mut w: impl Write) -> io::Result<()> {
    write!(w, "time_s,room")?;
    for f in OCTAVE_HZ {
        write!(w, ",octave_{f}_Hz_dB")?;
    }
    write!(w, ",sound_dBA,nc,governing_Hz")?;
    for source in Source::ALL {
        write!(w, ",share_{}", source.name())?;
    }
    writeln!(w)?;
    // Names hold letters, digits, `-` and `_` only, so that nothing needs quoting.
    for row in rows {
        let room = rooms.get(usize::from(row.room)).map_or("", String::as_str);
        write!(w, "{},{room}", row.t_s)?;
        for level in row.bands_db.iter().chain([&row.dba]) {
            if level.is_finite() {
                write!(w, ",{level:.1}")?;
            } else {
                write!(w, ",")?;
            }
        }
        if row.nc.is_finite() {
            write!(w, ",{:.0}", row.nc)?;
        } else {
            write!(w, ",")?;
        }
        let governing = OCTAVE_HZ.get(usize::from(row.governing_band));
        write!(w, ",{}", governing.unwrap_or(&f64::NAN))?;
        for share in row.shares {
            write!(w, ",{share:.3}")?;
        }
        writeln!(w)?;
    }
    Ok(())
}
