//! The whole loop, rooms and control together, against scipy's integration with event detection.
//!
//! `tests/reference/closed_loop.py` writes the equations out. Its supply air is a given flow at a
//! given temperature, which the program's unit is not, so the loop is put together here from the
//! library's own parts: stores for the rooms, sensors, controller, relief control, damper motors,
//! dampers and air network. Each step goes through them in the order of
//! [`crate::engine::Engine::step`]: readings, control, dampers, air, rooms.

mod modulating;
mod on_off;
mod rooms;

pub(super) use on_off::{bare, calendar, one_zone};

use serde_json::Value;

use super::reference::{EvidenceError, parse};
use super::row::{Row, fixed, short};

const SCIPY: &str = "scipy 1.17.1 solve_ivp, DOP853 and Radau with event detection, rtol 1e-10";

/// Steps at which the loops are run, s, finest last.
const STEPS_S: [f64; 4] = [4.0, 2.0, 1.0, 0.5];

pub(super) fn rows() -> Result<Vec<Row>, EvidenceError> {
    let file = parse(
        "closed_loop.json",
        include_str!("../../../tests/reference/closed_loop.json"),
    )?;
    let mut out = on_off::rows("one room", &file["one_room"])?;
    out.extend(on_off::rows("two rooms", &file["two_rooms"])?);
    out.extend(modulating::rows(&file["three_rooms"])?);
    Ok(out)
}

/// What shows how an error shrinks: the error at each of [`STEPS_S`], coarsest first.
struct Shrinking([f64; 4]);

impl Shrinking {
    /// A row that holds the finest step's error to `allowed`, and tells all four.
    fn row(&self, what: String, allowed: f64, unit: &'static str) -> Row {
        let mut worst = super::row::Worst::default();
        worst.push(self.0[3]);
        let told: Vec<String> = self.0.iter().map(|&e| short(e)).collect();
        Row {
            theirs: "0".into(),
            ours: format!("differs by {}", short(self.0[3])),
            ..Row::largest(what, SCIPY, worst, allowed, unit)
        }
        .remark(format!("at 4, 2, 1 and 0.5 s: {}", told.join(", ")))
    }

    /// A row that says the error shrinks like the step: from 4 s to 0.5 s by the factor 8 of first
    /// order, or more.
    fn convergence(&self, what: String) -> Row {
        let e = self.0;
        let halvings: Vec<String> = e.windows(2).map(|w| fixed(w[0] / w[1], 2)).collect();
        Row::inside(what, SCIPY, e[0] / e[3], (5.0, 16.0), "1").remark(format!(
            "first order is 8: each switching is late by up to a step; halving by halving {}",
            halvings.join(", ")
        ))
    }
}

/// Marks of a case: time and values.
fn marks(case: &Value) -> Result<Vec<Vec<f64>>, EvidenceError> {
    super::reference::list(case, "/marks")?
        .iter()
        .map(|m| super::reference::numbers(m, ""))
        .collect()
}
