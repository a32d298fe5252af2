//! `[uncertainty]`: what is not known about a house and its days, for sweeps. A single run takes no
//! notice of it.

use super::diagnostic::Diagnostic;
use super::reader::Section;
use super::tree::{Tree, Value};
use crate::math::distribution::Distribution;

/// Which seed a draw hangs on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Stream {
    /// What is fixed and not known: the house as built (epistemic).
    #[default]
    House,
    /// What differs from day to day: weather, people (aleatory).
    Day,
}

impl Stream {
    /// Both with the word for each in a scenario.
    pub const ALL: [(&'static str, Stream); 2] = [("house", Stream::House), ("day", Stream::Day)];

    /// The word for it in a scenario.
    pub fn word(self) -> &'static str {
        match self {
            Stream::House => "house",
            Stream::Day => "day",
        }
    }
}

/// What a draw does to the value of its key.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Acts {
    /// Takes its place.
    Value,
    /// Is added to it.
    Offset,
    /// Multiplies it.
    Factor,
}

impl Acts {
    const ALL: [(&'static str, Acts); 3] = [
        ("value", Acts::Value),
        ("offset", Acts::Offset),
        ("factor", Acts::Factor),
    ];

    /// The word for it in a scenario.
    pub fn word(self) -> &'static str {
        Acts::ALL
            .iter()
            .find(|(_, a)| *a == self)
            .map_or("", |(w, _)| w)
    }
}

/// One uncertain key.
#[derive(Clone, Debug, PartialEq)]
pub struct Uncertain {
    /// Path of the key, `house.infiltration`.
    pub key: String,
    /// Distribution of the draw, in `unit`.
    pub distribution: Distribution,
    /// Unit of the draw as written; empty for a factor or a bare number.
    pub unit: String,
    /// What the draw does to the key.
    pub acts: Acts,
    /// The seed it hangs on.
    pub stream: Stream,
    /// Draws below are put here.
    pub lowest: Option<f64>,
    /// Draws above are put here.
    pub highest: Option<f64>,
}

/// A group of usual uncertainties that can be switched on, with the source of its spread.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StandardGroup {
    /// Name in a scenario.
    pub name: &'static str,
    /// What is drawn.
    pub shown: &'static str,
    /// Where the figures come from.
    pub source: &'static str,
}

/// Every group, in the order in which its inputs are listed.
pub const STANDARD: [StandardGroup; 10] = [
    StandardGroup {
        name: "envelope",
        shown: "each room's conductance outwards × lognormal, σ of ln 0.15 (0.30 where U-values are defaults)",
        source: "common practice; U-values as built differ by ±20 to 30 % in field studies, from memory",
    },
    StandardGroup {
        name: "leakage",
        shown: "air leakage of the house × lognormal, σ of ln 0.2 (0.66 where it is a default)",
        source: "0.66: spread of 134 000 US houses, LBNL, lognormal as Chan et al. 2005; 0.2: common practice",
    },
    StandardGroup {
        name: "doors",
        shown: "by night each bedroom door open with chance 0.5, by day every door with 0.8; discharge uniform 0.40 to 0.65",
        source: "common practice; discharge from memory",
    },
    StandardGroup {
        name: "people",
        shown: "heat of a person × normal(1, 0.15), moisture × normal(1, 0.2)",
        source: "common practice about ASHRAE's centre",
    },
    StandardGroup {
        name: "appliances",
        shown: "each room's equipment × lognormal, σ of ln 0.5",
        source: "common practice",
    },
    StandardGroup {
        name: "times",
        shown: "comings and goings of people, each room by normal(0, 37.5 min)",
        source: "30 to 45 min without a time-use survey; common practice",
    },
    StandardGroup {
        name: "setpoints",
        shown: "each zone's cooling setpoint + normal(0, 1.5 K), held within 20 to 28 °C",
        source: "common practice; settings differ widely in field data",
    },
    StandardGroup {
        name: "sensors",
        shown: "each thermostat + normal(0, 0.25 K) + uniform 0 to 0.5 K of self-heating; lag lognormal, median 180 s, GSD 2",
        source: "common practice; ISO 7726 asks ±0.5 K, desires ±0.2 K, from memory",
    },
    StandardGroup {
        name: "flow",
        shown: "each outlet's design flow × lognormal, σ of ln 0.125",
        source: "0.10 to 0.15, common practice",
    },
    StandardGroup {
        name: "weather",
        shown: "the day's maximum, minimum or constant temperature + normal(0, 1.5 K)",
        source: "common practice; the whole day moves, weather files are left as they are",
    },
];

