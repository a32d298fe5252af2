//! Files side by side: what is told of the two pairs that everybody asks about, and what is left.

use crate::quantity::UnitSystem;
use crate::report::compare as report;
use crate::report::verdict::verdict;
use crate::study::case::{Case, Edit};
use crate::study::compare::{Comparison, Judgement, compare};

fn short(name: &str) -> Case {
    let case = Case::embedded(name).unwrap();
    let edits = [
        Edit::text("run.start", "2027-01-18 13:00"),
        Edit::text("run.duration", "3 h"),
        Edit::text("run.warm_up", "3 h"),
    ];
    case.with(name, &edits).unwrap()
}

fn pair(a: &str, b: &str) -> Comparison {
    compare(vec![short(a), short(b)], &|_| {}).unwrap()
}

#[test]
fn one_outlet_or_two_reads_well() {
    let c = pair("living-two-outlets", "living-one-outlet");
    let told = c.sentences(UnitSystem::Si);
    assert_eq!(
        told[0],
        "Against living-two-outlets, living-one-outlet has no outlet.living-south and has \
         zone.living.channels = \"[1]\" in place of \"[1, 2]\"."
    );
    let row = |subject: &str| {
        let found = c
            .rows
            .iter()
            .find(|r| r.key == "face_velocity_worst" && r.subject == subject);
        found.unwrap()
    };
    // Half the outlets for the same zone: the one grille carries more.
    assert!(row("living-north").difference(1).unwrap() > 0.3);
    assert_eq!(row("living-north").judgement(1), Judgement::Worse);
    assert_eq!(row("living-south").value(1), None);
    let text = report::text(&c, UnitSystem::Si, 160, |t| t.to_string());
    assert!(text.contains("living-south") && text.contains("—"));
}

#[test]
fn relief_mends_static_and_breaks_supply_air() {
    let c = pair("small-zone-no-relief", "small-zone-relief");
    let row = |key: &str| {
        c.rows
            .iter()
            .find(|r| r.key == key && r.subject == "house")
            .unwrap()
    };
    assert_eq!(row("static_worst").holds, [Some(false), Some(true)]);
    assert_eq!(row("static_worst").judgement(1), Judgement::Better);
    assert_eq!(row("relief_share_worst").value(0), None);
    let told = c.sentences(UnitSystem::Si).join("\n");
    assert!(
        told.contains("relief.kind = \"weighted blade\" in place of \"none\""),
        "{told}"
    );
    assert!(
        told.contains("mends") && told.contains("worst external static"),
        "{told}"
    );
    // It feeds the coil its own cold air: what it mends in the ducts it costs at the coil.
    let trips = row("trips");
    assert!(trips.value(1) > trips.value(0), "{trips:?}");
}

/// With the lock-out that the pair of files leaves out, the relief's trips end the afternoon: fewer
/// trips and less electricity then, and the first sentence must say why.
#[test]
fn a_lock_out_is_told_before_what_it_seems_to_save() {
    let case = |name: &str| Case::embedded(name).unwrap();
    let locking = case("small-zone-relief")
        .with("locking", &[Edit::Without("protection".into())])
        .unwrap();
    let c = compare(vec![case("small-zone-relief"), locking], &|_| {}).unwrap();
    let row = |key: &str| c.rows.iter().find(|r| r.key == key).unwrap();
    assert_eq!(row("lock_outs").values, [Some(0.0), Some(1.0)]);
    assert!(row("lock_outs").is_telling() && row("locked_out").is_telling());
    assert_eq!(row("lock_outs").judgement(1), Judgement::Worse);
    assert!(row("energy_electric").difference(1).unwrap() < 0.0);
    let first = &c.sentences(UnitSystem::Si)[0];
    assert!(
        first.starts_with("locking was locked out from 11:"),
        "{first}"
    );
    assert!(first.contains("to the end"), "{first}");
    // From the lock-out on the compressor is off.
    let from = c.outcomes[1].measure("locked_out", "house").unwrap();
    let trace = &c.outcomes[1].trace;
    let rows = trace.column("time_s").unwrap().iter();
    let speeds = trace.column("unit.speed").unwrap().iter();
    let after = rows
        .zip(speeds)
        .filter(|(t, _)| **t > from.at_s.unwrap() + 1.0);
    assert!(after.map(|(_, speed)| *speed).all(|speed| speed == 0.0));
    let case = &c.cases[1];
    let told = verdict(&case.scenario, &c.outcomes[1], UnitSystem::Si, 160, |t| {
        t.into()
    });
    let second = told.lines().nth(1).unwrap();
    assert!(
        second.starts_with("The unit was locked out from 11:"),
        "{told}"
    );
    let quiet = verdict(
        &c.cases[0].scenario,
        &c.outcomes[0],
        UnitSystem::Si,
        160,
        |t| t.into(),
    );
    assert!(!quiet.contains("locked out"), "{quiet}");
    // The verdict counts what measures.csv counts.
    let measures = &c.outcomes[1].measures;
    let judged = measures.iter().filter(|m| m.holds().is_some()).count();
    let broken = measures.iter().filter(|m| m.holds() == Some(false)).count();
    assert!(
        told.contains(&format!("{broken} of {judged} limits are broken")),
        "{told}"
    );
}

#[test]
fn a_file_against_itself_says_nothing_changed() {
    let c = pair("family-house", "family-house");
    assert!(c.changes.is_empty());
    assert!(
        c.rows
            .iter()
            .all(|r| { r.value(0).is_none() || r.judgement(1) == Judgement::Same })
    );
    assert!(c.sentences(UnitSystem::Si)[0].contains("says the same"));
}

#[test]
fn runs_on_other_dates_share_the_time_of_day() {
    let summer = short("family-house");
    let winter = Case::embedded("winter-morning").unwrap();
    let edits = [
        Edit::text("run.start", "2027-07-12 12:00"),
        Edit::text("run.duration", "2 h"),
        Edit::text("run.warm_up", "1 h"),
    ];
    let c = compare(
        vec![summer, winter.with("winter", &edits).unwrap()],
        &|_| {},
    )
    .unwrap();
    for (figure, _) in report::figures(&c, UnitSystem::Si).unwrap() {
        assert!(figure.svg.contains("12:00"), "{}", figure.name);
        assert!(
            figure.svg.contains("shifted by whole days"),
            "{}",
            figure.name
        );
        assert!(!figure.svg.contains("July"), "the axis is of one day");
    }
}
