//! A scenario with the tree it was read from, and changes to it as a person would write them.

use std::path::{Path, PathBuf};

use crate::scenario::Scenario;
use crate::scenario::diagnostic::Diagnostic;
use crate::scenario::shelf::SHELF;
use crate::scenario::tree::{self, Tree, Value};

/// A scenario and where it came from.
#[derive(Clone, Debug)]
pub struct Case {
    /// The checked scenario.
    pub scenario: Scenario,
    /// What was written, bases merged in.
    pub tree: Tree,
    /// Where files that it names are looked for.
    pub folder: PathBuf,
    /// How a what-if would name it in `based_on`.
    pub file: String,
}

/// One change to a tree.
#[derive(Clone, Debug, PartialEq)]
pub enum Edit {
    /// Sets a key; the value is TOML, such as `"250 mm"` with its quotes.
    Set(String, String),
    /// Takes a key or table out, if it is there.
    Without(String),
}

impl Edit {
    /// Sets a key to a text.
    pub fn text(key: impl Into<String>, value: impl AsRef<str>) -> Edit {
        Edit::Set(key.into(), format!("\"{}\"", value.as_ref()))
    }

    /// Sets a key to a TOML value written out.
    pub fn set(key: impl Into<String>, value: impl Into<String>) -> Edit {
        Edit::Set(key.into(), value.into())
    }
}

impl Case {
    /// Reads a file with those it is based on, then changes keys as `--set` does.
    ///
    /// # Errors
    /// As [`Scenario::load`]; also a change that names no key.
    pub fn load(path: &Path, set: &[String]) -> Result<Case, Diagnostic> {
        let tree = load_tree(path, set)?;
        let (name, folder) = name_and_folder(path);
        let file = path
            .file_name()
            .map_or(name.clone(), |n| n.to_string_lossy().into_owned());
        Case::from_tree(tree, &name, file, folder)
    }

    /// A scenario built into the program, by its name without ending.
    ///
    /// # Errors
    /// As [`Scenario::embedded`].
    pub fn embedded(name: &str) -> Result<Case, Diagnostic> {
        let file = format!("{name}.toml");
        let tree = tree::load_embedded(&file, SHELF)?;
        Case::from_tree(tree, name, file, PathBuf::new())
    }

    /// A text that is based on nothing or on a scenario built into the program.
    ///
    /// # Errors
    /// As [`Scenario::from_text`].
    pub fn from_text(name: &str, text: &str) -> Result<Case, Diagnostic> {
        let file = format!("{name}.toml");
        let mut all: Vec<(&str, &str)> = vec![(&file, text)];
        all.extend(SHELF.iter().filter(|(n, _)| *n != file));
        let tree = tree::load_embedded(&file, &all)?;
        Case::from_tree(tree, name, file, PathBuf::new())
    }

    fn from_tree(
        tree: Tree,
        name: &str,
        file: String,
        folder: PathBuf,
    ) -> Result<Case, Diagnostic> {
        Ok(Case {
            scenario: Scenario::from_tree(&tree, name, &folder)?,
            tree,
            folder,
            file,
        })
    }

    /// The same scenario with changes, under another name.
    ///
    /// # Errors
    /// A change that leads nowhere, or a scenario that cannot be.
    pub fn with(&self, name: &str, edits: &[Edit]) -> Result<Case, Diagnostic> {
        let mut tree = self.tree.clone();
        for edit in edits {
            match edit {
                Edit::Set(key, value) => tree.set_path(key, value)?,
                Edit::Without(key) if has(&tree, key) => tree.remove_path(key)?,
                Edit::Without(_) => {}
            }
        }
        Case::from_tree(tree, name, self.file.clone(), self.folder.clone())
    }

