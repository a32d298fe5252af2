//! One room: its stores of heat and moisture, its couplings, its windows and gains.
//!
//! Three heat stores (air, light contents, fabric), because one is wrong: a single store of the whole
//! capacity cycles about fifty times too slowly and one of the air alone forgets within a quarter of
//! an hour. Two moisture stores (air and whatever buffers it).

use crate::plant::air::{CP_DRY_AIR, CP_VAPOUR};
use crate::plant::sun::Surface;

/// Humidity ratio at which room air's specific heat is taken, kg/kg.
pub(crate) const REFERENCE_HUMIDITY: f64 = 0.009;

/// Specific heat of moist air per kilogram of dry air, J/(kg K), at [`REFERENCE_HUMIDITY`].
///
/// Room balances and duct gains use this one value; between 4 and 14 g/kg the true one differs by
/// at most 0.9 %.
pub const CP_MOIST: f64 = CP_DRY_AIR + CP_VAPOUR * REFERENCE_HUMIDITY;

/// Latent heat used to turn a latent gain in watts into vapour, J/kg (vapour at room temperature).
pub(crate) const LATENT_HEAT_ROOM: f64 = 2.45e6;

/// Convective part of the surface coefficient of walls, W/(m² K); ISO 13789:2017 table 8 as transcribed.
pub(crate) const H_CONVECTIVE_WALL: f64 = 2.5;
/// Floor and ceiling together, W/(m² K) per m² of floor: 5.0 + 0.7 whichever way heat flows; same table.
pub(crate) const H_CONVECTIVE_FLOOR_AND_CEILING: f64 = 5.7;
/// Radiative coefficient, W/(m² K); ISO 13789:2017 table 8 as transcribed.
pub(crate) const H_RADIATIVE: f64 = 5.13;
/// Resistance of a lining between the surface and the mass behind it, m² K/W; common practice, no source.
pub(crate) const R_LINING: f64 = 0.06;
/// Surface of light contents per floor area, m²/m²; common practice, no source.
pub(crate) const CONTENTS_AREA_RATIO: f64 = 1.2;

/// How heavy a room's construction is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Construction {
    /// Timber or steel frame with plasterboard.
    Light,
    /// Brick veneer or timber frame on a slab.
    Medium,
    /// Masonry and concrete.
    Heavy,
}

impl Construction {
    /// Whole-room heat capacity per floor area, J/(K m²): ISO 13790:2008 table 12, as transcribed.
    pub fn capacity_j_k_m2(self) -> f64 {
        match self {
            Construction::Light => 110_000.0,
            Construction::Medium => 165_000.0,
            Construction::Heavy => 260_000.0,
        }
    }
}

/// Capacity of furniture and light contents per floor area, J/(K m²): between the 7 kJ remainder of
/// ISO 52016-1 (from memory) and 40; common practice, no source.
pub(crate) const CONTENTS_J_K_M2: f64 = 25_000.0;

/// The heat couplings and capacities inside a room.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stores {
    /// Heat capacity of the air, J/K.
    pub air_j_k: f64,
    /// Heat capacity of light contents, J/K.
    pub contents_j_k: f64,
    /// Heat capacity of the fabric, J/K.
    pub fabric_j_k: f64,
    /// Air to contents, W/K.
    pub air_contents_w_k: f64,
    /// Air to fabric, W/K.
    pub air_fabric_w_k: f64,
    /// Contents to fabric, W/K.
    pub contents_fabric_w_k: f64,
}

impl Stores {
    /// Defaults from geometry and construction.
    ///
    /// `contents_fabric` takes a net radiative exchange of 0.9 emittance over 0.8 m² of contents per
    /// m² of floor (common practice, no source); the rest as the constants of this module say.
    pub fn from_geometry(
        area_m2: f64,
        height_m: f64,
        construction: Construction,
        density_kg_m3: f64,
    ) -> Stores {
        let wall_m2 = 4.0 * area_m2.sqrt() * height_m;
        let surface_w_k = H_CONVECTIVE_WALL * wall_m2 + H_CONVECTIVE_FLOOR_AND_CEILING * area_m2;
        let total_m2 = wall_m2 + 2.0 * area_m2;
        Stores {
            air_j_k: density_kg_m3 * CP_MOIST * area_m2 * height_m,
            contents_j_k: CONTENTS_J_K_M2 * area_m2,
            fabric_j_k: (construction.capacity_j_k_m2() - CONTENTS_J_K_M2) * area_m2,
            air_contents_w_k: H_CONVECTIVE_WALL * CONTENTS_AREA_RATIO * area_m2,
            air_fabric_w_k: 1.0 / (1.0 / surface_w_k + R_LINING / total_m2),
            contents_fabric_w_k: H_RADIATIVE * 0.9 * 0.8 * area_m2,
        }
    }
}

/// A part of the envelope that loses heat from the fabric to the sol-air temperature.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OpaqueSurface {
    /// Area times thermal transmittance, W/K.
    pub ua_w_k: f64,
    /// Orientation.
    pub surface: Surface,
    /// Solar absorptance of the outer face, 0..1.
    pub absorptance: f64,
    /// Fall of the sol-air temperature by long-wave radiation to the sky, K (about 4 for a roof, 0
    /// for a wall; ASHRAE Handbook of Fundamentals, from memory).
    pub sky_k: f64,
}

/// Outer surface coefficient of the sol-air temperature, W/(m² K); ASHRAE, from memory.
pub(crate) const H_OUTER: f64 = 17.0;

/// A glazed opening.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Window {
    /// Area times thermal transmittance, W/K.
    pub ua_w_k: f64,
    /// Glass area times solar transmittance at normal incidence times the fraction that shading
    /// lets through, m².
    pub aperture_m2: f64,
    /// Orientation.
    pub surface: Surface,
}

