//! Numbers with units: reading what people write, and writing numbers for people.
//!
//! Inside the crate every quantity is a plain `f64` in SI (temperatures in °C, angles in degrees).
//! Units are dealt with here, once, at the border.

mod show;
#[cfg(test)]
mod tests;
mod units;

pub(crate) use show::{display_full, in_unit, significant};
use units::squeeze;
pub use units::{Dimension, Unit};

/// The units a person wants to read.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum UnitSystem {
    /// Metric: L/s, Pa, °C, kW.
    #[default]
    Si,
    /// Inch-pound: cfm, inWC, °F, Btu/h.
    Ip,
}

/// A quantity as it was written.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Quantity {
    /// The value in SI (temperatures in °C, angles in degrees).
    pub value_si: f64,
    /// The unit it was written in.
    pub unit: &'static Unit,
}

/// Why a text is not a quantity. `Display` says what is wrong; [`advice`](Self::advice) what to write.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub(crate) enum QuantityError {
    /// There is no plain number at the start.
    #[error("\"{text}\" does not start with a plain number")]
    NotANumber {
        /// What was written.
        text: String,
        /// What to write.
        advice: String,
    },
    /// There is a number and no unit.
    #[error("\"{text}\" has no unit")]
    MissingUnit {
        /// What was written.
        text: String,
        /// What to write.
        advice: String,
    },
    /// The unit is not one we know.
    #[error("unknown unit \"{unit}\"")]
    UnknownUnit {
        /// The unit as written.
        unit: String,
        /// What to write.
        advice: String,
    },
    /// The unit measures something else.
    #[error("\"{unit}\" is a unit of {belongs_to}, and {wanted} is due")]
    WrongDimension {
        /// The unit as written.
        unit: String,
        /// What that unit measures.
        belongs_to: &'static str,
        /// What is due.
        wanted: &'static str,
        /// What to write.
        advice: String,
    },
    /// The number cannot be: not finite, or below absolute zero.
    #[error("\"{text}\" cannot be: {why}")]
    Impossible {
        /// What was written.
        text: String,
        /// The reason.
        why: &'static str,
        /// What to write.
        advice: String,
    },
}

impl QuantityError {
    /// What to write instead.
    pub(crate) fn advice(&self) -> &str {
        match self {
            Self::NotANumber { advice, .. }
            | Self::MissingUnit { advice, .. }
            | Self::UnknownUnit { advice, .. }
            | Self::WrongDimension { advice, .. }
            | Self::Impossible { advice, .. } => advice,
        }
    }
}

impl Dimension {
    /// The dimension in words, as used in messages: `air flow`.
    pub fn name(self) -> &'static str {
        self.facts().name
    }

    /// Every unit it may be written in, those to advise first.
    pub fn units(self) -> &'static [Unit] {
        self.facts().units
    }

    /// The unit shown to people.
    pub fn shown_unit(self, system: UnitSystem) -> &'static Unit {
        let facts = self.facts();
        let index = match system {
            UnitSystem::Si => facts.si,
            UnitSystem::Ip => facts.ip,
        };
        &facts.units[index.min(facts.units.len() - 1)]
    }

    /// An example of how to write it, `350 L/s`.
    pub fn example(self) -> String {
        let facts = self.facts();
        let symbol = facts.units.first().map_or("", |unit| unit.symbol);
        format!("{} {symbol}", facts.example)
    }

    /// A worked example, `write "350 L/s" (or cfm, m3/h)`, around `number` when one was written.
    pub fn advice(self, number: Option<&str>) -> String {
        let facts = self.facts();
        let number = number.unwrap_or(facts.example);
        if self == Self::Fraction {
            return format!(
                "write a bare number such as 0.25, or \"{} %\"",
                facts.example
            );
        }
        let (first, others) = match facts.units {
            [first, others @ ..] => (first.symbol, others),
            [] => ("", facts.units),
        };
        let others: Vec<_> = others.iter().take(2).map(|unit| unit.symbol).collect();
        if others.is_empty() {
            format!("write \"{number} {first}\"")
        } else {
            format!("write \"{number} {first}\" (or {})", others.join(", "))
        }
    }

    fn find(self, unit: &str) -> Option<&'static Unit> {
        let squeezed = squeeze(unit);
        let is = |same: &dyn Fn(&str) -> bool| {
            self.units().iter().find(|candidate| {
                same(&squeeze(candidate.symbol)) || candidate.spellings.iter().any(|s| same(s))
            })
        };
        // Letter case is forgiven, save for a leading m or M, which may mean milli or mega.
        is(&|known| known == squeezed).or_else(|| {
            is(&|known| {
                known.eq_ignore_ascii_case(&squeezed)
                    && (known.starts_with(['m', 'M']) <= known.starts_with(first_of(&squeezed)))
            })
        })
    }
}

fn first_of(text: &str) -> char {
    text.chars().next().unwrap_or(' ')
}

