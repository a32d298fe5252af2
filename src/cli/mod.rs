//! The command line: thin, one file a command. Only this part of the crate prints.

mod check;
mod combinations;
mod compare;
mod evidence;
mod faults;
mod generated;
mod interrupt;
mod keys;
mod merge;
mod new;
mod run;
mod size_relief;
mod style;
mod sweep;

use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Parser, Subcommand, ValueEnum};

use crate::quantity::UnitSystem;
use crate::report::results::ResultsError;
use crate::report::{OutputDir, OutputError};
use crate::scenario::Scenario;
use crate::scenario::diagnostic::Diagnostic;
use crate::study::case::Case;

/// Simulates a zoned, ducted air-conditioning system through time, and judges it against sourced
/// limits.
///
/// Without a command, runs the family house that is built into the program.
#[derive(Debug, Parser)]
#[command(name = "openshut", version, max_term_width = 100)]
struct Cli {
    #[command(subcommand)]
    command: Option<Command>,

    /// Units for what people read; files stay SI.
    #[arg(long, global = true, value_enum, default_value_t = Units::Si)]
    units: Units,

    /// Folder that results go to, one folder a scenario.
    #[arg(long, global = true, default_value = "out", value_name = "FOLDER")]
    out: PathBuf,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum Units {
    /// °C, Pa, L/s, kW
    Si,
    /// °F, inH2O, cfm, Btu/h
    Ip,
}

impl From<Units> for UnitSystem {
    fn from(units: Units) -> UnitSystem {
        match units {
            Units::Si => UnitSystem::Si,
            Units::Ip => UnitSystem::Ip,
        }
    }
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Simulates scenario files and writes OUT/<scenario>/ for each.
    ///
    /// Leaves trace.csv, events.csv, measures.csv, summary.json and figures/ (SVG and PNG), whole or
    /// not at all. Ends with status 0 when it ran, 1 when it ran and a limit that the file calls
    /// mandatory was broken, 2 on bad input, 3 when results cannot be written, 130 when interrupted.
    Run(run::Args),
    /// Runs files side by side: measures in one table, figures on the same axes.
    Compare(compare::Args),
    /// Settles every set of calling zones and says which of them break a limit.
    Combinations(combinations::Args),
    /// Finds the relief, or what instead of one, that holds every set of zones that may call.
    SizeRelief(size_relief::Args),
    /// Validates a scenario file without running it and prints every default taken, with its source.
    Check(check::Args),
    /// Lists the keys of a scenario file, with their values, defaults and sources.
    Keys(keys::Args),
    /// Prints a JSON Schema of scenario files, for editors of TOML.
    Schema,
    /// Prints a script that completes commands and options in a shell.
    Completions(generated::Completions),
    /// Prints the manual page.
    Man,
    /// Writes a commented starter file that runs as it stands.
    New(new::Args),
    /// Runs the healthy system and each fault, and shows the symptoms and the tests that find it.
    ///
    /// Prints which readings move, which way and by how much; what a functional test with one damper
    /// open at a time shows; and which test distinguishes look-alike faults. Leaves
    /// OUT/faults-<scenario>/ with symptoms.csv, functional_test.csv, look_alikes.csv and figures/,
    /// whole or not at all.
    Faults(faults::Args),
    /// Runs every combination of values of some keys, samples of what is uncertain, or both.
    ///
    /// Runs on all cores and leaves OUT/sweep-<scenario>/ with one row a case, quantiles, limits
    /// broken with intervals, rank correlations and figures: the same bytes for any number of
    /// threads. Ends with status 0, 1 when a mandatory limit was broken in any case, 2 on bad
    /// input, 3 when results cannot be written, 130 when interrupted.
    Sweep(sweep::Args),
    /// Joins the parts of a sweep that was run with --shard.
    Merge(merge::Args),
    /// Compares the program's figures with libraries, standards and exact solutions.
    ///
    /// Ends with status 0 when every comparison holds, 1 when one fails.
    Evidence(evidence::Args),
}

/// How a command ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Status {
    Ran = 0,
    LimitBroken = 1,
    BadInput = 2,
    CannotWrite = 3,
    Interrupted = 130,
}

/// What every command needs to know.
struct Context {
    units: UnitSystem,
    out: PathBuf,
    style: style::Style,
}

