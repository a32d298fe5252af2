//! Reading a section of a scenario: each key asked for by name and kind, defaults written down, strays refused.

mod calendar;
mod field;
mod kinds;
#[cfg(test)]
mod tests;

pub use calendar::{show_time_of_day, show_weekdays};
pub use field::{Field, Numbers};

use super::diagnostic::{Diagnostic, nearest};
use super::source::At;
use super::tree::{Node, Table, Tree, Value};
use crate::quantity::{self, Dimension, UnitSystem};
use indexmap::IndexMap;
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

/// What was noted while a scenario was read: the defaults taken, and the keys every section knows.
#[derive(Debug, Default)]
pub struct Ledger {
    defaults: RefCell<Vec<DefaultTaken>>,
    known: RefCell<IndexMap<String, Vec<String>>>,
    open: RefCell<Vec<String>>,
}

impl Ledger {
    /// The defaults taken, in the order of reading.
    pub fn into_entries(self) -> Vec<DefaultTaken> {
        self.defaults.into_inner()
    }

    /// Writes down a default that was not taken through a [`Field`].
    pub fn note(&self, taken: DefaultTaken) {
        self.defaults.borrow_mut().push(taken);
    }

    /// Makes the keys of a section known before it is read, so that a key astray elsewhere can be sent there.
    pub fn register_keys(&self, section: &str, keys: &[&str]) {
        let mut known = self.known.borrow_mut();
        let list = known.entry(section.to_owned()).or_default();
        for key in keys {
            if !list.iter().any(|have| have == key) {
                list.push((*key).to_owned());
            }
        }
    }

    /// Sections that were opened and never finished: their stray keys went unseen. For tests of the code that reads.
    pub fn unfinished(&self) -> Vec<String> {
        self.open.borrow().clone()
    }
}

/// A name as it was written, for joining things by name.
#[derive(Clone, Debug, PartialEq)]
pub struct Name {
    /// The name.
    pub text: String,
    /// Where it stands.
    pub at: At,
}

impl Name {
    /// The name.
    pub fn as_str(&self) -> &str {
        &self.text
    }

    /// The fault of naming a `kind` ("room") that is not among `known`.
    pub fn unknown<'k>(&self, kind: &str, known: impl IntoIterator<Item = &'k str>) -> Diagnostic {
        let known: Vec<_> = known.into_iter().collect();
        let advice = match nearest(&self.text, known.iter().copied()) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None if known.is_empty() => format!("add a table [{kind}.{}]", self.text),
            None => format!("there are: {}", some_of(&known, 16)),
        };
        Diagnostic::at(&self.at, format!("there is no {kind} \"{}\"", self.text)).advise(advice)
    }

    fn read(text: &str, at: &At) -> Result<Self, Diagnostic> {
        let ok = text.starts_with(|c: char| c.is_ascii_alphabetic())
            && text
                .chars()
                .all(|c| c.is_ascii_alphanumeric() || c == '_' || c == '-');
        if ok {
            return Ok(Self {
                text: text.to_owned(),
                at: at.clone(),
            });
        }
        Err(Diagnostic::at(at, format!("\"{text}\" cannot be a name"))
            .advise("start with a letter, then letters, digits, - and _, such as bed-1"))
    }
}

impl std::fmt::Display for Name {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.text)
    }
}

fn some_of(names: &[&str], most: usize) -> String {
    let shown = names
        .iter()
        .take(most)
        .copied()
        .collect::<Vec<_>>()
        .join(", ");
    if names.len() > most {
        format!("{shown}, …")
    } else {
        shown
    }
}

/// A table being read. A section that the file leaves out reads as one without keys.
#[derive(Debug)]
pub struct Section<'a> {
    path: String,
    /// The path with names taken out, under which its keys are known to others.
    kind: String,
    table: Option<&'a Table>,
    at: At,
    ledger: &'a Ledger,
    asked: RefCell<Vec<String>>,
    silent: bool,
}

impl<'a> Section<'a> {
    /// The top of a scenario.
    pub fn root(tree: &'a Tree, ledger: &'a Ledger) -> Self {
        Self::of(
            String::new(),
            String::new(),
            Some(&tree.root),
            tree.root.at.clone(),
            ledger,
        )
    }

    fn of(
        path: String,
        kind: String,
        table: Option<&'a Table>,
        at: At,
        ledger: &'a Ledger,
    ) -> Self {
        ledger.open.borrow_mut().push(path.clone());
        Self {
            path,
            kind,
            table,
            at,
            ledger,
            asked: RefCell::default(),
            silent: false,
        }
    }

