//! `[unit]`: the conditioning unit.

use super::diagnostic::Diagnostic;
use super::reader::Section;
use crate::control::staging::Stages;
use crate::plant::unit::{BypassLaw, CoolingCoil, HeatingCurves, SurfaceMap, Unit, UnitKind};

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

#[derive(Clone, Copy)]
pub(super) enum Kind {
    Fixed,
    TwoStage,
    Variable,
}

pub(super) const KINDS: [(&str, Kind); 3] = [
    ("fixed speed", Kind::Fixed),
    ("two stage", Kind::TwoStage),
    ("variable speed", Kind::Variable),
];

pub(super) fn unit(top: &Section<'_>) -> Result<UnitSpec, Diagnostic> {
    let s = top.table("unit");
    let kind = match s.choice("kind", &KINDS)? {
        Kind::Fixed => UnitKind::FixedSpeed,
        Kind::TwoStage => UnitKind::TwoStage {
            low: s.get("low_stage_capacity")?,
        },
        Kind::Variable => UnitKind::VariableSpeed {
            min: s.get("minimum_speed")?,
            max: s.get("maximum_speed")?,
            slew_per_s: s.get("speed_ramp")?,
        },
    };
    let cooling_w: f64 = s.get("cooling_capacity")?;
    let heating_w = s.or("heating_capacity", 0.998 * cooling_w)?;
    let bypass_factor = s.get("bypass_factor")?;
    let air_kg_s_kw: f64 = s.get("rated_air_per_kw")?;
    let fault = |e: crate::plant::unit::UnitError| s.error(e.to_string(), "correct [unit]");
    let bypass =
        |rated_w: f64| BypassLaw::new(air_kg_s_kw * rated_w / 1000.0, bypass_factor).map_err(fault);
    let cooling_power = s.or("cooling_power", 0.2415 * cooling_w)?;
    let heating_power = s.or("heating_power", 0.2108 * heating_w)?;
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
    unit.start_up_time_constant_s = s.get("start_up_time")?;
    unit.after_run_recovery = s.get("after_run_recovery")?;
    unit.electronics_w = s.get("standby_power")?;
    Ok(UnitSpec {
        unit: unit.checked().map_err(fault)?,
        metal_j_k: s.or("coil_heat_capacity", 0.6 * cooling_w)?,
        cooling_w,
        heating_w,
    })
}
