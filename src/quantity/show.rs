//! Numbers for people: one format for every table, sentence and figure.
//!
//! At most three significant digits, the unit always, SI or inch-pound throughout; more digits only
//! where rounding would hide that a limit is exceeded.

use super::{Dimension, Unit, UnitSystem};

/// Times from here on are shown in minutes, s.
const MINUTES_FROM_S: f64 = 120.0;
/// Times from here on are shown in hours, s.
const HOURS_FROM_S: f64 = 3.0 * 3600.0;
/// Areas below are shown in the small unit, m².
const SMALL_AREA_M2: f64 = 0.1;
/// Lengths below are shown in the small unit, m.
const SMALL_LENGTH_M: f64 = 1.0;
/// Powers below are shown in the small unit, W.
const SMALL_POWER_W: f64 = 1000.0;
/// Digits added at most to tell a value from its limit.
const MOST_MORE_DIGITS: usize = 4;

impl UnitSystem {
    /// An SI value with its unit; "none" when it is not a number.
    pub fn show(self, value_si: f64, dimension: Dimension) -> String {
        written(value_si, dimension, self.unit(value_si, dimension), 0)
    }

    /// A value beside a limit that it does not meet: with more digits where rounding would make the two
    /// read the same.
    pub fn show_apart(self, value_si: f64, limit_si: f64, dimension: Dimension) -> String {
        let text = self.show(value_si, dimension);
        if value_si.is_nan() || text != self.show(limit_si, dimension) {
            return text;
        }
        let unit = self.unit(limit_si, dimension);
        (1..=MOST_MORE_DIGITS)
            .map(|more| [value_si, limit_si].map(|v| written(v, dimension, unit, more)))
            .find(|[value, limit]| value != limit)
            .map_or(text, |[value, _]| value)
    }

    /// How far two values lie apart: temperatures as differences, shares in percentage points.
    pub fn show_difference(self, size_si: f64, dimension: Dimension) -> String {
        match dimension {
            Dimension::Temperature => self.show(size_si, Dimension::TemperatureDifference),
            Dimension::Fraction => format!("{} percentage points", rounded(100.0 * size_si, 3)),
            Dimension::SoundLevel if size_si.abs() < 1.0 => {
                let unit = self.unit(size_si, dimension);
                written(size_si, dimension, unit, 1)
            }
            _ => self.show(size_si, dimension),
        }
    }

    /// A difference with its sign, `+2 K`.
    pub fn show_signed(self, size_si: f64, dimension: Dimension) -> String {
        let sign = if size_si < 0.0 { "−" } else { "+" };
        format!("{sign}{}", self.show_difference(size_si.abs(), dimension))
    }

    /// The number that figures draw for an SI value, in the dimension's usual unit.
    pub fn convert(self, dimension: Dimension, value_si: f64) -> f64 {
        dimension.shown_unit(self).express(value_si)
    }

    /// The symbol of the dimension's usual unit.
    pub fn symbol(self, dimension: Dimension) -> &'static str {
        dimension.shown_unit(self).symbol
    }

    /// The unit that a value of this size is best read in.
    fn unit(self, value_si: f64, dimension: Dimension) -> &'static Unit {
        let size = value_si.abs();
        let symbol = match (dimension, self) {
            (Dimension::Time, _) if size >= HOURS_FROM_S => "h",
            (Dimension::Time, _) if size >= MINUTES_FROM_S => "min",
            (Dimension::Area, Self::Si) if size < SMALL_AREA_M2 => "cm2",
            (Dimension::Area, Self::Ip) if size < SMALL_AREA_M2 => "in2",
            (Dimension::Length, Self::Si) if size < SMALL_LENGTH_M => "mm",
            (Dimension::Length, Self::Ip) if size < SMALL_LENGTH_M => "in",
            (Dimension::Power, Self::Si) if size < SMALL_POWER_W => "W",
            _ => return dimension.shown_unit(self),
        };
        let mut units = dimension.units().iter();
        let found = units.find(|unit| unit.symbol == symbol);
        found.unwrap_or_else(|| dimension.shown_unit(self))
    }
}

impl Dimension {
    /// The SI unit that files name in their columns and unit cells: `Pa`, `m3_s`, `1`.
    pub fn si_symbol(self) -> &'static str {
        match self {
            Self::Pressure => "Pa",
            Self::Time => "s",
            Self::Temperature => "C",
            Self::TemperatureDifference => "K",
            Self::Velocity => "m_s",
            Self::AirFlow => "m3_s",
            Self::Energy => "J",
            Self::Mass => "kg",
            Self::Power => "W",
            Self::SoundLevel => "dB",
            _ => "1",
        }
    }
}

/// A value in a unit, with `more` digits than usual.
fn written(value_si: f64, dimension: Dimension, unit: &Unit, more: usize) -> String {
    if value_si.is_nan() {
        return "none".into();
    }
    let number = unit.express(value_si);
    let size = number.abs();
    let fixed = match dimension {
        Dimension::Time if unit.symbol != "h" => Some(0),
        Dimension::SoundLevel => Some(0),
        Dimension::TemperatureDifference if size < 0.995 => Some(2),
        Dimension::Temperature | Dimension::TemperatureDifference if size < 99.95 => Some(1),
        Dimension::Count if number.fract() == 0.0 => Some(0),
        _ => None,
    };
    let text = match fixed {
        Some(decimals) => trimmed(format!("{number:.*}", decimals + more)),
        None => rounded(number, 3 + more),
    };
    let text = text.replacen('-', "−", usize::from(number < 0.0));
    match (dimension, unit.symbol) {
        (Dimension::SoundLevel, _) => format!("{text} dB(A)"),
        (_, "") => text,
        (_, "°") => format!("{text}°"),
        (_, symbol) => format!("{text} {symbol}"),
    }
}

