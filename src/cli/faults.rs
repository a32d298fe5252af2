//! `openshut faults`.

use std::io::IsTerminal;
use std::path::PathBuf;

use super::{Context, Status};
use crate::fault::Kind;
use crate::report::faults::{self, faults_text, write_faults};
use crate::scenario::diagnostic::{Diagnostic, nearest};
use crate::study::faults::study;

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Scenario file; each of its [[fault]] entries is run alone. Without any, the standard fault set
    /// is run: faults of every kind that the system can have.
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// Only faults of one kind, such as "damper stuck".
    #[arg(long, value_name = "KIND")]
    only: Option<String>,
    /// Leaves out the figures.
    #[arg(long)]
    no_figures: bool,
    /// Changes one key of the file, as in --set "run.duration=6 h"; may be repeated.
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
pub(super) fn faults(context: &Context, args: &Args) -> Status {
    let only = match args.only.as_deref().map(kind).transpose() {
        Ok(only) => only,
        Err(e) => return super::complain(context, &e),
    };
    let scenario = match super::load(&args.file, &args.set) {
        Ok(scenario) => scenario,
        Err(e) => return super::complain(context, &e),
    };
    if let Err(status) = super::try_folder(context, &faults::folder(&context.out, &scenario)) {
        return status;
    }
    let bar = super::run::progress_bar(context, &scenario.name);
    let found = study(&scenario, only, |share| {
        bar.set_position((share * 1000.0) as u64)
    });
    bar.finish_and_clear();
    let found = match found {
        Ok(found) => found,
        Err(e) => {
            let what = format!("{}: {e}", scenario.name);
            return super::complain(context, &Diagnostic::plain(what));
        }
    };
    if found.cases.is_empty() {
        let what = "this scenario has no such fault to look at";
        let advice = if found.from_file {
            "take --only out, or add a [[fault]] of that kind to the file"
        } else {
            "choose another kind: this system lacks the part that would fail"
        };
        return super::complain(context, &Diagnostic::plain(what).advise(advice));
    }
    let width = if std::io::stdout().is_terminal() {
        super::run::terminal_width()
    } else {
        super::run::WIDTH
    };
    let bold = |text: &str| context.style.bold(text);
    super::say(&faults_text(&scenario, &found, context.units, width, bold));
    match write_faults(
        &context.out,
        &scenario,
        &found,
        context.units,
        !args.no_figures,
    ) {
        Ok(folder) => super::say(&format!("\nTables and figures: {}\n", folder.display())),
        Err(e) => return super::cannot_leave(context, &e),
    }
    Status::Ran
}
