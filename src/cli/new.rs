//! `openshut new`.

use std::io::Write;
use std::path::PathBuf;

use super::{Context, Status};
use crate::scenario::shelf::STARTER;

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Where to write it; an existing file is left alone.
    #[arg(value_name = "PATH")]
    path: PathBuf,
}

/// Writes the starter file.
pub(super) fn new(_: &Context, args: &Args) -> Status {
    let path = &args.path;
    let made = std::fs::File::options()
        .write(true)
        .create_new(true)
        .open(path)
        .and_then(|mut file| file.write_all(STARTER.as_bytes()));
    match made {
        Ok(()) => {
            super::say(&format!(
                "{0} is written. Now: openshut run {0}\n",
                path.display()
            ));
            Status::Ran
        }
        Err(e) if e.kind() == std::io::ErrorKind::AlreadyExists => {
            super::note(&format!(
                "{} exists already and was left alone; choose another name",
                path.display()
            ));
            Status::CannotWrite
        }
        Err(e) => {
            super::note(&format!(
                "{} cannot be written: {e}; choose another folder",
                path.display()
            ));
            Status::CannotWrite
        }
    }
}
