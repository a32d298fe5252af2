//! A day described by its extreme, its daily range and its dew point, repeated.

use super::clear_sky::{ClearSky, ClearSkyTable, extraterrestrial_w_m2};
use super::error::{WeatherError, check_setting};
use super::{Sample, Site};
use crate::plant::air::{SaturationTable, humidity_ratio};
use crate::plant::sun::Sun;
use chrono::{Datelike, NaiveDateTime, Timelike};

/// How far below its maximum a design day is at hours 1 to 24, in parts of the daily range
/// (ASHRAE Fundamentals from 2009 on, ch. 14, hourly fractions of the daily range).
pub(crate) const FRACTION_OF_RANGE: [f64; 24] = [
    0.88, 0.92, 0.95, 0.98, 1.0, 0.98, 0.91, 0.74, 0.55, 0.38, 0.23, 0.13, 0.05, 0.0, 0.0, 0.06,
    0.14, 0.24, 0.39, 0.50, 0.59, 0.68, 0.75, 0.82,
];

/// Share of a clear sky's global irradiance that full cloud lets through, all of it diffuse:
/// 1 − 0.75 (Kasten and Czeplak, Solar Energy 24, 1980; from memory).
const OVERCAST_SHARE: f64 = 0.25;

/// The extreme that the day is known by.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Season {
    /// A cooling day, known by its highest temperature.
    Summer {
        /// Highest dry bulb, °C.
        maximum_c: f64,
    },
    /// A heating day, known by its lowest temperature.
    Winter {
        /// Lowest dry bulb, °C.
        minimum_c: f64,
    },
}

/// The sky of a design day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Sky {
    /// No sun at all: what heating loads are usually worked out with.
    Dark,
    /// A clear sky, or part of one.
    Sunny {
        /// Optical depths of the clear sky.
        clear: ClearSky,
        /// 1 for a cloudless day, 0 for full cloud, between them in proportion: beam times this,
        /// and diffuse between the clear sky's and a quarter of the clear sky's global.
        clear_fraction: f64,
    },
}

/// What describes a design day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DesignDayInput {
    /// Summer or winter, with its extreme temperature.
    pub season: Season,
    /// Highest less lowest dry bulb, K; 0 holds the extreme all day.
    pub daily_range_k: f64,
    /// Dew point, °C, the same all day; the air is never more than saturated.
    pub dew_point_c: f64,
    /// Wind speed, m/s.
    pub wind_m_s: f64,
    /// The sky.
    pub sky: Sky,
}

/// A design day, ready to be asked.
///
/// Dry bulb runs in straight lines between the hours of [`FRACTION_OF_RANGE`], by the local clock
/// of the site, the same every day; only the sun follows the calendar. The table is meant for
/// solar or standard time: a site on a daylight-saving offset gets its peak an hour early.
#[derive(Debug, Clone, PartialEq)]
pub struct DesignDay {
    input: DesignDayInput,
    maximum_c: f64,
    w_of_dew_point: f64,
    saturation: SaturationTable,
    clear_sky: Option<(ClearSkyTable, f64)>,
}

impl DesignDay {
    /// A design day at the site's pressure.
    ///
    /// # Errors
    /// [`WeatherError::Setting`] for temperatures outside −60 to 60 °C, a range outside 0 to 40 K,
    /// wind outside 0 to 75 m/s, optical depths outside 0.05 to 2 (beam) and 0.5 to 4 (diffuse),
    /// or a clear fraction outside 0 to 1.
    pub fn new(input: DesignDayInput, site: &Site) -> Result<Self, WeatherError> {
        check_setting("daily range", input.daily_range_k, 0.0, 40.0, "K")?;
        check_setting("dew point", input.dew_point_c, -60.0, 40.0, "°C")?;
        check_setting("wind speed", input.wind_m_s, 0.0, 75.0, "m/s")?;
        let maximum_c = match input.season {
            Season::Summer { maximum_c } => {
                check_setting("highest temperature", maximum_c, -60.0, 60.0, "°C")?;
                maximum_c
            }
            Season::Winter { minimum_c } => {
                check_setting("lowest temperature", minimum_c, -60.0, 60.0, "°C")?;
                minimum_c + input.daily_range_k
            }
        };
        let clear_sky = match input.sky {
            Sky::Dark => None,
            Sky::Sunny {
                clear,
                clear_fraction,
            } => {
                check_setting("beam optical depth", clear.tau_beam, 0.05, 2.0, "")?;
                check_setting("diffuse optical depth", clear.tau_diffuse, 0.5, 4.0, "")?;
                check_setting(
                    "clear fraction",
                    clear_fraction,
                    0.0,
                    1.0,
                    "(1 is cloudless)",
                )?;
                Some((ClearSkyTable::new(clear), clear_fraction))
            }
        };
        Ok(Self {
            input,
            maximum_c,
            w_of_dew_point: humidity_ratio(1.0, input.dew_point_c, site.pressure_pa),
            saturation: SaturationTable::new(site.pressure_pa),
            clear_sky,
        })
    }

    /// What the day was described by.
    #[must_use]
    pub fn input(&self) -> &DesignDayInput {
        &self.input
    }

    /// Dry bulb at a local clock time, °C.
    #[must_use]
    pub fn air_c(&self, local: NaiveDateTime) -> f64 {
        let seconds = f64::from(local.num_seconds_from_midnight());
        let hour = seconds / 3600.0;
        let whole = hour as usize;
        // Entry 0 is hour 1, so hour 0 is entry 23: midnight.
        let before = FRACTION_OF_RANGE[(whole + 23) % 24];
        let after = FRACTION_OF_RANGE[whole % 24];
        let fraction = before + (hour - whole as f64) * (after - before);
        self.maximum_c - fraction * self.input.daily_range_k
    }

    /// Conditions at a local clock time, with the sun standing as given.
    #[must_use]
    pub fn sample(&self, local: NaiveDateTime, sun: &Sun) -> Sample {
        let air_c = self.air_c(local);
        let (dni_w_m2, dhi_w_m2) = self.sky(local, sun);
        Sample {
            air_c,
            w: self.w_of_dew_point.min(self.saturation.w_sat(air_c)),
            dni_w_m2,
            dhi_w_m2,
            wind_m_s: self.input.wind_m_s,
        }
    }

    fn sky(&self, local: NaiveDateTime, sun: &Sun) -> (f64, f64) {
        let Some((table, clear_fraction)) = &self.clear_sky else {
            return (0.0, 0.0);
        };
        if !sun.is_up() {
            return (0.0, 0.0);
        }
        let outside = extraterrestrial_w_m2(local.ordinal());
        let clear = table.irradiance(sun.elevation_deg(), outside);
        let global = clear.dni_w_m2 * sun.cos_zenith() + clear.dhi_w_m2;
        let cloudy_dhi = OVERCAST_SHARE * global;
        (
            clear_fraction * clear.dni_w_m2,
            cloudy_dhi + clear_fraction * (clear.dhi_w_m2 - cloudy_dhi),
        )
    }
}
