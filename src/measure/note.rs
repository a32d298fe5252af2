//! Words about a measure whose numbers keep their dimensions, so that they read in any units.

use std::fmt;

use crate::quantity::{Dimension, UnitSystem};

/// Words and values in turn. `Display` writes it in SI, as files have it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Note(Vec<Piece>);

#[derive(Clone, Debug, PartialEq)]
enum Piece {
    Words(String),
    Value(f64, Dimension),
    Signed(f64, Dimension),
}

impl Note {
    /// Adds words.
    pub fn words(mut self, words: impl Into<String>) -> Note {
        let words = words.into();
        if !words.is_empty() {
            self.0.push(Piece::Words(words));
        }
        self
    }

    /// Adds an SI value.
    pub fn value(mut self, value_si: f64, dimension: Dimension) -> Note {
        self.0.push(Piece::Value(value_si, dimension));
        self
    }

    /// Adds a difference with its sign.
    pub fn signed(mut self, size_si: f64, dimension: Dimension) -> Note {
        self.0.push(Piece::Signed(size_si, dimension));
        self
    }

    /// Adds another note.
    pub fn then(mut self, mut next: Note) -> Note {
        self.0.append(&mut next.0);
        self
    }

    /// Whether it says nothing.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// The note in the units of a person.
    pub fn text(&self, units: UnitSystem) -> String {
        let pieces = self.0.iter().map(|piece| match piece {
            Piece::Words(words) => words.clone(),
            Piece::Value(value, dimension) => units.show(*value, *dimension),
            Piece::Signed(size, dimension) => units.show_signed(*size, *dimension),
        });
        pieces.collect()
    }
}

impl fmt::Display for Note {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text(UnitSystem::Si))
    }
}

impl<T: Into<String>> From<T> for Note {
    fn from(words: T) -> Note {
        Note::default().words(words)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 1 K is 1.8 °F.
    #[test]
    fn values_follow_the_units() {
        let kelvins = Dimension::TemperatureDifference;
        let note = Note::from("mean ").value(1.9, kelvins);
        let note = note.words(", furthest ").signed(-2.0, kelvins);
        assert_eq!(note.to_string(), "mean 1.9 K, furthest −2 K");
        let ip = note.text(UnitSystem::Ip);
        assert_eq!(ip, "mean 3.4 °F, furthest −3.6 °F");
    }
}
