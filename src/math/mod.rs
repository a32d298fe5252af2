//! Small numerical tools that know nothing of buildings.

pub mod distribution;
pub mod lanes;
pub mod sparse_lu;
