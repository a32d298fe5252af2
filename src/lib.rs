//! Simulates how a zoned, ducted air-conditioning system behaves through time.
//!
//! # A day in ten lines
//!
//! ```
//! use openshut::{Scenario, simulate};
//!
//! let house = Scenario::embedded("family-house")?;
//! let day = simulate(&house, |_| {})?;
//! let worst = day.measure("static_worst", "house").expect("every run measures it");
//! println!("worst static pressure {:.0} Pa, {}", worst.value, worst.note);
//! assert!(worst.value > 0.0 && day.heat.relative < 1e-6);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # What a user of the library needs
//!
//! A [`Scenario`] is read from a file and checked: SI units, nothing optional that could surprise
//! later, and a [`Diagnostic`] that names file and line where it is refused. [`simulate`] runs it
//! to an [`Outcome`] with its [`Measure`]s and its [`Trace`]; [`Engine`] steps it by hand. A
//! [`Case`] is a scenario that can be changed by key; [`compare`], [`combinations`] and
//! [`size_relief`] run many and set them side by side.
//!
//! # The way through the source
//!
//! 1. `scenario` reads a file; `quantity` knows the units people write.
//! 2. `plant` is physics without opinions: `air`, `room`, the air `network` that `air_side` joins
//!    from fan, ducts, dampers and relief, and the `unit`.
//! 3. `control` decides without knowing physics: readings and time go in, commands come out.
//! 4. `engine` owns the state and the step; `Engine::step` reads like a list.
//! 5. `trace` is what was recorded, `measure` what it means, `report` what people look at.
//! 6. `study` runs many.
//! 7. `cli` is the program; only it prints.
//!
//! Every public item says its units and the source of its formula. Temperatures are °C, differences
//! K, everything else plain SI.
#![forbid(unsafe_code)]
#![warn(missing_docs)]

mod cli;
mod control;
mod engine;
mod fault;
#[doc(hidden)]
pub mod internals;
mod math;
mod measure;
mod plant;
mod quantity;
mod report;
mod run;
mod scenario;
mod study;
mod trace;

#[doc(hidden)]
pub use cli::main;
pub use engine::{Engine, RunError, Scratch, State};
pub use measure::{Limit, Measure};
pub use quantity::UnitSystem;
pub use run::{Outcome, simulate};
pub use scenario::Scenario;
pub use scenario::diagnostic::Diagnostic;
pub use study::StudyError;
pub use study::case::Case;
pub use study::combinations::{Combinations, Options as CombinationOptions, combinations};
pub use study::compare::{Comparison, compare};
pub use study::size_relief::{Sizing, SizingOptions, size_relief};
pub use trace::Trace;

#[cfg(test)]
#[path = "../tests/parts/mod.rs"]
mod parts;

#[cfg(test)]
#[path = "../tests/validation/mod.rs"]
mod validation;
