//! Steps a scenario through time: [`Engine`] is the plan, [`State`] everything that changes, [`Scratch`]
//! everything that may be thrown away.
//!
//! The order of a step stands once, in [`Engine::advance`].

pub(crate) mod event;
pub(crate) mod house;
pub(crate) mod manual_override;
pub(crate) mod meter;
pub(crate) mod sample;
mod scratch;
pub(crate) mod sound;
mod state;
mod step;

use thiserror::Error;

use crate::plant::network::{BuildError, NetworkError};
use crate::plant::unit::UnitError;

pub use scratch::Scratch;
pub use state::{PlantState, State};
pub use step::Engine;
pub(crate) use step::GRID_S;

/// Why a run stopped.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum RunError {
    /// The air network cannot be joined.
    #[error("the air side cannot be joined: {0}")]
    Build(#[from] BuildError),
    /// The air network has no solution at some step.
    #[error("the air side could not be solved: {0}")]
    Air(#[from] NetworkError),
    /// The unit has no solution at some step.
    #[error("the unit could not be solved: {0}")]
    Unit(#[from] UnitError),
    /// Rows or events could not be handed on.
    #[error("the run's tables cannot be written: {0}")]
    Tables(String),
    /// A room's balance has no solution.
    #[error("the balance of room \"{room}\" has no solution {t_s} s into the run")]
    Room {
        /// The room.
        room: String,
        /// When, s.
        t_s: f64,
    },
}