/// A number to so many significant figures, whole part included.
fn rounded(number: f64, figures: usize) -> String {
    if number == 0.0 || !number.is_finite() {
        return significant(number, figures);
    }
    let step = 10f64.powi(number.abs().log10().floor() as i32 + 1 - figures as i32);
    significant(
        if step > 1.0 {
            (number / step).round() * step
        } else {
            number
        },
        figures,
    )
}

/// Writes an SI value in full, as for defaults and limits: six significant figures in SI, in which they
/// are given, three in other units.
pub(crate) fn display_full(value_si: f64, dimension: Dimension, system: UnitSystem) -> String {
    match system {
        UnitSystem::Si => in_unit(value_si, dimension.shown_unit(system), 6),
        UnitSystem::Ip => system.show(value_si, dimension),
    }
}

/// Writes an SI value in `unit` with at least `figures` significant figures and no trailing zeros.
pub(crate) fn in_unit(value_si: f64, unit: &Unit, figures: usize) -> String {
    let number = significant(unit.express(value_si), figures);
    match unit.symbol {
        "" => number,
        "°" => format!("{number}°"),
        symbol => format!("{number} {symbol}"),
    }
}

/// A number with at least `figures` significant figures, whole part kept, trailing zeros dropped.
pub(crate) fn significant(number: f64, figures: usize) -> String {
    if !number.is_finite() {
        return number.to_string();
    }
    if number == 0.0 {
        return "0".into();
    }
    let magnitude = number.abs().log10().floor();
    if !(-6.0..15.0).contains(&magnitude) {
        return format!("{number:.*e}", figures.saturating_sub(1));
    }
    // Bounded by the check above: at most `figures` + 5 decimals.
    let decimals = (figures as f64 - 1.0 - magnitude).max(0.0) as usize;
    trimmed(format!("{number:.decimals$}"))
}

/// Without trailing zeros behind the point, and without the sign of nought.
fn trimmed(mut text: String) -> String {
    if text.contains('.') {
        text.truncate(text.trim_end_matches('0').trim_end_matches('.').len());
    }
    if text == "-0" { "0".into() } else { text }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Dimension as D;

    const SI: UnitSystem = UnitSystem::Si;
    const IP: UnitSystem = UnitSystem::Ip;

    #[test]
    fn three_digits_and_a_unit() {
        let shown = [
            (SI.show(125.0, D::Pressure), "125 Pa"),
            (IP.show(125.0, D::Pressure), "0.502 inWC"),
            (SI.show(24.0, D::Temperature), "24 °C"),
            (SI.show(-0.01, D::Temperature), "0 °C"),
            (IP.show(40.0, D::Temperature), "104 °F"),
            (IP.show(1.0, D::TemperatureDifference), "1.8 °F"),
            (SI.show(0.25, D::TemperatureDifference), "0.25 K"),
            (IP.show(0.35, D::AirFlow), "742 cfm"),
            (IP.show(12_000.0, D::Power), "40900 Btu/h"),
            (SI.show(330.0, D::Power), "330 W"),
            (SI.show(0.0755, D::Area), "755 cm2"),
            (IP.show(0.0755, D::Area), "117 in2"),
            (SI.show(200.0, D::Time), "3 min"),
            (SI.show(14_400.0, D::Time), "4 h"),
            (SI.show(1234.0, D::Count), "1234"),
            (SI.show(f64::NAN, D::Pressure), "none"),
        ];
        for (text, want) in shown {
            assert_eq!(text, want);
        }
    }

    #[test]
    fn shares_differ_by_points_and_temperatures_by_kelvins() {
        let apart = |size, dimension| SI.show_difference(size, dimension);
        assert_eq!(apart(0.401, D::Fraction), "40.1 percentage points");
        assert_eq!(apart(2.0, D::Temperature), "2 K");
        assert_eq!(apart(0.3, D::SoundLevel), "0.3 dB(A)");
        assert_eq!(IP.show_signed(-2.0, D::TemperatureDifference), "−3.6 °F");
    }

    #[test]
    fn rounding_does_not_hide_a_breach() {
        let apart = |value, limit, dimension| SI.show_apart(value, limit, dimension);
        assert_eq!(apart(299.0, 300.0, D::Time), "4.98 min");
        assert_eq!(apart(200.0, 300.0, D::Time), "3 min");
        assert_eq!(apart(119.8, 120.0, D::Time), "120 s");
        assert_eq!(apart(30.2, 30.0, D::SoundLevel), "30.2 dB(A)");
        assert_eq!(apart(31.2, 30.0, D::SoundLevel), "31 dB(A)");
        assert_eq!(apart(0.30004, 0.3, D::Fraction), "30.004 %");
        assert_eq!(apart(1.12, 1.1, D::TemperatureDifference), "1.12 K");
    }

    #[test]
    fn figures_convert_as_published() {
        let near = |a: f64, b: f64| assert!((a - b).abs() < 1e-4 * b.abs(), "{a} {b}");
        // NIST SP 811, appendix B.8: 1 ft³/min = 4.719474e-4 m³/s, 1 inH2O = 249.0889 Pa.
        near(IP.convert(D::AirFlow, 4.719_474e-4), 1.0);
        near(IP.convert(D::Pressure, 249.0889), 1.0);
        near(IP.convert(D::Temperature, 100.0), 212.0);
        near(IP.convert(D::TemperatureDifference, 5.0), 9.0);
        near(SI.convert(D::AirFlow, 0.35), 350.0);
        near(SI.convert(D::Fraction, 0.5), 50.0);
    }
}
