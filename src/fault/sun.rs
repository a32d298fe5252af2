//! Sun on a thermostat.

use chrono::{NaiveDateTime, TimeDelta, Timelike};

use crate::plant::sun::{Surface, irradiance_on};
use crate::plant::weather::{Site, Weather};

/// Direct sun in which a sensor is off by its full rise, W/m²: a west wall of an afternoon in
/// summer sees 600 to 800; our own choice.
const FULL_BEAM_W_M2: f64 = 700.0;
/// The direct sun is looked at so often, and is linear in between, s.
const CELL_S: f64 = 300.0;
const DAY_S: f64 = 86_400.0;

/// When the sun reaches a sensor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SunOnSensor {
    /// Every day between two times of day, rising and falling as half a sine.
    Hours {
        /// Begin, s after midnight.
        from_s: f64,
        /// End, s after midnight, later than the begin.
        to_s: f64,
    },
    /// As the direct sun on a façade.
    Facade(Surface),
}

/// Direct sun on a façade at both ends of a cell of time.
#[derive(Clone, Copy, Debug)]
struct Cell {
    facade: Surface,
    index: i64,
    ends_w_m2: [f64; 2],
}

/// Says how strongly the sun shines on sensors in a run. What it remembers only saves work: an
/// answer depends on nothing but the time asked for.
#[derive(Clone, Debug)]
pub struct SensorSun<'a> {
    site: &'a Site,
    weather: &'a Weather,
    start: NaiveDateTime,
    duration_s: f64,
    cells: Vec<Cell>,
}

impl<'a> SensorSun<'a> {
    /// For a run whose second 0 is `start`, local time.
    pub fn new(
        site: &'a Site,
        weather: &'a Weather,
        start: NaiveDateTime,
        duration_s: f64,
    ) -> SensorSun<'a> {
        SensorSun {
            site,
            weather,
            start,
            duration_s,
            cells: Vec::new(),
        }
    }

    /// Share of the full rise at `t_s` after the start of the run.
    pub fn share(&mut self, sun: &SunOnSensor, t_s: f64) -> f64 {
        match sun {
            SunOnSensor::Hours { from_s, to_s } => {
                let clock_s = f64::from(self.start.num_seconds_from_midnight()) + t_s;
                let part = (clock_s.rem_euclid(DAY_S) - from_s) / (to_s - from_s);
                if (0.0..1.0).contains(&part) {
                    (std::f64::consts::PI * part).sin()
                } else {
                    0.0
                }
            }
            SunOnSensor::Facade(facade) => {
                let at = t_s / CELL_S;
                let index = at.floor() as i64;
                let [from, to] = self.cell(facade, index);
                (from + (at - index as f64) * (to - from)) / FULL_BEAM_W_M2
            }
        }
    }

    fn cell(&mut self, facade: &Surface, index: i64) -> [f64; 2] {
        let known = self.cells.iter().position(|c| c.facade == *facade);
        if let Some(known) = known
            && self.cells[known].index == index
        {
            return self.cells[known].ends_w_m2;
        }
        let cell = Cell {
            facade: *facade,
            index,
            ends_w_m2: [index, index + 1].map(|i| self.beam_w_m2(facade, i as f64 * CELL_S)),
        };
        match known {
            Some(known) => self.cells[known] = cell,
            None => self.cells.push(cell),
        }
        cell.ends_w_m2
    }

    fn beam_w_m2(&self, facade: &Surface, t_s: f64) -> f64 {
        // No weather is known beyond the end of the run.
        let t_s = t_s.min(self.duration_s);
        let local = self.start + TimeDelta::milliseconds((t_s * 1000.0) as i64);
        let sun = self.site.sun(local);
        let sky = self.weather.sample(self.site, local, &sun);
        irradiance_on(facade, &sun, sky.dni_w_m2, sky.dhi_w_m2, 0.0).beam
    }
}
