//! `openshut run`, and `openshut` alone.

use std::path::PathBuf;

use super::{Context, Failure, Status};
use crate::measure::Measure;
use crate::report::OutputDir;
use crate::report::results::{self, LongTables};
use crate::report::verdict::verdict;
use crate::run::{Tables, is_long, simulate_into};
use crate::scenario::Scenario;

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Scenario files
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// Leaves out the figures
    #[arg(long)]
    no_figures: bool,
    /// Changes one key of every file; may be repeated
    #[arg(long, value_name = "KEY=VALUE")]
    set: Vec<String>,
}

/// The scenario built into the program.
pub(super) fn embedded(context: &Context) -> Result<Status, Failure> {
    one(context, &Scenario::embedded("family-house")?, true)
}

/// Runs every file; the worst ending counts.
pub(super) fn files(context: &Context, args: &Args) -> Result<Status, Failure> {
    let mut worst = Status::Ran;
    for (i, path) in args.files.iter().enumerate() {
        if i > 0 {
            super::say("\n");
        }
        let ran = super::load(path, &args.set)
            .map_err(Failure::from)
            .and_then(|scenario| one(context, &scenario, !args.no_figures));
        worst = worst.max(super::status(context, ran));
    }
    Ok(worst)
}

fn one(context: &Context, scenario: &Scenario, figures: bool) -> Result<Status, Failure> {
    // The tables of a long run are written as it goes.
    let staged = OutputDir::stage(context.out.join(&scenario.name))?;
    let mut tables = match is_long(scenario) {
        true => Some(LongTables::create(&staged, scenario)?),
        false => None,
    };
    let tables = tables.as_mut().map(|t| t as &mut dyn Tables);
    let bar = super::progress_bar(context, &scenario.name);
    let outcome = simulate_into(scenario, tables, |share| {
        bar.set_position((share * 1000.0) as u64);
    });
    bar.finish_and_clear();
    let outcome = outcome.map_err(|error| Failure::Run(scenario.name.clone(), error))?;
    let bold = |text: &str| context.style.bold(text);
    let (units, width) = (context.units, super::width());
    super::say(&verdict(scenario, &outcome, units, width, bold));
    let folder = results::write_into(staged, scenario, &outcome, units, figures)?;
    super::say_where(folder)?;
    Ok(
        match outcome.measures.iter().any(Measure::fails_mandatory) {
            true => Status::LimitFailed,
            false => Status::Ran,
        },
    )
}
