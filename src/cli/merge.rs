//! `openshut merge`.

use std::path::PathBuf;

use super::{Context, Failure, Status, sweep};
use crate::report::sweep as report;
use crate::study::sweep::{Shard, SweepError, merge};

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Folders that `openshut sweep --shard` left
    #[arg(required = true, value_name = "FOLDER")]
    folders: Vec<PathBuf>,
    /// Joins what is there even when cases are missing
    #[arg(long)]
    incomplete: bool,
    /// Leaves out the figures
    #[arg(long)]
    no_figures: bool,
}

/// Joins the parts of a sweep.
pub(super) fn merge(context: &Context, args: &Args) -> Result<Status, Failure> {
    let whole = merge::merge(&args.folders)?;
    if let Some(missing) = report::missing_text(&whole) {
        if !args.incomplete {
            let advice =
                "run the missing parts, finish those begun with --resume, or add --incomplete";
            return Err(Failure::Sweep(SweepError::Argument {
                what: missing,
                advice: advice.into(),
            }));
        }
        super::note(&missing);
    }
    let folder = context.out.join(Shard::WHOLE.folder(&whole.plan));
    super::try_folder(&folder)?;
    sweep::leave(context, &folder, &whole, !args.no_figures)?;
    Ok(sweep::verdict(&whole))
}