/// How a gain or the sun is shared between air, contents and fabric.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shares {
    /// Convective fraction of people and plug gains (ISO 13790 ½, ISO 52016-1 0.40; from memory).
    pub gains_to_air: f64,
    /// Fraction of sun straight to the air (ISO 52016-1 0.10; from memory).
    pub sun_to_air: f64,
    /// Fraction of the remainder that falls on contents rather than fabric; common practice, no source.
    pub rest_to_contents: f64,
}

impl Default for Shares {
    fn default() -> Self {
        Shares {
            gains_to_air: 0.45,
            sun_to_air: 0.10,
            rest_to_contents: 0.5,
        }
    }
}

/// A gain with its hours: half-open minutes of the week.
#[derive(Clone, Debug, PartialEq)]
pub struct Gain {
    /// When it is present.
    pub hours: Hours,
    /// Sensible heat, W.
    pub sensible_w: f64,
    /// Moisture, kg/s.
    pub moisture_kg_s: f64,
    /// Heads, for occupancy-weighted measures (0 for a machine).
    pub people: f64,
}

/// Half-open hours on some weekdays; `from > to` crosses midnight and belongs to the day it starts on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Hours {
    /// Bit 0 is Monday.
    pub days: u8,
    /// First minute of the day, 0..1440.
    pub from_min: u16,
    /// First minute after, 0..=1440.
    pub to_min: u16,
}

impl Hours {
    /// All day, every day.
    pub const ALWAYS: Hours = Hours {
        days: 0b111_1111,
        from_min: 0,
        to_min: 1440,
    };

    /// Whether a minute of the week (0 = Monday 00:00) lies inside.
    pub fn contains(&self, minute_of_week: u32) -> bool {
        let day = (minute_of_week / 1440) % 7;
        let minute = (minute_of_week % 1440) as u16;
        let on = |day: u32| self.days >> (day % 7) & 1 == 1;
        if self.from_min < self.to_min {
            on(day) && minute >= self.from_min && minute < self.to_min
        } else {
            (on(day) && minute >= self.from_min) || (on(day + 6) && minute < self.to_min)
        }
    }
}

/// A room as the plant sees it.
#[derive(Clone, Debug, PartialEq)]
pub struct Room {
    /// Name in the scenario.
    pub name: String,
    /// Floor area, m².
    pub area_m2: f64,
    /// Ceiling height, m.
    pub height_m: f64,
    /// Heat capacities and couplings.
    pub stores: Stores,
    /// Opaque envelope.
    pub opaque: Vec<OpaqueSurface>,
    /// Windows.
    pub windows: Vec<Window>,
    /// Conductance from the fabric to the ground, W/K.
    pub ground_w_k: f64,
    /// Natural air change, 1/h.
    pub infiltration_ach: f64,
    /// Leakage of the envelope at 50 Pa, m³/s; flow ∝ Δp^0.65 (ISO 9972 form).
    pub leakage_50_m3_s: f64,
    /// How gains are shared.
    pub shares: Shares,
    /// People and machines.
    pub gains: Vec<Gain>,
    /// Dry-air mass equivalent of the moisture buffer, kg.
    pub buffer_kg: f64,
    /// Coupling of the buffer to the air, kg/s.
    pub buffer_kg_s: f64,
    /// Air, contents and fabric temperature at the start, °C; relative humidity 0..1.
    pub initial_c: f64,
    /// Relative humidity at the start, 0..1.
    pub initial_rh: f64,
}

impl Room {
    /// Volume, m³.
    pub fn volume_m3(&self) -> f64 {
        self.area_m2 * self.height_m
    }
}

/// Moisture buffering per floor area: NORDTEST moisture buffer value `mbv` in g/(m² %RH) on about four
/// m² of surface per m² of floor, turned into kg of dry air by ∂w/∂RH at 24 °C (1.888e-4 per %RH).
///
/// Rode et al. 2005 define the value; the surface ratio is common practice, no source.
pub(crate) fn moisture_buffer_kg(area_m2: f64, mbv_g_m2_rh: f64) -> f64 {
    mbv_g_m2_rh * 1e-3 * 4.0 * area_m2 / 1.888e-4
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hours_are_half_open_and_cross_midnight() {
        let night = Hours {
            days: 0b000_0001,
            from_min: 22 * 60,
            to_min: 6 * 60,
        };
        assert!(!night.contains(22 * 60 - 1));
        assert!(night.contains(22 * 60));
        assert!(night.contains(1440 + 6 * 60 - 1));
        assert!(!night.contains(1440 + 6 * 60));
        assert!(!night.contains(5), "Monday 00:05 belongs to Sunday's night");
        let sunday = Hours {
            days: 0b100_0000,
            ..night
        };
        assert!(sunday.contains(5), "the week wraps");
    }

    /// Time constants three decades apart: minutes, an hour, days (own derivation from the same
    /// formulae; bedroom of 12 m², light: 193 s, 53 min, 27 h).
    #[test]
    fn default_bedroom_has_the_capacities_of_the_reference() {
        let s = Stores::from_geometry(12.0, 2.4, Construction::Light, 1.2);
        assert!((s.air_j_k / 34_800.0 - 1.0).abs() < 0.03, "{}", s.air_j_k);
        assert_eq!(s.contents_j_k, 300_000.0);
        assert_eq!(s.fabric_j_k, 1_020_000.0);
        assert!((s.air_contents_w_k - 36.0).abs() < 1e-9);
        assert!(
            (s.air_fabric_w_k - 132.0).abs() < 8.0,
            "{}",
            s.air_fabric_w_k
        );
        assert!((s.contents_fabric_w_k - 44.0).abs() < 1.0);
    }
}
