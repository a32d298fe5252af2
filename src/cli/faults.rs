//! `openshut faults`.

use std::path::PathBuf;

use super::{Context, Failure, Status};
use crate::fault::Kind;
use crate::report::faults::{self, faults_text, write_faults};
use crate::scenario::diagnostic::{Diagnostic, nearest};
use crate::study::faults::study;

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Scenario file; without `[[fault]]` entries, the standard fault set is used
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// Only faults of one kind, such as "damper stuck"
    #[arg(long, value_name = "KIND")]
    only: Option<String>,
    /// Leaves out the figures
    #[arg(long)]
    no_figures: bool,
    /// Changes one key of the file; may be repeated
    #[arg(long, value_name = "KEY=VALUE")]
    set: Vec<String>,
}

/// A kind of fault by its name.
fn kind(name: &str) -> Result<Kind, Diagnostic> {
    let names = || Kind::ALL.iter().map(|k| k.about().name);
    let found = Kind::ALL.iter().find(|k| k.about().name == name);
    found.copied().ok_or_else(|| {
        let all = names().collect::<Vec<_>>().join(", ");
        let advice = match nearest(name, names()) {
            Some(near) => format!("did you mean \"{near}\"? The kinds are: {all}"),
            None => format!("the kinds are: {all}"),
        };
        Diagnostic::plain(format!("there is no kind of fault \"{name}\"")).advise(advice)
    })
}

/// Runs the healthy system and every fault, and prints the symptoms and the tests.
pub(super) fn faults(context: &Context, args: &Args) -> Result<Status, Failure> {
    let only = args.only.as_deref().map(kind).transpose()?;
    let scenario = super::load(&args.file, &args.set)?;
    super::try_folder(&faults::folder(&context.out, &scenario))?;
    let bar = super::progress_bar(context, &scenario.name);
    let found = study(&scenario, only, |share| {
        bar.set_position((share * 1000.0) as u64)
    });
    bar.finish_and_clear();
    let found = found.map_err(|e| Failure::Run(scenario.name.clone(), e))?;
    if found.cases.is_empty() {
        let what = "this scenario has no such fault to look at";
        let advice = if found.from_file {
            "take --only out, or add a [[fault]] of that kind to the file"
        } else {
            "choose another kind: this system lacks the part that would fail"
        };
        return Err(Diagnostic::plain(what).advise(advice).into());
    }
    let (units, width) = (context.units, super::width());
    let bold = |text: &str| context.style.bold(text);
    super::say(&faults_text(&scenario, &found, units, width, bold));
    super::say_where(write_faults(
        &context.out,
        &scenario,
        &found,
        units,
        !args.no_figures,
    )?)
}
