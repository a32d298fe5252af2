//! The catalogue as a JSON Schema (draft 2020-12), for editors of TOML.
//!
//! A file that is based on another may leave out what must be written; values of quantities are held to their units, not
//! to their ranges, which stand in the descriptions.

use super::{Default, Key, Kind, TABLES, TableSpec};
use crate::quantity::{Dimension, UnitSystem};
use crate::scenario::reader::Name;
use serde_json::{Map, Value, json};

const NUMBER: &str = r"^\s*[-+−–]?\s*(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?\s*";
const TIME: &str = r"^\s*\d{1,2}:\d{2}(:00)?\s*$";
const NAME: &str = "^[A-Za-z][A-Za-z0-9_-]*$";

/// The schema of a scenario file.
pub(crate) fn schema() -> Value {
    let mut top = object(&TABLES[0]);
    top["$schema"] = json!("https://json-schema.org/draft/2020-12/schema");
    top["title"] = json!("Scenario of openshut");
    let (required, properties) = needed();
    top["if"] = json!({ "not": { "required": ["based_on"] } });
    top["then"] = json!({ "required": required, "properties": properties });
    top
}

/// What a file that is based on nothing must have: tables, and keys in them.
fn needed() -> (Vec<&'static str>, Map<String, Value>) {
    let mut required = Vec::new();
    let mut properties = Map::new();
    for table in TABLES.iter().filter(|t| !t.path.is_empty()) {
        let keys = always_required(table);
        if let Some(name) = table.path.strip_suffix(".<name>") {
            let rest = json!({ "additionalProperties": { "required": keys }, "minProperties": table.count.0 });
            properties.insert(name.into(), rest);
            if table.count.0 > 0 {
                required.push(name);
            }
        } else if !table.path.contains(['.', '[']) && !keys.is_empty() {
            properties.insert(table.path.into(), json!({ "required": keys }));
            required.push(table.path);
        }
    }
    (required, properties)
}

fn always_required(table: &TableSpec) -> Vec<&'static str> {
    let always = |key: &&Key| key.default == Default::Required && key.when.is_empty();
    table
        .keys
        .iter()
        .filter(always)
        .map(|key| key.name)
        .collect()
}

/// A table with its keys and the tables below it.
fn object(table: &TableSpec) -> Value {
    let mut properties = Map::new();
    for key in table.keys {
        let twins: Vec<Value> = table.named(key.name).map(described).collect();
        let value = match <[Value; 1]>::try_from(twins) {
            Ok([one]) => one,
            Err(several) => json!({ "anyOf": several }),
        };
        properties.insert(key.name.into(), value);
    }
    let mut others = json!(false);
    for below in TABLES {
        let start = match table.path {
            "" => String::new(),
            path => format!("{path}."),
        };
        let Some(rest) = below
            .path
            .strip_prefix(&start)
            .filter(|rest| !rest.is_empty())
        else {
            continue;
        };
        if rest == "<key>" {
            others = object(below);
        } else if let Some(name) = rest.strip_suffix(".<name>").filter(|n| is_plain(n)) {
            let tables = json!({
                "description": below.about,
                "type": "object",
                "propertyNames": { "pattern": NAME, "maxLength": Name::MOST },
                "maxProperties": below.count.1,
                "additionalProperties": object(below),
            });
            properties.insert(name.into(), tables);
        } else if let Some(name) = rest.strip_suffix("[]").filter(|n| is_plain(n)) {
            let mut item = object(below);
            item["required"] = json!(always_required(below));
            let list = json!({ "type": "array", "maxItems": below.count.1, "items": item });
            let either = match properties.remove(name) {
                Some(word) => json!({ "anyOf": [word, list] }),
                None => list,
            };
            properties.insert(name.into(), either);
        } else if is_plain(rest) {
            properties.insert(rest.into(), object(below));
        }
    }
    json!({
        "description": table.about,
        "type": "object",
        "properties": properties,
        "additionalProperties": others,
    })
}

fn is_plain(name: &str) -> bool {
    !name.contains(['.', '[', '<'])
}

