//! Studies as people run them: the same bytes for any number of threads, and complaints with status 2.

use crate::common;

#[test]
fn combinations_leaves_the_same_bytes_for_any_number_of_threads() {
    let folder = tempfile::tempdir().unwrap();
    let files = |threads: &str| {
        let out = folder.path().join(threads);
        let args = [
            "combinations",
            "scenarios/clinic-twelve-rooms.toml",
            "--mode",
            "both",
        ];
        common::on_threads(threads, &args, &out);
        let results = out.join("combinations-clinic-twelve-rooms");
        common::bytes(
            &results,
            [
                "combinations.csv",
                "states.csv",
                "figures/combinations.svg",
                "figures/combinations.png",
            ],
        )
    };
    assert_eq!(files("1"), files("2"));
}

#[test]
fn combinations_ends_with_status_2_on_bad_arguments() {
    let house = "scenarios/family-house.toml";
    for (args, said) in [
        (vec!["combinations"], "FILE"),
        (vec!["combinations", "nowhere.toml"], "nowhere.toml"),
        (vec!["combinations", house, "--outdoor", "35"], "no unit"),
        (vec!["combinations", house, "--outdoor", "350 °C"], "-60"),
        (vec!["combinations", house, "--set", "fan.flow"], "--set"),
        (vec!["combinations", house, "--mode", "drying"], "drying"),
        (
            vec!["combinations", house, "--set", "fan.flwo=3 L/s"],
            "`flow`",
        ),
    ] {
        let run = common::openshut().args(&args).output().unwrap();
        let printed = String::from_utf8_lossy(&run.stderr).into_owned();
        assert_eq!(run.status.code(), Some(2), "{args:?}: {printed}");
        assert!(printed.contains(said), "{args:?}: {printed}");
    }
}

#[test]
fn compare_leaves_the_same_bytes_for_any_number_of_threads() {
    let folder = tempfile::tempdir().unwrap();
    let files = |threads: &str| {
        let out = folder.path().join(threads);
        let files = [
            "compare",
            "scenarios/living-two-outlets.toml",
            "scenarios/living-one-outlet.toml",
            "scenarios/small-zone-relief.toml",
        ];
        common::on_threads(threads, &[&files[..], &common::SHORT].concat(), &out);
        let results = out.join("compare-living-two-outlets-living-one-outlet-small-zone-relief");
        common::bytes(
            &results,
            [
                "compare.csv",
                "changes.csv",
                "figures/plant.svg",
                "figures/rooms.svg",
                "figures/outlets.png",
            ],
        )
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
fn compare_ends_with_status_2_on_bad_arguments() {
    let house = "scenarios/family-house.toml";
    for args in [
        vec!["compare"],
        vec!["compare", house],
        vec!["compare", house, "nowhere.toml"],
        vec!["compare", house, house, "--set", "fan"],
    ] {
        let run = common::openshut().args(&args).output().unwrap();
        assert_eq!(run.status.code(), Some(2), "{args:?}");
        assert!(!run.stderr.is_empty());
    }
}

#[test]
fn size_relief_leaves_the_same_bytes_for_any_number_of_threads() {
    let folder = tempfile::tempdir().unwrap();
    let files = |threads: &str| {
        let out = folder.path().join(threads);
        let file = ["size-relief", "scenarios/small-zone-no-relief.toml"];
        let run = common::on_threads(threads, &[&file[..], &common::SHORT].concat(), &out);
        let printed = String::from_utf8(run.stdout).unwrap();
        assert!(
            printed.contains("No alternative passes.")
                && printed.contains("Lines for the scenario file:"),
            "{printed}"
        );
        let results = out.join("size-relief-small-zone-no-relief");
        common::bytes(&results, ["size-relief.csv", "what-if/slower-fan.toml"])
    };
    assert_eq!(files("1"), files("2"));
}

#[test]
fn size_relief_ends_with_status_2_on_bad_arguments() {
    let house = "scenarios/family-house.toml";
    for (args, said) in [
        (vec!["size-relief"], "FILE"),
        (vec!["size-relief", "nowhere.toml"], "nowhere.toml"),
        (vec!["size-relief", house, "--dump-to", "hal"], "hall"),
        (vec!["size-relief", house, "--outdoor", "warm"], "warm"),
    ] {
        let run = common::openshut().args(&args).output().unwrap();
        let printed = String::from_utf8_lossy(&run.stderr).into_owned();
        assert_eq!(run.status.code(), Some(2), "{args:?}: {printed}");
        assert!(printed.contains(said), "{args:?}: {printed}");
    }
    let none = common::openshut()
        .args(["size-relief", house])
        .args([
            "--set",
            "zone.living.bands=[]",
            "--set",
            "zone.parents.bands=[]",
        ])
        .args([
            "--set",
            "zone.children.bands=[]",
            "--set",
            "zone.study.bands=[]",
        ])
        .output()
        .unwrap();
    assert_eq!(none.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&none.stderr).contains("schedule"));
}
