//! `openshut sweep`.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use super::{Context, Failure, Status};
use crate::report::OutputDir;
use crate::report::sweep as report;
use crate::report::words::count;
use crate::study::sweep::summary::Summary;
use crate::study::sweep::{Options, Shard, Study, Sweep};

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Scenario file
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// Values of a key, as a list or a range LOW..HIGH/COUNT; repeated, every combination runs
    #[arg(long, value_name = "KEY=VALUES")]
    vary: Vec<String>,
    /// Samples of what `[uncertainty]` declares, by Latin hypercube; the same in every combination
    #[arg(long, value_name = "N", default_value_t = 0, hide_default_value = true)]
    samples: usize,
    /// Seed of what is fixed but unknown: envelope, leakage, sensors, flow
    #[arg(long, value_name = "SEED", default_value_t = 1)]
    house_seed: u64,
    /// Seed of what differs from day to day: people, doors, setpoints, weather, sensor noise
    #[arg(long, value_name = "SEED", default_value_t = 1)]
    day_seed: u64,
    /// Changes one key in every case; may be repeated
    #[arg(long, value_name = "KEY=VALUE")]
    set: Vec<String>,
    /// Goes on with an interrupted sweep; begins it where there is none
    #[arg(long, conflicts_with = "restart")]
    resume: bool,
    /// Deletes an unfinished sweep and begins again
    #[arg(long)]
    restart: bool,
    /// Runs part K of N of the cases; `openshut merge` joins the parts
    #[arg(long, value_name = "K/N")]
    shard: Option<String>,
    /// Leaves out the figures
    #[arg(long)]
    no_figures: bool,
}

/// Runs a sweep.
pub(super) fn sweep(context: &Context, args: &Args) -> Result<Status, Failure> {
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
    let plan = &study.plan;
    let folder = context.out.join(shard.folder(plan));
    super::try_folder(&folder)?;
    let (journal, found) = report::open(&folder, plan, shard, args.resume, args.restart)?;
    let total = (0..plan.cases()).filter(|&i| shard.has(i)).count();
    if args.resume {
        let damaged = match found.damaged {
            0 => String::new(),
            n => format!("; {} will run again", count(n, "torn or damaged line")),
        };
        let done = found.cases.len();
        super::note(&format!("{done} of {} done{damaged}", count(total, "case")));
    }
    let stop = stop_on_interrupt();
    let bar = progress_bar(context, total, found.cases.len());
    let ended = study.run(shard, found.cases, journal, &stop, &|| bar.inc(1));
    bar.finish_and_clear();
    let sweep = ended?;
    leave(context, &folder, &sweep, !args.no_figures)?;
    if sweep.missing().is_empty() {
        return Ok(verdict(&sweep));
    }
    super::note(&format!(
        "Interrupted with {} of {} done; they are kept. To go on, give the same command with --resume.",
        sweep.cases.len(),
        count(total, "case"),
    ));
    Ok(Status::Interrupted)
}

/// Writes the results and prints their summary.
pub(super) fn leave(
    context: &Context,
    folder: &Path,
    sweep: &Sweep,
    figures: bool,
) -> Result<Status, Failure> {
    let summary = Summary::of(sweep);
    let bold = |text: &str| context.style.bold(text);
    let (units, width) = (context.units, super::width());
    super::say(&report::text(sweep, &summary, units, width, bold));
    super::say_where(report::write(folder, sweep, &summary, units, figures)?)
}

/// Whether any case fails a limit that the file calls mandatory.
pub(super) fn verdict(sweep: &Sweep) -> Status {
    let plan = &sweep.plan;
    let fails = sweep.cases.iter().any(|c| {
        let variant = plan.place(c.index).0;
        let judged = plan.measures.iter().zip(&c.passes);
        let mut mandatory = judged.filter(|(m, _)| m.limit(variant).is_some_and(|l| l.mandatory));
        mandatory.any(|(_, passes)| *passes == Some(false))
    });
    if fails {
        Status::LimitFailed
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
        super::note(&"\nFinishing the cases that run now. Interrupt again to leave at once.");
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
