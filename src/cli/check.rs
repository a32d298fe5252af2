//! `openshut check`.

use std::path::PathBuf;

use comfy_table::{ContentArrangement, Table, presets};

use super::{Context, Status};

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Scenario file.
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// Changes one key of the file; may be repeated.
    #[arg(long, value_name = "KEY=VALUE")]
    set: Vec<String>,
}

/// Validates, and prints what looks like a slip and what was left to defaults.
pub(super) fn check(context: &Context, args: &Args) -> Status {
    let scenario = match super::load(&args.file, &args.set) {
        Ok(scenario) => scenario,
        Err(e) => return super::complain(context, &e),
    };
    let mut text = format!(
        "{}: {} rooms, {} outlets, {} zones. It can be run.\n",
        args.file.display(),
        scenario.rooms.len(),
        scenario.outlets.len(),
        scenario.zones.len(),
    );
    super::warn(context, &scenario);
    let advice = scenario.advice();
    if !advice.is_empty() {
        text += "\nWorth a look:\n";
        for sentence in &advice {
            text += &format!("  - {sentence}\n");
        }
    }
    text += &format!("\nDefaults taken ({}):\n", scenario.defaults.len());
    let mut table = Table::new();
    table
        .load_style(presets::NOTHING)
        .set_content_arrangement(ContentArrangement::Disabled)
        .set_header(["key", "value", "source"]);
    for d in &scenario.defaults {
        table.add_row([d.path.clone(), d.shown_in(context.units), d.source.clone()]);
    }
    text += &table.trim_fmt();
    text.push('\n');
    super::say(&text);
    Status::Ran
}