/// Reads a quantity: its SI value (temperatures °C, angles degrees).
///
/// # Errors
/// No number, no unit, an unknown unit, a unit of another dimension, a value that cannot be.
pub(crate) fn parse(text: &str, dimension: Dimension) -> Result<f64, QuantityError> {
    parse_written(text, dimension).map(|quantity| quantity.value_si)
}

/// Reads a quantity and remembers the unit it was written in.
///
/// # Errors
/// As [`parse`].
pub(crate) fn parse_written(text: &str, dimension: Dimension) -> Result<Quantity, QuantityError> {
    let written = text.trim();
    let Some((number, digits, rest)) = leading_number(written) else {
        let advice = dimension.advice(None);
        return Err(QuantityError::NotANumber {
            text: written.into(),
            advice,
        });
    };
    let unit = match dimension.find(rest) {
        Some(unit) => unit,
        None if rest.starts_with(|c: char| c.is_ascii_digit() || ",+-−–".contains(c)) => {
            return Err(QuantityError::NotANumber {
                text: written.into(),
                advice: format!(
                    "use one number with a decimal point and no separators: {}",
                    dimension.advice(None)
                ),
            });
        }
        None if squeeze(rest).is_empty() => {
            let advice = dimension.advice(Some(&digits));
            return Err(QuantityError::MissingUnit {
                text: written.into(),
                advice,
            });
        }
        None => return Err(stray_unit(rest, &digits, dimension)),
    };
    let value_si = unit.to_si(number);
    let impossible = |why| QuantityError::Impossible {
        text: written.into(),
        why,
        advice: dimension.advice(None),
    };
    if !value_si.is_finite() {
        return Err(impossible("the number is too large"));
    }
    // A hair of slack, so that "0 K" and "-459.67 °F" are absolute zero itself.
    if dimension == Dimension::Temperature && value_si < -273.15 - 1e-9 {
        return Err(impossible("that is below absolute zero"));
    }
    Ok(Quantity { value_si, unit })
}

/// Says what a unit that is not one of `dimension` may have been meant as.
fn stray_unit(unit: &str, digits: &str, dimension: Dimension) -> QuantityError {
    if let Some(other) = Dimension::ALL
        .iter()
        .find(|other| other.find(unit).is_some())
    {
        return QuantityError::WrongDimension {
            unit: unit.into(),
            belongs_to: other.name(),
            wanted: dimension.name(),
            advice: dimension.advice(None),
        };
    }
    let wanted = squeeze(unit).to_lowercase();
    let nearest = dimension
        .units()
        .iter()
        .filter(|candidate| !candidate.symbol.is_empty())
        .map(|candidate| {
            let likeness = |s: &str| strsim::normalized_damerau_levenshtein(&wanted, s);
            let best = candidate
                .spellings
                .iter()
                .map(|s| likeness(&s.to_lowercase()))
                .fold(
                    likeness(&squeeze(candidate.symbol).to_lowercase()),
                    f64::max,
                );
            (best, candidate.symbol)
        })
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .filter(|(likeness, _)| *likeness >= 0.4);
    let advice = match nearest {
        Some((_, symbol)) => format!("write \"{digits} {symbol}\"; {}", known_units(dimension)),
        None => dimension.advice(Some(digits)),
    };
    QuantityError::UnknownUnit {
        unit: unit.into(),
        advice,
    }
}

fn known_units(dimension: Dimension) -> String {
    let symbols: Vec<_> = dimension
        .units()
        .iter()
        .map(|unit| unit.symbol)
        .filter(|s| !s.is_empty())
        .collect();
    format!("units of {}: {}", dimension.name(), symbols.join(", "))
}

/// Splits `"−1.5e3 Pa"` into its number, that number as plain text, and the rest, trimmed.
fn leading_number(text: &str) -> Option<(f64, String, &str)> {
    let mut digits = String::new();
    let mut rest = text;
    if let Some(after) = rest.strip_prefix(['-', '−', '–']) {
        digits.push('-');
        rest = after.trim_start();
    } else if let Some(after) = rest.strip_prefix('+') {
        rest = after.trim_start();
    }
    let whole = digit_run(rest);
    digits.push_str(&rest[..whole]);
    rest = &rest[whole..];
    let mut found = whole;
    if let Some(after) = rest.strip_prefix('.') {
        let part = digit_run(after);
        if part > 0 {
            digits.push('.');
            digits.push_str(&after[..part]);
            rest = &after[part..];
            found += part;
        }
    }
    if found == 0 {
        return None;
    }
    if let Some(after) = rest.strip_prefix(['e', 'E']) {
        let sign = usize::from(after.starts_with(['+', '-']));
        let power = digit_run(&after[sign..]);
        if power > 0 {
            digits.push('e');
            digits.push_str(&after[..sign + power]);
            rest = &after[sign + power..];
        }
    }
    let number = digits.parse().ok()?;
    Some((number, digits, rest.trim_start()))
}

fn digit_run(text: &str) -> usize {
    text.bytes().take_while(u8::is_ascii_digit).count()
}
