//! How records of irradiance become a clearness that can be followed through time.

use super::Site;
use super::clear_sky::{ClearSky, ClearSkyTable};
use super::error::{Place, WeatherError};
use super::series::{Record, moment};
use crate::plant::sun::quick_sun_position;

/// The sky that records are measured against: clean and dry, so that few exceed it.
pub(super) const REFERENCE_SKY: ClearSky = ClearSky {
    tau_beam: 0.3,
    tau_diffuse: 2.5,
};
/// The beam outside the atmosphere for the reference sky, W/m²; the season cancels.
pub(super) const REFERENCE_OUTSIDE: f64 = 1367.0;
/// Below this much reference irradiance over an interval its clearness says nothing, W/m².
const FAINT: f64 = 20.0;
/// More irradiance than this from a sun that has set is a mistake in the file, W/m².
const NIGHT_LIMIT: f64 = 20.0;
/// Moments at which the sun is looked up within one interval.
const LOOKS: usize = 6;
/// Clearness is held below this: more is a fault of the instrument or the clock.
const MAX_CLEARNESS: f64 = 2.0;

/// A straight piece of the clearness of beam and diffuse.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Piece {
    pub(super) start: [f64; 2],
    pub(super) slope_per_s: [f64; 2],
}

/// The reference sky over one record's interval; beam first, then global.
#[derive(Clone, Copy)]
struct Reference {
    mean: [f64; 2],
    /// The centre of its sunlight, UTC s.
    centre_s: [f64; 2],
}

impl Reference {
    fn new(
        file: &str,
        site: &Site,
        table: &ClearSkyTable,
        record: &Record,
    ) -> Result<Self, WeatherError> {
        let width_s = record.sun_to_s - record.sun_from_s;
        let middle_s = record.sun_from_s + 0.5 * width_s;
        let looks = if width_s > 0.0 { LOOKS } else { 1 };
        let (mut mean, mut moved_s, mut highest_deg) = ([0.0; 2], [0.0; 2], -90.0_f64);
        for look in 0..looks {
            let part = (look as f64 + 0.5) / looks as f64;
            let at_s = record.sun_from_s + width_s * part;
            let at = moment(at_s);
            let sun = quick_sun_position(site.latitude_deg, site.longitude_deg_east, at);
            highest_deg = highest_deg.max(sun.elevation_deg());
            let sky = table.irradiance(sun.elevation_deg(), REFERENCE_OUTSIDE);
            let now = [sky.dni_w_m2, sky.dni_w_m2 * sun.cos_zenith() + sky.dhi_w_m2];
            for n in 0..2 {
                mean[n] += now[n] / looks as f64;
                moved_s[n] += now[n] * (at_s - middle_s) / looks as f64;
            }
        }
        let most = record.dni_w_m2.max(record.dhi_w_m2);
        if highest_deg < -1.0 && most > NIGHT_LIMIT {
            return Err(WeatherError::Irradiance {
                at: Place {
                    file: file.to_owned(),
                    line: record.line,
                },
                found: format!(
                    "{most} W/m² with the sun {:.0}° below the horizon",
                    -highest_deg
                ),
                advice: "check latitude, longitude (east positive) and the clock the times are in"
                    .into(),
            });
        }
        let centre = |n: usize| {
            if mean[n] > 0.0 {
                moved_s[n] / mean[n]
            } else {
                0.0
            }
        };
        Ok(Self {
            mean,
            centre_s: [middle_s + centre(0), middle_s + centre(1)],
        })
    }
}

