use super::*;
use proptest::prelude::*;
use std::collections::HashMap;

fn reads(text: &str, dimension: Dimension, expected: f64) {
    let value = parse(text, dimension).unwrap_or_else(|error| panic!("{text}: {error}"));
    let slack = 1e-12 * expected.abs().max(1e-12);
    assert!(
        (value - expected).abs() <= slack,
        "{text}: {value} is not {expected}"
    );
}

/// Against NIST SP 811 (2008), Appendix B.8 and B.9, to the seven figures given there (recalled from memory; the exact
/// definitions in the next test are independent of them).
#[test]
fn factors_agree_with_nist_sp_811() {
    use Dimension::*;
    for (text, dimension, printed) in [
        ("1 cfm", AirFlow, 4.719474e-4),
        ("1 inH2O", Pressure, 2.490889e2), // inch of water, conventional
        ("1 mmH2O", Pressure, 9.80665),
        ("1 mbar", Pressure, 1e2),
        ("1 ft2", Area, 9.290304e-2),
        ("1 in2", Area, 6.4516e-4),
        ("1 ft3", Volume, 2.831685e-2),
        ("1 Btu/h", Power, 2.930711e-1),
        ("1 ton", Power, 3.516853e3),
        ("1 Btu", Energy, 1.055056e3),
        ("1 kWh", Energy, 3.6e6),
        ("1 ft/min", Velocity, 5.08e-3),
        ("1 mph", Velocity, 4.4704e-1),
        ("1 Btu/°F", HeatCapacity, 1.899101e3),
        ("1 Btu/(h ft2 °F)", UValue, 5.678263),
        ("1 h ft2 °F/Btu", ThermalResistance, 1.761102e-1),
        ("1 Btu in/(h ft2 °F)", Conductivity, 1.442279e-1),
        ("1 Btu/(h ft °F)", Conductivity, 1.730735),
        ("1 Btu/(h ft2)", PowerPerArea, 3.154591),
        ("1 lb", Mass, 4.535924e-1),
        ("1 lb/h", MassFlow, 1.259979e-4),
        ("1 lb/ft3", Density, 1.601846e1),
        ("1 rad", Angle, 57.29578),
    ] {
        let value = parse(text, dimension).unwrap();
        // Half a unit of the seventh figure.
        let slack = 0.5e-6 * 10_f64.powf(f64::log10(printed).floor()) * (1.0 + 1e-9);
        assert!(
            (value - printed).abs() <= slack,
            "{text}: {value}, printed {printed}"
        );
    }
}

#[test]
fn exact_definitions_hold_exactly() {
    use Dimension::*;
    reads("1 inH2O", Pressure, 249.088_91); // 0.0254 m × 1000 kg/m³ × 9.80665 m/s²
    reads("1 cfm", AirFlow, 0.304_8_f64.powi(3) / 60.0);
    reads("1 ton", Power, 12_000.0 * 1_055.055_852_62 / 3600.0);
    reads("3600 m3/h", AirFlow, 1.0);
    reads("7000 gr/lb", HumidityRatio, 1.0); // 7000 grains to the pound, exact
    reads("32 °F", Temperature, 0.0);
    reads("212 °F", Temperature, 100.0);
    reads("-40 °F", Temperature, -40.0);
    reads("273.15 K", Temperature, 0.0);
    reads("0 K", Temperature, -273.15);
    reads("-459.67 °F", Temperature, -273.15);
    reads("1.8 F°", TemperatureDifference, 1.0);
    reads("2 d", Time, 172_800.0);
    reads("36 km/h", Velocity, 10.0);
    reads("3600 ACH", AirChanges, 1.0);
    reads(
        "400 cfm/ton",
        FlowPerPower,
        400.0 * 0.304_8_f64.powi(3) / 60.0 / 3_516.852_842_066_667,
    );
    reads("1 W/(L/s)", PowerPerFlow, 1000.0);
}

