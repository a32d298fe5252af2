//! From files to a merged tree: reading, parsing, standing on a base.

use super::{Entry, Node, Table, Tree, Value, remove};
use crate::scenario::diagnostic::{Diagnostic, nearest};
use crate::scenario::source::{At, Origin, Source, SourceMap};
use indexmap::IndexMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use toml::de::{DeTable, DeValue};

/// How many files may stand on each other by `based_on`.
pub(crate) const MAX_DEPTH: usize = 8;
/// The largest file that is read, bytes. Far above any scenario; it keeps a mistaken path from filling memory.
pub(crate) const MAX_BYTES: u64 = 4 << 20;

/// Reads a file, and those it is based on.
///
/// # Errors
/// An unreadable file, TOML that cannot be read, a faulty `based_on` or `without`.
pub(crate) fn load(path: impl AsRef<Path>) -> Result<Tree, Diagnostic> {
    load_file(path.as_ref(), None, &mut Vec::new())
}

/// Reads a text that is based on nothing.
///
/// # Errors
/// As [`load`].
#[cfg(test)]
pub fn load_text(name: &str, text: &str) -> Result<Tree, Diagnostic> {
    load_embedded(name, &[(name, text)])
}

/// Reads one of several named texts; `based_on` names another of them.
///
/// # Errors
/// As [`load`]; also a name that is not on the shelf.
pub(crate) fn load_embedded(name: &str, shelf: &[(&str, &str)]) -> Result<Tree, Diagnostic> {
    load_from_shelf(name, shelf, None, &mut Vec::new())
}

fn load_file(
    path: &Path,
    asked_by: Option<&At>,
    open: &mut Vec<PathBuf>,
) -> Result<Tree, Diagnostic> {
    let identity = std::fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
    check_chain(&identity, asked_by, open)?;
    let source = read_file(path, asked_by)?;
    open.push(identity);
    let folder = path.parent().unwrap_or(Path::new("")).to_owned();
    let tree = assemble(&source, |base, at| {
        load_file(&folder.join(base), Some(at), open)
    })?;
    open.pop();
    Ok(tree)
}

fn load_from_shelf(
    name: &str,
    shelf: &[(&str, &str)],
    asked_by: Option<&At>,
    open: &mut Vec<String>,
) -> Result<Tree, Diagnostic> {
    check_chain(&name.to_owned(), asked_by, open)?;
    let Some((_, text)) = shelf.iter().find(|(known, _)| *known == name) else {
        let what = format!("there is no built-in scenario \"{name}\"");
        let known = || shelf.iter().map(|(known, _)| *known);
        return Err(fault(asked_by, what).advise(match nearest(name, known()) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None => format!("there are: {}", known().collect::<Vec<_>>().join(", ")),
        }));
    };
    let source = Source::new(Origin::Named(name.to_owned()), text);
    open.push(name.to_owned());
    let tree = assemble(&source, |base, at| {
        load_from_shelf(base, shelf, Some(at), open)
    })?;
    open.pop();
    Ok(tree)
}

fn fault(at: Option<&At>, what: String) -> Diagnostic {
    match at {
        Some(at) => Diagnostic::at(at, what),
        None => Diagnostic::plain(what),
    }
}

fn check_chain<T: PartialEq>(
    identity: &T,
    asked_by: Option<&At>,
    open: &[T],
) -> Result<(), Diagnostic> {
    if open.contains(identity) {
        return Err(fault(
            asked_by,
            "this scenario is, through its bases, based on itself".into(),
        )
        .advise("break the circle: let one of the files stand alone"));
    }
    if open.len() > MAX_DEPTH {
        return Err(fault(
            asked_by,
            format!("more than {MAX_DEPTH} files based on each other"),
        )
        .advise("base this file on one nearer the start of the chain"));
    }
    Ok(())
}

