//! The command line: thin, one file a command. Only this part of the crate prints.

mod check;
mod combinations;
mod compare;
mod faults;
mod interrupt;
mod merge;
mod new;
mod run;
mod size_relief;
mod style;
mod sweep;

use std::path::PathBuf;
use std::process::ExitCode;
use std::time::Duration;

use clap::{Parser, Subcommand, ValueEnum};
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use crate::engine::RunError;
use crate::quantity::UnitSystem;
use crate::report::results::ResultsError;
use crate::report::{OutputDir, OutputError};
use crate::scenario::Scenario;
use crate::scenario::diagnostic::Diagnostic;
use crate::study::StudyError;
use crate::study::case::Case;
use crate::study::sweep::SweepError;

/// Simulates a zoned, ducted air-conditioning system and judges it against sourced limits
#[derive(Debug, Parser)]
#[command(
    name = "openshut",
    version,
    max_term_width = 100,
    after_help = "\
Without a command, runs the family house that is built into the program.
Begin with: openshut new house.toml, then openshut run house.toml
Help on a command: openshut help run"
)]
struct Cli {
    #[command(subcommand)]
    command: Option<Command>,

    /// Units in texts and figures: °C, Pa, L/s, kW or °F, inWC, cfm, Btu/h; files stay SI
    #[arg(long, global = true, value_enum, default_value_t = Units::Si)]
    units: Units,

    /// Folder for the results, with one folder for each scenario
    #[arg(long, global = true, default_value = "out", value_name = "FOLDER")]
    out: PathBuf,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum Units {
    Si,
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
    /// Simulates scenario files and reports which limits fail, when and why
    #[command(after_help = "\
Example: openshut run house.toml --set \"run.duration=6 h\"
Leaves trace.csv, events.csv, measures.csv, summary.json and figures, whole or not at all.
Exit status: 0 ran, 1 a mandatory limit failed, 2 bad input, 3 results cannot be written,
130 interrupted.")]
    Run(run::Args),
    /// Runs files side by side: what differs, what it does, and figures on the same axes
    #[command(after_help = "\
Example: openshut compare no-relief.toml relief.toml
Leaves compare.csv (every measure), changes.csv (every key that differs) and figures.")]
    Compare(compare::Args),
    /// Judges every set of calling zones at steady state and ranks those that fail
    #[command(after_help = "\
Example: openshut combinations house.toml --outdoor \"35 °C\"
Leaves combinations.csv (verdicts), states.csv (every steady state) and a heat map.")]
    Combinations(combinations::Args),
    /// Finds the smallest relief (bypass) damper, or what instead of one, with which all sets pass
    #[command(after_help = "\
Example: openshut size-relief house.toml
Prints the lines for the scenario file. Leaves size-relief.csv and a what-if file for each answer.")]
    SizeRelief(size_relief::Args),
    /// Validates a scenario file without a run and lists every default with its source
    #[command(after_help = "Example: openshut check house.toml --units ip")]
    Check(check::Args),
    /// Writes a commented starter file that runs as it is
    #[command(after_help = "Example: openshut new house.toml")]
    New(new::Args),
    /// Runs the healthy system and each fault, and shows the test that distinguishes faults
    #[command(after_help = "\
Example: openshut faults house.toml --only \"damper stuck\"
Prints the symptoms of each fault, a functional test (one damper at a time) and look-alike faults.
Leaves tables and figures.")]
    Faults(faults::Args),
    /// Runs every combination of some keys' values, samples of what is uncertain, or both
    #[command(after_help = "\
Example: openshut sweep house.toml --vary \"fan.flow=400 L/s,440 L/s\"
Example: openshut sweep house.toml --vary \"relief.opening_pressure=60 Pa..90 Pa/4\" --samples 50
Leaves a row for each case, quantiles, failed limits with intervals, rank correlations and figures.
Any number of threads gives the same bytes. Exit status as of run; 1 when a mandatory limit failed
in any case.")]
    Sweep(sweep::Args),
    /// Joins the parts of a sweep that ran with --shard
    #[command(
        after_help = "Example: openshut merge out/sweep-house-part-1-of-2 out/sweep-house-part-2-of-2"
    )]
    Merge(merge::Args),
}

/// How a command ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Status {
    Ran = 0,
    LimitFailed = 1,
    BadInput = 2,
    CannotWrite = 3,
    Interrupted = 130,
}

/// Why a command could not be carried out.
#[derive(Debug)]
enum Failure {
    Scenario(Diagnostic),
    Run(String, RunError),
    Study(StudyError),
    Sweep(SweepError),
    Results(ResultsError),
}

impl From<Diagnostic> for Failure {
    fn from(fault: Diagnostic) -> Failure {
        Failure::Scenario(fault)
    }
}

