//! Scenario files: read, checked, turned into SI-only types.

pub mod diagnostic;
pub mod reader;
pub mod source;
pub mod tree;
