//! The program's figures beside those of the outside world.
//!
//! Each topic is one file. Rows about rooms, loops, units, ducts, control, sound and weather load a scenario file
//! of this folder and step the engine as every run does; rows about parts hold code that runs execute. The outside
//! figures are made by the scripts in `tests/reference/`, exact solutions or published tables. `EVIDENCE.md`
//! is written from the rows.

mod bench;
mod comfort;
mod ducts;
mod evidence;
mod loops;
mod moist_air;
mod networks;
mod reference;
mod rooms;
mod row;
mod run;
mod sun;
mod trade;
mod unit;

use reference::ReferenceError;
use row::Row;

/// A topic's name and the function that computes its rows.
type Topic = (&'static str, fn() -> Result<Vec<Row>, ReferenceError>);

/// Every topic, in the order shown; the first ones through runs, the others parts that runs execute.
const TOPICS: &[Topic] = &[
    ("rooms, through runs", rooms::rows),
    ("closed loops, through runs", loops::rows),
    ("unit, ducts, control and sound, through runs", bench::rows),
    ("moist air", moist_air::rows),
    ("ducts and dampers", ducts::rows),
    ("fans and air networks", networks::rows),
    ("sun and weather", sun::rows),
    ("comfort", comfort::rows),
    ("unit", unit::rows),
    ("trade figures", trade::rows),
];

/// Source of a figure that nobody published: what the trade does.
const COMMON: &str = "common practice, no source";

/// All rows of all topics, computed on as many threads as there are topics and processors. A topic that cannot be
/// computed has one row, which fails.
fn all() -> Vec<(&'static str, Vec<Row>)> {
    use rayon::prelude::*;
    TOPICS
        .par_iter()
        .map(|(name, rows)| {
            let mut rows = rows().unwrap_or_else(|e| vec![Row::refused(&e.to_string())]);
            for row in rows.iter_mut().filter(|r| r.part.is_empty()) {
                row.part = name;
            }
            (*name, rows)
        })
        .collect()
}
