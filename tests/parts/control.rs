//! The controller against check values and against its own promises.
//!
//! Check values: `tests/reference/control_cases.json`, derived by hand and recomputed with a general
//! numerical library (equipment cases 3, 7, 8 and 10).

use std::sync::LazyLock;

use crate::control::actuator::{Actuator, ActuatorState};
use crate::control::damper::{Damper, Modulating, proportional_opening};
use crate::control::fan::{FanLaw, FanSpec};
use crate::control::mode::{ModeRule, ModeSpec, Votes};
use crate::control::optimum_start::{LeadLaw, OptimumStart, exponential_lead_s};
use crate::control::protection::{Protection, ProtectionAction, Sense};
use crate::control::relief_pi::ReliefPi;
use crate::control::sequence::{Opening, Phase, SequenceSpec};
use crate::control::staging::{DemandRule, Stages, Staging};
use crate::control::thermostat::{Differential, Placement, Sensor};
use crate::control::timetable::{Days, Period, Setpoints, Timetable};
use crate::control::zone::{LostSensor, Regime, Unscheduled, ZoneSpec, ZoneState};
use crate::control::{
    Action, ActionError, Calendar, Cause, ChannelOwner, Commands, ControlError, ControlState,
    Controller, ControllerSpec, Hold, Mode, Notice, NoticeKind, Readings,
};
use chrono::NaiveDate;
use proptest::prelude::*;
use serde_json::Value;

static CASES: LazyLock<Value> = LazyLock::new(|| {
    serde_json::from_str(include_str!("../reference/control_cases.json")).expect("valid JSON")
});

fn number(pointer: &str) -> f64 {
    CASES
        .pointer(pointer)
        .and_then(Value::as_f64)
        .unwrap_or_else(|| panic!("no {pointer}"))
}

const SET: Setpoints = Setpoints {
    cooling_c: 24.0,
    heating_c: 20.0,
};

/// Monday 5 January 2026, 00:00.
fn monday() -> Calendar {
    Calendar::new(
        NaiveDate::from_ymd_opt(2026, 1, 5)
            .unwrap()
            .and_hms_opt(0, 0, 0)
            .unwrap(),
    )
}

fn zone(name: &str) -> ZoneSpec {
    ZoneSpec {
        name: name.to_owned(),
        weight: 1.0,
        timetable: Timetable::always(SET),
        unscheduled: Unscheduled::Shut,
        optimum_start: None,
        differential: Differential {
            width_k: 1.0,
            placement: Placement::Centred,
        },
        damper: Damper::TwoPosition,
        opening_when_satisfied: 0.0,
        lost_sensor: LostSensor::NoCall,
        lowest_c: 16.0,
        highest_c: 28.0,
        enabled: true,
    }
}

/// The barest controller: fixed speed, cooling only, no timers, no protections.
fn bare(zones: Vec<ZoneSpec>) -> ControllerSpec {
    let channels = (0..zones.len()).map(ChannelOwner::Zone).collect();
    ControllerSpec {
        zones,
        channels,
        mode: ModeSpec {
            rule: ModeRule::Fixed(Mode::Cooling),
            initial: Mode::Cooling,
            qualify_s: 600.0,
            hold_s: 600.0,
            change_off_s: 600.0,
            max_wait_s: f64::INFINITY,
        },
        staging: Staging {
            stages: Stages::FixedSpeed,
            rule: DemandRule::Both,
            gain_per_k: 0.5,
            band_k: 1.5,
            up_delay_s: 300.0,
            down_delay_s: 120.0,
            airflow_limit: None,
        },
        fan: FanSpec {
            law: FanLaw::PerStage {
                low: 0.7,
                full: 1.0,
            },
            post_run: 0.5,
        },
        sequence: SequenceSpec {
            minimum_run_s: 0.0,
            minimum_off_s: 0.0,
            post_run_s: 0.0,
            opening: Opening::Wait { wait_s: 0.0 },
            power_up_s: 0.0,
        },
        relief: None,
        protections: vec![],
    }
}

/// A controller with its state, stepped by readings.
struct Bench {
    controller: Controller,
    state: ControlState,
    commands: Commands,
    notices: Vec<Notice>,
    calendar: Calendar,
    t_s: f64,
    dt_s: f64,
}

impl Bench {
    fn new(spec: ControllerSpec) -> Self {
        let controller = Controller::new(spec).expect("a valid controller");
        Self {
            state: controller.initial_state(1),
            commands: controller.commands(),
            notices: Vec::new(),
            calendar: monday(),
            t_s: 0.0,
            dt_s: 1.0,
            controller,
        }
    }

    fn of_zones<T>(&self, of: impl Fn(&ZoneState) -> T) -> Vec<T> {
        self.state.zones.iter().map(of).collect()
    }

    fn regimes(&self) -> Vec<Regime> {
        self.of_zones(|z| z.regime)
    }

    /// Setpoints in the unit's mode; NaN where none is in force.
    fn setpoints_c(&self) -> Vec<f64> {
        let mode = self.commands.mode;
        self.of_zones(|z| z.setpoints.map_or(f64::NAN, |s| s.of(mode)))
    }

    fn waiting(&self) -> Vec<bool> {
        self.of_zones(|z| !z.waiting_since_s.is_nan())
    }

    /// One step at the present time; then time moves on.
    fn step(&mut self, readings: &Readings<'_>) -> &Commands {
        let clock = self.calendar.clock(self.t_s);
        self.controller.step(
            &clock,
            self.dt_s,
            readings,
            &mut self.state,
            &mut self.commands,
            &mut self.notices,
        );
        self.t_s += self.dt_s;
        &self.commands
    }

    fn rooms(&mut self, zone_c: &[f64]) -> &Commands {
        self.step(&Readings {
            zone_c,
            ..Readings::default()
        })
    }

    fn run_rooms(&mut self, zone_c: &[f64], until_s: f64) {
        while self.t_s < until_s {
            self.rooms(zone_c);
        }
    }

    fn act(&mut self, action: Action) -> Result<(), ActionError> {
        let clock = self.calendar.clock(self.t_s);
        self.controller
            .apply(&action, &clock, &mut self.state, &mut self.notices)
    }

    fn running(&self) -> bool {
        self.commands.unit.mode.is_some()
    }

    fn times(&self, kind: NoticeKind) -> Vec<f64> {
        self.notices
            .iter()
            .filter(|n| n.kind == kind)
            .map(|n| n.t_s)
            .collect()
    }

    fn causes(&self, kind: NoticeKind) -> Vec<Option<Cause>> {
        self.notices
            .iter()
            .filter(|n| n.kind == kind)
            .map(|n| n.cause)
            .collect()
    }
}

// ---- Arithmetic ----------------------------------------------------------------------------

