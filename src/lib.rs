//! openshut
#![forbid(unsafe_code)]
#![warn(missing_docs)]
pub mod cli;
pub mod control;
pub mod evidence;
pub mod math;
pub mod measure;
pub mod plant;
pub mod quantity;
pub mod report;
pub mod run;
pub mod scenario;
pub mod trace;
