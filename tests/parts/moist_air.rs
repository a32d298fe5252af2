//! Moist air against tables: the perfect-gas formulae worked elsewhere, and the real gas.
//!
//! `reference/moist_air_points.json`: CoolProp's `HAPropsSI` and the ASHRAE forms worked in Python.

use crate::plant::air::{
    MoistAir, STANDARD_PRESSURE, SaturationTable, dew_point_c, humidity_ratio, relative_humidity,
    saturation_pressure_pa, standard_pressure_pa, wet_bulb_c,
};
use proptest::prelude::*;
use serde_json::Value;

fn rows() -> Vec<Value> {
    let text = include_str!("../reference/moist_air_points.json");
    let file: Value = serde_json::from_str(text).expect("the reference file is JSON");
    file["rows"].as_array().expect("it has rows").clone()
}

fn number(value: &Value) -> f64 {
    value.as_f64().expect("a number")
}

#[track_caller]
fn near(what: &str, found: f64, expected: f64, tolerance: f64) {
    assert!(
        (found - expected).abs() <= tolerance,
        "{what}: found {found}, expected {expected} ± {tolerance}"
    );
}

#[test]
fn agrees_with_the_formulae_worked_elsewhere() {
    let rows = rows();
    assert_eq!(rows.len(), 6);
    for row in &rows {
        let (t, p) = (number(&row["t_C"]), number(&row["p_Pa"]));
        let air = MoistAir::from_relative_humidity(t, number(&row["RH_pct"]) / 100.0, p);
        let expected = &row["ashrae_formula"];
        let relative = |what: &str, found: f64, key: &str| {
            let expected = number(&expected[key]);
            near(what, found, expected, 1e-6 * expected);
        };
        relative("saturation pressure", saturation_pressure_pa(t), "pws_Pa");
        relative("humidity ratio", air.w, "W");
        relative("enthalpy", air.enthalpy_j_kg() / 1000.0, "h_kJkg");
        relative("wet bulb", air.wet_bulb_c(p), "twb_C");
        relative("dew point", air.dew_point_c(p), "tdp_C");
        relative("specific volume", air.specific_volume_m3_kg(p), "v_m3kgda");
    }
}

#[test]
fn stays_near_the_real_gas() {
    // The perfect-gas forms leave out the enhancement factor: up to 0.6 % of the humidity ratio.
    for row in &rows() {
        let (t, p) = (number(&row["t_C"]), number(&row["p_Pa"]));
        let air = MoistAir::from_relative_humidity(t, number(&row["RH_pct"]) / 100.0, p);
        let real = |key: &str| number(&row["coolprop"][key]);
        near("humidity ratio", air.w, real("W"), 0.006 * real("W"));
        near(
            "enthalpy",
            air.enthalpy_j_kg() / 1000.0,
            real("h_kJkg"),
            0.17,
        );
        near("wet bulb", air.wet_bulb_c(p), real("twb_C"), 0.012);
        near("dew point", air.dew_point_c(p), real("tdp_C"), 0.01);
        near(
            "volume",
            air.specific_volume_m3_kg(p),
            real("v_m3kgda"),
            0.0006,
        );
    }
}

#[test]
fn saturation_pressure_has_its_tabulated_values() {
    // ASHRAE Fundamentals ch. 1 formulae, worked in Python.
    for (t, pa) in [
        (-20.0, 103.2604),
        (0.0, 611.2129),
        (10.0, 1227.995),
        (25.0, 3169.216),
        (50.0, 12349.86),
        (100.0, 101_418.7),
    ] {
        near(
            "saturation pressure",
            saturation_pressure_pa(t),
            pa,
            1e-6 * pa,
        );
    }
    // Ice meets liquid at 0 °C to 0.02 %.
    near("at 0 °C", saturation_pressure_pa(-1e-9), 611.2129, 0.1);
}

#[test]
fn standard_atmosphere_has_its_tabulated_values() {
    // U.S. Standard Atmosphere 1976, geopotential altitude, as printed in ASHRAE Fundamentals
    // ch. 1 table 1 (kPa; from memory).
    for (altitude_m, kpa) in [
        (-500.0, 107.478),
        (0.0, 101.325),
        (1000.0, 89.875),
        (3000.0, 70.108),
    ] {
        near(
            "pressure",
            standard_pressure_pa(altitude_m) / 1000.0,
            kpa,
            0.01,
        );
    }
}

