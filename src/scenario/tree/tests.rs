use super::*;
use proptest::prelude::*;
use std::fs;
use std::path::Path;

fn write(folder: &Path, name: &str, text: impl AsRef<[u8]>) -> std::path::PathBuf {
    let path = folder.join(name);
    fs::write(&path, text).unwrap();
    path
}

fn text_at<'t>(tree: &'t Tree, path: &str) -> &'t Node {
    let leaves = tree.leaves();
    leaves
        .iter()
        .find(|(have, _)| have == path)
        .unwrap_or_else(|| panic!("no {path}"))
        .1
}

fn shown(fault: &Diagnostic) -> (String, usize, String) {
    let place = fault.place().expect("a place");
    (
        place.file.clone(),
        place.line,
        place.text[place.span.clone()].to_owned(),
    )
}

fn at_line(fault: &Diagnostic, file: &Path, line: usize, marked: &str) {
    assert_eq!(
        shown(fault),
        (file.display().to_string(), line, marked.to_owned()),
        "{fault}"
    );
}

const HOUSE: &str = "\
[fan]
flow = \"350 L/s\"
drive = \"fixed speed\"

[room.living]
area = \"30 m2\"
windows = [{ area = \"4 m2\" }, { area = \"2 m2\" }]

[room.study]
area = \"9 m2\"

[outlet.living-a]
room = \"living\"

[outlet.living-b]
room = \"living\"
";

#[test]
fn a_what_if_is_laid_on_its_base_and_values_remember_their_file() {
    let folder = tempfile::tempdir().unwrap();
    let house = write(folder.path(), "house.toml", HOUSE);
    let what_if = write(
        folder.path(),
        "one-outlet.toml",
        "based_on = \"house.toml\"\nwithout = [\"outlet.living-b\", \"room.study\"]\n\n\
         [fan]\nflow = \"300 L/s\"\n[room.living]\nwindows = []\n[room.hall]\narea = \"5 m2\"\n",
    );
    let tree = load(&what_if).unwrap();
    let paths: Vec<_> = tree.leaves().into_iter().map(|(path, _)| path).collect();
    assert_eq!(
        paths,
        [
            "fan.flow",
            "fan.drive",
            "room.living.area",
            "room.living.windows",
            "room.hall.area",
            "outlet.living-a.room"
        ]
    );
    let flow = text_at(&tree, "fan.flow");
    assert_eq!(flow.value, Value::Text("300 L/s".into()));
    assert_eq!(
        (flow.at.source.path(), flow.at.line_column()),
        (Some(&*what_if), (5, 8))
    );
    let drive = text_at(&tree, "fan.drive");
    assert_eq!(
        (drive.at.source.path(), drive.at.line_column()),
        (Some(&*house), (3, 9))
    );
    assert_eq!(
        text_at(&tree, "room.living.windows").value,
        Value::List(vec![])
    );
    let read: Vec<_> = tree
        .sources
        .iter()
        .map(|source| source.path().unwrap())
        .collect();
    assert_eq!(read, [&*what_if, &*house]);
}

#[test]
fn a_base_may_stand_on_a_base_in_another_folder() {
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir(folder.path().join("bases")).unwrap();
    write(
        &folder.path().join("bases"),
        "root.toml",
        "a = 1\nb = 1\nc = 1\n",
    );
    write(
        &folder.path().join("bases"),
        "mid.toml",
        "based_on = \"root.toml\"\nb = 2\nc = 2\n",
    );
    let top = write(
        folder.path(),
        "top.toml",
        "based_on = \"bases/mid.toml\"\nc = 3\n",
    );
    let tree = load(top).unwrap();
    for (key, value) in [("a", 1), ("b", 2), ("c", 3)] {
        assert_eq!(text_at(&tree, key).value, Value::Integer(value));
    }
}

#[test]
fn circles_and_long_chains_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    let a = write(folder.path(), "a.toml", "based_on = \"b.toml\"\n");
    let b = write(folder.path(), "b.toml", "x = 1\nbased_on = \"./a.toml\"\n");
    let fault = load(&a).unwrap_err();
    at_line(&fault, &b, 2, "\"./a.toml\"");
    assert!(fault.what().contains("based on itself") && fault.advice().unwrap().contains("circle"));

    write(folder.path(), "0.toml", "x = 1\n");
    for n in 1..=9 {
        write(
            folder.path(),
            &format!("{n}.toml"),
            format!("based_on = \"{}.toml\"\n", n - 1),
        );
    }
    assert!(load(folder.path().join("8.toml")).is_ok());
    let fault = load(folder.path().join("9.toml")).unwrap_err();
    at_line(&fault, &folder.path().join("1.toml"), 1, "\"0.toml\"");
    assert!(fault.what().contains("more than 8"), "{fault}");
}

#[test]
fn faults_of_based_on_and_without_point_at_them() {
    let folder = tempfile::tempdir().unwrap();
    write(folder.path(), "house.toml", HOUSE);
    let case = |text: &str| {
        let path = write(folder.path(), "case.toml", text);
        (load(&path).unwrap_err(), path)
    };
    let (fault, path) = case("\nbased_on = \"hous.toml\"\n");
    at_line(&fault, &path, 2, "\"hous.toml\"");
    assert!(fault.what().contains("no such file"), "{fault}");
    assert!(fault.advice().unwrap().ends_with("house.toml?"), "{fault}");

    let (fault, path) = case("based_on = \"house.toml\"\nwithout = [\n  \"outlet.livin-b\",\n]\n");
    at_line(&fault, &path, 3, "\"outlet.livin-b\"");
    assert_eq!(fault.what(), "there is no `outlet.livin-b`");
    assert_eq!(fault.advice(), Some("did you mean outlet.living-b?"));

    let (fault, path) = case("based_on = \"house.toml\"\nwithout = [\"outlets.living-b\"]\n");
    at_line(&fault, &path, 2, "\"outlets.living-b\"");
    assert_eq!(fault.advice(), Some("did you mean outlet?"));

    let (fault, path) = case("based_on = \"house.toml\"\nwithout = \"zone.x\"\n");
    at_line(&fault, &path, 2, "\"zone.x\"");
    assert!(fault.advice().unwrap().contains("without = ["), "{fault}");

    let (fault, path) = case("without = [\"zone.x\"]\n");
    at_line(&fault, &path, 1, "without");
    let (fault, path) = case("based_on = 3\n");
    at_line(&fault, &path, 1, "3");
    let (fault, path) = case("based_on = \"house.toml\"\nwithout = [\"..\"]\n");
    at_line(&fault, &path, 2, "\"..\"");
    assert!(fault.what().contains("not a path"));
}

#[test]
fn a_file_that_is_not_there_names_the_one_that_may_be_meant() {
    let folder = tempfile::tempdir().unwrap();
    write(folder.path(), "clinic.toml", "");
    let fault = load(folder.path().join("clinc.toml")).unwrap_err();
    assert!(
        fault
            .to_string()
            .contains("clinc.toml: there is no such file; did you mean "),
        "{fault}"
    );
    assert!(fault.to_string().ends_with("clinic.toml?"), "{fault}");
    let fault = load(folder.path().join("no/such.toml")).unwrap_err();
    assert!(
        fault.advice().unwrap().contains("there is no folder"),
        "{fault}"
    );
    let fault = load(folder.path()).unwrap_err();
    assert!(fault.what().ends_with("is not a file"), "{fault}");
}

#[test]
fn faulty_toml_shows_its_line_and_says_what_to_write() {
    for (text, line, marked, what, advice) in [
        (
            "[fan]\nflow = 350 L/s # x\n",
            2,
            "350 L/s",
            "in quotes",
            "write flow = \"350 L/s\"",
        ),
        ("a = 1\n[b]\nc =\n", 3, "", "no value", "write c = \"...\""),
        ("a = 1\na = 2\n", 2, "a", "duplicate key", "once in a table"),
        ("[fan\nx = 1\n", 1, "", "unclosed table", "close the header"),
        (
            "x = 1\nroom living\n",
            2,
            "",
            "key with no value",
            "key = value",
        ),
        (
            "x = \"abc\ny = 1\n",
            1,
            "",
            "invalid basic string",
            "quotation mark",
        ),
        (
            "x = 99999999999999999999\n",
            1,
            "99999999999999999999",
            "too large",
            "smaller",
        ),
        ("x = [1, nan]\n", 1, "nan", "not finite", "ordinary number"),
    ] {
        let fault = load_text("house", text).unwrap_err();
        assert_eq!(
            shown(&fault),
            ("house".into(), line, marked.into()),
            "{fault}"
        );
        assert!(fault.what().contains(what), "{fault}");
        assert!(fault.advice().unwrap().contains(advice), "{fault}");
    }
}

#[test]
fn a_rendered_fault_shows_file_line_column_and_help() {
    let fault = load_text("house.toml", "[fan]\nflow = 350 L/s\n").unwrap_err();
    let drawn = fault.render(false);
    assert!(
        drawn.starts_with("error: quantities and names are written in quotes\n"),
        "{drawn}"
    );
    for part in [
        "--> house.toml:2:8",
        "2 | flow = 350 L/s",
        "^^^^^^^",
        "help: write flow = \"350 L/s\"",
    ] {
        assert!(drawn.contains(part), "{drawn}");
    }
    assert!(fault.render(true).contains("\u{1b}["));
    assert!(!drawn.contains('\u{1b}'));
}

#[test]
fn carriage_returns_and_byte_order_marks_change_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let plain = write(
        folder.path(),
        "plain.toml",
        "# °C\n[fan]\nflow = \"1 L/s\"\n",
    );
    let marked = write(
        folder.path(),
        "marked.toml",
        "\u{feff}# °C\r\n[fan]\r\nflow = \"1 L/s\"\r\n",
    );
    let (plain, marked) = (load(plain).unwrap(), load(marked).unwrap());
    let (a, b) = (text_at(&plain, "fan.flow"), text_at(&marked, "fan.flow"));
    assert_eq!(a.value, b.value);
    assert_eq!(a.at.line_column(), b.at.line_column());
    let faulty = write(
        folder.path(),
        "faulty.toml",
        "\u{feff}x = \"°\"\r\ny = 3 m\r\n",
    );
    at_line(&load(&faulty).unwrap_err(), &faulty, 2, "3 m");
}

