//! Dimensions, and the units each may be written in.

mod facts;

use facts::*;

/// One way of writing a quantity: `SI value = scale × number + offset`.
#[derive(Debug, PartialEq)]
pub struct Unit {
    /// How the unit is written when we write it.
    pub symbol: &'static str,
    /// SI units in one of this unit.
    pub scale: f64,
    /// SI value at zero of this unit (only temperatures have one).
    pub offset: f64,
    /// Other accepted spellings, in the squeezed form of [`squeeze`].
    pub(super) spellings: &'static [&'static str],
}

impl Unit {
    /// Every accepted spelling, the one we write first; letter case is forgiven, save for a leading m or M.
    pub fn all_spellings(&self) -> impl Iterator<Item = &'static str> {
        std::iter::once(self.symbol).chain(self.spellings.iter().copied())
    }

    /// The SI value of `number` in this unit.
    pub fn to_si(&self, number: f64) -> f64 {
        self.scale * number + self.offset
    }

    /// The number in this unit of an SI value.
    pub fn express(&self, value_si: f64) -> f64 {
        (value_si - self.offset) / self.scale
    }
}

/// What is known about one dimension.
pub(super) struct Facts {
    /// The dimension in words.
    pub name: &'static str,
    /// The units, those to advise first.
    pub units: &'static [Unit],
    /// Index of the unit shown to people in SI.
    pub si: usize,
    /// Index of the unit shown to people in inch-pound units.
    pub ip: usize,
    /// A number that makes sense in the first unit, for advice.
    pub example: &'static str,
}

/// Declares the dimensions, each with the facts known of it.
macro_rules! dimensions {
    ($($(#[$doc:meta])* $name:ident = $facts:ident,)*) => {
        /// What a number measures. The doc of each says the unit it is kept in: SI, save for temperatures (°C) and angles (degrees).
        #[derive(
            Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, serde::Serialize, serde::Deserialize,
        )]
        pub enum Dimension {
            $($(#[$doc])* $name,)*
        }

        impl Dimension {
            /// Every dimension, in the order in which a stray unit is looked for.
            pub const ALL: &[Self] = &[$(Self::$name,)*];

            pub(super) fn facts(self) -> &'static Facts {
                match self {
                    $(Self::$name => &$facts,)*
                }
            }
        }
    };
}

dimensions! {
    /// A temperature on a scale, °C.
    Temperature = TEMPERATURE,
    /// A temperature difference, K. `"1 °C"` and `"1.8 °F"` are taken as differences here, as the trade writes them.
    TemperatureDifference = TEMPERATURE_DIFFERENCE,
    /// A rate of change of temperature, K/s.
    TemperatureRate = TEMPERATURE_RATE,
    /// Air flow by volume, m³/s.
    AirFlow = AIR_FLOW,
    /// Pressure, Pa.
    Pressure = PRESSURE,
    /// Pressure loss per length of duct, Pa/m.
    PressureGradient = PRESSURE_GRADIENT,
    /// Length, m.
    Length = LENGTH,
    /// Area, m².
    Area = AREA,
    /// Volume, m³.
    Volume = VOLUME,
    /// Power or heat flow, W.
    Power = POWER,
    /// Energy, J.
    Energy = ENERGY,
    /// Time, s.
    Time = TIME,
    /// Angle, degrees.
    Angle = ANGLE,
    /// Turning rate, degrees per second.
    AngularRate = ANGULAR_RATE,
    /// Velocity, m/s.
    Velocity = VELOCITY,
    /// Frequency or shaft speed, Hz.
    Frequency = FREQUENCY,
    /// Heat capacity, J/K.
    HeatCapacity = HEAT_CAPACITY,
    /// Heat capacity per area, J/(m² K).
    HeatCapacityPerArea = HEAT_CAPACITY_PER_AREA,
    /// Thermal conductance, W/K.
    Conductance = CONDUCTANCE,
    /// Thermal transmittance, W/(m² K).
    UValue = U_VALUE,
    /// Thermal resistance over an area, m² K/W.
    ThermalResistance = THERMAL_RESISTANCE,
    /// Thermal conductivity, W/(m K).
    Conductivity = CONDUCTIVITY,
    /// Mass, kg.
    Mass = MASS,
    /// Mass flow, kg/s.
    MassFlow = MASS_FLOW,
    /// Density, kg/m³.
    Density = DENSITY,
    /// Humidity ratio, kg of water per kg of dry air.
    HumidityRatio = HUMIDITY_RATIO,
    /// A share of a whole, 1 being all of it. The one dimension that may be a bare number.
    Fraction = FRACTION,
    /// Sound level, dB.
    SoundLevel = SOUND_LEVEL,
    /// Air changes, 1/s.
    AirChanges = AIR_CHANGES,
    /// Power per area, W/m².
    PowerPerArea = POWER_PER_AREA,
    /// Air flow per area, m³/(s m²).
    FlowPerArea = FLOW_PER_AREA,
    /// Air flow per power, m³/(s W).
    FlowPerPower = FLOW_PER_POWER,
    /// Power per air flow (specific fan power), W/(m³/s).
    PowerPerFlow = POWER_PER_FLOW,
    /// A plain number: a count, a coefficient of performance.
    Count = COUNT,
}

/// The squeezed form in which units are compared: no spaces, brackets, dots or carets; Unicode powers and signs made plain.
pub(super) fn squeeze(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            _ if c.is_whitespace() => {}
            '(' | ')' | '[' | ']' | '^' | '.' | '·' | '⋅' | '•' | '∙' | '*' | '×' => {}
            '\u{200b}' | '\u{2060}' | '\u{feff}' => {}
            '²' | '₂' => out.push('2'),
            '³' => out.push('3'),
            '¹' => out.push('1'),
            '⁻' | '−' | '–' => out.push('-'),
            'º' | '˚' => out.push('°'),
            '℃' => out.push_str("°C"),
            '℉' => out.push_str("°F"),
            '\u{212a}' => out.push('K'),
            '∆' => out.push('Δ'),
            '∕' | '⁄' => out.push('/'),
            '″' | '”' => out.push('"'),
            _ => out.push(c),
        }
    }
    out
}
