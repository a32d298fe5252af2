//! What was seen during a run: a table with one row a record and one column a quantity.
//!
//! Everything is `f64` in SI units, the unit being the end of the column's name
//! (`supply_plenum.static_Pa`, `room.Office.air_C`). Yes and no are 1 and 0, an unknown value is
//! NaN. Measures and figures read whole columns, so the table is stored by column.

use std::collections::HashMap;
use std::io::{Read, Write};

/// Significant digits written to a CSV file: ten keep the balance of fan, outlet and relief flow
/// to better than one part in a thousand million, and halve the file against full precision.
pub(crate) const SIGNIFICANT_DIGITS: u32 = 10;

/// Why a table could not be read or written.
#[derive(Debug, thiserror::Error)]
pub enum TraceError {
    /// The file is not well-formed CSV, or could not be read or written.
    #[error("trace: {0}")]
    Csv(#[from] csv::Error),
    /// A cell holds something that is neither a number nor empty.
    #[error(
        "trace: line {line}, column `{column}`: `{text}` is not a number; write a number or leave the cell empty"
    )]
    NotANumber {
        /// Line in the file, the heading being line 1.
        line: u64,
        /// Name of the column.
        column: String,
        /// What the cell holds.
        text: String,
    },
}

/// A columnar table of `f64`, recorded row by row.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Trace {
    names: Vec<String>,
    index: HashMap<String, usize>,
    data: Vec<Vec<f64>>,
    rows: usize,
}

impl Trace {
    /// An empty table with the given columns. Of two columns with one name, the first is found.
    pub fn new(columns: Vec<String>) -> Self {
        let mut index = HashMap::with_capacity(columns.len());
        for (i, name) in columns.iter().enumerate() {
            index.entry(name.clone()).or_insert(i);
        }
        let data = vec![Vec::new(); columns.len()];
        Self {
            names: columns,
            index,
            data,
            rows: 0,
        }
    }

    /// Makes room for `rows` more rows, so that recording them allocates nothing.
    pub fn reserve(&mut self, rows: usize) {
        for column in &mut self.data {
            column.reserve(rows);
        }
    }

    /// Appends one row, values in the order of [`Trace::columns`].
    ///
    /// # Panics
    /// When the row is not as long as the list of columns: an error in the program, not in data.
    pub fn push_row(&mut self, row: &[f64]) {
        assert_eq!(
            row.len(),
            self.data.len(),
            "a row has one value for each column"
        );
        for (column, &value) in self.data.iter_mut().zip(row) {
            column.push(value);
        }
        self.rows += 1;
    }

    /// Number of rows.
    pub fn rows(&self) -> usize {
        self.rows
    }

    /// Names of the columns, in order.
    pub fn columns(&self) -> &[String] {
        &self.names
    }

    /// One column by name, or `None` if the table has no such column.
    pub fn column(&self, name: &str) -> Option<&[f64]> {
        self.index
            .get(name)
            .and_then(|&i| self.data.get(i))
            .map(Vec::as_slice)
    }

    /// Writes the table as CSV: a heading line, then one line a row.
    ///
    /// Numbers carry [`SIGNIFICANT_DIGITS`], without trailing zeros; NaN and infinities, which no
    /// reader agrees on, are written as empty cells.
    ///
    /// # Errors
    /// When the writer fails.
    pub fn write_csv(&self, writer: impl Write) -> Result<(), TraceError> {
        let mut rows = RowWriter::new(writer, &self.names)?;
        for row in 0..self.rows {
            rows.write(self.data.iter().map(|column| column[row]))?;
        }
        rows.finish()
    }

    /// Reads a table written by [`Trace::write_csv`]. Empty cells become NaN.
    ///
    /// # Errors
    /// When the file is not CSV, or a cell is not a number.
    pub fn read_csv(reader: impl Read) -> Result<Self, TraceError> {
        let mut csv = csv::Reader::from_reader(reader);
        let names: Vec<String> = csv.headers()?.iter().map(str::to_owned).collect();
        let mut trace = Self::new(names);
        let mut row = Vec::with_capacity(trace.names.len());
        for record in csv.records() {
            let record = record?;
            row.clear();
            for (text, column) in record.iter().zip(&trace.names) {
                let text = text.trim();
                row.push(if text.is_empty() {
                    f64::NAN
                } else {
                    text.parse().map_err(|_| TraceError::NotANumber {
                        line: record.position().map_or(0, csv::Position::line),
                        column: column.clone(),
                        text: text.to_owned(),
                    })?
                });
            }
            trace.push_row(&row);
        }
        Ok(trace)
    }
}

/// Writes a table row by row, in the format of [`Trace::write_csv`], and keeps none of it.
#[derive(Debug)]
pub(crate) struct RowWriter<W: Write> {
    csv: csv::Writer<W>,
    cell: Vec<u8>,
}

impl<W: Write> RowWriter<W> {
    /// Writes the heading line.
    ///
    /// # Errors
    /// When the writer fails.
    pub(crate) fn new(writer: W, columns: &[String]) -> Result<Self, TraceError> {
        let mut csv = csv::WriterBuilder::new()
            .buffer_capacity(1 << 16)
            .from_writer(writer);
        csv.write_record(columns)?;
        let cell = Vec::with_capacity(32);
        Ok(Self { csv, cell })
    }