fn described(key: &Key) -> Value {
    let mut value = value(key);
    let words = [
        key.about.to_owned(),
        format!("Value: {}.", key.value_words(UnitSystem::Si)),
        format!("Default: {}.", key.default_words(UnitSystem::Si)),
        key.when_words(),
    ];
    value["description"] = json!(words.join(" ").trim());
    value
}

fn value(key: &Key) -> Value {
    let number = |kind: &str| {
        let mut number = json!({ "type": kind });
        let (least, most) = key.range;
        let lower = if key.above {
            "exclusiveMinimum"
        } else {
            "minimum"
        };
        if least.is_finite() {
            number[lower] = json!(least);
        }
        if most.is_finite() {
            number["maximum"] = json!(most);
        }
        number
    };
    let list = |items: Value| json!({ "type": "array", "items": items, "maxItems": key.most });
    let text = |most: usize| json!({ "type": "string", "pattern": r"\S", "maxLength": most });
    let pattern = |pattern: &str| json!({ "type": "string", "pattern": pattern });
    let name = || json!({ "type": "string", "pattern": NAME, "maxLength": Name::MOST });
    let loose = || json!({ "anyOf": [{ "type": "number" }, pattern(NUMBER)] });
    match key.kind {
        Kind::Quantity(Dimension::Fraction) => {
            json!({ "anyOf": [number("number"), pattern(&quantity(Dimension::Fraction))] })
        }
        Kind::Quantity(dimension) => {
            json!({ "type": "string", "pattern": quantity(dimension), "examples": [dimension.example()] })
        }
        Kind::Quantities(dimension) => list(pattern(&quantity(dimension))),
        Kind::Number => number("number"),
        Kind::Numbers => list(number("number")),
        Kind::Integer => number("integer"),
        Kind::Integers => {
            let mut list = list(number("integer"));
            list["minItems"] = json!(1);
            list
        }
        Kind::Flag => json!({ "type": "boolean" }),
        Kind::Text => text(key.most),
        Kind::Texts => list(text(super::TEXT_MOST)),
        Kind::Choice(words) => json!({ "enum": words }),
        Kind::Words(words) => list(json!({ "enum": words })),
        Kind::FlagOrWords(words) => {
            json!({ "anyOf": [{ "type": "boolean" }, list(json!({ "enum": words }))] })
        }
        Kind::Name(..) => name(),
        Kind::Names(_) => list(name()),
        Kind::TimeOfDay => pattern(TIME),
        Kind::Weekdays => json!({ "anyOf": [text(60), list(text(60))] }),
        Kind::DateTime => pattern(r"^\s*\d{4}-\d{2}-\d{2}([ T]\d{2}:\d{2}(:\d{2})?)?\s*$"),
        Kind::Size => pattern(r"^[^x×]+[x×][^x×]+$"),
        Kind::Loose => loose(),
        Kind::Looses => list(loose()),
    }
}

/// A pattern of a number with one of the units of a dimension, in either letter case.
fn quantity(dimension: Dimension) -> String {
    let mut units: Vec<String> = Vec::new();
    for spelling in dimension
        .units()
        .iter()
        .flat_map(|unit| unit.all_spellings())
    {
        let mut pattern = String::new();
        for letter in spelling.chars() {
            match letter {
                ' ' => pattern += r"\s*",
                // A leading m or M may be milli or mega.
                'm' | 'M' if pattern.is_empty() => pattern.push(letter),
                _ if letter.is_ascii_alphabetic() => {
                    let (low, high) = (letter.to_ascii_lowercase(), letter.to_ascii_uppercase());
                    pattern += &format!("[{low}{high}]");
                }
                _ if letter.is_alphanumeric() => pattern.push(letter),
                _ => pattern += &format!("[{}]\\s*", escape(letter)),
            }
        }
        if !units.contains(&pattern) {
            units.push(pattern);
        }
    }
    format!("{NUMBER}({})\\s*$", units.join("|"))
}

fn escape(letter: char) -> String {
    if r"\]^-[".contains(letter) {
        format!("\\{letter}")
    } else {
        letter.to_string()
    }
}
