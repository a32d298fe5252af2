//! The keys of a scenario, each declared once, as data.
//!
//! From these declarations come reading, its errors, the ledger of defaults, `openshut keys`,
//! `scenarios/KEYS.md` and the JSON Schema. A reader asks for a key by name and says nothing about it.

#[rustfmt::skip] // One line a key.
mod air;
pub(crate) mod constants;
#[rustfmt::skip] // One line a key.
mod control;
#[rustfmt::skip] // One line a key.
mod house;
#[rustfmt::skip] // One line a key.
mod judged;
#[rustfmt::skip] // One line a key.
mod run;
pub(crate) mod schema;
mod show;
#[cfg(test)]
mod tests;
#[rustfmt::skip] // One line a key.
mod sound;

#[cfg(test)]
pub use show::markdown;
pub(crate) use show::{key_text, rows};

use crate::quantity::Dimension;

/// "Common practice" with no published source found.
pub(super) const COMMON: &str = "common practice, no source";
/// A choice of this program's.
pub(super) const OWN: &str = "our own choice";

/// What a value is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Kind {
    /// A number with its unit, in quotes; a fraction may be bare.
    Quantity(Dimension),
    /// A list of them.
    Quantities(Dimension),
    /// A bare number.
    Number,
    /// A list of bare numbers.
    Numbers,
    /// A whole number.
    Integer,
    /// A list of whole numbers, each once.
    Integers,
    /// `true` or `false`.
    Flag,
    /// A text.
    Text,
    /// A list of texts.
    Texts,
    /// One of some words.
    Choice(&'static [&'static str]),
    /// A list of such words, each once.
    Words(&'static [&'static str]),
    /// All of such words by `true`, or a list of them.
    FlagOrWords(&'static [&'static str]),
    /// The name of a table of that kind (`room`), or one of some words.
    Name(&'static str, &'static [&'static str]),
    /// A list of such names, each once.
    Names(&'static str),
    /// Hours and minutes.
    TimeOfDay,
    /// Days of the week.
    Weekdays,
    /// A local date and time.
    DateTime,
    /// Width and height: `"300 mm x 200 mm"`.
    Size,
    /// A number in the unit of another key.
    Loose,
    /// A list of them.
    Looses,
}

/// What holds when a key is not written.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Default {
    /// It must be written.
    Required,
    /// Nothing is assumed; the text says what that means.
    Unset(&'static str),
    /// A number, SI, with its source.
    Number(f64, &'static str),
    /// A flag with its source.
    Flag(bool, &'static str),
    /// A word of a choice with its source.
    Word(&'static str, &'static str),
    /// Worked out from other keys: how, and on what it rests.
    Derived(&'static str, &'static str),
    /// The value of another key, by its path.
    As(&'static str),
}

/// A condition on a key of the same table.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum When {
    /// Its word is one of these.
    Is(&'static str, &'static [&'static str]),
    /// It is written.
    With(&'static str),
    /// It is not written.
    Without(&'static str),
}

/// One key.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Key {
    /// Its name. A table may declare a name twice, under conditions that exclude each other.
    pub name: &'static str,
    /// What its value is.
    pub kind: Kind,
    /// Least and greatest number allowed, SI; infinite where there is none.
    pub range: (f64, f64),
    /// Whether the least number itself is refused.
    pub above: bool,
    /// The most characters of a text, or items of a list.
    pub most: usize,
    /// What holds when it is not written.
    pub default: Default,
    /// When it applies: all of these must hold.
    pub when: &'static [When],
    /// What it says, for people.
    pub about: &'static str,
}

/// A table of keys.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct TableSpec {
    /// Its path: `fan`, `room.<name>`, `room.<name>.walls[]`; empty at the top.
    pub path: &'static str,
    /// What it says, for people.
    pub about: &'static str,
    /// Its keys.
    pub keys: &'static [Key],
    /// The fewest and the most of a table with names, or of a list.
    pub count: (usize, usize),
}

/// The most characters of a text, unless its key says otherwise.
pub(super) const TEXT_MOST: usize = 200;
/// The most rooms, zones, outlets and the like.
const MANY: usize = 64;

const fn table(path: &'static str, about: &'static str, keys: &'static [Key]) -> TableSpec {
    let count = (0, if path.is_empty() { 1 } else { 4 * MANY });
    TableSpec {
        path,
        about,
        keys,
        count,
    }
}

impl TableSpec {
    const fn count(mut self, least: usize, most: usize) -> TableSpec {
        self.count = (least, most);
        self
    }

    /// The entries that share a name, in the order declared.
    pub(crate) fn named<'n>(&self, name: &'n str) -> impl Iterator<Item = &'static Key> + use<'n> {
        self.keys.iter().filter(move |key| key.name == name)
    }

    /// Names of its keys and of the tables below it, each once.
    pub(crate) fn names(&self) -> Vec<&'static str> {
        let mut names: Vec<&str> = Vec::new();
        let below = TABLES.iter().filter_map(|t| t.below(self.path));
        for name in self.keys.iter().map(|key| key.name).chain(below) {
            if !names.contains(&name) {
                names.push(name);
            }
        }
        names
    }

    /// Its name within the table `above`, when it is directly below it.
    fn below(&self, above: &str) -> Option<&'static str> {
        let rest = match above {
            "" => self.path,
            _ => self.path.strip_prefix(above)?.strip_prefix('.')?,
        };
        let name = rest.trim_end_matches(".<name>").trim_end_matches("[]");
        (!name.is_empty() && !name.contains(['.', '['])).then_some(name)
    }

    /// As a file writes it: `[fan]`, `[room.<name>]`, `walls = [{ }]` of a room.
    pub(crate) fn header(&self) -> String {
        match (self.path.strip_suffix("[]"), self.path) {
            (_, "") => "top of the file".into(),
            (Some(list), _) => match list.rsplit_once('.') {
                Some((above, list)) => format!("{list} = [{{ ... }}] in [{above}]"),
                None => format!("[[{list}]]"),
            },
            (None, path) => format!("[{path}]"),
        }
    }
}

const NOTHING: Key = Key {
    name: "",
    kind: Kind::Flag,
    range: (f64::NEG_INFINITY, f64::INFINITY),
    above: false,
    most: TEXT_MOST,
    default: Default::Required,
    when: &[],
    about: "",
};

const fn key(name: &'static str, kind: Kind, about: &'static str) -> Key {
    Key {
        name,
        kind,
        about,
        ..NOTHING
    }
}

const fn quantity(name: &'static str, dimension: Dimension, about: &'static str) -> Key {
    let key = key(name, Kind::Quantity(dimension), about);
    match dimension {
        Dimension::Fraction => key.within(0.0, 1.0),
        _ => key,
    }
}

const fn fraction(name: &'static str, about: &'static str) -> Key {
    quantity(name, Dimension::Fraction, about)
}

const fn number(name: &'static str, about: &'static str) -> Key {
    key(name, Kind::Number, about)
}

const fn integer(name: &'static str, about: &'static str) -> Key {
    key(name, Kind::Integer, about)
}

const fn flag(name: &'static str, about: &'static str) -> Key {
    key(name, Kind::Flag, about)
}

const fn choice(name: &'static str, words: &'static [&'static str], about: &'static str) -> Key {
    key(name, Kind::Choice(words), about)
}

impl Key {
    const fn within(mut self, least: f64, most: f64) -> Key {
        self.range = (least, most);
        self
    }

    const fn at_least(self, least: f64) -> Key {
        self.within(least, f64::INFINITY)
    }

    const fn above(mut self, limit: f64) -> Key {
        self.above = true;
        self.range.0 = limit;
        self
    }

    const fn most(mut self, most: usize) -> Key {
        self.most = most;
        self
    }

    const fn or(mut self, value: f64, source: &'static str) -> Key {
        self.default = Default::Number(value, source);
        self
    }

    const fn common(self, value: f64) -> Key {
        self.or(value, COMMON)
    }

    const fn sourced(self, default: (f64, &'static str)) -> Key {
        self.or(default.0, default.1)
    }

    const fn or_flag(mut self, value: bool, source: &'static str) -> Key {
        self.default = Default::Flag(value, source);
        self
    }

    const fn or_word(mut self, word: &'static str, source: &'static str) -> Key {
        self.default = Default::Word(word, source);
        self
    }

    const fn derived(mut self, how: &'static str, source: &'static str) -> Key {
        self.default = Default::Derived(how, source);
        self
    }

    const fn unset(mut self, means: &'static str) -> Key {
        self.default = Default::Unset(means);
        self
    }

    const fn as_in(mut self, path: &'static str) -> Key {
        self.default = Default::As(path);
        self
    }

    const fn when(mut self, when: &'static [When]) -> Key {
        self.when = when;
        self
    }

    /// The source of its default; empty when there is none.
    pub(crate) fn source(&self) -> &'static str {
        match self.default {
            Default::Number(_, source)
            | Default::Flag(_, source)
            | Default::Word(_, source)
            | Default::Derived(_, source) => source,
            Default::Required | Default::Unset(_) | Default::As(_) => "",
        }
    }

    /// How to write it: `write flow = "350 L/s" (or cfm, m3/h)`.
    pub(crate) fn hint(&self) -> String {
        let key = self.name;
        match self.kind {
            Kind::Quantity(Dimension::Fraction) => {
                format!("write {key} = 0.25 or {key} = \"25 %\"")
            }
            Kind::Quantity(dimension) => {
                dimension
                    .advice(None)
                    .replacen("write ", &format!("write {key} = "), 1)
            }
            Kind::Quantities(dimension) => {
                format!("write {key} = [\"{}\", ...]", dimension.example())
            }
            Kind::Number => format!("write a bare number: {key} = 3.2"),
            Kind::Numbers => format!("write a list of bare numbers: {key} = [1.0, 0.5]"),
            Kind::Integer => format!("write a whole number: {key} = 2"),
            Kind::Integers => format!("write a list of whole numbers: {key} = [1, 2]"),
            Kind::Flag => format!("write {key} = true or {key} = false"),
            Kind::Text => format!("write {key} = \"...\""),
            Kind::Texts => format!("write {key} = [\"...\", \"...\"]"),
            Kind::Choice(words) => format!("write {key} = one of {}", quoted(words)),
            Kind::Words(words) => format!("write {key} = a list of {}", quoted(words)),
            Kind::FlagOrWords(words) => {
                format!("write {key} = true, or a list of {}", quoted(words))
            }
            Kind::Name(..) => format!("write the name of one: {key} = \"living\""),
            Kind::Names(_) => {
                format!("write a list of names: {key} = [\"living\", \"bed-1\"]")
            }
            Kind::TimeOfDay => format!("write hours and minutes: {key} = \"06:30\""),
            Kind::Weekdays => {
                format!("write {key} = \"mon-fri\", [\"sat\", \"sun\"] or \"every day\"")
            }
            Kind::DateTime => format!("write local clock time: {key} = \"2025-01-15 06:00\""),
            Kind::Size => "write width and height, as in \"300 mm x 150 mm\"".into(),
            Kind::Loose => {
                format!("write {key} = a number, with the unit of the key where it has one")
            }
            Kind::Looses => "write values = [0.3, 0.5] or [\"10 kW\", \"14 kW\"]; keys that are \
                             words are for --vary"
                .into(),
        }
    }
}

/// `"cooling", "heating"`.
pub(super) fn quoted(words: &[&str]) -> String {
    let quoted: Vec<_> = words.iter().map(|word| format!("\"{word}\"")).collect();
    quoted.join(", ")
}

/// The words of pairs of a word and what it stands for, so that a choice is declared once.
pub(super) const fn words<T: Copy, const N: usize>(
    pairs: &[(&'static str, T); N],
) -> [&'static str; N] {
    let mut words = [""; N];
    let mut i = 0;
    while i < N {
        words[i] = pairs[i].0;
        i += 1;
    }
    words
}

/// Every table, in the order in which a scenario is usually written.
pub(crate) static TABLES: &[TableSpec] = &[
    run::TOP,
    run::SITE,
    run::RUN,
    run::WEATHER,
    house::HOUSE,
    house::ROOM,
    house::WALLS,
    house::WINDOWS,
    house::PEOPLE,
    house::EQUIPMENT,
    house::DOOR,
    house::OPEN,
    air::FAN,
    air::POINTS,
    air::FILTER,
    air::COIL,
    air::RETURN,
    air::DUCTS,
    air::TRUNK,
    air::OUTLET,
    air::RELIEF,
    run::UNIT,
    control::CONTROL,
    control::OPTIMUM_START,
    control::THERMOSTAT,
    control::DAMPERS,
    control::ZONE,
    control::SCHEDULE,
    control::PROTECTION,
    control::LOW_SUPPLY,
    control::COIL_FREEZE,
    control::HIGH_SUPPLY,
    control::HIGH_STATIC,
    control::ACTION,
    judged::LIMITS,
    sound::SOUND,
    judged::FAULT,
    judged::UNCERTAINTY,
    judged::UNCERTAIN,
];

/// The table with a path as [`TableSpec::path`] writes it.
pub(crate) fn find(path: &str) -> Option<&'static TableSpec> {
    TABLES.iter().find(|table| table.path == path)
}
