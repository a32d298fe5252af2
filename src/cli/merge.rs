//! `openshut merge`.

use std::path::PathBuf;

use super::{Context, Status, sweep};
use crate::report::OutputDir;
use crate::study::sweep::{Shard, SweepError, merge};

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Folders that `openshut sweep --shard` left.
    #[arg(required = true, value_name = "FOLDER")]
    folders: Vec<PathBuf>,
    /// Joins what is there even when cases are missing.
    #[arg(long)]
    incomplete: bool,
    /// Leaves out the figures.
    #[arg(long)]
    no_figures: bool,
}

/// Joins the parts of a sweep.
pub(super) fn merge(context: &Context, args: &Args) -> Status {
    match try_merge(context, args) {
        Ok(status) => status,
        Err(e) => sweep::complain(context, &e),
    }
}

fn try_merge(context: &Context, args: &Args) -> Result<Status, SweepError> {
    let whole = merge::merge(&args.folders)?;
    if let Some(missing) = sweep::missing_text(&whole) {
        if !args.incomplete {
            return Err(SweepError::Argument {
                what: missing,
                advice:
                    "run the missing parts, or those unfinished with --resume; or add --incomplete"
                        .into(),
            });
        }
        super::note(&missing);
    }
    let folder = context.out.join(Shard::WHOLE.folder(&whole.plan));
    OutputDir::test(&folder)?;
    sweep::leave(context, &folder, &whole, !args.no_figures)?;
    Ok(sweep::verdict(&whole))
}
