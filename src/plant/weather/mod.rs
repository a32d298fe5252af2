//! Outdoor conditions through time: steady, a repeating design day, or read from a file.

mod cells;
mod clear_sky;
mod clearness;
mod design_day;
mod error;
pub(crate) mod file;
mod head;
mod series;
pub(crate) mod tmy3;

pub use clear_sky::ClearSky;
#[cfg(test)]
pub(crate) use clear_sky::{ClearSkyTable, air_mass, extraterrestrial_w_m2};
pub use design_day::{DesignDay, DesignDayInput, Season, Sky};
pub use error::WeatherError;
pub use series::Series;

use crate::plant::air::{self, MoistAir};
use crate::plant::sun::{Sun, sun_position};
use chrono::{NaiveDateTime, TimeDelta};
use error::check_setting;

/// Where the building stands, and which clock it keeps.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Site {
    /// Degrees north of the equator; negative south.
    pub latitude_deg: f64,
    /// Degrees east of Greenwich; negative west.
    pub longitude_deg_east: f64,
    /// Height above the sea, m.
    pub altitude_m: f64,
    /// What the local clock is ahead of UTC, s. Held all year: no daylight saving.
    pub utc_offset_s: i32,
    /// Air pressure, Pa.
    pub pressure_pa: f64,
}

impl Site {
    /// A site at the pressure that the standard atmosphere has at its altitude.
    ///
    /// # Errors
    /// [`WeatherError::Setting`] if latitude (±90°), longitude (±180°), altitude (−430 to 5000 m)
    /// or clock offset (±14 h) is out of range.
    pub fn new(
        latitude_deg: f64,
        longitude_deg_east: f64,
        altitude_m: f64,
        utc_offset_s: i32,
    ) -> Result<Self, WeatherError> {
        check_setting(
            "latitude",
            latitude_deg,
            -90.0,
            90.0,
            "degrees (south negative)",
        )?;
        check_setting(
            "longitude",
            longitude_deg_east,
            -180.0,
            180.0,
            "degrees (west negative)",
        )?;
        check_setting("altitude", altitude_m, -430.0, 5000.0, "m")?;
        let hours = f64::from(utc_offset_s) / 3600.0;
        check_setting(
            "clock ahead of UTC",
            hours,
            -14.0,
            14.0,
            "hours (west negative)",
        )?;
        Ok(Self {
            latitude_deg,
            longitude_deg_east,
            altitude_m,
            utc_offset_s,
            pressure_pa: air::standard_pressure_pa(altitude_m),
        })
    }

    /// The moment in UTC when the local clock shows `local`.
    #[must_use]
    pub fn utc(&self, local: NaiveDateTime) -> NaiveDateTime {
        let offset = TimeDelta::seconds(i64::from(self.utc_offset_s));
        local.checked_sub_signed(offset).unwrap_or(local)
    }

    /// What the local clock shows at `utc`.
    #[must_use]
    pub fn local(&self, utc: NaiveDateTime) -> NaiveDateTime {
        let offset = TimeDelta::seconds(i64::from(self.utc_offset_s));
        utc.checked_add_signed(offset).unwrap_or(utc)
    }

    /// Where the sun stands when the local clock shows `local`.
    #[must_use]
    pub fn sun(&self, local: NaiveDateTime) -> Sun {
        sun_position(self.latitude_deg, self.longitude_deg_east, self.utc(local))
    }
}

/// The outdoors at one moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sample {
    /// Dry-bulb temperature, °C.
    pub air_c: f64,
    /// Humidity ratio, kg/kg.
    pub w: f64,
    /// Beam on a plane facing the sun, W/m².
    pub dni_w_m2: f64,
    /// Diffuse on the horizontal, W/m².
    pub dhi_w_m2: f64,
    /// Wind speed, m/s.
    pub wind_m_s: f64,
}

impl Sample {
    /// The outdoor air.
    #[must_use]
    pub fn air(&self) -> MoistAir {
        MoistAir {
            t_c: self.air_c,
            w: self.w,
        }
    }

    /// Relative humidity, 0 to 1, at pressure `pressure_pa`.
    #[must_use]
    pub fn relative_humidity(&self, pressure_pa: f64) -> f64 {
        self.air().relative_humidity(pressure_pa)
    }

    /// Beam and diffuse together on the horizontal, W/m².
    #[must_use]
    pub fn ghi_w_m2(&self, sun: &Sun) -> f64 {
        self.dni_w_m2 * sun.cos_zenith().max(0.0) + self.dhi_w_m2
    }
}

/// Outdoor conditions through time.
#[derive(Debug, Clone, PartialEq)]
pub enum Weather {
    /// The same at all times.
    Constant(Sample),
    /// One day, repeated.
    DesignDay(DesignDay),
    /// Measured or typical data.
    Series(Series),
}

impl Weather {
    /// Conditions at a local time, with the sun standing as given.
    ///
    /// Never fails and never allocates: a [`Series`] asked outside its span holds its end values,
    /// so check with [`covers`](Self::covers) before a run. The sun may be up to a minute old.
    #[must_use]
    pub fn sample(&self, site: &Site, local: NaiveDateTime, sun: &Sun) -> Sample {
        match self {
            Self::Constant(sample) => *sample,
            Self::DesignDay(day) => day.sample(local, sun),
            Self::Series(series) => series.sample(site.utc(local), sun),
        }
    }

    /// Whether there is weather for all of `from` to `to`, local time at `site`.
    ///
    /// # Errors
    /// [`WeatherError::OutsideSpan`] if a [`Series`] starts later or ends sooner.
    pub fn covers(
        &self,
        site: &Site,
        from: NaiveDateTime,
        to: NaiveDateTime,
    ) -> Result<(), WeatherError> {
        match self {
            Self::Constant(_) | Self::DesignDay(_) => Ok(()),
            Self::Series(series) => series.covers(site, from, to),
        }
    }
}
