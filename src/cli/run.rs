//! `openshut run`, and `openshut` alone.

use std::io::IsTerminal;
use std::path::PathBuf;
use std::time::Duration;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use super::{Context, Status};
use crate::engine::{RunError, Tables, is_long, simulate_into};
use crate::measure::Measure;
use crate::report::OutputDir;
use crate::report::results::{self, LongTables};
use crate::report::verdict::verdict;
use crate::scenario::Scenario;
use crate::scenario::diagnostic::Diagnostic;

/// Width of the verdict when the output is not a terminal, columns.
pub(super) const WIDTH: u16 = 132;

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Scenario files.
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// Leaves out the figures.
    #[arg(long)]
    no_figures: bool,
    /// Changes one key of every file, as in --set "run.duration=6 h"; may be repeated.
    #[arg(long, value_name = "KEY=VALUE")]
    set: Vec<String>,
}

/// The scenario built into the program.
pub(super) fn embedded(context: &Context) -> Status {
    match Scenario::embedded("family-house") {
        Ok(scenario) => one(context, &scenario, true),
        Err(e) => super::complain(context, &e),
    }
}

/// Runs every file; the worst ending counts.
pub(super) fn files(context: &Context, args: &Args) -> Status {
    let mut worst = Status::Ran;
    for (i, path) in args.files.iter().enumerate() {
        if i > 0 {
            super::say("\n");
        }
        let status = match super::load(path, &args.set) {
            Ok(scenario) => {
                super::warn(context, &scenario);
                one(context, &scenario, !args.no_figures)
            }
            Err(e) => super::complain(context, &e),
        };
        worst = worst.max(status);
    }
    worst
}

fn one(context: &Context, scenario: &Scenario, figures: bool) -> Status {
    // The tables of a long run are written as it goes.
    let staged = match OutputDir::stage(context.out.join(&scenario.name)) {
        Ok(staged) => staged,
        Err(e) => return super::cannot_write(context, &e),
    };
    let mut tables = match is_long(scenario).then(|| LongTables::create(&staged, scenario)) {
        Some(Err(e)) => return super::cannot_write(context, &e),
        Some(Ok(tables)) => Some(tables),
        None => None,
    };
    let tables = tables.as_mut().map(|t| t as &mut dyn Tables);
    let bar = progress_bar(context, &scenario.name);
    let outcome = simulate_into(scenario, tables, |share| {
        bar.set_position((share * 1000.0) as u64);
    });
    bar.finish_and_clear();
    let outcome = match outcome {
        Ok(outcome) => outcome,
        Err(e) => {
            super::complain(
                context,
                &Diagnostic::plain(format!("{}: {e}", scenario.name)),
            );
            return match e {
                RunError::Tables(_) => Status::CannotWrite,
                _ => Status::BadInput,
            };
        }
    };
    let width = if std::io::stdout().is_terminal() {
        terminal_width()
    } else {
        WIDTH
    };
    let bold = |text: &str| context.style.bold(text);
    super::say(&verdict(scenario, &outcome, context.units, width, bold));
    match results::write_into(staged, scenario, &outcome, context.units, figures) {
        Ok(folder) => {
            let what = if figures {
                "Figures and tables"
            } else {
                "Tables"
            };
            super::say(&format!("{what}: {}\n", folder.display()));
        }
        Err(e) => return super::cannot_leave(context, &e),
    }
    if outcome.measures.iter().any(Measure::breaks_mandatory) {
        Status::LimitBroken
    } else {
        Status::Ran
    }
}

pub(super) fn terminal_width() -> u16 {
    let columns = std::env::var("COLUMNS").ok().and_then(|c| c.parse().ok());
    columns.unwrap_or_else(|| indicatif::TermLike::width(&indicatif_term()))
}

fn indicatif_term() -> impl indicatif::TermLike {
    console::Term::stdout()
}

/// A bar that shows itself only when a run takes longer than a second, and only on a terminal.
pub(super) fn progress_bar(context: &Context, name: &str) -> ProgressBar {
    let bar = ProgressBar::with_draw_target(Some(1000), ProgressDrawTarget::hidden());
    if !context.style.progress {
        return bar;
    }
    if let Ok(style) = ProgressStyle::with_template("{msg} {wide_bar} {percent} % {eta} left") {
        bar.set_style(style);
    }
    bar.set_message(name.to_string());
    let shown = bar.clone();
    std::thread::spawn(move || {
        std::thread::sleep(Duration::from_secs(1));
        if !shown.is_finished() {
            shown.set_draw_target(ProgressDrawTarget::stderr());
        }
    });
    bar
}
