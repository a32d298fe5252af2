//! Relief air led back to the coil.

use super::common::{SAT, air, column, field, near, near_share, number, rows, settled};
use crate::plant::air::MoistAir;
use crate::plant::unit::relief_mixing::{
    ConstantDuty, Settling, constant_duty_trip_share, fixed_surface_mixed_c,
    fixed_surface_supply_c, room_limit_w, settle,
};
use crate::plant::unit::{BypassLaw, HeatingCurves, Mode, Unit, UnitKind};

#[test]
fn constant_duty_relief_matches_the_closed_form() {
    // Case 1, hand formulae with ρ·cp = 1207.2 J/(m³K).
    let drop_k = 7500.0 / (1207.2 * 0.5);
    near("drop", drop_k, number("/case1_relief_mixing/dT0_K"), 1e-6);
    for row in rows("/case1_relief_mixing/table") {
        let case = ConstantDuty::plain(24.0, drop_k, field(row, "x"));
        near("supply", case.supply_c(), field(row, "Ts"), 1e-6);
        near("mixed", case.mixed_c(), field(row, "Tm"), 1e-6);
    }
    for trip in ["5.0", "7.0"] {
        let x = constant_duty_trip_share(24.0, drop_k, trip.parse().unwrap());
        near(
            "trip share",
            x,
            number(&format!("/case1_relief_mixing/x_trip/{trip}")),
            1e-8,
        );
    }
    let case = ConstantDuty::plain(24.0, drop_k, 0.4);
    for (k, want) in (0..).zip(column("/case1_relief_mixing/transient_x0.4_Ts_per_pass")) {
        near("pass", case.supply_after_c(11.574553, k), want, 2e-6);
    }
    near(
        "room limit",
        room_limit_w(1207.2 * 0.1, 24.0, 5.0),
        2293.68,
        1e-9,
    );
    // With outdoor air and fan heat, by hand: x .3, y .1, outdoor 35, drop 11, fan 0.6 K.
    let mixed = ConstantDuty {
        outdoor_c: 35.0,
        outdoor_share: 0.1,
        fan_rise_k: 0.6,
        ..ConstantDuty::plain(24.0, 11.0, 0.3)
    };
    near("mixed", mixed.mixed_c(), 21.114286, 1e-6);
    near("supply", mixed.supply_c(), 10.714286, 1e-6);
}

#[test]
fn fixed_surface_relief_matches_the_closed_form() {
    for row in rows("/case1_relief_mixing/const_surface/table") {
        let x = field(row, "x");
        let supply_c = fixed_surface_supply_c(24.0, 11.0, 0.15, x);
        near("supply", supply_c, field(row, "Ts"), 1e-6);
        let mixed_c = fixed_surface_mixed_c(24.0, 11.0, 0.15, x);
        near(
            "heat",
            1207.2 * 0.5 * (mixed_c - supply_c),
            field(row, "Q_W"),
            1e-3,
        );
    }
}

#[test]
fn the_settled_unit_matches_all_24_relief_points() {
    // From the full cycle. Tolerances as stated for this form against it: 0.2 K; the
    // efficiency takes the ±1.5 % of the power, the heat to rooms ±0.5 % beside its supply error.
    let x = column("/relief_table/x");
    for speed in ["1.0", "0.5", "0.3"] {
        let supply = column(&format!("/relief_table/supply_c/{speed}"));
        assert_eq!(supply.len(), x.len());
        for (&x, want) in x.iter().zip(supply) {
            let got = settled(x, speed.parse().unwrap(), 1.0);
            near(
                &format!("supply, s {speed}, x {x}"),
                got.supply.t_c,
                want,
                0.2,
            );
        }
    }
    let (mixed, surface) = (
        column("/relief_table/mixed_c"),
        column("/relief_table/surface_c"),
    );
    let (eer, rooms) = (
        column("/relief_table/eer"),
        column("/relief_table/room_sensible_w"),
    );
    for (i, &x) in x.iter().enumerate() {
        let got = settled(x, 1.0, 1.0);
        near(&format!("mixed at {x}"), got.mixed.t_c, mixed[i], 0.2);
        near(&format!("surface at {x}"), got.surface_c, surface[i], 0.2);
        near_share(&format!("EER at {x}"), got.efficiency(), eer[i], 0.015);
        near_share(
            &format!("rooms at {x}"),
            got.room_sensible_dry_w,
            rooms[i],
            0.005,
        );
        // Independent of the cycle: what the coil takes beyond its own loop is the rooms' loss.
        let held = air(24.0, 0.5).enthalpy_j_kg() - got.supply.enthalpy_j_kg();
        near("balance", 0.602 * (1.0 - x) * held, got.total_w, 1e-2);
    }
}

#[test]
fn less_air_without_relief_matches_the_cycle() {
    let table = |name: &str| column(&format!("/relief_table/less_air/{name}"));
    for (i, ff) in table("ff").into_iter().enumerate() {
        let got = settled(0.0, 1.0, ff);
        near(
            &format!("supply at {ff}"),
            got.supply.t_c,
            table("supply_c")[i],
            0.2,
        );
        near(
            &format!("surface at {ff}"),
            got.surface_c,
            table("surface_c")[i],
            0.2,
        );
    }
}

#[test]
fn supply_meets_the_trip_at_the_stated_relief_share() {
    for row in rows("/relief_table/trip_share") {
        let at = settled(field(row, "x"), field(row, "s"), 1.0);
        near(
            "supply at the trip share",
            at.supply.t_c,
            field(row, "trip_c"),
            0.2,
        );
    }
    assert!(settled(0.7, 0.3, 1.0).supply.t_c > 7.0);
}

#[test]
fn heating_relief_matches_case_12() {
    // Hand case: ρ·cp·V = 603.6 W/K, that is 0.6 kg/s of dry air, no flow correction, no frost.
    let curves = HeatingCurves {
        rated_total_w: number("/case12_heating_relief/inputs/Q_rated_W"),
        rated_compressor_w: number("/case12_heating_relief/inputs/P_rated_W"),
        bypass: BypassLaw::new(0.6, 0.15).unwrap(),
        ..HeatingCurves::generic(10_000.0).unwrap()
    };
    let unit = Unit {
        heating: Some(curves),
        ..Unit::generic(10_000.0, UnitKind::FixedSpeed).unwrap()
    };
    for row in rows("/case12_heating_relief/table") {
        let held = Settling {
            return_air: MoistAir::new(20.0, 0.0),
            outdoor_c: 7.0,
            air_kg_s: 0.6,
            mode: Mode::Heating,
            speed: 1.0,
            relief_share: field(row, "x"),
            fan_heat_w: 0.0,
        };
        let got = settle(&unit, &SAT, &held).unwrap();
        // At x = 0.5 the hand case runs its curves 0.15 K past their own range; ours hold at 36 °C,
        // and the power curve climbs 1.9 % a kelvin there.
        let past = field(row, "Tm") > 36.0;
        let (kelvin, share) = if past { (0.01, 0.004) } else { (2e-4, 2e-5) };
        assert_eq!(got.beyond_map, past);
        near("mixed", got.mixed.t_c, field(row, "Tm"), kelvin);
        near("supply", got.supply.t_c, field(row, "Ts"), kelvin);
        near_share("heat", -got.total_w, field(row, "Q_W"), share);
        near_share("power", got.power_w, field(row, "P_W"), share);
        near_share("COP", got.efficiency(), field(row, "COP"), share);
    }
}