/// Runs the program.
pub fn main() -> ExitCode {
    let cli = Cli::parse();
    let context = Context {
        units: cli.units.into(),
        out: cli.out,
        style: style::Style::of_terminal(),
    };
    // A sweep keeps the cases it has finished, and says how to go on.
    if !matches!(cli.command, Some(Command::Sweep(_))) {
        interrupt::leave_nothing();
    }
    let status = match cli.command {
        None => run::embedded(&context),
        Some(Command::Run(args)) => run::files(&context, &args),
        Some(Command::Compare(args)) => compare::compare(&context, &args),
        Some(Command::Combinations(args)) => combinations::combinations(&context, &args),
        Some(Command::SizeRelief(args)) => size_relief::size_relief(&context, &args),
        Some(Command::Check(args)) => check::check(&context, &args),
        Some(Command::Keys(args)) => keys::keys(&context, &args),
        Some(Command::Schema) => generated::print_schema(&context),
        Some(Command::Completions(args)) => generated::completions(&args),
        Some(Command::Man) => generated::man(&context),
        Some(Command::New(args)) => new::new(&context, &args),
        Some(Command::Faults(args)) => faults::faults(&context, &args),
        Some(Command::Sweep(args)) => sweep::sweep(&context, &args),
        Some(Command::Merge(args)) => merge::merge(&context, &args),
        Some(Command::Evidence(args)) => evidence::evidence(&context, &args),
    };
    ExitCode::from(status as u8)
}

/// Reads a scenario file, with keys changed on the command line.
fn load(path: &std::path::Path, set: &[String]) -> Result<Scenario, Diagnostic> {
    Case::load(path, set).map(|case| case.scenario)
}

/// Prints text. A reader that has gone away (a pager, `head`) is no fault of the run.
fn say(text: &str) {
    use std::io::Write;
    let _ = std::io::stdout().lock().write_all(text.as_bytes());
}

/// Prints a line on standard error, with as little fuss about a reader that has gone away.
/// `eprintln!` would panic there, and the exit status would no longer tell how the run went.
fn note(line: &dyn std::fmt::Display) {
    use std::io::Write;
    let _ = writeln!(std::io::stderr().lock(), "{line}");
}

/// Tells of keys that are written and do not apply.
fn warn(context: &Context, scenario: &Scenario) {
    for warning in &scenario.warnings {
        note(&warning.render(context.style.colour_errors));
    }
}

/// Shows a fault on standard error.
fn complain(context: &Context, fault: &Diagnostic) -> Status {
    note(&fault.render(context.style.colour_errors));
    Status::BadInput
}

/// Shows why a study could not be made.
fn complain_study(context: &Context, fault: &crate::study::StudyError) -> Status {
    match fault {
        crate::study::StudyError::Scenario(fault) => complain(context, fault),
        crate::study::StudyError::Run { .. } => {
            complain(context, &Diagnostic::plain(fault.to_string()))
        }
    }
}

/// Tests that results can go to a folder, before the work is done.
fn try_folder(context: &Context, folder: &std::path::Path) -> Result<(), Status> {
    OutputDir::test(folder).map_err(|e| cannot_write(context, &e))
}

/// Shows why results cannot be written.
fn cannot_write(context: &Context, fault: &OutputError) -> Status {
    complain(
        context,
        &Diagnostic::plain(fault.what()).advise(fault.advice()),
    );
    Status::CannotWrite
}

/// Shows why results cannot be left.
fn cannot_leave(context: &Context, fault: &ResultsError) -> Status {
    match fault {
        ResultsError::Output(fault) => cannot_write(context, fault),
        ResultsError::Figure(fault) => {
            let advice = "add --no-figures to have the tables alone";
            complain(
                context,
                &Diagnostic::plain(fault.to_string()).advise(advice),
            );
            Status::CannotWrite
        }
    }
}

/// Width of tables: the terminal's, or a fixed one when the output goes elsewhere.
fn width() -> u16 {
    use std::io::IsTerminal;
    if std::io::stdout().is_terminal() {
        run::terminal_width()
    } else {
        run::WIDTH
    }
}

/// Says where a study's results are, or why they are nowhere.
fn say_where(context: &Context, written: Result<PathBuf, ResultsError>) -> Status {
    match written {
        Ok(folder) => {
            say(&format!("Results: {}\n", folder.display()));
            Status::Ran
        }
        Err(e) => cannot_leave(context, &e),
    }
}