    /// What a person would write into a file of its own to have these changes.
    pub fn what_if(&self, edits: &[Edit]) -> String {
        let mut out = format!("based_on = \"{}\"\n", self.file);
        let without: Vec<String> = edits
            .iter()
            .filter_map(|e| match e {
                Edit::Without(key) if has(&self.tree, key) => Some(format!("\"{key}\"")),
                _ => None,
            })
            .collect();
        if !without.is_empty() {
            out += &format!("without = [{}]\n", without.join(", "));
        }
        let mut tables: Vec<(&str, Vec<(&str, &str)>)> = Vec::new();
        for edit in edits {
            let Edit::Set(path, value) = edit else {
                continue;
            };
            let (table, key) = path.rsplit_once('.').unwrap_or(("", path));
            let lines = match tables.iter().position(|(t, _)| *t == table) {
                Some(i) => &mut tables[i].1,
                None => {
                    tables.push((table, Vec::new()));
                    let last = tables.len() - 1;
                    &mut tables[last].1
                }
            };
            // A key may occur once; the last change of it counts.
            match lines.iter_mut().find(|(k, _)| *k == key) {
                Some(line) => line.1 = value,
                None => lines.push((key, value)),
            }
        }
        for (table, lines) in tables {
            let lines: String = lines.iter().map(|(k, v)| format!("{k} = {v}\n")).collect();
            if table.is_empty() {
                out += &lines;
            } else {
                out += &format!("\n[{table}]\n{lines}");
            }
        }
        out
    }

    /// The text of a value as it was written, without the quotes of a text; `None` when nothing was.
    pub fn written(&self, key: &str) -> Option<String> {
        self.tree
            .leaves()
            .into_iter()
            .find(|(path, _)| path == key)
            .map(|(_, node)| shown(&node.value))
    }
}

/// The tree of a file with those it is based on, with keys changed as `--set` does.
///
/// # Errors
/// A file that cannot be read, a change that names no key.
pub(crate) fn load_tree(path: &Path, set: &[String]) -> Result<Tree, Diagnostic> {
    let mut tree = tree::load(path)?;
    for change in set {
        let Some((key, value)) = change.split_once('=') else {
            return Err(Diagnostic::plain(format!("--set \"{change}\" has no `=`"))
                .advise("write --set \"run.duration=6 h\""));
        };
        tree.set_path(key.trim(), value.trim())?;
    }
    Ok(tree)
}

/// The name of a scenario file without its ending, and its folder.
pub(crate) fn name_and_folder(path: &Path) -> (String, PathBuf) {
    let name = path
        .file_stem()
        .map_or("scenario".into(), |n| n.to_string_lossy().into_owned());
    (name, path.parent().unwrap_or(Path::new("")).to_path_buf())
}

/// Whether a tree has a key or table.
pub(crate) fn has(tree: &Tree, key: &str) -> bool {
    let mut here = &tree.root;
    let mut steps = key.split('.').peekable();
    while let Some(step) = steps.next() {
        let Some(node) = here.get(step) else {
            return false;
        };
        match (&node.value, steps.peek()) {
            (_, None) => return true,
            (Value::Table(inner), Some(_)) => here = inner,
            _ => return false,
        }
    }
    false
}

/// A value in one line, the same whenever it means the same.
pub(crate) fn shown(value: &Value) -> String {
    match value {
        Value::Text(text) | Value::DateTime(text) => text.clone(),
        Value::Number(n) => n.to_string(),
        Value::Integer(n) => n.to_string(),
        Value::Flag(flag) => flag.to_string(),
        Value::List(items) => {
            let items: Vec<String> = items.iter().map(|n| shown(&n.value)).collect();
            format!("[{}]", items.join(", "))
        }
        Value::Table(table) => {
            let entries: Vec<String> = table
                .entries
                .iter()
                .map(|(key, entry)| format!("{key} = {}", shown(&entry.node.value)))
                .collect();
            format!("{{ {} }}", entries.join(", "))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_person_would_write_gives_the_same_scenario() {
        let case = Case::embedded("family-house").unwrap();
        let edits = [
            Edit::Without("relief".into()),
            Edit::text("relief.kind", "weighted blade"),
            Edit::text("relief.diameter", "200 mm"),
            Edit::text("relief.opening_pressure", "65 Pa"),
            Edit::set("zone.living.opening_when_satisfied", "0.5"),
        ];
        let changed = case.with("changed", &edits).unwrap();
        let text = case.what_if(&edits);
        let again = Case::from_text("changed", &text).unwrap();
        assert_eq!(changed.scenario.air, again.scenario.air, "{text}");
        assert_eq!(
            changed.scenario.control.controller,
            again.scenario.control.controller
        );
        assert_ne!(changed.scenario.air, case.scenario.air);
        assert_eq!(changed.written("relief.length"), None);
    }
}
