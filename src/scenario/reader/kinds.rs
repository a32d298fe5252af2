//! The kinds of value a key may have, and how each is read.

use super::field::Show;
use super::{Field, Name, Section, calendar};
use crate::quantity::{self, Dimension, Unit, UnitSystem, significant};
use crate::scenario::diagnostic::{Diagnostic, nearest};
use crate::scenario::source::At;
use crate::scenario::tree::{Node, Value};

impl<'a> Section<'a> {
    fn field<'s, T>(
        &'s self,
        key: &str,
        hint: String,
        read: impl FnOnce(&'a Node) -> Result<T, Diagnostic>,
        show: Show<'s, T>,
    ) -> Field<'s, T> {
        let found = self.ask(key).map(read).transpose();
        Field {
            section: self,
            key: key.to_owned(),
            found,
            written: Vec::new(),
            hint,
            show,
        }
    }

    /// A quantity with its unit, as SI (temperatures °C, angles degrees).
    pub fn quantity(&self, key: &str, dimension: Dimension) -> Field<'_, f64> {
        let mut written = Vec::new();
        let read = |node: &'a Node| number_in(key, node, dimension, &mut written);
        let show = move |value: &f64| shown_quantity(*value, dimension);
        let mut field = self.field(key, hint(key, dimension), read, Box::new(show));
        field.written = written;
        field
    }

    /// A list of quantities of one dimension.
    pub fn quantities(&self, key: &str, dimension: Dimension) -> Field<'_, Vec<f64>> {
        let mut written = Vec::new();
        let example = dimension.example();
        let hint = format!("write {key} = [\"{example}\", ...]");
        let read = |node: &'a Node| {
            let items = items(self, key, node, &hint)?;
            items
                .iter()
                .map(|item| number_in(key, item, dimension, &mut written))
                .collect()
        };
        let show = move |values: &Vec<f64>| {
            let shown = values
                .iter()
                .map(|value| shown_quantity(*value, dimension).0);
            (format!("[{}]", shown.collect::<Vec<_>>().join(", ")), None)
        };
        let mut field = self.field(key, hint.clone(), read, Box::new(show));
        field.written = written;
        field
    }

    /// A share of a whole, from 0 to 1; `0.25` or `"25 %"`.
    pub fn fraction(&self, key: &str) -> Field<'_, f64> {
        self.quantity(key, Dimension::Fraction).within(0.0, 1.0)
    }

    /// A number that has no dimension, such as a COP.
    pub fn number(&self, key: &str) -> Field<'_, f64> {
        let hint = format!("write a bare number: {key} = 3.2");
        let read = |node: &'a Node| bare_number(self, key, node, &hint);
        let show = |value: &f64| (significant(*value, 6), None);
        self.field(key, hint.clone(), read, Box::new(show))
    }

    /// A list of numbers that have no dimension.
    pub fn numbers(&self, key: &str) -> Field<'_, Vec<f64>> {
        let hint = format!("write a list of bare numbers: {key} = [1.0, 0.5]");
        let mut written = Vec::new();
        let read = |node: &'a Node| {
            let items = items(self, key, node, &hint)?;
            written.extend(items.iter().map(|item| (item.at.clone(), None)));
            items
                .iter()
                .map(|item| bare_number(self, key, item, &hint))
                .collect()
        };
        let show = |values: &Vec<f64>| {
            let shown: Vec<_> = values.iter().map(|value| significant(*value, 6)).collect();
            (format!("[{}]", shown.join(", ")), None)
        };
        let mut field = self.field(key, hint.clone(), read, Box::new(show));
        field.written = written;
        field
    }

    /// A whole number.
    pub fn integer(&self, key: &str) -> Field<'_, i64> {
        let hint = format!("write a whole number: {key} = 2");
        let read = |node: &'a Node| match node.value {
            Value::Integer(number) => Ok(number),
            _ => Err(self.not_a(node, key, "a whole number").advise(&*hint)),
        };
        self.field(
            key,
            hint.clone(),
            read,
            Box::new(|value| (value.to_string(), None)),
        )
    }

    /// A whole number of things, 0 or more.
    pub fn count(&self, key: &str) -> Field<'_, usize> {
        let hint = format!("write a whole number, 0 or more: {key} = 2");
        let read = |node: &'a Node| match node.value {
            Value::Integer(number) => usize::try_from(number).map_err(|_| {
                Diagnostic::at(&node.at, format!("`{key}` cannot be {number}")).advise(&*hint)
            }),
            _ => Err(self.not_a(node, key, "a whole number").advise(&*hint)),
        };
        self.field(
            key,
            hint.clone(),
            read,
            Box::new(|value| (value.to_string(), None)),
        )
    }

    /// `true` or `false`.
    pub fn flag(&self, key: &str) -> Field<'_, bool> {
        let hint = format!("write {key} = true or {key} = false");
        let read = |node: &'a Node| match node.value {
            Value::Flag(flag) => Ok(flag),
            _ => Err(self.not_a(node, key, "true or false").advise(&*hint)),
        };
        self.field(
            key,
            hint.clone(),
            read,
            Box::new(|value| (value.to_string(), None)),
        )
    }

    /// A text that is not blank.
    pub fn text(&self, key: &str) -> Field<'_, String> {
        let hint = format!("write {key} = \"...\"");
        let read = |node: &'a Node| text(self, key, node, &hint).map(str::to_owned);
        self.field(
            key,
            hint.clone(),
            read,
            Box::new(|value| (value.clone(), None)),
        )
    }

    /// One of several words, each standing for a value.
    pub fn choice<'s, T: Clone + PartialEq>(
        &'s self,
        key: &str,
        options: &'s [(&'s str, T)],
    ) -> Field<'s, T> {
        let words = || options.iter().map(|(word, _)| *word);
        let quoted = words()
            .map(|word| format!("\"{word}\""))
            .collect::<Vec<_>>()
            .join(", ");
        let hint = format!("write {key} = one of {quoted}");
        let read = |node: &'a Node| {
            let written = text(self, key, node, &hint)?;
            if let Some((_, value)) = options.iter().find(|(word, _)| *word == written) {
                return Ok(value.clone());
            }
            let advice = match nearest(written, words()) {
                Some(near) => format!("did you mean \"{near}\"? The choices are {quoted}"),
                None => format!("write one of {quoted}"),
            };
            let what = format!("`{key}` cannot be \"{written}\"");
            Err(Diagnostic::at(&node.at, what).advise(advice))
        };
        let show = |value: &T| {
            let word = options
                .iter()
                .find(|(_, option)| option == value)
                .map(|(word, _)| *word);
            (word.unwrap_or("(none of the choices)").to_owned(), None)
        };
        self.field(key, hint.clone(), read, Box::new(show))
    }

    /// The name of something else in the scenario.
    pub fn name(&self, key: &str) -> Field<'_, Name> {
        let hint = format!("write the name of one: {key} = \"living\"");
        let read = |node: &'a Node| Name::read(text(self, key, node, &hint)?, &node.at);
        self.field(
            key,
            hint.clone(),
            read,
            Box::new(|name| (name.text.clone(), None)),
        )
    }

    /// A list of names, each at most once.
    pub fn names(&self, key: &str) -> Field<'_, Vec<Name>> {
        let hint = format!("write a list of names: {key} = [\"living\", \"bed-1\"]");
        let read = |node: &'a Node| {
            let mut names: Vec<Name> = Vec::new();
            for item in items(self, key, node, &hint)? {
                let name = Name::read(text(self, key, item, &hint)?, &item.at)?;
                if let Some(first) = names.iter().find(|have| have.text == name.text) {
                    let what = format!("`{key}` lists \"{name}\" twice");
                    return Err(Diagnostic::at(&name.at, what)
                        .and_at(&first.at, "first here")
                        .advise("take one out"));
                }
                names.push(name);
            }
            Ok(names)
        };
        let show = |names: &Vec<Name>| {
            let names: Vec<_> = names.iter().map(Name::as_str).collect();
            (format!("[{}]", names.join(", ")), None)
        };
        self.field(key, hint.clone(), read, Box::new(show))
    }

    /// A time of day, minutes after midnight, 0 to 1440; `"24:00"` is the end of the day.
    pub fn time_of_day(&self, key: &str) -> Field<'_, u32> {
        let hint = format!("write hours and minutes: {key} = \"06:30\"");
        let read = |node: &'a Node| {
            calendar_text(
                self,
                key,
                node,
                "a time of day",
                &hint,
                calendar::time_of_day,
            )
        };
        self.field(
            key,
            hint.clone(),
            read,
            Box::new(|at| (calendar::show_time_of_day(*at), None)),
        )
    }

    /// A local date and time; a date alone is its midnight.
    pub fn datetime(&self, key: &str) -> Field<'_, chrono::NaiveDateTime> {
        let hint = format!("write local clock time: {key} = \"2025-01-15 06:00\"");
        let read = |node: &'a Node| {
            calendar_text(
                self,
                key,
                node,
                "a date and time",
                &hint,
                calendar::datetime,
            )
        };
        let show = |at: &chrono::NaiveDateTime| (at.format("%Y-%m-%d %H:%M").to_string(), None);
        self.field(key, hint.clone(), read, Box::new(show))
    }

    /// Days of the week as a mask, bit 0 Monday to bit 6 Sunday: `"mon-fri"`, `["sat", "sun"]`, `"every day"`.
    pub fn weekdays(&self, key: &str) -> Field<'_, u8> {
        let hint = format!("write {key} = \"mon-fri\", [\"sat\", \"sun\"] or \"every day\"");
        let one = |node: &Node| {
            calendar_text(
                self,
                key,
                node,
                "days of the week",
                &hint,
                calendar::weekdays,
            )
        };
        let read = |node: &'a Node| match &node.value {
            Value::List(items) if items.is_empty() => {
                Err(Diagnostic::at(&node.at, format!("`{key}` lists no day")).advise(&*hint))
            }
            Value::List(items) => items.iter().try_fold(0, |mask, item| Ok(mask | one(item)?)),
            _ => one(node),
        };
        let show = |mask: &u8| (calendar::show_weekdays(*mask), None);
        self.field(key, hint.clone(), read, Box::new(show))
    }
}

