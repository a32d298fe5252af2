//! Where the sun stands, and what falls on a tilted surface.

use chrono::{Datelike, NaiveDateTime, Timelike};
use solar_positioning::time::JulianDate;
use solar_positioning::{Location, SolarPositions, delta_t};

/// Where the centre of the sun stands, in true directions: without refraction.
///
/// Refraction lifts the sun by 0.02° at 40° elevation and 0.16° at 5°: too little to matter to
/// irradiance through windows, and the true position needs neither temperature nor pressure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sun {
    /// Angle from straight up, degrees: 0 overhead, 90 on the horizon, above 90 at night.
    pub zenith_deg: f64,
    /// Direction along the horizon, degrees from north, clockwise (east 90).
    pub azimuth_deg: f64,
}

impl Sun {
    /// Straight below: night.
    pub const DOWN: Self = Self {
        zenith_deg: 180.0,
        azimuth_deg: 0.0,
    };

    /// Height above the horizon, degrees; negative at night.
    #[must_use]
    pub fn elevation_deg(&self) -> f64 {
        90.0 - self.zenith_deg
    }

    /// Whether the centre of the sun is above the horizon.
    #[must_use]
    pub fn is_up(&self) -> bool {
        self.zenith_deg < 90.0
    }

    /// Cosine of the zenith angle; negative at night.
    #[must_use]
    pub fn cos_zenith(&self) -> f64 {
        self.zenith_deg.to_radians().cos()
    }
}

/// The sun's position at a place (degrees, north and east positive) at a moment in UTC.
///
/// The Solar Position Algorithm (Reda and Andreas, NREL/TP-560-34302) with the difference between
/// terrestrial and universal time estimated from the date. It costs some microseconds: once a
/// minute is often enough (the sun moves a quarter of a degree).
///
/// Outside the years −2000 to 6000, or for a place that is not on the globe, it gives
/// [`Sun::DOWN`]; [`Site::new`](crate::plant::weather::Site::new) refuses such places.
#[must_use]
pub(crate) fn sun_position(latitude_deg: f64, longitude_deg_east: f64, utc: NaiveDateTime) -> Sun {
    position(SolarPositions::new(), latitude_deg, longitude_deg_east, utc).unwrap_or(Sun::DOWN)
}

/// As [`sun_position`] within 0.01°, many times faster in the years 2010 to 2110 (Grena, Solar
/// Energy 86, 2012, algorithm 3): for going through a whole year of records.
pub(crate) fn quick_sun_position(
    latitude_deg: f64,
    longitude_deg_east: f64,
    utc: NaiveDateTime,
) -> Sun {
    position(
        SolarPositions::grena3(),
        latitude_deg,
        longitude_deg_east,
        utc,
    )
    .unwrap_or_else(|| sun_position(latitude_deg, longitude_deg_east, utc))
}

fn position(
    algorithm: SolarPositions,
    latitude_deg: f64,
    longitude_deg_east: f64,
    utc: NaiveDateTime,
) -> Option<Sun> {
    let decimal_year = f64::from(utc.year()) + f64::from(utc.ordinal0()) / 365.25;
    let seconds = f64::from(utc.second()) + f64::from(utc.nanosecond() % 1_000_000_000) * 1e-9;
    let place = Location {
        latitude: latitude_deg,
        longitude: longitude_deg_east,
    };
    let delta_t_s = delta_t::estimate(decimal_year).ok()?;
    let (year, month, day) = (utc.year(), utc.month(), utc.day());
    let moment = JulianDate::from_utc(
        year,
        month,
        day,
        utc.hour(),
        utc.minute(),
        seconds,
        delta_t_s,
    )
    .ok()?;
    let found = algorithm.at_from_julian(moment, place, 0.0, None).ok()?;
    Some(Sun {
        zenith_deg: found.zenith_angle(),
        azimuth_deg: found.azimuth(),
    })
}

/// How a flat surface faces.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Surface {
    /// Angle between the surface's outward normal and straight up, degrees: 0 a flat roof, 90 a
    /// wall or window.
    pub tilt_deg: f64,
    /// Direction the surface faces, degrees from north, clockwise. Without meaning at tilt 0.
    pub azimuth_deg: f64,
}

impl Surface {
    /// An upright surface facing `azimuth_deg`, degrees from north, clockwise.
    #[must_use]
    pub fn vertical(azimuth_deg: f64) -> Self {
        Self {
            tilt_deg: 90.0,
            azimuth_deg,
        }
    }

