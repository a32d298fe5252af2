//! The one table writer: from one description of the columns come the table that a terminal shows and
//! the table that a file holds.

use comfy_table::{
    Cell, CellAlignment, ColumnConstraint, ContentArrangement, Table as Grid, presets,
};

use super::UnitSystem;
use crate::measure::Limit;
use crate::quantity::Dimension;

/// What stands in a cell.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Value {
    /// Nothing.
    None,
    /// Words.
    Text(String),
    /// A whole number.
    Count(usize),
    /// An SI value; NaN stays empty in files.
    Number(f64),
    /// An SI value judged by a limit; a terminal marks it with a star where it fails.
    Judged(f64, Limit),
    /// A limit: a terminal shows its side, too.
    Limit(Limit),
    /// Yes or no.
    Flag(bool),
}

impl From<String> for Value {
    fn from(text: String) -> Value {
        Value::Text(text)
    }
}

impl From<&str> for Value {
    fn from(text: &str) -> Value {
        Value::Text(text.into())
    }
}

impl From<usize> for Value {
    fn from(count: usize) -> Value {
        Value::Count(count)
    }
}

impl From<f64> for Value {
    fn from(number: f64) -> Value {
        Value::Number(number)
    }
}

impl From<bool> for Value {
    fn from(flag: bool) -> Value {
        Value::Flag(flag)
    }
}

impl<T: Into<Value>> From<Option<T>> for Value {
    fn from(value: Option<T>) -> Value {
        value.map_or(Value::None, Into::into)
    }
}

/// A column: its title, the dimension of its numbers, and how it is laid out.
#[derive(Clone, Debug)]
pub(crate) struct Column {
    title: String,
    dimension: Dimension,
    right: bool,
    width: Option<ColumnConstraint>,
}

impl Column {
    /// A column of words, at the left.
    pub(crate) fn text(title: impl Into<String>) -> Column {
        Column {
            title: title.into(),
            dimension: Dimension::Count,
            right: false,
            width: None,
        }
    }

    /// A column of values of one dimension, at the right.
    pub(crate) fn number(title: impl Into<String>, dimension: Dimension) -> Column {
        Column {
            dimension,
            right: true,
            ..Column::text(title)
        }
    }

    /// The same at the right.
    pub(crate) fn right(self) -> Column {
        Column {
            right: true,
            ..self
        }
    }

    /// The same never wrapped.
    pub(crate) fn whole(self) -> Column {
        Column {
            width: Some(ColumnConstraint::ContentWidth),
            ..self
        }
    }
}

/// A table: its columns and its rows. A cell's dimension is that of its column, or, in tables of
/// measures, its row's.
#[derive(Clone, Debug, Default)]
pub(crate) struct Table {
    columns: Vec<Column>,
    rows: Vec<(Option<Dimension>, Vec<Value>)>,
}

impl Table {
    /// A table without rows.
    pub(crate) fn new(columns: impl IntoIterator<Item = Column>) -> Table {
        Table {
            columns: columns.into_iter().collect(),
            rows: Vec::new(),
        }
    }

    /// A table for a file: its columns' names alone.
    pub(crate) fn named<T: Into<String>>(names: impl IntoIterator<Item = T>) -> Table {
        Table::new(names.into_iter().map(Column::text))
    }

    /// Adds a row.
    pub(crate) fn row(&mut self, cells: impl IntoIterator<Item = Value>) {
        self.rows.push((None, cells.into_iter().collect()));
    }

    /// Adds a row whose numbers are all of one dimension.
    pub(crate) fn row_of(&mut self, dimension: Dimension, cells: impl IntoIterator<Item = Value>) {
        self.rows
            .push((Some(dimension), cells.into_iter().collect()));
    }

    /// The table for a terminal `width` columns wide.
    pub(crate) fn text(&self, units: UnitSystem, width: u16) -> String {
        let mut grid = Grid::new();
        grid.load_style(presets::NOTHING)
            .set_content_arrangement(ContentArrangement::Dynamic)
            .set_width(width)
            .set_header(self.columns.iter().map(|c| &c.title));
        for (column, at) in self.columns.iter().zip(0..) {
            if let (Some(width), Some(column)) = (column.width, grid.column_mut(at)) {
                column.set_constraint(width);
            }
        }
        for (dimension, cells) in &self.rows {
            grid.add_row(self.columns.iter().zip(cells).map(|(column, cell)| {
                let text = shown(cell, dimension.unwrap_or(column.dimension), units);
                let align = match column.right {
                    true => CellAlignment::Right,
                    false => CellAlignment::Left,
                };
                Cell::new(text).set_alignment(align)
            }));
        }
        grid.trim_fmt() + "\n"
    }

    /// The table for a file: comma-separated, numbers in SI and in full.
    pub(crate) fn csv(&self) -> Vec<u8> {
        let mut csv = csv::Writer::from_writer(Vec::new());
        // Writing to memory cannot fail.
        let _ = csv.write_record(self.columns.iter().map(|c| &c.title));
        for (_, cells) in &self.rows {
            let _ = csv.write_record(cells.iter().map(plain));
        }
        csv.into_inner().unwrap_or_default()
    }
}

fn shown(value: &Value, dimension: Dimension, units: UnitSystem) -> String {
    match value {
        Value::Number(number) => units.show(*number, dimension),
        Value::Judged(number, limit) => {
            let star = if limit.passes(*number) || number.is_nan() {
                ""
            } else {
                " *"
            };
            limit.show_value(*number, dimension, units) + star
        }
        Value::Limit(limit) => {
            let value = units.show(limit.value, dimension);
            format!("{} {value}", limit.side.sign())
        }
        _ => plain(value),
    }
}

fn plain(value: &Value) -> String {
    match value {
        Value::None => String::new(),
        Value::Text(text) => text.clone(),
        Value::Count(count) => count.to_string(),
        Value::Number(number) | Value::Judged(number, _) if !number.is_finite() => String::new(),
        Value::Number(number) | Value::Judged(number, _) => number.to_string(),
        Value::Limit(limit) => limit.value.to_string(),
        Value::Flag(flag) => if *flag { "yes" } else { "no" }.into(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_description_gives_both_tables() {
        let mut table = Table::new([
            Column::text("room"),
            Column::number("pressure", Dimension::Pressure),
        ]);
        let limit = Limit::at_most(125.0, "");
        table.row(["hall".into(), Value::Judged(250.0, limit.clone())]);
        table.row(["study".into(), Value::Number(f64::NAN)]);
        table.row(["bath".into(), Value::Limit(limit)]);
        let text = table.text(UnitSystem::Ip, 80);
        let lines: Vec<&str> = text.lines().map(str::trim).collect();
        assert!(lines[1].ends_with("1 inWC *"), "{text}");
        assert!(lines[2].ends_with("none"), "{text}");
        assert!(lines[3].ends_with("≤ 0.502 inWC"), "{text}");
        let csv = String::from_utf8(table.csv()).unwrap();
        assert_eq!(csv, "room,pressure\nhall,250\nstudy,\nbath,125\n");
    }
}
