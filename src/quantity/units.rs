//! The table of dimensions and the units each may be written in.
//!
//! Factors follow from exact definitions: 1 ft = 0.3048 m (international foot), 1 lb = 0.45359237 kg, standard gravity 9.80665 m/s²,
//! 1 Btu = 1055.05585262 J (International Table), all as NIST SP 811 (2008), Appendix B, gives them.

/// The international foot, m. Exact.
const FOOT: f64 = 0.3048;
/// The International Table British thermal unit, J. Exact.
const BTU: f64 = 1_055.055_852_62;
/// The avoirdupois pound, kg. Exact.
const POUND: f64 = 0.453_592_37;
/// One inch of water, Pa: the conventional column (1000 kg/m³, standard gravity), 249.08891 Pa.
/// Columns at 39.2 °F (249.082 Pa) and 60 °F (248.84 Pa) also exist; the conventional one is used throughout.
const INCH_OF_WATER: f64 = FOOT / 12.0 * 1000.0 * 9.806_65;
/// One cubic foot a minute, m³/s.
const CFM: f64 = FOOT * FOOT * FOOT / 60.0;
/// One ton of refrigeration, W: 12 000 Btu/h.
const TON: f64 = 12_000.0 * BTU / 3600.0;
/// A temperature difference of one degree Fahrenheit, K.
const RANKINE: f64 = 5.0 / 9.0;
const MINUTE: f64 = 60.0;
const HOUR: f64 = 3600.0;
const DAY: f64 = 86_400.0;

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
    pub fn from_si(&self, value_si: f64) -> f64 {
        (value_si - self.offset) / self.scale
    }
}

const fn unit(symbol: &'static str, scale: f64, spellings: &'static [&'static str]) -> Unit {
    Unit {
        symbol,
        scale,
        offset: 0.0,
        spellings,
    }
}

const fn degree(
    symbol: &'static str,
    scale: f64,
    offset: f64,
    spellings: &'static [&'static str],
) -> Unit {
    Unit {
        symbol,
        scale,
        offset,
        spellings,
    }
}

/// What a number measures. The doc of each says the unit it is kept in: SI, save for temperatures (°C) and angles (degrees).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Dimension {
    /// A temperature on a scale, °C.
    Temperature,
    /// A temperature difference, K. `"1 °C"` and `"1.8 °F"` are taken as differences here, as the trade writes them.
    TemperatureDifference,
    /// A rate of change of temperature, K/s.
    TemperatureRate,
    /// Air flow by volume, m³/s.
    AirFlow,
    /// Pressure, Pa.
    Pressure,
    /// Pressure loss per length of duct, Pa/m.
    PressureGradient,
    /// Length, m.
    Length,
    /// Area, m².
    Area,
    /// Volume, m³.
    Volume,
    /// Power or heat flow, W.
    Power,
    /// Energy, J.
    Energy,
    /// Time, s.
    Time,
    /// Angle, degrees.
    Angle,
    /// Turning rate, degrees per second.
    AngularRate,
    /// Velocity, m/s.
    Velocity,
    /// Frequency or shaft speed, Hz.
    Frequency,
    /// Heat capacity, J/K.
    HeatCapacity,
    /// Heat capacity per area, J/(m² K).
    HeatCapacityPerArea,
    /// Thermal conductance, W/K.
    Conductance,
    /// Thermal transmittance, W/(m² K).
    UValue,
    /// Thermal resistance over an area, m² K/W.
    ThermalResistance,
    /// Thermal conductivity, W/(m K).
    Conductivity,
    /// Mass, kg.
    Mass,
    /// Mass flow, kg/s.
    MassFlow,
    /// Density, kg/m³.
    Density,
    /// Humidity ratio, kg of water per kg of dry air.
    HumidityRatio,
    /// A share of a whole, 1 being all of it. The one dimension that may be a bare number.
    Fraction,
    /// Sound level, dB.
    SoundLevel,
    /// Air changes, 1/s.
    AirChanges,
    /// Power per area, W/m².
    PowerPerArea,
    /// Air flow per area, m³/(s m²).
    FlowPerArea,
    /// Air flow per power, m³/(s W).
    FlowPerPower,
    /// Power per air flow (specific fan power), W/(m³/s).
    PowerPerFlow,
    /// A plain number: a count, a coefficient of performance.
    Count,
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

