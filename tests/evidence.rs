//! Every comparison with the outside world holds, and the README shows what the program prints.

use std::path::{Path, PathBuf};
use std::sync::LazyLock;

use openshut::evidence::{self, Row};

type Topics = Vec<(&'static str, Vec<Row>)>;

/// Computed once for all tests.
static ALL: LazyLock<Topics> =
    LazyLock::new(|| evidence::all().expect("the reference data are whole"));

fn failures<'a>(rows: impl Iterator<Item = &'a Row>) -> Vec<String> {
    rows.filter(|r| !r.holds)
        .map(|r| format!("{r:#?}"))
        .collect()
}

#[test]
fn every_row_holds() {
    let failed = failures(ALL.iter().flat_map(|t| &t.1));
    assert!(failed.is_empty(), "{}", failed.join("\n"));
}

#[test]
fn every_topic_has_rows_and_every_row_a_source() {
    assert_eq!(ALL.len(), evidence::TOPICS.len());
    for (topic, rows) in ALL.iter() {
        assert!(rows.len() >= 5, "{topic} has only {} rows", rows.len());
        for r in rows {
            assert!(!r.what.is_empty() && !r.source.is_empty(), "{r:?}");
            assert!(
                !r.ours.contains("NaN") && !r.theirs.contains("NaN"),
                "{r:?}"
            );
        }
    }
}

/// Set OPENSHUT_WRITE_README=1 to write the block instead of comparing it.
#[test]
fn readme_shows_what_the_program_prints() {
    const BEGIN: &str = "<!-- evidence:begin -->\n";
    const END: &str = "<!-- evidence:end -->";
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("README.md");
    // Git may have turned the line ends.
    let readme = std::fs::read_to_string(&path)
        .expect("README.md")
        .replace("\r\n", "\n");
    let start = readme.find(BEGIN).expect("README.md has the first mark") + BEGIN.len();
    let end = start
        + readme[start..]
            .find(END)
            .expect("README.md has the second mark");
    let printed = format!("\n{}\n", evidence::markdown(&ALL));
    if std::env::var_os("OPENSHUT_WRITE_README").is_some() {
        let whole = format!("{}{printed}{}", &readme[..start], &readme[end..]);
        std::fs::write(&path, whole).expect("README.md can be written");
        return;
    }
    let differs = readme[start..end]
        .lines()
        .zip(printed.lines())
        .find(|(a, b)| a != b);
    assert!(
        readme[start..end] == printed,
        "README.md differs from the program, first here: {differs:#?}\nOPENSHUT_WRITE_README=1 cargo test --test evidence writes it"
    );
}

/// The weather file comes with pvlib and is not shipped.
#[test]
fn typical_year_where_its_file_is_named() {
    let Some(path) = std::env::var_os("OPENSHUT_TMY3").map(PathBuf::from) else {
        println!("skipped: OPENSHUT_TMY3 does not name pvlib's 723170TYA.CSV");
        return;
    };
    let rows = evidence::typical_year(&path).expect("the file can be read");
    let failed = failures(rows.iter());
    assert!(failed.is_empty(), "{}", failed.join("\n"));
    println!("{}", evidence::plain(&[("typical year", rows)]));
}
