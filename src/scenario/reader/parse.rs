//! The value of a key, read as its declaration says.

use super::super::catalogue::{Key, Kind, TEXT_MOST, quoted};
use super::super::diagnostic::{Diagnostic, nearest};
use super::super::source::At;
use super::super::tree::{Node, Value};
use super::{Name, calendar};
use crate::quantity::{self, Dimension, Unit, in_unit, significant};

/// A value as its key's kind has it.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Parsed {
    /// A quantity, SI, or a number.
    Number(f64),
    /// A list of them.
    Numbers(Vec<f64>),
    /// A flag.
    Flag(bool),
    /// A text, or a word of a choice.
    Text(String),
    /// A name.
    Name(Name),
    /// Names, or words.
    Names(Vec<Name>),
    /// Minutes after midnight, 0 to 1440.
    Minute(u32),
    /// Days of the week, bit 0 Monday.
    Days(u8),
    /// A local date and time.
    Moment(chrono::NaiveDateTime),
    /// Width and height, m.
    Size([f64; 2]),
    /// What its reader takes apart: a number in the unit of another key.
    Loose,
}

/// Reads one value.
///
/// # Errors
/// Another kind of value, a unit that is missing or wrong, a number out of range, a word that is none of the
/// choices, a text or list too long.
pub(crate) fn parse(key: &Key, node: &Node) -> Result<Parsed, Diagnostic> {
    match key.kind {
        Kind::Quantity(dimension) => {
            let (value, unit) = quantity_in(key, node, dimension)?;
            bound(key, value, &node.at, unit).map(Parsed::Number)
        }
        Kind::Quantities(dimension) => {
            let one = |item: &Node| {
                let (value, unit) = quantity_in(key, item, dimension)?;
                bound(key, value, &item.at, unit)
            };
            list(key, node, one).map(Parsed::Numbers)
        }
        Kind::Number => bare(key, node).map(Parsed::Number),
        Kind::Numbers => list(key, node, |item| bare(key, item)).map(Parsed::Numbers),
        Kind::Integer => whole(key, node).map(Parsed::Number),
        Kind::Integers => {
            let numbers = list(key, node, |item| whole(key, item))?;
            if numbers.is_empty() {
                return Err(empty(key, node));
            }
            Ok(Parsed::Numbers(numbers))
        }
        Kind::Flag => flag(key, node).map(Parsed::Flag),
        Kind::Text => text(key, node).map(|text| Parsed::Text(text.to_owned())),
        Kind::Texts => {
            list(key, node, |item| Ok(text(key, item)?.to_owned()))?;
            Ok(Parsed::Loose)
        }
        Kind::Choice(words) => {
            let word = word(key, node, words)?;
            Ok(Parsed::Text(word.to_owned()))
        }
        Kind::Words(words) => names(key, node, Some(words)).map(Parsed::Names),
        Kind::FlagOrWords(words) => match node.value {
            Value::List(_) => names(key, node, Some(words)).map(Parsed::Names),
            _ => flag(key, node).map(Parsed::Flag),
        },
        Kind::Name(..) => Name::read(text(key, node)?, &node.at).map(Parsed::Name),
        Kind::Names(_) => names(key, node, None).map(Parsed::Names),
        Kind::TimeOfDay => {
            calendar_text(key, node, "a time of day", calendar::time_of_day).map(Parsed::Minute)
        }
        Kind::DateTime => {
            calendar_text(key, node, "a date and time", calendar::datetime).map(Parsed::Moment)
        }
        Kind::Weekdays => {
            let one =
                |node: &Node| calendar_text(key, node, "days of the week", calendar::weekdays);
            match &node.value {
                Value::List(items) if items.is_empty() => Err(empty(key, node)),
                Value::List(items) => items
                    .iter()
                    .try_fold(0, |mask, item| Ok(mask | one(item)?))
                    .map(Parsed::Days),
                _ => one(node).map(Parsed::Days),
            }
        }
        Kind::Size => size(key, node),
        Kind::Loose => loose(key, node),
        Kind::Looses => {
            if list(key, node, |item| loose(key, item))?.is_empty() {
                return Err(empty(key, node));
            }
            Ok(Parsed::Loose)
        }
    }
}

