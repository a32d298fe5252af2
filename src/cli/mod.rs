//! The command line: thin, one file a command. Only this part of the crate prints.

mod check;
mod evidence;
mod new;
mod run;
mod style;

use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Parser, Subcommand, ValueEnum};

use crate::quantity::UnitSystem;
use crate::scenario::Scenario;
use crate::scenario::diagnostic::Diagnostic;
use crate::scenario::tree;

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
    /// mandatory was broken, 2 on bad input, 3 when results cannot be written.
    Run(run::Args),
    /// Validates a scenario file without running it and prints every default taken, with its source.
    Check(check::Args),
    /// Writes a commented starter file that runs as it stands.
    New(new::Args),
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
    let status = match cli.command {
        None => run::embedded(&context),
        Some(Command::Run(args)) => run::files(&context, &args),
        Some(Command::Check(args)) => check::check(&context, &args),
        Some(Command::New(args)) => new::new(&context, &args),
        Some(Command::Evidence(args)) => evidence::evidence(&context, &args),
    };
    ExitCode::from(status as u8)
}

/// Reads a scenario file, with keys changed on the command line.
fn load(path: &std::path::Path, set: &[String]) -> Result<Scenario, Diagnostic> {
    let mut tree = tree::load(path)?;
    for change in set {
        let Some((key, value)) = change.split_once('=') else {
            return Err(Diagnostic::plain(format!("--set \"{change}\" has no `=`"))
                .advise("write --set \"run.duration=6 h\""));
        };
        tree.set_path(key.trim(), value.trim())?;
    }
    let name = path
        .file_stem()
        .map_or("scenario".into(), |n| n.to_string_lossy().into_owned());
    Scenario::from_tree(
        &tree,
        &name,
        path.parent().unwrap_or(std::path::Path::new("")),
    )
}

/// Prints text. A reader that has gone away (a pager, `head`) is no fault of the run.
fn say(text: &str) {
    use std::io::Write;
    let _ = std::io::stdout().lock().write_all(text.as_bytes());
}

/// Shows a fault on standard error.
fn complain(context: &Context, fault: &Diagnostic) -> Status {
    use std::io::Write;
    let text = fault.render(context.style.colour_errors);
    let _ = writeln!(std::io::stderr().lock(), "{text}");
    Status::BadInput
}
