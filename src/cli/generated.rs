//! `openshut schema`, `completions` and `man`: what is written from declarations made elsewhere.

use clap::CommandFactory;

use super::{Cli, Failure, Status};
use crate::scenario::catalogue::schema::schema;
use crate::scenario::diagnostic::Diagnostic;

#[derive(Debug, clap::Args)]
pub(super) struct Completions {
    /// The shell they are for.
    #[arg(value_name = "SHELL", value_enum)]
    shell: clap_complete::Shell,
}

/// Prints the JSON Schema of scenario files.
pub(super) fn print_schema() -> Result<Status, Failure> {
    super::say(&format!("{:#}\n", schema()));
    Ok(Status::Ran)
}

/// Prints a script that completes commands and options.
pub(super) fn completions(args: &Completions) -> Result<Status, Failure> {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut Cli::command(), "openshut", &mut script);
    super::say(&String::from_utf8_lossy(&script));
    Ok(Status::Ran)
}

/// Prints the manual page: the program, then each command.
pub(super) fn man() -> Result<Status, Failure> {
    let mut page = Vec::new();
    let program = Cli::command();
    let commands: Vec<_> = program.get_subcommands().cloned().collect();
    let mut written = clap_mangen::Man::new(program).render(&mut page);
    for command in commands {
        let name = format!("openshut {}", command.get_name());
        let man = clap_mangen::Man::new(command.display_name(name.clone()).bin_name(name));
        written = written
            .and_then(|()| man.render_name_section(&mut page))
            .and_then(|()| man.render_synopsis_section(&mut page))
            .and_then(|()| man.render_description_section(&mut page))
            .and_then(|()| man.render_options_section(&mut page));
    }
    written.map_err(|e| Diagnostic::plain(e.to_string()))?;
    super::say(&String::from_utf8_lossy(&page));
    Ok(Status::Ran)
}