#[test]
fn case_10_vote_and_head_count() {
    let zones = CASES
        .pointer("/case10_control_arith/vote/zones")
        .unwrap()
        .as_array()
        .unwrap();
    let mut votes = Votes::default();
    for z in zones {
        let f = |key: &str| z[key].as_f64().unwrap();
        votes.add_need(f("w"), f("T"), f("Tc"), f("Th"));
        votes.cooling_calls += usize::from(f("T") > f("Tc"));
        votes.heating_calls += usize::from(f("T") < f("Th"));
    }
    assert!((votes.cooling_k - number("/case10_control_arith/vote/demand_cool")).abs() < 1e-12);
    assert!((votes.heating_k - number("/case10_control_arith/vote/demand_heat")).abs() < 1e-12);
    let vote = ModeRule::WeightedVote { margin_k: 0.1 };
    assert_eq!(vote.choice(Mode::Heating, &votes), Mode::Cooling);
    assert_eq!(vote.choice(Mode::Cooling, &votes), Mode::Cooling);
    // 0.45 against 0.26 is a lead of 0.19 K: short of the usual margin of 0.2 K.
    let usual = ModeRule::WeightedVote { margin_k: 0.2 };
    assert_eq!(usual.choice(Mode::Heating, &votes), Mode::Heating);
    assert_eq!((votes.cooling_calls, votes.heating_calls), (2, 2));
    for mode in [Mode::Cooling, Mode::Heating] {
        assert_eq!(
            ModeRule::HeadCount.choice(mode, &votes),
            mode,
            "a tie keeps the mode"
        );
    }
}

#[test]
fn case_10_proportional_damper() {
    let input = |key: &str| number(&format!("/case10_control_arith/P_damper/inputs/{key}"));
    let u = proportional_opening(input("e_K"), input("PB_K"), input("umin"));
    assert!((u - number("/case10_control_arith/P_damper/u")).abs() < 1e-12);
    assert_eq!(proportional_opening(-5.0, 1.5, 0.1), 0.1);
    assert_eq!(proportional_opening(5.0, 1.5, 0.1), 1.0);
}

#[test]
fn case_8_actuator_takes_its_time() {
    let input = |key: &str| number(&format!("/case8_actuator/inputs/{key}"));
    let motor = Actuator {
        travel_s: input("travel_full_s"),
        dead_band: 0.02,
    };
    let (from, to) = (input("from_pct") / 100.0, input("to_pct") / 100.0);
    let expected = number("/case8_actuator/t_s");
    for dt in [0.5, 0.1, 31.5] {
        let mut s = ActuatorState::at(from);
        let mut steps = 0;
        while s.position != to {
            motor.step(to, dt, &mut s);
            steps += 1;
            assert!(steps < 1000);
        }
        assert!(
            (f64::from(steps) * dt - expected).abs() < 1e-9,
            "dt {dt}: {steps} steps"
        );
        assert!((s.strokes - 0.35).abs() < 1e-12);
        assert_eq!(s.moves, 1);
    }
    // At rest it ignores a command within its dead band, except to an end stop.
    let mut s = ActuatorState::at(0.99);
    assert_eq!(motor.step(0.98, 1.0, &mut s), 0.99);
    assert!(motor.step(1.0, 1.0, &mut s) > 0.99);
    assert_eq!(motor.step(f64::NAN, 1.0, &mut s), s.position);
}

/// Over seven steps of a second the last 0.05 of travel takes four and a half.
#[test]
fn the_mean_of_a_motor_is_that_of_its_steps() {
    let motor = Actuator {
        travel_s: 90.0,
        dead_band: 0.02,
    };
    let mut s = ActuatorState::at(0.4);
    motor.step(0.461, 1.0, &mut s);
    let (before, steps) = (s, 7);
    let mut sum = s.position;
    for _ in 1..steps {
        sum += motor.step(0.461, 1.0, &mut s);
    }
    assert_eq!(s.position, 0.461);
    let mean = motor.mean(0.461, 1.0, steps, &before);
    assert!((mean - sum / steps as f64).abs() < 1e-15);
    assert!(mean > before.position && mean < 0.461);
    assert_eq!(motor.mean(0.461, 1.0, 1, &before), before.position);
    // One at rest stays, whatever it is told.
    let rests = ActuatorState::at(0.4);
    assert_eq!(motor.mean(0.9, 1.0, steps, &rests), 0.4);
}

#[test]
fn case_7_optimum_start_formula() {
    let input = |key: &str| number(&format!("/case7_optimum_start/inputs/{key}"));
    let t = exponential_lead_s(
        input("tau_s"),
        input("T_inf_on"),
        input("T_now"),
        input("T_set"),
    );
    // The sheet gives four decimals.
    assert!((t.unwrap() - number("/case7_optimum_start/t_s")).abs() < 1e-4);
}

#[test]
fn case_7_optimum_start_begins_in_the_last_minute_that_is_not_too_late() {
    let law = LeadLaw::Exponential {
        tau_s: 30_000.0,
        cooling_end_c: 11.0,
        heating_end_c: 40.0,
    };
    let mut z = zone("office");
    z.optimum_start = Some(OptimumStart {
        law,
        cap_s: 10_800.0,
    });
    let period = Period {
        days: Days::ALL,
        from_min: 420,
        to_min: 1080,
        setpoints: SET,
    };
    z.timetable = Timetable::new(vec![period]).unwrap();
    let mut b = Bench::new(bare(vec![z]));
    b.run_rooms(&[28.0], 25_300.0);
    let began = b.times(NoticeKind::OptimumStartBegan);
    assert_eq!(began.len(), 1);
    let ahead_s = 7.0 * 3600.0 - began[0];
    let needed_s = number("/case7_optimum_start/t_s");
    assert!(
        (needed_s..needed_s + 60.0).contains(&ahead_s),
        "{ahead_s} s ahead"
    );
    assert_eq!(b.times(NoticeKind::Start), began);
    assert_eq!(b.regimes()[0], Regime::Scheduled);
    assert_eq!(b.times(NoticeKind::PeriodBegan), [25_200.0]);
}

// ---- Limit cycles of a one-node room --------------------------------------------------------

/// Case 3: C dT/dt = UA (To - T) + G - Q, solved exactly over each step.
struct Room {
    t_c: f64,
    off_end_c: f64,
    on_end_c: f64,
    tau_s: f64,
}

impl Room {
    fn step(&mut self, on: bool, dt_s: f64) {
        let end_c = if on { self.on_end_c } else { self.off_end_c };
        self.t_c = end_c + (self.t_c - end_c) * (-dt_s / self.tau_s).exp();
    }
}

struct Cycle {
    on_s: f64,
    off_s: f64,
    least_c: f64,
    most_c: f64,
}