/// `[uncertainty]` of a scenario.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Uncertainty {
    /// Standard groups switched on, in the order of [`STANDARD`].
    pub standard: Vec<&'static str>,
    /// Keys with distributions of their own, in the order of the file.
    pub keys: Vec<Uncertain>,
}

pub(super) fn uncertainty(top: &Section<'_>, tree: &Tree) -> Result<Uncertainty, Diagnostic> {
    let Some(s) = top.optional_table("uncertainty")? else {
        return Ok(Uncertainty::default());
    };
    let standard = standard(&s)?;
    for group in STANDARD.iter().filter(|g| standard.contains(&g.name)) {
        s.note(
            &format!("uncertainty.{}", group.name),
            group.shown,
            group.source,
        );
    }
    let mut out = Uncertainty {
        standard,
        keys: Vec::new(),
    };
    if let Some(Value::Table(table)) = tree.root.get("uncertainty").map(|node| &node.value) {
        for (key, entry) in &table.entries {
            if key == "standard" {
                continue;
            }
            let inner = match &entry.node.value {
                Value::Table(inner) => inner,
                _ => continue,
            };
            if inner.get("distribution").is_none()
                && inner
                    .entries
                    .values()
                    .any(|e| matches!(e.node.value, Value::Table(_)))
            {
                let what = format!("[uncertainty.{key}] splits a key at its dots");
                let advice = "put the whole key in quotes: [uncertainty.\"house.infiltration\"]";
                return Err(Diagnostic::at(&entry.key_at, what).advise(advice));
            }
            out.keys.push(one(key, &s.table(key)?)?);
        }
    }
    s.finish()?;
    Ok(out)
}

