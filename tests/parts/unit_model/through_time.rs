//! The unit stepped through time.

use super::common::{SAT, cool, near, near_share, number};
use crate::plant::air::MoistAir;
use crate::plant::unit::{
    CoolingCoil, HeatingCurves, Mode, Unit, UnitCommand, UnitError, UnitInlet, UnitKind,
    UnitOutput, UnitState,
};

const WARM: UnitInlet = UnitInlet {
    air: MoistAir {
        t_c: 26.0,
        w: 0.0105,
    },
    air_kg_s: 0.6,
    outdoor_c: 33.0,
};
const COOLING: UnitCommand = UnitCommand {
    mode: Mode::Cooling,
    speed: 1.0,
};
const STOPPED: UnitCommand = UnitCommand {
    mode: Mode::Off,
    speed: 0.0,
};

/// Steps a unit with one command and inlet, and hands every output to `see`.
fn steps(
    unit: &Unit,
    state: &mut UnitState,
    command: UnitCommand,
    inlet: UnitInlet,
    (dt_s, count): (f64, usize),
    mut see: impl FnMut(&UnitOutput),
) {
    let step = unit.prepared(dt_s).unwrap();
    for _ in 0..count {
        see(&unit.step(&SAT, &step, &command, &inlet, state).unwrap());
    }
}

#[test]
fn a_run_loses_what_the_part_load_factor_says_at_any_time_step() {
    // Case 4: τ 60 s, 360 s on. The ramp is averaged exactly, so the step does not matter.
    let unit = Unit::generic(10_000.0, UnitKind::FixedSpeed).unwrap();
    let plf = number("/case4_cycling_loss/rating_like_6on_24off/60.0/PLF");
    for (dt_s, count) in [(1.0, 360), (5.0, 72), (60.0, 6), (360.0, 1)] {
        let (mut delivered_j, mut steady_j, mut power_j) = (0.0, 0.0, 0.0);
        let mut state = UnitState::default();
        steps(&unit, &mut state, COOLING, WARM, (dt_s, count), |out| {
            delivered_j += dt_s * out.total_w();
            steady_j += dt_s * out.steady_total_w;
            power_j += dt_s * out.power_w;
            let drop = WARM.air.enthalpy_j_kg() - out.leaving.enthalpy_j_kg();
            near("air side", 0.6 * drop, out.total_w(), 1e-6);
            near(
                "water",
                0.6 * (WARM.air.w - out.leaving.w),
                out.condensate_kg_s,
                1e-12,
            );
        });
        near(
            &format!("PLF at {dt_s} s"),
            delivered_j / steady_j,
            plf,
            1e-7,
        );
        near("time", state.in_mode_s, 360.0, 1e-9);
        // Power is drawn at once.
        let coil = cool(WARM.air, 0.6, 33.0, 1.0);
        near_share("power", power_j, 360.0 * coil.compressor_w, 1e-9);
    }
}

#[test]
fn a_run_on_gives_back_the_stated_share_and_a_standing_fan_nothing() {
    let unit = Unit::generic(10_000.0, UnitKind::FixedSpeed).unwrap();
    let run = || {
        let mut state = UnitState::default();
        let mut last = 0.0;
        steps(&unit, &mut state, COOLING, WARM, (5.0, 360), |out| {
            last = out.sensible_w
        });
        (state, last)
    };
    let (mut state, sensible_w) = run();
    let mut back_j = 0.0;
    steps(&unit, &mut state, STOPPED, WARM, (5.0, 360), |out| {
        back_j += 5.0 * out.sensible_w;
        assert_eq!(
            (out.latent_w, out.steady_total_w, out.power_w),
            (0.0, 0.0, 30.0)
        );
    });
    // τ·Q_sensible·share. No moisture is moved in the run-on, so the same temperature drop
    // carries the specific heat of the wetter entering air: 0.3 % more.
    near_share("given back", back_j, 0.2 * 60.0 * sensible_w, 0.005);
    let (mut state, _) = run();
    let still = UnitInlet {
        air_kg_s: 0.0,
        ..WARM
    };
    steps(&unit, &mut state, STOPPED, still, (5.0, 10), |out| {
        assert_eq!((out.sensible_w, out.leaving), (0.0, WARM.air));
    });
    // A quick restart finds the coil partly cold; a change of mode finds nothing.
    near(
        "left over",
        state.delivered_fraction,
        (-50.0f64 / 60.0).exp(),
        1e-9,
    );
    let heating = UnitCommand {
        mode: Mode::Heating,
        speed: 1.0,
    };
    steps(&unit, &mut state, heating, WARM, (5.0, 1), |out| {
        assert!(out.sensible_w < 0.0)
    });
    near(
        "fresh ramp",
        state.delivered_fraction,
        1.0 - (-5.0f64 / 60.0).exp(),
        1e-12,
    );
}

