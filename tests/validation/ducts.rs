//! Ducts and dampers against the `fluids` library and published tables.

use std::f64::consts::PI;

use super::reference::{ReferenceError, Table, list, number, parse, refused};
use super::row::{Row, Worst};
use crate::plant::damper::{self, Damper, LeakageClass};
use crate::plant::duct::{
    Air, Duct, Section, compression_factor, friction_colebrook, friction_factor, friction_haaland,
};

const FLUIDS: &str = "fluids 1.3.1, Colebrook solved implicitly";

pub(super) fn rows() -> Result<Vec<Row>, ReferenceError> {
    let file = parse("ducts.json", include_str!("../reference/ducts.json"))?;
    let mut out = Vec::new();
    round(&file, &mut out)?;
    rectangular(&file, &mut out)?;
    flexible(&mut out);
    dampers(&mut out)?;
    Ok(out)
}

fn round(file: &serde_json::Value, out: &mut Vec<Row>) -> Result<(), ReferenceError> {
    let (mut factor, mut implicit, mut per_m, mut laminar) = (
        Worst::default(),
        Worst::default(),
        Worst::default(),
        Worst::default(),
    );
    let (mut haaland, mut haaland_error) = (Worst::default(), Worst::default());
    let mut fitted = Worst::default();
    for part in ["/round", "/roughness"] {
        let t = Table::new(file, part, "/columns")?;
        let column = |name: &str| t.column(name);
        let (d, q, e) = (
            column("diameter_m")?,
            column("flow_m3_s")?,
            column("roughness_m")?,
        );
        let (v, re, f) = (
            column("velocity_m_s")?,
            column("reynolds")?,
            column("friction_factor")?,
        );
        let (h, pa) = (column("haaland")?, column("pa_per_m")?);
        for i in 0..t.len() {
            let duct = Duct {
                roughness_m: e[i],
                ..Duct::round(d[i], 1.0)
            };
            let relative = e[i] / d[i];
            let ours = friction_factor(duct.reynolds(q[i], &Air::STANDARD), relative);
            per_m.add_relative(duct.friction_pa_m(q[i], &Air::STANDARD), pa[i]);
            if re[i] < 2300.0 {
                laminar.add_relative(ours, f[i]);
                continue;
            }
            factor.add_relative(ours, f[i]);
            implicit.add_relative(friction_colebrook(re[i], relative), f[i]);
            haaland.add_relative(friction_haaland(re[i], relative), h[i]);
            haaland_error.add_relative(friction_haaland(re[i], relative), f[i]);
            if part == "/round" && (1.0..=6.0).contains(&v[i]) {
                fitted.add_relative(duct.law(&Air::STANDARD).drop_pa(q[i]), pa[i]);
            }
        }
    }
    let sizes = "ten diameters 100 to 500 mm, 0.05 to 12 m/s; six roughnesses";
    out.extend([
        Row::largest(
            "Colebrook friction factor, relative",
            FLUIDS,
            implicit,
            1e-6,
            "1",
        )
        .remark(sizes),
        Row::largest(
            "friction factor as used, turbulent, relative",
            FLUIDS,
            factor,
            1e-6,
            "1",
        ),
        Row::largest(
            "friction factor, laminar, relative",
            "64/Re, fluids 1.3.1",
            laminar,
            1e-6,
            "1",
        ),
        Row::largest("friction of a metre, relative", FLUIDS, per_m, 1e-6, "1"),
        Row::largest(
            "Haaland's form against the library's, relative",
            "fluids 1.3.1, Haaland",
            haaland,
            1e-6,
            "1",
        ),
        Row::largest(
            "error of Haaland's approximation against Colebrook, relative",
            FLUIDS,
            haaland_error,
            0.025,
            "1",
        )
        .remark("only the start of the iteration uses it"),
        Row::largest(
            "error of the fitted law a run uses, 1 to 6 m/s, relative",
            FLUIDS,
            fitted,
            0.03,
            "1",
        )
        .remark("networks use Δp = aQ + bQ² fitted to Colebrook for each duct"),
    ]);
    Ok(())
}

