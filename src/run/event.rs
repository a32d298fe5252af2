//! What happened, when, to what, and why.

/// Kinds of event, each with a stable name for `events.csv`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum What {
    /// The compressor started.
    Start,
    /// The compressor stopped.
    Stop,
    /// A protection tripped.
    Trip,
    /// A protection reset.
    Reset,
    /// A protection tripped too often and stays out.
    LockOut,
    /// A start or stop waits for a timer.
    Hold,
    /// A zone began to call.
    CallBegan,
    /// A zone stopped calling.
    CallEnded,
    /// A time band began or ended.
    BandEdge,
    /// The unit changed between cooling and heating.
    ModeChange,
    /// A zone waits for the other mode.
    Waiting,
    /// A zone starts ahead of its band.
    EarlyStart,
    /// A person changed something.
    Action,
    /// A damper began or ended a move.
    Damper,
    /// The fan started or stopped.
    Fan,
    /// A measured figure crossed its limit.
    Limit,
    /// Something else worth a line.
    Note,
}

impl What {
    /// Stable name, as written to `events.csv`.
    pub fn name(self) -> &'static str {
        match self {
            What::Start => "start",
            What::Stop => "stop",
            What::Trip => "trip",
            What::Reset => "reset",
            What::LockOut => "lock-out",
            What::Hold => "hold",
            What::CallBegan => "call-began",
            What::CallEnded => "call-ended",
            What::BandEdge => "band-edge",
            What::ModeChange => "mode-change",
            What::Waiting => "waiting",
            What::EarlyStart => "early-start",
            What::Action => "action",
            What::Damper => "damper",
            What::Fan => "fan",
            What::Limit => "limit",
            What::Note => "note",
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
    /// The zone, outlet, protection or part it concerns.
    pub subject: String,
    /// Why, in plain words.
    pub cause: String,
}