#[test]
fn files_that_are_not_utf_8_are_refused_at_the_line() {
    let folder = tempfile::tempdir().unwrap();
    for (name, bytes) in [
        ("latin", &b"a = 1\nt = \"24 \xb0C\"\n"[..]),
        ("mark", b"\xef\xbb\xbfa = 1\nt = \"24 \xb0C\"\n"),
    ] {
        let path = write(folder.path(), name, bytes);
        let fault = load(&path).unwrap_err();
        at_line(&fault, &path, 2, "\u{fffd}");
        assert_eq!(fault.place().unwrap().column, 9);
        assert!(fault.what().contains("not UTF-8") && fault.advice().unwrap().contains("UTF-8"));
    }
    let path = write(folder.path(), "wide", b"\xff\xfea\0=\x001\0\n\0");
    assert!(load(path).unwrap_err().what().contains("UTF-16"));
}

#[test]
fn built_in_scenarios_may_stand_on_each_other() {
    let shelf = [
        ("house", HOUSE),
        ("what-if", "based_on = \"house\"\nfan.flow = \"1 L/s\"\n"),
        ("loop", "based_on = \"loop\""),
    ];
    let tree = load_embedded("what-if", &shelf).unwrap();
    assert_eq!(text_at(&tree, "fan.flow").at.source.name(), "what-if");
    assert_eq!(text_at(&tree, "fan.drive").at.to_string(), "house:3");
    assert!(
        load_embedded("loop", &shelf)
            .unwrap_err()
            .what()
            .contains("itself")
    );
    assert_eq!(
        load_embedded("huose", &shelf).unwrap_err().advice(),
        Some("did you mean \"house\"?")
    );
}

