//! Files side by side: what a reader learns of the two pairs that everybody asks about, and what is left.

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
    let said = report::sentences(&c, UnitSystem::Si);
    assert!(
        said.contains(
            &"Changes against living-two-outlets: no outlet.living-south; zone.living.channels = \
              \"[1]\" instead of \"[1, 2]\"."
                .to_string()
        ),
        "{said:?}"
    );
    let row = |subject: &str| {
        let found = c
            .rows
            .iter()
            .find(|r| r.name().key == "face_velocity_worst" && r.name().subject == subject);
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
fn relief_meets_static_and_fails_supply_air() {
    let c = pair("small-zone-no-relief", "small-zone-relief");
    let row = |key: &str| {
        c.rows
            .iter()
            .find(|r| r.name().key == key && r.name().subject == "house")
            .unwrap()
    };
    let passes = |i| row("static_worst").passes(i);
    assert_eq!([passes(0), passes(1)], [Some(false), Some(true)]);
    assert_eq!(row("static_worst").judgement(1), Judgement::Better);
    assert_eq!(row("bypass_fraction_worst").value(0), None);
    let said = report::sentences(&c, UnitSystem::Si).join("\n");
    assert!(
        said.contains("relief.kind = \"weighted blade\" instead of \"none\""),
        "{said}"
    );
    assert!(
        said.contains("now meets") && said.contains("highest total external static"),
        "{said}"
    );
    // It feeds the coil its own cold air: what it gains in the ducts it loses at the coil.
    let trips = row("trips");
    assert!(trips.value(1) > trips.value(0), "{trips:?}");
}

/// With the lock-out that the pair of files leaves out, the relief's trips end the afternoon: fewer
/// trips and less electricity then, and the first sentence must say why.
#[test]
fn a_lock_out_comes_before_what_it_seems_to_save() {
    let case = |name: &str| Case::embedded(name).unwrap();
    let locking = case("small-zone-relief")
        .with("locking", &[Edit::Without("protection".into())])
        .unwrap();
    let c = compare(vec![case("small-zone-relief"), locking], &|_| {}).unwrap();
    let row = |key: &str| c.rows.iter().find(|r| r.name().key == key).unwrap();
    let lock_outs = row("lock_outs");
    assert_eq!([0, 1].map(|i| lock_outs.value(i)), [Some(0.0), Some(1.0)]);
    assert!(row("lock_outs").is_shown() && row("locked_out").is_shown());
    assert_eq!(row("lock_outs").judgement(1), Judgement::Worse);
    assert!(row("energy_electric").difference(1).unwrap() < 0.0);
    let first = &report::sentences(&c, UnitSystem::Si)[0];
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
    let said = verdict(&case.scenario, &c.outcomes[1], UnitSystem::Si, 160, |t| {
        t.into()
    });
    let second = said.lines().nth(1).unwrap();
    assert!(
        second.starts_with("The unit was locked out from 11:"),
        "{said}"
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
    let judged = measures.iter().filter(|m| m.passes().is_some()).count();
    let failed = measures
        .iter()
        .filter(|m| m.passes() == Some(false))
        .count();
    assert!(
        said.contains(&format!("It fails {failed} of {judged} limits.")),
        "{said}"
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
    let said = report::sentences(&c, UnitSystem::Si).join("\n");
    assert!(said.contains("No judged measure changes."), "{said}");
    assert!(said.contains("has the same keys as"), "{said}");
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