impl From<StudyError> for Failure {
    fn from(fault: StudyError) -> Failure {
        Failure::Study(fault)
    }
}

impl From<SweepError> for Failure {
    fn from(fault: SweepError) -> Failure {
        Failure::Sweep(fault)
    }
}

impl From<ResultsError> for Failure {
    fn from(fault: ResultsError) -> Failure {
        Failure::Results(fault)
    }
}

impl From<OutputError> for Failure {
    fn from(fault: OutputError) -> Failure {
        Failure::Results(fault.into())
    }
}

impl Failure {
    /// What to print, and how the command ended.
    fn explained(self) -> (Diagnostic, Status) {
        let plain = |what: String| Diagnostic::plain(what);
        match self {
            Failure::Scenario(fault) | Failure::Sweep(SweepError::Scenario(fault)) => {
                (fault, Status::BadInput)
            }
            Failure::Run(name, error) => {
                let status = match error {
                    RunError::Tables(_) => Status::CannotWrite,
                    _ => Status::BadInput,
                };
                (plain(format!("{name}: {error}")), status)
            }
            Failure::Study(StudyError::Scenario(fault)) => (*fault, Status::BadInput),
            Failure::Study(fault) => (plain(fault.to_string()), Status::BadInput),
            Failure::Sweep(SweepError::Argument { what, advice }) => {
                (plain(what).advise(advice), Status::BadInput)
            }
            Failure::Sweep(SweepError::Folder { path, what, advice }) => {
                let what = format!("{}: {what}", path.display());
                (plain(what).advise(advice), Status::BadInput)
            }
            Failure::Sweep(SweepError::Io { path, source }) => {
                let what = format!("{}: {source}", path.display());
                let advice = "check the path and the space left";
                (plain(what).advise(advice), Status::CannotWrite)
            }
            Failure::Results(ResultsError::Sweep(fault)) => Failure::Sweep(fault).explained(),
            Failure::Results(ResultsError::Output(fault)) => (
                plain(fault.what()).advise(fault.advice()),
                Status::CannotWrite,
            ),
            Failure::Results(ResultsError::Figure(fault)) => {
                let advice = "add --no-figures to have the tables alone";
                (plain(fault.to_string()).advise(advice), Status::CannotWrite)
            }
        }
    }
}

/// How a command ended; prints why, if it could not be carried out.
fn status(context: &Context, done: Result<Status, Failure>) -> Status {
    done.unwrap_or_else(|failure| {
        let (fault, status) = failure.explained();
        complain(context, &fault);
        status
    })
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
    let done = match cli.command {
        None => run::embedded(&context),
        Some(Command::Run(args)) => run::files(&context, &args),
        Some(Command::Compare(args)) => compare::compare(&context, &args),
        Some(Command::Combinations(args)) => combinations::combinations(&context, &args),
        Some(Command::SizeRelief(args)) => size_relief::size_relief(&context, &args),
        Some(Command::Check(args)) => check::check(&context, &args),
        Some(Command::New(args)) => Ok(new::new(&context, &args)),
        Some(Command::Faults(args)) => faults::faults(&context, &args),
        Some(Command::Sweep(args)) => sweep::sweep(&context, &args),
        Some(Command::Merge(args)) => merge::merge(&context, &args),
    };
    ExitCode::from(status(&context, done) as u8)
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

/// Prints a line on standard error. A reader that has gone away is no fault there either: `eprintln!`
/// would panic, and the exit status would be lost.
fn note(line: &dyn std::fmt::Display) {
    use std::io::Write;
    let _ = writeln!(std::io::stderr().lock(), "{line}");
}

/// Shows a fault on standard error.
fn complain(context: &Context, fault: &Diagnostic) -> Status {
    note(&fault.render(context.style.colour_errors));
    Status::BadInput
}

/// Tests that results can go to a folder, before the work is done.
fn try_folder(folder: &std::path::Path) -> Result<(), Failure> {
    Ok(OutputDir::test(folder)?)
}

/// Width of tables when the output is not a terminal, columns.
const WIDTH: u16 = 132;

/// Width of tables: the terminal's, or a fixed one when the output goes elsewhere.
fn width() -> u16 {
    use std::io::IsTerminal;
    if !std::io::stdout().is_terminal() {
        return WIDTH;
    }
    let columns = std::env::var("COLUMNS").ok().and_then(|c| c.parse().ok());
    columns.unwrap_or_else(|| console::Term::stdout().size().1)
}

/// Prints where a command left its results.
fn say_where(folder: PathBuf) -> Result<Status, Failure> {
    say(&format!("Results: {}\n", folder.display()));
    Ok(Status::Ran)
}

/// A bar that shows itself only when a run takes longer than a second, and only on a terminal.
fn progress_bar(context: &Context, name: &str) -> ProgressBar {
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