#[test]
fn odd_corners_hold() {
    let p = STANDARD_PRESSURE;
    assert_eq!(
        wet_bulb_c(20.0, 0.03, p),
        20.0,
        "fog has its own temperature"
    );
    near("dry air's dew point", dew_point_c(0.0, p), -100.0, 1e-6);
    // For perfectly dry air ASHRAE's eq. 33 comes down to this balance.
    let wet = wet_bulb_c(40.0, 0.0, p);
    let w_sat = humidity_ratio(1.0, wet, p);
    near(
        "energy balance",
        (2501.0 - 2.326 * wet) * w_sat,
        1.006 * (40.0 - wet),
        1e-6,
    );
    let a = MoistAir::new(20.0, 0.01);
    assert_eq!(
        MoistAir::mix(0.0, a, 0.0, MoistAir::new(5.0, 0.001)),
        a,
        "no flow keeps the first"
    );
    // Saturated air at 0 °C straddles the ice and liquid forms.
    near(
        "dew point at the ice line",
        dew_point_c(humidity_ratio(1.0, -1e-6, p), p),
        0.0,
        1e-3,
    );
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn relative_humidity_comes_back(t in -40.0..60.0, rh in 0.01..1.0, p in 60e3..108e3) {
        let w = humidity_ratio(rh, t, p);
        prop_assert!((relative_humidity(w, t, p) - rh).abs() < 1e-9);
    }

    #[test]
    fn temperature_comes_back_from_enthalpy(t in -40.0..60.0, w in 0.0..0.05) {
        let h = MoistAir::new(t, w).enthalpy_j_kg();
        let back = MoistAir::from_enthalpy(h, w);
        prop_assert!((back.t_c - t).abs() < 1e-9);
        prop_assert_eq!(back.w, w);
    }

    #[test]
    fn dew_point_is_where_the_air_saturates(t in -40.0..60.0, rh in 0.01..1.0, p in 60e3..108e3) {
        let w = humidity_ratio(rh, t, p);
        let dew = dew_point_c(w, p);
        // At 0 °C the two branches differ by 0.01 %, so the air may saturate between them.
        prop_assert!((humidity_ratio(1.0, dew, p) / w - 1.0).abs() < 2e-4);
        prop_assert!(dew <= t + 1e-2);
    }

    #[test]
    fn wet_bulb_lies_between(t in -30.0..50.0, rh in 0.01..1.0, p in 60e3..108e3) {
        let w = humidity_ratio(rh, t, p);
        let wet = wet_bulb_c(t, w, p);
        prop_assert!(wet <= t + 1e-9 && wet >= dew_point_c(w, p).min(t) - 1e-9);
    }

    #[test]
    fn mixing_conserves(
        ta in -10.0..50.0, tb in -10.0..50.0, wa in 0.0..0.02, wb in 0.0..0.02,
        ma in 0.001..2.0, mb in 0.0..2.0,
    ) {
        let (a, b) = (MoistAir::new(ta, wa), MoistAir::new(tb, wb));
        let mixed = MoistAir::mix(ma, a, mb, b);
        let heat = ma * a.enthalpy_j_kg() + mb * b.enthalpy_j_kg();
        prop_assert!(((ma + mb) * mixed.enthalpy_j_kg() - heat).abs() < 1e-6);
        prop_assert!(((ma + mb) * mixed.w - ma * wa - mb * wb).abs() < 1e-12);
        prop_assert!(mixed.t_c >= ta.min(tb) - 1e-9 && mixed.t_c <= ta.max(tb) + 1e-9);
    }

    #[test]
    fn table_keeps_to_the_formula_and_inverts(t in -44.9..74.9, p in 60e3..108e3) {
        let table = SaturationTable::new(p);
        let exact = humidity_ratio(1.0, t, p);
        prop_assert!((table.w_sat(t) / exact - 1.0).abs() < 1e-6);
        let h = MoistAir::new(t, exact).enthalpy_j_kg();
        prop_assert!((table.h_sat(t) - h).abs() < 1e-6 * (exact * 2.7e6) + 1e-6);
        prop_assert!((table.t_at_h_sat(table.h_sat(t)) - t).abs() < 1e-6);
        let e = 1e-4;
        let slope = (table.w_sat(t + e) - table.w_sat(t - e)) / (2.0 * e);
        if t.abs() > 2.0 * e {
            prop_assert!((table.w_sat_slope_per_k(t) / slope - 1.0).abs() < 1e-3);
        }
    }
}
