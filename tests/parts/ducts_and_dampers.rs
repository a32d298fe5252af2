//! Ducts, dampers and grilles against published tables and library values.
//!
//! `reference/air_checks.json` was computed with the `fluids` library 1.3.1 (ducts) and from the
//! damper formula itself; the loss tables are named beside each test.

use crate::plant::damper::{self, Damper, LeakageClass};
use crate::plant::duct::{
    self, Air, Duct, Section, compression_factor, friction_colebrook, friction_factor,
    friction_haaland, round_u_w_m2k,
};
use crate::plant::grille::Grille;
use serde_json::Value;
use std::f64::consts::PI;

fn checks() -> Value {
    serde_json::from_str(include_str!("../reference/air_checks.json")).unwrap()
}

/// Holds `got` to `want` within a relative tolerance.
#[track_caller]
fn close(got: f64, want: f64, relative: f64) {
    assert!(
        (got - want).abs() <= relative * want.abs(),
        "{got} is not {want}"
    );
}

/// Relative tolerance of a figure given to six digits.
const SIX_DIGITS: f64 = 5e-6;

/// D mm, Q L/s, Re, f, f Haaland, Pa/m: `fluids` 1.3.1, roughness 0.09 mm, reference sheet.
const DUCTS: [[f64; 6]; 10] = [
    [150.0, 2.0, 1125.52, 0.0568628, f64::NAN, 0.00291342],
    [150.0, 30.0, 16882.7, 0.0281597, 0.0278808, 0.324628],
    [150.0, 60.0, 33765.5, 0.0244802, 0.0241574, 1.12884],
    [200.0, 60.0, 25324.1, 0.0255249, 0.0252221, 0.279311],
    [200.0, 100.0, 42206.8, 0.0230973, 0.0227823, 0.702075],
    [250.0, 120.0, 40518.6, 0.0230107, 0.0227023, 0.330038],
    [250.0, 200.0, 67530.9, 0.0209896, 0.0206930, 0.836247],
    [315.0, 250.0, 66995.0, 0.0207400, 0.0204465, 0.406543],
    [315.0, 400.0, 107192.0, 0.0191975, 0.0189287, 0.963348],
    [400.0, 500.0, 105517.0, 0.0189563, 0.0186872, 0.450158],
];

fn kind(name: &str) -> &'static damper::Kind {
    damper::KINDS.iter().find(|k| k.name == name).unwrap()
}

#[test]
fn friction_agrees_with_the_fluids_library() {
    let air = Air::STANDARD;
    for [d, q, re, f, haaland, pa_m] in DUCTS {
        let duct = Duct::round(d / 1000.0, 1.0);
        let rough = 9e-5 / (d / 1000.0);
        close(duct.reynolds(q / 1000.0, &air), re, SIX_DIGITS);
        close(
            friction_factor(duct.reynolds(q / 1000.0, &air), rough),
            f,
            SIX_DIGITS,
        );
        if !haaland.is_nan() {
            close(friction_haaland(re, rough), haaland, SIX_DIGITS);
            close(friction_colebrook(re, rough), f, SIX_DIGITS);
        }
        close(duct.pressure_loss_pa(q / 1000.0, &air), pa_m, SIX_DIGITS);
    }
    for row in checks()["duct"].as_array().unwrap() {
        let get = |key: &str| row[key].as_f64().unwrap();
        let duct = Duct::round(get("D_m"), 1.0);
        close(
            duct.friction_pa_m(get("Q_m3s"), &air),
            get("Pa_per_m"),
            SIX_DIGITS,
        );
        close(duct.velocity_m_s(get("Q_m3s")), get("v"), SIX_DIGITS);
    }
}

#[test]
fn the_fitted_law_stays_within_three_percent_of_colebrook() {
    let air = Air::STANDARD;
    let (mut rows, mut span) = (0.0_f64, 0.0_f64);
    for [d, q, re, ..] in DUCTS {
        let duct = Duct::round(d / 1000.0, 1.0);
        let law = duct.law(&air);
        // The first row is laminar, below the velocities a duct is fitted for.
        if re > 4000.0 {
            let exact = duct.pressure_loss_pa(q / 1000.0, &air);
            rows = rows.max((law.drop_pa(q / 1000.0) / exact - 1.0).abs());
        }
        for i in 0..=50 {
            let q = (1.0 + 0.1 * f64::from(i)) * duct.section.area_m2();
            let exact = duct.pressure_loss_pa(q, &air);
            span = span.max((law.drop_pa(q) / exact - 1.0).abs());
        }
    }
    println!("largest error at the sheet's rows {rows:.4}, from 1 to 6 m/s {span:.4}");
    assert!(rows < 0.016 && span < 0.03);
}

