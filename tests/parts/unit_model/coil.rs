//! Rating points, the data-sheet path and part load.

use super::common::{
    air, air_of_wet_bulb, column, cool, field, heat, near, near_share, number, rows,
};
use crate::plant::air::MoistAir;
use crate::plant::unit::{CoilMemory, Frost, HeatingCurves};

#[test]
fn the_cooling_rating_point_is_met() {
    // Generic unit at 27/19 °C inside, 35 °C outside (own synthetic cycle): the form's stated
    // errors are 0.4 % in capacity and 1.4 % in power.
    let state = cool(air_of_wet_bulb(27.0, 19.0), 0.602, 35.0, 1.0);
    near_share("capacity", state.total_w, 10_000.0, 0.004);
    near_share("power", state.compressor_w, 2415.0, 0.014);
    near("surface", state.surface_c, 12.09, 0.05);
    near("supply", state.leaving.t_c, 14.33, 0.03);
    near("sensible share", state.sensible_share(), 0.780, 0.003);
    assert!(!state.beyond_map && !state.at_limit);
}

#[test]
fn the_heating_rating_point_is_met() {
    let state = heat(20.0, 0.602, 7.0, 1.0);
    near("capacity", -state.total_w, 9979.0, 0.5);
    near("power", state.compressor_w, 2104.0, 0.5);
    near("supply", state.leaving.t_c, 36.5, 0.3);
    // The surface by bypass factor is the cycle's condensing temperature, 39.4 °C.
    near("surface", state.surface_c, 39.4, 0.3);
    assert_eq!((state.latent_w, state.condensate_kg_s), (0.0, 0.0));
}

#[test]
fn rating_curves_give_their_check_values() {
    let vector = |name: &str| number(&format!("/fit_test_vectors/{name}"));
    let mut outside = false;
    let heating = HeatingCurves::generic(1.0).unwrap();
    let f_h = heating.capacity_temperature.at(-7.0, 21.0, &mut outside);
    let g_h = heating.power_temperature.at(-7.0, 21.0, &mut outside);
    near("f_T heating", f_h, vector("CAPFT_heat(ODB-7,EDB21)"), 1e-7);
    near("g_T heating", g_h, vector("PFT_heat(-7,21)"), 1e-7);
    assert!(!outside);
}

#[test]
fn the_coil_follows_the_reference_cycle() {
    // Nine entering states, wet and dry. Tolerances are the stated errors of the fit.
    for row in rows("/case2_ADP_BF/curve_form_vs_reference_cycle") {
        let inlet = air(field(row, "T_in"), field(row, "RH"));
        let (outdoor_c, air_kg_s) = (field(row, "ODB"), 0.602 * field(row, "ff"));
        let dry = row["dry"].as_bool().unwrap();
        let b = cool(inlet, air_kg_s, outdoor_c, 1.0);
        near_share(&format!("Q {row}"), b.total_w, field(row, "ref_Q"), 0.005);
        near_share(
            &format!("P {row}"),
            b.compressor_w,
            field(row, "ref_P"),
            0.015,
        );
        near(
            &format!("T {row}"),
            b.leaving.t_c,
            field(row, "ref_Ts"),
            0.2,
        );
        near(
            &format!("SHR {row}"),
            b.sensible_share(),
            field(row, "ref_SHR"),
            0.01,
        );
        assert_eq!(b.condensate_kg_s == 0.0, dry);
    }
}

#[test]
fn cooling_part_load_follows_the_speed_table() {
    // Reference cycle with the fan at 0.4 + 0.6·s, rating temperatures. The surface form's stated errors are
    // 1.9 % in capacity and 4.7 % in power; efficiencies in the table have two decimals.
    let inlet = air_of_wet_bulb(27.0, 19.0);
    let at = |s: f64| cool(inlet, 0.602 * (0.4 + 0.6 * s), 35.0, s);
    let rated = at(1.0);
    let (plr, cop) = (
        column("/speed_table/cool_plr"),
        column("/speed_table/cool_cop"),
    );
    let shr = column("/speed_table/cool_shr");
    for (i, s) in column("/speed_table/s").into_iter().enumerate() {
        let state = at(s);
        let share = state.total_w / rated.total_w;
        near(&format!("PLR at {s}"), share, plr[i], 0.003);
        let efficiency = share * rated.compressor_w / state.compressor_w;
        near_share(&format!("COP at {s}"), efficiency, cop[i], 0.03);
        near(
            &format!("SHR at {s}"),
            state.sensible_share(),
            shr[i],
            0.006,
        );
    }
}

#[test]
fn heating_part_load_follows_the_speed_table() {
    let at = |s: f64| heat(20.0, 0.602 * (0.4 + 0.6 * s), 7.0, s);
    let rated = at(1.0);
    let (plr, cop) = (
        column("/speed_table/heat_plr"),
        column("/speed_table/heat_cop"),
    );
    for (i, s) in column("/speed_table/s").into_iter().enumerate() {
        let state = at(s);
        let share = state.total_w / rated.total_w;
        near(&format!("PLR at {s}"), share, plr[i], 0.001);
        let efficiency = share * rated.compressor_w / state.compressor_w;
        // Two decimals in the table, 0.2 % stated for the power curve.
        near(&format!("COP at {s}"), efficiency, cop[i], 0.008);
    }
}

#[test]
fn frost_costs_capacity_where_it_should() {
    // 10 CFR 430 Appendix M default H2 factors, from memory: 0.90 and 0.985 at 1.7 °C.
    let with = HeatingCurves::generic(10_000.0).unwrap();
    let none = Frost {
        capacity_loss: 0.0,
        power_loss: 0.0,
        ..Frost::GENERIC
    };
    let without = HeatingCurves {
        frost: none,
        ..with.clone()
    };
    for (outdoor_c, q, p) in [(-8.3, 1.0, 1.0), (1.7, 0.90, 0.985), (7.0, 1.0, 1.0)] {
        let inlet = MoistAir::new(20.0, 0.006);
        let solve = |curves: &HeatingCurves| {
            curves
                .solve(inlet, 0.6, outdoor_c, 1.0, &mut CoilMemory::default())
                .unwrap()
        };
        let (a, b) = (solve(&with), solve(&without));
        near("capacity", a.total_w / b.total_w, q, 1e-12);
        near("power", a.compressor_w / b.compressor_w, p, 1e-12);
    }
}