fn read_file(path: &Path, asked_by: Option<&At>) -> Result<Arc<Source>, Diagnostic> {
    let shown = path.display();
    let unreadable = |why: String, advice: String| fault(asked_by, why).advise(advice);
    let meta = std::fs::metadata(path).map_err(|error| {
        unreadable(
            format!("cannot read {shown}: {}", said(&error)),
            other_file(path),
        )
    })?;
    if !meta.is_file() {
        return Err(unreadable(
            format!("{shown} is not a file"),
            "name a scenario file, such as house.toml".into(),
        ));
    }
    if meta.len() > MAX_BYTES {
        return Err(unreadable(
            format!("{shown} is larger than {} MiB", MAX_BYTES >> 20),
            "name a scenario file; weather and logs have keys of their own".into(),
        ));
    }
    let bytes = std::fs::read(path).map_err(|error| {
        unreadable(
            format!("cannot read {shown}: {}", said(&error)),
            other_file(path),
        )
    })?;
    let origin = Origin::File(path.to_owned());
    String::from_utf8(bytes)
        .map(|text| Source::new(origin.clone(), &text))
        .map_err(|error| {
            let upto = error.utf8_error().valid_up_to();
            let bytes = error.as_bytes();
            // Up to the fault both texts agree, so the offset holds in the repaired one (less a byte-order mark).
            let source = Source::new(origin, &String::from_utf8_lossy(bytes));
            let mark = if bytes.starts_with(b"\xef\xbb\xbf") {
                3
            } else {
                0
            };
            let start = upto.saturating_sub(mark);
            let at = At::new(&source, start..start + '\u{fffd}'.len_utf8());
            let encoding = if bytes.starts_with(b"\xff\xfe") || bytes.starts_with(b"\xfe\xff") {
                "the file is UTF-16 text, and UTF-8 is due"
            } else {
                "the file is not UTF-8 text"
            };
            Diagnostic::at(&at, encoding).advise("save the file again with the encoding UTF-8")
        })
}

fn said(error: &std::io::Error) -> String {
    match error.kind() {
        std::io::ErrorKind::NotFound => "there is no such file".into(),
        std::io::ErrorKind::PermissionDenied => "reading it is not permitted".into(),
        _ => error.to_string(),
    }
}

/// Advice for a file that cannot be read: the one beside it with the nearest name.
fn other_file(path: &Path) -> String {
    let folder = match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    };
    let Ok(listing) = std::fs::read_dir(folder) else {
        return format!(
            "there is no folder {} either; check the path",
            folder.display()
        );
    };
    let mut names: Vec<_> = listing
        .flatten()
        .filter_map(|entry| entry.file_name().into_string().ok())
        .collect();
    names.sort();
    let wanted = path
        .file_name()
        .map(|name| name.to_string_lossy().into_owned());
    match nearest(
        wanted.as_deref().unwrap_or(""),
        names.iter().map(String::as_str),
    ) {
        Some(near) if Some(near) != wanted.as_deref() => {
            format!("did you mean {}?", path.with_file_name(near).display())
        }
        _ => "check the path".into(),
    }
}

/// Parses a text, loads what it is based on with `load_base`, takes away what is not wanted and merges.
fn assemble(
    source: &Arc<Source>,
    load_base: impl FnOnce(&str, &At) -> Result<Tree, Diagnostic>,
) -> Result<Tree, Diagnostic> {
    let mut root = parse(source)?;
    let mut sources = SourceMap::default();
    sources.push(Arc::clone(source));
    let based_on = root.entries.shift_remove("based_on");
    let without = root.entries.shift_remove("without");
    let Some(based_on) = based_on else {
        if let Some(entry) = without {
            return Err(Diagnostic::at(
                &entry.key_at,
                "`without` takes away from a base, and there is none",
            )
            .advise("add based_on = \"file.toml\", or take the entries out of this file"));
        }
        return Ok(Tree { root, sources });
    };
    let Value::Text(base) = &based_on.node.value else {
        return Err(
            Diagnostic::at(&based_on.node.at, "`based_on` must be the name of one file")
                .advise("write based_on = \"family-house.toml\""),
        );
    };
    let mut tree = load_base(base, &based_on.node.at)?;
    if let Some(entry) = without {
        take_away(&mut tree.root, &entry.node)?;
    }
    merge(&mut tree.root, root);
    sources.extend(tree.sources);
    Ok(Tree {
        root: tree.root,
        sources,
    })
}

fn take_away(base: &mut Table, without: &Node) -> Result<(), Diagnostic> {
    let advice = "write without = [\"outlet.living-b\", \"zone.study\"]";
    let Value::List(paths) = &without.value else {
        return Err(
            Diagnostic::at(&without.at, "`without` must be a list of names").advise(advice),
        );
    };
    for path in paths {
        let Value::Text(text) = &path.value else {
            return Err(Diagnostic::at(
                &path.at,
                format!("{} cannot be taken away", path.value.kind()),
            )
            .advise(advice));
        };
        remove(base, text, &path.at)?;
    }
    Ok(())
}

