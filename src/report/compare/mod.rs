//! A comparison in words, tables and figures on the same axes.

mod figures;
mod sentences;

use std::path::{Path, PathBuf};

use super::results::ResultsError;
use super::table::{Column, Table, Value};
use super::{OutputDir, UnitSystem};
use crate::study::case::Case;
use crate::study::compare::{Comparison, Judgement, Row};

pub(crate) use figures::figures;
pub(crate) use sentences::sentences;

/// The comparison for a terminal.
pub(crate) fn text(
    c: &Comparison,
    units: UnitSystem,
    width: u16,
    bold: impl Fn(&str) -> String,
) -> String {
    let titles: Vec<&str> = c.cases.iter().map(|k| k.scenario.title.as_str()).collect();
    let mut out = bold(&titles.join(" | "));
    out.push('\n');
    for sentence in sentences(c, units) {
        out += &sentence;
        out.push('\n');
    }
    out.push('\n');
    let shown: Vec<&Row> = c.rows.iter().filter(|r| r.is_shown()).collect();
    out += &rows(c, &shown, units, width);
    let left_out = c.rows.len() - shown.len();
    out += "* fails its limit. Better and worse are against the first file.\n";
    if left_out > 0 {
        out += &format!("compare.csv has {left_out} more measures.\n");
    }
    out
}

fn rows(c: &Comparison, rows: &[&Row], units: UnitSystem, width: u16) -> String {
    let mut columns = vec![
        Column::text("measure"),
        Column::text("where"),
        Column::text("limit"),
    ];
    for (i, case) in c.cases.iter().enumerate() {
        columns.push(Column::text(&case.scenario.name).right());
        if i > 0 {
            columns.push(Column::text("change").right());
        }
    }
    let mut table = Table::new(columns);
    for row in rows {
        let name = row.name();
        let limit = row.first_limit().cloned();
        let mut cells = vec![
            name.title.into(),
            name.subject.as_str().into(),
            limit.map_or(Value::None, Value::Limit),
        ];
        for (i, m) in row.runs.iter().enumerate() {
            cells.push(match m {
                None => "—".into(),
                Some(m) => match &m.limit {
                    Some(limit) => Value::Judged(m.value, limit.clone()),
                    None => Value::Number(m.value),
                },
            });
            if i > 0 {
                cells.push(change(row, i, units).into());
            }
        }
        table.row_of(name.dimension, cells);
    }
    table.text(units, width)
}

fn change(row: &Row, i: usize, units: UnitSystem) -> Option<String> {
    let judgement = row.judgement(i);
    let difference = row.difference(i)?;
    if judgement == Judgement::Same {
        return Some("same".into());
    }
    let size = units.show_signed(difference, row.name().dimension);
    Some(format!("{size} {}", judgement.word()).trim_end().into())
}

/// Folder that [`write()`] leaves: `out/compare-<a>-<b>/`.
pub(crate) fn folder(out: &Path, cases: &[Case]) -> PathBuf {
    let names: Vec<&str> = cases.iter().map(|k| k.scenario.name.as_str()).collect();
    out.join(format!("compare-{}", names.join("-")))
}

/// Writes `compare.csv` and the figures into `out/compare-<a>-<b>/`, whole or not at all.
///
/// # Errors
/// The folder cannot be written, or a figure not drawn.
pub(crate) fn write(
    out: &Path,
    c: &Comparison,
    units: UnitSystem,
    with_figures: bool,
) -> Result<PathBuf, ResultsError> {
    let drawn = if with_figures {
        figures(c, units)?
    } else {
        Vec::new()
    };
    let staged = OutputDir::stage(folder(out, &c.cases))?;
    staged.write("compare.csv", &measures_table(c).csv())?;
    staged.write("changes.csv", &changes_table(c).csv())?;
    staged.figures(&drawn)?;
    Ok(staged.commit()?)
}

fn measures_table(c: &Comparison) -> Table {
    let mut names: Vec<String> = ["measure", "subject", "unit", "limit", "side"]
        .map(String::from)
        .to_vec();
    for (i, case) in c.cases.iter().enumerate() {
        let name = &case.scenario.name;
        names.extend([name.clone(), format!("{name}.passes")]);
        if i > 0 {
            names.extend([format!("{name}.difference"), format!("{name}.judgement")]);
        }
    }
    let mut table = Table::named(names);
    for row in &c.rows {
        let (name, limit) = (row.name(), row.first_limit());
        let mut cells: Vec<Value> = vec![
            name.key.into(),
            name.subject.as_str().into(),
            name.dimension.si_symbol().into(),
            limit.map(|l| l.value).into(),
            limit.map(|l| l.side.words()).into(),
        ];
        for i in 0..c.cases.len() {
            cells.extend([row.value(i).into(), row.passes(i).into()]);
            if i > 0 {
                cells.extend([row.difference(i).into(), row.judgement(i).word().into()]);
            }
        }
        table.row(cells);
    }
    table
}

fn changes_table(c: &Comparison) -> Table {
    let names = c.cases.iter().map(|k| k.scenario.name.as_str());
    let mut table = Table::named(std::iter::once("key").chain(names));
    for change in &c.changes {
        let values = change.values.iter().map(|v| v.clone().into());
        table.row(std::iter::once(change.key.as_str().into()).chain(values));
    }
    table
}