/// Runs the room of case 3 b with the given timers and sensor lag, and measures each whole cycle
/// after the first ten.
fn cycles(minimum_s: f64, lag_s: f64, dt_s: f64) -> Vec<Cycle> {
    let mut spec = bare(vec![zone("room")]);
    spec.sequence.minimum_run_s = minimum_s;
    spec.sequence.minimum_off_s = minimum_s;
    let mut b = Bench::new(spec);
    b.dt_s = dt_s;
    let mut room = Room {
        t_c: 24.0,
        off_end_c: 41.0,
        on_end_c: 11.0,
        tau_s: 3600.0,
    };
    let sensor = Sensor {
        lag_s,
        ..Sensor::PERFECT
    };
    let mut sensing = sensor.initial_state(24.0, 24.0, 1);
    let mut trace = Vec::new();
    let mut switches = Vec::new();
    let mut k = 0_u64;
    while switches.len() < 61 {
        // Time from the step count, so that no rounding gathers.
        b.t_s = k as f64 * dt_s;
        let t_s = b.t_s;
        let before = b.running();
        let on = b.rooms(&[sensing.reading_c]).unit.mode.is_some();
        if on != before {
            switches.push((t_s, trace.len()));
        }
        trace.push(room.t_c);
        room.step(on, dt_s);
        sensor.step(room.t_c, f64::NAN, dt_s, &mut sensing);
        k += 1;
    }
    // Even switches are starts.
    switches
        .windows(3)
        .skip(20)
        .step_by(2)
        .map(|w| {
            let seen = &trace[w[0].1..w[2].1];
            Cycle {
                on_s: w[1].0 - w[0].0,
                off_s: w[2].0 - w[1].0,
                least_c: seen.iter().copied().fold(f64::INFINITY, f64::min),
                most_c: seen.iter().copied().fold(f64::NEG_INFINITY, f64::max),
            }
        })
        .collect()
}

/// Sampling tolerance, from first principles. With steps of h a switch comes d in [0, h) after the
/// reading crosses its edge: each interval is lengthened by its own late end, d2 < h. It is also
/// lengthened by the late end of the one before, because the room has gone on by (old rate) d1 and
/// must come back at the new rate: d1 (old rate / new rate). So the excess lies in
/// [0, h (1 + old rate / new rate)), with the rates at the switch, and vanishes with h.
fn assert_excess(what: &str, got_s: f64, exact_s: f64, h: f64, old_rate: f64, new_rate: f64) {
    let most = h * (1.0 + old_rate / new_rate);
    // 1e-4 s for the digits of the reference.
    let excess = got_s - exact_s;
    assert!(
        excess > -1e-4 && excess < most + 1e-4,
        "{what}: {got_s} s, excess {excess} s"
    );
}

const CASE_3: &str = "/case3_hysteresis_cycle/runs";

#[test]
fn case_3b_plain_hysteresis() {
    let exact = |key: &str| number(&format!("{CASE_3}/b_tau3600/{key}"));
    for h in [1.0, 0.1] {
        for c in cycles(0.0, 0.0, h) {
            // Rates at the upper edge 24.5 (off 16.5, on 13.5) and the lower 23.5 (on 12.5, off 17.5),
            // in K per time constant.
            assert_excess("on", c.on_s, exact("t_on_s"), h, 16.5, 13.5);
            assert_excess("off", c.off_s, exact("t_off_s"), h, 12.5, 17.5);
        }
    }
}

#[test]
fn case_3c_minimum_run_and_off_time() {
    let exact = |key: &str| number(&format!("{CASE_3}/c_tau3600_min_on_off_300s/{key}"));
    for h in [1.0, 0.1] {
        // The off-time is a timer. The run starts at a temperature lower by the late stop before:
        // d1 12.5/3600 K, faded by e^(-300/3600), recovered at (Tmax - 11)/3600 K/s. It ends up to h
        // late. So the excess lies in (-h ratio, h).
        let ratio = 12.5 * (-300.0_f64 / 3600.0).exp() / (exact("Tmax") - 11.0);
        let below_k = 12.5 / 3600.0 * h;
        for c in cycles(300.0, 0.0, h) {
            assert!((c.off_s - exact("t_off_s")).abs() < 1e-6, "off {}", c.off_s);
            let excess = c.on_s - exact("t_on_s");
            assert!(
                excess > -h * ratio - 1e-4 && excess < h + 1e-4,
                "on excess {excess} s"
            );
            assert!(c.least_c <= exact("Tmin") && c.least_c > exact("Tmin") - below_k);
            // The reference gives six decimals of Tmax.
            assert!(c.most_c < exact("Tmax") + 1e-6 && c.most_c > exact("Tmax") - below_k);
        }
    }
}

#[test]
fn case_3d_sensor_lag() {
    let exact = |key: &str| number(&format!("{CASE_3}/d_tau3600_sensor_lag_120s/{key}"));
    let (least, most) = (exact("room_Tmin"), exact("room_Tmax"));
    for h in [1.0, 0.1] {
        for c in cycles(0.0, 120.0, h) {
            // Four lags after a switch the reading runs parallel to the room, so the argument above
            // holds with the room's rates; the bound takes the fastest old and slowest new rate.
            let (slowest_on, fastest_on) = (least - 11.0, most - 11.0);
            let (slowest_off, fastest_off) = (41.0 - most, 41.0 - least);
            assert_excess("on", c.on_s, exact("t_on_s"), h, fastest_off, slowest_on);
            assert_excess("off", c.off_s, exact("t_off_s"), h, fastest_on, slowest_off);
            // The room's turning points move by at most one late step at its fastest rate.
            assert!(c.least_c <= least + 1e-5 && c.least_c > least - fastest_on / 3600.0 * h);
            assert!(c.most_c >= most - 1e-5 && c.most_c < most + fastest_off / 3600.0 * h);
        }
    }
}

// ---- Timers ---------------------------------------------------------------------------------

#[test]
fn starts_in_any_hour_reach_and_never_exceed_the_hard_bound() {
    // N = 3600 / (minimum run + minimum off); equipment case 10.
    for (run_s, off_s, key) in [
        (120.0, 180.0, "120+180"),
        (180.0, 180.0, "180+180"),
        (300.0, 300.0, "300+300"),
    ] {
        let bound = number(&format!("/case10_control_arith/max_starts/{key}"));
        let mut spec = bare(vec![zone("room")]);
        spec.sequence.minimum_run_s = run_s;
        spec.sequence.minimum_off_s = off_s;
        let mut b = Bench::new(spec);
        // The worst room there is: satisfied as soon as the unit runs.
        while b.t_s < 6.0 * 3600.0 {
            let c = if b.running() { 10.0 } else { 40.0 };
            b.rooms(&[c]);
        }
        let starts = b.times(NoticeKind::Start);
        let most = starts
            .iter()
            .map(|&t| starts.iter().filter(|&&u| u >= t && u < t + 3600.0).count())
            .max();
        assert_eq!(most, Some(bound as usize), "{key}");
    }
}