#[test]
fn spellings_that_people_use_are_understood() {
    use Dimension::*;
    for text in [
        "350 L/s",
        "350 l/s",
        "350L/s",
        "+350 L/s",
        "0.35e3 L/s",
        "350\u{202f}L/s",
    ] {
        reads(text, AirFlow, 0.35);
    }
    for text in [
        "740 cfm",
        "740 CFM",
        "740 ft3/min",
        "740 ft³/min",
        "740 ft^3/min",
    ] {
        reads(text, AirFlow, 740.0 * 0.304_8_f64.powi(3) / 60.0);
    }
    for text in [
        "0.5 W/(m2 K)",
        "0.5 W/m2K",
        "0.5 W/(m²·K)",
        "0.5 W/m2/K",
        "0.5 W/(m²⋅K)",
        "0.5 w/m²k",
    ] {
        reads(text, UValue, 0.5);
    }
    for text in [
        "0.25 inH2O",
        "0.25 in.wg",
        "0.25 in. w.g.",
        "0.25 in H₂O",
        "0.25 inwc",
        ".25 INWG",
    ] {
        reads(text, Pressure, 62.272_227_5);
    }
    for text in ["−5 °C", "-5 C", "– 5 ℃", "-5 degC", "-5\u{a0}ºC"] {
        reads(text, Temperature, -5.0);
    }
    for text in ["1 K", "1 °C", "1 Δ°C", "1 C°", "1 ∆K"] {
        reads(text, TemperatureDifference, 1.0);
    }
    for text in ["25 %", "25%", "0.25", "25 percent"] {
        reads(text, Fraction, 0.25);
    }
    reads("35 dB(A)", SoundLevel, 35.0);
    reads("30°", Angle, 30.0);
    reads("2.5 m²·K/W", ThermalResistance, 2.5);
    reads("80 kJ/(m²·K)", HeatCapacityPerArea, 80e3);
}

fn fault(text: &str, dimension: Dimension) -> (String, String) {
    let error = parse(text, dimension).expect_err(text);
    (error.to_string(), error.advice().to_owned())
}

#[test]
fn faults_say_what_to_write() {
    use Dimension::*;
    let (what, advice) = fault("350", AirFlow);
    assert_eq!(what, "\"350\" has no unit");
    assert_eq!(advice, "write \"350 L/s\" (or cfm, m3/h)");
    let (what, advice) = fault("60 Pa", AirFlow);
    assert_eq!(what, "\"Pa\" is a unit of pressure, and air flow is due");
    assert_eq!(advice, "write \"350 L/s\" (or cfm, m3/h)");
    let (what, advice) = fault("350 L/sec", AirFlow);
    assert_eq!(what, "unknown unit \"L/sec\"");
    assert!(
        advice.starts_with("write \"350 L/s\"; units of air flow: L/s, cfm, "),
        "{advice}"
    );
    let (what, advice) = fault("5 furlongs", Power);
    assert_eq!(what, "unknown unit \"furlongs\"");
    assert_eq!(advice, "write \"5 kW\" (or Btu/h, W)");
    let (what, advice) = fault("fast", Velocity);
    assert_eq!(what, "\"fast\" does not start with a plain number");
    assert_eq!(advice, "write \"2.5 m/s\" (or fpm, km/h)");
    for text in ["1,200 L/s", "1 200 L/s", "3,5 L/s", "10-20 L/s"] {
        let (what, advice) = fault(text, AirFlow);
        assert!(what.contains("plain number"), "{what}");
        assert!(
            advice.starts_with("use one number with a decimal point and no sep"),
            "{advice}"
        );
    }
    assert!(
        fault("-300 °C", Temperature)
            .0
            .contains("below absolute zero")
    );
    assert!(fault("1e999 Pa", Pressure).0.contains("too large"));
    assert!(fault("", Pressure).0.contains("plain number"));
    assert!(fault("12 °C", UValue).0.contains("unit of temperature"));
}

