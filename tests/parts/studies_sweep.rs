//! Statistics of sweeps on cases with known answers.

use crate::math::distribution::Distribution;
use crate::study::sweep::statistics::{quantile, sorted, spearman, wilson};
use serde_json::Value;

fn reference() -> Value {
    serde_json::from_str(include_str!("../reference/statistics_of_cases.json")).unwrap()
}

fn floats(v: &Value) -> Vec<f64> {
    let list = v.as_array().unwrap();
    list.iter().map(|x| x.as_f64().unwrap()).collect()
}

fn distribution(name: &str) -> Distribution {
    let mut words = name.split(' ');
    let kind = words.next().unwrap();
    let n: Vec<f64> = words.map(|w| w.parse().unwrap()).collect();
    match kind {
        "normal" => Distribution::Normal {
            mean: n[0],
            sigma: n[1],
        },
        "lognormal" => Distribution::Lognormal {
            median: n[0],
            sigma: n[1],
        },
        "uniform" => Distribution::Uniform {
            low: n[0],
            high: n[1],
        },
        "triangular" => Distribution::Triangular {
            low: n[0],
            mode: n[1],
            high: n[2],
        },
        "beta" => Distribution::Beta {
            alpha: n[0],
            beta: n[1],
            low: n[2],
            high: n[3],
        },
        other => panic!("{other}"),
    }
}

/// scipy.stats `ppf`; tests/reference/statistics_of_cases.py.
#[test]
fn quantiles_of_distributions() {
    for case in reference()["distributions"].as_array().unwrap() {
        let name = case["name"].as_str().unwrap();
        let d = distribution(name);
        for (u, x) in floats(&case["u"]).into_iter().zip(floats(&case["x"])) {
            let got = d.quantile(u);
            assert!(
                (got - x).abs() <= 2e-10 * x.abs() + 1e-12,
                "{name} at {u}: {got} and {x}"
            );
        }
    }
}

/// numpy.quantile (its default, linear); Hyndman and Fan's type 7.
#[test]
fn quantiles_of_samples() {
    for case in reference()["quantiles"].as_array().unwrap() {
        let sample = sorted(floats(&case["sample"]));
        for (q, x) in floats(&case["q"]).into_iter().zip(floats(&case["x"])) {
            let got = quantile(&sample, q);
            assert!((got - x).abs() <= 1e-11 * x.abs(), "{got} and {x}");
        }
    }
    assert!(quantile(&[], 0.5).is_nan());
}

/// scipy.stats.spearmanr, ties included.
#[test]
fn rank_correlations() {
    for case in reference()["spearman"].as_array().unwrap() {
        let rho = case["rho"].as_f64().unwrap();
        let got = spearman(&floats(&case["x"]), &floats(&case["y"]));
        assert!(
            (got - rho).abs() < 1e-11,
            "{}: {got} and {rho}",
            case["name"]
        );
    }
    assert!(spearman(&[1.0, 2.0], &[3.0, 3.0]).is_nan());
    let with_gap = spearman(&[1.0, 2.0, f64::NAN, 3.0], &[9.0, 4.0, 100.0, 1.0]);
    assert_eq!(with_gap, -1.0);
}

/// scipy's `proportion_ci(method="wilson")`; and the score intervals without correction that R. G.
/// Newcombe prints, Statistics in Medicine 17 (1998) 857, table I, from memory.
#[test]
fn intervals_of_shares() {
    for case in reference()["wilson"].as_array().unwrap() {
        let of = |key: &str| case[key].as_u64().unwrap() as usize;
        let (low, high) = wilson(of("k"), of("n"));
        assert!((low - case["low"].as_f64().unwrap()).abs() < 1e-11);
        assert!((high - case["high"].as_f64().unwrap()).abs() < 1e-11);
    }
    for (k, n, low, high) in [
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0, 0.1611),
        (1, 29, 0.0061, 0.1718),
    ] {
        let got = wilson(k, n);
        assert!(
            (got.0 - low).abs() < 5.1e-5 && (got.1 - high).abs() < 5.1e-5,
            "{got:?}"
        );
    }
}