    /// Writes one row, one value a column.
    ///
    /// # Errors
    /// When the writer fails, or the row is not as long as the heading.
    pub(crate) fn write(&mut self, row: impl Iterator<Item = f64>) -> Result<(), TraceError> {
        for value in row {
            self.cell.clear();
            write_number(&mut self.cell, value);
            self.csv.write_field(&self.cell)?;
        }
        self.csv.write_record(None::<&[u8]>)?;
        Ok(())
    }

    /// Hands the last of it to the writer.
    ///
    /// # Errors
    /// When the writer fails.
    pub(crate) fn finish(mut self) -> Result<(), TraceError> {
        self.csv.flush().map_err(csv::Error::from)?;
        Ok(())
    }
}

/// Powers of ten that are exact in `f64`.
const POW10: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16,
    1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
];

/// Appends `value` with [`SIGNIFICANT_DIGITS`]; several times faster than the general formatter.
fn write_number(out: &mut Vec<u8>, value: f64) {
    if !value.is_finite() {
        return;
    }
    if value == 0.0 {
        out.push(b'0');
        return;
    }
    let size = value.abs();
    if !(1e-6..1e10).contains(&size) {
        let short = format!("{value:.*e}", SIGNIFICANT_DIGITS as usize - 1);
        // `1.250000000e-9` says no more than `1.25e-9`.
        let (digits, exponent) = short.split_once('e').unwrap_or((&short, "0"));
        let digits = digits.trim_end_matches('0').trim_end_matches('.');
        out.extend_from_slice(digits.as_bytes());
        out.push(b'e');
        out.extend_from_slice(exponent.as_bytes());
        return;
    }
    // Decimal places that leave the wanted number of significant digits.
    let digits = SIGNIFICANT_DIGITS as usize;
    let mut places = if size >= 1.0 {
        let whole = POW10.iter().take_while(|&&p| p <= size).count();
        digits - whole.min(digits)
    } else {
        let zeros = POW10
            .iter()
            .skip(1)
            .take_while(|&&p| size * p < 1.0)
            .count();
        digits + zeros
    };
    let mut scaled = (size * POW10[places]).round() as u64;
    while places > 0 && scaled.is_multiple_of(10) {
        scaled /= 10;
        places -= 1;
    }
    if value < 0.0 {
        out.push(b'-');
    }
    let mut buffer = [b'0'; 32];
    let mut at = buffer.len();
    let mut written = 0;
    while scaled > 0 || written <= places {
        at -= 1;
        if written == places && places > 0 {
            buffer[at] = b'.';
            at -= 1;
        }
        buffer[at] = b'0' + (scaled % 10) as u8;
        scaled /= 10;
        written += 1;
    }
    out.extend_from_slice(&buffer[at..]);
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn text(value: f64) -> String {
        let mut out = Vec::new();
        write_number(&mut out, value);
        String::from_utf8(out).unwrap()
    }

    #[test]
    fn numbers_are_short_and_plain() {
        for (value, expected) in [
            (0.0, "0"),
            (-0.0, "0"),
            (1.0, "1"),
            (-1.0, "-1"),
            (86_400.0, "86400"),
            (0.35, "0.35"),
            (-0.05, "-0.05"),
            (24.5, "24.5"),
            (1.0 / 3.0, "0.3333333333"),
            (200.0 / 3.0, "66.66666667"),
            (0.000_123_456_789_012, "0.000123456789"),
            (9_999_999_999.0, "9999999999"),
            (0.999_999_999_99, "1"),
            (1.25e-9, "1.25e-9"),
            (-3e12, "-3e12"),
            (f64::NAN, ""),
            (f64::INFINITY, ""),
        ] {
            assert_eq!(text(value), expected, "{value:?}");
        }
    }

    proptest! {
        #[test]
        fn a_number_reads_back_to_ten_digits(mantissa in -1.0f64..1.0, power in -12i32..14) {
            let value = mantissa * 10f64.powi(power);
            let back: f64 = text(value).parse().unwrap();
            prop_assert!((back - value).abs() <= value.abs() * 0.500_001e-9, "{value:e} {back:e}");
        }
    }

    #[test]
    fn a_table_goes_to_csv_and_back() {
        let mut trace = Trace::new(vec!["time_s".into(), "room.Front, left.air_C".into()]);
        trace.reserve(2);
        trace.push_row(&[0.0, 24.25]);
        trace.push_row(&[30.0, f64::NAN]);
        let mut csv = Vec::new();
        trace.write_csv(&mut csv).unwrap();
        assert_eq!(
            String::from_utf8(csv.clone()).unwrap(),
            "time_s,\"room.Front, left.air_C\"\n0,24.25\n30,\n"
        );
        let back = Trace::read_csv(csv.as_slice()).unwrap();
        assert_eq!(back.columns(), trace.columns());
        assert_eq!(back.rows(), 2);
        assert_eq!(back.column("time_s"), Some(&[0.0, 30.0][..]));
        assert!(back.column("room.Front, left.air_C").unwrap()[1].is_nan());
        assert_eq!(back.column("room.Back.air_C"), None);
    }

    #[test]
    fn a_cell_that_is_no_number_is_named() {
        let error = Trace::read_csv("time_s,unit.speed\n0,1\n1,fast\n".as_bytes()).unwrap_err();
        assert_eq!(
            error.to_string(),
            "trace: line 3, column `unit.speed`: `fast` is not a number; write a number or leave the cell empty"
        );
    }
}