/// Lays `over` onto `base`: tables key by key, everything else replaced.
fn merge(base: &mut Table, over: Table) {
    base.at = over.at;
    for (key, entry) in over.entries {
        match (base.entries.get_mut(&key), entry.node.value) {
            (
                Some(Entry {
                    node:
                        Node {
                            value: Value::Table(below),
                            at,
                        },
                    key_at,
                }),
                Value::Table(above),
            ) => {
                merge(below, above);
                *at = entry.node.at;
                *key_at = entry.key_at;
            }
            (_, value) => {
                let node = Node {
                    value,
                    at: entry.node.at,
                };
                base.entries.insert(
                    key,
                    Entry {
                        key_at: entry.key_at,
                        node,
                    },
                );
            }
        }
    }
}

fn parse(source: &Arc<Source>) -> Result<Table, Diagnostic> {
    let document = DeTable::parse(source.text()).map_err(|error| {
        let span = error.span().unwrap_or(0..0);
        let at = At::new(source, span);
        syntax_fault(&at, error.message())
    })?;
    let at = At::new(source, 0..0);
    table(document.get_ref(), at, &Reading { source, shift: 0 })
}

fn syntax_fault(at: &At, message: &str) -> Diagnostic {
    let source = &at.source;
    let (number, _) = at.line_column();
    let line = &source.text()[source.line_range(number)];
    // A quantity or name without its quotes is the commonest slip, and the parser's words for it help least.
    if message.starts_with("string values must be quoted") {
        let (key, value) = line.split_once('=').unwrap_or(("key", ""));
        let value = value.split('#').next().unwrap_or("").trim();
        if value.is_empty() {
            return Diagnostic::at(at, "there is no value after `=`")
                .advise(format!("write {} = \"...\"", key.trim()));
        }
        return Diagnostic::at(at, "quantities and names are written in quotes")
            .advise(format!("write {} = \"{value}\"", key.trim()));
    }
    let diagnostic = Diagnostic::at(at, format!("this is not TOML: {message}"));
    match message {
        "duplicate key" => {
            diagnostic.advise("each key may stand once in a table, and each table once in a file")
        }
        _ if message.starts_with("key with no value") => {
            diagnostic.advise("write key = value, one to a line")
        }
        _ if message.starts_with("unclosed table") => {
            diagnostic.advise("close the header with `]`")
        }
        _ if message.contains("invalid basic string") => {
            diagnostic.advise("close the text with a quotation mark on its line")
        }
        _ => diagnostic.advise("compare with a scenario that works; TOML is described at toml.io"),
    }
}

/// What turning parsed values into nodes needs: the text, and where the parsed part begins in it.
pub(super) struct Reading<'a> {
    pub source: &'a Arc<Source>,
    pub shift: usize,
}

impl Reading<'_> {
    fn at(&self, span: std::ops::Range<usize>) -> At {
        At::new(self.source, span.start + self.shift..span.end + self.shift)
    }
}

// Recursion is bounded: the parser refuses deep nesting.
fn table(parsed: &DeTable<'_>, at: At, reading: &Reading<'_>) -> Result<Table, Diagnostic> {
    let mut entries = IndexMap::with_capacity(parsed.len());
    for (key, value) in parsed {
        let key_at = reading.at(key.span());
        let node = node(value.get_ref(), reading.at(value.span()), reading)?;
        entries.insert(key.get_ref().to_string(), Entry { key_at, node });
    }
    Ok(Table { entries, at })
}

pub(super) fn node(value: &DeValue<'_>, at: At, reading: &Reading<'_>) -> Result<Node, Diagnostic> {
    let value = match value {
        DeValue::String(text) => Value::Text(text.to_string()),
        DeValue::Integer(number) => Value::Integer(
            i64::from_str_radix(number.as_str(), number.radix()).map_err(|_| {
                Diagnostic::at(&at, "this whole number is too large")
                    .advise("write a smaller number")
            })?,
        ),
        DeValue::Float(number) => match number.as_str().parse::<f64>() {
            Ok(number) if number.is_finite() => Value::Number(number),
            _ => {
                return Err(Diagnostic::at(&at, "this number is not finite")
                    .advise("write an ordinary number, or leave the key out"));
            }
        },
        DeValue::Boolean(flag) => Value::Flag(*flag),
        DeValue::Datetime(moment) => Value::DateTime(moment.to_string()),
        DeValue::Array(items) => Value::List(
            items
                .iter()
                .map(|item| node(item.get_ref(), reading.at(item.span()), reading))
                .collect::<Result<_, _>>()?,
        ),
        DeValue::Table(entries) => Value::Table(table(entries, at.clone(), reading)?),
    };
    Ok(Node { value, at })
}
