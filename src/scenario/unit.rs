//! `[unit]`: the conditioning unit.

use super::diagnostic::Diagnostic;
use super::reader::Section;
use crate::control::staging::Stages;
use crate::plant::unit::{
    AIR_KG_S_PER_KW, BypassLaw, CoolingCoil, HeatingCurves, SurfaceMap, Unit, UnitKind,
};
use crate::quantity::Dimension;

const COMMON: &str = "common practice, no source";
const GENERIC: &str = "our own generic unit, not any machine's data";

/// The unit with what else of `[unit]` the run needs.
#[derive(Clone, Debug)]
pub struct UnitSpec {
    /// The machine.
    pub unit: Unit,
    /// Heat capacity of coil and plenum metal on the air side, J/K.
    pub metal_j_k: f64,
    /// Rated cooling capacity, W.
    pub cooling_w: f64,
    /// Rated heating capacity, W.
    pub heating_w: f64,
}

impl UnitSpec {
    /// What the controller knows of the machine's speeds.
    pub(super) fn stages(&self) -> Stages {
        match self.unit.kind {
            UnitKind::FixedSpeed => Stages::FixedSpeed,
            UnitKind::TwoStage { low } => Stages::TwoStage { low },
            UnitKind::VariableSpeed {
                min,
                max,
                slew_per_s,
            } => Stages::VariableSpeed {
                minimum: min,
                maximum: max,
                ramp_per_s: slew_per_s,
            },
        }
    }
}

pub(super) fn unit(top: &Section<'_>) -> Result<UnitSpec, Diagnostic> {
    let s = top.table("unit")?;
    let kinds = [("fixed speed", 0), ("two stage", 1), ("variable speed", 2)];
    let kind = s
        .choice("kind", &kinds)
        .or(0, "the plainest machine; our own choice")?;
    let low = s.fraction("low_stage").within(0.3, 0.95).or(0.67, COMMON)?;
    let min = s
        .number("minimum_speed")
        .within(0.25, 1.0)
        .or(0.25, COMMON)?;
    let max = s.number("maximum_speed").within(1.0, 1.2).or(1.2, COMMON)?;
    let slew_per_s = s.number("speed_change").within(0.0005, 1.0).or(
        0.01,
        "share of rated per second: 95 s from end to end; common practice, no source",
    )?;
    let kind = match kind {
        0 => UnitKind::FixedSpeed,
        1 => UnitKind::TwoStage { low },
        _ => UnitKind::VariableSpeed {
            min,
            max,
            slew_per_s,
        },
    };
    let power = |key: &str| s.quantity(key, Dimension::Power);
    let cooling_w = power("cooling_capacity")
        .within(500.0, 200_000.0)
        .required()?;
    let heating_w = power("heating_capacity")
        .within(500.0, 200_000.0)
        .or(0.998 * cooling_w, GENERIC)?;
    let bypass_factor = s
        .fraction("bypass_factor")
        .within(0.01, 0.6)
        .or(0.15, GENERIC)?;
    let air_kg_s_kw = s.number("rated_air").within(0.02, 0.12).or(
        AIR_KG_S_PER_KW,
        "kg/s of dry air per rated kW, 0.050 m³/s; our own generic unit",
    )?;
    let fault = |e: crate::plant::unit::UnitError| s.error(e.to_string(), "correct [unit]");
    let bypass =
        |rated_w: f64| BypassLaw::new(air_kg_s_kw * rated_w / 1000.0, bypass_factor).map_err(fault);
    let cooling_power = power("cooling_power")
        .within(50.0, 100_000.0)
        .or(0.2415 * cooling_w, GENERIC)?;
    let heating_power = power("heating_power")
        .within(50.0, 100_000.0)
        .or(0.2108 * heating_w, GENERIC)?;
    let coil = CoolingCoil::new(
        cooling_w,
        cooling_power,
        bypass(cooling_w)?,
        SurfaceMap::GENERIC,
    )
    .map_err(fault)?;
    let mut curves = HeatingCurves::generic(heating_w / 0.9979037).map_err(fault)?;
    curves.rated_total_w = heating_w;
    curves.rated_compressor_w = heating_power;
    curves.bypass = bypass(cooling_w)?;
    let mut unit = Unit::generic(cooling_w, kind).map_err(fault)?;
    unit.cooling = Some(coil);
    unit.heating = Some(curves);
    unit.start_up_time_constant_s = s
        .quantity("start_up", Dimension::Time)
        .within(1.0, 600.0)
        .or(
            60.0,
            "gives the 0.20 degradation of the 6/24 minute rating cycle, from memory",
        )?;
    unit.after_run_recovery = s.fraction("after_run_recovery").or(
        0.2,
        "share of the start-up loss that the fan brings back; our own estimate",
    )?;
    unit.electronics_w = power("standby").within(0.0, 500.0).or(30.0, GENERIC)?;
    let unit = unit.checked().map_err(fault)?;
    let metal_j_k = s
        .quantity("metal", Dimension::HeatCapacity)
        .within(100.0, 500_000.0)
        .or(
            0.6 * cooling_w,
            "about 10 kg of coil per 10 kW; our own estimate",
        )?;
    s.finish()?;
    Ok(UnitSpec {
        unit,
        metal_j_k,
        cooling_w,
        heating_w,
    })
}
