//! Small numerical tools that know nothing of buildings.

pub mod sparse_lu;
