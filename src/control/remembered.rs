//! What a step remembers only to save work must change nothing that it decides.

use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};

use super::mode::{Mode, ModeRule};
use super::{Action, Calendar, Controller, Hold, Readings};
use crate::scenario::Scenario;

/// A day of a house whose readings and people change now and then, once as it is and once with
/// everything looked at anew in every step.
fn same_with_and_without(rule: ModeRule, seed: u64) {
    let house = Scenario::embedded("family-house").unwrap();
    let mut spec = house.control.controller.spec().clone();
    spec.mode.rule = rule;
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
    let mut supply_c = 14.0;
    for second in 0..86_400 {
        let clock = calendar.clock(f64::from(second));
        if up_to(200) == 0 {
            let zone = up_to(zones as u64) as usize;
            zone_c[zone] = match up_to(20) {
                0 => f64::NAN,
                tenths => 18.0 + 0.5 * tenths as f64,
            };
            supply_c = 2.0 + up_to(20) as f64;
        }
        if up_to(3000) == 0 {
            let zone = up_to(zones as u64) as usize;
            let hold = Hold::For(60.0 * up_to(60) as f64);
            let action = match up_to(5) {
                0 => Action::ZoneOff { zone, hold },
                1 => Action::ZoneRelease { zone },
                2 => Action::Mode((up_to(2) == 0).then_some(Mode::Heating)),
                3 => Action::ClearLockOut,
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
            static_pa: 60.0,
            supply_c,
            return_c: 24.0,
            rooms_flow_m3_s: 0.3,
            ..Readings::default()
        };
        state_anew.forget();
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
}

#[test]
fn a_fixed_mode() {
    same_with_and_without(ModeRule::Fixed(Mode::Cooling), 1);
}

#[test]
fn a_mode_that_zones_choose() {
    same_with_and_without(ModeRule::FirstCall, 2);
    same_with_and_without(ModeRule::WeightedVote { margin_k: 0.2 }, 3);
}
