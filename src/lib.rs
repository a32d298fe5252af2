//! openshut
#![forbid(unsafe_code)]
#![warn(missing_docs)]
pub mod math;
pub mod measure;
pub mod plant;
