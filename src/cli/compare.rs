//! `openshut compare`.

use std::path::PathBuf;

use super::{Context, Status, run};
use crate::report::compare as report;
use crate::study::case::Case;
use crate::study::compare as study;

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Scenario files; the first is what the others are held against.
    #[arg(required = true, num_args = 2.., value_name = "FILE")]
    files: Vec<PathBuf>,
    /// Leaves out the figures.
    #[arg(long)]
    no_figures: bool,
    /// Changes one key of every file; may be repeated.
    #[arg(long, value_name = "KEY=VALUE")]
    set: Vec<String>,
}

/// Runs the files side by side.
pub(super) fn compare(context: &Context, args: &Args) -> Status {
    let mut cases = Vec::new();
    for path in &args.files {
        match Case::load(path, &args.set) {
            Ok(case) => cases.push(case),
            Err(e) => return super::complain(context, &e),
        }
    }
    if let Err(status) = super::try_folder(context, &report::folder(&context.out, &cases)) {
        return status;
    }
    let bar = run::progress_bar(context, "compare");
    let compared = study::compare(cases, &|share| bar.set_position((share * 1000.0) as u64));
    bar.finish_and_clear();
    let compared = match compared {
        Ok(compared) => compared,
        Err(e) => return super::complain_study(context, &e),
    };
    let bold = |text: &str| context.style.bold(text);
    super::say(&report::text(
        &compared,
        context.units,
        super::width(),
        bold,
    ));
    let written = report::write(&context.out, &compared, context.units, !args.no_figures);
    super::say_where(context, written)
}
