//! Figures of the trade: the house built into the program lies inside what is usual.

use super::COMMON;
use super::reference::{ReferenceError, refused};
use super::row::Row;
use crate::plant::air::{MoistAir, SaturationTable};
use crate::plant::air_side::{AirCommand, AirSide, AirState};
use crate::plant::relief::Relief;
use crate::plant::unit::CoilMemory;
use crate::scenario::Scenario;

/// The air side at rest with some dampers open, any weighted blade settled.
fn blown(s: &Scenario, fan: f64, openings: &[f64]) -> Result<AirState, ReferenceError> {
    let side = AirSide::new(s.air.clone(), &s.rooms, &s.doors).map_err(refused("the house"))?;
    let mut scratch = side.scratch();
    let mut state = side.initial();
    let doors = vec![true; s.doors.len()];
    let command = AirCommand {
        fan,
        openings,
        relief: 0.0,
        open_doors: &doors,
    };
    for _ in 0..60 {
        side.step(&command, 10.0, &mut state, &mut scratch)
            .map_err(refused("the house"))?;
    }
    Ok(state)
}

pub(super) fn rows() -> Result<Vec<Row>, ReferenceError> {
    let name = "family-house";
    let s = Scenario::embedded(name).map_err(refused(name))?;
    let spec = s.control.controller.spec();
    let rated = s.rated_flow_m3_s;
    let design = |z: usize| -> f64 {
        s.zones[z]
            .outlets
            .iter()
            .map(|&o| s.outlets[o].design_flow_m3_s)
            .sum()
    };
    let smallest = (0..s.zones.len())
        .min_by(|&a, &b| design(a).total_cmp(&design(b)))
        .ok_or_else(|| ReferenceError::Missing("zone".into()))?;
    let all = blown(&s, 1.0, &vec![1.0; s.outlets.len()])?;
    // The smallest zone calls; those that may idle stand at their idle opening, the rest are shut.
    let mut openings = vec![0.0; s.outlets.len()];
    for (z, zone) in s.zones.iter().enumerate() {
        for &o in &zone.outlets {
            openings[o] = if z == smallest {
                1.0
            } else {
                spec.zones[z].opening_when_satisfied
            };
        }
    }
    let slow = spec
        .fan
        .running(spec.staging.stages.minimum(), &spec.staging.stages);
    let alone = blown(&s, slow, &openings)?;
    let share = |a: &AirState| a.outlets_m3_s.iter().sum::<f64>() / a.fan_m3_s;
    let alone_full = blown(&s, 1.0, &openings)?;
    let called = &s.zones[smallest].name;

    let sat = SaturationTable::new(s.site.pressure_pa);
    let inlet = MoistAir::from_relative_humidity(24.0, 0.5, s.site.pressure_pa);
    let kg_s = s.air.air.density_kg_m3 * all.fan_m3_s;
    let coil = s.unit.unit.cooling.as_ref();
    let coil = coil.ok_or_else(|| ReferenceError::Missing("cooling coil".into()))?;
    let cooled = coil
        .solve(&sat, inlet, kg_s, 35.0, 1.0, &mut CoilMemory::default())
        .map_err(refused("the house's coil"))?;

    let mut out = vec![
        Row::inside(
            "airflow per rated kW of the family house, as all of these",
            "350 to 450 cfm a ton; 350 is the least of California's Title 24, the rest common practice, no source",
            1000.0 * rated / (s.unit.cooling_w / 1000.0),
            (47.0, 60.4),
            "L/(s kW)",
        ),
        Row::inside(
            "drop of supply temperature across the coil",
            COMMON,
            24.0 - cooled.leaving.t_c,
            (8.0, 14.0),
            "K",
        )
        .remark("24 °C and 50 % on the coil, 35 °C outdoors, every damper open"),
        Row::inside(
            "static between supply and return plenum, every damper open",
            "125 Pa (0.5 in of water) is the usual rating; common practice, no source",
            all.supply_pa - all.return_pa,
            (25.0, 125.0),
            "Pa",
        ),
        Row::inside(
            "the same with the smallest zone alone at the unit's lowest stage",
            COMMON,
            alone.supply_pa - alone.return_pa,
            (10.0, 187.0),
            "Pa",
        )
        .remark(format!(
            "zone \"{called}\" calls; others at their idle opening"
        )),
        Row::inside(
            "smallest zone calling alone, lowest stage: share of the coil's air that reaches rooms",
            COMMON,
            share(&alone),
            (0.25, 1.0),
            "1",
        )
        .remark(format!(
            "zone \"{called}\" has {:.0} % of the design air by itself",
            100.0 * design(smallest) / rated
        )),
        Row::inside(
            "the same at full fan",
            COMMON,
            share(&alone_full),
            (0.25, 1.0),
            "1",
        )
        .remark("a fixed-speed unit wants 25 to 30 % or more"),
    ];
    if let Some(relief) = s.relief
        && let Relief::WeightedBlade(blade) = relief.relief
    {
        let law = blade.at_rest();
        let passed = law.full * law.full_pa.sqrt();
        let needed = rated - design(smallest);
        out.push(
            Row::inside(
                "relief wide open, over total air less the smallest zone's",
                COMMON,
                passed / needed,
                (1.0, 1.6),
                "1",
            )
            .remark(format!(
                "{:.0} L/s at the {:.0} Pa that open it wholly, {:.0} L/s asked for",
                1000.0 * passed,
                law.full_pa,
                1000.0 * needed
            )),
        );
    }
    Ok(out)
}