fn hint(key: &str, dimension: Dimension) -> String {
    match dimension {
        Dimension::Fraction => format!("write {key} = 0.25 or {key} = \"25 %\""),
        _ => dimension
            .advice(None)
            .replacen("write ", &format!("write {key} = "), 1),
    }
}

fn shown_quantity(value: f64, dimension: Dimension) -> (String, Option<(f64, Dimension)>) {
    let shown = quantity::display_full(value, dimension, UnitSystem::Si);
    (shown, Some((value, dimension)))
}

fn number_in(
    key: &str,
    node: &Node,
    dimension: Dimension,
    written: &mut Vec<(At, Option<&'static Unit>)>,
) -> Result<f64, Diagnostic> {
    let bare = match node.value {
        Value::Number(number) => Some(number),
        Value::Integer(number) => Some(number as f64),
        _ => None,
    };
    let (value, unit) = match (&node.value, bare) {
        (_, Some(number)) if dimension == Dimension::Fraction => (
            number,
            dimension.units().iter().find(|unit| unit.symbol.is_empty()),
        ),
        (_, Some(_)) => {
            let what = format!(
                "`{key}` is a bare number, and needs a unit of {}",
                dimension.name()
            );
            return Err(
                Diagnostic::at(&node.at, what).advise(dimension.advice(Some(node.at.text())))
            );
        }
        (Value::Text(text), _) => match quantity::parse_written(text, dimension) {
            Ok(quantity) => (quantity.value_si, Some(quantity.unit)),
            Err(error) => {
                return Err(
                    Diagnostic::at(&node.at, format!("`{key}`: {error}")).advise(error.advice())
                );
            }
        },
        (other, _) => {
            let what = format!(
                "`{key}` is {}, and {} is due",
                other.kind(),
                dimension.name()
            );
            return Err(Diagnostic::at(&node.at, what).advise(hint(key, dimension)));
        }
    };
    written.push((node.at.clone(), unit));
    Ok(value)
}

fn bare_number(
    section: &Section<'_>,
    key: &str,
    node: &Node,
    hint: &str,
) -> Result<f64, Diagnostic> {
    match node.value {
        Value::Number(number) => Ok(number),
        Value::Integer(number) => Ok(number as f64),
        _ => Err(section.not_a(node, key, "a bare number").advise(hint)),
    }
}

fn items<'n>(
    section: &Section<'_>,
    key: &str,
    node: &'n Node,
    hint: &str,
) -> Result<&'n [Node], Diagnostic> {
    match &node.value {
        Value::List(items) => Ok(items),
        _ => Err(section.not_a(node, key, "a list").advise(hint)),
    }
}

fn text<'n>(
    section: &Section<'_>,
    key: &str,
    node: &'n Node,
    hint: &str,
) -> Result<&'n str, Diagnostic> {
    match &node.value {
        Value::Text(text) if text.trim().is_empty() => {
            Err(Diagnostic::at(&node.at, format!("`{key}` is blank")).advise(hint))
        }
        Value::Text(text) => Ok(text),
        _ => Err(section.not_a(node, key, "a text in quotes").advise(hint)),
    }
}

/// A text, or a date or time as TOML writes them, read by one of the calendar's readers.
fn calendar_text<T>(
    section: &Section<'_>,
    key: &str,
    node: &Node,
    due: &str,
    hint: &str,
    read: impl FnOnce(&str) -> Option<T>,
) -> Result<T, Diagnostic> {
    let written = match &node.value {
        Value::DateTime(text) => text,
        _ => text(section, key, node, hint)?,
    };
    read(written).ok_or_else(|| {
        Diagnostic::at(&node.at, format!("`{key}`: \"{written}\" is not {due}")).advise(hint)
    })
}
