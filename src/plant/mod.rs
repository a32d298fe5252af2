//! The physics, without opinions: what exists and how it behaves.

pub mod air;
pub mod sun;
pub mod weather;