#[test]
fn an_argument_overrides_a_key_and_is_its_own_source() {
    let mut tree = load_text("house", HOUSE).unwrap();
    tree.set_path("fan.flow", "300 L/s").unwrap();
    tree.set_path("room.living.windows[2].area", "3 m2")
        .unwrap();
    tree.set_path("unit.stages", "2").unwrap();
    tree.set_path("fan.points", "[1, \"x\"]").unwrap();
    let flow = text_at(&tree, "fan.flow");
    assert_eq!(flow.value, Value::Text("300 L/s".into()));
    assert_eq!(flow.at.to_string(), "--set fan.flow=300 L/s");
    assert_eq!(flow.at.text(), "300 L/s");
    assert_eq!(text_at(&tree, "unit.stages").value, Value::Integer(2));
    let Value::List(windows) = &text_at(&tree, "room.living.windows").value else {
        panic!()
    };
    let Value::Table(second) = &windows[1].value else {
        panic!()
    };
    assert_eq!(
        second.get("area").unwrap().value,
        Value::Text("3 m2".into())
    );
    let Value::List(points) = &text_at(&tree, "fan.points").value else {
        panic!()
    };
    assert_eq!(points[1].at.text(), "\"x\"");
    // A new key of a known table keeps the order of the file.
    assert_eq!(tree.leaves()[0].0, "fan.flow");

    tree.remove_path("outlet.living-b").unwrap();
    assert!(
        tree.leaves()
            .iter()
            .all(|(path, _)| !path.contains("living-b"))
    );
    for (fault, argument, advice) in [
        (
            tree.set_path("room.livin.area", "1 m2"),
            "--set room.livin.area=1 m2",
            "did you mean room.living?",
        ),
        (
            tree.set_path("fan.flow.x", "1"),
            "--set fan.flow.x=1",
            "shorten the path",
        ),
        (
            tree.set_path("room.living.windows.area", "1"),
            "--set room.living.windows.area=1",
            "say which one, from 1: room.living.windows[1]",
        ),
        (
            tree.set_path("room.living.windows[3].area", "1"),
            "--set room.living.windows[3].area=1",
            "it has 2, counted from 1",
        ),
        (
            tree.set_path("fan..x", "1"),
            "--set fan..x=1",
            "write keys joined by dots, such as fan.flow or room.living.windows[2].area",
        ),
        (
            tree.remove_path("outlet.living-b"),
            "--without outlet.living-b",
            "did you mean outlet.living-a?",
        ),
    ] {
        let fault = fault.unwrap_err();
        assert_eq!(fault.advice(), Some(advice));
        assert!(
            fault.to_string().starts_with(&format!("{argument}: ")),
            "{fault}"
        );
    }
}

