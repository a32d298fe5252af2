//! `openshut new`.

use std::io::Write;
use std::path::PathBuf;

use super::{Context, Status};
use crate::scenario::diagnostic::Diagnostic;
use crate::scenario::shelf::STARTER;

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Where to write it; an existing file stays as it is
    #[arg(value_name = "PATH")]
    path: PathBuf,
}

/// Writes the starter file.
pub(super) fn new(context: &Context, args: &Args) -> Status {
    let path = &args.path;
    let made = std::fs::File::options()
        .write(true)
        .create_new(true)
        .open(path)
        .and_then(|mut file| file.write_all(STARTER.as_bytes()));
    match made {
        Ok(()) => {
            super::say(&format!(
                "{0} is written. Next: openshut run {0}\n",
                path.display()
            ));
            Status::Ran
        }
        Err(e) => {
            let fault = if e.kind() == std::io::ErrorKind::AlreadyExists {
                let what = format!("{} exists and stays as it is", path.display());
                Diagnostic::plain(what).advise("choose another name")
            } else {
                let what = format!("{} cannot be written: {e}", path.display());
                Diagnostic::plain(what).advise("choose another folder")
            };
            super::complain(context, &fault);
            Status::CannotWrite
        }
    }
}
