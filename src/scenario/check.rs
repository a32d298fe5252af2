//! The first look at a scenario, from the catalogue of keys alone: everything that is wrong with the file, in one go.

use super::catalogue::{self, Default, Key, Kind, TABLES, TableSpec, When};
use super::diagnostic::{Diagnostic, nearest};
use super::reader::{Name, Parsed, entry_of, holds, missing, parse, word_of};
use super::source::At;
use super::tree::{Entry, Node, Table, Tree, Value};

/// What the first look found.
#[derive(Debug, Default)]
pub(crate) struct Found {
    /// What keeps the scenario from being read.
    pub faults: Vec<Diagnostic>,
    /// Keys that are written and do not apply.
    pub warnings: Vec<Diagnostic>,
    /// Whether a whole table is misspelt, so that what it says is missed everywhere.
    pub astray: bool,
}

/// Holds a tree to the catalogue.
pub(crate) fn check(tree: &Tree) -> Found {
    let mut look = Look {
        root: &tree.root,
        faults: Vec::new(),
        idle: Vec::new(),
        astray: false,
    };
    look.table(&TABLES[0], "", Some(&tree.root), &tree.root.at);
    Found {
        warnings: look.idle.iter().map(Idle::warning).collect(),
        astray: look.astray,
        faults: look.faults,
    }
}

struct Look<'a> {
    root: &'a Table,
    faults: Vec<Diagnostic>,
    idle: Vec<Idle>,
    astray: bool,
}

/// Keys that do not apply for one reason.
struct Idle {
    why: String,
    first: At,
    keys: Vec<String>,
}

impl Idle {
    fn warning(&self) -> Diagnostic {
        let do_not = if self.keys.len() == 1 { "does" } else { "do" };
        let what = format!("{} {do_not} not apply: {}", self.keys.join(", "), self.why);
        Diagnostic::at(&self.first, what).warn()
    }
}

fn join(above: &str, key: &str) -> String {
    match above {
        "" => key.into(),
        _ => format!("{above}.{key}"),
    }
}

fn header(path: &str) -> String {
    match path {
        "" => "the scenario".into(),
        _ => format!("[{path}]"),
    }
}

impl<'a> Look<'a> {
    /// One table, or one that is not written and has keys that must be.
    fn table(&mut self, spec: &'static TableSpec, path: &str, table: Option<&'a Table>, at: &At) {
        // Names that a stray key most likely stands for: not missed as well.
        let mut slips = Vec::new();
        for (name, entry) in table.into_iter().flat_map(|table| &table.entries) {
            self.entry(spec, path, table, name, entry, &mut slips);
        }
        let written = |name: &str| table.is_some_and(|table| table.get(name).is_some());
        let mut told: Vec<&str> = Vec::new();
        for key in spec.keys {
            let again = told.contains(&key.name) || slips.contains(&key.name);
            if again || written(key.name) {
                continue;
            }
            told.push(key.name);
            let applying = entry_of(key.name, spec, table, self.root);
            if let Some((key, Some(true))) = applying
                && key.default == Default::Required
            {
                let fault = missing(&header(path), at, table, key);
                self.faults.push(fault);
            }
        }
        if !spec.path.is_empty() {
            return;
        }
        for below in TABLES.iter().filter(|t| !t.path.is_empty()) {
            let name = below
                .path
                .trim_end_matches(".<name>")
                .trim_end_matches("[]");
            if name.contains('.') || written(name) || slips.contains(&name) {
                continue;
            }
            if name == below.path {
                self.table(below, name, None, at);
            } else if below.count.0 > 0 {
                let what = format!("the scenario has no {name}");
                let advice = format!("add one: [{name}.main] with its keys");
                self.faults.push(Diagnostic::at(at, what).advise(advice));
            }
        }
    }