    /// Its path, `room.living`; empty at the top.
    pub fn path(&self) -> &str {
        &self.path
    }

    /// Where it begins.
    pub fn at(&self) -> &At {
        &self.at
    }

    /// Whether the file has it at all.
    pub fn is_written(&self) -> bool {
        self.table.is_some()
    }

    /// The value under a key as written, without counting as having asked for it.
    pub fn peek(&self, key: &str) -> Option<&'a Node> {
        self.table.and_then(|table| table.get(key))
    }

    /// Whether the key is written. Does not count as having asked for it.
    pub fn has(&self, key: &str) -> bool {
        self.peek(key).is_some()
    }

    /// Where the value of a key stands; of the section when it is not written.
    pub fn at_of(&self, key: &str) -> At {
        self.peek(key)
            .map_or_else(|| self.at.clone(), |node| node.at.clone())
    }

    /// A fault in the value of a key, for checks across keys.
    pub fn error_at(
        &self,
        key: &str,
        what: impl Into<String>,
        advice: impl Into<String>,
    ) -> Diagnostic {
        Diagnostic::at(&self.at_of(key), what).advise(advice)
    }

    /// A fault in the section as a whole.
    pub fn error(&self, what: impl Into<String>, advice: impl Into<String>) -> Diagnostic {
        Diagnostic::at(&self.at, what).advise(advice)
    }

    /// `[room.living]`, for messages.
    pub fn header(&self) -> String {
        if self.path.is_empty() {
            "the scenario".into()
        } else {
            format!("[{}]", self.path)
        }
    }

    /// Writes a default into the ledger that is more than the value of one key.
    pub fn note(&self, path: &str, shown: &str, source: &str) {
        self.ledger.note(DefaultTaken {
            path: path.to_owned(),
            shown: shown.to_owned(),
            quantity: None,
            source: source.to_owned(),
        });
    }

    fn ask(&self, key: &str) -> Option<&'a Node> {
        let mut asked = self.asked.borrow_mut();
        if !asked.iter().any(|have| have == key) {
            asked.push(key.to_owned());
        }
        self.peek(key)
    }

    fn path_of(&self, key: &str) -> String {
        if self.path.is_empty() {
            key.to_owned()
        } else {
            format!("{}.{key}", self.path)
        }
    }

    fn kind_of(&self, key: &str) -> String {
        if self.kind.is_empty() {
            key.to_owned()
        } else {
            format!("{}.{key}", self.kind)
        }
    }

    /// The table under a key. When it is not written, a section without keys, so that its defaults apply.
    ///
    /// # Errors
    /// The value is not a table.
    pub fn table(&self, key: &str) -> Result<Section<'a>, Diagnostic> {
        let child = |table, at: &At| {
            Section::of(
                self.path_of(key),
                self.kind_of(key),
                table,
                at.clone(),
                self.ledger,
            )
        };
        match self.ask(key) {
            None => Ok(child(None, &self.at)),
            Some(Node {
                value: Value::Table(table),
                at,
            }) => Ok(child(Some(table), at)),
            Some(node) => Err(self
                .not_a(node, key, "a table")
                .advise(format!("write [{}] and its keys below", self.path_of(key)))),
        }
    }

    /// As [`table`](Self::table), for reading again what another reader has already read and finished:
    /// its defaults are in the ledger, so this one's are not written down.
    ///
    /// # Errors
    /// The value is not a table.
    pub fn silent(&self, key: &str) -> Result<Section<'a>, Diagnostic> {
        let mut section = self.table(key)?;
        section.silent = true;
        Ok(section)
    }

    /// As [`table`](Self::table), or `None` when it is not written.
    ///
    /// # Errors
    /// The value is not a table.
    pub fn optional_table(&self, key: &str) -> Result<Option<Section<'a>>, Diagnostic> {
        if self.ask(key).is_none() {
            return Ok(None);
        }
        self.table(key).map(Some)
    }

    /// The named tables under a key, `[room.living]`, `[room.bed-1]`, in the order of the file; none when not written.
    ///
    /// # Errors
    /// Something that is not a table; a name that cannot be one.
    pub fn tables(&self, key: &str) -> Result<Vec<(Name, Section<'a>)>, Diagnostic> {
        let path = self.path_of(key);
        let advice = || format!("give each a name of its own: [{path}.main]");
        let table = match self.ask(key) {
            None => return Ok(Vec::new()),
            Some(Node {
                value: Value::Table(table),
                ..
            }) => table,
            Some(node) => return Err(self.not_a(node, key, "tables with names").advise(advice())),
        };
        let mut sections = Vec::with_capacity(table.entries.len());
        for (name, entry) in &table.entries {
            let name = Name::read(name, &entry.key_at)?;
            let Value::Table(inner) = &entry.node.value else {
                let kind = entry.node.value.kind();
                let what = format!("`{name}` in [{path}] is {kind}, and a table is due");
                return Err(Diagnostic::at(&entry.key_at, what).advise(advice()));
            };
            let section = Section::of(
                format!("{path}.{name}"),
                format!("{}.<name>", self.kind_of(key)),
                Some(inner),
                entry.node.at.clone(),
                self.ledger,
            );
            sections.push((name, section));
        }
        Ok(sections)
    }

    /// The tables of a list, inline or `[[action]]`; none when not written. Their paths count from 1.
    ///
    /// # Errors
    /// The value is not a list, or holds something that is not a table.
    pub fn list(&self, key: &str) -> Result<Vec<Section<'a>>, Diagnostic> {
        let items = match self.ask(key) {
            None => return Ok(Vec::new()),
            Some(Node {
                value: Value::List(items),
                ..
            }) => items,
            Some(node) => {
                return Err(self
                    .not_a(node, key, "a list of tables")
                    .advise(format!("write {key} = [{{ ... }}]")));
            }
        };
        let path = self.path_of(key);
        let child = |(index, item): (usize, &'a Node)| match &item.value {
            Value::Table(table) => Ok(Section::of(
                format!("{path}[{}]", index + 1),
                self.kind_of(key),
                Some(table),
                item.at.clone(),
                self.ledger,
            )),
            other => {
                let what = format!("this is {}, and `{key}` lists tables", other.kind());
                Err(Diagnostic::at(&item.at, what).advise(format!("write {key} = [{{ ... }}]")))
            }
        };
        items.iter().enumerate().map(child).collect()
    }

    fn not_a(&self, node: &Node, key: &str, due: &str) -> Diagnostic {
        let kind = node.value.kind();
        Diagnostic::at(&node.at, format!("`{key}` is {kind}, and {due} is due"))
    }

    /// Points at a key that is nearly one of `keys`, before what it should have said is missed elsewhere.
    ///
    /// # Errors
    /// Such a key, with the nearest.
    pub fn no_slip_of(&self, keys: &[&str]) -> Result<(), Diagnostic> {
        let written = self.table.into_iter().flat_map(|table| &table.entries);
        for (key, entry) in written.filter(|(key, _)| !keys.contains(&key.as_str())) {
            if nearest(key, keys.iter().copied()).is_some() {
                return Err(self.stray(key, &entry.key_at, keys));
            }
        }
        Ok(())
    }

    /// Ends the reading: every key that is written must have been asked for.
    ///
    /// # Errors
    /// A key that was not, with the nearest that was, or the section where it belongs.
    pub fn finish(&self) -> Result<(), Diagnostic> {
        let mut open = self.ledger.open.borrow_mut();
        if let Some(index) = open.iter().rposition(|path| *path == self.path) {
            open.remove(index);
        }
        drop(open);
        let asked = self.asked.borrow();
        let keys: Vec<_> = asked.iter().map(String::as_str).collect();
        self.ledger.register_keys(&self.kind, &keys);
        let Some(table) = self.table else {
            return Ok(());
        };
        match table
            .entries
            .iter()
            .find(|(key, _)| !keys.contains(&key.as_str()))
        {
            None => Ok(()),
            Some((key, entry)) => Err(self.stray(key, &entry.key_at, &keys)),
        }
    }

    fn stray(&self, key: &str, at: &At, keys: &[&str]) -> Diagnostic {
        let diagnostic = Diagnostic::at(at, format!("{} knows no key `{key}`", self.header()));
        if let Some(near) = nearest(key, keys.iter().copied()) {
            return diagnostic.advise(format!("did you mean `{near}`?"));
        }
        let known = self.ledger.known.borrow();
        let elsewhere = known
            .iter()
            .find(|(kind, keys)| **kind != self.kind && keys.iter().any(|have| have == key));
        match elsewhere {
            Some((kind, _)) if kind.is_empty() => {
                diagnostic.advise(format!("`{key}` belongs at the top of the file"))
            }
            Some((kind, _)) => diagnostic.advise(format!("`{key}` belongs in [{kind}]")),
            None if keys.is_empty() => diagnostic.advise("take it out"),
            None => diagnostic.advise(format!("its keys are: {}", some_of(keys, 24))),
        }
    }
}
