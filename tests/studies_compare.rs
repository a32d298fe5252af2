//! Files side by side: what is told of the two pairs that everybody asks about, and what is left.

use assert_cmd::Command;
use openshut::quantity::UnitSystem;
use openshut::report::compare as report;
use openshut::study::case::{Case, Edit};
use openshut::study::compare::{Comparison, Judgement, compare};

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

fn openshut() -> Command {
    Command::cargo_bin("openshut").unwrap()
}

const SHORT: [&str; 4] = ["--set", "run.duration=1 h", "--set", "run.warm_up=1 h"];

#[test]
fn the_same_bytes_for_any_number_of_threads() {
    let folder = tempfile::tempdir().unwrap();
    let files = |threads: &str| {
        let out = folder.path().join(threads);
        let run = openshut()
            .env("RAYON_NUM_THREADS", threads)
            .args(["compare", "scenarios/living-two-outlets.toml"])
            .args([
                "scenarios/living-one-outlet.toml",
                "scenarios/small-zone-relief.toml",
            ])
            .args(SHORT)
            .arg("--out")
            .arg(&out)
            .output()
            .unwrap();
        assert!(
            run.status.success(),
            "{}",
            String::from_utf8_lossy(&run.stderr)
        );
        let results = out.join("compare-living-two-outlets-living-one-outlet-small-zone-relief");
        [
            "compare.csv",
            "changes.csv",
            "figures/plant.svg",
            "figures/rooms.svg",
            "figures/outlets.png",
        ]
        .map(|f| std::fs::read(results.join(f)).unwrap())
    };
    let one = files("1");
    assert_eq!(one, files("2"));
    let head = String::from_utf8_lossy(&one[0])
        .lines()
        .next()
        .unwrap()
        .to_string();
    assert!(
        head.starts_with("measure,subject,unit,limit,side,living-two-outlets,"),
        "{head}"
    );
}

#[test]
fn bad_arguments_end_with_status_2() {
    let house = "scenarios/family-house.toml";
    for args in [
        vec!["compare"],
        vec!["compare", house],
        vec!["compare", house, "nowhere.toml"],
        vec!["compare", house, house, "--set", "fan"],
    ] {
        let run = openshut().args(&args).output().unwrap();
        assert_eq!(run.status.code(), Some(2), "{args:?}");
        assert!(!run.stderr.is_empty());
    }
}
