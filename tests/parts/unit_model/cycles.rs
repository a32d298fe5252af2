//! Closed forms of on-off operation.

use super::common::{CASES, field, near, near_share, number, rows};
use crate::plant::unit::UnitError;
use crate::plant::unit::cycling::{
    Cycle, HysteresisRoom, degradation_coefficient, first_order_time_s, highest_rate_per_h,
    load_factor, parabola_cycle, parabola_starts_per_h, part_load_factor,
    self_consistent_part_load_factor,
};

#[test]
fn hysteresis_cycles_match_case_3() {
    let runs = "/case3_hysteresis_cycle/runs";
    for (name, tau_s, minimum_s) in [
        ("a_tau30000", 30_000.0, 0.0),
        ("b_tau3600", 3600.0, 0.0),
        ("c_tau3600_min_on_off_300s", 3600.0, 300.0),
    ] {
        let room = HysteresisRoom {
            tau_s,
            running_c: 11.0,
            stopped_c: 41.0,
            start_c: 24.5,
            stop_c: 23.5,
            min_on_s: minimum_s,
            min_off_s: minimum_s,
        };
        let got = room.limit_cycle().unwrap();
        let want = |field: &str| number(&format!("{runs}/{name}/{field}"));
        near_share("on", got.cycle.on_s, want("t_on_s"), 1e-7);
        near_share("off", got.cycle.off_s, want("t_off_s"), 1e-7);
        near_share("rate", got.cycle.starts_per_h(), want("N_per_h"), 1e-7);
        if minimum_s > 0.0 {
            near("hottest", got.at_start_c, want("Tmax"), 1e-6);
            near("coldest", got.at_stop_c, want("Tmin"), 1e-6);
            near("swing", got.swing_k(), want("peak_to_peak_K"), 1e-6);
        } else {
            near(
                "share",
                got.cycle.run_fraction(),
                want("runtime_fraction"),
                1e-7,
            );
            let n_max = highest_rate_per_h(1500.0, tau_s * 50.0, 1.0);
            near("N_max", n_max, want("parabola_Nmax=Qac~1(4 C delta)"), 1e-9);
            let x = want("X=load~1Qac at mid-band");
            let parabola = parabola_starts_per_h(n_max, x);
            near("parabola", parabola, want("parabola_N=4NmaxX(1-X)"), 1e-6);
        }
    }
    let hopeless = HysteresisRoom {
        tau_s: 3600.0,
        running_c: 24.0,
        stopped_c: 41.0,
        start_c: 24.5,
        stop_c: 23.5,
        min_on_s: 0.0,
        min_off_s: 0.0,
    };
    assert!(matches!(
        hopeless.limit_cycle(),
        Err(UnitError::NotConverged { .. })
    ));
}

#[test]
fn start_up_losses_match_case_4() {
    let rated = Cycle {
        on_s: 360.0,
        off_s: 1440.0,
    };
    let table = CASES["case4_cycling_loss"]["rating_like_6on_24off"]
        .as_object()
        .unwrap();
    assert_eq!(table.len(), 4);
    for (tau, row) in table {
        let tau_s = tau.parse().unwrap();
        near(
            "PLF",
            part_load_factor(tau_s, 360.0),
            field(row, "PLF"),
            1e-8,
        );
        near("CLF", load_factor(tau_s, rated), field(row, "CLF"), 1e-8);
        near(
            "C_D",
            degradation_coefficient(tau_s, rated),
            field(row, "C_D"),
            1e-8,
        );
    }
    for (cd, tau) in [(0.20, "tau_for_CD_0.20_s"), (0.25, "tau_for_CD_0.25_s")] {
        let tau_s = number(&format!("/case4_cycling_loss/{tau}"));
        near(
            "C_D of the inverse",
            degradation_coefficient(tau_s, rated),
            cd,
            1e-7,
        );
    }
    for row in rows("/case4_cycling_loss/parabola_table_Nmax3") {
        let x = field(row, "X");
        near(
            "N",
            parabola_starts_per_h(3.0, x),
            field(row, "N_per_h"),
            1e-9,
        );
        let cycle = parabola_cycle(3.0, x);
        near("on", cycle.on_s / 60.0, field(row, "t_on_min"), 1e-4);
        near("off", cycle.off_s / 60.0, field(row, "t_off_min"), 1e-4);
        near(
            "N of the cycle",
            cycle.starts_per_h(),
            field(row, "N_per_h"),
            1e-9,
        );
    }
    let table = rows("/case4_cycling_loss/self_consistent");
    assert_eq!(table.len(), 30);
    for row in table {
        let (tau_s, clf) = (field(row, "tau_s"), field(row, "CLF"));
        let plf = self_consistent_part_load_factor(tau_s, field(row, "Nmax"), clf).unwrap();
        near("self-consistent PLF", plf, field(row, "PLF"), 1e-6);
        near(
            "its C_D",
            (1.0 - plf) / (1.0 - clf),
            field(row, "C_D_equiv"),
            1e-6,
        );
    }
    assert!(self_consistent_part_load_factor(60.0, 3.0, 1.0).is_err());
}

#[test]
fn optimum_start_matches_case_7() {
    let time_s = first_order_time_s(30_000.0, 28.0, 24.0, 11.0);
    near("start", time_s, number("/case7_optimum_start/t_s"), 1e-4);
    assert_eq!(
        first_order_time_s(30_000.0, 28.0, 10.0, 11.0),
        f64::INFINITY
    );
    assert_eq!(first_order_time_s(30_000.0, 22.0, 24.0, 11.0), 0.0);
}
