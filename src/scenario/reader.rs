//! Reading a section of a scenario. What a key is, stands in the catalogue; a reader asks for it
//! by name and gets its value, its default or its fault. Defaults taken go into a ledger.

mod calendar;
mod parse;
#[cfg(test)]
mod tests;

pub(crate) use parse::{Parsed, parse};

use super::catalogue::{self, Default, Key, Kind, TableSpec, When};
use super::diagnostic::{Diagnostic, nearest};
use super::source::At;
use super::tree::{Node, Table, Tree, Value};
use crate::quantity::{self, Dimension, UnitSystem, significant};
use std::cell::RefCell;

/// A default that was taken because the file says nothing.
#[derive(Clone, Debug, PartialEq)]
pub struct DefaultTaken {
    /// The path of the key, `fan.pressure`.
    pub path: String,
    /// The value in words.
    pub shown: String,
    /// The SI value and its dimension, when it is a quantity.
    pub quantity: Option<(f64, Dimension)>,
    /// Where the default comes from.
    pub source: String,
}

impl DefaultTaken {
    /// The value for people, in the units they want.
    pub fn shown_in(&self, system: UnitSystem) -> String {
        match self.quantity {
            Some((value_si, dimension)) => quantity::display_full(value_si, dimension, system),
            None => self.shown.clone(),
        }
    }
}

impl std::fmt::Display for DefaultTaken {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} = {} ({})", self.path, self.shown, self.source)
    }
}

/// A name as it was written, for joining things by name.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Name {
    /// The name.
    pub text: String,
    /// Where it stands.
    pub at: At,
}

impl Name {
    /// The most characters of a name.
    pub(crate) const MOST: usize = 40;

    /// The name.
    pub(crate) fn as_str(&self) -> &str {
        &self.text
    }

    /// The fault of naming a `kind` ("room") that is not among `known`.
    pub(crate) fn unknown<'k>(
        &self,
        kind: &str,
        known: impl IntoIterator<Item = &'k str>,
    ) -> Diagnostic {
        let known: Vec<_> = known.into_iter().collect();
        let advice = match nearest(&self.text, known.iter().copied()) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None if known.is_empty() => format!("add a table [{kind}.{}]", self.text),
            None => format!("there are: {}", known.join(", ")),
        };
        Diagnostic::at(&self.at, format!("there is no {kind} \"{}\"", self.text)).advise(advice)
    }

    /// Checks a name.
    ///
    /// # Errors
    /// It does not start with a letter, holds anything but letters, digits, `-` and `_`, or is too long.
    pub(crate) fn read(text: &str, at: &At) -> Result<Self, Diagnostic> {
        let ok = text.starts_with(|c: char| c.is_ascii_alphabetic())
            && text.len() <= Self::MOST
            && text
                .chars()
                .all(|c| c.is_ascii_alphanumeric() || c == '_' || c == '-');
        if ok {
            return Ok(Self {
                text: text.to_owned(),
                at: at.clone(),
            });
        }
        let advice = format!(
            "start with a letter, then letters, digits, - and _, such as bed-1; {} at most",
            Self::MOST
        );
        Err(Diagnostic::at(at, format!("\"{text}\" cannot be a name")).advise(advice))
    }
}

impl std::fmt::Display for Name {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.text)
    }
}

/// A number with the text of its unit, split where the number ends: `"0.3 1/h"`, `25`.
pub(crate) fn split_number(text: &str) -> Option<(f64, &str)> {
    let text = text.trim();
    let cut = |n: usize| {
        let number = text.get(..n)?;
        let number: f64 = number.replace('−', "-").trim().parse().ok()?;
        let unit = text.get(n..).unwrap_or("").trim();
        number.is_finite().then_some((number, unit))
    };
    // The longest head that is a number; "1e" of "1 eV" and "inf" are none of ours.
    let end = text
        .find(|c: char| !(c.is_ascii_digit() || "+-−.eE".contains(c)))
        .unwrap_or(text.len());
    (1..=end).rev().find_map(cut)
}

