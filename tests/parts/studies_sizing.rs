//! Sizing answers against the sets of zones they claim to hold, worked out again from what they tell a
//! person to write.

use crate::study::case::{Case, Edit};
use crate::study::combinations::{Options, combinations};
use crate::study::criteria::{CRITERIA, Trend};
use crate::study::size_relief::{Answer, Sizing, SizingOptions, size_relief};

/// The fixed-speed house with every zone in band all day, so that every set may call.
fn all_day(name: &str, extra: &[Edit]) -> Case {
    let case = Case::embedded("small-zone-no-relief").unwrap();
    let mut edits = Vec::new();
    for zone in &case.scenario.zones {
        let key = format!("zone.{}.bands", zone.name);
        edits.push(Edit::set(key, "[{ from = \"00:00\", to = \"24:00\" }]"));
    }
    edits.extend_from_slice(extra);
    case.with(name, &edits).unwrap()
}

fn settled(case: &Case) -> Sizing {
    let options = SizingOptions {
        steady_state_only: true,
        ..SizingOptions::default()
    };
    size_relief(case, &options, &|_| {}).unwrap()
}

/// No room is held to more than this.
fn deaf() -> Edit {
    Edit::text("limits.sound", "80 dB(A)")
}

/// Largest share in use of static, velocity and sound, over every permitted set, from the text that a
/// person would write.
fn pressed(case: &Case, edits: &[Edit]) -> f64 {
    let changed = case.with("again", edits).unwrap();
    let options = Options {
        permitted_only: true,
        ..Options::default()
    };
    let found = combinations(&changed.scenario, &options, &|_, _| {}).unwrap();
    let used = found.list.iter().flat_map(|c| {
        c.worst.iter().enumerate().filter_map(|(i, w)| {
            let helped = CRITERIA[i].trend != Trend::HurtByRelief;
            Some(w.as_ref().filter(|_| helped)?.finding.used())
        })
    });
    used.fold(0.0, f64::max)
}

/// The same answer with its pressure a pascal higher, its fan or its opening a step weaker.
fn a_step_weaker(a: &Answer) -> Option<Vec<Edit>> {
    let mut changed = false;
    let edits = a
        .edits
        .iter()
        .map(|edit| {
            let Edit::Set(key, value) = edit else {
                return edit.clone();
            };
            let number = |unit: &str| -> Option<f64> {
                value
                    .trim_matches('"')
                    .strip_suffix(unit)?
                    .trim()
                    .parse()
                    .ok()
            };
            let weaker = match key.as_str() {
                "relief.opening_pressure" => number("Pa").map(|p| format!("\"{:.0} Pa\"", p + 1.0)),
                k if k.ends_with("idle_open") => number("")
                    .filter(|o| *o > 0.02)
                    .map(|o| format!("{:.2}", o - 0.01)),
                _ => None,
            };
            match weaker {
                Some(weaker) => {
                    changed = true;
                    Edit::Set(key.clone(), weaker)
                }
                None => edit.clone(),
            }
        })
        .collect();
    changed.then_some(edits)
}

/// What is found is enough, and a step less is not; returns which were shown to need what they have.
fn least_that_is_enough(case: &Case) -> Vec<String> {
    let sizing = settled(case);
    assert_eq!(sizing.judged, 15);
    assert!(!sizing.unneeded);
    let mut needed = Vec::new();
    for a in &sizing.answers {
        if a.edits.is_empty() || a.key == "no-relief" || a.key == "variable-speed" {
            continue;
        }
        let used = pressed(case, &a.edits);
        let is_loud = a
            .failures
            .iter()
            .any(|b| CRITERIA[b.criterion].key == "sound");
        if a.found.to_string().starts_with("not enough") || is_loud {
            assert!(used > 1.0, "{}: {used}", a.key);
            continue;
        }
        assert!(used <= 1.0, "{} {}: {used}", a.key, a.found);
        if let Some(weaker) = a_step_weaker(a) {
            let used = pressed(case, &weaker);
            assert!(used > 1.0, "{} {} could be less: {used}", a.key, a.found);
            needed.push(a.key.clone());
        }
    }
    needed
}

#[test]
fn what_is_found_is_enough_and_a_step_less_is_not() {
    let needed = least_that_is_enough(&all_day("all-day", &[deaf()]));
    let has = |start: &str| needed.iter().any(|k| k.starts_with(start));
    assert!(has("relief-") && has("dump-"), "{needed:?}");
}