#[test]
fn compressors_hold_the_speeds_they_have() {
    let speeds = |kind: UnitKind, wanted: f64, count: usize| {
        let unit = Unit::generic(10_000.0, kind).unwrap();
        let mut seen = Vec::new();
        let command = UnitCommand {
            mode: Mode::Cooling,
            speed: wanted,
        };
        let mut state = UnitState::default();
        steps(&unit, &mut state, command, WARM, (10.0, count), |out| {
            seen.push(out.speed)
        });
        seen
    };
    assert_eq!(speeds(UnitKind::FixedSpeed, 0.4, 1), [1.0]);
    assert_eq!(speeds(UnitKind::TwoStage { low: 0.7 }, 0.6, 1), [0.7]);
    assert_eq!(speeds(UnitKind::TwoStage { low: 0.7 }, 0.71, 1), [1.0]);
    let variable = speeds(UnitKind::VARIABLE_GENERIC, 0.5, 4);
    for (got, want) in variable.iter().zip([0.35, 0.45, 0.5, 0.5]) {
        near("slewed", *got, want, 1e-12);
    }
    assert_eq!(speeds(UnitKind::VARIABLE_GENERIC, 0.1, 1), [0.25]);
    assert_eq!(
        *speeds(UnitKind::VARIABLE_GENERIC, 9.0, 20).last().unwrap(),
        1.2
    );
    assert_eq!(speeds(UnitKind::FixedSpeed, 0.0, 1), [0.0]);
}

#[test]
fn faulty_units_and_requests_are_named() {
    assert!(CoolingCoil::generic(0.0).is_err() && HeatingCurves::generic(f64::NAN).is_err());
    for kind in [
        UnitKind::TwoStage { low: 1.0 },
        UnitKind::TwoStage { low: f64::NAN },
        UnitKind::VariableSpeed {
            min: 0.0,
            max: 1.0,
            slew_per_s: 0.01,
        },
        UnitKind::VariableSpeed {
            min: 0.5,
            max: 0.4,
            slew_per_s: 0.01,
        },
        UnitKind::VariableSpeed {
            min: 0.5,
            max: 1.0,
            slew_per_s: 0.0,
        },
    ] {
        assert!(Unit::generic(10_000.0, kind).is_err(), "{kind:?}");
    }
    let unit = Unit::generic(10_000.0, UnitKind::FixedSpeed).unwrap();
    for tau_s in [-1.0, f64::NAN, f64::INFINITY] {
        assert!(
            Unit {
                start_up_time_constant_s: tau_s,
                ..unit.clone()
            }
            .checked()
            .is_err()
        );
    }
    assert!(
        Unit {
            after_run_recovery: 1.1,
            ..unit.clone()
        }
        .checked()
        .is_err()
    );
    assert!(unit.prepared(0.0).is_err());
    let cooling_only = Unit {
        heating: None,
        ..unit
    };
    let (step, heating) = (
        cooling_only.prepared(1.0).unwrap(),
        UnitCommand {
            mode: Mode::Heating,
            speed: 1.0,
        },
    );
    let mut state = UnitState::default();
    let got = cooling_only.step(&SAT, &step, &heating, &WARM, &mut state);
    assert_eq!(got, Err(UnitError::NoSuchMode(Mode::Heating)));
    assert_eq!(state, UnitState::default());
    let bad = UnitInlet {
        outdoor_c: f64::NAN,
        ..WARM
    };
    let got = cooling_only.step(&SAT, &step, &COOLING, &bad, &mut state);
    assert!(matches!(got, Err(UnitError::NotFinite { .. })));
}

#[test]
fn without_a_ramp_the_first_step_is_steady() {
    let unit = Unit::generic(10_000.0, UnitKind::FixedSpeed).unwrap();
    let unit = Unit {
        start_up_time_constant_s: 0.0,
        ..unit
    }
    .checked()
    .unwrap();
    steps(
        &unit,
        &mut UnitState::default(),
        COOLING,
        WARM,
        (5.0, 1),
        |out| {
            near("total", out.total_w(), out.steady_total_w, 1e-9);
        },
    );
}
