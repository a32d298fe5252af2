//! A long run's tables are written as it goes: the same bytes, and no more memory for more days.

use crate::report::results::{self, LongTables};
use crate::report::{OutputDir, UnitSystem};
use crate::run::{Tables, simulate, simulate_into};
use crate::scenario::Scenario;
use crate::scenario::tree;

fn family_house(changes: &[(&str, &str)]) -> Scenario {
    let mut tree = tree::load("scenarios/family-house.toml").unwrap();
    for (key, value) in changes {
        tree.set_path(key, value).unwrap();
    }
    Scenario::from_tree(&tree, "family-house", "scenarios".as_ref()).unwrap()
}

#[test]
fn tables_written_as_it_goes_are_the_same_bytes() {
    let scenario = family_house(&[("run.duration", "6 h"), ("run.warm_up", "1 h")]);
    let folder = tempfile::tempdir().unwrap();
    let whole = simulate(&scenario, |_| {}).unwrap();
    let at_once = folder.path().join("at-once");
    let at_once = results::write(&at_once, &scenario, &whole, UnitSystem::Si, false).unwrap();

    let staged = OutputDir::stage(folder.path().join("as-it-goes")).unwrap();
    let mut tables = LongTables::create(&staged, &scenario).unwrap();
    let outcome = simulate_into(&scenario, Some(&mut tables), |_| {}).unwrap();
    let long = results::write_into(staged, &scenario, &outcome, UnitSystem::Si, false).unwrap();
    for file in ["trace.csv", "events.csv", "measures.csv", "summary.json"] {
        let read = |at: &std::path::Path| std::fs::read(at.join(file)).unwrap();
        assert!(read(&at_once) == read(&long), "{file} differs");
    }
}

/// Counts what it is given and keeps nothing.
#[derive(Default)]
struct Counted {
    rows: usize,
    events: usize,
}

impl Tables for Counted {
    fn begin(&mut self, _columns: &[String]) -> Result<(), String> {
        Ok(())
    }
    fn row(&mut self, _row: &[f64]) -> Result<(), String> {
        self.rows += 1;
        Ok(())
    }
    fn event(&mut self, _event: &crate::engine::event::Event) -> Result<(), String> {
        self.events += 1;
        Ok(())
    }
    fn end(&mut self) -> Result<(), String> {
        Ok(())
    }
}

/// A row a second makes a day as large as two months of rows a minute.
#[test]
fn more_days_take_no_more_memory() {
    let peak = |duration: &str| {
        let scenario = family_house(&[
            ("run.duration", duration),
            ("run.warm_up", "0 h"),
            ("run.record", "1 s"),
        ]);
        let mut counted = Counted::default();
        let memory = allocation_counter::measure(|| {
            simulate_into(&scenario, Some(&mut counted), |_| {}).unwrap();
        });
        (memory.bytes_max, counted)
    };
    let (one, day) = peak("24 h");
    let (two, days) = peak("48 h");
    assert_eq!((day.rows, days.rows), (86_400, 172_800));
    assert!(days.events > day.events);
    // The first ten thousand events are kept for figures; rows alone would be 70 MB a day.
    assert!(
        two < one + 1_000_000,
        "{one} bytes for one day, {two} for two"
    );
}
