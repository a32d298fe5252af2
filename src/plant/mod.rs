//! Physics without opinions.
pub mod sound;
