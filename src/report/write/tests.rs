use super::*;

fn read(path: &Path) -> String {
    fs::read_to_string(path).unwrap()
}

fn listing(path: &Path) -> Vec<String> {
    let names = entries(path).unwrap();
    names
        .into_iter()
        .map(|n| n.to_string_lossy().into_owned())
        .collect()
}

fn result(path: &Path, text: &str) {
    let staged = OutputDir::stage(path).unwrap();
    staged.write("summary.json", text.as_bytes()).unwrap();
    staged.write("figures/rooms.svg", b"<svg/>").unwrap();
    assert_eq!(staged.commit().unwrap(), path);
}

#[test]
fn a_result_replaces_the_last_one_whole() {
    let home = tempfile::tempdir().unwrap();
    let out = home.path().join("out/house");
    result(&out, "first");
    fs::write(out.join("my notes.txt"), "mine").unwrap();
    let staged = OutputDir::stage(&out).unwrap();
    staged.write("summary.json", b"second").unwrap();
    assert_eq!(read(&out.join("summary.json")), "first");
    staged.commit().unwrap();
    assert_eq!(read(&out.join("summary.json")), "second");
    assert_eq!(listing(&out), [MANIFEST, "my notes.txt", "summary.json"]);
    assert_eq!(listing(&home.path().join("out")), ["house"]);
}

#[test]
fn a_failure_in_the_middle_leaves_the_last_result() {
    let home = tempfile::tempdir().unwrap();
    let out = home.path().join("house");
    result(&out, "good");
    {
        let staged = OutputDir::stage(&out).unwrap();
        staged.write("summary.json", b"half").unwrap();
        let error = staged
            .write_with("trace.csv", |file| {
                file.write_all(b"time_s\n")?;
                Err(io::Error::from(io::ErrorKind::StorageFull))
            })
            .unwrap_err()
            .to_string();
        assert!(
            error.contains("house/trace.csv: could not write the file"),
            "{error}"
        );
        assert!(error.contains("free some space"), "{error}");
    }
    assert_eq!(read(&out.join("summary.json")), "good");
    assert_eq!(listing(home.path()), ["house"]);
}

#[test]
fn a_swap_that_fails_puts_the_last_result_back() {
    let home = tempfile::tempdir().unwrap();
    let out = home.path().join("house");
    result(&out, "good");
    let staged = OutputDir::stage(&out).unwrap();
    let gone = staged.path().to_owned();
    staged.write("summary.json", b"new").unwrap();
    // Somebody clears hidden directories while the run is on.
    fs::remove_dir_all(gone).unwrap();
    assert!(matches!(staged.commit(), Err(OutputError::Io { .. })));
    assert_eq!(read(&out.join("summary.json")), "good");
}

#[test]
fn a_death_between_the_two_renames_is_mended() {
    let home = tempfile::tempdir().unwrap();
    let out = home.path().join("house");
    result(&out, "good");
    fs::rename(&out, home.path().join(".house.previous")).unwrap();
    drop(OutputDir::stage(&out).unwrap());
    assert_eq!(read(&out.join("summary.json")), "good");
}

#[test]
fn somebody_elses_directory_is_not_replaced() {
    let home = tempfile::tempdir().unwrap();
    fs::write(home.path().join("thesis.doc"), "years").unwrap();
    let error = OutputDir::stage(home.path()).unwrap_err();
    assert!(matches!(error, OutputError::NotAResult { .. }));
    assert_eq!(listing(home.path()), ["thesis.doc"]);
}

/// The kernel's own tree takes no directories, from root neither.
#[cfg(target_os = "linux")]
#[test]
fn a_parent_that_cannot_be_written_is_named_with_advice() {
    let error = OutputDir::stage("/sys/openshut/house")
        .unwrap_err()
        .to_string();
    assert!(
        error.starts_with("/sys/openshut: could not make the directory: "),
        "{error}"
    );
    assert!(
        error.ends_with("choose a directory you may write to"),
        "{error}"
    );
    let error = OutputDir::stage("/sys/house").unwrap_err().to_string();
    assert!(error.starts_with("/sys: could not write here: "), "{error}");
    assert!(
        error.ends_with("choose a directory you may write to"),
        "{error}"
    );
}

#[test]
fn paths_that_cannot_be_a_directory_say_so() {
    let home = tempfile::tempdir().unwrap();
    let file = home.path().join("house.toml");
    fs::write(&file, "x").unwrap();
    let error = OutputDir::stage(&file).unwrap_err().to_string();
    assert!(error.contains("house.toml: is a file"), "{error}");
    let error = OutputDir::stage(file.join("out")).unwrap_err().to_string();
    assert!(error.contains("a part of the path is a file"), "{error}");
    assert!(matches!(
        OutputDir::stage("/"),
        Err(OutputError::NoName { .. })
    ));
}
