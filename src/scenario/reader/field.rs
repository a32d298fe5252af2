//! One key of a section: its kind, its bounds, and what happens when it is not written.

use super::{DefaultTaken, Section};
use crate::quantity::{Dimension, Unit, in_unit, significant};
use crate::scenario::diagnostic::{Diagnostic, nearest};
use crate::scenario::source::At;

/// How a value is written down in the ledger.
pub(super) type Show<'s, T> = Box<dyn Fn(&T) -> (String, Option<(f64, Dimension)>) + 's>;

/// A key that has been asked for. End with [`required`](Self::required), [`optional`](Self::optional) or [`or`](Self::or);
/// faults found on the way come out there.
#[must_use = "end with required, optional or or"]
pub struct Field<'s, T> {
    pub(super) section: &'s Section<'s>,
    pub(super) key: String,
    pub(super) found: Result<Option<T>, Diagnostic>,
    /// Places and units of the numbers found, for messages about bounds.
    pub(super) written: Vec<(At, Option<&'static Unit>)>,
    pub(super) hint: String,
    pub(super) show: Show<'s, T>,
}

impl<T> Field<'_, T> {
    /// The value, which must be written.
    ///
    /// # Errors
    /// It is faulty or not written; when a key much like it is, that one is pointed at.
    pub fn required(self) -> Result<T, Diagnostic> {
        let (section, key) = (self.section, &self.key);
        self.found?.ok_or_else(|| {
            let asked = section.asked.borrow();
            let spare = section.table.into_iter().flat_map(|table| &table.entries);
            let spare = spare.filter(|(have, _)| !asked.contains(have));
            let spare: Vec<_> = spare.collect();
            match nearest(key, spare.iter().map(|(have, _)| have.as_str())) {
                Some(near) => {
                    let at = spare
                        .iter()
                        .find(|(have, _)| *have == near)
                        .map(|(_, e)| &e.key_at);
                    // The other key may yet be asked for in its own right: not called a stray here.
                    let what = format!("{} needs `{key}`, and has `{near}`", section.header());
                    let hint = self.hint;
                    let advice = format!("if `{near}` is meant as `{key}`, rename it; else {hint}");
                    Diagnostic::at(at.unwrap_or(&section.at), what).advise(advice)
                }
                None if !section.is_written() => {
                    let what = format!("the scenario needs {} with `{key}`", section.header());
                    Diagnostic::at(&section.at, what).advise(self.hint)
                }
                None => section.error(format!("{} needs `{key}`", section.header()), self.hint),
            }
        })
    }

    /// The value, if it is written.
    ///
    /// # Errors
    /// It is faulty.
    pub fn optional(self) -> Result<Option<T>, Diagnostic> {
        self.found
    }

    /// The value, or a default, which goes into the ledger with the source it rests on.
    ///
    /// # Errors
    /// What is written is faulty.
    pub fn or(self, default: T, source: impl Into<String>) -> Result<T, Diagnostic> {
        if let Some(value) = self.found? {
            return Ok(value);
        }
        if self.section.silent {
            return Ok(default);
        }
        let (shown, quantity) = (self.show)(&default);
        self.section.ledger.note(DefaultTaken {
            path: self.section.path_of(&self.key),
            shown,
            quantity,
            source: source.into(),
        });
        Ok(default)
    }

    /// Checks the value by a rule of your own, which answers with what is wrong and what to write.
    pub fn check(mut self, rule: impl FnOnce(&T) -> Option<(String, String)>) -> Self {
        if let Ok(Some(value)) = &self.found
            && let Some((what, advice)) = rule(value)
        {
            self.found = Err(self.section.error_at(&self.key, what, advice));
        }
        self
    }
}

/// A value made of numbers that can be held to bounds.
pub trait Numbers {
    /// The numbers, in the order written.
    fn numbers(&self) -> Vec<f64>;
}

impl Numbers for f64 {
    fn numbers(&self) -> Vec<f64> {
        vec![*self]
    }
}

impl Numbers for i64 {
    // Bounds are small; a whole number beyond 2^53 is outside them either way.
    fn numbers(&self) -> Vec<f64> {
        vec![*self as f64]
    }
}

impl Numbers for Vec<f64> {
    fn numbers(&self) -> Vec<f64> {
        self.clone()
    }
}

impl<T: Numbers> Field<'_, T> {
    /// Holds the number (each number of a list) to `least..=most`, SI.
    pub fn within(self, least: f64, most: f64) -> Self {
        self.bound(
            |v| (v >= least) & (v <= most),
            |shown| format!("write a value from {} to {}", shown(least), shown(most)),
        )
    }

    /// Holds it to at least `least`, SI.
    pub fn at_least(self, least: f64) -> Self {
        self.bound(
            |v| v >= least,
            |shown| format!("write at least {}", shown(least)),
        )
    }

    /// Holds it to at most `most`, SI.
    pub fn at_most(self, most: f64) -> Self {
        self.bound(
            |v| v <= most,
            |shown| format!("write at most {}", shown(most)),
        )
    }

    /// Holds it above `limit`, SI; the limit itself is refused.
    pub fn above(self, limit: f64) -> Self {
        self.bound(
            |v| v > limit,
            |shown| format!("write more than {}", shown(limit)),
        )
    }

    fn bound(
        mut self,
        holds: impl Fn(f64) -> bool,
        advise: impl FnOnce(&dyn Fn(f64) -> String) -> String,
    ) -> Self {
        let Ok(Some(value)) = &self.found else {
            return self;
        };
        let numbers = value.numbers();
        let Some((index, bad)) = numbers.into_iter().enumerate().find(|(_, v)| !holds(*v)) else {
            return self;
        };
        let (at, unit) = match self.written.get(index) {
            Some((at, unit)) => (at.clone(), *unit),
            None => (self.section.at_of(&self.key), None),
        };
        let shown = |value: f64| match unit {
            Some(unit) => in_unit(value, unit, 6),
            None => significant(value, 6),
        };
        let mut advice = advise(&shown);
        if unit.is_some_and(|unit| unit.symbol.is_empty()) && bad > 1.0 && bad <= 100.0 {
            let percent = significant(bad, 6);
            advice = format!("{advice}; {percent} per cent is \"{percent} %\"");
        }
        let what = format!("`{}` is {}, which is out of bounds", self.key, shown(bad));
        self.found = Err(Diagnostic::at(&at, what).advise(advice));
        self
    }
}