#[test]
fn dampers_open_before_a_start_and_close_after_the_post_run() {
    let mut spec = bare(vec![zone("a"), zone("b")]);
    spec.sequence.opening = Opening::Wait { wait_s: 45.0 };
    spec.sequence.post_run_s = 60.0;
    spec.sequence.minimum_run_s = 120.0;
    let mut b = Bench::new(spec);
    b.rooms(&[30.0, 22.0]);
    assert_eq!(
        (b.commands.phase, b.commands.channel_opening[0]),
        (Phase::Opening, 1.0)
    );
    assert_eq!(b.commands.fan_fraction, 0.0);
    b.run_rooms(&[30.0, 22.0], 60.0);
    assert_eq!(b.times(NoticeKind::Start), [45.0]);
    assert_eq!(
        b.notices
            .iter()
            .find(|n| n.kind == NoticeKind::Start)
            .unwrap()
            .zone,
        Some(0)
    );
    assert_eq!(b.commands.fan_fraction, 1.0);
    // Satisfied early: the minimum run keeps the last zone open.
    b.run_rooms(&[22.0, 22.0], 165.0);
    assert!(b.running());
    assert_eq!(b.commands.channel_opening, [1.0, 0.0]);
    assert_eq!(b.causes(NoticeKind::Held), [Some(Cause::MinimumRun)]);
    b.run_rooms(&[22.0, 22.0], 220.0);
    assert_eq!(b.times(NoticeKind::Stop), [165.0]);
    assert_eq!(b.causes(NoticeKind::Stop), [Some(Cause::Satisfied)]);
    assert_eq!(b.commands.phase, Phase::PostRun);
    assert_eq!(
        (b.commands.channel_opening[0], b.commands.fan_fraction),
        (1.0, 0.5)
    );
    b.run_rooms(&[22.0, 22.0], 226.0);
    assert_eq!(
        (b.commands.channel_opening[0], b.commands.fan_fraction),
        (0.0, 0.0)
    );
}

#[test]
fn a_late_caller_is_not_started_on_another_zones_wait() {
    let mut spec = bare(vec![zone("a"), zone("b")]);
    spec.sequence.opening = Opening::Wait { wait_s: 60.0 };
    let mut b = Bench::new(spec);
    b.run_rooms(&[30.0, 22.0], 60.0);
    // The first gives up just as its wait ends and the second begins to call: the second's dampers
    // have not even set off.
    b.run_rooms(&[22.0, 30.0], 200.0);
    assert_eq!(b.times(NoticeKind::Start), [120.0]);
}

#[test]
fn with_position_feedback_nothing_starts_against_closed_dampers() {
    let motor = Actuator {
        travel_s: 90.0,
        dead_band: 0.02,
    };
    let feedback = Opening::Feedback {
        ready_open: 0.5,
        wait_s: 60.0,
    };
    for (stuck, wait_s, expected) in [
        // Half of 90 s of travel. The position read at a step is that of the step's beginning.
        (false, 0.0, Some(45.0)),
        (true, 0.0, None),
    ] {
        let mut spec = bare(vec![zone("a")]);
        spec.sequence.opening = feedback;
        let mut b = Bench::new(spec);
        let mut s = ActuatorState::at(wait_s);
        for _ in 0..600 {
            let position = [s.position];
            let readings = Readings {
                zone_c: &[30.0],
                damper_position: &position,
                ..Readings::default()
            };
            let target = b.step(&readings).channel_opening[0];
            if !stuck {
                motor.step(target, 1.0, &mut s);
            }
        }
        assert_eq!(
            b.times(NoticeKind::Start).first().copied(),
            expected,
            "stuck: {stuck}"
        );
        if stuck {
            assert_eq!(b.causes(NoticeKind::Held), [Some(Cause::DampersShut)]);
        }
    }
}

#[test]
fn power_up_delay_is_drawn_from_the_seed() {
    let mut spec = bare(vec![zone("a")]);
    spec.sequence.power_up_s = 180.0;
    let start = |seed| {
        let mut b = Bench::new(spec.clone());
        b.state = b.controller.initial_state(seed);
        b.run_rooms(&[30.0], 200.0);
        b.times(NoticeKind::Start)[0]
    };
    let starts: Vec<f64> = (0..200).map(start).collect();
    assert_eq!(starts[7], start(7));
    assert!(starts.iter().all(|&t| (0.0..=180.0).contains(&t)));
    // Uniform on 0..180: mean 90.5 (whole steps round up), standard error 52/sqrt(200) = 3.7.
    let mean = starts.iter().sum::<f64>() / 200.0;
    assert!((mean - 90.5).abs() < 4.0 * 3.7, "mean {mean}");
}

// ---- Schedules and overrides ---------------------------------------------------------------

fn office_hours() -> Timetable {
    let period = |days, from_min, to_min| Period {
        days,
        from_min,
        to_min,
        setpoints: SET,
    };
    Timetable::new(vec![
        period(Days::WORKDAYS, 420, 1080),
        period(Days::WEEKEND, 1320, 120),
    ])
    .unwrap()
}

#[test]
fn bands_are_half_open_and_stop_the_unit_by_schedule() {
    let mut z = zone("office");
    z.timetable = office_hours();
    let mut b = Bench::new(bare(vec![z]));
    b.dt_s = 30.0;
    b.run_rooms(&[30.0], 7.0 * 86_400.0);
    let day = 86_400.0;
    let mut began: Vec<f64> = (0..5).map(|d| f64::from(d) * day + 25_200.0).collect();
    began.extend([5.0 * day + 79_200.0, 6.0 * day + 79_200.0]);
    assert_eq!(b.times(NoticeKind::PeriodBegan), began);
    // The run begins on Monday 00:00 inside the period that began on Sunday and ends at 02:00: no edge,
    // but a call and a start at once.
    began.insert(0, 0.0);
    assert_eq!(b.times(NoticeKind::Start), began);
    let mut ended: Vec<f64> = (0..5).map(|d| f64::from(d) * day + 64_800.0).collect();
    ended.push(6.0 * day + 7200.0);
    ended.insert(0, 7200.0);
    assert_eq!(b.times(NoticeKind::PeriodEnded), ended);
    assert!(
        b.causes(NoticeKind::Stop)
            .iter()
            .all(|c| *c == Some(Cause::Schedule))
    );
}