    fn entry(
        &mut self,
        spec: &'static TableSpec,
        path: &str,
        table: Option<&'a Table>,
        name: &'a str,
        entry: &'a Entry,
        slips: &mut Vec<&'static str>,
    ) {
        let node = &entry.node;
        let (child, pattern) = (join(path, name), join(spec.path, name));
        let list = catalogue::find(&format!("{pattern}[]"));
        let named = catalogue::find(&format!("{pattern}.<name>"));
        if let (Some(list), Value::List(items)) = (list, &node.value) {
            return self.list(list, &child, name, items, &node.at);
        }
        if let Some((key, holds)) = entry_of(name, spec, table, self.root) {
            if holds == Some(false) {
                self.does_not_apply(key, spec, path, table, &entry.key_at);
            }
            match parse(key, node) {
                Ok(parsed) => self.refers(key, &parsed),
                Err(fault) => self.faults.push(fault),
            }
        } else if let Some(below) = catalogue::find(&pattern) {
            match &node.value {
                Value::Table(inner) => self.table(below, &child, Some(inner), &node.at),
                _ => {
                    let advice = format!("write [{child}] and its keys below");
                    self.not_a(name, node, "a table", advice);
                }
            }
        } else if let Some(named) = named {
            match &node.value {
                Value::Table(inner) => self.named(named, &child, inner),
                _ => {
                    let advice = format!("give each a name of its own: [{child}.main]");
                    self.not_a(name, node, "tables with names", advice);
                }
            }
        } else if list.is_some() {
            self.not_a(
                name,
                node,
                "a list of tables",
                format!("write {name} = [{{ ... }}]"),
            );
        } else if let Some(by_key) = catalogue::find(&format!("{}.<key>", spec.path)) {
            self.by_key(by_key, &child, name, entry);
        } else {
            let fault = self.stray(spec, path, name, &entry.key_at, slips);
            self.astray |= path.is_empty();
            self.faults.push(fault);
        }
    }

    fn not_a(&mut self, name: &str, node: &Node, due: &str, advice: String) {
        let what = format!("`{name}` is {}, and {due} is due", node.value.kind());
        self.faults
            .push(Diagnostic::at(&node.at, what).advise(advice));
    }

    fn list(
        &mut self,
        spec: &'static TableSpec,
        path: &str,
        name: &str,
        items: &'a [Node],
        at: &At,
    ) {
        self.count(spec, name, items.len(), at);
        for (index, item) in items.iter().enumerate() {
            match &item.value {
                Value::Table(table) => {
                    self.table(
                        spec,
                        &format!("{path}[{}]", index + 1),
                        Some(table),
                        &item.at,
                    );
                }
                other => {
                    let what = format!("this is {}, and `{name}` lists tables", other.kind());
                    let advice = format!("write {name} = [{{ ... }}]");
                    self.faults
                        .push(Diagnostic::at(&item.at, what).advise(advice));
                }
            }
        }
    }

    fn count(&mut self, spec: &TableSpec, name: &str, found: usize, at: &At) {
        let (least, most) = spec.count;
        if found < least {
            let advice = format!("add one: [{name}.main] with its keys");
            let what = format!("the scenario has no {name}");
            self.faults.push(Diagnostic::at(at, what).advise(advice));
        }
        if found > most {
            let what = format!("{found} tables [{name}] are more than this program takes");
            let advice = format!("keep to {most}");
            self.faults.push(Diagnostic::at(at, what).advise(advice));
        }
    }

    fn named(&mut self, spec: &'static TableSpec, path: &str, tables: &'a Table) {
        self.count(spec, path, tables.entries.len(), &tables.at);
        for (name, entry) in &tables.entries {
            if let Err(fault) = Name::read(name, &entry.key_at) {
                self.faults.push(fault);
            }
            match &entry.node.value {
                Value::Table(inner) => {
                    self.table(spec, &join(path, name), Some(inner), &entry.node.at);
                }
                other => {
                    let what = format!(
                        "`{name}` in [{path}] is {}, and a table is due",
                        other.kind()
                    );
                    let advice = format!("give each a name of its own: [{path}.main]");
                    self.faults
                        .push(Diagnostic::at(&entry.key_at, what).advise(advice));
                }
            }
        }
    }

