//! Reading comma-separated text cell by cell, keeping the line number for messages.

use super::error::{Place, WeatherError};
use csv::StringRecord;

/// The records of a text, with the line each stands on.
pub(super) struct Rows<'a> {
    file: &'a str,
    text: &'a str,
    reader: csv::Reader<&'a [u8]>,
    counted_to: usize,
    line: u64,
}

impl<'a> Rows<'a> {
    /// Over `text`, which came from `file`. Lines that start with `#` are passed over.
    pub(super) fn new(file: &'a str, text: &'a str) -> Self {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let reader = csv::ReaderBuilder::new()
            .has_headers(false)
            .flexible(true)
            .comment(Some(b'#'))
            .trim(csv::Trim::All)
            .from_reader(text.as_bytes());
        Self {
            file,
            text,
            reader,
            counted_to: 0,
            line: 1,
        }
    }

    /// Reads the next record; its line, or `None` at the end.
    pub(super) fn next_into(
        &mut self,
        record: &mut StringRecord,
    ) -> Result<Option<Place>, WeatherError> {
        let start = usize::try_from(self.reader.position().byte()).unwrap_or(usize::MAX);
        let read = self.reader.read_record(record);
        let at = Place {
            file: self.file.to_owned(),
            line: self.line_of_record_at(start),
        };
        match read {
            Ok(true) => Ok(Some(at)),
            Ok(false) => Ok(None),
            Err(error) => Err(WeatherError::Row {
                at,
                found: error.to_string(),
                advice: "write one line of comma-separated values".into(),
            }),
        }
    }

    /// The reader gives where it started to look, which may be before blank and comment lines.
    fn line_of_record_at(&mut self, mut byte: usize) -> u64 {
        let bytes = self.text.as_bytes();
        loop {
            match bytes.get(byte) {
                Some(b'\n' | b'\r') => byte += 1,
                Some(b'#') => {
                    byte += bytes[byte..]
                        .iter()
                        .position(|&b| b == b'\n')
                        .unwrap_or(bytes.len());
                }
                _ => break,
            }
        }
        let byte = byte.min(bytes.len());
        if byte > self.counted_to {
            let passed = bytes[self.counted_to..byte]
                .iter()
                .filter(|&&b| b == b'\n')
                .count();
            self.line += passed as u64;
            self.counted_to = byte;
        }
        self.line
    }
}

/// Refuses a record with another number of cells than there are columns.
pub(super) fn check_length(
    at: &Place,
    record: &StringRecord,
    columns: usize,
) -> Result<(), WeatherError> {
    if record.len() == columns {
        return Ok(());
    }
    Err(WeatherError::Row {
        at: at.clone(),
        found: format!("{} values", record.len()),
        advice: format!("write {columns}, one for each column (leave a missing one blank)"),
    })
}

/// A column of numbers: its name, what is sensible in it, and what to say otherwise.
pub(super) struct NumberColumn {
    pub(super) name: &'static str,
    pub(super) low: f64,
    pub(super) high: f64,
    pub(super) advice: &'static str,
}

impl NumberColumn {
    /// The number in a cell; `None` for a blank one.
    pub(super) fn read(&self, at: &Place, cell: &str) -> Result<Option<f64>, WeatherError> {
        if cell.is_empty() {
            return Ok(None);
        }
        match cell.parse::<f64>() {
            Ok(number) if (self.low..=self.high).contains(&number) => Ok(Some(number)),
            Ok(_) => Err(self.wrong(at, cell.to_owned(), self.range_advice())),
            Err(_) => Err(self.wrong(
                at,
                format!("`{cell}`"),
                format!(
                    "write a plain number with `.` as decimal mark: {}",
                    self.advice
                ),
            )),
        }
    }

    fn range_advice(&self) -> String {
        format!(
            "write a value from {} to {}: {}",
            self.low, self.high, self.advice
        )
    }

    /// An error about this column.
    pub(super) fn wrong(&self, at: &Place, found: String, advice: String) -> WeatherError {
        WeatherError::Value {
            at: at.clone(),
            column: self.name.to_owned(),
            found,
            advice,
        }
    }
}

/// The known name nearest to `name`, if it is near enough to be a slip.
pub(super) fn nearest<'n>(name: &str, known: &[&'n str]) -> Option<&'n str> {
    known
        .iter()
        .map(|&candidate| {
            (
                strsim::normalized_damerau_levenshtein(name, candidate),
                candidate,
            )
        })
        .filter(|(likeness, _)| *likeness >= 0.6)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, candidate)| candidate)
}
