//! The units of each dimension.
//!
//! Factors follow from exact definitions: 1 ft = 0.3048 m (international foot), 1 lb = 0.45359237 kg, standard gravity 9.80665 m/s²,
//! 1 Btu = 1055.05585262 J (International Table), all as NIST SP 811 (2008), Appendix B, gives them.

use super::{Facts, Unit};

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

pub(super) static TEMPERATURE: Facts = facts(
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
pub(super) static TEMPERATURE_DIFFERENCE: Facts = facts(
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
        unit("°F", RANKINE, &["F°", "Δ°F", "ΔF", "F", "degF", "°R"]),
    ],
);
pub(super) static TEMPERATURE_RATE: Facts = facts(
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
pub(super) static AIR_FLOW: Facts = facts(
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
pub(super) static PRESSURE: Facts = facts(
    "pressure",
    "60",
    0,
    1,
    &[
        unit("Pa", 1.0, &["N/m2"]),
        unit(
            "inWC",
            INCH_OF_WATER,
            &["inH2O", "inwg", "inwater", "\"wg", "\"wc", "\"H2O", "iwg"],
        ),
        unit("kPa", 1000.0, &[]),
        unit("hPa", 100.0, &["mbar"]),
        unit("mmH2O", 9.806_65, &["mmwg"]),
        unit("bar", 1e5, &[]),
    ],
);
pub(super) static PRESSURE_GRADIENT: Facts = facts(
    "pressure loss per length",
    "1",
    0,
    1,
    &[
        unit("Pa/m", 1.0, &[]),
        unit(
            "inWC/100ft",
            INCH_OF_WATER / (100.0 * FOOT),
            &["inH2O/100ft", "inwg/100ft"],
        ),
    ],
);
pub(super) static LENGTH: Facts = facts(
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
pub(super) static AREA: Facts = facts(
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
pub(super) static VOLUME: Facts = facts(
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
pub(super) static POWER: Facts = facts(
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
// Electricity is sold in kWh wherever flows are read in cfm, too.
pub(super) static ENERGY: Facts = facts(
    "energy",
    "5",
    0,
    0,
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
pub(super) static TIME: Facts = facts(
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
pub(super) static ANGLE: Facts = facts(
    "angle",
    "30",
    0,
    0,
    &[
        unit("°", 1.0, &["deg", "degree", "degrees"]),
        unit("rad", 180.0 / core::f64::consts::PI, &[]),
    ],
);
pub(super) static ANGULAR_RATE: Facts = facts(
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
pub(super) static VELOCITY: Facts = facts(
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
pub(super) static FREQUENCY: Facts = facts(
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
pub(super) static HEAT_CAPACITY: Facts = facts(
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
pub(super) static HEAT_CAPACITY_PER_AREA: Facts = facts(
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
pub(super) static CONDUCTANCE: Facts = facts(
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
pub(super) static U_VALUE: Facts = facts(
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
pub(super) static THERMAL_RESISTANCE: Facts = facts(
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
pub(super) static CONDUCTIVITY: Facts = facts(
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
pub(super) static MASS: Facts = facts(
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
pub(super) static MASS_FLOW: Facts = facts(
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
pub(super) static DENSITY: Facts = facts(
    "density",
    "1.2",
    0,
    1,
    &[
        unit("kg/m3", 1.0, &[]),
        unit("lb/ft3", POUND / (FOOT * FOOT * FOOT), &[]),
    ],
);
pub(super) static HUMIDITY_RATIO: Facts = facts(
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
pub(super) static FRACTION: Facts = facts(
    "fraction",
    "25",
    0,
    0,
    &[unit("%", 0.01, &["percent", "pc"]), unit("", 1.0, &[])],
);
pub(super) static COUNT: Facts = facts("number", "3", 0, 0, &[unit("", 1.0, &[])]);
pub(super) static SOUND_LEVEL: Facts = facts(
    "sound level",
    "35",
    0,
    0,
    &[unit("dB", 1.0, &["dBA", "decibel", "decibels"])],
);
pub(super) static AIR_CHANGES: Facts = facts(
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
pub(super) static POWER_PER_AREA: Facts = facts(
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
pub(super) static FLOW_PER_AREA: Facts = facts(
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
pub(super) static FLOW_PER_POWER: Facts = facts(
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
pub(super) static POWER_PER_FLOW: Facts = facts(
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
