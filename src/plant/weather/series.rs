//! Weather from records: interpolation that keeps the sun's share of each interval.

use super::clear_sky::{ClearSky, ClearSkyTable};
use super::error::{Place, WeatherError};
use super::{Sample, Site};
use crate::plant::air::SaturationTable;
use crate::plant::sun::{Sun, sun_position};
use chrono::{DateTime, NaiveDateTime};

/// The sky that records are measured against: clean and dry, so that few exceed it.
const REFERENCE_SKY: ClearSky = ClearSky {
    tau_beam: 0.3,
    tau_diffuse: 2.5,
};
/// The beam outside the atmosphere for the reference sky, W/m²; the season cancels.
const REFERENCE_OUTSIDE: f64 = 1367.0;
/// Below this much reference irradiance over an interval its clearness says nothing, W/m².
const FAINT: f64 = 20.0;
/// More irradiance than this from a sun that has set is a mistake in the file, W/m².
const NIGHT_LIMIT: f64 = 20.0;
/// Moments at which the sun is looked up within one interval.
const LOOKS: u32 = 6;
/// Clearness is held below this: more is a fault of the instrument or the clock.
const MAX_CLEARNESS: f64 = 2.0;

/// One record, in UTC seconds since 1970.
#[derive(Debug, Clone)]
pub(super) struct Record {
    pub(super) line: u64,
    /// When the air values hold.
    pub(super) air_s: f64,
    pub(super) air_c: f64,
    pub(super) w: f64,
    pub(super) wind_m_s: f64,
    /// Over what time the irradiance is a mean; a moment if both are the same.
    pub(super) sun_from_s: f64,
    pub(super) sun_to_s: f64,
    pub(super) dni_w_m2: f64,
    pub(super) dhi_w_m2: f64,
}

/// Weather read from a file; made by [`file`](super::file) and [`tmy3`](super::tmy3).
///
/// Temperature, humidity and wind run in straight lines between the moments they belong to; air is
/// never more than saturated. Irradiance is not interpolated itself, because that puts sun before
/// sunrise and spoils the interval's mean. Instead each record gives a *clearness*: its beam over
/// the beam of a reference clear sky averaged over the same interval, and its diffuse over that
/// sky's global. The clearness runs in straight lines between the middles of the intervals, and
/// multiplies the reference sky at the moment asked for. So the sun rises and sets when it should,
/// and an interval keeps its mean closely (exactly where the clearness is steady). Where the
/// reference is too faint to compare with, the nearest clearness on that side of the night holds.
#[derive(Debug, Clone, PartialEq)]
pub struct Series {
    file: String,
    site: Site,
    /// First and last moment covered, UTC s, with the line of each.
    span: [(f64, u64); 2],
    air_s: Vec<f64>,
    /// Temperature, humidity ratio, wind.
    air: Vec<[f64; 3]>,
    sun_s: Vec<f64>,
    /// Clearness of beam and of diffuse.
    clearness: Vec<[f64; 2]>,
    reference: ClearSkyTable,
    saturation: SaturationTable,
}

impl Series {
    /// From records in order of time, at least one, that cover `span_s` (UTC s).
    pub(super) fn new(
        file: &str,
        site: Site,
        records: &[Record],
        span_s: [f64; 2],
    ) -> Result<Self, WeatherError> {
        let (Some(first), Some(last)) = (records.first(), records.last()) else {
            return Err(no_records(file, 1));
        };
        let reference = ClearSkyTable::new(REFERENCE_SKY);
        let mut clearness = Vec::with_capacity(records.len());
        for record in records {
            clearness.push(clearness_of(file, &site, &reference, record)?);
        }
        Ok(Self {
            file: file.to_owned(),
            site,
            span: [(span_s[0], first.line), (span_s[1], last.line)],
            air_s: records.iter().map(|r| r.air_s).collect(),
            air: records.iter().map(|r| [r.air_c, r.w, r.wind_m_s]).collect(),
            sun_s: records
                .iter()
                .map(|r| 0.5 * (r.sun_from_s + r.sun_to_s))
                .collect(),
            clearness: without_gaps(&clearness),
            reference,
            saturation: SaturationTable::new(site.pressure_pa),
        })
    }

    /// The place that the file says it is for.
    #[must_use]
    pub fn site(&self) -> &Site {
        &self.site
    }

    /// The first and last moment covered, UTC.
    #[must_use]
    pub fn span_utc(&self) -> (NaiveDateTime, NaiveDateTime) {
        (moment(self.span[0].0), moment(self.span[1].0))
    }