/// What a reading shares: the tree, the ledger of defaults.
#[derive(Debug)]
pub(crate) struct Reading<'a> {
    root: &'a Table,
    defaults: RefCell<Vec<DefaultTaken>>,
    #[cfg(test)]
    pub(super) asked: RefCell<std::collections::BTreeSet<(&'static str, &'static str)>>,
}

impl<'a> Reading<'a> {
    /// Starts to read a tree.
    pub(crate) fn new(tree: &'a Tree) -> Self {
        Self {
            root: &tree.root,
            defaults: RefCell::default(),
            #[cfg(test)]
            asked: RefCell::default(),
        }
    }

    /// The top of the scenario.
    pub(crate) fn top(&'a self) -> Section<'a> {
        Section {
            path: String::new(),
            spec: &catalogue::TABLES[0],
            table: Some(self.root),
            at: self.root.at.clone(),
            reading: self,
        }
    }

    /// The defaults taken, in the order of reading.
    pub(crate) fn into_defaults(self) -> Vec<DefaultTaken> {
        self.defaults.into_inner()
    }
}

/// A type that values of keys turn into.
pub(crate) trait FromParsed: Sized {
    /// The value, when the key's kind is one that gives this type.
    fn from_parsed(parsed: Parsed) -> Option<Self>;
}

macro_rules! from_parsed {
    ($($type:ty: $variant:ident;)*) => {$(
        impl FromParsed for $type {
            fn from_parsed(parsed: Parsed) -> Option<Self> {
                match parsed {
                    Parsed::$variant(value) => Some(value),
                    _ => None,
                }
            }
        }
    )*};
}

from_parsed! {
    f64: Number;
    Vec<f64>: Numbers;
    bool: Flag;
    String: Text;
    Name: Name;
    Vec<Name>: Names;
    u32: Minute;
    u8: Days;
    chrono::NaiveDateTime: Moment;
    [f64; 2]: Size;
}

impl FromParsed for usize {
    fn from_parsed(parsed: Parsed) -> Option<Self> {
        f64::from_parsed(parsed).map(|number| number as usize)
    }
}

/// Whether a condition holds; `None` while a word that it hangs on is missing or faulty.
pub(crate) fn holds(
    when: &When,
    spec: &TableSpec,
    table: Option<&Table>,
    root: &Table,
) -> Option<bool> {
    let written = |name: &str| table.is_some_and(|table| table.get(name).is_some());
    match when {
        When::With(name) => Some(written(name)),
        When::Without(name) => Some(!written(name)),
        When::Is(name, words) => {
            word_of(name, spec, table, root).map(|word| words.contains(&word.as_str()))
        }
    }
}

/// Whether a key applies: all its conditions hold.
fn applies(key: &Key, spec: &TableSpec, table: Option<&Table>, root: &Table) -> Option<bool> {
    let mut all = Some(true);
    for when in key.when {
        match holds(when, spec, table, root) {
            Some(true) => {}
            Some(false) => return Some(false),
            None => all = None,
        }
    }
    all
}

/// The word of a choice, or `true` and `false` of a flag, as written or by default.
pub(crate) fn word_of(
    name: &str,
    spec: &TableSpec,
    table: Option<&Table>,
    root: &Table,
) -> Option<String> {
    if let Some((path, name)) = name.rsplit_once('.') {
        let above = root.get(path).and_then(|node| match &node.value {
            Value::Table(table) => Some(table),
            _ => None,
        });
        return word_of(name, catalogue::find(path)?, above, root);
    }
    match table.and_then(|table| table.get(name)).map(|n| &n.value) {
        Some(Value::Text(word)) => Some(word.clone()),
        Some(Value::Flag(flag)) => Some(flag.to_string()),
        Some(_) => None,
        None => match spec.named(name).next()?.default {
            Default::Word(word, _) => Some(word.into()),
            Default::Flag(flag, _) => Some(flag.to_string()),
            Default::As(path) => word_of(path, spec, table, root),
            _ => None,
        },
    }
}

/// The entry of a name that applies; else one that may, else the first.
pub(crate) fn entry_of(
    name: &str,
    spec: &TableSpec,
    table: Option<&Table>,
    root: &Table,
) -> Option<(&'static Key, Option<bool>)> {
    let known = spec
        .named(name)
        .map(|key| (key, applies(key, spec, table, root)));
    let order = |holds: Option<bool>| match holds {
        Some(true) => 0,
        None => 1,
        Some(false) => 2,
    };
    known.min_by_key(|(_, holds)| order(*holds))
}

/// A table being read. One that the file leaves out reads as one without keys.
#[derive(Clone, Debug)]
pub(crate) struct Section<'a> {
    path: String,
    spec: &'static TableSpec,
    table: Option<&'a Table>,
    at: At,
    reading: &'a Reading<'a>,
}

