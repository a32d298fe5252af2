//! `openshut schema`, `completions` and `man`: what is written from declarations made elsewhere.

use clap::CommandFactory;

use super::{Cli, Context, Status};
use crate::scenario::catalogue::schema::schema;
use crate::scenario::diagnostic::Diagnostic;

#[derive(Debug, clap::Args)]
pub(super) struct Completions {
    /// The shell they are for.
    #[arg(value_name = "SHELL", value_enum)]
    shell: clap_complete::Shell,
}

/// Prints the JSON Schema of scenario files.
pub(super) fn print_schema(context: &Context) -> Status {
    match serde_json::to_string_pretty(&schema()) {
        Ok(text) => {
            super::say(&format!("{text}\n"));
            Status::Ran
        }
        Err(e) => super::complain(context, &Diagnostic::plain(e.to_string())),
    }
}

/// Prints a script that completes commands and options.
pub(super) fn completions(args: &Completions) -> Status {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut Cli::command(), "openshut", &mut script);
    super::say(&String::from_utf8_lossy(&script));
    Status::Ran
}

/// Prints the manual page: the program, then each command.
pub(super) fn man(context: &Context) -> Status {
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
    match written {
        Ok(()) => {
            super::say(&String::from_utf8_lossy(&page));
            Status::Ran
        }
        Err(e) => super::complain(context, &Diagnostic::plain(e.to_string())),
    }
}
