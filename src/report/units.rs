//! Units that people read on figures. Inside, everything stays SI.

pub use crate::quantity::UnitSystem;

/// What kind of quantity is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Quantity {
    /// A temperature, from °C.
    Temperature,
    /// A difference of temperatures, from K.
    TemperatureDifference,
    /// A volume flow of air, from m³/s.
    Flow,
    /// A pressure, from Pa.
    Pressure,
    /// A share or opening, from 0 to 1, shown in per cent.
    Share,
}

/// One cubic foot a minute in m³/s: the international foot is 0.3048 m by definition.
const CFM_M3_S: f64 = 0.3048 * 0.3048 * 0.3048 / 60.0;
/// One conventional inch of water in Pa (NIST Special Publication 811, appendix B.8).
const INH2O_PA: f64 = 249.0889;

impl UnitSystem {
    /// The number to show for an SI value.
    pub fn convert(self, quantity: Quantity, si: f64) -> f64 {
        match (self, quantity) {
            (Self::Si, Quantity::Flow) => si * 1000.0,
            (Self::Ip, Quantity::Flow) => si / CFM_M3_S,
            (Self::Ip, Quantity::Temperature) => si * 1.8 + 32.0,
            (Self::Ip, Quantity::TemperatureDifference) => si * 1.8,
            (Self::Ip, Quantity::Pressure) => si / INH2O_PA,
            (_, Quantity::Share) => si * 100.0,
            (Self::Si, _) => si,
        }
    }

    /// The unit's symbol.
    pub fn symbol(self, quantity: Quantity) -> &'static str {
        match (self, quantity) {
            (Self::Si, Quantity::Temperature) => "°C",
            (Self::Si, Quantity::TemperatureDifference) => "K",
            (Self::Si, Quantity::Flow) => "L/s",
            (Self::Si, Quantity::Pressure) => "Pa",
            (Self::Ip, Quantity::Temperature | Quantity::TemperatureDifference) => "°F",
            (Self::Ip, Quantity::Flow) => "cfm",
            (Self::Ip, Quantity::Pressure) => "inH2O",
            (_, Quantity::Share) => "%",
        }
    }

    /// An SI value as text with its unit, rounded as a technician would read it off an instrument.
    pub fn text(self, quantity: Quantity, si: f64) -> String {
        let value = self.convert(quantity, si);
        let digits = match (self, quantity) {
            (_, Quantity::TemperatureDifference) => 2,
            (_, Quantity::Temperature) => 1,
            (Self::Ip, Quantity::Pressure) => 2,
            _ => 0,
        };
        let mut number = format!("{value:.digits$}");
        if number.contains('.') && quantity != Quantity::Pressure {
            number.truncate(number.trim_end_matches('0').trim_end_matches('.').len());
        }
        if number == "-0" {
            number.remove(0);
        }
        format!("{number} {}", self.symbol(quantity))
    }
}

/// Words about a measure, which are written with kelvins, as they read in `units`: each number
/// with ` K` behind it becomes that many F°, to a tenth. Everything else stays.
pub fn in_words(text: &str, units: UnitSystem) -> String {
    if units == UnitSystem::Si {
        return text.to_owned();
    }
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(at) = rest.find(" K") {
        let (before, after) = (&rest[..at], &rest[at + 2..]);
        let digits = |c: char| c.is_ascii_digit() || c == '.';
        let number = &before[before.trim_end_matches(digits).len()..];
        let ends = !after.starts_with(|c: char| c.is_alphanumeric());
        match number.parse::<f64>() {
            Ok(kelvins) if ends => {
                let shown = crate::quantity::significant((kelvins * 18.0).round() / 10.0, 3);
                out += &before[..before.len() - number.len()];
                out += &format!("{shown} F°");
            }
            _ => {
                out += before;
                out += " K";
            }
        }
        rest = after;
    }
    out + rest
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn conversions_match_published_factors() {
        let near = |a: f64, b: f64| assert!((a - b).abs() < 1e-4 * b.abs(), "{a} {b}");
        // NIST SP 811, appendix B.8: 1 ft³/min = 4.719474e-4 m³/s, 1 inH2O = 249.0889 Pa.
        near(UnitSystem::Ip.convert(Quantity::Flow, 4.719_474e-4), 1.0);
        near(UnitSystem::Ip.convert(Quantity::Pressure, 249.0889), 1.0);
        near(UnitSystem::Ip.convert(Quantity::Temperature, 100.0), 212.0);
        near(
            UnitSystem::Ip.convert(Quantity::TemperatureDifference, 5.0),
            9.0,
        );
        near(UnitSystem::Si.convert(Quantity::Flow, 0.35), 350.0);
    }

    #[test]
    fn words_about_differences_follow_the_units() {
        let ip = |text| in_words(text, UnitSystem::Ip);
        // 1 K is 1.8 F°.
        assert_eq!(ip("mean 1.9 K, worst 2.8 K"), "mean 3.4 F°, worst 5 F°");
        assert_eq!(ip("42 min; furthest -2.0 K"), "42 min; furthest -3.6 F°");
        assert_eq!(
            ip("off setpoint by more than 1 K"),
            "off setpoint by more than 1.8 F°"
        );
        assert_eq!(ip("room K and 3 Kb and 5 kW"), "room K and 3 Kb and 5 kW");
        assert_eq!(in_words("worst 2.8 K", UnitSystem::Si), "worst 2.8 K");
    }

    #[test]
    fn text_reads_like_an_instrument() {
        assert_eq!(UnitSystem::Si.text(Quantity::Pressure, 125.0), "125 Pa");
        assert_eq!(UnitSystem::Ip.text(Quantity::Pressure, 125.0), "0.50 inH2O");
        assert_eq!(UnitSystem::Si.text(Quantity::Temperature, 24.0), "24 °C");
        assert_eq!(UnitSystem::Si.text(Quantity::Temperature, -0.01), "0 °C");
        assert_eq!(UnitSystem::Ip.text(Quantity::Flow, 0.35), "742 cfm");
    }
}