    /// Conditions at a moment in UTC, with the sun standing as given. Outside the span the first
    /// or last record holds. Never allocates.
    #[must_use]
    pub fn sample(&self, utc: NaiveDateTime, sun: &Sun) -> Sample {
        let now_s = seconds(utc);
        let [air_c, w, wind_m_s] = between(&self.air_s, &self.air, now_s);
        let (mut dni_w_m2, mut dhi_w_m2) = (0.0, 0.0);
        if sun.is_up() {
            let [beam, diffuse] = between(&self.sun_s, &self.clearness, now_s);
            let sky = self
                .reference
                .irradiance(sun.elevation_deg(), REFERENCE_OUTSIDE);
            dni_w_m2 = beam * sky.dni_w_m2;
            dhi_w_m2 = diffuse * (sky.dni_w_m2 * sun.cos_zenith() + sky.dhi_w_m2);
        }
        let w = w.min(self.saturation.w_sat(air_c));
        Sample {
            air_c,
            w,
            dni_w_m2,
            dhi_w_m2,
            wind_m_s,
        }
    }

    /// Whether the records reach from `from` to `to`, local time at `site`.
    ///
    /// # Errors
    /// [`WeatherError::OutsideSpan`] if they do not.
    pub fn covers(
        &self,
        site: &Site,
        from: NaiveDateTime,
        to: NaiveDateTime,
    ) -> Result<(), WeatherError> {
        let [(first_s, first_line), (last_s, last_line)] = self.span;
        let starts_late = seconds(site.utc(from)) < first_s;
        if !starts_late && seconds(site.utc(to)) <= last_s {
            return Ok(());
        }
        Err(WeatherError::OutsideSpan {
            file: self.file.clone(),
            line: if starts_late { first_line } else { last_line },
            first: site.local(moment(first_s)),
            last: site.local(moment(last_s)),
            from,
            to,
        })
    }
}

/// The error for a file that ends before its first record.
pub(super) fn no_records(file: &str, line: u64) -> WeatherError {
    WeatherError::Row {
        at: Place {
            file: file.to_owned(),
            line,
        },
        found: "the end of the file".into(),
        advice: "write at least two lines of values below the column names".into(),
    }
}

/// UTC seconds since 1970.
pub(super) fn seconds(utc: NaiveDateTime) -> f64 {
    let utc = utc.and_utc();
    utc.timestamp() as f64 + f64::from(utc.timestamp_subsec_nanos()) * 1e-9
}

/// The inverse of [`seconds`], to the second.
pub(super) fn moment(utc_s: f64) -> NaiveDateTime {
    DateTime::from_timestamp(utc_s as i64, 0)
        .unwrap_or_default()
        .naive_utc()
}

/// Beam and diffuse clearness of a record; `None` where the reference sky is too faint.
fn clearness_of(
    file: &str,
    site: &Site,
    reference: &ClearSkyTable,
    record: &Record,
) -> Result<[Option<f64>; 2], WeatherError> {
    let width_s = record.sun_to_s - record.sun_from_s;
    let looks = if width_s > 0.0 { LOOKS } else { 1 };
    let (mut beam, mut global, mut highest_deg) = (0.0, 0.0, -90.0_f64);
    for look in 0..looks {
        let at_s = record.sun_from_s + width_s * (f64::from(look) + 0.5) / f64::from(looks);
        let sun = sun_position(site.latitude_deg, site.longitude_deg_east, moment(at_s));
        highest_deg = highest_deg.max(sun.elevation_deg());
        if !sun.is_up() {
            continue;
        }
        let sky = reference.irradiance(sun.elevation_deg(), REFERENCE_OUTSIDE);
        beam += sky.dni_w_m2 / f64::from(looks);
        global += (sky.dni_w_m2 * sun.cos_zenith() + sky.dhi_w_m2) / f64::from(looks);
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
    let over = |value: f64, reference: f64| {
        (reference >= FAINT).then(|| (value / reference).min(MAX_CLEARNESS))
    };
    Ok([over(record.dni_w_m2, beam), over(record.dhi_w_m2, global)])
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

/// Straight-line interpolation in rows of values at rising times; the ends hold.
fn between<const N: usize>(times: &[f64], rows: &[[f64; N]], at: f64) -> [f64; N] {
    let after = times.partition_point(|&time| time <= at);
    let Some(before) = after.checked_sub(1) else {
        return rows[0];
    };
    if after == times.len() {
        return rows[before];
    }
    let part = (at - times[before]) / (times[after] - times[before]);
    let (a, b) = (&rows[before], &rows[after]);
    std::array::from_fn(|n| a[n] + part * (b[n] - a[n]))
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

    #[test]
    fn interpolation_holds_its_ends() {
        let (times, rows) = ([0.0, 10.0, 30.0], [[0.0], [5.0], [-5.0]]);
        assert_eq!(between(&times, &rows, -1.0), [0.0]);
        assert_eq!(between(&times, &rows, 4.0), [2.0]);
        assert_eq!(between(&times, &rows, 10.0), [5.0]);
        assert_eq!(between(&times, &rows, 20.0), [0.0]);
        assert_eq!(between(&times, &rows, 99.0), [-5.0]);
    }
}