#[test]
fn rectangular_duct_by_both_diameters() {
    // Reference sheet, `fluids` 1.3.1: 150 L/s.
    let air = Air::STANDARD;
    for (w, h, equivalent, by_equivalent, by_hydraulic) in [
        (0.3, 0.2, 0.266407, 0.363013, 0.361501),
        (0.4, 0.15, 0.260134, 0.407613, 0.406857),
    ] {
        let section = Section::Rectangular {
            width_m: w,
            height_m: h,
        };
        let duct = Duct {
            section,
            ..Duct::round(1.0, 1.0)
        };
        close(section.equivalent_diameter_m(), equivalent, 3e-6);
        close(duct.friction_pa_m(0.15, &air), by_hydraulic, 3e-6);
        let round = Duct::round(section.equivalent_diameter_m(), 1.0);
        close(round.friction_pa_m(0.15, &air), by_equivalent, 3e-6);
    }
}

#[test]
fn compressed_flexible_duct() {
    // ASHRAE Fundamentals eq. 22 and 23, at 4, 15 and 30 % compression.
    for (d, want) in [
        (0.150, [2.10, 5.13, 9.27]),
        (0.200, [1.86, 4.23, 7.45]),
        (0.250, [1.67, 3.52, 6.04]),
        (0.315, [1.49, 2.82, 4.65]),
    ] {
        for (compression, want) in [0.04, 0.15, 0.30].into_iter().zip(want) {
            assert!((compression_factor(d, compression) - want).abs() <= 0.0051);
        }
    }
}

#[test]
fn materials_have_sources() {
    close(duct::material("galvanised").unwrap().roughness_m, 9e-5, 0.0);
    for material in duct::MATERIALS {
        assert!(material.roughness_m > 0.0 && !material.source.is_empty());
    }
}

#[test]
fn conductance_of_an_insulated_round_duct() {
    // Worked example of the reference sheet: D 250 mm, insulation of 0.04 W/(m K), films of 15 and
    // 8 W/(m² K). What it does to the air is held by the validation's duct rows, through the engine.
    for (r, want) in [(0.6, 1.38815), (1.0, 0.971852), (1.5, 0.726608)] {
        close(round_u_w_m2k(0.25, r, 0.04, 15.0, 8.0), want, 3e-6);
    }
}

#[test]
fn default_damper_against_its_check_table() {
    let round = kind("round");
    let damper = Damper::new(round.form, 0.03, LeakageClass::Class2).unwrap();
    for row in checks()["damper"].as_array().unwrap() {
        let get = |key: &str| row[key].as_f64().unwrap();
        close(damper.loss_coefficient(get("u")), get("C"), 6e-8);
        close(damper.conductance(get("u")), get("phi"), 6e-8);
        // At closed the conductance has no slope, so there its rounding decides the opening.
        let opening = damper.opening_for(get("phi"));
        close(damper.conductance(opening), get("phi"), 6e-8);
        assert!(get("u") == 0.0 || (opening - get("u")).abs() < 1e-6);
    }
}

#[test]
fn dampers_of_the_network_vectors() {
    // Resistances in the network vectors carry ten digits.
    for (d, opening, want) in [
        (0.25, 0.7, 712.4228658),
        (0.20, 0.45, 18925.38251),
        (0.20, 0.35, 61664.94753),
        (0.15, 0.0, 200140609.7),
        (0.25, 0.25, 110752.9102),
    ] {
        let form = kind("round").form;
        let damper = Damper::new(form, 0.25 * PI * d * d, LeakageClass::Class2).unwrap();
        close(damper.resistance(opening, 1.2), want, 1e-9);
    }
}