fn standard(s: &Section<'_>) -> Result<Vec<&'static str>, Diagnostic> {
    if !matches!(s.peek("standard").map(|n| &n.value), Some(Value::List(_))) {
        let all = s.flag("standard").optional()?.unwrap_or(false);
        return Ok(STANDARD.iter().filter(|_| all).map(|g| g.name).collect());
    }
    let names = s.names("standard").optional()?.unwrap_or_default();
    for name in &names {
        if !STANDARD.iter().any(|g| g.name == name.text) {
            return Err(name.unknown("standard group", STANDARD.iter().map(|g| g.name)));
        }
    }
    let wanted = |g: &&StandardGroup| names.iter().any(|n| n.text == g.name);
    Ok(STANDARD.iter().filter(wanted).map(|g| g.name).collect())
}

/// A number with the text of its unit, split where the number ends: `"0.3 1/h"`, `25`.
pub fn split_number(text: &str) -> Option<(f64, &str)> {
    let text = text.trim();
    let cut = |n: usize| {
        let number = text.get(..n)?;
        let number: f64 = number.replace('−', "-").trim().parse().ok()?;
        number
            .is_finite()
            .then(|| (number, text.get(n..).unwrap_or("").trim()))
    };
    // The longest head that is a number; "1e" of "1 eV" and "inf" are none of ours.
    let end = text
        .find(|c: char| !(c.is_ascii_digit() || "+-−.eE".contains(c)))
        .unwrap_or(text.len());
    (1..=end).rev().find_map(cut)
}

#[derive(Clone, Copy, PartialEq)]
enum Kind {
    Normal,
    Lognormal,
    Uniform,
    Triangular,
    Beta,
    Discrete,
}

const KINDS: [(&str, Kind); 6] = [
    ("normal", Kind::Normal),
    ("lognormal", Kind::Lognormal),
    ("uniform", Kind::Uniform),
    ("triangular", Kind::Triangular),
    ("beta", Kind::Beta),
    ("discrete", Kind::Discrete),
];

/// Numbers of one distribution, which must share their unit.
struct Numbers<'s, 'a> {
    section: &'s Section<'a>,
    unit: Option<String>,
}

impl Numbers<'_, '_> {
    fn read(&mut self, key: &str) -> Result<Option<f64>, Diagnostic> {
        let s = self.section;
        let (value, unit) = match s.peek(key).map(|n| &n.value) {
            None => {
                // Asked for, so that the section's own list of keys is whole.
                s.number(key).optional()?;
                return Ok(None);
            }
            Some(Value::Text(_)) => {
                let text = s.text(key).required()?;
                match split_number(&text) {
                    Some((value, unit)) => (value, unit.to_string()),
                    None => {
                        return Err(s.error_at(
                            key,
                            format!("\"{text}\" does not start with a number"),
                            "write a number, with the unit of the key where it has one",
                        ));
                    }
                }
            }
            Some(_) => (s.number(key).required()?, String::new()),
        };
        match &self.unit {
            Some(have) if *have != unit => Err(s.error_at(
                key,
                format!("`{key}` is in \"{unit}\", and the other numbers here are in \"{have}\""),
                "write all of them in one unit",
            )),
            _ => {
                self.unit = Some(unit);
                Ok(Some(value))
            }
        }
    }

    fn need(&mut self, key: &str) -> Result<f64, Diagnostic> {
        self.read(key)?.ok_or_else(|| {
            self.section.error(
                format!("{} needs `{key}`", self.section.header()),
                format!("write {key} = a number, with the unit of the key where it has one"),
            )
        })
    }
}

fn one(key: &str, s: &Section<'_>) -> Result<Uncertain, Diagnostic> {
    let kind = s.choice("distribution", &KINDS).required()?;
    let usual = match kind {
        Kind::Normal => Acts::Offset,
        Kind::Lognormal => Acts::Factor,
        _ => Acts::Value,
    };
    let acts = s.choice("as", &Acts::ALL).optional()?.unwrap_or(usual);
    let stream = s
        .choice("seed", &Stream::ALL)
        .optional()?
        .unwrap_or_default();
    let mut n = Numbers {
        section: s,
        unit: None,
    };
    let positive = |key: &str, v: f64| {
        if v > 0.0 {
            return Ok(v);
        }
        Err(s.error_at(key, format!("`{key}` is {v}"), "write a number above 0"))
    };
    let rising = |low: f64, high: f64| {
        if low < high {
            return Ok(());
        }
        let what = format!("`low` is {low} and `high` is {high}");
        Err(s.error_at("high", what, "write a `high` above `low`"))
    };
    let distribution = match kind {
        Kind::Normal => {
            let neutral = match acts {
                Acts::Value => None,
                Acts::Offset => Some(0.0),
                Acts::Factor => Some(1.0),
            };
            let mean = match (n.read("mean")?, neutral) {
                (Some(mean), _) | (None, Some(mean)) => mean,
                (None, None) => n.need("mean")?,
            };
            let sigma = positive("sigma", n.need("sigma")?)?;
            Distribution::Normal { mean, sigma }
        }
        Kind::Lognormal => {
            let median = match acts {
                Acts::Factor => n.read("median")?.unwrap_or(1.0),
                _ => n.need("median")?,
            };
            Distribution::Lognormal {
                median: positive("median", median)?,
                sigma: s.number("sigma").above(0.0).at_most(5.0).required()?,
            }
        }
        Kind::Uniform => {
            let (low, high) = (n.need("low")?, n.need("high")?);
            rising(low, high)?;
            Distribution::Uniform { low, high }
        }
        Kind::Triangular => {
            let (low, mode, high) = (n.need("low")?, n.need("mode")?, n.need("high")?);
            rising(low, high)?;
            if !(low..=high).contains(&mode) {
                let what = format!("`mode` is {mode}");
                return Err(s.error_at("mode", what, "write a mode between `low` and `high`"));
            }
            Distribution::Triangular { low, mode, high }
        }
        Kind::Beta => {
            let shape = |key: &str| s.number(key).within(0.05, 1000.0).required();
            let (alpha, beta) = (shape("alpha")?, shape("beta")?);
            let (low, high) = (
                n.read("low")?.unwrap_or(0.0),
                n.read("high")?.unwrap_or(1.0),
            );
            rising(low, high)?;
            Distribution::Beta {
                alpha,
                beta,
                low,
                high,
            }
        }
        Kind::Discrete => discrete(s, &mut n)?,
    };
    let (lowest, highest) = (n.read("lowest")?, n.read("highest")?);
    let unit = n.unit.unwrap_or_default();
    if acts == Acts::Factor && !unit.is_empty() {
        return Err(s.error_at(
            "as",
            format!("a factor has no unit, and this is in \"{unit}\""),
            "take the unit out, or write as = \"offset\" or as = \"value\"",
        ));
    }
    s.finish()?;
    Ok(Uncertain {
        key: key.to_string(),
        distribution,
        unit,
        acts,
        stream,
        lowest,
        highest,
    })
}

fn discrete(s: &Section<'_>, n: &mut Numbers<'_, '_>) -> Result<Distribution, Diagnostic> {
    let advice =
        "write values = [0.3, 0.5] or [\"10 kW\", \"14 kW\"]; keys that are words are for --vary";
    let items = match s.peek("values").map(|node| &node.value) {
        Some(Value::List(items)) if !items.is_empty() => items,
        _ => return Err(s.error("discrete needs `values`, a list", advice)),
    };
    let mut values = Vec::with_capacity(items.len());
    for item in items {
        let (value, unit) = match &item.value {
            Value::Number(v) => (*v, ""),
            Value::Integer(v) => (*v as f64, ""),
            Value::Text(text) => match split_number(text) {
                Some(split) => split,
                None => {
                    return Err(Diagnostic::at(&item.at, "this is no number").advise(advice));
                }
            },
            _ => return Err(Diagnostic::at(&item.at, "this is no number").advise(advice)),
        };
        if n.unit.as_deref().is_some_and(|have| have != unit) {
            let what = "the values are in different units";
            return Err(Diagnostic::at(&item.at, what).advise("write all of them in one unit"));
        }
        n.unit = Some(unit.to_string());
        values.push(value);
    }
    // Marks the key as asked for; what is in it has been read above.
    let _ = s.numbers("values").optional();
    let weights = s
        .numbers("weights")
        .above(0.0)
        .optional()?
        .unwrap_or_else(|| vec![1.0; values.len()]);
    if weights.len() != values.len() {
        return Err(s.error_at(
            "weights",
            format!("{} weights for {} values", weights.len(), values.len()),
            "write one weight for each value",
        ));
    }
    Ok(Distribution::Discrete { values, weights })
}

#[cfg(test)]
mod tests {
    use super::split_number;

    #[test]
    fn numbers_part_from_their_units() {
        assert_eq!(split_number("0.3 1/h"), Some((0.3, "1/h")));
        assert_eq!(split_number("-1.5 K"), Some((-1.5, "K")));
        assert_eq!(split_number("440L/s"), Some((440.0, "L/s")));
        assert_eq!(split_number("1e-3 m"), Some((0.001, "m")));
        assert_eq!(split_number("2 e"), Some((2.0, "e")));
        assert_eq!(split_number("30 %"), Some((30.0, "%")));
        assert_eq!(split_number("north"), None);
        assert_eq!(split_number(""), None);
    }
}
