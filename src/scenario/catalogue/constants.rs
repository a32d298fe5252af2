//! What a model assumes and no key changes: told, so that the list of assumptions is whole.

use super::{COMMON, OWN};
use crate::control::staging;
use crate::measure::{comfort, cycling, energy, lasting};
use crate::plant::{air_side, drivers, room, sound::attenuation};
use crate::quantity::Dimension::{self, *};
use crate::quantity::{self, UnitSystem, significant};

/// An assumption of the models.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Constant {
    /// What it is.
    pub about: &'static str,
    /// Its value, SI.
    value: f64,
    /// What it measures; `None` for a bare number.
    dimension: Option<Dimension>,
    /// Where it comes from.
    pub source: &'static str,
}

impl Constant {
    /// Its value with its unit.
    pub(crate) fn shown(&self, system: UnitSystem) -> String {
        match self.dimension {
            Some(dimension) => quantity::display_full(self.value, dimension, system),
            None => significant(self.value, 6),
        }
    }
}

const fn of(
    about: &'static str,
    value: f64,
    dimension: Dimension,
    source: &'static str,
) -> Constant {
    Constant {
        about,
        value,
        dimension: Some(dimension),
        source,
    }
}

const fn bare(about: &'static str, value: f64, source: &'static str) -> Constant {
    Constant {
        about,
        value,
        dimension: None,
        source,
    }
}

const ISO_13789: &str = "ISO 13789:2017 table 8, as transcribed";

/// Every constant that is a choice of a model; constants of nature and of numerical methods stand in the code.
#[rustfmt::skip] // One line a constant.
pub(crate) const CONSTANTS: &[Constant] = &[
    of("convective coefficient of walls", room::H_CONVECTIVE_WALL, UValue, ISO_13789),
    of("convective coefficient of floor and ceiling together, per floor area", room::H_CONVECTIVE_FLOOR_AND_CEILING, UValue, ISO_13789),
    of("radiative coefficient between surfaces", room::H_RADIATIVE, UValue, ISO_13789),
    of("resistance between a surface and the mass behind it", room::R_LINING, ThermalResistance, COMMON),
    bare("surface of light contents per floor area", room::CONTENTS_AREA_RATIO, COMMON),
    of("heat capacity of contents per floor area", room::CONTENTS_J_K_M2, HeatCapacityPerArea, "between 7 (ISO 52016-1, from memory) and 40 kJ/(m² K); common practice, no source"),
    of("outer surface coefficient of the sol-air temperature", room::H_OUTER, UValue, "ASHRAE, from memory"),
    of("how much colder than outdoor air the sky makes a horizontal roof", crate::scenario::house::SKY_K, TemperatureDifference, "ASHRAE, from memory"),
    bare("diffuse sun through glass over its normal value", drivers::DIFFUSE_MODIFIER, "Fw of ISO 13790, from memory"),
    bare("exponent of air leakage", air_side::LEAKAGE_EXPONENT, "ISO 9972 form; common practice"),
    of("air to which capacity is held: heat per volume and K, for 1 K", staging::AIR_J_PER_M3_K, HeatCapacity, "air at 1.2 kg/m³"),
    of("most that lined ducts of a path take together, per octave", attenuation::LINED_LIMIT_DB, SoundLevel, COMMON),
    of("longest flexible duct that counts for sound", attenuation::FLEXIBLE_LIMIT_M, Length, COMMON),
    bare("loss of a return grille on its face velocity pressure", crate::scenario::sound::RETURN_GRILLE_LOSS, "middle of 1.5 to 3; common practice, no source"),
    of("how long a pressure must last to be judged", lasting::QUALIFY_S, Time, "our own choice, there is no standard"),
    of("a complete run shorter than this is a short start", cycling::SHORT_RUN_S, Time, "our own definition, there is no standard"),
    of("start of a run in which the supply air is not judged", energy::BLIND_S, Time, "the protections are blind for as long; our own choice"),
    of("start of a scheduled period in which comfort is not judged", comfort::SETTLING_S, Time, OWN),
    of("relative humidity above which air is humid", comfort::humidity::HUMID, Fraction, OWN),
];
