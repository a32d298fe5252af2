//! A unit that does not do what its mode says.

use super::{Concerns, Fault, Now};
use crate::control::{Commands, Mode};
use crate::scenario::Scenario;

/// A unit that heats when told to cool: a reversing valve that sticks, or its wire on the wrong
/// terminal. (A controller set to the wrong mode needs no fault: an `[[action]]` with `mode` sets it.)
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct WrongMode {
    /// The one mode it runs in; `None` = the opposite of what it is told.
    pub stuck_in: Option<Mode>,
}

impl Fault for WrongMode {
    fn kind(&self) -> &'static str {
        "wrong mode"
    }

    fn subject(&self, _s: &Scenario) -> String {
        "unit".to_string()
    }

    fn words(&self, _s: &Scenario) -> String {
        match self.stuck_in {
            None => "unit runs in the other mode".to_string(),
            Some(mode) => format!("unit stuck in {}", mode.name()),
        }
    }

    fn concerns(&self, _s: &Scenario) -> Concerns {
        Concerns::default()
    }

    fn commands(&self, _now: &Now, _held: &mut [f64], commands: &mut Commands) {
        if let Some(told) = commands.unit.mode {
            commands.unit.mode = Some(self.stuck_in.unwrap_or(told.other()));
        }
    }
}