fn not_a(key: &Key, node: &Node, due: &str) -> Diagnostic {
    let (name, kind) = (key.name, node.value.kind());
    Diagnostic::at(&node.at, format!("`{name}` is {kind}, and {due} is due")).advise(key.hint())
}

fn empty(key: &Key, node: &Node) -> Diagnostic {
    Diagnostic::at(&node.at, format!("`{}` is an empty list", key.name)).advise(key.hint())
}

fn quantity_in(
    key: &Key,
    node: &Node,
    dimension: Dimension,
) -> Result<(f64, Option<&'static Unit>), Diagnostic> {
    let name = key.name;
    let bare = match node.value {
        Value::Number(number) => Some(number),
        Value::Integer(number) => Some(number as f64),
        _ => None,
    };
    match (&node.value, bare) {
        (_, Some(number)) if dimension == Dimension::Fraction => {
            let plain = |unit: &&Unit| unit.symbol.is_empty();
            Ok((number, dimension.units().iter().find(plain)))
        }
        (_, Some(_)) => {
            let unit = dimension.name();
            let what = format!("`{name}` is a bare number, and needs a unit of {unit}");
            let advice = dimension.advice(Some(node.at.text()));
            Err(Diagnostic::at(&node.at, what).advise(advice))
        }
        (Value::Text(text), _) => match quantity::parse_written(text, dimension) {
            Ok(quantity) => Ok((quantity.value_si, Some(quantity.unit))),
            Err(error) => {
                let what = format!("`{name}`: {error}");
                Err(Diagnostic::at(&node.at, what).advise(error.advice()))
            }
        },
        _ => Err(not_a(key, node, dimension.name())),
    }
}

fn bound(key: &Key, value: f64, at: &At, unit: Option<&'static Unit>) -> Result<f64, Diagnostic> {
    let (least, most) = key.range;
    let too_low = value < least || (key.above && value <= least);
    if !too_low && value <= most {
        return Ok(value);
    }
    let shown = |value: f64| match unit {
        Some(unit) => in_unit(value, unit, 6),
        None => significant(value, 6),
    };
    let from = if key.above { "more than" } else { "at least" };
    let mut advice = match (least.is_finite(), most.is_finite()) {
        (true, true) if !key.above => {
            format!("write a value from {} to {}", shown(least), shown(most))
        }
        (true, true) => format!("write {from} {}, at most {}", shown(least), shown(most)),
        (true, false) => format!("write {from} {}", shown(least)),
        _ => format!("write at most {}", shown(most)),
    };
    if unit.is_some_and(|unit| unit.symbol.is_empty()) && value > 1.0 && value <= 100.0 {
        let percent = significant(value, 6);
        advice = format!("{advice}; {percent} per cent is \"{percent} %\"");
    }
    let what = format!("`{}` is {}, which is out of bounds", key.name, shown(value));
    Err(Diagnostic::at(at, what).advise(advice))
}

fn bare(key: &Key, node: &Node) -> Result<f64, Diagnostic> {
    match node.value {
        Value::Number(number) => bound(key, number, &node.at, None),
        Value::Integer(number) => bound(key, number as f64, &node.at, None),
        _ => Err(not_a(key, node, "a bare number")),
    }
}

fn whole(key: &Key, node: &Node) -> Result<f64, Diagnostic> {
    match node.value {
        // Numbers of things are small; one beyond 2^53 is out of any bounds either way.
        Value::Integer(number) => bound(key, number as f64, &node.at, None),
        _ => Err(not_a(key, node, "a whole number")),
    }
}

fn flag(key: &Key, node: &Node) -> Result<bool, Diagnostic> {
    match node.value {
        Value::Flag(flag) => Ok(flag),
        _ => Err(not_a(key, node, "true or false")),
    }
}

fn list<T>(
    key: &Key,
    node: &Node,
    one: impl Fn(&Node) -> Result<T, Diagnostic>,
) -> Result<Vec<T>, Diagnostic> {
    let Value::List(items) = &node.value else {
        return Err(not_a(key, node, "a list"));
    };
    if items.len() > key.most {
        let what = format!("`{}` lists {}", key.name, items.len());
        let advice = format!("write at most {}", key.most);
        return Err(Diagnostic::at(&node.at, what).advise(advice));
    }
    Diagnostic::gather(items.iter().map(one))
}