    /// A table under the path of another key.
    fn by_key(&mut self, spec: &'static TableSpec, path: &str, name: &str, entry: &'a Entry) {
        let Value::Table(inner) = &entry.node.value else {
            let advice = format!("write [uncertainty.\"{name}\"] and its keys below");
            return self.not_a(name, &entry.node, "a table", advice);
        };
        let tables = |entry: &Entry| matches!(entry.node.value, Value::Table(_));
        if inner.get("distribution").is_none() && inner.entries.values().any(tables) {
            let what = format!("[{path}] splits a key at its dots");
            let advice = "put the whole key in quotes: [uncertainty.\"house.infiltration\"]";
            self.faults
                .push(Diagnostic::at(&entry.key_at, what).advise(advice));
            return;
        }
        self.table(spec, path, Some(inner), &entry.node.at);
    }

    /// Whether the things that a value names exist.
    fn refers(&mut self, key: &Key, parsed: &Parsed) {
        let (table, words, names) = match (key.kind, parsed) {
            (Kind::Name(table, words), Parsed::Name(name)) => {
                (table, words, std::slice::from_ref(name))
            }
            (Kind::Names(table), Parsed::Names(names)) => (table, &[][..], &names[..]),
            _ => return,
        };
        let Some(Value::Table(there)) = self.root.get(table).map(|node| &node.value) else {
            return;
        };
        for name in names.iter().filter(|name| !words.contains(&name.as_str())) {
            if there.get(name.as_str()).is_none() {
                let known = there.entries.keys().map(String::as_str);
                let known = known.chain(words.iter().copied());
                self.faults.push(name.unknown(table, known));
            }
        }
    }

    fn does_not_apply(
        &mut self,
        key: &Key,
        spec: &TableSpec,
        path: &str,
        table: Option<&Table>,
        at: &At,
    ) {
        let failing = key
            .when
            .iter()
            .find(|when| holds(when, spec, table, self.root) == Some(false));
        let why = match failing {
            Some(When::With(name)) => format!("{} is not written", join(path, name)),
            Some(When::Without(name)) => format!("{} is written", join(path, name)),
            Some(When::Is(name, _)) => {
                let word = word_of(name, spec, table, self.root);
                let full = if name.contains('.') {
                    (*name).to_owned()
                } else {
                    join(path, name)
                };
                format!("{full} is \"{}\"", word.unwrap_or_default())
            }
            None => return,
        };
        let full = join(path, key.name);
        match self.idle.iter_mut().find(|idle| idle.why == why) {
            Some(idle) => idle.keys.push(full),
            None => self.idle.push(Idle {
                why,
                first: at.clone(),
                keys: vec![full],
            }),
        }
    }

    fn stray(
        &self,
        spec: &TableSpec,
        path: &str,
        key: &str,
        at: &At,
        slips: &mut Vec<&'static str>,
    ) -> Diagnostic {
        let fault = Diagnostic::at(at, format!("{} knows no key `{key}`", header(path)));
        let names = spec.names();
        if let Some(near) = nearest(key, names.iter().copied()) {
            slips.push(near);
            return fault.advise(format!("did you mean `{near}`?"));
        }
        let has = |t: &&TableSpec| t.names().contains(&key);
        let elsewhere: Vec<_> = TABLES.iter().filter(has).map(TableSpec::header).collect();
        if !elsewhere.is_empty() {
            return fault.advise(format!("`{key}` belongs in: {}", elsewhere.join(", ")));
        }
        let all = || {
            TABLES
                .iter()
                .flat_map(|t| t.keys.iter().map(move |key| (key.name, t)))
        };
        if let Some(near) = nearest(key, all().map(|(name, _)| name))
            && let Some((_, table)) = all().find(|(name, _)| *name == near)
        {
            return fault.advise(format!("did you mean `{near}` of {}?", table.header()));
        }
        match names.as_slice() {
            [] => fault.advise("take it out"),
            names => fault.advise(format!("its keys are: {}", names.join(", "))),
        }
    }
}