/// The clearness of beam and diffuse, a straight piece for each record.
pub(super) fn clearness(
    file: &str,
    site: &Site,
    table: &ClearSkyTable,
    records: &[Record],
) -> Result<Vec<Piece>, WeatherError> {
    let mut references = Vec::with_capacity(records.len());
    let mut known = Vec::with_capacity(records.len());
    for record in records {
        let reference = Reference::new(file, site, table, record)?;
        let over = |value: f64, n: usize| {
            let mean = reference.mean[n];
            (mean >= FAINT).then(|| (value / mean).min(MAX_CLEARNESS))
        };
        known.push([over(record.dni_w_m2, 0), over(record.dhi_w_m2, 1)]);
        references.push(reference);
    }
    let value = without_gaps(&known);
    let momentary = records.iter().all(|r| r.sun_from_s == r.sun_to_s);
    let slope = |i: usize, n: usize| {
        // Towards another record; none where either is only filled in.
        let towards = |j: usize| -> Option<f64> {
            let other = (*known.get(j)?)[n]?;
            let run_s = references[j].centre_s[n] - references[i].centre_s[n];
            Some((other - known[i][n]?) / run_s)
        };
        if momentary {
            return value.get(i + 1).map_or(0.0, |next| {
                (next[n] - value[i][n]) / (records[i + 1].sun_from_s - records[i].sun_from_s)
            });
        }
        let slope = limited(i.checked_sub(1).and_then(towards), towards(i + 1));
        // Keep both ends of the interval from going below zero.
        let before_s = (references[i].centre_s[n] - records[i].sun_from_s).max(1.0);
        let after_s = (records[i].sun_to_s - references[i].centre_s[n]).max(1.0);
        slope.clamp(-value[i][n] / after_s, value[i][n] / before_s)
    };
    Ok((0..records.len())
        .map(|i| {
            let slope_per_s = [slope(i, 0), slope(i, 1)];
            let start = [0, 1].map(|n| {
                let lead_s = if momentary {
                    0.0
                } else {
                    references[i].centre_s[n] - records[i].sun_from_s
                };
                value[i][n] - slope_per_s[n] * lead_s
            });
            Piece { start, slope_per_s }
        })
        .collect())
}

/// One slope from those on either side: van Leer's monotonised central limiter. At the edge of the
/// night there is only one.
fn limited(left: Option<f64>, right: Option<f64>) -> f64 {
    match (left, right) {
        (Some(a), Some(b)) if a * b > 0.0 => {
            let size = (0.5 * (a + b)).abs().min(2.0 * a.abs()).min(2.0 * b.abs());
            size.copysign(a)
        }
        (Some(only), None) | (None, Some(only)) => only,
        _ => 0.0,
    }
}

/// Fills what is missing from the nearer side, so that each end of a night holds its own.
fn without_gaps(clearness: &[[Option<f64>; 2]]) -> Vec<[f64; 2]> {
    let mut filled = vec![[0.0; 2]; clearness.len()];
    for part in 0..2 {
        let known: Vec<(usize, f64)> = clearness
            .iter()
            .enumerate()
            .filter_map(|(i, c)| c[part].map(|c| (i, c)))
            .collect();
        let mut next = 0;
        for (i, slot) in filled.iter_mut().enumerate() {
            while next < known.len() && known[next].0 < i {
                next += 1;
            }
            let after = known.get(next);
            let before = next.checked_sub(1).and_then(|n| known.get(n));
            slot[part] = match (before, after) {
                (Some(b), Some(a)) if a.0 - i < i - b.0 => a.1,
                (_, Some(a)) if a.0 == i => a.1,
                (Some(b), _) => b.1,
                (None, Some(a)) => a.1,
                (None, None) => 0.0,
            };
        }
    }
    filled
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_end_of_a_night_keeps_its_own_clearness() {
        let day = |b: Option<f64>| [b, Some(1.0)];
        let filled = without_gaps(&[
            day(None),
            day(Some(0.4)),
            day(None),
            day(None),
            day(None),
            day(None),
            day(Some(0.9)),
            day(None),
        ]);
        let beam: Vec<f64> = filled.iter().map(|c| c[0]).collect();
        assert_eq!(beam, [0.4, 0.4, 0.4, 0.4, 0.9, 0.9, 0.9, 0.9]);
        assert!(filled.iter().all(|c| c[1] == 1.0));
    }
}
