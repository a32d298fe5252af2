//! Studies: many runs of the one engine, and what they say together.

pub mod faults;
pub mod sweep;
