//! The conditioning unit: coil, compressor and their start-up, in cooling and in heating.
//!
//! - [`Unit`] steps through time: stage or speed, start-up ramp, what the coil gives back after
//!   a stop. It knows nothing of fans, ducts or controllers: air comes in, air goes out.
//! - [`CoolingCoil`] solves for the surface temperature (the form the step uses).
//! - [`HeatingCurves`] read rating curves, as a data sheet gives them.
//!
//! # Signs
//! Heat flows are heat *removed from the air*: positive in cooling, negative in heating. Power and
//! condensate are never negative. Fan heat is nowhere in here; the caller adds it downstream.
//!
//! # Psychrometrics
//! Enthalpy is per kg of dry air, `1006·t + w·(2 501 000 + 1860·t)` J/kg, saturation from
//! [`SaturationTable`](crate::plant::air::SaturationTable).

mod airflow;
mod cooling;
mod curve;
mod heating;
mod machine;
mod state;
mod surface_map;

pub use airflow::{Airflow, BypassLaw};
pub(crate) use cooling::AIR_KG_S_PER_KW;
pub use cooling::{CoilMemory, CoolingCoil};
pub use curve::{Biquadratic, CubicModifier, Range};
#[cfg(test)]
pub use heating::Frost;
pub use heating::HeatingCurves;
pub use machine::{Unit, UnitKind};
pub use state::{
    CoilState, Mode, UnitCommand, UnitError, UnitInlet, UnitOutput, UnitState, UnitStep,
};
pub use surface_map::SurfaceMap;
