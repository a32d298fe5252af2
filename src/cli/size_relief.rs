//! `openshut size-relief`.

use std::path::PathBuf;

use super::{Context, Failure, Status, combinations::At};
use crate::report::size_relief as report;
use crate::study::case::Case;
use crate::study::size_relief::{self as study, SizingOptions};

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Scenario file
    #[arg(value_name = "FILE")]
    file: PathBuf,
    #[command(flatten)]
    at: At,
    /// Room that a dumped relief opens into [default: the first with a return grille]
    #[arg(long, value_name = "ROOM")]
    dump_to: Option<String>,
    /// Leaves out the day run of each alternative, and so what it costs
    #[arg(long)]
    steady_state_only: bool,
    /// Changes one key of the file; may be repeated
    #[arg(long, value_name = "KEY=VALUE")]
    set: Vec<String>,
}

/// Finds the smallest relief and the least of each alternative.
pub(super) fn size_relief(context: &Context, args: &Args) -> Result<Status, Failure> {
    let case = Case::load(&args.file, &args.set)?;
    let options = SizingOptions {
        combinations: args.at.options()?,
        dump_to: args.dump_to.clone(),
        steady_state_only: args.steady_state_only,
    };
    super::try_folder(&report::folder(&context.out, &case))?;
    let bar = super::progress_bar(context, &case.scenario.name);
    let sizing = study::size_relief(&case, &options, &|share| {
        bar.set_position((1000.0 * share) as u64);
    });
    bar.finish_and_clear();
    let sizing = sizing?;
    let bold = |text: &str| context.style.bold(text);
    super::say(&report::text(
        &case,
        &sizing,
        context.units,
        super::width(),
        bold,
    ));
    super::say_where(report::write(&context.out, &case, &sizing)?)
}
