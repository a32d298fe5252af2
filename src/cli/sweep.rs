//! `openshut sweep`.

use std::io::IsTerminal;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use super::{Context, Status};
use crate::report::OutputDir;
use crate::scenario::diagnostic::Diagnostic;
use crate::study::sweep::merge::numbers_text;
use crate::study::sweep::summary::Summary;
use crate::study::sweep::{Options, Shard, Study, Sweep, SweepError, open, tables, tell};

/// Width of tables when the output is not a terminal, columns.
const WIDTH: u16 = 132;

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Scenario file.
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// Values that a key takes in turn, "fan.flow=400 L/s,440 L/s" or
    /// "relief.opening_pressure=60 Pa..90 Pa/4"; may be repeated, then every combination is run.
    #[arg(long, value_name = "KEY=VALUES")]
    vary: Vec<String>,
    /// Samples of what [uncertainty] declares, by Latin hypercube; the same in every combination.
    #[arg(long, value_name = "N", default_value_t = 0, hide_default_value = true)]
    samples: usize,
    /// Seed of what is fixed and not known: envelope, leakage, sensors, flow.
    #[arg(long, value_name = "SEED", default_value_t = 1)]
    house_seed: u64,
    /// Seed of what differs from day to day: people, doors, setpoints, weather, sensor noise.
    #[arg(long, value_name = "SEED", default_value_t = 1)]
    day_seed: u64,
    /// Changes one key in every case, as in --set "run.duration=6 h"; may be repeated.
    #[arg(long, value_name = "KEY=VALUE")]
    set: Vec<String>,
    /// Goes on with an interrupted sweep; begins it where there is none.
    #[arg(long, conflicts_with = "restart")]
    resume: bool,
    /// Throws an unfinished sweep away and begins again.
    #[arg(long)]
    restart: bool,
    /// Runs one part of the cases, k of n; `openshut merge` joins the parts.
    #[arg(long, value_name = "K/N")]
    shard: Option<String>,
    /// Leaves out the figures.
    #[arg(long)]
    no_figures: bool,
}

/// Runs a sweep.
pub(super) fn sweep(context: &Context, args: &Args) -> Status {
    match try_sweep(context, args) {
        Ok(status) => status,
        Err(e) => complain(context, &e),
    }
}

/// Shows why a sweep cannot be.
pub(super) fn complain(context: &Context, fault: &SweepError) -> Status {
    match fault {
        SweepError::Scenario(fault) => super::complain(context, fault),
        SweepError::Argument { what, advice } => {
            super::complain(context, &Diagnostic::plain(what).advise(advice))
        }
        SweepError::Folder { path, what, advice } => {
            let what = format!("{}: {what}", path.display());
            super::complain(context, &Diagnostic::plain(what).advise(advice))
        }
        SweepError::Output(fault) => super::cannot_write(context, fault),
        _ => {
            let advice = "check the path and the space left";
            let what = fault.to_string();
            let what = what.strip_suffix(&format!("; {advice}")).unwrap_or(&what);
            super::complain(context, &Diagnostic::plain(what).advise(advice));
            Status::CannotWrite
        }
    }
}

fn try_sweep(context: &Context, args: &Args) -> Result<Status, SweepError> {
    let shard = args
        .shard
        .as_deref()
        .map_or(Ok(Shard::WHOLE), Shard::parse)?;
    let options = Options {
        set: args.set.clone(),
        vary: args.vary.clone(),
        samples: args.samples,
        house_seed: args.house_seed,
        day_seed: args.day_seed,
    };
    let study = Study::prepare(&args.file, &options)?;
    let folder = context.out.join(shard.folder(&study.plan));
    OutputDir::test(&folder)?;
    let (journal, found) = open(&folder, &study.plan, shard, args.resume, args.restart)?;
    let total = (0..study.plan.cases()).filter(|&i| shard.holds(i)).count();
    if args.resume {
        let damaged = match found.damaged {
            0 => String::new(),
            1 => "; 1 torn line is run again".into(),
            n => format!("; {n} torn or damaged lines are run again"),
        };
        super::note(&format!(
            "{} of {total} cases are there{damaged}",
            found.cases.len()
        ));
    }
    let stop = stop_on_interrupt();
    let bar = progress_bar(context, total, found.cases.len());
    let ended = study.run(shard, found.cases, journal, &stop, &|| bar.inc(1));
    bar.finish_and_clear();
    let sweep = ended?;
    leave(context, &folder, &sweep, !args.no_figures)?;
    let missing = sweep.missing();
    if missing.is_empty() {
        return Ok(verdict(&sweep));
    }
    super::note(&format!(
        "Interrupted with {} of {total} cases done; they are kept. To go on, give the same command with --resume.",
        sweep.cases.len(),
    ));
    Ok(Status::Interrupted)
}

/// Writes the results and tells of them.
pub(super) fn leave(
    context: &Context,
    folder: &Path,
    sweep: &Sweep,
    figures: bool,
) -> Result<(), SweepError> {
    let summary = Summary::of(sweep);
    let bold = |text: &str| context.style.bold(text);
    let width = if std::io::stdout().is_terminal() {
        console::Term::stdout().size().1
    } else {
        WIDTH
    };
    super::say(&tell::tell(sweep, &summary, context.units, width, bold));
    let folder = tables::write(folder, sweep, &summary, context.units, figures)?;
    let what = if figures {
        "Figures and tables"
    } else {
        "Tables"
    };
    super::say(&format!("{what}: {}\n", folder.display()));
    Ok(())
}

/// Whether a limit that the file calls mandatory is broken in any case.
pub(super) fn verdict(sweep: &Sweep) -> Status {
    let plan = &sweep.plan;
    let broken = sweep.cases.iter().any(|c| {
        let variant = plan.place(c.index).0;
        let judged = plan.measures.iter().zip(&c.holds);
        let mut mandatory = judged.filter(|(m, _)| m.limit(variant).is_some_and(|l| l.mandatory));
        mandatory.any(|(_, holds)| *holds == Some(false))
    });
    if broken {
        Status::LimitBroken
    } else {
        Status::Ran
    }
}

/// A flag that the first interrupt sets; the second ends the program, and the journal has what is
/// done.
fn stop_on_interrupt() -> Arc<AtomicBool> {
    let stop = Arc::new(AtomicBool::new(false));
    let set = Arc::clone(&stop);
    // Where no handler can be set an interrupt ends the program, and --resume goes on from there.
    let _ = ctrlc::set_handler(move || {
        if set.swap(true, Ordering::Relaxed) {
            OutputDir::abandon();
            std::process::exit(Status::Interrupted as i32);
        }
        super::note(&"\nFinishing the cases in hand; interrupt again to leave at once.");
    });
    stop
}

fn progress_bar(context: &Context, total: usize, done: usize) -> ProgressBar {
    if !context.style.progress {
        return ProgressBar::hidden();
    }
    let bar = ProgressBar::with_draw_target(Some(total as u64), ProgressDrawTarget::stderr());
    if let Ok(style) = ProgressStyle::with_template("{wide_bar} {pos} of {len} cases, {eta} left") {
        bar.set_style(style);
    }
    bar.set_position(done as u64);
    bar.reset_eta();
    bar.enable_steady_tick(Duration::from_millis(500));
    bar
}

/// What is missing of a whole, in words.
pub(super) fn missing_text(sweep: &Sweep) -> Option<String> {
    let missing = sweep.missing();
    (!missing.is_empty()).then(|| {
        format!(
            "{} of {} cases are missing: {}",
            missing.len(),
            sweep.plan.cases(),
            numbers_text(&missing)
        )
    })
}
