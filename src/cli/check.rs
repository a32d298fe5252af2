//! `openshut check`.

use std::path::PathBuf;

use super::{Context, Failure, Status};
use crate::report::table::{Column, Table};
use crate::report::words::count;

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Scenario file
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// Changes one key of the file; may be repeated
    #[arg(long, value_name = "KEY=VALUE")]
    set: Vec<String>,
}

/// Validates, and prints what may be a mistake and which defaults were taken.
pub(super) fn check(context: &Context, args: &Args) -> Result<Status, Failure> {
    let scenario = super::load(&args.file, &args.set)?;
    let mut text = format!(
        "{} is valid: {}, {}, {}.\n",
        args.file.display(),
        count(scenario.rooms.len(), "room"),
        count(scenario.outlets.len(), "outlet"),
        count(scenario.zones.len(), "zone"),
    );
    let advice = scenario.advice(context.units);
    if !advice.is_empty() {
        text += "\nWorth checking:\n";
        for sentence in &advice {
            text += &format!("  - {sentence}\n");
        }
    }
    text += &format!("\nDefaults taken ({}):\n", scenario.defaults.len());
    let mut table = Table::new(["key", "value", "source"].map(|t| Column::text(t).whole()));
    for d in &scenario.defaults {
        table.row([
            d.path.as_str().into(),
            d.shown_in(context.units).into(),
            d.source.as_str().into(),
        ]);
    }
    text += &table.text(context.units, u16::MAX);
    super::say(&text);
    Ok(Status::Ran)
}
