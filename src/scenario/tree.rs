//! A scenario file as a tree in which every key and value knows the text it came from.

use super::diagnostic::{Diagnostic, nearest};
use super::source::{At, Origin, Source, SourceMap};
use indexmap::IndexMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use toml::de::{DeTable, DeValue};

/// How many files may stand on each other by `based_on`.
pub const MAX_DEPTH: usize = 8;
/// The largest file that is read, bytes. Far above any scenario; it keeps a mistaken path from filling memory.
pub const MAX_BYTES: u64 = 4 << 20;

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

/// Reads a file, and those it is based on.
///
/// # Errors
/// An unreadable file, TOML that cannot be read, a faulty `based_on` or `without`.
pub fn load(path: impl AsRef<Path>) -> Result<Tree, Diagnostic> {
    load_file(path.as_ref(), None, &mut Vec::new())
}

/// Reads a text that is based on nothing.
///
/// # Errors
/// As [`load`].
pub fn load_text(name: &str, text: &str) -> Result<Tree, Diagnostic> {
    load_embedded(name, &[(name, text)])
}

/// Reads one of several named texts; `based_on` names another of them.
///
/// # Errors
/// As [`load`]; also a name that is not on the shelf.
pub fn load_embedded(name: &str, shelf: &[(&str, &str)]) -> Result<Tree, Diagnostic> {
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
struct Reading<'a> {
    source: &'a Arc<Source>,
    shift: usize,
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

fn node(value: &DeValue<'_>, at: At, reading: &Reading<'_>) -> Result<Node, Diagnostic> {
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

/// One step of a path: a key, and a number (from 1) when it is a list.
struct Step {
    key: String,
    number: Option<usize>,
}

fn steps(path: &str, at: &At) -> Result<Vec<Step>, Diagnostic> {
    let faulty = || {
        Diagnostic::at(at, format!("\"{path}\" is not a path"))
            .advise("write keys joined by dots, such as fan.flow or room.living.windows[2].area")
    };
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
enum Missing {
    Create,
    Refuse,
}

fn descend<'t>(
    mut here: &'t mut Table,
    path: &[Step],
    at: &At,
    missing: Missing,
) -> Result<&'t mut Table, Diagnostic> {
    let mut walked = String::new();
    for step in path {
        if !here.entries.contains_key(&step.key) {
            let near = nearest(&step.key, here.keys());
            if missing == Missing::Refuse || near.is_some() || step.number.is_some() {
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

fn list_item<'t>(
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

fn remove(root: &mut Table, path: &str, at: &At) -> Result<(), Diagnostic> {
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