/// Where sound decides, the strength is again the least, for this house.
#[test]
fn where_a_room_must_be_quiet_sound_decides() {
    let needed = least_that_is_enough(&all_day("quiet", &[]));
    assert!(!needed.is_empty());
}

#[test]
fn verdicts_are_those_of_the_sets() {
    let case = all_day("all-day", &[]);
    let sizing = settled(&case);
    for a in &sizing.answers {
        let changed = case.with("again", &a.edits).unwrap();
        let options = Options {
            permitted_only: true,
            ..Options::default()
        };
        let found = combinations(&changed.scenario, &options, &|_, _| {}).unwrap();
        for (i, criterion) in CRITERIA
            .iter()
            .enumerate()
            .filter(|(i, _)| sizing.counts[*i])
        {
            let broken = found
                .list
                .iter()
                .filter(|c| c.failed().any(|b| b == i))
                .count();
            let told = a
                .failures
                .iter()
                .find(|b| b.criterion == i)
                .map_or(0, |b| b.sets);
            assert_eq!(broken, told, "{} {}", a.key, criterion.key);
        }
    }
    // A fixed-speed coil fed its own cold air: relief mends pressure and not the supply temperature.
    let relief = sizing
        .answers
        .iter()
        .find(|a| a.key.starts_with("relief-"))
        .unwrap();
    assert!(!relief.passes());
    let keys: Vec<&str> = relief
        .failures
        .iter()
        .map(|b| CRITERIA[b.criterion].key)
        .collect();
    assert!(keys.contains(&"supply_margin"), "{keys:?}");
    assert!(
        !keys.contains(&"static") && !keys.contains(&"face_velocity"),
        "{keys:?}"
    );
    assert!(!sizing.as_written.passes());
}

/// A small unit that turns down, and a static that only something done about it keeps.
fn easy() -> Vec<Edit> {
    vec![
        Edit::text("unit.kind", "variable speed"),
        Edit::text("unit.cooling_capacity", "5 kW"),
        Edit::text("limits.static", "75 Pa"),
        deaf(),
    ]
}

/// With limits that a relief can meet, the answer holds, comes first, and what a person is told to write
/// is the scenario that holds.
#[test]
fn where_something_holds_it_is_found() {
    let case = all_day("easy", &easy());
    let sizing = settled(&case);
    assert!(!sizing.as_written.passes());
    let best = &sizing.answers[0];
    assert!(best.passes(), "{sizing:?}");
    let options = Options {
        permitted_only: true,
        ..Options::default()
    };
    for a in sizing.answers.iter().filter(|a| a.passes()) {
        let again = Case::from_text("again", &case_text(&case, a)).unwrap();
        let found = combinations(&again.scenario, &options, &|_, _| {}).unwrap();
        for c in &found.list {
            let broken: Vec<&str> = c
                .failed()
                .filter(|&i| sizing.counts[i])
                .map(|i| CRITERIA[i].key)
                .collect();
            assert!(broken.is_empty(), "{} {}: {broken:?}", a.key, a.found);
        }
    }
}

/// What is printed, with what the test's own case adds to the embedded one.
fn case_text(case: &Case, a: &Answer) -> String {
    let mut edits = a.edits.clone();
    for zone in &case.scenario.zones {
        let key = format!("zone.{}.bands", zone.name);
        edits.push(Edit::set(key, "[{ from = \"00:00\", to = \"24:00\" }]"));
    }
    edits.extend(easy());
    Case::embedded("small-zone-no-relief")
        .unwrap()
        .what_if(&edits)
}

#[test]
fn a_house_that_needs_no_relief_is_told_so() {
    // Behind shut doors as they are the house needs 137 Pa from return to supply, whatever its ducts;
    // with transfer grilles it needs 102 Pa at the most (82 in supply, 21 of suction), so that no
    // limit of static is near, and the faces then pass 2.6 m/s.
    let house = Case::embedded("family-house").unwrap();
    let doors = [
        ("living", "950 cm2"),
        ("parents", "650 cm2"),
        ("east-child", "300 cm2"),
        ("west-child", "300 cm2"),
        ("study", "300 cm2"),
    ];
    let mut edits = vec![deaf(), Edit::text("limits.face_velocity", "3 m/s")];
    let transfer = |(door, area): (&str, &str)| Edit::text(format!("door.{door}.transfer"), area);
    edits.extend(doors.map(transfer));
    let sizing = settled(&house.with("family-house", &edits).unwrap());
    assert!(sizing.unneeded && sizing.as_written.passes());
    assert!(sizing.answers.iter().all(|a| !a.key.starts_with("relief-")));
}