const fn facts(
    name: &'static str,
    example: &'static str,
    si: usize,
    ip: usize,
    units: &'static [Unit],
) -> Facts {
    Facts {
        name,
        units,
        si,
        ip,
        example,
    }
}

static TEMPERATURE: Facts = facts(
    "temperature",
    "24",
    0,
    1,
    &[
        degree("°C", 1.0, 0.0, &["C", "degC"]),
        degree("°F", RANKINE, -32.0 * RANKINE, &["F", "degF"]),
        degree("K", 1.0, -273.15, &["kelvin"]),
    ],
);
static TEMPERATURE_DIFFERENCE: Facts = facts(
    "temperature difference",
    "1",
    0,
    1,
    &[
        unit(
            "K",
            1.0,
            &["Δ°C", "ΔC", "ΔK", "C°", "°C", "C", "degC", "kelvin"],
        ),
        unit("F°", RANKINE, &["Δ°F", "ΔF", "°F", "F", "degF", "°R"]),
    ],
);
static TEMPERATURE_RATE: Facts = facts(
    "rate of temperature change",
    "2",
    0,
    1,
    &[
        unit("K/h", 1.0 / HOUR, &["°C/h", "C/h"]),
        unit("F°/h", RANKINE / HOUR, &["°F/h", "F/h", "Δ°F/h"]),
        unit("K/min", 1.0 / MINUTE, &["°C/min"]),
        unit("F°/min", RANKINE / MINUTE, &["°F/min"]),
        unit("K/s", 1.0, &["°C/s"]),
        unit("K/d", 1.0 / DAY, &["K/day", "°C/day"]),
    ],
);
static AIR_FLOW: Facts = facts(
    "air flow",
    "350",
    0,
    1,
    &[
        unit("L/s", 1e-3, &["l/s", "lps"]),
        unit("cfm", CFM, &["ft3/min"]),
        unit("m3/h", 1.0 / HOUR, &["m3/hr", "cmh"]),
        unit("m3/s", 1.0, &[]),
        unit("m3/min", 1.0 / MINUTE, &[]),
        unit("L/min", 1e-3 / MINUTE, &["lpm"]),
    ],
);
static PRESSURE: Facts = facts(
    "pressure",
    "60",
    0,
    1,
    &[
        unit("Pa", 1.0, &["N/m2"]),
        unit(
            "inH2O",
            INCH_OF_WATER,
            &["inwg", "inwc", "inwater", "\"wg", "\"wc", "\"H2O", "iwg"],
        ),
        unit("kPa", 1000.0, &[]),
        unit("hPa", 100.0, &["mbar"]),
        unit("mmH2O", 9.806_65, &["mmwg"]),
        unit("bar", 1e5, &[]),
    ],
);
static PRESSURE_GRADIENT: Facts = facts(
    "pressure loss per length",
    "1",
    0,
    1,
    &[
        unit("Pa/m", 1.0, &[]),
        unit(
            "inH2O/100ft",
            INCH_OF_WATER / (100.0 * FOOT),
            &["inwg/100ft", "inwc/100ft"],
        ),
    ],
);
static LENGTH: Facts = facts(
    "length",
    "2.5",
    0,
    2,
    &[
        unit("m", 1.0, &["metre", "metres", "meter", "meters"]),
        unit("mm", 1e-3, &[]),
        unit("ft", FOOT, &["foot", "feet"]),
        unit("in", FOOT / 12.0, &["inch", "inches", "\""]),
        unit("cm", 1e-2, &[]),
        unit("km", 1e3, &[]),
    ],
);
static AREA: Facts = facts(
    "area",
    "12",
    0,
    1,
    &[
        unit("m2", 1.0, &["sqm"]),
        unit("ft2", FOOT * FOOT, &["sqft"]),
        unit("cm2", 1e-4, &[]),
        unit("in2", FOOT * FOOT / 144.0, &["sqin"]),
        unit("mm2", 1e-6, &[]),
    ],
);
static VOLUME: Facts = facts(
    "volume",
    "30",
    0,
    1,
    &[
        unit("m3", 1.0, &[]),
        unit("ft3", FOOT * FOOT * FOOT, &["cuft"]),
        unit("L", 1e-3, &["l", "litre", "litres", "liter", "liters"]),
    ],
);
static POWER: Facts = facts(
    "power",
    "5",
    0,
    1,
    &[
        unit("kW", 1e3, &[]),
        unit("Btu/h", BTU / HOUR, &["Btu/hr", "Btuh"]),
        unit("W", 1.0, &["watt", "watts"]),
        unit("ton", TON, &["tons", "TR"]),
        unit("kBtu/h", 1e3 * BTU / HOUR, &["kBtu/hr", "MBH"]),
    ],
);
static ENERGY: Facts = facts(
    "energy",
    "5",
    0,
    1,
    &[
        unit("kWh", 3.6e6, &[]),
        unit("kBtu", 1e3 * BTU, &[]),
        unit("MJ", 1e6, &[]),
        unit("kJ", 1e3, &[]),
        unit("Wh", 3600.0, &[]),
        unit("Btu", BTU, &[]),
        unit("J", 1.0, &[]),
    ],
);
static TIME: Facts = facts(
    "time",
    "90",
    0,
    0,
    &[
        unit("s", 1.0, &["sec", "second", "seconds"]),
        unit("min", MINUTE, &["mins", "minute", "minutes"]),
        unit("h", HOUR, &["hr", "hrs", "hour", "hours"]),
        unit("d", DAY, &["day", "days"]),
        unit("ms", 1e-3, &[]),
        unit("week", 7.0 * DAY, &["weeks"]),
    ],
);
static ANGLE: Facts = facts(
    "angle",
    "30",
    0,
    0,
    &[
        unit("°", 1.0, &["deg", "degree", "degrees"]),
        unit("rad", 180.0 / core::f64::consts::PI, &[]),
    ],
);
static ANGULAR_RATE: Facts = facts(
    "turning rate",
    "1",
    0,
    0,
    &[
        unit("°/s", 1.0, &["deg/s"]),
        unit("°/min", 1.0 / MINUTE, &["deg/min"]),
        unit("rad/s", 180.0 / core::f64::consts::PI, &[]),
    ],
);
static VELOCITY: Facts = facts(
    "velocity",
    "2.5",
    0,
    1,
    &[
        unit("m/s", 1.0, &["mps"]),
        unit("fpm", FOOT / MINUTE, &["ft/min"]),
        unit("km/h", 1.0 / 3.6, &["kph", "kmh"]),
        unit("ft/s", FOOT, &["fps"]),
        unit("mph", 5280.0 * FOOT / HOUR, &["mi/h"]),
    ],
);
static FREQUENCY: Facts = facts(
    "frequency",
    "50",
    0,
    0,
    &[
        unit("Hz", 1.0, &["1/s", "rev/s"]),
        unit("rpm", 1.0 / MINUTE, &["rev/min", "r/min"]),
        unit("kHz", 1e3, &[]),
    ],
);
static HEAT_CAPACITY: Facts = facts(
    "heat capacity",
    "60",
    0,
    1,
    &[
        unit("kJ/K", 1e3, &["kJ/°C"]),
        unit("Btu/°F", BTU / RANKINE, &["Btu/F"]),
        unit("J/K", 1.0, &["J/°C"]),
        unit("MJ/K", 1e6, &["MJ/°C"]),
        unit("Wh/K", 3600.0, &[]),
    ],
);
static HEAT_CAPACITY_PER_AREA: Facts = facts(
    "heat capacity per area",
    "80",
    0,
    1,
    &[
        unit("kJ/(m2 K)", 1e3, &["kJ/m2/K", "kJ/Km2"]),
        unit(
            "Btu/(ft2 °F)",
            BTU / (FOOT * FOOT * RANKINE),
            &["Btu/ft2F", "Btu/ft2/°F"],
        ),
        unit("J/(m2 K)", 1.0, &["J/m2/K", "J/Km2"]),
        unit("Wh/(m2 K)", 3600.0, &["Wh/m2/K"]),
    ],
);
static CONDUCTANCE: Facts = facts(
    "thermal conductance",
    "40",
    0,
    1,
    &[
        unit("W/K", 1.0, &["W/°C"]),
        unit(
            "Btu/(h °F)",
            BTU / HOUR / RANKINE,
            &["Btu/hF", "Btu/hr°F", "Btuh/°F", "Btu/h/°F"],
        ),
        unit("kW/K", 1e3, &[]),
    ],
);
static U_VALUE: Facts = facts(
    "thermal transmittance (U-value)",
    "0.5",
    0,
    1,
    &[
        unit("W/(m2 K)", 1.0, &["W/m2/K", "W/m2°C", "W/Km2"]),
        unit(
            "Btu/(h ft2 °F)",
            BTU / (HOUR * FOOT * FOOT * RANKINE),
            &["Btu/hft2F", "Btu/hrft2°F", "Btuh/ft2°F", "Btu/ft2h°F"],
        ),
    ],
);
static THERMAL_RESISTANCE: Facts = facts(
    "thermal resistance",
    "2.5",
    0,
    1,
    &[
        unit("m2 K/W", 1.0, &["Km2/W", "m2°C/W"]),
        unit(
            "h ft2 °F/Btu",
            HOUR * FOOT * FOOT * RANKINE / BTU,
            &["hrft2°F/Btu", "ft2h°F/Btu", "ft2°Fh/Btu", "hft2F/Btu"],
        ),
    ],
);
static CONDUCTIVITY: Facts = facts(
    "thermal conductivity",
    "0.04",
    0,
    1,
    &[
        unit("W/(m K)", 1.0, &["W/m/K", "W/m°C"]),
        unit(
            "Btu in/(h ft2 °F)",
            BTU * (FOOT / 12.0) / (HOUR * FOOT * FOOT * RANKINE),
            &["Btuin/hrft2°F"],
        ),
        unit(
            "Btu/(h ft °F)",
            BTU / (HOUR * FOOT * RANKINE),
            &["Btu/hrft°F"],
        ),
    ],
);
static MASS: Facts = facts(
    "mass",
    "2",
    0,
    1,
    &[
        unit("kg", 1.0, &[]),
        unit("lb", POUND, &["lbs", "lbm"]),
        unit("g", 1e-3, &[]),
    ],
);
static MASS_FLOW: Facts = facts(
    "mass flow",
    "0.4",
    0,
    3,
    &[
        unit("kg/s", 1.0, &[]),
        unit("kg/h", 1.0 / HOUR, &["kg/hr"]),
        unit("g/s", 1e-3, &[]),
        unit("lb/h", POUND / HOUR, &["lb/hr", "pph"]),
        unit("g/h", 1e-3 / HOUR, &["g/hr"]),
        unit("kg/d", 1.0 / DAY, &["kg/day", "L/d", "L/day"]),
    ],
);
static DENSITY: Facts = facts(
    "density",
    "1.2",
    0,
    1,
    &[
        unit("kg/m3", 1.0, &[]),
        unit("lb/ft3", POUND / (FOOT * FOOT * FOOT), &[]),
    ],
);
static HUMIDITY_RATIO: Facts = facts(
    "humidity ratio",
    "9",
    0,
    1,
    &[
        unit("g/kg", 1e-3, &[]),
        unit("gr/lb", 1.0 / 7000.0, &["grains/lb"]),
        unit("kg/kg", 1.0, &["lb/lb"]),
    ],
);
static FRACTION: Facts = facts(
    "fraction",
    "25",
    0,
    0,
    &[unit("%", 0.01, &["percent", "pc"]), unit("", 1.0, &[])],
);
static COUNT: Facts = facts("number", "3", 0, 0, &[unit("", 1.0, &[])]);
static SOUND_LEVEL: Facts = facts(
    "sound level",
    "35",
    0,
    0,
    &[unit("dB", 1.0, &["dBA", "decibel", "decibels"])],
);
static AIR_CHANGES: Facts = facts(
    "air changes",
    "0.3",
    0,
    1,
    &[
        unit("1/h", 1.0 / HOUR, &["/h", "h-1", "perhour", "1/hr"]),
        unit("ACH", 1.0 / HOUR, &[]),
        unit("1/s", 1.0, &[]),
    ],
);
static POWER_PER_AREA: Facts = facts(
    "power per area",
    "5",
    0,
    1,
    &[
        unit("W/m2", 1.0, &[]),
        unit(
            "Btu/(h ft2)",
            BTU / (HOUR * FOOT * FOOT),
            &["Btu/hrft2", "Btuh/ft2", "Btu/h/ft2"],
        ),
        unit("W/ft2", 1.0 / (FOOT * FOOT), &[]),
    ],
);
static FLOW_PER_AREA: Facts = facts(
    "air flow per area",
    "6",
    0,
    1,
    &[
        unit("L/(s m2)", 1e-3, &["L/s/m2", "L/sm2"]),
        unit("cfm/ft2", CFM / (FOOT * FOOT), &["cfm/sqft"]),
        unit("m3/(h m2)", 1.0 / HOUR, &["m3/h/m2"]),
        unit("m3/(s m2)", 1.0, &["m3/s/m2"]),
    ],
);
static FLOW_PER_POWER: Facts = facts(
    "air flow per power",
    "55",
    0,
    1,
    &[
        unit("(L/s)/kW", 1e-6, &["L/skW"]),
        unit("cfm/ton", CFM / TON, &[]),
        unit("(m3/h)/kW", 1e-3 / HOUR, &["m3/hkW"]),
        unit("m3/(s W)", 1.0, &["m3/s/W"]),
    ],
);
static POWER_PER_FLOW: Facts = facts(
    "power per air flow",
    "0.6",
    0,
    1,
    &[
        unit("W/(L/s)", 1e3, &["kW/m3/s"]),
        unit("W/cfm", 1.0 / CFM, &[]),
        unit("W/(m3/h)", HOUR, &[]),
        unit("W/(m3/s)", 1.0, &[]),
    ],
);