#[test]
fn deep_nesting_is_refused_and_not_followed() {
    for text in [
        format!("{}a = 1", "a.".repeat(50_000)),
        format!("a = {}", "[".repeat(50_000)),
    ] {
        assert!(
            load_text("deep", &text)
                .unwrap_err()
                .what()
                .contains("recur")
        );
    }
    let mut tree = load_text("house", HOUSE).unwrap();
    let fault = tree.set_path(&"a.".repeat(50_000), "1").unwrap_err();
    assert!(fault.what().ends_with("is not a path"));
}

proptest! {
    #[test]
    fn any_text_is_read_or_refused(text in "\\PC*") {
        if let Err(fault) = load_text("any", &text) {
            prop_assert!(!fault.render(false).is_empty());
        }
    }

    #[test]
    fn anything_like_toml_is_read_or_refused(
        parts in prop::collection::vec(
            prop::sample::select(vec![
                "[", "]", "[[", "]]", "{", "}", "=", " = ", "\n", "\r\n", "\"", "'", "\"\"\"", "a", "b.c", "°", ".", ",",
                "1", "0x", "1e9", "nan", "06:30", "2024-01-01", "true", "#", "based_on", "without", "\u{feff}", "\t", "\0",
            ]),
            0..40,
        ),
        path in "[a-c.\\[\\]0-9]{0,8}",
    ) {
        match load_text("any", &parts.concat()) {
            Err(fault) => {
                prop_assert!(!fault.render(true).is_empty());
                prop_assert!(!fault.to_string().is_empty());
            }
            Ok(mut tree) => {
                let _ = tree.set_path(&path, &parts.concat());
                let _ = tree.remove_path(&path);
            }
        }
    }
}