#[test]
fn outside_the_bands_only_the_guard_calls() {
    let mut z = zone("office");
    z.timetable = office_hours();
    let mut spec = bare(vec![z.clone()]);
    let night_s = 3.0 * 3600.0;
    let mut b = Bench::new(spec.clone());
    b.t_s = night_s;
    b.run_rooms(&[60.0], night_s + 10.0);
    assert!(!b.running() && b.commands.channel_opening == [0.0]);
    assert!(b.setpoints_c()[0].is_nan());

    z.unscheduled = Unscheduled::Guard(Setpoints {
        cooling_c: 32.0,
        heating_c: 12.0,
    });
    spec.zones = vec![z];
    let mut b = Bench::new(spec);
    b.t_s = night_s;
    b.run_rooms(&[32.4], night_s + 10.0);
    assert!(!b.running());
    b.run_rooms(&[32.5], night_s + 20.0);
    assert!(b.running() && b.regimes() == [Regime::Guard]);
    assert_eq!(b.setpoints_c(), [32.0]);
}

#[test]
fn overrides_hold_to_the_next_edge_or_for_their_time() {
    let mut z = zone("office");
    z.timetable = office_hours();
    let mut b = Bench::new(bare(vec![z]));
    b.dt_s = 10.0;
    b.t_s = 8.0 * 3600.0;
    b.rooms(&[22.0]);
    b.act(Action::ZoneSetpoint {
        zone: 0,
        change_k: -2.0,
        hold: Hold::NextEdge,
    })
    .unwrap();
    b.rooms(&[22.0]);
    assert_eq!(b.setpoints_c(), [22.0]);
    // Lowest heating setpoint 16: no more than 4 K down, however often it is pressed.
    b.act(Action::ZoneSetpoint {
        zone: 0,
        change_k: -5.0,
        hold: Hold::NextEdge,
    })
    .unwrap();
    b.rooms(&[22.0]);
    assert_eq!(b.setpoints_c(), [20.0]);
    b.run_rooms(&[22.0], 18.0 * 3600.0 + 20.0);
    assert_eq!(b.regimes(), [Regime::Unscheduled]);
    assert_eq!(b.times(NoticeKind::OverrideEnded), [18.0 * 3600.0]);
    // Switched on at night for an hour, at the setpoints of the next period.
    b.t_s = 20.0 * 3600.0;
    b.act(Action::ZoneOn {
        zone: 0,
        hold: Hold::For(3600.0),
    })
    .unwrap();
    b.run_rooms(&[22.0], 20.5 * 3600.0);
    assert_eq!((b.regimes()[0], b.setpoints_c()[0]), (Regime::ByHand, 24.0));
    b.run_rooms(&[22.0], 21.0 * 3600.0 + 20.0);
    assert_eq!(b.regimes(), [Regime::Unscheduled]);
}

#[test]
fn a_person_switches_zones_and_system_off_but_not_the_minimum_run() {
    let mut spec = bare(vec![zone("a"), zone("b")]);
    spec.sequence.minimum_run_s = 300.0;
    let mut b = Bench::new(spec);
    b.run_rooms(&[30.0, 30.0], 10.0);
    b.act(Action::ZoneOff {
        zone: 1,
        hold: Hold::Released,
    })
    .unwrap();
    b.run_rooms(&[30.0, 30.0], 20.0);
    assert_eq!(b.commands.channel_opening, [1.0, 0.0]);
    b.act(Action::SystemOff).unwrap();
    b.run_rooms(&[30.0, 30.0], 400.0);
    assert_eq!(b.times(NoticeKind::Stop), [300.0]);
    assert_eq!(b.causes(NoticeKind::Stop), [Some(Cause::Person)]);
    assert_eq!(b.causes(NoticeKind::CallEnded), [Some(Cause::Person); 2]);
    b.act(Action::SystemOn).unwrap();
    b.act(Action::ZoneRelease { zone: 1 }).unwrap();
    b.rooms(&[30.0, 30.0]);
    assert_eq!(b.commands.channel_opening, [1.0, 1.0]);
    let e = b
        .act(Action::ZoneOn {
            zone: 2,
            hold: Hold::NextEdge,
        })
        .unwrap_err();
    assert_eq!(e, ActionError::NoZone { zone: 2, last: 1 });
    assert!(
        b.act(Action::ZoneOff {
            zone: 0,
            hold: Hold::For(f64::NAN)
        })
        .is_err()
    );
}

#[test]
fn a_lost_sensor_ends_the_call_and_takes_the_fallback() {
    let mut a = zone("a");
    a.lost_sensor = LostSensor::FixedOpening(0.3);
    let mut b = Bench::new(bare(vec![a, zone("b")]));
    b.run_rooms(&[30.0, 30.0], 10.0);
    b.run_rooms(&[f64::NAN, f64::NAN], 20.0);
    assert_eq!(b.commands.channel_opening, [0.3, 0.0]);
    assert!(!b.running());
    assert_eq!(b.causes(NoticeKind::Stop), [Some(Cause::SensorLost)]);
    b.rooms(&[30.0, 22.0]);
    assert_eq!(b.times(NoticeKind::SensorBack).len(), 2);
    assert!(b.running());
}

// ---- Mode -----------------------------------------------------------------------------------

fn two_modes(rule: ModeRule) -> ControllerSpec {
    let mut spec = bare(vec![zone("big"), zone("small")]);
    spec.zones[0].weight = 3.0;
    spec.mode = ModeSpec {
        rule,
        initial: Mode::Cooling,
        qualify_s: 600.0,
        hold_s: 600.0,
        change_off_s: 300.0,
        max_wait_s: 1800.0,
    };
    spec.sequence.minimum_run_s = 180.0;
    spec.sequence.minimum_off_s = 180.0;
    spec
}

#[test]
fn a_waiting_zone_gets_its_turn_after_the_longest_wait() {
    let mut b = Bench::new(two_modes(ModeRule::WeightedVote { margin_k: 0.2 }));
    b.run_rooms(&[30.0, 15.0], 1000.0);
    assert_eq!(b.waiting(), [false, true]);
    assert_eq!(b.commands.channel_opening, [1.0, 0.0]);
    b.run_rooms(&[30.0, 15.0], 2200.0);
    assert_eq!(b.times(NoticeKind::Stop), [1800.0]);
    assert_eq!(b.causes(NoticeKind::Stop), [Some(Cause::ModeChange)]);
    assert_eq!(b.causes(NoticeKind::ModeChange), [Some(Cause::WaitLimit)]);
    // The off-time between cooling and heating, 300 s, then the waiting zone alone.
    assert_eq!(b.times(NoticeKind::Start), [0.0, 2100.0]);
    assert_eq!(b.commands.unit.mode, Some(Mode::Heating));
    assert_eq!(b.commands.channel_opening, [0.0, 1.0]);
    // And in turn: the big zone has waited since the change of mode at 1801 s.
    b.run_rooms(&[30.0, 15.0], 4500.0);
    assert_eq!(b.times(NoticeKind::Stop), [1800.0, 3601.0]);
    assert_eq!(b.commands.unit.mode, Some(Mode::Cooling));
}

