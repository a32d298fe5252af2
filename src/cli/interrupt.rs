//! What Ctrl-C does to a command that has nothing to keep.

use super::Status;
use crate::report::OutputDir;

/// From now on an interrupt removes what is half-written, says so and ends the program.
pub(super) fn leave_nothing() {
    // Where no handler can be set an interrupt ends the program as it always would.
    let _ = ctrlc::set_handler(|| {
        let before = match OutputDir::abandon() {
            0 => "nothing written",
            _ => "what was finished before is kept, and nothing else written",
        };
        super::note(&format!("interrupted; {before}"));
        std::process::exit(Status::Interrupted as i32);
    });
}
