//! Paths such as `room.living.windows[2].area`, followed through a tree.

use super::{Entry, Node, Table, Value};
use crate::scenario::diagnostic::{Diagnostic, nearest};
use crate::scenario::source::At;
use indexmap::IndexMap;

/// The most steps a path may have; trees are walked by recursion, so they must not grow without end.
const MAX_STEPS: usize = 32;

/// One step of a path: a key, and a number (from 1) when it is a list.
pub(super) struct Step {
    pub key: String,
    pub number: Option<usize>,
}

pub(super) fn steps(path: &str, at: &At) -> Result<Vec<Step>, Diagnostic> {
    let faulty = || {
        Diagnostic::at(at, format!("\"{path}\" is not a path"))
            .advise("write keys joined by dots, such as fan.flow or room.living.windows[2].area")
    };
    if path.split('.').count() > MAX_STEPS {
        return Err(faulty());
    }
    path.split('.')
        .map(|part| {
            let part = part.trim();
            let (key, number) = match part.strip_suffix(']').map(|part| part.split_once('[')) {
                Some(Some((key, number))) => {
                    let number = number.parse().ok().filter(|n| *n > 0).ok_or_else(faulty)?;
                    (key, Some(number))
                }
                Some(None) => return Err(faulty()),
                None => (part, None),
            };
            if key.is_empty()
                || !key
                    .chars()
                    .all(|c| c.is_ascii_alphanumeric() || "_-".contains(c))
            {
                return Err(faulty());
            }
            Ok(Step {
                key: key.to_owned(),
                number,
            })
        })
        .collect()
}

#[derive(Clone, Copy, PartialEq)]
pub(super) enum Missing {
    Create,
    Refuse,
}

pub(super) fn descend<'t>(
    mut here: &'t mut Table,
    path: &[Step],
    at: &At,
    missing: Missing,
) -> Result<&'t mut Table, Diagnostic> {
    let mut walked = String::new();
    for step in path {
        if !here.entries.contains_key(&step.key) {
            let slip = here.keys().any(|have| is_slip(&step.key, have));
            if missing == Missing::Refuse || slip || step.number.is_some() {
                return Err(no_such(&walked, &step.key, here, at));
            }
            let table = Table {
                entries: IndexMap::new(),
                at: at.clone(),
            };
            let node = Node {
                value: Value::Table(table),
                at: at.clone(),
            };
            here.entries.insert(
                step.key.clone(),
                Entry {
                    key_at: at.clone(),
                    node,
                },
            );
        }
        let node = match step.number {
            Some(number) => list_item(here, &step.key, number, at)?,
            None => match here.entries.get_mut(&step.key) {
                Some(entry) => &mut entry.node,
                None => return Err(Diagnostic::at(at, "path not found")),
            },
        };
        let kind = node.value.kind();
        let Value::Table(inner) = &mut node.value else {
            return Err(Diagnostic::at(
                at,
                format!("`{walked}{}` is {kind} and has no keys", step.key),
            )
            .advise(if kind == "a list" {
                format!("say which one, from 1: {walked}{}[1]", step.key)
            } else {
                "shorten the path".into()
            }));
        };
        here = inner;
        walked.push_str(&step.key);
        walked.push('.');
    }
    Ok(here)
}

/// Whether a new name is so near one that exists that it must be a slip of the pen. Names that
/// differ in their digits only, `bed-1` and `bed-2`, are meant.
fn is_slip(name: &str, have: &str) -> bool {
    let letters = |s: &str| {
        s.chars()
            .filter(|c| !c.is_ascii_digit())
            .collect::<String>()
    };
    letters(name) != letters(have) && strsim::damerau_levenshtein(name, have) == 1
}

fn no_such(walked: &str, key: &str, here: &Table, at: &At) -> Diagnostic {
    let diagnostic = Diagnostic::at(at, format!("there is no `{walked}{key}`"));
    match nearest(key, here.keys()) {
        Some(near) => diagnostic.advise(format!("did you mean {walked}{near}?")),
        None if here.entries.is_empty() => diagnostic,
        None => {
            let known: Vec<_> = here.keys().take(12).collect();
            diagnostic.advise(format!("there are: {}", known.join(", ")))
        }
    }
}

pub(super) fn list_item<'t>(
    holder: &'t mut Table,
    key: &str,
    number: usize,
    at: &At,
) -> Result<&'t mut Node, Diagnostic> {
    if !holder.entries.contains_key(key) {
        return Err(no_such("", key, holder, at));
    }
    match holder
        .entries
        .get_mut(key)
        .map(|entry| &mut entry.node.value)
    {
        Some(Value::List(items)) => {
            let length = items.len();
            items.get_mut(number - 1).ok_or_else(|| {
                Diagnostic::at(at, format!("`{key}` has no entry {number}"))
                    .advise(format!("it has {length}, counted from 1"))
            })
        }
        _ => Err(Diagnostic::at(at, format!("`{key}` is not a list")).advise("leave the [..] out")),
    }
}

pub(super) fn remove(root: &mut Table, path: &str, at: &At) -> Result<(), Diagnostic> {
    let steps = steps(path, at)?;
    let Some((last, above)) = steps.split_last() else {
        return Ok(());
    };
    let holder = descend(root, above, at, Missing::Refuse)?;
    if let Some(number) = last.number {
        list_item(holder, &last.key, number, at)?;
        if let Some(Entry {
            node: Node {
                value: Value::List(items),
                ..
            },
            ..
        }) = holder.entries.get_mut(&last.key)
        {
            items.remove(number - 1);
        }
        return Ok(());
    }
    if holder.entries.shift_remove(&last.key).is_none() {
        let walked: String = above.iter().map(|step| format!("{}.", step.key)).collect();
        return Err(no_such(&walked, &last.key, holder, at));
    }
    Ok(())
}
