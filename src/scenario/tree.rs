//! A scenario file as a tree in which every key and value knows the text it came from.

use super::diagnostic::Diagnostic;
use super::source::{At, Origin, Source, SourceMap};
use indexmap::IndexMap;
use toml::de::DeValue;

mod load;
mod path;
#[cfg(test)]
mod tests;

#[cfg(test)]
pub use load::load_text;
use load::{Reading, node};
pub(crate) use load::{load, load_embedded};
use path::{Missing, descend, list_item, remove, steps};

/// A value and where it was written.
#[derive(Clone, Debug, PartialEq)]
pub struct Node {
    /// The value.
    pub value: Value,
    /// Its place.
    pub at: At,
}

/// A value, as TOML knows them.
#[derive(Clone, Debug, PartialEq)]
pub enum Value {
    /// A text in quotes.
    Text(String),
    /// A number with a decimal point or power.
    Number(f64),
    /// A whole number.
    Integer(i64),
    /// `true` or `false`.
    Flag(bool),
    /// A date, a time or both, as written.
    DateTime(String),
    /// A list, or an array of tables.
    List(Vec<Node>),
    /// A table.
    Table(Table),
}

impl Value {
    /// The kind of value in words, for messages.
    pub fn kind(&self) -> &'static str {
        match self {
            Self::Text(_) => "a text",
            Self::Number(_) | Self::Integer(_) => "a number",
            Self::Flag(_) => "true or false",
            Self::DateTime(_) => "a date or time",
            Self::List(_) => "a list",
            Self::Table(_) => "a table",
        }
    }
}

/// An entry of a table.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// Where the key was written.
    pub key_at: At,
    /// What stands under it.
    pub node: Node,
}

/// A table in the order of the file.
#[derive(Clone, Debug, PartialEq)]
pub struct Table {
    /// The entries by key.
    pub entries: IndexMap<String, Entry>,
    /// Where it begins: its header, its braces, or the start of the file.
    pub at: At,
}

impl Table {
    /// The value under a key.
    pub fn get(&self, key: &str) -> Option<&Node> {
        self.entries.get(key).map(|entry| &entry.node)
    }

    fn keys(&self) -> impl Iterator<Item = &str> {
        self.entries.keys().map(String::as_str)
    }
}

/// A scenario, merged with everything it is based on.
#[derive(Clone, Debug)]
pub struct Tree {
    /// The top of the tree.
    pub root: Table,
    /// The texts that went into it.
    pub sources: SourceMap,
}

impl Tree {
    /// Overrides one key, as `--set fan.speed=0.8` does. A value that is not TOML is taken as a text, so that
    /// `fan.flow=350 L/s` needs no quotes. `windows[2].area` is the second of a list.
    ///
    /// # Errors
    /// A path that leads nowhere; the nearest one that does is named.
    pub fn set_path(&mut self, path: &str, text: &str) -> Result<(), Diagnostic> {
        let argument = format!("--set {path}={text}");
        let start = argument.len() - text.len();
        let source = Source::new(Origin::Argument, &argument);
        let path_at = At::new(&source, "--set ".len()..start - 1);
        let reading = Reading {
            source: &source,
            shift: start,
        };
        let value_at = At::new(&source, start..argument.len());
        let new = match DeValue::parse(text) {
            Ok(value) => node(value.get_ref(), value_at, &reading)?,
            Err(_) => Node {
                value: Value::Text(text.trim().to_owned()),
                at: value_at,
            },
        };
        let steps = steps(path, &path_at)?;
        let Some((last, above)) = steps.split_last() else {
            return Ok(());
        };
        let holder = descend(&mut self.root, above, &path_at, Missing::Create)?;
        match last.number {
            None => {
                let entry = Entry {
                    key_at: path_at,
                    node: new,
                };
                holder.entries.insert(last.key.clone(), entry);
            }
            Some(number) => {
                *list_item(holder, &last.key, number, &path_at)? = new;
            }
        }
        self.sources.push(source);
        Ok(())
    }

    /// Removes an entry, as `--without outlet.living-b` does.
    ///
    /// # Errors
    /// A path that leads nowhere; the nearest one that does is named.
    pub fn remove_path(&mut self, path: &str) -> Result<(), Diagnostic> {
        let argument = format!("--without {path}");
        let source = Source::new(Origin::Argument, &argument);
        let at = At::new(&source, "--without ".len()..argument.len());
        remove(&mut self.root, path, &at)?;
        self.sources.push(source);
        Ok(())
    }

    /// Every plain value with its path and the place it came from, in order: what was written, and in which file.
    pub fn leaves(&self) -> Vec<(String, &Node)> {
        fn walk<'a>(path: &str, table: &'a Table, out: &mut Vec<(String, &'a Node)>) {
            for (key, entry) in &table.entries {
                let path = if path.is_empty() {
                    key.clone()
                } else {
                    format!("{path}.{key}")
                };
                match &entry.node.value {
                    Value::Table(inner) => walk(&path, inner, out),
                    _ => out.push((path, &entry.node)),
                }
            }
        }
        let mut out = Vec::new();
        walk("", &self.root, &mut out);
        out
    }
}
