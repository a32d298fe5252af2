//! Reference values and the generic 10 kW unit.

use crate::plant::air::{MoistAir, STANDARD_PRESSURE, SaturationTable};
use crate::plant::unit::{CoilMemory, CoilState, CoolingCoil, HeatingCurves};
use serde_json::Value;
use std::sync::LazyLock;

pub static CASES: LazyLock<Value> = LazyLock::new(|| {
    serde_json::from_str(include_str!("../../reference/unit_cases.json")).expect("reference file")
});
pub static SAT: LazyLock<SaturationTable> =
    LazyLock::new(|| SaturationTable::new(STANDARD_PRESSURE));

/// A number from the reference file, by JSON pointer.
pub fn number(pointer: &str) -> f64 {
    CASES
        .pointer(pointer)
        .and_then(Value::as_f64)
        .unwrap_or_else(|| panic!("no {pointer}"))
}

pub fn rows(pointer: &str) -> &'static [Value] {
    let rows = CASES.pointer(pointer).and_then(Value::as_array);
    rows.unwrap_or_else(|| panic!("no rows {pointer}"))
}

pub fn column(pointer: &str) -> Vec<f64> {
    rows(pointer)
        .iter()
        .map(|v| v.as_f64().expect("a number"))
        .collect()
}

pub fn field(row: &Value, name: &str) -> f64 {
    row[name]
        .as_f64()
        .unwrap_or_else(|| panic!("no {name} in {row}"))
}

#[track_caller]
pub fn near(what: &str, got: f64, want: f64, tolerance: f64) {
    assert!(
        (got - want).abs() <= tolerance,
        "{what}: got {got}, want {want} ± {tolerance}"
    );
}

#[track_caller]
pub fn near_share(what: &str, got: f64, want: f64, share: f64) {
    near(what, got, want, share * want.abs());
}

pub fn air(t_c: f64, rh: f64) -> MoistAir {
    MoistAir::from_relative_humidity(t_c, rh, STANDARD_PRESSURE)
}

/// Air of a dry and wet bulb, by bisection on the humidity.
pub fn air_of_wet_bulb(t_c: f64, wet_bulb_c: f64) -> MoistAir {
    let (mut low, mut high) = (0.0, SAT.w_sat(t_c));
    for _ in 0..60 {
        let w = 0.5 * (low + high);
        let wet = MoistAir::new(t_c, w).wet_bulb_c(STANDARD_PRESSURE);
        if wet < wet_bulb_c { low = w } else { high = w }
    }
    MoistAir::new(t_c, low)
}

pub fn cool(inlet: MoistAir, air_kg_s: f64, outdoor_c: f64, speed: f64) -> CoilState {
    let coil = CoolingCoil::generic(10_000.0).unwrap();
    coil.solve(
        &SAT,
        inlet,
        air_kg_s,
        outdoor_c,
        speed,
        &mut CoilMemory::default(),
    )
    .unwrap()
}

pub fn heat(t_c: f64, air_kg_s: f64, outdoor_c: f64, speed: f64) -> CoilState {
    let curves = HeatingCurves::generic(10_000.0).unwrap();
    let inlet = MoistAir::new(t_c, 0.006);
    curves
        .solve(
            inlet,
            air_kg_s,
            outdoor_c,
            speed,
            &mut CoilMemory::default(),
        )
        .unwrap()
}