fn text<'n>(key: &Key, node: &'n Node) -> Result<&'n str, Diagnostic> {
    // The texts of a list may be as long as texts usually may.
    let most = match key.kind {
        Kind::Text => key.most,
        _ => TEXT_MOST,
    };
    match &node.value {
        Value::Text(text) if text.trim().is_empty() => {
            let what = format!("`{}` is blank", key.name);
            Err(Diagnostic::at(&node.at, what).advise(key.hint()))
        }
        Value::Text(text) if text.chars().count() > most => {
            let what = format!("`{}` has {} characters", key.name, text.chars().count());
            let advice = format!("write at most {most}");
            Err(Diagnostic::at(&node.at, what).advise(advice))
        }
        Value::Text(text) => Ok(text),
        _ => Err(not_a(key, node, "a text in quotes")),
    }
}

fn word<'n>(key: &Key, node: &'n Node, words: &[&str]) -> Result<&'n str, Diagnostic> {
    let written = text(key, node)?;
    if words.contains(&written) {
        return Ok(written);
    }
    let quoted = quoted(words);
    let advice = match nearest(written, words.iter().copied()) {
        Some(near) => format!("did you mean \"{near}\"? The choices are {quoted}"),
        None => format!("write one of {quoted}"),
    };
    let what = format!("`{}` cannot be \"{written}\"", key.name);
    Err(Diagnostic::at(&node.at, what).advise(advice))
}

fn names(key: &Key, node: &Node, words: Option<&[&str]>) -> Result<Vec<Name>, Diagnostic> {
    let names = list(key, node, |item| match words {
        Some(words) => Ok(Name {
            text: word(key, item, words)?.to_owned(),
            at: item.at.clone(),
        }),
        None => Name::read(text(key, item)?, &item.at),
    })?;
    for (i, name) in names.iter().enumerate() {
        if let Some(first) = names[..i].iter().find(|have| have.text == name.text) {
            let what = format!("`{}` lists \"{name}\" twice", key.name);
            return Err(Diagnostic::at(&name.at, what)
                .and_at(&first.at, "first here")
                .advise("take one out"));
        }
    }
    Ok(names)
}

/// A text, or a date or time as TOML writes them, read by one of the calendar's readers.
fn calendar_text<T>(
    key: &Key,
    node: &Node,
    due: &str,
    read: impl FnOnce(&str) -> Option<T>,
) -> Result<T, Diagnostic> {
    let written = match &node.value {
        Value::DateTime(text) => text,
        _ => text(key, node)?,
    };
    read(written).ok_or_else(|| {
        let what = format!("`{}`: \"{written}\" is not {due}", key.name);
        Diagnostic::at(&node.at, what).advise(key.hint())
    })
}

fn size(key: &Key, node: &Node) -> Result<Parsed, Diagnostic> {
    let text = text(key, node)?;
    let sides: Vec<f64> = text
        .split(['x', '×'])
        .filter_map(|side| quantity::parse(side.trim(), Dimension::Length).ok())
        .collect();
    let ok = |side: &f64| (key.range.0..=key.range.1).contains(side);
    match sides.as_slice() {
        [w, h] if ok(w) && ok(h) => Ok(Parsed::Size([*w, *h])),
        _ => {
            let what = format!("\"{text}\" is not the size of a {}", key.name);
            let advice = format!(
                "{}, each {:.0} mm to {:.0} m",
                key.hint(),
                1000.0 * key.range.0,
                key.range.1
            );
            Err(Diagnostic::at(&node.at, what).advise(advice))
        }
    }
}

fn loose(key: &Key, node: &Node) -> Result<Parsed, Diagnostic> {
    match &node.value {
        Value::Number(_) | Value::Integer(_) => Ok(Parsed::Loose),
        Value::Text(text) if super::split_number(text).is_some() => Ok(Parsed::Loose),
        Value::Text(text) => {
            let what = format!("\"{text}\" does not start with a number");
            Err(Diagnostic::at(&node.at, what).advise(key.hint()))
        }
        _ => Err(not_a(key, node, "a number")),
    }
}
