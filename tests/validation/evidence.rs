//! EVIDENCE.md, and the test that holds it to the rows.

use std::fmt::Write;
use std::path::PathBuf;

use super::{Row, TOPICS, all, sun};

/// What the evidence does not cover, with the range of each.
const NOT_COVERED: &[&str] = &[
    "Damper tables: two publishers' losses for the same blade differ, and real dampers stand crooked. Flow through a part-open damper ±20 %; leakage when shut is a class limit, so a factor of two either way.",
    "Sound: handbook formulae for fans, dampers and duct loss, most made for larger plant. ±5 dB(A) in a room where the duct runs are as drawn, ±8 dB(A) where fan or damper data are generic; differences between two layouts of one house are surer than levels.",
    "Unit: a generic machine from our own refrigeration cycle. The rating point is yours if you give it; away from it capacity ±5 %, power ±10 %, and any particular machine's controls may do otherwise. Frost and reversal are a smooth loss, not events.",
    "Fan: three-figure catalogue curves. Flow ±5 %, power ±15 %; stall is flagged, not simulated.",
    "Rooms: well-mixed air, one temperature a room, three stores. No stratification, no draught, no short circuit from supply to return: the thermostat's place in a real room can cost 1 K that no figure here shows.",
    "House: leakage, fabric and gains are estimates; loads ±20 % without a survey, with which starts an hour and run times move alike. Wind and stack flow are not simulated.",
    "Ducts: flexible duct as installed may lose twice what straight duct does; compression is asked for, kinks are not. Heat gain ±25 %.",
    "Sky: isotropic, which understates the bright side of a clear sky by up to 15 % of the diffuse part.",
    "Comfort: votes hold for people at rest in still, even air; ±0.3 of a vote between people alike on paper.",
    "Moisture: one buffer a room; relative humidity ±5 points after hours, worse over weeks.",
    "The closed loops take the generic unit's map as given: whether it is like a real unit is not in them.",
    "Control: a generic controller in trade terms. No product's algorithm, delays or faults are in it.",
];

/// What stands before the section on mutations, which the script `mutate` writes.
fn markdown(topics: &[(&str, Vec<Row>)]) -> String {
    let mut text = format!("{HEAD}\n{}\n", count(topics));
    for (topic, rows) in topics {
        let _ = write!(
            text,
            "\n## {}\n\n| part | what | source | ours | theirs | tolerance | unit | passes |\n|---|---|---|---|---|---|---|---|\n",
            capital(topic)
        );
        for r in rows {
            let remark = if r.remark.is_empty() {
                String::new()
            } else {
                format!(" ({})", r.remark)
            };
            let _ = writeln!(
                text,
                "| {} | {}{} | {} | {} | {} | {} | {} | {} |",
                r.part,
                cell(&r.what),
                cell(&remark),
                cell(&r.source),
                cell(&r.ours),
                cell(&r.theirs),
                cell(&r.tolerance),
                unit(r),
                if r.holds { "yes" } else { "**no**" }
            );
        }
    }
    text += "\n## What the evidence does not cover\n\nThe ranges are our own estimates.\n\n";
    for line in NOT_COVERED {
        let _ = writeln!(text, "- {line}");
    }
    text
}

fn count(topics: &[(&str, Vec<Row>)]) -> String {
    let rows = || topics.iter().flat_map(|t| &t.1);
    format!(
        "{} of {} comparisons pass.",
        rows().filter(|r| r.holds).count(),
        rows().count()
    )
}

fn unit(row: &Row) -> &str {
    if row.unit == "1" { "" } else { row.unit }
}

fn cell(text: &str) -> String {
    text.replace('|', "\\|")
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |first| {
        first.to_uppercase().collect::<String>() + letters.as_str()
    })
}

const HEAD: &str = "# Evidence

Written by `OPENSHUT_WRITE_EVIDENCE=1 cargo test --lib validation`; `cargo test` fails when a row fails or this file
differs. Rows \"through runs\" load a scenario file of this folder and step the engine as `openshut run` does. The
scripts that make the outside figures are in `tests/reference/`.
";

/// Begins the section that `mutate` writes.
const MUTATIONS: &str = "\n## Mutations\n";

fn failures<'a>(rows: impl Iterator<Item = &'a Row>) -> Vec<String> {
    rows.filter(|r| !r.holds)
        .map(|r| {
            let Row { part, what, ours, theirs, tolerance, unit, difference, remark, .. } = r;
            format!("FAILS | {part} | {what} | {ours} | {theirs} | {tolerance} {unit} | {difference:.3e} | {remark}")
        })
        .collect()
}

/// Set OPENSHUT_WRITE_EVIDENCE=1 to write EVIDENCE.md instead of comparing it.
#[test]
fn every_row_passes_and_evidence_md_shows_them() {
    let topics = all();
    assert_eq!(topics.len(), TOPICS.len());
    for r in topics.iter().flat_map(|t| &t.1) {
        assert!(!r.what.is_empty() && !r.source.is_empty(), "{r:?}");
    }
    let failed = failures(topics.iter().flat_map(|t| &t.1));
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/validation/EVIDENCE.md");
    // Git may have turned the line ends.
    let kept = std::fs::read_to_string(&path)
        .unwrap_or_default()
        .replace("\r\n", "\n");
    let (rows, mutations) = kept.split_at(kept.find(MUTATIONS).unwrap_or(kept.len()));
    let printed = markdown(&topics);
    if std::env::var_os("OPENSHUT_WRITE_EVIDENCE").is_some() {
        std::fs::write(&path, printed + mutations).expect("EVIDENCE.md can be written");
        println!("{}", failed.join("\n"));
        return;
    }
    assert!(failed.is_empty(), "{}", failed.join("\n"));
    let differs = rows.lines().zip(printed.lines()).find(|(a, b)| a != b);
    assert!(
        rows == printed,
        "EVIDENCE.md differs from the rows, first here: {differs:#?}\nOPENSHUT_WRITE_EVIDENCE=1 cargo test --lib validation writes it"
    );
}

/// The weather file comes with pvlib and is not shipped.
#[test]
fn typical_year_where_its_file_is_named() {
    let Some(path) = std::env::var_os("OPENSHUT_TMY3").map(PathBuf::from) else {
        println!("skipped: OPENSHUT_TMY3 does not name pvlib's 723170TYA.CSV");
        return;
    };
    let rows = sun::typical_year(&path).expect("the file can be read");
    let failed = failures(rows.iter());
    assert!(failed.is_empty(), "{}", failed.join("\n"));
}
