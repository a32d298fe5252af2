//! The sun's path between whole hours, from its exact positions there.
//!
//! An exact position takes some ten microseconds, which is more than sixty steps of a house. Seen
//! in equatorial terms the sun hardly moves: its declination changes by at most 0.017° an hour and
//! its hour angle by 15° an hour to within 0.001°. Both are therefore taken as straight lines
//! between the exact positions at whole hours. What is lost is parallax and the bend of those
//! lines: less than 1e-4°, a third of the exact algorithm's own uncertainty of 0.0003°.

use chrono::{NaiveDateTime, TimeDelta, Timelike};

use super::sun::{Sun, sun_position};
use super::weather::Site;

/// Declination and hour angle, radians.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Place {
    declination: f64,
    hour_angle: f64,
}

/// The sun over a site; asked in the order of time it needs one exact position an hour.
#[derive(Clone, Debug)]
pub(crate) struct SunTrack {
    site: Site,
    sin_latitude: f64,
    cos_latitude: f64,
    /// The hour that is known, UTC, with the sun at its beginning and its end.
    hour: Option<(NaiveDateTime, Place, Place)>,
}

impl SunTrack {
    /// A track over a site.
    #[must_use]
    pub(crate) fn new(site: Site) -> SunTrack {
        let (sin_latitude, cos_latitude) = site.latitude_deg.to_radians().sin_cos();
        SunTrack {
            site,
            sin_latitude,
            cos_latitude,
            hour: None,
        }
    }

    /// The sun at a local clock time, within 1e-4° of [`Site::sun`].
    pub(crate) fn at(&mut self, local: NaiveDateTime) -> Sun {
        let utc = self.site.utc(local);
        let past = TimeDelta::seconds(i64::from(utc.minute() * 60 + utc.second()))
            + TimeDelta::nanoseconds(i64::from(utc.nanosecond()));
        let Some(hour) = utc.checked_sub_signed(past) else {
            return self.site.sun(local);
        };
        let known = self.hour.filter(|(h, ..)| *h == hour);
        let (_, from, to) = known.unwrap_or_else(|| {
            let next = hour.checked_add_signed(TimeDelta::hours(1)).unwrap_or(hour);
            // Walking on, the end of the last hour is the beginning of this one.
            let walked = self
                .hour
                .filter(|(h, ..)| h.checked_add_signed(TimeDelta::hours(1)) == Some(hour));
            let from = walked.map_or_else(|| self.place(hour), |(_, _, to)| to);
            (hour, from, self.place(next))
        });
        self.hour = Some((hour, from, to));
        let part = past.as_seconds_f64() / 3600.0;
        // The hour angle always grows; bring the turn between the two ends to about 15°.
        let turn = (to.hour_angle - from.hour_angle).rem_euclid(std::f64::consts::TAU);
        self.sun(Place {
            declination: from.declination + part * (to.declination - from.declination),
            hour_angle: from.hour_angle + part * turn,
        })
    }

    /// Equatorial place of the exact position: unit vectors turned by the latitude.
    fn place(&self, utc: NaiveDateTime) -> Place {
        let sun = sun_position(self.site.latitude_deg, self.site.longitude_deg_east, utc);
        let (sin_z, up) = sun.zenith_deg.to_radians().sin_cos();
        let (sin_azimuth, cos_azimuth) = sun.azimuth_deg.to_radians().sin_cos();
        let (east, north) = (sin_z * sin_azimuth, sin_z * cos_azimuth);
        let pole = north * self.cos_latitude + up * self.sin_latitude;
        let meridian = up * self.cos_latitude - north * self.sin_latitude;
        Place {
            declination: pole.atan2(east.hypot(meridian)),
            hour_angle: (-east).atan2(meridian),
        }
    }

    fn sun(&self, place: Place) -> Sun {
        let (pole, equator) = place.declination.sin_cos();
        let (sin_hour, cos_hour) = place.hour_angle.sin_cos();
        let (east, meridian) = (-equator * sin_hour, equator * cos_hour);
        let up = pole * self.sin_latitude + meridian * self.cos_latitude;
        let north = pole * self.cos_latitude - meridian * self.sin_latitude;
        Sun {
            zenith_deg: east.hypot(north).atan2(up).to_degrees(),
            azimuth_deg: east.atan2(north).to_degrees().rem_euclid(360.0),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::NaiveDate;

    /// Against the exact algorithm (Reda and Andreas), over a year and the latitudes.
    #[test]
    fn follows_the_exact_sun() {
        let start = NaiveDate::from_ymd_opt(2027, 1, 1)
            .and_then(|d| d.and_hms_opt(0, 0, 0))
            .unwrap();
        let mut worst = 0.0_f64;
        for (lat, lon, offset_h) in [
            (-33.4, 149.6, 10),
            (51.5, -0.1, 0),
            (1.35, 103.8, 8),
            (23.44, 12.0, 1),
            (78.2, 15.6, 1),
            (90.0, 0.0, 0),
        ] {
            let site = Site::new(lat, lon, 0.0, offset_h * 3600).unwrap();
            let mut track = SunTrack::new(site);
            for minute in (0..525_600).step_by(617) {
                let local = start + TimeDelta::minutes(minute);
                let (exact, quick) = (site.sun(local), track.at(local));
                let point = |s: Sun| {
                    let (sz, up) = s.zenith_deg.to_radians().sin_cos();
                    let (sa, ca) = s.azimuth_deg.to_radians().sin_cos();
                    [sz * sa, sz * ca, up]
                };
                let (a, b) = (point(exact), point(quick));
                let apart = (0..3).map(|i| (a[i] - b[i]).powi(2)).sum::<f64>().sqrt();
                worst = worst.max(apart.to_degrees());
            }
        }
        assert!(worst < 1e-4, "{worst}° from the exact sun");
    }

    #[test]
    fn walking_and_jumping_give_the_same() {
        let site = Site::new(-33.4, 149.6, 300.0, 36_000).unwrap();
        let start = NaiveDate::from_ymd_opt(2027, 1, 18)
            .and_then(|d| d.and_hms_opt(0, 0, 0))
            .unwrap();
        let mut walking = SunTrack::new(site);
        for minute in 0..1440 {
            let local = start + TimeDelta::minutes(minute);
            assert_eq!(walking.at(local), SunTrack::new(site).at(local));
        }
    }
}
