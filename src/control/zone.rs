//! One zone: which setpoints are in force, and whether it calls.

use super::action::Until;
use super::clock::Clock;
use super::damper::{Damper, DamperState};
use super::mode::Mode;
use super::notice::{Cause, Notice, NoticeKind};
use super::optimum_start::{LeadState, OptimumStart};
pub use super::regime::Regime;
use super::thermostat::Differential;
use super::timetable::{Setpoints, Timetable};

/// What a zone does outside its schedule.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Unscheduled {
    /// Never calls; dampers shut.
    Shut,
    /// Calls only to guard against frost and overheating; 12 and 32 °C are common practice.
    Guard(Setpoints),
    /// Keeps calling at these wider setpoints.
    Setback(Setpoints),
}

/// What a zone does when its sensor is lost.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum LostSensor {
    /// It is out of control: no call, dampers shut.
    NoCall,
    /// It does not call; its dampers stand at this opening (0 to 1) within its periods.
    FixedOpening(f64),
}

/// One zone.
#[derive(Debug, Clone, PartialEq)]
pub struct ZoneSpec {
    /// Its name in notices and errors.
    pub name: String,
    /// Its weight in votes and staging: design airflow or share of load, in any unit; only the
    /// ratios between zones count.
    pub weight: f64,
    /// Its week.
    pub timetable: Timetable,
    /// Outside its periods.
    pub unscheduled: Unscheduled,
    /// Whether and how it starts ahead of a period.
    pub optimum_start: Option<OptimumStart>,
    /// Hysteresis of its thermostat.
    pub differential: Differential,
    /// Law of its dampers.
    pub damper: Damper,
    /// Opening of its dampers within a period while it does not call, 0 to 1. Above zero is a minimum
    /// opening instead of a relief.
    pub opening_when_satisfied: f64,
    /// When its sensor is lost.
    pub lost_sensor: LostSensor,
    /// Lowest heating setpoint a person may reach, °C.
    pub lowest_c: f64,
    /// Highest cooling setpoint a person may reach, °C.
    pub highest_c: f64,
    /// Whether it is switched on at the start of a run.
    pub enabled: bool,
}

/// What the control of a zone remembers.
#[derive(Debug, Clone, PartialEq)]
pub struct ZoneState {
    /// Where its setpoints come from.
    pub regime: Regime,
    /// Its setpoints, overrides included.
    pub setpoints: Option<Setpoints>,
    /// What it wants, whatever the unit's mode.
    pub wants: Option<Mode>,
    /// Whether it calls: wants the unit's mode.
    pub calling: bool,
    /// Since when it calls, s.
    pub calling_since_s: f64,
    /// Since when it waits for the other mode, s; NaN when it does not.
    pub waiting_since_s: f64,
    /// Its last reading, °C; NaN when lost.
    pub reading_c: f64,
    /// Opening its dampers are commanded to, 0 to 1.
    pub opening: f64,
    /// Why its last call ended.
    pub(super) ended_by: Cause,
    /// Its dampers are commanded open by call, hold or post-run.
    pub(super) open: bool,
    pub(super) open_since_s: f64,
    /// It was the last to call in this run.
    pub(super) held: bool,
    pub(super) damper: DamperState,
    pub(super) shift: Option<(f64, Until)>,
    pub(super) switched: Option<(bool, Until)>,
    /// A person changed something since the last step.
    pub(super) touched: bool,
    pub(super) lead: Option<LeadState>,
    pub(super) ahead_of: Option<usize>,
    pub(super) recovering: Option<bool>,
    pub(super) period: Option<usize>,
    pub(super) minute: Option<u16>,
    pub(super) system_on: bool,
    sensor_ok: bool,
}

impl ZoneSpec {
    /// The state at the start of a run.
    pub(super) fn initial_state(&self) -> ZoneState {
        ZoneState {
            regime: Regime::Unscheduled,
            setpoints: None,
            wants: None,
            calling: false,
            calling_since_s: f64::NAN,
            waiting_since_s: f64::NAN,
            reading_c: f64::NAN,
            opening: 0.0,
            ended_by: Cause::Satisfied,
            open: false,
            open_since_s: f64::NAN,
            held: false,
            damper: DamperState::default(),
            shift: None,
            switched: None,
            touched: false,
            lead: self.optimum_start.map(|o| o.initial_state()),
            ahead_of: None,
            recovering: None,
            period: None,
            minute: None,
            system_on: true,
            sensor_ok: true,
        }
    }

    /// Brings setpoints and wish up to date. Returns `false` when nothing can have changed.
    #[inline]
    pub(super) fn step(
        &self,
        index: usize,
        clock: &Clock,
        reading_c: f64,
        system_on: bool,
        s: &mut ZoneState,
        notices: &mut Vec<Notice>,
    ) -> bool {
        let settled = s.settled(clock, reading_c, system_on);
        if !settled {
            self.decide(index, clock, reading_c, system_on, s, notices);
        }
        !settled
    }

