//! `openshut combinations`.

use std::path::PathBuf;

use clap::ValueEnum;

use super::{Context, Failure, Status};
use crate::control::Mode;
use crate::quantity::{self, Dimension};
use crate::report::combinations as report;
use crate::scenario::diagnostic::Diagnostic;
use crate::study::case::Case;
use crate::study::combinations::{self as study, Options};

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Scenario file
    #[arg(value_name = "FILE")]
    file: PathBuf,
    #[command(flatten)]
    at: At,
    /// Leaves out sets that the schedule never lets call together
    #[arg(long)]
    scheduled_only: bool,
    /// Rows of the table, worst first; 0 shows all
    #[arg(long, default_value_t = 20, value_name = "N")]
    rows: usize,
    /// Leaves out the heat map
    #[arg(long)]
    no_figures: bool,
    /// Changes one key of the file; may be repeated
    #[arg(long, value_name = "KEY=VALUE")]
    set: Vec<String>,
}

/// Weather and mode of steady states.
#[derive(Debug, clap::Args)]
pub(super) struct At {
    /// Outdoor air in cooling, such as "35 °C" [default: the hottest of the weather]
    #[arg(long, value_name = "TEMPERATURE", allow_hyphen_values = true)]
    outdoor: Option<String>,
    /// Outdoor air in heating [default: the coldest of the weather]
    #[arg(long, value_name = "TEMPERATURE", allow_hyphen_values = true)]
    outdoor_heating: Option<String>,
    /// Mode [default: what the controller may choose]
    #[arg(long, value_enum)]
    mode: Option<Modes>,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum Modes {
    Cooling,
    Heating,
    Both,
}

impl At {
    /// As the study wants it.
    pub(super) fn options(&self) -> Result<Options, Diagnostic> {
        let read = |text: &Option<String>, option: &str| -> Result<Option<f64>, Diagnostic> {
            let Some(text) = text else { return Ok(None) };
            let value = quantity::parse(text, Dimension::Temperature).map_err(|e| {
                Diagnostic::plain(format!("{option}: {e}")).advise(e.advice().to_string())
            })?;
            if (-60.0..=60.0).contains(&value) {
                return Ok(Some(value));
            }
            let fault = Diagnostic::plain(format!("{option}: \"{text}\" is out of range"));
            Err(fault.advise("write a temperature from -60 °C to 60 °C"))
        };
        Ok(Options {
            modes: match self.mode {
                None => Vec::new(),
                Some(Modes::Cooling) => vec![Mode::Cooling],
                Some(Modes::Heating) => vec![Mode::Heating],
                Some(Modes::Both) => vec![Mode::Cooling, Mode::Heating],
            },
            cooling_outdoor_c: read(&self.outdoor, "--outdoor")?,
            heating_outdoor_c: read(&self.outdoor_heating, "--outdoor-heating")?,
            permitted_only: false,
            rooms: None,
        })
    }
}

/// Judges every set of calling zones at steady state.
pub(super) fn combinations(context: &Context, args: &Args) -> Result<Status, Failure> {
    let case = Case::load(&args.file, &args.set)?;
    let options = Options {
        permitted_only: args.scheduled_only,
        ..args.at.options()?
    };
    let s = &case.scenario;
    super::try_folder(&report::folder(&context.out, s))?;
    let bar = super::progress_bar(context, &s.name);
    let found = study::combinations(s, &options, &|done, of| {
        bar.set_position((1000 * done / of.max(1)) as u64);
    });
    bar.finish_and_clear();
    let found = found?;
    let most = match args.rows {
        0 => usize::MAX,
        rows => rows,
    };
    let bold = |text: &str| context.style.bold(text);
    let (units, width) = (context.units, super::width());
    super::say(&report::text(s, &found, units, width, most, bold));
    super::say_where(report::write(
        &context.out,
        s,
        &found,
        units,
        !args.no_figures,
    )?)
}
