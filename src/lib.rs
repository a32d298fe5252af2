//! openshut
#![forbid(unsafe_code)]
#![warn(missing_docs)]
pub mod control;
pub mod math;
pub mod measure;
pub mod plant;
