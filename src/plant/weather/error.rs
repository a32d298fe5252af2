//! What can be wrong with a weather file or a weather setting, with the line and the remedy.

use chrono::NaiveDateTime;
use std::fmt;

/// A line of a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Place {
    /// The file as it was named.
    pub file: String,
    /// Line number, from 1.
    pub line: u64,
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}", self.file, self.line)
    }
}

/// Why weather cannot be used. Every variant about a file's content says where, what was found,
/// and what would be right.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum WeatherError {
    /// The file cannot be opened or is not text.
    #[error("{file}: cannot be read ({source}); check the path, and that the file is UTF-8 text")]
    Unreadable {
        /// The file as it was named.
        file: String,
        /// What the system said.
        source: std::io::Error,
    },
    /// A `# key: value` line, or the first line of a typical-year file, is missing or wrong.
    #[error("{at}: found {found}; {advice}")]
    Header {
        /// Where.
        at: Place,
        /// What is there.
        found: String,
        /// What would be right.
        advice: String,
    },
    /// A column is unknown, missing, or given twice.
    #[error("{at}: found {found}; {advice}")]
    Column {
        /// Where: the line of column names.
        at: Place,
        /// What is there.
        found: String,
        /// What would be right.
        advice: String,
    },
    /// A line has the wrong shape: too few or too many values, or bytes that are not text.
    #[error("{at}: found {found}; {advice}")]
    Row {
        /// Where.
        at: Place,
        /// What is there.
        found: String,
        /// What would be right.
        advice: String,
    },
    /// A value is not a number, out of range, or blank where it may not be.
    #[error("{at}: column `{column}`: found {found}; {advice}")]
    Value {
        /// Where.
        at: Place,
        /// The column's name.
        column: String,
        /// What is there.
        found: String,
        /// What would be right.
        advice: String,
    },
    /// A time stamp cannot be read, does not increase, or leaves a gap.
    #[error("{at}: found {found}; {advice}")]
    Time {
        /// Where.
        at: Place,
        /// What is there.
        found: String,
        /// What would be right.
        advice: String,
    },
    /// The irradiance columns contradict each other, or the sun's position.
    #[error("{at}: found {found}; {advice}")]
    Irradiance {
        /// Where.
        at: Place,
        /// What is there.
        found: String,
        /// What would be right.
        advice: String,
    },
    /// The weather does not cover the time to be simulated.
    #[error(
        "{file}:{line}: the weather reaches from {first} to {last} local time, but the run needs \
         {from} to {to}; move the run inside it, or supply a longer file"
    )]
    OutsideSpan {
        /// The file as it was named.
        file: String,
        /// The line of the end that falls short.
        line: u64,
        /// First moment covered, local.
        first: NaiveDateTime,
        /// Last moment covered, local.
        last: NaiveDateTime,
        /// First moment needed, local.
        from: NaiveDateTime,
        /// Last moment needed, local.
        to: NaiveDateTime,
    },
    /// A site or design-day setting is out of range.
    #[error("{what}: found {found}; {advice}")]
    Setting {
        /// Which setting.
        what: &'static str,
        /// Its value.
        found: f64,
        /// What would be right.
        advice: String,
    },
}

impl WeatherError {
    /// The line of the file that is at fault, where there is one.
    #[must_use]
    pub fn line(&self) -> Option<u64> {
        match self {
            Self::Header { at, .. }
            | Self::Column { at, .. }
            | Self::Row { at, .. }
            | Self::Value { at, .. }
            | Self::Time { at, .. }
            | Self::Irradiance { at, .. } => Some(at.line),
            Self::OutsideSpan { line, .. } => Some(*line),
            Self::Unreadable { .. } | Self::Setting { .. } => None,
        }
    }
}

/// Refuses a setting outside `low..=high` or not finite.
pub(super) fn check_setting(
    what: &'static str,
    found: f64,
    low: f64,
    high: f64,
    unit: &str,
) -> Result<(), WeatherError> {
    if (low..=high).contains(&found) {
        return Ok(());
    }
    let advice = format!("give a value from {low} to {high} {unit}");
    Err(WeatherError::Setting {
        what,
        found,
        advice,
    })
}