    /// Cosine of the angle between the sun's rays and the surface's normal; negative when the sun
    /// is behind the surface.
    #[must_use]
    pub fn cos_incidence(&self, sun: &Sun) -> f64 {
        let (sin_z, cos_z) = sun.zenith_deg.to_radians().sin_cos();
        let (sin_tilt, cos_tilt) = self.tilt_deg.to_radians().sin_cos();
        let turn = (sun.azimuth_deg - self.azimuth_deg).to_radians();
        cos_z * cos_tilt + sin_z * sin_tilt * turn.cos()
    }
}

/// What falls on a surface, W per m² of it.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Irradiance {
    /// Straight from the sun.
    pub beam: f64,
    /// From the sky, taken as equally bright all over.
    pub sky: f64,
    /// Reflected by the ground.
    pub ground: f64,
    /// Cosine of the angle at which the beam arrives; negative with the sun behind the surface.
    pub cos_incidence: f64,
}

impl Irradiance {
    /// All three together, W/m².
    #[must_use]
    pub(crate) fn total(&self) -> f64 {
        self.beam + self.sky + self.ground
    }
}

/// What falls on `surface` under an isotropic sky (Liu and Jordan's model).
///
/// `dni` is the beam on a plane facing the sun and `dhi` the diffuse on the horizontal, both W/m²;
/// `albedo` is the share the ground reflects, 0 to 1. An isotropic sky understates surfaces that
/// face the bright half of a clear sky. With the sun down there is no beam.
#[must_use]
pub(crate) fn irradiance_on(
    surface: &Surface,
    sun: &Sun,
    dni: f64,
    dhi: f64,
    albedo: f64,
) -> Irradiance {
    let cos_incidence = surface.cos_incidence(sun);
    let cos_zenith = sun.cos_zenith();
    let dni = if sun.is_up() { dni } else { 0.0 };
    let ghi = dni * cos_zenith + dhi;
    let cos_tilt = surface.tilt_deg.to_radians().cos();
    Irradiance {
        beam: dni * cos_incidence.max(0.0),
        sky: dhi * 0.5 * (1.0 + cos_tilt),
        ground: ghi * albedo * 0.5 * (1.0 - cos_tilt),
        cos_incidence,
    }
}

/// Refractive index of window glass.
const GLASS_INDEX: f64 = 1.526;
/// Extinction coefficient times thickness of one clear pane: 4 per m, 2 mm.
const GLASS_ABSORPTION: f64 = 4.0 * 0.002;

/// What one clear pane lets through of a beam at this angle, over what it lets through head on.
///
/// Snell, Fresnel and Bouguer for glass of index 1.526, 2 mm thick, extinction 4 per m (De Soto,
/// Klein and Beckman, Solar Energy 80, 2006, eqs 11 to 13). 1 head on, 0.95 at 60°, 0 when the sun
/// is behind the glass. Double glazing falls off somewhat sooner.
#[must_use]
pub(crate) fn beam_incidence_modifier(cos_incidence: f64) -> f64 {
    if cos_incidence <= 0.0 {
        return 0.0;
    }
    let cos_out = cos_incidence.min(1.0);
    let sin_in = (1.0 - cos_out * cos_out).sqrt() / GLASS_INDEX;
    let cos_in = (1.0 - sin_in * sin_in).sqrt();
    let across = (cos_out - GLASS_INDEX * cos_in) / (cos_out + GLASS_INDEX * cos_in);
    let along = (GLASS_INDEX * cos_out - cos_in) / (GLASS_INDEX * cos_out + cos_in);
    let passed = 1.0 - 0.5 * (across * across + along * along);
    let head_on = (GLASS_INDEX - 1.0) / (GLASS_INDEX + 1.0);
    let passed_head_on = 1.0 - head_on * head_on;
    let absorbed = (-GLASS_ABSORPTION * (1.0 / cos_in - 1.0)).exp();
    passed / passed_head_on * absorbed
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::{NaiveDate, TimeDelta};

    #[test]
    fn the_quick_position_follows_the_exact_one() {
        let start = NaiveDate::from_ymd_opt(2026, 1, 1)
            .unwrap()
            .and_hms_opt(0, 0, 0)
            .unwrap();
        for hour in (0..8760).step_by(31) {
            let utc = start + TimeDelta::hours(hour);
            for (lat, lon) in [(-33.9, 151.2), (51.5, -0.1), (1.35, 103.8)] {
                let (exact, quick) = (
                    sun_position(lat, lon, utc),
                    quick_sun_position(lat, lon, utc),
                );
                assert!(
                    (exact.zenith_deg - quick.zenith_deg).abs() < 0.01,
                    "{exact:?} {quick:?}"
                );
            }
        }
    }
}
