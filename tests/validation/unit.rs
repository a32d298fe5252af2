//! The unit against its rating point, the reference cycle's tables, and closed forms of cycling.

use serde_json::Value;

use crate::plant::air::{MoistAir, STANDARD_PRESSURE, SaturationTable};
use crate::plant::unit::{CoilMemory, CoilState, CoolingCoil, HeatingCurves};
use crate::validation::reference::{ReferenceError, list, number, parse, refused};
use crate::validation::row::{Row, Worst};

pub(super) const CYCLE: &str = "our own R32 cycle computed with CoolProp, not any machine's data";

/// The generic 10 kW unit.
struct Generic {
    sat: SaturationTable,
    coil: CoolingCoil,
    heating: HeatingCurves,
}

impl Generic {
    fn new() -> Result<Generic, ReferenceError> {
        let refuse = "the generic unit";
        Ok(Generic {
            sat: SaturationTable::new(STANDARD_PRESSURE),
            coil: CoolingCoil::generic(10_000.0).map_err(refused(refuse))?,
            heating: HeatingCurves::generic(10_000.0).map_err(refused(refuse))?,
        })
    }

    fn cool(
        &self,
        inlet: MoistAir,
        kg_s: f64,
        outdoor_c: f64,
        speed: f64,
    ) -> Result<CoilState, ReferenceError> {
        self.coil
            .solve(
                &self.sat,
                inlet,
                kg_s,
                outdoor_c,
                speed,
                &mut CoilMemory::default(),
            )
            .map_err(refused("the coil"))
    }
}

/// Air of a dry and a wet bulb, by bisection on its humidity.
pub(super) fn air_of_wet_bulb(t_c: f64, wet_bulb_c: f64) -> MoistAir {
    let (mut low, mut high) = (0.0, SaturationTable::new(STANDARD_PRESSURE).w_sat(t_c));
    for _ in 0..60 {
        let w = 0.5 * (low + high);
        let wet = MoistAir::new(t_c, w).wet_bulb_c(STANDARD_PRESSURE);
        if wet < wet_bulb_c { low = w } else { high = w }
    }
    MoistAir::new(t_c, low)
}

pub(super) fn rows() -> Result<Vec<Row>, ReferenceError> {
    let file = parse(
        "unit_cases.json",
        include_str!("../reference/unit_cases.json"),
    )?;
    let generic = Generic::new()?;
    let mut out = Vec::new();
    rating(&generic, &mut out)?;
    trends(&generic, &file, &mut out)?;
    Ok(out)
}

fn rating(g: &Generic, out: &mut Vec<Row>) -> Result<(), ReferenceError> {
    let at = g.cool(air_of_wet_bulb(27.0, 19.0), 0.602, 35.0, 1.0)?;
    let point = "27/19 °C indoors, 35 °C outdoors";
    let row = |what: &str, ours: f64, theirs: f64, share: f64, unit| {
        Row::relative(what, CYCLE, (ours, theirs), share, unit)
    };
    out.push(
        row(
            "rating point, cooling capacity",
            at.total_w,
            10_000.0,
            0.004,
            "W",
        )
        .remark(point),
    );
    out.push(row(
        "rating point, cooling power",
        at.compressor_w,
        2415.0,
        0.014,
        "W",
    ));
    out.push(Row::figure(
        "rating point, sensible share",
        CYCLE,
        (at.sensible_share(), 0.780),
        0.003,
        "1",
    ));
    let warm = g
        .heating
        .solve(
            MoistAir::new(20.0, 0.006),
            0.602,
            7.0,
            1.0,
            &mut CoilMemory::default(),
        )
        .map_err(refused("the unit in heating"))?;
    out.push(
        row(
            "rating point, heating capacity",
            -warm.total_w,
            9979.0,
            0.001,
            "W",
        )
        .remark("20 °C indoors, 7 °C outdoors"),
    );
    out.push(row(
        "rating point, heating power",
        warm.compressor_w,
        2104.0,
        0.001,
        "W",
    ));
    Ok(())
}

fn trends(g: &Generic, file: &Value, out: &mut Vec<Row>) -> Result<(), ReferenceError> {
    let (mut capacity, mut power) = (Worst::default(), Worst::default());
    for row in list(file, "/case2_ADP_BF/curve_form_vs_reference_cycle")? {
        let n = |key: &str| number(row, &format!("/{key}"));
        let inlet = MoistAir::from_relative_humidity(n("T_in")?, n("RH")?, STANDARD_PRESSURE);
        let at = g.cool(inlet, 0.602 * n("ff")?, n("ODB")?, 1.0)?;
        capacity.add_relative(at.total_w, n("ref_Q")?);
        power.add_relative(at.compressor_w, n("ref_P")?);
    }
    let states =
        "entering 12 to 27 °C, wet and dry coil, 30 to 40 °C outdoors, 50 to 110 % airflow";
    out.push(
        Row::largest(
            "capacity over entering and outdoor air, relative",
            CYCLE,
            capacity,
            0.005,
            "1",
        )
        .remark(states),
    );
    out.push(Row::largest(
        "power over the same, relative",
        CYCLE,
        power,
        0.015,
        "1",
    ));
    // Every step of a ladder must go the way rating tables go.
    let (mut held, mut of) = (0, 0);
    let inlet = |t: f64, rh: f64| MoistAir::from_relative_humidity(t, rh, STANDARD_PRESSURE);
    for speed in [0.3, 0.6, 1.0] {
        for k in 0..20 {
            let x = f64::from(k);
            let outdoor = [
                g.cool(inlet(24.0, 0.5), 0.602, 22.0 + x, speed)?,
                g.cool(inlet(24.0, 0.5), 0.602, 23.0 + x, speed)?,
            ];
            let wetter = [
                g.cool(inlet(24.0, 0.45 + 0.01 * x), 0.602, 35.0, speed)?,
                g.cool(inlet(24.0, 0.46 + 0.01 * x), 0.602, 35.0, speed)?,
            ];
            let less_air = [
                g.cool(inlet(24.0, 0.5), 0.70 - 0.02 * x, 35.0, speed)?,
                g.cool(inlet(24.0, 0.5), 0.68 - 0.02 * x, 35.0, speed)?,
            ];
            for ok in [
                outdoor[1].total_w < outdoor[0].total_w
                    && outdoor[1].compressor_w > outdoor[0].compressor_w,
                wetter[1].total_w > wetter[0].total_w,
                less_air[1].total_w <= less_air[0].total_w + 1e-6
                    && less_air[1].leaving.t_c < less_air[0].leaving.t_c,
            ] {
                held += usize::from(ok);
                of += 1;
            }
        }
    }
    out.push(
        Row::cases(
            "trends: hotter outdoors less capacity and more power, moister air more capacity, less air less capacity and colder supply",
            "rating tables of the trade, from memory",
            (held, of),
        ),
    );
    Ok(())
}
