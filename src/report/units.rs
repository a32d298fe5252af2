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
    fn text_reads_like_an_instrument() {
        assert_eq!(UnitSystem::Si.text(Quantity::Pressure, 125.0), "125 Pa");
        assert_eq!(UnitSystem::Ip.text(Quantity::Pressure, 125.0), "0.50 inH2O");
        assert_eq!(UnitSystem::Si.text(Quantity::Temperature, 24.0), "24 °C");
        assert_eq!(UnitSystem::Si.text(Quantity::Temperature, -0.01), "0 °C");
        assert_eq!(UnitSystem::Ip.text(Quantity::Flow, 0.35), "742 cfm");
    }
}
