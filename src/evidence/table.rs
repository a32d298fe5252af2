//! The table as people read it.

use std::fmt::Write;

use comfy_table::{ContentArrangement, Table, presets};

use super::Row;

/// What the evidence does not cover, with honest bands.
pub const NOT_COVERED: &[&str] = &[
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
    "The closed loops above are put together from the library's parts in the order of a run, with a supply of given flow and temperature: rooms, sensors, control, dampers and air are held together, the unit's own dynamics only by themselves.",
    "Control: a generic controller in trade terms. No product's algorithm, delays or faults are in it.",
];

/// Text for a terminal.
pub fn plain(topics: &[(&str, Vec<Row>)]) -> String {
    let mut text = String::new();
    for (topic, rows) in topics {
        let mut table = Table::new();
        table
            .load_style(presets::NOTHING)
            .set_content_arrangement(ContentArrangement::Disabled)
            .set_header(["", "what", "ours", "theirs", "tolerance", "unit", "source"]);
        for r in rows {
            let mark = if r.holds { "holds" } else { "FAILS" };
            table.add_row([
                mark,
                &r.what,
                &r.ours,
                &r.theirs,
                &r.tolerance,
                unit(r),
                &r.source,
            ]);
        }
        let _ = writeln!(text, "{topic}\n{}\n", table.trim_fmt());
    }
    text += &count(topics);
    text.push('\n');
    text
}

/// Markdown, as it stands in the README between its two marks.
pub fn markdown(topics: &[(&str, Vec<Row>)]) -> String {
    let mut text = format!("{}\n", count(topics));
    for (topic, rows) in topics {
        let _ = write!(
            text,
            "\n#### {}\n\n| what | source | ours | theirs | tolerance | unit | holds |\n|---|---|---|---|---|---|---|\n",
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
                "| {}{} | {} | {} | {} | {} | {} | {} |",
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
    text += "\n#### What the evidence does not cover\n\nThe bands are our own estimates.\n\n";
    for line in NOT_COVERED {
        let _ = writeln!(text, "- {line}");
    }
    text
}

fn count(topics: &[(&str, Vec<Row>)]) -> String {
    let rows = || topics.iter().flat_map(|t| &t.1);
    format!(
        "{} of {} comparisons hold.",
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
