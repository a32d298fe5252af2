//! openshut
#![forbid(unsafe_code)]
#![warn(missing_docs)]
pub mod math;
pub mod quantity;
pub mod scenario;