#[test]
fn lead_zone_decides_and_a_fixed_mode_leaves_nobody_waiting() {
    let mut b = Bench::new(two_modes(ModeRule::LeadZone { zone: 1 }));
    b.run_rooms(&[30.0, 15.0], 1000.0);
    assert_eq!(b.causes(NoticeKind::ModeChange), [Some(Cause::LeadZone)]);
    assert_eq!(b.times(NoticeKind::Stop), [600.0]);
    assert_eq!(b.commands.unit.mode, Some(Mode::Heating));

    let mut b = Bench::new(two_modes(ModeRule::Fixed(Mode::Cooling)));
    b.run_rooms(&[30.0, 15.0], 4000.0);
    assert_eq!(b.waiting(), [false, false]);
    assert!(b.times(NoticeKind::ModeChange).is_empty());
    b.act(Action::Mode(Some(Mode::Heating))).unwrap();
    b.run_rooms(&[30.0, 15.0], 4400.0);
    assert_eq!(b.commands.unit.mode, Some(Mode::Heating));
}

// ---- Protections ----------------------------------------------------------------------------

/// Steps to `until_s` with a calling zone and the given supply temperature and static pressure.
fn with_supply(b: &mut Bench, supply_c: f64, static_pa: f64, until_s: f64) {
    while b.t_s < until_s {
        b.step(&Readings {
            zone_c: &[30.0],
            supply_c,
            static_pa,
            ..Readings::default()
        });
    }
}

#[test]
fn low_supply_qualifies_is_blind_at_first_resets_and_locks_out() {
    let mut spec = bare(vec![zone("a")]);
    spec.protections = vec![Protection::low_supply()];
    spec.sequence.minimum_off_s = 180.0;
    spec.sequence.minimum_run_s = 600.0;
    spec.sequence.post_run_s = 30.0;
    let mut b = Bench::new(spec);
    // Cold from the start: blind for 120 s, then 60 s to qualify. It breaks the minimum run.
    with_supply(&mut b, 4.0, 0.0, 400.0);
    assert_eq!(b.times(NoticeKind::Trip), [180.0]);
    assert_eq!(b.causes(NoticeKind::Stop), [Some(Cause::Protection)]);
    // The fan runs on past the post-run, until the air has come back.
    assert_eq!(
        (b.commands.phase, b.commands.fan_fraction),
        (Phase::PostRun, 0.5)
    );
    // Warm enough, but the reset time of 300 s has not passed; then a restart.
    with_supply(&mut b, 13.0, 0.0, 600.0);
    assert_eq!(b.times(NoticeKind::Reset), [480.0]);
    assert_eq!(b.times(NoticeKind::Start), [0.0, 480.0]);
    // Cold for 59 s after the blind time, then warm: no trip; the qualifying time starts afresh.
    with_supply(&mut b, 4.0, 0.0, 660.0);
    with_supply(&mut b, 14.0, 0.0, 661.0);
    with_supply(&mut b, 4.0, 0.0, 720.0);
    assert_eq!(b.times(NoticeKind::Trip), [180.0]);
    with_supply(&mut b, 4.0, 0.0, 800.0);
    assert_eq!(b.times(NoticeKind::Trip), [180.0, 721.0]);
    // The third trip within the hour locks out, for good.
    with_supply(&mut b, 14.0, 0.0, 1030.0);
    with_supply(&mut b, 4.0, 0.0, 1500.0);
    assert_eq!(b.times(NoticeKind::Trip), [180.0, 721.0, 1021.0 + 180.0]);
    assert_eq!(b.times(NoticeKind::LockOut), [1201.0]);
    with_supply(&mut b, 14.0, 0.0, 20_000.0);
    assert!(!b.running() && b.commands.phase == Phase::Idle);
    b.act(Action::ClearLockOut).unwrap();
    with_supply(&mut b, 14.0, 0.0, 20_010.0);
    assert!(b.running());
    assert_eq!(b.times(NoticeKind::LockOutCleared), [20_000.0]);
}

#[test]
fn three_trips_in_more_than_an_hour_do_not_lock_out() {
    let mut spec = bare(vec![zone("a")]);
    spec.protections = vec![Protection::low_supply()];
    let mut b = Bench::new(spec);
    for k in 0..6 {
        let t = f64::from(k) * 2000.0;
        with_supply(&mut b, 14.0, 0.0, t + 1500.0);
        with_supply(&mut b, 4.0, 0.0, t + 1600.0);
        with_supply(&mut b, 14.0, 0.0, t + 2000.0);
    }
    assert_eq!(b.times(NoticeKind::Trip).len(), 6);
    assert!(b.times(NoticeKind::LockOut).is_empty());
}

#[test]
fn variable_speed_steps_down_before_it_stops() {
    let mut spec = bare(vec![zone("a")]);
    spec.protections = vec![Protection::low_supply()];
    spec.staging.stages = Stages::VariableSpeed {
        minimum: 0.25,
        maximum: 1.0,
        ramp_per_s: 0.01,
    };
    let mut b = Bench::new(spec);
    with_supply(&mut b, 12.5, 0.0, 1000.0);
    assert!(
        (b.commands.unit.speed - 1.0).abs() < 0.021,
        "one zone of all, so full speed"
    );
    with_supply(&mut b, 4.0, 0.0, 1061.0);
    assert_eq!(b.times(NoticeKind::SteppedDown), [1060.0]);
    assert!((b.commands.unit.speed - 0.75).abs() < 0.021);
    assert!(b.commands.unit.limited);
    with_supply(&mut b, 4.0, 0.0, 2000.0);
    // Two more steps to the minimum, then off: every one after its own 60 s.
    assert_eq!(b.times(NoticeKind::SteppedDown).len(), 3);
    let trip = b.times(NoticeKind::Trip);
    assert_eq!(trip, [1060.0 + 61.0 * 3.0]);
}

