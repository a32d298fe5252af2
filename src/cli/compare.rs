//! `openshut compare`.

use std::path::PathBuf;

use super::{Context, Failure, Status};
use crate::report::compare as report;
use crate::scenario::diagnostic::Diagnostic;
use crate::study::case::Case;
use crate::study::compare as study;

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Scenario files; the others are compared with the first
    #[arg(required = true, num_args = 2.., value_name = "FILE")]
    files: Vec<PathBuf>,
    /// Leaves out the figures
    #[arg(long)]
    no_figures: bool,
    /// Changes one key of every file; may be repeated
    #[arg(long, value_name = "KEY=VALUE")]
    set: Vec<String>,
}

/// Runs the files side by side.
pub(super) fn compare(context: &Context, args: &Args) -> Result<Status, Failure> {
    let files = args.files.iter();
    let cases: Result<Vec<Case>, Diagnostic> = files.map(|f| Case::load(f, &args.set)).collect();
    let cases = cases?;
    super::try_folder(&report::folder(&context.out, &cases))?;
    let bar = super::progress_bar(context, "compare");
    let compared = study::compare(cases, &|share| bar.set_position((share * 1000.0) as u64));
    bar.finish_and_clear();
    let compared = compared?;
    let bold = |text: &str| context.style.bold(text);
    let (units, width) = (context.units, super::width());
    super::say(&report::text(&compared, units, width, bold));
    super::say_where(report::write(
        &context.out,
        &compared,
        units,
        !args.no_figures,
    )?)
}
