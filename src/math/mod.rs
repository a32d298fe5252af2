//! Small numerical tools that know nothing of buildings.

mod clone_in_place;
pub mod distribution;
pub mod lanes;
pub mod sparse_lu;

pub(crate) use clone_in_place::clone_in_place;