#[test]
fn high_static_ladder() {
    let mut spec = bare(vec![zone("a")]);
    spec.channels.push(ChannelOwner::Relief);
    spec.relief = Some(ReliefPi {
        setpoint_pa: 400.0,
        gain_per_pa: 0.002,
        integral_s: 60.0,
        filter_s: 3.0,
        dead_band_pa: 4.0,
        travel_s: 90.0,
    });
    let mut stop = Protection::high_static(ProtectionAction::Off);
    stop.trip = 250.0;
    stop.qualify_s = 30.0;
    spec.protections = vec![
        Protection::high_static(ProtectionAction::OpenRelief),
        Protection::high_static(ProtectionAction::SlowFan { factor: 0.6 }),
        stop,
    ];
    spec.sequence.post_run_s = 60.0;
    let mut b = Bench::new(spec);
    with_supply(&mut b, 14.0, 210.0, 22.0);
    assert_eq!(b.commands.channel_opening, [1.0, 1.0]);
    assert_eq!(b.commands.relief_opening, 1.0);
    assert!((b.commands.fan_fraction - 0.6).abs() < 1e-12 && b.running());
    with_supply(&mut b, 14.0, 260.0, 60.0);
    assert!(!b.running());
    assert_eq!(
        (b.commands.phase, b.commands.fan_fraction),
        (Phase::Idle, 0.0),
        "no post-run"
    );
    assert_eq!(b.commands.relief_opening, 0.0);
}

// ---- Promises -------------------------------------------------------------------------------

#[test]
fn wrong_specifications_are_refused_with_a_name() {
    let bad = |change: &dyn Fn(&mut ControllerSpec)| {
        let mut spec = bare(vec![zone("hall"), zone("study")]);
        change(&mut spec);
        Controller::new(spec).unwrap_err()
    };
    let e = bad(&|s| s.channels = vec![ChannelOwner::Zone(0)]);
    assert_eq!(
        e,
        ControlError::ZoneWithoutChannel {
            zone: "study".to_owned()
        }
    );
    let e = bad(&|s| s.channels.push(ChannelOwner::Zone(2)));
    assert_eq!(
        e,
        ControlError::ChannelZone {
            channel: 2,
            zone: 2,
            zones: 2
        }
    );
    let e = bad(&|s| s.channels.push(ChannelOwner::Relief));
    assert_eq!(e, ControlError::ReliefWithoutLaw { channel: 2 });
    let e = bad(&|s| s.mode.rule = ModeRule::LeadZone { zone: 9 });
    assert_eq!(e, ControlError::LeadZone { zone: 9, zones: 2 });
    let close = Setpoints {
        cooling_c: 22.0,
        heating_c: 21.5,
    };
    let e = bad(&|s| s.zones[1].timetable = Timetable::always(close));
    assert!(
        matches!(&e, ControlError::SetpointGap { zone, .. } if zone == "study"),
        "{e}"
    );
    let e = bad(&|s| s.sequence.minimum_off_s = f64::NAN);
    assert!(e.to_string().contains("minimum off-time"), "{e}");
    let e = bad(&|s| s.zones.iter_mut().for_each(|z| z.weight = 0.0));
    assert!(e.to_string().contains("weights"), "{e}");
    assert_eq!(bad(&|s| s.zones.clear()), ControlError::NoZones);
}

#[derive(Debug, Clone)]
enum Event {
    Rooms(Vec<f64>),
    Supply(f64),
    Static(f64),
    Act(Action),
}

fn event() -> impl Strategy<Value = Event> {
    let temperature = prop_oneof![4 => 10.0..35.0_f64, 1 => Just(f64::NAN)];
    let hold = prop_oneof![
        Just(Hold::NextEdge),
        (0.0..5000.0_f64).prop_map(Hold::For),
        Just(Hold::Released)
    ];
    let action =
        (0..3_usize, hold, -6.0..6.0_f64, 0..9_u8).prop_map(|(zone, hold, k, which)| match which {
            0 => Action::ZoneOn { zone, hold },
            1 => Action::ZoneOff { zone, hold },
            2 => Action::ZoneSetpoint {
                zone,
                change_k: k,
                hold,
            },
            3 => Action::ZoneRelease { zone },
            4 => Action::SystemOff,
            5 | 6 => Action::SystemOn,
            7 => Action::ClearLockOut,
            _ => Action::Mode([None, Some(Mode::Cooling), Some(Mode::Heating)][zone]),
        });
    prop_oneof![
        8 => prop::collection::vec(temperature, 3).prop_map(Event::Rooms),
        2 => prop_oneof![Just(f64::NAN), -5.0..70.0_f64].prop_map(Event::Supply),
        1 => prop_oneof![Just(f64::NAN), 0.0..400.0_f64].prop_map(Event::Static),
        2 => action.prop_map(Event::Act),
    ]
}

fn busy(rule: ModeRule, stages: Stages, opening: Opening) -> ControllerSpec {
    let mut spec = two_modes(rule);
    let mut third = zone("third");
    third.timetable = office_hours();
    third.unscheduled = Unscheduled::Setback(Setpoints {
        cooling_c: 28.0,
        heating_c: 16.0,
    });
    third.damper = Damper::Modulating(Modulating {
        proportional_band_k: 1.5,
        minimum_open: 0.1,
        integral_s: 600.0,
        dead_band: 0.05,
        update_s: 60.0,
    });
    third.optimum_start = Some(OptimumStart {
        law: LeadLaw::Slope {
            cooling_k_per_h: 2.0,
            heating_k_per_h: 3.0,
            learning: 0.3,
        },
        cap_s: 7200.0,
    });
    spec.zones.push(third);
    spec.zones[1].opening_when_satisfied = 0.2;
    // Two outlets for the big room, and a relief.
    spec.channels = vec![
        ChannelOwner::Zone(0),
        ChannelOwner::Relief,
        ChannelOwner::Zone(2),
        ChannelOwner::Zone(0),
        ChannelOwner::Zone(1),
    ];
    spec.relief = Some(ReliefPi {
        setpoint_pa: 80.0,
        gain_per_pa: 0.002,
        integral_s: 60.0,
        filter_s: 3.0,
        dead_band_pa: 4.0,
        travel_s: 90.0,
    });
    spec.staging.stages = stages;
    spec.sequence.opening = opening;
    spec.sequence.post_run_s = 60.0;
    spec.protections = vec![
        Protection::low_supply(),
        Protection::high_supply(),
        Protection::high_static(ProtectionAction::OpenRelief),
        Protection::high_static(ProtectionAction::OpenZones { opening: 0.4 }),
        Protection {
            trip: 300.0,
            ..Protection::high_static(ProtectionAction::Off)
        },
    ];
    spec
}

/// What must hold after every step, whatever happens.
fn check_step(b: &Bench) -> Result<(), TestCaseError> {
    let c = &b.commands;
    for &u in c
        .channel_opening
        .iter()
        .chain([&c.relief_opening, &c.fan_fraction])
    {
        prop_assert!((0.0..=1.0).contains(&u), "{u}");
    }
    prop_assert_eq!(
        c.channel_opening[0],
        c.channel_opening[3],
        "one zone, one command"
    );
    prop_assert_eq!(c.channel_opening[1], c.relief_opening);
    let stages = &b.controller.spec().staging.stages;
    match c.unit.mode {
        Some(mode) => {
            prop_assert_eq!(mode, c.mode);
            prop_assert!(c.unit.speed >= stages.minimum() && c.unit.speed <= stages.maximum());
            prop_assert!(c.fan_fraction > 0.0, "no compressor without fan");
            let open = [0, 2, 4].into_iter().any(|ch| c.channel_opening[ch] >= 0.1);
            prop_assert!(open, "no compressor against closed dampers");
        }
        None => prop_assert_eq!(c.unit.speed, 0.0),
    }
    prop_assert_eq!(b.state.zones.len(), 3);
    for (zone, waiting) in b.state.zones.iter().zip(b.waiting()) {
        prop_assert!(!(zone.calling && waiting));
    }
    Ok(())
}

