//! The step.
pub mod event;
pub mod sample;
