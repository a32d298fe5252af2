//! `[uncertainty]`: what is not known about a house and its days, for sweeps. A single run takes no
//! notice of it.

use super::diagnostic::Diagnostic;
use super::reader::{Name, Section, split_number};
use super::tree::Value;
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
    /// Each with its word.
    pub const ALL: [(&'static str, Acts); 3] = [
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

/// Names of the groups.
pub(super) const GROUPS: [&str; STANDARD.len()] = {
    let mut names = [""; STANDARD.len()];
    let mut i = 0;
    while i < names.len() {
        names[i] = STANDARD[i].name;
        i += 1;
    }
    names
};

pub(super) fn uncertainty(top: &Section<'_>) -> Result<Uncertainty, Diagnostic> {
    let s = top.table("uncertainty");
    let standard = standard(&s)?;
    for group in STANDARD.iter().filter(|g| standard.contains(&g.name)) {
        let path = format!("uncertainty.{}", group.name);
        s.note(path, group.shown.into(), group.source);
    }
    let sections = top.tables("uncertainty");
    Ok(Uncertainty {
        standard,
        keys: Diagnostic::gather(sections.iter().map(|(key, s)| one(key.as_str(), s)))?,
    })
}

fn standard(s: &Section<'_>) -> Result<Vec<&'static str>, Diagnostic> {
    let listed: Vec<Name> = match s.peek("standard").map(|n| &n.value) {
        Some(Value::List(_)) => s.get("standard")?,
        _ if s.opt("standard")?.unwrap_or(false) => return Ok(GROUPS.to_vec()),
        _ => Vec::new(),
    };
    let wanted = |group: &&str| listed.iter().any(|name| name.text == *group);
    Ok(GROUPS.into_iter().filter(|group| wanted(group)).collect())
}

#[derive(Clone, Copy, PartialEq)]
pub(super) enum Kind {
    Normal,
    Lognormal,
    Uniform,
    Triangular,
    Beta,
    Discrete,
}

pub(super) const KINDS: [(&str, Kind); 6] = [
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
            Some(Value::Number(value)) => (*value, ""),
            Some(Value::Integer(value)) => (*value as f64, ""),
            Some(Value::Text(text)) => match split_number(text) {
                Some(split) => split,
                None => return Err(s.error_at(key, "this is no number", "write a number")),
            },
            _ => return Ok(None),
        };
        match &self.unit {
            Some(have) if *have != unit => {
                let what = format!(
                    "`{key}` is in \"{unit}\", and the other numbers here are in \"{have}\""
                );
                Err(s.error_at(key, what, "write all of them in one unit"))
            }
            _ => {
                self.unit = Some(unit.into());
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
    let kind = s.choice("distribution", &KINDS)?;
    let usual = match kind {
        Kind::Normal => Acts::Offset,
        Kind::Lognormal => Acts::Factor,
        _ => Acts::Value,
    };
    let acts = s.choice_opt("as", &Acts::ALL)?.unwrap_or(usual);
    let stream = s.choice_opt("seed", &Stream::ALL)?.unwrap_or_default();
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
                sigma: s.get("sigma")?,
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
            let shape = |key: &str| s.get::<f64>(key);
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
    let weights: Option<Vec<f64>> = s.opt("weights")?;
    let weights = weights.unwrap_or_else(|| vec![1.0; values.len()]);
    if weights.len() != values.len() {
        return Err(s.error_at(
            "weights",
            format!("{} weights for {} values", weights.len(), values.len()),
            "write one weight for each value",
        ));
    }
    Ok(Distribution::Discrete { values, weights })
}