    #[inline(never)]
    fn decide(
        &self,
        index: usize,
        clock: &Clock,
        reading_c: f64,
        system_on: bool,
        s: &mut ZoneState,
        notices: &mut Vec<Notice>,
    ) {
        s.reading_c = if reading_c.is_finite() {
            reading_c
        } else {
            f64::NAN
        };
        self.note_sensor(index, clock.t_s, s, notices);
        let by_person = s.touched || s.system_on != system_on;
        let ran_out = s.shift.is_some_and(|(_, u)| u.over(clock.t_s, false))
            || s.switched.is_some_and(|(_, u)| u.over(clock.t_s, false));
        let mut changed_by = None;
        if by_person || ran_out || s.minute != Some(clock.minute_of_week) {
            let before = s.setpoints;
            s.system_on = system_on;
            s.touched = false;
            self.resolve(index, clock, s, notices);
            if s.setpoints != before {
                changed_by = Some(if by_person || ran_out {
                    Cause::Person
                } else {
                    Cause::Schedule
                });
            }
        }
        self.watch_recovery(clock.t_s, s);
        self.wish(changed_by, s);
    }

    fn note_sensor(&self, index: usize, t_s: f64, s: &mut ZoneState, notices: &mut Vec<Notice>) {
        let ok = !s.reading_c.is_nan();
        if ok != s.sensor_ok {
            s.sensor_ok = ok;
            let kind = if ok {
                NoticeKind::SensorBack
            } else {
                NoticeKind::SensorLost
            };
            notices.push(Notice::new(t_s, kind).zone(index));
        }
    }

    fn wish(&self, changed_by: Option<Cause>, s: &mut ZoneState) {
        let before = s.wants;
        let calls = |mode, set| {
            let error_k = error_k(mode, s.reading_c, set);
            self.differential.calls(error_k, before == Some(mode))
        };
        s.wants = match s.setpoints {
            Some(set) if calls(Mode::Cooling, set) => Some(Mode::Cooling),
            Some(set) if calls(Mode::Heating, set) => Some(Mode::Heating),
            _ => None,
        };
        if before.is_some() && s.wants != before {
            s.ended_by = if s.sensor_ok {
                changed_by.unwrap_or(Cause::Satisfied)
            } else {
                Cause::SensorLost
            };
        }
    }

    /// The least opening of its dampers while it calls.
    pub(super) fn least_calling_open(&self) -> f64 {
        match self.damper {
            Damper::TwoPosition => 1.0,
            Damper::Modulating(m) => m.minimum_open,
            Damper::Fixed { opening } => opening,
        }
    }

    /// Target opening of its dampers. `free`: the unit runs and no protection acts.
    #[inline]
    pub(super) fn opening(&self, mode: Mode, t_s: f64, free: bool, s: &mut ZoneState) -> f64 {
        if let Damper::Fixed { opening } = self.damper {
            return opening;
        }
        if !s.sensor_ok
            && s.regime.in_use()
            && let LostSensor::FixedOpening(opening) = self.lost_sensor
        {
            return opening;
        }
        if s.open {
            return match &self.damper {
                Damper::Modulating(m) => {
                    let error_k = s
                        .setpoints
                        .map_or(0.0, |set| error_k(mode, s.reading_c, set));
                    m.step(error_k, t_s, free && s.calling, &mut s.damper)
                }
                _ => 1.0,
            };
        }
        if s.regime.in_use() && s.waiting_since_s.is_nan() && s.sensor_ok {
            self.opening_when_satisfied
        } else {
            0.0
        }
    }

    /// No opening changes of itself before this, s: a hint, and a little early.
    pub(super) fn opening_due_s(&self, s: &ZoneState) -> f64 {
        match &self.damper {
            Damper::Modulating(m) if s.open => m.due_s(&s.damper) - 1e-3,
            _ => f64::INFINITY,
        }
    }

    /// Opens or closes the zone for the sequence.
    pub(super) fn set_open(&self, open: bool, mode: Mode, t_s: f64, s: &mut ZoneState) {
        if open && !s.open {
            s.open_since_s = t_s;
            if let (Damper::Modulating(m), Some(set)) = (&self.damper, s.setpoints) {
                m.begin(error_k(mode, s.reading_c, set), t_s, &mut s.damper);
            }
        }
        s.open = open;
    }
}

impl ZoneState {
    /// Rates learned by the optimum start, if the zone has one.
    pub fn lead(&self) -> Option<&LeadState> {
        self.lead.as_ref()
    }

    /// Whether the zone's sensor reads.
    pub fn sensor_ok(&self) -> bool {
        self.sensor_ok
    }

    /// Whether a step would only decide again what the last one did: the same minute, the same
    /// reading, and nothing of a person's that has come or may run out.
    #[inline]
    fn settled(&self, clock: &Clock, reading_c: f64, system_on: bool) -> bool {
        reading_c.to_bits() == self.reading_c.to_bits()
            && self.minute == Some(clock.minute_of_week)
            && self.system_on == system_on
            && !self.touched
            && self.shift.is_none()
            && self.switched.is_none()
    }

    /// When a person's override runs out, s.
    pub(super) fn override_ends_s(&self) -> f64 {
        let shift_s = self.shift.map_or(f64::INFINITY, |(_, u)| u.ends_s());
        let switch_s = self.switched.map_or(f64::INFINITY, |(_, u)| u.ends_s());
        shift_s.min(switch_s)
    }
}

/// Need of a zone, K: positive when it is too warm (cooling) or too cold (heating).
pub(crate) fn error_k(mode: Mode, reading_c: f64, set: Setpoints) -> f64 {
    match mode {
        Mode::Cooling => reading_c - set.cooling_c,
        Mode::Heating => set.heating_c - reading_c,
    }
}
