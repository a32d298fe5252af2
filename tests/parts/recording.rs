//! What is recorded, and how often, changes no result; nor does the order of zones change their noise.

use std::path::Path;

use crate::run::{Outcome, simulate};
use crate::scenario::{Scenario, tree};

fn with(name: &str, changes: &[(&str, &str)]) -> Scenario {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios");
    let mut tree = tree::load(folder.join(format!("{name}.toml"))).unwrap();
    for (key, value) in changes {
        tree.set_path(key, value).unwrap();
    }
    Scenario::from_tree(&tree, name, &folder).unwrap()
}

fn recorded(name: &str, interval: &str) -> Outcome {
    // The faults of a file must lie within its run.
    let duration = if name == "faults-demo" { "24 h" } else { "5 h" };
    let changes = [
        ("run.duration", duration),
        ("run.warm_up", "1 h"),
        ("run.record", interval),
    ];
    simulate(&with(name, &changes), |_| {}).unwrap()
}

fn bits(values: impl IntoIterator<Item = f64>) -> Vec<u64> {
    values.into_iter().map(f64::to_bits).collect()
}

#[test]
fn how_often_is_recorded_changes_no_measure() {
    for name in ["small-zone-relief", "faults-demo"] {
        let by_minute = recorded(name, "60 s");
        for interval in ["1 s", "7 s", "10 s", "600 s"] {
            let other = recorded(name, interval);
            // As text, since a figure that does not exist is not a number.
            assert_eq!(
                format!("{:?}", by_minute.measures),
                format!("{:?}", other.measures),
                "{name} every {interval}"
            );
            assert_eq!(
                format!("{:?}", by_minute.events),
                format!("{:?}", other.events)
            );
            assert_eq!(by_minute.heat, other.heat);
        }
    }
}

/// Rows of the same instant are the same, but for sound, which is a mean since the last row.
#[test]
fn rows_of_the_same_instant_are_the_same() {
    let name = "small-zone-relief";
    let (fine, coarse) = (recorded(name, "10 s"), recorded(name, "60 s"));
    let (fine, coarse) = (&fine.trace, &coarse.trace);
    assert_eq!(fine.rows(), 6 * (coarse.rows() - 1) + 1);
    for column in coarse.columns() {
        if column.ends_with(".sound_dBA") || column.ends_with(".nc") {
            continue;
        }
        let (fine, coarse) = (fine.column(column).unwrap(), coarse.column(column).unwrap());
        let every_sixth = fine.iter().step_by(6).copied();
        assert_eq!(bits(every_sixth), bits(coarse.iter().copied()), "{column}");
    }
}

/// Every second within a long step: times are whole seconds, and room air goes straight from half minute to half
/// minute at the most: it never leaves the two ends of its minute by more than it moves in it.
#[test]
fn rows_between_the_ends_of_a_step_lie_between_them() {
    let (fine, coarse) = (
        recorded("winter-morning", "1 s"),
        recorded("winter-morning", "30 s"),
    );
    let (fine, coarse) = (&fine.trace, &coarse.trace);
    let seconds = fine.column("time_s").unwrap();
    assert!((0..=5 * 3600).all(|k| seconds[k] == k as f64));
    let room = coarse.columns().iter().find(|c| c.ends_with(".air_C"));
    let of = |trace: &crate::trace::Trace| trace.column(room.unwrap()).unwrap().to_vec();
    let (fine, coarse) = (of(fine), of(coarse));
    let mut moved = 0;
    for (n, ends) in coarse.windows(2).enumerate() {
        let span = (ends[1] - ends[0]).abs();
        let (low, high) = (ends[0].min(ends[1]), ends[0].max(ends[1]));
        // A start or a stop within the half minute turns the air round.
        let slack = span + 0.05;
        for k in 0..=30 {
            let c = fine[30 * n + k];
            assert!(
                c >= low - slack && c <= high + slack,
                "{c} at {}",
                30 * n + k
            );
            moved += usize::from(k > 0 && c != fine[30 * n + k - 1]);
        }
    }
    // Interpolated, not held.
    assert!(
        moved > 5 * 3600 * 9 / 10,
        "{moved} of {} rows moved",
        5 * 3600
    );
}

/// The same house with its zones written in another order: every thermostat has the noise that it had, and so
/// reads and calls as it did.
#[test]
fn noise_belongs_to_the_name_of_a_zone() {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios/family-house.toml");
    let text = std::fs::read_to_string(file).unwrap();
    let first = text.find("\n[zone.").unwrap();
    let after = text.rfind("\n[zone.").unwrap() + 1;
    let last = text[after..].find("\n[").map_or(text.len(), |n| after + n);
    let mut zones: Vec<&str> = text[first..last].split("\n[zone.").skip(1).collect();
    zones.reverse();
    let zones: Vec<String> = zones.iter().map(|z| format!("\n[zone.{z}\n")).collect();
    let turned = [&text[..first], &zones.concat(), &text[last..]].concat();

    let folder = tempfile::tempdir().unwrap();
    let run = |text: &str| {
        let file = folder.path().join("house.toml");
        std::fs::write(&file, text).unwrap();
        let mut scenario = Scenario::load(&file).unwrap_or_else(|e| panic!("{}", e.render(false)));
        scenario.run.duration_s = 6.0 * 3600.0;
        (simulate(&scenario, |_| {}).unwrap(), scenario)
    };
    let ((as_written, scenario), (turned, other)) = (run(&text), run(&turned));
    let names = |s: &Scenario| -> Vec<String> { s.zones.iter().map(|z| z.name.clone()).collect() };
    assert!(names(&scenario).iter().eq(names(&other).iter().rev()));
    assert!(scenario.zones.iter().all(|z| z.sensor.noise_k > 0.0));
    for zone in names(&scenario) {
        for what in ["sensor_C", "call", "setpoint_C"] {
            let of = |o: &Outcome| {
                let column = o.trace.column(&format!("zone.{zone}.{what}"));
                bits(column.unwrap().iter().copied())
            };
            assert_eq!(of(&as_written), of(&turned), "{what} of {zone}");
        }
    }
}