#[test]
fn leakage_classes_at_closed() {
    // EN 1751 classes: closed loss, and leakage of a 200 mm damper at 50 Pa in L/s.
    let area = 0.25 * PI * 0.04;
    let form = kind("round").form;
    for (class, c, leak, digits) in [
        (LeakageClass::Class1, 4167.0, 4.44, 0.005),
        (LeakageClass::Class2, 104_167.0, 0.889, 0.0005),
        (LeakageClass::Class3, 2.604e6, 0.178, 0.0005),
        (LeakageClass::Class4, 7.41e7, 0.033, 0.0005),
    ] {
        let damper = Damper::new(form, area, class).unwrap();
        close(damper.loss_coefficient(0.0), c, 5e-4);
        assert!((1000.0 * class.leakage_m3_s(area, 50.0) - leak).abs() <= digits);
        let passed = (50.0 / damper.resistance(0.0, 1.2)).sqrt();
        close(passed, class.leakage_m3_s(area, 50.0), 1e-9);
    }
}

/// Published losses at blade angles from open, with the sheet's statement of how far a kind's
/// flow strays from them up to 70°. A: Weisbach. B and D: ASHRAE/SMACNA CD9-1 and CR9-1. C: a
/// later database form of B. E to H: the same publishers' rectangular dampers. C and E to H are
/// from memory.
#[test]
fn kinds_follow_the_published_tables() {
    let tens = |c: [f64; 8]| (0..8).map(|i| (10.0 * i as f64, c[i])).collect::<Vec<_>>();
    let mut a = tens([f64::NAN, 0.52, 1.54, 3.91, 10.8, 32.6, 118.0, 751.0]);
    a.retain(|row| row.1.is_finite() && row.0 <= 70.0);
    a.extend([
        (5.0, 0.24),
        (15.0, 0.90),
        (25.0, 2.51),
        (35.0, 6.22),
        (45.0, 18.7),
        (55.0, 58.8),
    ]);
    a.push((65.0, 256.0));
    let c = tens([0.19, 0.67, 1.76, 4.38, 11.2, 32.0, 113.0, 619.0]);
    let b = tens([0.60, 0.85, 1.70, 4.0, 9.4, 24.0, 67.0, 215.0]);
    let d = tens([0.04, 0.30, 1.10, 3.0, 8.0, 23.0, 60.0, 190.0]);
    let e = tens([0.52, 1.0, 2.3, 5.4, 13.0, 33.0, 122.0, 377.0]);
    let f = tens([0.52, 1.2, 2.7, 7.3, 21.0, 65.0, 245.0, 547.0]);
    let g = tens([0.52, 0.92, 1.5, 2.4, 5.0, 9.0, 18.0, 45.0]);
    let h = tens([0.52, 1.0, 1.6, 2.6, 5.4, 10.0, 24.0, 65.0]);
    for (name, table, flow) in [
        ("round", &a, 0.095),
        ("round", &c, 0.155),
        ("round handbook", &b, 0.095),
        ("round handbook, leaky", &b, 0.045),
        ("opposed", &e, 0.115),
        ("opposed, leaky", &f, 0.105),
        ("parallel", &g, 0.085),
        ("parallel, many blades", &h, 0.055),
        ("single blade", &d, 0.275),
        ("single blade, leaky", &d, 0.075),
    ] {
        let form = kind(name).form;
        let damper = Damper::new(form, 0.03, LeakageClass::Class2).unwrap();
        let mut worst = 0.0_f64;
        for &(angle, c) in table {
            let got = damper.loss_coefficient(1.0 - angle / 90.0);
            worst = worst.max((0.5 * (got / c).ln()).abs().exp_m1());
        }
        println!("{name}: within {:.1} % of flow", 100.0 * worst);
        assert!(worst < flow, "{name} strays by {worst}");
    }
}

#[test]
fn grilles_and_throw() {
    let grille = Grille {
        loss_k: 3.0,
        face_area_m2: 0.03,
    };
    let air = Air::STANDARD;
    for (v, want) in [
        (1.0, 1.8),
        (1.5, 4.05),
        (2.0, 7.2),
        (2.5, 11.25),
        (3.0, 16.2),
    ] {
        close(grille.pressure_loss_pa(v * 0.03, &air), want, 1e-12);
        close(grille.law(&air).drop_pa(-v * 0.03), -want, 1e-12);
    }
    // ASHRAE Fundamentals, from memory: K 4.1, 60 L/s through 0.03 m².
    assert!((grille.throw_m(0.06, 4.1, 0.25) - 5.68).abs() < 0.005);
    assert!((grille.throw_m(0.06, 4.1, 0.5) - 2.84).abs() < 0.005);
}