impl<'a> Section<'a> {
    /// Its path, `room.living`; empty at the top.
    pub(crate) fn path(&self) -> &str {
        &self.path
    }

    /// Where it begins.
    pub(crate) fn at(&self) -> &At {
        &self.at
    }

    /// The value under a key as written.
    pub(crate) fn peek(&self, key: &str) -> Option<&'a Node> {
        self.table.and_then(|table| table.get(key))
    }

    /// Whether the key is written.
    pub(crate) fn has(&self, key: &str) -> bool {
        self.peek(key).is_some()
    }

    /// Where the value of a key stands; of the section when it is not written.
    pub(crate) fn at_of(&self, key: &str) -> At {
        self.peek(key)
            .map_or_else(|| self.at.clone(), |node| node.at.clone())
    }

    /// A fault in the value of a key, for checks across keys.
    pub(crate) fn error_at(
        &self,
        key: &str,
        what: impl Into<String>,
        advice: impl Into<String>,
    ) -> Diagnostic {
        Diagnostic::at(&self.at_of(key), what).advise(advice)
    }

    /// A fault in the section as a whole.
    pub(crate) fn error(&self, what: impl Into<String>, advice: impl Into<String>) -> Diagnostic {
        Diagnostic::at(&self.at, what).advise(advice)
    }

    /// `[room.living]`, for messages.
    pub(crate) fn header(&self) -> String {
        if self.path.is_empty() {
            "the scenario".into()
        } else {
            format!("[{}]", self.path)
        }
    }

    /// Writes a default into the ledger that is more than the value of one key. Each path is told once.
    pub(crate) fn note(&self, path: String, shown: String, source: &str) {
        self.note_taken(DefaultTaken {
            path,
            shown,
            quantity: None,
            source: source.to_owned(),
        });
    }

    fn note_taken(&self, taken: DefaultTaken) {
        let mut defaults = self.reading.defaults.borrow_mut();
        if !defaults.iter().any(|have| have.path == taken.path) {
            defaults.push(taken);
        }
    }

    fn path_of(&self, key: &str) -> String {
        if self.path.is_empty() {
            key.to_owned()
        } else {
            format!("{}.{key}", self.path)
        }
    }

    /// The declaration of a key, and whether it applies.
    fn key(&self, name: &str) -> Result<(&'static Key, Option<bool>), Diagnostic> {
        let found = entry_of(name, self.spec, self.table, self.reading.root);
        #[cfg(test)]
        if let Some((key, _)) = found {
            let asked = (self.spec.path, key.name);
            self.reading.asked.borrow_mut().insert(asked);
        }
        found.ok_or_else(|| {
            let what = format!("the catalogue of keys lacks `{}`", self.path_of(name));
            Diagnostic::plain(what).advise("report this: it is a fault of the program")
        })
    }

    /// The value of a key as written, if it is.
    ///
    /// # Errors
    /// What is written is faulty.
    pub(crate) fn opt<T: FromParsed>(&self, name: &str) -> Result<Option<T>, Diagnostic> {
        let (key, _) = self.key(name)?;
        let Some(node) = self.peek(name) else {
            return Ok(None);
        };
        let parsed = parse(key, node).map_err(Diagnostic::of_catalogue)?;
        match T::from_parsed(parsed) {
            Some(value) => Ok(Some(value)),
            None => Err(Diagnostic::plain(format!(
                "`{}` is read as another kind than the catalogue of keys has",
                self.path_of(name)
            ))),
        }
    }

    /// The value of a key: as written, or its default, which goes into the ledger.
    ///
    /// # Errors
    /// What is written is faulty; or nothing is written and it must be.
    pub(crate) fn get<T: FromParsed>(&self, name: &str) -> Result<T, Diagnostic> {
        if let Some(value) = self.opt(name)? {
            return Ok(value);
        }
        let (key, holds) = self.key(name)?;
        let (parsed, shown, quantity) = match (key.default, key.kind) {
            (Default::Number(value, _), Kind::Quantity(dimension)) => {
                let shown = quantity::display_full(value, dimension, UnitSystem::Si);
                (Parsed::Number(value), shown, Some((value, dimension)))
            }
            (Default::Number(value, _), _) => (Parsed::Number(value), significant(value, 6), None),
            (Default::Flag(flag, _), _) => (Parsed::Flag(flag), flag.to_string(), None),
            (Default::Word(word, _), _) => (Parsed::Text(word.into()), word.into(), None),
            _ => return Err(missing(&self.header(), &self.at, self.table, key).of_catalogue()),
        };
        if holds != Some(false) {
            self.note_taken(DefaultTaken {
                path: self.path_of(name),
                shown,
                quantity,
                source: key.source().into(),
            });
        }
        T::from_parsed(parsed).ok_or_else(|| {
            Diagnostic::plain(format!(
                "`{}` has a default of another kind",
                self.path_of(name)
            ))
        })
    }

    /// A number as written, or one worked out from other keys, which goes into the ledger with the source
    /// that the catalogue gives.
    ///
    /// # Errors
    /// What is written is faulty.
    pub(crate) fn or(&self, name: &str, derived: f64) -> Result<f64, Diagnostic> {
        if let Some(value) = self.opt(name)? {
            return Ok(value);
        }
        let (key, holds) = self.key(name)?;
        let (shown, quantity) = match key.kind {
            Kind::Quantity(dimension) => (
                quantity::display_full(derived, dimension, UnitSystem::Si),
                Some((derived, dimension)),
            ),
            _ => (significant(derived, 6), None),
        };
        if holds != Some(false) {
            self.note_taken(DefaultTaken {
                path: self.path_of(name),
                shown,
                quantity,
                source: key.source().into(),
            });
        }
        Ok(derived)
    }

    /// The source of the default of a key.
    ///
    /// # Errors
    /// The catalogue lacks the key.
    pub(crate) fn source(&self, name: &str) -> Result<&'static str, Diagnostic> {
        self.key(name).map(|(key, _)| key.source())
    }

    /// Tells a default that is no number, with the source that the catalogue gives.
    ///
    /// # Errors
    /// The catalogue lacks the key.
    pub(crate) fn taken(&self, name: &str, shown: impl Into<String>) -> Result<(), Diagnostic> {
        let (key, _) = self.key(name)?;
        self.note(self.path_of(name), shown.into(), key.source());
        Ok(())
    }

    /// What the word of a choice stands for, as written, if it is.
    ///
    /// # Errors
    /// What is written is faulty.
    pub(crate) fn choice_opt<T: Clone>(
        &self,
        name: &str,
        pairs: &[(&str, T)],
    ) -> Result<Option<T>, Diagnostic> {
        let word: Option<String> = self.opt(name)?;
        word.map(|word| self.stands_for(name, &word, pairs))
            .transpose()
    }

    /// What the word of a choice stands for, as written or by default.
    ///
    /// # Errors
    /// What is written is faulty; or nothing is written and it must be.
    pub(crate) fn choice<T: Clone>(
        &self,
        name: &str,
        pairs: &[(&str, T)],
    ) -> Result<T, Diagnostic> {
        let word: String = self.get(name)?;
        self.stands_for(name, &word, pairs)
    }

    fn stands_for<T: Clone>(
        &self,
        name: &str,
        word: &str,
        pairs: &[(&str, T)],
    ) -> Result<T, Diagnostic> {
        let found = pairs.iter().find(|(known, _)| *known == word);
        found.map(|(_, value)| value.clone()).ok_or_else(|| {
            let path = self.path_of(name);
            Diagnostic::plain(format!("`{path}` has no meaning for \"{word}\""))
        })
    }

    fn below(&self, path: String, pattern: &str, table: Option<&'a Table>, at: At) -> Section<'a> {
        // A table that the catalogue lacks has no keys; phase one has told of it.
        static NONE: TableSpec = TableSpec {
            path: "?",
            about: "",
            keys: &[],
            count: (0, 0),
        };
        Section {
            path,
            spec: catalogue::find(pattern).unwrap_or(&NONE),
            table,
            at,
            reading: self.reading,
        }
    }

    fn pattern(&self, key: &str, end: &str) -> String {
        if self.spec.path.is_empty() {
            format!("{key}{end}")
        } else {
            format!("{}.{key}{end}", self.spec.path)
        }
    }

    /// The table under a key. When it is not written, a section without keys, so that its defaults apply.
    pub(crate) fn table(&self, key: &str) -> Section<'a> {
        let (table, at) = match self.peek(key) {
            Some(Node {
                value: Value::Table(table),
                at,
            }) => (Some(table), at.clone()),
            _ => (None, self.at.clone()),
        };
        self.below(self.path_of(key), &self.pattern(key, ""), table, at)
    }

    /// A table with a name that the file leaves out, so that its defaults apply.
    pub(crate) fn absent(&self, key: &str, name: &str) -> Section<'a> {
        let path = format!("{}.{name}", self.path_of(key));
        self.below(path, &self.pattern(key, ".<name>"), None, self.at.clone())
    }

    /// The named tables under a key, `[room.living]`, `[room.bed-1]`, in the order of the file.
    pub(crate) fn tables(&self, key: &str) -> Vec<(Name, Section<'a>)> {
        let Some(Value::Table(table)) = self.peek(key).map(|node| &node.value) else {
            return Vec::new();
        };
        let end = if key == "uncertainty" {
            ".<key>"
        } else {
            ".<name>"
        };
        let entries = table.entries.iter().filter_map(|(name, entry)| {
            let Value::Table(inner) = &entry.node.value else {
                return None;
            };
            let path = format!("{}.{name}", self.path_of(key));
            let at = entry.node.at.clone();
            let section = self.below(path, &self.pattern(key, end), Some(inner), at);
            let name = Name {
                text: name.clone(),
                at: entry.key_at.clone(),
            };
            Some((name, section))
        });
        entries.collect()
    }

    /// The tables of a list, inline or `[[action]]`; none when not written. Their paths count from 1.
    pub(crate) fn list(&self, key: &str) -> Vec<Section<'a>> {
        let Some(Value::List(items)) = self.peek(key).map(|node| &node.value) else {
            return Vec::new();
        };
        let pattern = self.pattern(key, "[]");
        let path = self.path_of(key);
        let tables = items.iter().enumerate().filter_map(|(index, item)| {
            let Value::Table(table) = &item.value else {
                return None;
            };
            let path = format!("{path}[{}]", index + 1);
            Some(self.below(path, &pattern, Some(table), item.at.clone()))
        });
        tables.collect()
    }
}

/// The fault of a key that is not written and must be.
pub(crate) fn missing(header: &str, at: &At, table: Option<&Table>, key: &Key) -> Diagnostic {
    let what = match table {
        Some(_) => format!("{header} needs `{}`", key.name),
        None => format!("the scenario needs {header} with `{}`", key.name),
    };
    Diagnostic::at(at, what).advise(key.hint())
}
