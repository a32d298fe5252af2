//! Weather from records: interpolation that keeps the sun's share of each interval.

use super::clear_sky::ClearSkyTable;
use super::clearness::{Piece, REFERENCE_OUTSIDE, REFERENCE_SKY, clearness};
use super::error::{Place, WeatherError};
use super::{Sample, Site};
use crate::plant::air::SaturationTable;
use crate::plant::sun::Sun;
use chrono::{DateTime, NaiveDateTime};

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
/// never more than saturated.
///
/// Irradiance is not interpolated itself, because that puts sun before sunrise and spoils the
/// interval's mean. Each record gives a *clearness* instead: its beam over the beam of a reference
/// clear sky averaged over the same interval, and its diffuse over that sky's global. Clearness
/// times the reference sky at the moment asked for is the irradiance, so the sun rises and sets
/// when it should. For momentary records the clearness runs in straight lines between them. For
/// means it slopes within each interval towards its neighbours, about the interval's centre of
/// sunlight, which keeps the mean; the slope is limited so that no interval outdoes its neighbours
/// and one without sun stays without (van Leer's monotonised central limiter). Between a bright and
/// a dull interval there is a step. Where the reference is too faint to compare with, the nearest
/// clearness on that side of the night holds.
#[derive(Debug, Clone, PartialEq)]
pub struct Series {
    file: String,
    site: Site,
    /// First and last moment covered, UTC s, with the line of each.
    span: [(f64, u64); 2],
    air_s: Vec<f64>,
    /// Temperature, humidity ratio, wind.
    air: Vec<[f64; 3]>,
    /// Where each straight piece of the clearness starts, and where the last one ends.
    sun_s: Vec<f64>,
    sun_end_s: f64,
    clearness: Vec<Piece>,
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
        let clearness = clearness(file, &site, &reference, records)?;
        Ok(Self {
            file: file.to_owned(),
            site,
            span: [(span_s[0], first.line), (span_s[1], last.line)],
            air_s: records.iter().map(|r| r.air_s).collect(),
            air: records.iter().map(|r| [r.air_c, r.w, r.wind_m_s]).collect(),
            sun_s: records.iter().map(|r| r.sun_from_s).collect(),
            sun_end_s: last.sun_to_s,
            clearness,
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
            let [beam, diffuse] = self.clearness_at(now_s);
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

    /// Clearness of beam and diffuse.
    fn clearness_at(&self, now_s: f64) -> [f64; 2] {
        let piece = self
            .sun_s
            .partition_point(|&start| start <= now_s)
            .saturating_sub(1);
        let Piece { start, slope_per_s } = self.clearness[piece];
        let since_s = (now_s.min(self.sun_end_s) - self.sun_s[piece]).max(0.0);
        [
            start[0] + slope_per_s[0] * since_s,
            start[1] + slope_per_s[1] * since_s,
        ]
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
    fn interpolation_holds_its_ends() {
        let (times, rows) = ([0.0, 10.0, 30.0], [[0.0], [5.0], [-5.0]]);
        assert_eq!(between(&times, &rows, -1.0), [0.0]);
        assert_eq!(between(&times, &rows, 4.0), [2.0]);
        assert_eq!(between(&times, &rows, 10.0), [5.0]);
        assert_eq!(between(&times, &rows, 20.0), [0.0]);
        assert_eq!(between(&times, &rows, 99.0), [-5.0]);
    }
}
