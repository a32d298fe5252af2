//! Studies: many runs or settled states of one house, side by side.
//!
//! - [`compare`] runs files and sets their measures side by side;
//! - [`combinations`] judges every set of calling zones in its settled state;
//! - [`size_relief`] finds a relief, or what may stand in for one, with which every set passes;
//! - [`faults`] runs a healthy system and each fault, and finds the test that distinguishes them;
//! - [`sweep`] varies keys and samples what is uncertain.
//!
//! A study works on a [`case::Case`]: a scenario together with the tree it was read from, so that
//! every alternative is the same what-if that a person would write. Work is spread over all cores; the
//! answer does not depend on how many there are.

pub(crate) mod alternatives;
pub(crate) mod case;
pub(crate) mod combinations;
pub(crate) mod compare;
pub(crate) mod criteria;
pub(crate) mod faults;
pub(crate) mod settled;
pub(crate) mod size_relief;
pub(crate) mod sweep;

use thiserror::Error;

use crate::engine::RunError;
use crate::scenario::diagnostic::Diagnostic;

/// Why a study could not be made.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum StudyError {
    /// A scenario or a change to it is faulty.
    #[error("{0}")]
    Scenario(Box<Diagnostic>),
    /// A run or a settled state could not be solved.
    #[error("{case}: {error}")]
    Run {
        /// Which scenario.
        case: String,
        /// What went wrong.
        error: RunError,
    },
}

impl From<Diagnostic> for StudyError {
    fn from(fault: Diagnostic) -> StudyError {
        StudyError::Scenario(Box::new(fault))
    }
}

impl StudyError {
    /// Names the scenario in which a run failed.
    pub fn of(case: &str) -> impl FnOnce(RunError) -> StudyError {
        let case = case.to_string();
        move |error| StudyError::Run { case, error }
    }
}
