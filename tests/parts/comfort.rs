//! Thermal comfort against ISO 7730's own table, the pythermalcomfort library, and known signals.
//!
//! Numbers: `tests/reference/comfort.json` (see `tests/reference/README.md` for how it was made).

use crate::measure::thermal_comfort::{
    OutOfRange, SlidingRange, Surroundings, ppd_percent, vapour_pressure_of_rh_pa,
    vapour_pressure_pa,
};
use proptest::prelude::*;
use serde_json::Value;

fn reference() -> Value {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/comfort.json");
    serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

/// The rows of `table`, each with access by column name.
fn rows(reference: &Value, table: &str, columns: &str) -> Vec<impl Fn(&str) -> Value> {
    let names: Vec<String> = reference[columns]
        .as_array()
        .unwrap()
        .iter()
        .map(|n| n.as_str().unwrap().to_string())
        .collect();
    reference[table]
        .as_array()
        .unwrap()
        .iter()
        .map(|row| {
            let (names, row) = (names.clone(), row.clone());
            move |name: &str| row[names.iter().position(|n| n == name).unwrap()].clone()
        })
        .collect()
}

fn surroundings(of: &impl Fn(&str) -> Value) -> Surroundings {
    let number = |name: &str| of(name).as_f64().unwrap();
    Surroundings {
        t_air_c: number("t_air_c"),
        t_radiant_c: number("t_radiant_c"),
        air_speed_m_s: number("air_speed_m_s"),
        vapour_pa: vapour_pressure_of_rh_pa(number("rh_percent") / 100.0, number("t_air_c")),
        met: number("met"),
        clo: number("clo"),
    }
}

/// ISO 7730:2005 Table D.1, printed to 0.01 in the vote and whole percents. Row 7 stands as the
/// standard's own algorithm gives it, see `comfort.py`.
#[test]
fn table_d1_of_iso_7730() {
    let reference = reference();
    let table = rows(&reference, "table_d1", "table_d1_columns");
    assert_eq!(table.len(), 13);
    for (i, row) in table.iter().enumerate() {
        let vote = surroundings(row).vote();
        let pmv = row("pmv_printed").as_f64().unwrap();
        let ppd = row("ppd_printed").as_f64().unwrap();
        assert!(
            (vote.pmv - pmv).abs() <= 0.01,
            "row {}: {} against {pmv}",
            i + 1,
            vote.pmv
        );
        assert!(
            (vote.ppd_percent - ppd).abs() <= 0.5,
            "row {}: {vote:?} against {ppd}",
            i + 1
        );
        assert_eq!(vote.out_of_range, None, "row {}", i + 1);
    }
}

/// 500 quasi-random points over the range of ISO 7730: the vote, the dissatisfied share, and whether
/// the standard stands behind them, as pythermalcomfort 4.8.1 has it.
#[test]
fn grid_against_pythermalcomfort() {
    let reference = reference();
    let grid = rows(&reference, "grid", "columns");
    assert_eq!(grid.len(), 500);
    let mut valid = 0;
    for row in &grid {
        let s = surroundings(row);
        let vote = s.vote();
        let pmv = row("pmv").as_f64().unwrap();
        assert!(
            (vote.pmv - pmv).abs() < 1e-9,
            "{s:?}: {} against {pmv}",
            vote.pmv
        );
        let ppd = row("ppd").as_f64().unwrap();
        assert!(
            (vote.ppd_percent - ppd).abs() < 1e-8,
            "{s:?}: {vote:?} against {ppd}"
        );
        let stands = row("valid").as_bool().unwrap();
        assert_eq!(vote.out_of_range.is_none(), stands, "{s:?}: {vote:?}");
        valid += usize::from(stands);
    }
    assert!(
        (200..450).contains(&valid),
        "the grid should hold both kinds: {valid} valid"
    );
}

/// The same grid against the equations solved to the last digit (by bracketing, in `comfort.py`):
/// what the Annex's stopping rule costs.
#[test]
fn stopping_rule_costs_less_than_half_a_hundredth() {
    let reference = reference();
    for row in rows(&reference, "grid", "columns") {
        let s = surroundings(&row);
        let exact = row("pmv_exact").as_f64().unwrap();
        assert!(
            (s.vote().pmv - exact).abs() < 0.005,
            "{s:?}: {} against {exact}",
            s.vote().pmv
        );
    }
}

#[test]
fn out_of_range_is_said_not_hidden() {
    let fine = Surroundings {
        t_air_c: 24.0,
        t_radiant_c: 24.0,
        air_speed_m_s: 0.1,
        vapour_pa: 1500.0,
        met: 1.2,
        clo: 0.5,
    };
    assert_eq!(fine.vote().valid_pmv(), Some(fine.vote().pmv));
    let cases = [
        (
            Surroundings {
                t_air_c: 31.0,
                ..fine
            },
            OutOfRange::AirTemperature,
        ),
        (
            Surroundings {
                t_radiant_c: 9.0,
                ..fine
            },
            OutOfRange::RadiantTemperature,
        ),
        (
            Surroundings {
                air_speed_m_s: 1.2,
                ..fine
            },
            OutOfRange::AirSpeed,
        ),
        (
            Surroundings {
                air_speed_m_s: -0.1,
                ..fine
            },
            OutOfRange::AirSpeed,
        ),
        (
            Surroundings {
                vapour_pa: 2800.0,
                ..fine
            },
            OutOfRange::VapourPressure,
        ),
        (Surroundings { met: 0.7, ..fine }, OutOfRange::MetabolicRate),
        (Surroundings { clo: 2.5, ..fine }, OutOfRange::Clothing),
        (
            Surroundings {
                t_air_c: 11.0,
                t_radiant_c: 11.0,
                ..fine
            },
            OutOfRange::Vote,
        ),
        (
            Surroundings {
                clo: f64::NAN,
                ..fine
            },
            OutOfRange::NoAnswer,
        ),
        (
            Surroundings {
                t_air_c: f64::INFINITY,
                ..fine
            },
            OutOfRange::NoAnswer,
        ),
    ];
    for (s, expected) in cases {
        let vote = s.vote();
        assert_eq!(vote.out_of_range, Some(expected), "{s:?}: {vote:?}");
        assert_eq!(vote.valid_pmv(), None);
        assert_eq!(
            vote.pmv.is_nan(),
            expected == OutOfRange::NoAnswer,
            "{s:?}: {vote:?}"
        );
    }
}

/// ISO 7730 eq. 5: 5 % at the best, the same for warm and cold; 26.1 % at ±1 and 76.8 % at ±2 (the
/// handbook figures are 26 and 77).
#[test]
fn dissatisfied_share() {
    assert_eq!(ppd_percent(0.0), 5.0);
    assert!((ppd_percent(1.0) - 26.12).abs() < 0.01);
    assert!((ppd_percent(-2.0) - 76.76).abs() < 0.01);
    assert_eq!(ppd_percent(-0.7), ppd_percent(0.7));
}

/// 24 °C, 50 %: w 0.009298511 by the perfect-gas formulae (PsychroLib 2.5.0), saturation 2985 Pa.
#[test]
fn vapour_pressure_of_a_room() {
    let from_w = vapour_pressure_pa(0.009_298_511, 101_325.0);
    let from_rh = vapour_pressure_of_rh_pa(0.5, 24.0);
    assert!(
        (from_w / from_rh - 1.0).abs() < 1e-3,
        "{from_w} and {from_rh}"
    );
}

proptest! {
    /// The queues find what a plain search over every window finds, at uneven spacing too.
    #[test]
    fn sliding_range_is_the_plain_one(
        steps in prop::collection::vec((1.0..100.0_f64, -5.0..5.0_f64), 1..120),
        window_s in 10.0..900.0_f64,
    ) {
        let mut range = SlidingRange::new(window_s, 1.0);
        let mut seen: Vec<(f64, f64)> = Vec::new();
        let mut t = 0.0;
        for (dt, x) in steps {
            t += dt;
            seen.push((t, x));
            let found = range.push(t, x);
            let inside = || seen.iter().filter(|s| s.0 >= t - window_s).map(|s| s.1);
            let plain = inside().fold(f64::MIN, f64::max) - inside().fold(f64::MAX, f64::min);
            prop_assert!((found - plain).abs() < 1e-12, "{found} against {plain}");
        }
    }

    /// Warmer air, warmer walls, more clothing in the cool, damper air: the vote never falls.
    #[test]
    fn vote_rises_with_warmth(
        t in 18.0..28.0_f64, v in 0.0..0.4_f64, pa in 600.0..2000.0_f64, clo in 0.3..1.2_f64,
    ) {
        let at = |t_air_c, t_radiant_c, vapour_pa| {
            Surroundings { t_air_c, t_radiant_c, air_speed_m_s: v, vapour_pa, met: 1.2, clo }
                .vote().pmv
        };
        let base = at(t, t, pa);
        prop_assert!(at(t + 1.0, t, pa) > base);
        prop_assert!(at(t, t + 1.0, pa) > base);
        prop_assert!(at(t, t, pa + 300.0) > base);
    }
}
