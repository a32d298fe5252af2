//! `openshut evidence`.

use std::path::PathBuf;

use super::{Context, Status};
use crate::evidence;
use crate::scenario::diagnostic::Diagnostic;

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Prints Markdown, as in the README.
    #[arg(long)]
    markdown: bool,
    /// Also reads the TMY3 file that comes with the pvlib library, at this path.
    #[arg(long, value_name = "FILE")]
    typical_year: Option<PathBuf>,
}

/// Computes and prints the comparisons with the outside world.
pub(super) fn evidence(context: &Context, args: &Args) -> Status {
    let found = evidence::all().and_then(|mut topics| {
        if let Some(path) = &args.typical_year {
            topics.push(("typical year", evidence::typical_year(path)?));
        }
        Ok(topics)
    });
    match found {
        Ok(topics) => {
            super::say(&if args.markdown {
                evidence::markdown(&topics)
            } else {
                evidence::plain(&topics)
            });
            if topics.iter().flat_map(|t| &t.1).all(|r| r.holds) {
                Status::Ran
            } else {
                Status::LimitFailed
            }
        }
        Err(e) => super::complain(context, &Diagnostic::plain(e.to_string())),
    }
}
