//! What a step remembers only to save work must change nothing that it decides.

use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};

use super::mode::{Mode, ModeRule};
use super::relief_pi::ReliefPi;
use super::staging::Stages;
use super::{Action, Calendar, ChannelOwner, Controller, Hold, Readings};
use crate::scenario::Scenario;

/// A day of a house whose readings and people change now and then, once as it is and once with
/// everything looked at anew in every step. Says how many steps were quiet.
fn same_with_and_without(rule: ModeRule, stages: Stages, relief: bool, seed: u64) -> usize {
    let house = Scenario::embedded("family-house").unwrap();
    let mut spec = house.control.controller.spec().clone();
    spec.mode.rule = rule;
    spec.staging.stages = stages;
    if relief {
        spec.relief = Some(ReliefPi {
            setpoint_pa: 60.0,
            gain_per_pa: 0.002,
            integral_s: 60.0,
            filter_s: 3.0,
            dead_band_pa: 4.0,
            travel_s: 90.0,
        });
        spec.channels.push(ChannelOwner::Relief);
    }
    let controller = Controller::new(spec).unwrap();
    let zones = controller.spec().zones.len();
    let mut draw = Xoshiro256PlusPlus::seed_from_u64(seed);
    let mut up_to = move |n: u64| draw.next_u64() % n;

    let calendar = Calendar::new(house.run.start);
    let (mut state, mut commands) = (controller.initial_state(1), controller.commands());
    let (mut state_anew, mut commands_anew) = (state.clone(), commands.clone());
    let (mut notices, mut notices_anew) = (Vec::new(), Vec::new());
    let mut zone_c = vec![23.0; zones];
    let mut position = vec![0.0; controller.spec().channels.len()];
    let (mut supply_c, mut static_pa, mut rooms_flow_m3_s) = (14.0, 60.0, 0.3);
    let (mut coil_flow_fraction, mut quiet) = (0.8, 0);
    for second in 0..86_400 {
        let clock = calendar.clock(f64::from(second));
        if up_to(200) == 0 {
            let zone = up_to(zones as u64) as usize;
            zone_c[zone] = match up_to(20) {
                0 => f64::NAN,
                tenths => 18.0 + 0.5 * tenths as f64,
            };
            supply_c = 2.0 + up_to(20) as f64;
            static_pa = 20.0 * up_to(8) as f64;
            rooms_flow_m3_s = 0.05 * up_to(8) as f64;
            coil_flow_fraction = if up_to(10) == 0 { 0.3 } else { 0.8 };
        }
        if up_to(3000) == 0 {
            let zone = up_to(zones as u64) as usize;
            let hold = Hold::For(60.0 * up_to(60) as f64);
            let action = match up_to(14) {
                4 => Action::SystemOff,
                5..9 => Action::SystemOn,
                0 => Action::ZoneOff { zone, hold },
                1 => Action::ZoneRelease { zone },
                2 => Action::Mode((up_to(2) == 0).then_some(Mode::Heating)),
                3 | 9..12 => Action::ClearLockOut,
                _ => Action::ZoneSetpoint {
                    zone,
                    change_k: up_to(4) as f64 - 1.5,
                    hold,
                },
            };
            for (s, n) in [
                (&mut state, &mut notices),
                (&mut state_anew, &mut notices_anew),
            ] {
                controller.apply(&action, &clock, s, n).unwrap();
            }
        }
        let readings = Readings {
            zone_c: &zone_c,
            damper_position: &position,
            static_pa,
            supply_c,
            coil_surface_c: supply_c - 2.0,
            return_c: 23.0 + (f64::from(second) / 500.0).sin(),
            rooms_flow_m3_s,
            coil_flow_fraction,
        };
        state_anew.forget();
        let minute = clock.minute_of_week;
        quiet += usize::from(controller.is_quiet(clock.t_s, minute, &readings, &state));
        for (s, c, n) in [
            (&mut state, &mut commands, &mut notices),
            (&mut state_anew, &mut commands_anew, &mut notices_anew),
        ] {
            controller.step(&clock, 1.0, &readings, s, c, n);
        }
        // As text, since NaN stands for what there is none of.
        assert_eq!(format!("{commands:?}"), format!("{commands_anew:?}"));
        assert_eq!(format!("{notices:?}"), format!("{notices_anew:?}"));
        notices.clear();
        notices_anew.clear();
        position.copy_from_slice(&commands.channel_opening);
    }
    assert!(state.sequence.starts > 5, "{}", state.sequence.starts);
    quiet
}

const VARIABLE: Stages = Stages::VariableSpeed {
    minimum: 0.25,
    maximum: 1.2,
    ramp_per_s: 0.01,
};

#[test]
fn a_fixed_mode() {
    let cooling = ModeRule::Fixed(Mode::Cooling);
    let quiet = same_with_and_without(cooling, VARIABLE, false, 1);
    // Ramps, and an airflow limit that often binds, leave less than half.
    assert!(quiet > 86_400 / 3, "{quiet} quiet seconds");
    same_with_and_without(cooling, Stages::TwoStage { low: 0.6 }, false, 4);
}

#[test]
fn a_mode_that_zones_choose() {
    same_with_and_without(ModeRule::FirstCall, VARIABLE, false, 2);
    same_with_and_without(ModeRule::WeightedVote { margin_k: 0.2 }, VARIABLE, false, 3);
}

#[test]
fn a_motorised_relief() {
    let cooling = ModeRule::Fixed(Mode::Cooling);
    let quiet = same_with_and_without(cooling, Stages::FixedSpeed, true, 6);
    assert!(quiet > 60_000, "{quiet} quiet seconds");
}