impl Dimension {
    /// Every dimension, in the order in which a stray unit is looked for.
    pub const ALL: [Self; 34] = [
        Self::Temperature,
        Self::TemperatureDifference,
        Self::TemperatureRate,
        Self::AirFlow,
        Self::Pressure,
        Self::PressureGradient,
        Self::Length,
        Self::Area,
        Self::Volume,
        Self::Power,
        Self::Energy,
        Self::Time,
        Self::Angle,
        Self::AngularRate,
        Self::Velocity,
        Self::Frequency,
        Self::HeatCapacity,
        Self::HeatCapacityPerArea,
        Self::Conductance,
        Self::UValue,
        Self::ThermalResistance,
        Self::Conductivity,
        Self::Mass,
        Self::MassFlow,
        Self::Density,
        Self::HumidityRatio,
        Self::Fraction,
        Self::SoundLevel,
        Self::AirChanges,
        Self::PowerPerArea,
        Self::FlowPerArea,
        Self::FlowPerPower,
        Self::PowerPerFlow,
        Self::Count,
    ];

    pub(super) fn facts(self) -> &'static Facts {
        match self {
            Self::Temperature => &TEMPERATURE,
            Self::TemperatureDifference => &TEMPERATURE_DIFFERENCE,
            Self::TemperatureRate => &TEMPERATURE_RATE,
            Self::AirFlow => &AIR_FLOW,
            Self::Pressure => &PRESSURE,
            Self::PressureGradient => &PRESSURE_GRADIENT,
            Self::Length => &LENGTH,
            Self::Area => &AREA,
            Self::Volume => &VOLUME,
            Self::Power => &POWER,
            Self::Energy => &ENERGY,
            Self::Time => &TIME,
            Self::Angle => &ANGLE,
            Self::AngularRate => &ANGULAR_RATE,
            Self::Velocity => &VELOCITY,
            Self::Frequency => &FREQUENCY,
            Self::HeatCapacity => &HEAT_CAPACITY,
            Self::HeatCapacityPerArea => &HEAT_CAPACITY_PER_AREA,
            Self::Conductance => &CONDUCTANCE,
            Self::UValue => &U_VALUE,
            Self::ThermalResistance => &THERMAL_RESISTANCE,
            Self::Conductivity => &CONDUCTIVITY,
            Self::Mass => &MASS,
            Self::MassFlow => &MASS_FLOW,
            Self::Density => &DENSITY,
            Self::HumidityRatio => &HUMIDITY_RATIO,
            Self::Fraction => &FRACTION,
            Self::SoundLevel => &SOUND_LEVEL,
            Self::AirChanges => &AIR_CHANGES,
            Self::PowerPerArea => &POWER_PER_AREA,
            Self::FlowPerArea => &FLOW_PER_AREA,
            Self::FlowPerPower => &FLOW_PER_POWER,
            Self::PowerPerFlow => &POWER_PER_FLOW,
            Self::Count => &COUNT,
        }
    }
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