/// No run shorter than its minimum unless a protection stopped it; no off-time shorter than its
/// minimum; between modes the longer off-time.
fn check_runs(b: &Bench, runs: &[(f64, bool, Mode)]) -> Result<(), TestCaseError> {
    let s = &b.controller.spec().sequence;
    for pair in runs.windows(2) {
        let (from_s, on, mode) = pair[0];
        let lasted_s = pair[1].0 - from_s;
        if on {
            let tripped = b.notices.iter().any(|n| {
                n.t_s == pair[1].0
                    && n.kind == NoticeKind::Stop
                    && n.cause == Some(Cause::Protection)
            });
            prop_assert!(
                lasted_s >= s.minimum_run_s - 1e-6 || tripped,
                "ran {lasted_s} s"
            );
        } else {
            let least = if mode == pair[1].2 {
                s.minimum_off_s
            } else {
                s.minimum_off_s.max(b.controller.spec().mode.change_off_s)
            };
            prop_assert!(lasted_s >= least - 1e-6, "off {lasted_s} s at {from_s}");
        }
    }
    let count = |kind| b.notices.iter().filter(|n| n.kind == kind).count();
    let starts = runs.iter().filter(|r| r.1).count();
    prop_assert_eq!(starts, count(NoticeKind::Start));
    prop_assert_eq!(runs.len() - starts, count(NoticeKind::Stop));
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, ..ProptestConfig::default() })]

    #[test]
    fn nothing_random_breaks_a_promise(
        events in prop::collection::vec((event(), 1..600_u32), 1..40),
        rule in prop_oneof![
            Just(ModeRule::Fixed(Mode::Heating)),
            Just(ModeRule::FirstCall),
            Just(ModeRule::LeadZone { zone: 2 }),
            Just(ModeRule::HeadCount),
            Just(ModeRule::WeightedVote { margin_k: 0.2 }),
        ],
        stages in prop_oneof![
            Just(Stages::FixedSpeed),
            Just(Stages::TwoStage { low: 0.6 }),
            Just(Stages::VariableSpeed { minimum: 0.25, maximum: 1.2, ramp_per_s: 0.01 }),
        ],
        opening in prop_oneof![
            Just(Opening::Wait { wait_s: 45.0 }),
            Just(Opening::Feedback { ready_open: 0.5, wait_s: 60.0 }),
        ],
        dt_s in prop_oneof![Just(1.0), Just(5.0), Just(0.7)],
    ) {
        let mut b = Bench::new(busy(rule, stages, opening));
        b.dt_s = dt_s;
        b.t_s = 6.0 * 3600.0;
        let motor = Actuator { travel_s: 90.0, dead_band: 0.02 };
        let mut motors = [ActuatorState::at(0.0); 5];
        let (mut rooms, mut supply_c, mut static_pa) = (vec![22.0; 3], 14.0, 60.0);
        // Instant, on or off from then, mode of the run that begins or has ended.
        let mut runs: Vec<(f64, bool, Mode)> = Vec::new();
        for (event, steps) in events {
            match event {
                Event::Rooms(r) => rooms = r,
                Event::Supply(c) => supply_c = c,
                Event::Static(pa) => static_pa = pa,
                Event::Act(a) => b.act(a).expect("every zone has a period"),
            }
            for _ in 0..steps {
                let positions = motors.map(|m| m.position);
                let before = b.commands.unit.mode;
                let t_s = b.t_s;
                b.step(&Readings {
                    zone_c: &rooms,
                    damper_position: &positions,
                    supply_c,
                    static_pa,
                    ..Readings::default()
                });
                check_step(&b)?;
                match (before, b.commands.unit.mode) {
                    (None, Some(mode)) => {
                        runs.push((t_s, true, mode));
                        let open = [0, 2, 3, 4].map(|ch| positions[ch]).into_iter().fold(0.0, f64::max);
                        prop_assert!(open > 0.09, "started with dampers at {positions:?}");
                    }
                    (Some(mode), None) => runs.push((t_s, false, mode)),
                    (Some(a), Some(b)) => prop_assert_eq!(a, b),
                    (None, None) => {}
                }
                for (s, &target) in motors.iter_mut().zip(&b.commands.channel_opening) {
                    motor.step(target, dt_s, s);
                }
            }
        }
        check_runs(&b, &runs)?;
        for n in &b.notices {
            prop_assert!(b.controller.describe(n).ends_with('.'));
        }
    }
}

/// Protections as the key catalogue sets them by default (common practice, no source).
impl Protection {
    /// Low supply air while cooling: qualifies in 60 s, blind for the first 120 s (common practice).
    fn low_supply() -> Self {
        Self {
            name: "low supply air".to_owned(),
            sense: Sense::SupplyLow,
            trip: 5.0,
            qualify_s: 60.0,
            blind_s: 120.0,
            action: ProtectionAction::StepDownThenOff,
            reset: 12.0,
            reset_s: 300.0,
            lockout_count: 3,
            lockout_window_s: 3600.0,
        }
    }

    /// High supply air while heating: qualifies in 45 s, 240 s to reset (common practice).
    fn high_supply() -> Self {
        Self {
            name: "high supply air".to_owned(),
            sense: Sense::SupplyHigh,
            trip: 55.0,
            qualify_s: 45.0,
            blind_s: 0.0,
            action: ProtectionAction::StepDownThenOff,
            reset: 45.0,
            reset_s: 240.0,
            lockout_count: 3,
            lockout_window_s: 3600.0,
        }
    }

    /// High static pressure: `action` after 20 s above 200 Pa, reset 50 Pa lower after 60 s (common
    /// practice). Several with different actions make a ladder: open the relief, slow the fan, open
    /// zones, stop.
    fn high_static(action: ProtectionAction) -> Self {
        Self {
            name: "high static pressure".to_owned(),
            sense: Sense::StaticHigh,
            trip: 200.0,
            qualify_s: 20.0,
            blind_s: 0.0,
            action,
            reset: 200.0 - 50.0,
            reset_s: 60.0,
            lockout_count: 0,
            lockout_window_s: 3600.0,
        }
    }
}
