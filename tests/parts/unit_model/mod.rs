//! The conditioning unit against closed forms, its published-form fits and a reference cycle.
//!
//! Check values: `tests/reference/unit_cases.json`. The reference cycle is a vapour-compression
//! cycle with R32 and moist-air properties of CoolProp; the fits in the crate were made to it, so
//! these checks cover the solve and the psychrometrics, and the fit within its stated error.

mod coil;
mod common;
mod through_time;
mod trends;
