//! `openshut combinations`.

use std::path::PathBuf;

use clap::ValueEnum;

use super::{Context, Status, run};
use crate::control::Mode;
use crate::quantity::{self, Dimension};
use crate::report::combinations as report;
use crate::scenario::diagnostic::Diagnostic;
use crate::study::case::Case;
use crate::study::combinations::{self as study, Options};

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Scenario file.
    #[arg(value_name = "FILE")]
    file: PathBuf,
    #[command(flatten)]
    at: At,
    /// Leaves out sets that the time bands never let call together.
    #[arg(long)]
    within_bands: bool,
    /// Rows of the table, worst first; 0 shows all.
    #[arg(long, default_value_t = 20, value_name = "N")]
    rows: usize,
    /// Leaves out the heat map.
    #[arg(long)]
    no_figures: bool,
    /// Changes one key of the file; may be repeated.
    #[arg(long, value_name = "KEY=VALUE")]
    set: Vec<String>,
}

/// Weather and mode of settled states.
#[derive(Debug, clap::Args)]
pub(super) struct At {
    /// Outdoor air in cooling, such as "35 °C"; the hottest of the scenario's weather when left out.
    #[arg(long, value_name = "TEMPERATURE", allow_hyphen_values = true)]
    outdoor: Option<String>,
    /// Outdoor air in heating; the coldest of the scenario's weather when left out.
    #[arg(long, value_name = "TEMPERATURE", allow_hyphen_values = true)]
    outdoor_heating: Option<String>,
    /// Mode; what the controller may choose when left out.
    #[arg(long, value_enum)]
    mode: Option<Modes>,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum Modes {
    /// Cooling alone
    Cooling,
    /// Heating alone
    Heating,
    /// Both, one after the other
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
            let fault = Diagnostic::plain(format!("{option}: \"{text}\" is no outdoor air"));
            Err(fault.advise("give something between -60 °C and 60 °C"))
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

/// Settles every set of calling zones.
pub(super) fn combinations(context: &Context, args: &Args) -> Status {
    let read = Case::load(&args.file, &args.set).and_then(|case| Ok((case, args.at.options()?)));
    let (case, options) = match read {
        Ok(read) => read,
        Err(e) => return super::complain(context, &e),
    };
    let options = Options {
        permitted_only: args.within_bands,
        ..options
    };
    if let Err(status) = super::try_folder(context, &report::folder(&context.out, &case.scenario)) {
        return status;
    }
    let bar = run::progress_bar(context, &case.scenario.name);
    let found = study::combinations(&case.scenario, &options, &|done, of| {
        bar.set_position((1000 * done / of.max(1)) as u64);
    });
    bar.finish_and_clear();
    let found = match found {
        Ok(found) => found,
        Err(e) => return super::complain_study(context, &e),
    };
    let most = if args.rows == 0 {
        usize::MAX
    } else {
        args.rows
    };
    let bold = |text: &str| context.style.bold(text);
    let s = &case.scenario;
    super::say(&report::text(
        s,
        &found,
        context.units,
        super::width(),
        most,
        bold,
    ));
    let written = report::write(&context.out, s, &found, context.units, !args.no_figures);
    super::say_where(context, written)
}
