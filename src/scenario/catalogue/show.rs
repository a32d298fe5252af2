//! The catalogue as people read it: in a terminal and as Markdown.

use super::{Default, Key, Kind, TableSpec, When, quoted};
use crate::quantity::{self, Dimension, UnitSystem, significant};
use std::fmt::Write;

impl Kind {
    /// In words: `pressure`, `one of "a", "b"`.
    fn words(&self) -> String {
        match self {
            Kind::Quantity(Dimension::Fraction) => "fraction".into(),
            Kind::Quantity(dimension) => dimension.name().into(),
            Kind::Quantities(dimension) => format!("list of {}", dimension.name()),
            Kind::Number => "number".into(),
            Kind::Numbers => "list of numbers".into(),
            Kind::Integer => "whole number".into(),
            Kind::Integers => "list of whole numbers".into(),
            Kind::Flag => "true or false".into(),
            Kind::Text => "text".into(),
            Kind::Texts => "list of texts".into(),
            Kind::Choice(words) => format!("one of {}", quoted(words)),
            Kind::Words(words) => format!("list of {}", quoted(words)),
            Kind::FlagOrWords(words) => format!("true, or a list of {}", quoted(words)),
            Kind::Name(table, []) => format!("name of a {table}"),
            Kind::Name(table, words) => format!("name of a {table}, or {}", quoted(words)),
            Kind::Names(table) => format!("list of {table} names"),
            Kind::TimeOfDay => "time of day".into(),
            Kind::Weekdays => "days of the week".into(),
            Kind::DateTime => "date and time".into(),
            Kind::Size => "width x height".into(),
            Kind::Loose => "number in the key's unit".into(),
            Kind::Looses => "list of numbers in the key's unit".into(),
        }
    }

    fn shown(&self, value: f64, system: UnitSystem) -> String {
        match self {
            Kind::Quantity(dimension) | Kind::Quantities(dimension) => {
                quantity::display_full(value, *dimension, system)
            }
            Kind::Size => quantity::display_full(value, Dimension::Length, system),
            _ => significant(value, 6),
        }
    }
}

impl When {
    fn words(&self) -> String {
        match self {
            When::Is(key, words) => format!("{key} = {}", words.join(" or ")),
            When::With(key) => format!("`{key}` is written"),
            When::Without(key) => format!("`{key}` is not written"),
        }
    }
}

impl Key {
    /// `air flow, 20 L/s to 20000 L/s`.
    pub(crate) fn value_words(&self, system: UnitSystem) -> String {
        let shown = |value| self.kind.shown(value, system);
        let (least, most) = self.range;
        let range = match (least.is_finite(), most.is_finite()) {
            (true, true) if self.above => {
                format!(", more than {}, at most {}", shown(least), shown(most))
            }
            (true, true) => format!(", {} to {}", shown(least), shown(most)),
            (true, false) if self.above => format!(", more than {}", shown(least)),
            (true, false) => format!(", at least {}", shown(least)),
            (false, true) => format!(", at most {}", shown(most)),
            (false, false) => String::new(),
        };
        format!("{}{range}", self.kind.words())
    }

    /// `150 Pa (common practice, no source)`.
    pub(crate) fn default_words(&self, system: UnitSystem) -> String {
        match self.default {
            Default::Required => "must be written".into(),
            Default::Unset(means) => means.into(),
            Default::Number(value, source) => {
                format!("{} ({source})", self.kind.shown(value, system))
            }
            Default::Flag(flag, source) => format!("{flag} ({source})"),
            Default::Word(word, source) => format!("\"{word}\" ({source})"),
            Default::Derived(how, source) => format!("{how} ({source})"),
            Default::As(path) => format!("as {path}"),
        }
    }

    /// `only when kind = motorised`; empty for a key that always applies.
    pub(crate) fn when_words(&self) -> String {
        let all: Vec<_> = self.when.iter().map(When::words).collect();
        match all.as_slice() {
            [] => String::new(),
            all => format!("only when {}", all.join(" and ")),
        }
    }
}

/// One key at length, for a terminal.
pub(crate) fn key_text(table: &TableSpec, key: &Key, system: UnitSystem) -> String {
    let mut text = format!("{} of {}\n", key.name, table.header());
    let mut line = |name: &str, words: &str| {
        if !words.is_empty() {
            let _ = writeln!(text, "  {name:<9} {words}");
        }
    };
    line("is", key.about);
    line("value", &key.value_words(system));
    line("default", &key.default_words(system));
    line("applies", &key.when_words());
    line("write", key.hint().trim_start_matches("write "));
    text
}

/// Rows of a table of keys: name, meaning, value, default.
pub(crate) fn rows(table: &TableSpec, system: UnitSystem) -> Vec<[String; 4]> {
    let row = |key: &Key| {
        let when = key.when_words();
        let about = match when.as_str() {
            "" => key.about.to_owned(),
            when => format!("{} ({when})", key.about.trim_end_matches('.')),
        };
        let name = key.name.to_owned();
        [
            name,
            about,
            key.value_words(system),
            key.default_words(system),
        ]
    };
    table.keys.iter().map(row).collect()
}

/// The whole catalogue as Markdown, as `scenarios/KEYS.md` has it.
#[cfg(test)]
pub fn markdown() -> String {
    use super::TABLES;
    use super::constants::CONSTANTS;

    let mut text = String::from(
        "# Keys of a scenario\n\n\
         Written by the program from its own list of keys (`openshut keys`); a test holds this page to it. \
         Values are written in quotes with their unit, `\"350 L/s\"` or `\"740 cfm\"`; this page shows SI. \
         Fractions may be bare, `0.25` or `\"25 %\"`. `<name>` is a name of your own: a letter, then letters, \
         digits, - and _. A key that is left out has the default given here with its source; \
         `openshut check FILE` lists those that a file takes.\n",
    );
    let cell = |text: &str| text.replace('|', "\\|");
    for table in TABLES {
        let _ = write!(text, "\n## {}\n\n{}\n", table.header(), table.about);
        if table.keys.is_empty() {
            continue;
        }
        text += "\n| key | meaning | value | default |\n|---|---|---|---|\n";
        for [name, about, value, default] in rows(table, UnitSystem::Si) {
            let (about, value, default) = (cell(&about), cell(&value), cell(&default));
            let _ = writeln!(text, "| `{name}` | {about} | {value} | {default} |");
        }
    }
    text += "\n## What no key changes\n\nAssumptions of the models that are the same in every scenario.\n\n\
             | assumption | value | source |\n|---|---|---|\n";
    for constant in CONSTANTS {
        let (shown, source) = (constant.shown(UnitSystem::Si), cell(constant.source));
        let _ = writeln!(text, "| {} | {shown} | {source} |", constant.about);
    }
    text
}
