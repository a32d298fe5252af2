//! Simulates how a zoned, ducted air-conditioning system behaves through time.
//!
//! # A day in ten lines
//!
//! ```
//! use openshut::{run::simulate, scenario::Scenario};
//!
//! let house = Scenario::embedded("family-house")?;
//! let day = simulate(&house, |_| {})?;
//! let worst = day.measure("static_worst", "house").expect("every run measures it");
//! println!("worst static pressure {:.0} Pa, {}", worst.value, worst.note);
//! assert!(worst.value > 0.0 && day.heat.relative < 1e-6);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # The way through the crate
//!
//! 1. [`scenario`] reads a file into a checked [`Scenario`](scenario::Scenario): SI units, nothing
//!    optional that could surprise later. [`quantity`] knows the units people write.
//! 2. [`plant`] is physics without opinions: [`air`](plant::air), [`rooms`](plant::room) as a
//!    [network of stores](plant::thermal), the [air network](plant::network) that
//!    [`air_side`](plant::air_side) joins from fan, ducts, dampers and relief, and the
//!    [`unit`](plant::unit).
//! 3. [`control`] decides without knowing physics: readings and time go in, commands come out.
//! 4. [`engine`] steps: a plan, a [`State`](engine::State) that is everything that changes, and scratch
//!    memory. The order of a step stands at [`Engine::advance`](engine::Engine::advance).
//! 5. [`run`] joins engine and measures from warm-up to end: [`trace`] is what was seen, [`measure`] what it means, [`report`] what people look at.
//! 6. [`study`] runs many and sets them side by side; [`evidence`] sets the program beside the outside
//!    world.
//! 7. [`cli`] is the program; only it prints.
//!
//! Every public item says its units and the source of its formula. Temperatures are °C, differences
//! K, everything else plain SI.
#![forbid(unsafe_code)]
#![warn(missing_docs)]

pub mod cli;
pub mod control;
pub mod engine;
pub mod evidence;
pub mod fault;
pub mod math;
pub mod measure;
pub mod plant;
pub mod quantity;
pub mod report;
pub mod run;
pub mod scenario;
pub mod study;
pub mod trace;

#[cfg(test)]
#[path = "../tests/parts/mod.rs"]
mod parts;
