//! The evidence: this program's figures beside those of the outside world.
//!
//! Each topic is one file and computes its rows by calling the library's own public functions and
//! comparing them with reference data made by the scripts in `tests/reference/`, with exact
//! solutions, or with published figures. The tests hold every row; the command line prints them; the
//! README shows what is printed.

mod closed_loop;
mod comfort;
mod ducts;
mod moist_air;
mod networks;
mod reference;
mod rooms;
mod row;
mod sun;
mod table;
mod trade;
mod unit;

pub use reference::EvidenceError;
pub use row::Row;
pub use sun::typical_year;
pub use table::{NOT_COVERED, markdown, plain};

/// A topic's name and the function that computes its rows.
pub type Topic = (&'static str, fn() -> Result<Vec<Row>, EvidenceError>);

/// Every topic, in the order shown.
pub const TOPICS: &[Topic] = &[
    ("moist air", moist_air::rows),
    ("ducts and dampers", ducts::rows),
    ("fans and air networks", networks::rows),
    ("rooms", rooms::rows),
    ("whole closed loop", closed_loop::rows),
    ("sun and weather", sun::rows),
    ("comfort", comfort::rows),
    ("unit", unit::rows),
    ("trade figures", trade::rows),
];

/// Source of a figure that nobody published: what the trade does.
const COMMON: &str = "common practice, no source";

/// All rows of all topics, computed on as many threads as there are topics and processors.
///
/// # Errors
/// [`EvidenceError`] when a reference file lacks something or a part of the program refuses a case.
pub fn all() -> Result<Vec<(&'static str, Vec<Row>)>, EvidenceError> {
    use rayon::prelude::*;
    TOPICS
        .par_iter()
        .map(|(name, rows)| Ok((*name, rows()?)))
        .collect()
}
