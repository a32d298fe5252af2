//! Studies: every set of a house with twelve zones, a sweep of a thousand samples, and what a second
//! core is worth to both.
//!
//! `cargo bench --bench studies` times them with every core there is, and
//! `cargo bench --bench studies -- scaling` prints a table of one core against two.
//!
//! The sweep is of a house of five rooms over a quarter of an hour at 1 s, without a warm-up day, so that it
//! takes seconds. A day with its warm-up day has 192 times as many steps, so there what is done once a
//! case (reading it with its draws, its line in the journal) weighs far less than here.

mod common;

use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;
use std::time::Instant;

use divan::counter::ItemsCount;
use divan::{Bencher, black_box};
use openshut::quantity::UnitSystem;
use openshut::report::sweep as report;
use openshut::scenario::Scenario;
use openshut::study::combinations::{self, Combinations, combinations};
use openshut::study::sweep::summary::Summary;
use openshut::study::sweep::{Options, Shard, Study, Sweep};
use rayon::{ThreadPool, ThreadPoolBuilder};
use tempfile::TempDir;

/// A hall and twelve rooms, each a zone.
const TWELVE_ZONES: usize = 13;
/// A hall and four rooms, each a zone.
const SMALL: usize = 5;
const SAMPLES: usize = 1000;

fn main() {
    if std::env::args().any(|a| a == "scaling") {
        scaling();
    } else {
        divan::main();
    }
}

/// Every one of 4095 sets, settled and judged.
#[divan::bench(sample_count = 3, sample_size = 1)]
fn combinations_of_twelve_zones(bencher: Bencher) {
    let house = common::house(TWELVE_ZONES);
    bencher
        .counter(ItemsCount::new(4095_u32))
        .bench_local(|| every_set(&house));
}

/// A sweep as `openshut sweep --samples 1000 --no-figures` makes it, from the file to the tables.
#[divan::bench(sample_count = 3, sample_size = 1)]
fn sweep_of_a_thousand_samples(bencher: Bencher) {
    let bed = Bed::new();
    bencher
        .counter(ItemsCount::new(SAMPLES))
        .bench_local(|| bed.sweep(SAMPLES));
}

fn every_set(house: &Scenario) -> Combinations {
    let found = combinations(house, &combinations::Options::default(), &|_, _| {}).unwrap();
    assert!(found.every_set && found.list.len() == (1 << house.zones.len()) - 1);
    found
}

/// A scenario file, and a folder for results.
struct Bed {
    file: PathBuf,
    folder: TempDir,
}

impl Bed {
    fn new() -> Bed {
        let folder = tempfile::tempdir().unwrap();
        let text = common::text(SMALL)
            .replace("2027-01-18 00:00", "2027-01-18 15:00")
            .replace(
                "duration = \"24 h\"",
                "duration = \"15 min\"\nwarm_up = \"0 s\"",
            );
        let file = folder.path().join("small.toml");
        std::fs::write(&file, text + "[uncertainty]\nstandard = true\n").unwrap();
        Bed { file, folder }
    }

    /// As the command does it, figures left out.
    fn sweep(&self, samples: usize) -> Sweep {
        let options = Options {
            samples,
            house_seed: 1,
            day_seed: 1,
            ..Options::default()
        };
        let study = Study::prepare(&self.file, &options).unwrap();
        let folder = self.folder.path().join("sweep");
        let (journal, found) =
            report::open(&folder, &study.plan, Shard::WHOLE, false, true).unwrap();
        let stop = AtomicBool::new(false);
        let run = study.run(Shard::WHOLE, found.cases, journal, &stop, &|| {});
        let sweep = run.unwrap();
        assert!(sweep.cases.len() == samples && sweep.cases.iter().all(|c| c.fault.is_none()));
        write(&folder, &sweep);
        sweep
    }
}

fn write(folder: &Path, sweep: &Sweep) {
    let summary = Summary::of(sweep);
    report::write(folder, sweep, &summary, UnitSystem::Si, false).unwrap();
}

/// Times each study with one thread and with two, in turn, and prints the fastest of many tries of
/// each, so that other work on the machine counts little. The first row is the machine's own: two
/// halves of a sum that share nothing. Where it falls short of 2 the machine was busy, or its cores
/// are not whole ones.
fn scaling() {
    const TRIES: usize = 30;
    let pools = [1, 2].map(|n| ThreadPoolBuilder::new().num_threads(n).build().unwrap());
    let bed = Bed::new();
    let house = common::house(10);
    println!("| study | 1 thread, s | 2 threads, s | ratio |");
    println!("|---|---|---|---|");
    row("two sums that share nothing", TRIES, &pools, || {
        rayon::join(sum, sum);
    });
    row("sweep of 250 samples", TRIES, &pools, || {
        bed.sweep(250);
    });
    row(
        "combinations of nine zones, 511 sets",
        TRIES,
        &pools,
        || {
            every_set(&house);
        },
    );
}

fn sum() -> f64 {
    (0..60_000_000).fold(0.0, |sum, i| sum + black_box(f64::from(i)).sqrt())
}

fn row(what: &str, tries: usize, pools: &[ThreadPool; 2], study: impl Fn() + Sync) {
    let mut best = [f64::INFINITY; 2];
    for _ in 0..tries {
        for (pool, best) in pools.iter().zip(&mut best) {
            let begin = Instant::now();
            pool.install(&study);
            *best = best.min(begin.elapsed().as_secs_f64());
        }
    }
    let [one, two] = best;
    println!("| {what} | {one:.3} | {two:.3} | {:.2} |", one / two);
}
