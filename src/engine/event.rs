//! What happened, when, to what, and why.

use crate::control::NoticeKind;

/// Kinds of event, each with a stable name for `events.csv`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum What {
    /// Something the controller decided.
    Control(NoticeKind),
    /// The fan started or stopped.
    Fan,
    /// A damper has come to rest.
    Damper,
    /// A room went above its sound limit, or came back.
    Sound,
    /// A person acted.
    Action,
    /// A fault began or ended.
    Fault,
}

impl What {
    /// Stable name.
    pub fn name(self) -> &'static str {
        match self {
            What::Control(kind) => kind.name(),
            What::Fan => "fan",
            What::Damper => "damper",
            What::Sound => "sound",
            What::Action => "action",
            What::Fault => "fault",
        }
    }
}

/// One event.
#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    /// Seconds since the start of the run.
    pub t_s: f64,
    /// Kind.
    pub what: What,
    /// The zone, outlet or protection it concerns, or `system`.
    pub subject: String,
    /// Why; empty when there is nothing to add.
    pub cause: String,
    /// A figure that goes with it, SI: the reading at a trip, a position, a speed; NaN without one.
    pub value: f64,
    /// The whole of it as a sentence.
    pub text: String,
}
