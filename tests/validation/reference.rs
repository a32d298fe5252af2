//! Reference data, embedded as they stand in `tests/reference/`.

use serde_json::Value;
use thiserror::Error;

/// Why evidence could not be computed.
#[derive(Debug, Error)]
pub enum ReferenceError {
    /// A reference file is not what it should be.
    #[error("the reference data hold no usable {0}")]
    Missing(String),
    /// A part of the program refused a reference case.
    #[error("{what}: {why}")]
    Refused {
        /// What was tried.
        what: String,
        /// What it answered.
        why: String,
    },
}

/// Turns any refusal into an [`ReferenceError`] that says what was tried.
pub(super) fn refused<E: std::fmt::Display>(what: &str) -> impl FnOnce(E) -> ReferenceError {
    let what = what.to_string();
    move |e| ReferenceError::Refused {
        what,
        why: e.to_string(),
    }
}

/// Parses an embedded file.
pub(super) fn parse(name: &str, text: &str) -> Result<Value, ReferenceError> {
    serde_json::from_str(text).map_err(refused(name))
}

/// A number by JSON pointer.
pub(super) fn number(v: &Value, pointer: &str) -> Result<f64, ReferenceError> {
    v.pointer(pointer)
        .and_then(Value::as_f64)
        .ok_or_else(|| ReferenceError::Missing(pointer.to_string()))
}

/// A list by JSON pointer.
pub(super) fn list<'a>(v: &'a Value, pointer: &str) -> Result<&'a [Value], ReferenceError> {
    v.pointer(pointer)
        .and_then(Value::as_array)
        .map(Vec::as_slice)
        .ok_or_else(|| ReferenceError::Missing(pointer.to_string()))
}

/// A list of numbers by JSON pointer; a `null` is NaN.
pub(super) fn numbers(v: &Value, pointer: &str) -> Result<Vec<f64>, ReferenceError> {
    Ok(list(v, pointer)?
        .iter()
        .map(|x| x.as_f64().unwrap_or(f64::NAN))
        .collect())
}

/// A text by JSON pointer.
pub(super) fn text<'a>(v: &'a Value, pointer: &str) -> Result<&'a str, ReferenceError> {
    v.pointer(pointer)
        .and_then(Value::as_str)
        .ok_or_else(|| ReferenceError::Missing(pointer.to_string()))
}

/// A table whose columns are named in a list beside it.
pub(super) struct Table<'a> {
    names: Vec<&'a str>,
    rows: &'a [Value],
}

impl<'a> Table<'a> {
    /// The table at `rows`, its column names at `columns`.
    pub(super) fn new(
        v: &'a Value,
        rows: &str,
        columns: &str,
    ) -> Result<Table<'a>, ReferenceError> {
        Ok(Table {
            names: list(v, columns)?.iter().filter_map(Value::as_str).collect(),
            rows: list(v, rows)?,
        })
    }

    /// Number of rows.
    pub(super) fn len(&self) -> usize {
        self.rows.len()
    }

    /// Values of one column, unchecked for type.
    pub(super) fn values(&self, name: &str) -> Result<Vec<&'a Value>, ReferenceError> {
        let missing = || ReferenceError::Missing(format!("column {name}"));
        let i = self
            .names
            .iter()
            .position(|n| *n == name)
            .ok_or_else(missing)?;
        self.rows
            .iter()
            .map(|row| row.get(i).ok_or_else(missing))
            .collect()
    }

    /// One column; a `null` is NaN.
    pub(super) fn column(&self, name: &str) -> Result<Vec<f64>, ReferenceError> {
        let values = self.values(name)?;
        Ok(values
            .into_iter()
            .map(|v| v.as_f64().unwrap_or(f64::NAN))
            .collect())
    }
}
