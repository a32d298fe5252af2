//! Moist air against the handbook's formulae worked elsewhere, and against the real gas.

use super::reference::{ReferenceError, Table, list, parse};
use super::row::{Row, Worst};
use crate::plant::air::{CP_DRY_AIR, MoistAir, saturation_pressure_pa};

const FORMULAE: &str =
    "ASHRAE Fundamentals ch. 1 formulae worked in Python; PsychroLib 2.5.0 agrees";
const REAL: &str = "CoolProp 8.0.0, real-gas humid air (Herrmann, Kretzschmar and Gatley 2009)";
const GRID: &str = "−10 to 45 °C, 5 to 100 % RH, sea level and 1600 m";

pub(super) fn rows() -> Result<Vec<Row>, ReferenceError> {
    let file = parse(
        "moist_air.json",
        include_str!("../reference/moist_air.json"),
    )?;
    let table = Table::new(&file, "/rows", "/columns")?;
    let (t, rh, p) = (
        table.column("t_c")?,
        table.column("rh")?,
        table.column("p_pa")?,
    );
    let air: Vec<MoistAir> = (0..table.len())
        .map(|i| MoistAir::from_relative_humidity(t[i], rh[i], p[i]))
        .collect();
    let by = |ours: &dyn Fn(usize) -> f64, column: &str, relative: bool| {
        let theirs = table.column(column)?;
        let mut worst = Worst::default();
        // CoolProp finds no wet bulb in some states; those are not compared.
        for (i, &theirs) in theirs.iter().enumerate().filter(|x| !x.1.is_nan()) {
            if relative {
                worst.add_relative(ours(i), theirs);
            } else {
                worst.add(ours(i), theirs);
            }
        }
        Ok::<Worst, ReferenceError>(worst)
    };
    let w = |i: usize| air[i].w;
    let h = |i: usize| air[i].enthalpy_j_kg();
    let v = |i: usize| air[i].specific_volume_m3_kg(p[i]);
    let dew = |i: usize| air[i].dew_point_c(p[i]);
    let wet = |i: usize| air[i].wet_bulb_c(p[i]);
    let mut saturation = Worst::default();
    for point in list(&file, "/saturation_pa")? {
        let pair = super::reference::numbers(point, "")?;
        if let [t_c, pa] = pair[..] {
            saturation.add_relative(saturation_pressure_pa(t_c), pa);
        }
    }
    // Enthalpy passes through zero inside the grid: there the share is of that of 20 K.
    let enthalpy = |column: &str| {
        let mut worst = Worst::default();
        for (i, theirs) in table.column(column)?.into_iter().enumerate() {
            worst.push((h(i) - theirs).abs() / theirs.abs().max(20.0 * CP_DRY_AIR));
        }
        Ok::<Worst, ReferenceError>(worst)
    };
    let wet_theirs = table.column("wet_bulb_c")?;
    let wet_ice = table.column("wet_bulb_over_ice_c")?;
    let mut wet_worst = Worst::default();
    let mut twofold = 0;
    for i in 0..table.len() {
        let (water, ice) = ((wet(i) - wet_theirs[i]).abs(), (wet(i) - wet_ice[i]).abs());
        twofold += usize::from(!ice.is_nan());
        wet_worst.push(if ice < water { ice } else { water });
    }
    let formula = |what: &str, worst: Worst, unit| {
        Row::largest(what, FORMULAE, worst, 1e-6, unit).remark(GRID)
    };
    let real = |what: &str, worst: Worst, allowed: f64, unit| {
        Row::largest(what, REAL, worst, allowed, unit)
    };
    Ok(vec![
        formula("saturation pressure, relative", saturation, "1").remark("−40 to 60 °C"),
        formula("humidity ratio, relative", by(&w, "w", true)?, "1"),
        formula(
            "enthalpy, relative to it or to that of 20 K",
            enthalpy("h")?,
            "1",
        ),
        formula("specific volume, relative", by(&v, "v", true)?, "1"),
        formula("dew point", by(&dew, "dew_point_c", false)?, "K"),
        formula("wet bulb", wet_worst, "K").remark(format!(
            "{GRID}; at {twofold} states near 0 °C the formulae have two answers, either counts"
        )),
        real(
            "humidity ratio against the real gas, relative",
            by(&w, "w_real", true)?,
            0.006,
            "1",
        )
        .remark("the formulae leave out the enhancement factor: that is the difference"),
        real(
            "specific volume against the real gas, relative",
            by(&v, "v_real", true)?,
            0.006,
            "1",
        ),
        real(
            "enthalpy against the real gas, relative to it or to that of 20 K",
            enthalpy("h_real")?,
            0.006,
            "1",
        ),
        real(
            "dew point against the real gas",
            by(&dew, "dew_point_real_c", false)?,
            0.02,
            "K",
        ),
        real(
            "wet bulb against the real gas",
            by(&wet, "wet_bulb_real_c", false)?,
            0.06,
            "K",
        ),
    ])
}