#[test]
fn letter_case_never_turns_milli_into_mega() {
    for (text, dimension) in [
        ("3 mJ", Dimension::Energy),
        ("3 mJ/K", Dimension::HeatCapacity),
    ] {
        assert!(parse(text, dimension).is_err(), "{text}");
    }
    reads("3 MJ", Dimension::Energy, 3e6);
    reads("3 KPA", Dimension::Pressure, 3000.0);
}

/// Within a dimension every spelling, letter case aside, means one unit; and every symbol reads back as itself.
#[test]
fn the_table_of_units_is_sound() {
    for &dimension in Dimension::ALL {
        let mut seen: HashMap<String, &str> = HashMap::new();
        for unit in dimension.units() {
            assert!(unit.scale > 0.0 && unit.scale.is_finite());
            let spellings = unit.spellings.iter().map(|s| (*s).to_owned());
            for spelling in spellings.chain([squeeze(unit.symbol)]) {
                assert_eq!(spelling, squeeze(&spelling), "{dimension:?}: not squeezed");
                let other = seen.insert(spelling.to_lowercase(), unit.symbol);
                assert!(
                    other.is_none_or(|o| o == unit.symbol),
                    "{dimension:?}: {spelling} twice"
                );
            }
            let one = parse(&format!("300 {}", unit.symbol), dimension).unwrap();
            assert_eq!(one, unit.to_si(300.0), "{dimension:?} {}", unit.symbol);
        }
        for system in [UnitSystem::Si, UnitSystem::Ip] {
            // A count has no unit to show; everything else has.
            let bare = dimension.shown_unit(system).symbol.is_empty();
            assert_eq!(bare, dimension == Dimension::Count, "{dimension:?}");
        }
        assert!(
            parse(&dimension.example(), dimension).is_ok(),
            "{dimension:?}"
        );
    }
}

#[test]
fn digits_are_counted_and_trailing_zeros_dropped() {
    assert_eq!(significant(99.96, 3), "100");
    assert_eq!(significant(1.0e-9, 3), "1.00e-9");
    assert_eq!(significant(f64::NAN, 3), "NaN");
    assert_eq!(
        display_full(1.2041, Dimension::Density, UnitSystem::Si),
        "1.2041 kg/m3"
    );
}

proptest! {
    #[test]
    fn any_text_is_read_or_refused(text in ".*", index in 0..Dimension::ALL.len()) {
        let _ = parse(&text, Dimension::ALL[index]);
    }

    #[test]
    fn anything_after_a_number_is_read_or_refused(text in "[-+−]?[0-9.,eE]{0,8} ?\\PC{0,8}", index in 0..Dimension::ALL.len()) {
        if let Ok(value) = parse(&text, Dimension::ALL[index]) {
            prop_assert!(value.is_finite());
        }
    }

    #[test]
    fn what_is_shown_reads_back(value in -1e6..1e6f64, index in 0..Dimension::ALL.len()) {
        let dimension = Dimension::ALL[index];
        let value = if dimension == Dimension::Temperature { value.max(-270.0) } else { value };
        // In full: six figures, in the unit shown.
        let unit = dimension.shown_unit(UnitSystem::Si);
        let slack = 1e-5 * unit.express(value).abs() * unit.scale + 1e-9 * unit.scale;
        let shown = display_full(value, dimension, UnitSystem::Si);
        let back = parse(&shown, dimension).unwrap();
        prop_assert!((back - value).abs() <= slack, "{shown}: {back} {value}");
        // For people: three figures, to half a unit of the last where decimals are few.
        for system in [UnitSystem::Si, UnitSystem::Ip] {
            let shown = system.show(value, dimension);
            let unit = dimension.shown_unit(system);
            // Whole minutes, from two minutes on.
            let last = if shown.ends_with(" min") { 60.0 } else { unit.scale };
            let slack = 5.1e-3 * unit.express(value).abs() * unit.scale + 0.51 * last;
            let back = parse(&shown, dimension).unwrap();
            prop_assert!((back - value).abs() <= slack, "{shown}: {back} {value}");
        }
    }
}
