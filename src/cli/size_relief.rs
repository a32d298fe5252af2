//! `openshut size-relief`.

use std::path::PathBuf;

use super::{Context, Status, combinations::At, run};
use crate::report::size_relief as report;
use crate::study::case::Case;
use crate::study::size_relief::{self as study, SizingOptions};

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Scenario file.
    #[arg(value_name = "FILE")]
    file: PathBuf,
    #[command(flatten)]
    at: At,
    /// Room that a dumped relief opens into; the first with a return grille when left out.
    #[arg(long, value_name = "ROOM")]
    dump_to: Option<String>,
    /// Leaves out the full run of each alternative, and with it what its day costs.
    #[arg(long)]
    settled_only: bool,
    /// Changes one key of the file; may be repeated.
    #[arg(long, value_name = "KEY=VALUE")]
    set: Vec<String>,
}

/// Finds the least relief and the least of each alternative.
pub(super) fn size_relief(context: &Context, args: &Args) -> Status {
    let read = Case::load(&args.file, &args.set).and_then(|case| Ok((case, args.at.options()?)));
    let (case, combinations) = match read {
        Ok(read) => read,
        Err(e) => return super::complain(context, &e),
    };
    let options = SizingOptions {
        combinations,
        dump_to: args.dump_to.clone(),
        settled_only: args.settled_only,
    };
    if let Err(status) = super::try_folder(context, &report::folder(&context.out, &case)) {
        return status;
    }
    let bar = run::progress_bar(context, &case.scenario.name);
    let sizing = study::size_relief(&case, &options, &|share| {
        bar.set_position((1000.0 * share) as u64);
    });
    bar.finish_and_clear();
    let sizing = match sizing {
        Ok(sizing) => sizing,
        Err(e) => return super::complain_study(context, &e),
    };
    let bold = |text: &str| context.style.bold(text);
    super::say(&report::text(
        &case,
        &sizing,
        context.units,
        super::width(),
        bold,
    ));
    super::say_where(context, report::write(&context.out, &case, &sizing))
}