fn rectangular(file: &serde_json::Value, out: &mut Vec<Row>) -> Result<(), ReferenceError> {
    let t = Table::new(file, "/rectangular", "/rectangular_columns")?;
    let column = |name: &str| t.column(name);
    let (a, b, q) = (column("a_m")?, column("b_m")?, column("flow_m3_s")?);
    let (round, pa) = (column("huebscher_m")?, column("pa_per_m")?);
    let (mut equivalent, mut per_m) = (Worst::default(), Worst::default());
    for i in 0..t.len() {
        let section = Section::Rectangular {
            width_m: a[i],
            height_m: b[i],
        };
        let duct = Duct {
            section,
            ..Duct::round(1.0, 1.0)
        };
        equivalent.add_relative(section.equivalent_diameter_m(), round[i]);
        per_m.add_relative(duct.friction_pa_m(q[i], &Air::STANDARD), pa[i]);
    }
    out.push(Row::largest(
        "rectangular duct, equivalent diameter, relative",
        "Huebscher 1948, as in ASHRAE Fundamentals ch. 21",
        equivalent,
        1e-6,
        "1",
    ));
    out.push(
        Row::largest(
            "rectangular duct, friction of a metre, relative",
            FLUIDS,
            per_m,
            1e-6,
            "1",
        )
        .remark("eight sections; by hydraulic diameter"),
    );
    Ok(())
}

fn flexible(out: &mut Vec<Row>) {
    let mut worst = Worst::default();
    for (d, want) in [
        (0.150, [2.10, 5.13, 9.27]),
        (0.200, [1.86, 4.23, 7.45]),
        (0.250, [1.67, 3.52, 6.04]),
        (0.315, [1.49, 2.82, 4.65]),
    ] {
        for (compression, want) in [0.04, 0.15, 0.30].into_iter().zip(want) {
            worst.add(compression_factor(d, compression), want);
        }
    }
    out.push(
        Row::largest(
            "flexible duct, factor of friction when compressed",
            "ASHRAE Fundamentals ch. 21 eq. 22 and 23, worked by hand to two decimals",
            worst,
            0.0051,
            "1",
        )
        .remark("4, 15 and 30 % compression, 150 to 315 mm"),
    );
}

fn dampers(out: &mut Vec<Row>) -> Result<(), ReferenceError> {
    let file = parse(
        "air_checks.json",
        include_str!("../reference/air_checks.json"),
    )?;
    let kind = |name: &str| {
        damper::KINDS
            .iter()
            .find(|k| k.name == name)
            .ok_or_else(|| ReferenceError::Missing(format!("damper {name}")))
    };
    let of = |name: &str, area: f64| {
        Damper::new(kind(name)?.form, area, LeakageClass::Class2).map_err(refused(name))
    };
    let default = of("round", 0.03)?;
    let mut formula = Worst::default();
    for row in list(&file, "/damper")? {
        formula.add_relative(
            default.loss_coefficient(number(row, "/u")?),
            number(row, "/C")?,
        );
    }
    out.push(Row::largest(
        "default damper, loss coefficient from shut to open, relative",
        "the blade formula worked in Python, six to eight digits",
        formula,
        6e-8,
        "1",
    ));
    // Loss coefficients at blade angles 10°, 20° … 70° from open.
    let tables: [(&str, &str, [f64; 7], f64); 4] = [
        (
            "round",
            "Weisbach",
            [0.52, 1.54, 3.91, 10.8, 32.6, 118.0, 751.0],
            0.095,
        ),
        (
            "round handbook",
            "ASHRAE/SMACNA CD9-1",
            [0.85, 1.70, 4.0, 9.4, 24.0, 67.0, 215.0],
            0.095,
        ),
        (
            "opposed",
            "the same publishers, from memory",
            [1.0, 2.3, 5.4, 13.0, 33.0, 122.0, 377.0],
            0.115,
        ),
        (
            "parallel",
            "the same publishers, from memory",
            [0.92, 1.5, 2.4, 5.0, 9.0, 18.0, 45.0],
            0.085,
        ),
    ];
    for (name, source, table, allowed) in tables {
        let damper = of(name, 0.25 * PI * 0.04)?;
        let mut worst = Worst::default();
        for (i, c) in table.into_iter().enumerate() {
            let angle = 10.0 * (i as f64 + 1.0);
            let got = damper.loss_coefficient(1.0 - angle / 90.0);
            worst.push((0.5 * (got / c).ln()).abs().exp_m1());
        }
        out.push(
            Row::largest(
                format!("damper \"{name}\", flow against its published table, relative"),
                source,
                worst,
                allowed,
                "1",
            )
            .remark("fitted to the table, 10 to 70° from open; tables of one publisher and another lie ±20 % apart"),
        );
    }
    Ok(())
}
