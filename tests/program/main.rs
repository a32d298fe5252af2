//! The program as a person meets it: commands, exit status, files left, nothing half-written.

mod common;
mod studies;
mod sweep;

use std::path::Path;
use std::process::Output;

use assert_cmd::Command;

fn openshut(folder: &Path, args: &[&str]) -> Output {
    let mut command = Command::cargo_bin("openshut").unwrap();
    command.current_dir(folder).args(args).output().unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

fn quick(folder: &Path) {
    let made = openshut(folder, &["new", "house.toml"]);
    assert!(made.status.success(), "{}", text(&made.stderr));
    let file = folder.join("house.toml");
    let short = std::fs::read_to_string(&file).unwrap().replace(
        "duration = \"24 h\"",
        "duration = \"1 h\"\nwarm_up = \"0 s\"",
    );
    std::fs::write(file, short).unwrap();
}

#[test]
fn alone_it_runs_the_family_house_and_says_where_the_figures_are() {
    let folder = tempfile::tempdir().unwrap();
    let out = openshut(folder.path(), &[]);
    let said = text(&out.stdout);
    assert!(out.status.success(), "{}", text(&out.stderr));
    assert!(said.starts_with("Family house on a hot day"), "{said}");
    assert!(said.contains("limits"), "{said}");
    assert!(said.contains("Results: out/family-house"), "{said}");
    assert!(
        out.stderr.is_empty(),
        "quiet when nobody watches: {}",
        text(&out.stderr)
    );
    assert!(!said.contains('\x1b'), "no colour into a pipe");
    let results = folder.path().join("out/family-house");
    for file in ["trace.csv", "events.csv", "measures.csv", "summary.json"] {
        assert!(results.join(file).metadata().unwrap().len() > 100, "{file}");
    }
    for figure in ["rooms", "pressure", "supply", "timeline", "outlets"] {
        for ending in ["svg", "png"] {
            let file = results.join(format!("figures/{figure}.{ending}"));
            assert!(
                file.metadata().unwrap().len() > 10_000,
                "{}",
                file.display()
            );
        }
    }
    let summary: serde_json::Value =
        serde_json::from_slice(&std::fs::read(results.join("summary.json")).unwrap()).unwrap();
    assert_eq!(summary["program"], "openshut");
    assert_eq!(summary["input_sha256"].as_str().unwrap().len(), 64);
    assert!(summary["heat_closure_j"]["relative"].as_f64().unwrap() < 1e-6);
}

#[test]
fn a_new_file_runs_and_is_not_overwritten() {
    let folder = tempfile::tempdir().unwrap();
    quick(folder.path());
    let ran = openshut(folder.path(), &["run", "house.toml", "--no-figures"]);
    assert_eq!(ran.status.code(), Some(0), "{}", text(&ran.stderr));
    // The second time the folder is there; its name is printed as it was given all the same.
    let ran = openshut(folder.path(), &["run", "house.toml", "--no-figures"]);
    let said = text(&ran.stdout);
    assert!(said.ends_with("Results: out/house\n"), "{said}");
    let again = openshut(folder.path(), &["new", "house.toml"]);
    assert_eq!(again.status.code(), Some(3));
    let said = text(&again.stderr);
    assert!(
        said.starts_with("error: house.toml exists and stays as it is"),
        "{said}"
    );
    assert!(said.contains("help: choose another name"), "{said}");
}

#[test]
fn check_prints_defaults_with_their_sources() {
    let folder = tempfile::tempdir().unwrap();
    quick(folder.path());
    let out = openshut(folder.path(), &["check", "house.toml"]);
    let said = text(&out.stdout);
    assert!(out.status.success());
    assert!(said.contains("Defaults taken"), "{said}");
    assert!(said.contains("thermostat.differential"), "{said}");
    assert!(said.contains("common practice, no source"), "{said}");
    assert!(!folder.path().join("out").exists(), "check leaves nothing");
}

#[test]
fn units_for_people_are_a_choice() {
    let folder = tempfile::tempdir().unwrap();
    quick(folder.path());
    let out = openshut(
        folder.path(),
        &["--units", "ip", "run", "house.toml", "--no-figures"],
    );
    let said = text(&out.stdout);
    assert!(said.contains("inWC") && said.contains("fpm"), "{said}");
    let header = std::fs::read_to_string(folder.path().join("out/house/trace.csv")).unwrap();
    assert!(header.starts_with("time_s,outdoor.air_C"), "files stay SI");
}

#[test]
fn a_failed_mandatory_limit_ends_with_1() {
    let folder = tempfile::tempdir().unwrap();
    quick(folder.path());
    let set = [
        "--set",
        "limits.external_static=5 Pa",
        "--set",
        "limits.mandatory=[\"external_static\"]",
    ];
    let noon = ["--set", "run.start=2027-01-18 14:00"];
    let mut args = vec!["run", "house.toml", "--no-figures"];
    args.extend(set);
    args.extend(noon);
    let out = openshut(folder.path(), &args);
    assert_eq!(
        out.status.code(),
        Some(1),
        "{}{}",
        text(&out.stdout),
        text(&out.stderr)
    );
    assert!(text(&out.stdout).contains("(mandatory)"));
}

#[test]
fn bad_input_ends_with_2_and_leaves_nothing() {
    let folder = tempfile::tempdir().unwrap();
    quick(folder.path());
    let cases: [&[&str]; 5] = [
        &["run", "hous.toml"],
        &["run", "house.toml", "--set", "fan.flow=fast"],
        &["run", "house.toml", "--set", "fan.flw=200 L/s"],
        &["run", "house.toml", "--set", "nonsense"],
        &["check", "."],
    ];
    for args in cases {
        let out = openshut(folder.path(), args);
        assert_eq!(
            out.status.code(),
            Some(2),
            "{args:?}: {}",
            text(&out.stderr)
        );
        assert!(!out.stderr.is_empty(), "{args:?}");
        assert!(
            !text(&out.stderr).contains("panicked"),
            "{args:?}: {}",
            text(&out.stderr)
        );
    }
    let missing = text(&openshut(folder.path(), &["run", "hous.toml"]).stderr);
    assert!(
        missing.contains("house.toml"),
        "the nearest file is due: {missing}"
    );
    assert!(!folder.path().join("out").exists());
}

#[test]
fn what_cannot_be_written_ends_with_3_and_keeps_the_last_result() {
    let folder = tempfile::tempdir().unwrap();
    quick(folder.path());
    std::fs::write(folder.path().join("file"), "not a folder").unwrap();
    let out = openshut(
        folder.path(),
        &["run", "house.toml", "--no-figures", "--out", "file"],
    );
    assert_eq!(out.status.code(), Some(3), "{}", text(&out.stderr));
    let said = text(&out.stderr);
    assert!(said.starts_with("error: file: could not"), "{said}");
    assert!(
        said.contains("help: a part of the path is a file"),
        "{said}"
    );
    // A good result survives a run that goes wrong.
    assert!(
        openshut(folder.path(), &["run", "house.toml", "--no-figures"])
            .status
            .success()
    );
    let trace = folder.path().join("out/house/trace.csv");
    let before = std::fs::read(&trace).unwrap();
    let bad = openshut(
        folder.path(),
        &["run", "house.toml", "--set", "unit.cooling_capacity=0 W"],
    );
    assert_eq!(bad.status.code(), Some(2));
    assert_eq!(std::fs::read(&trace).unwrap(), before);
}

/// `openshut ... 2>&1 | head -1`: whoever read has gone, and the status is what it would have been.
#[test]
fn a_closed_pipe_leaves_the_exit_status_alone() {
    let folder = tempfile::tempdir().unwrap();
    quick(folder.path());
    std::fs::write(folder.path().join("file"), "not a folder").unwrap();
    let cases: [(&[&str], i32); 6] = [
        (&["check", "house.toml"], 0),
        (&["run", "house.toml", "--no-figures"], 0),
        (&["new", "house.toml"], 3),
        (&["run", "house.toml", "--out", "file"], 3),
        (&["run", "nowhere.toml"], 2),
        (&["merge", "nowhere"], 2),
    ];
    for (args, status) in cases {
        let (reader, writer) = std::io::pipe().unwrap();
        drop(reader);
        let ended = std::process::Command::new(assert_cmd::cargo::cargo_bin("openshut"))
            .current_dir(folder.path())
            .args(args)
            .stdout(writer.try_clone().unwrap())
            .stderr(writer)
            .status()
            .unwrap();
        assert_eq!(ended.code(), Some(status), "{args:?}");
    }
}

#[cfg(unix)]
#[test]
fn an_interrupted_run_leaves_nothing_and_says_so() {
    let folder = tempfile::tempdir().unwrap();
    quick(folder.path());
    let program = assert_cmd::cargo::cargo_bin("openshut");
    let run = std::process::Command::new(program)
        .current_dir(folder.path())
        .args(["run", "house.toml", "--set", "run.duration=300 d"])
        .stdout(std::process::Stdio::piped())
        .stderr(std::process::Stdio::piped())
        .spawn()
        .unwrap();
    let out = folder.path().join("out");
    let begun = || std::fs::read_dir(&out).is_ok_and(|mut d| d.next().is_some());
    let since = std::time::Instant::now();
    while !begun() && since.elapsed().as_secs() < 30 {
        std::thread::sleep(std::time::Duration::from_millis(10));
    }
    assert!(begun(), "a partial folder is there while it runs");
    let id = run.id().to_string();
    let sent = std::process::Command::new("kill")
        .args(["-INT", &id])
        .status();
    assert!(sent.unwrap().success());
    let ended = run.wait_with_output().unwrap();
    assert_eq!(ended.status.code(), Some(130));
    assert_eq!(text(&ended.stderr), "interrupted; nothing written\n");
    assert!(ended.stdout.is_empty());
    assert!(!begun(), "nothing is left in {}", out.display());
}

/// Where results cannot go, nothing is worked out first: no table, and the status is 3.
#[test]
fn studies_test_their_folder_before_they_work() {
    let folder = tempfile::tempdir().unwrap();
    quick(folder.path());
    std::fs::write(folder.path().join("file"), "not a folder").unwrap();
    let cases: [&[&str]; 6] = [
        &["run", "house.toml"],
        &["combinations", "house.toml"],
        &["size-relief", "house.toml"],
        &["compare", "house.toml", "house.toml"],
        &["faults", "house.toml"],
        &["sweep", "house.toml", "--vary", "fan.flow=200 L/s,240 L/s"],
    ];
    for args in cases {
        let args = [args, &["--out", "file"]].concat();
        let out = openshut(folder.path(), &args);
        let said = text(&out.stderr);
        assert_eq!(out.status.code(), Some(3), "{args:?}: {said}");
        assert!(out.stdout.is_empty(), "{args:?}: {}", text(&out.stdout));
        assert!(
            said.contains("a part of the path is a file"),
            "{args:?}: {said}"
        );
    }
}
