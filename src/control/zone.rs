//! One zone: which setpoints are in force, and whether it calls.

use super::action::Until;
use super::clock::Clock;
use super::damper::{Damper, DamperState};
use super::mode::Mode;
use super::notice::{Cause, Notice, NoticeKind};
use super::optimum_start::{LeadState, OptimumStart};
use super::thermostat::Differential;
use super::timetable::{Setpoints, Timetable};

/// What a zone does outside its time bands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum OutOfBand {
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
    /// It does not call; its dampers stand at this opening (0 to 1) within its bands.
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
    /// Outside its bands.
    pub out_of_band: OutOfBand,
    /// Whether and how it starts ahead of a band.
    pub optimum_start: Option<OptimumStart>,
    /// Hysteresis of its thermostat.
    pub differential: Differential,
    /// Law of its dampers.
    pub damper: Damper,
    /// Opening of its dampers within a band while it does not call, 0 to 1. Above zero is a minimum
    /// opening instead of a relief.
    pub idle_open: f64,
    /// When its sensor is lost.
    pub lost_sensor: LostSensor,
    /// Lowest heating setpoint a person may reach, °C.
    pub lowest_c: f64,
    /// Highest cooling setpoint a person may reach, °C.
    pub highest_c: f64,
    /// Whether it is switched on at the start of a run.
    pub enabled: bool,
}

/// Where a zone's setpoints come from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Regime {
    /// Switched off.
    Off,
    /// Outside every band, nothing in force.
    OutOfBand,
    /// Outside every band, guarded.
    Guard,
    /// Outside every band, set back.
    Setback,
    /// Ahead of the next band.
    OptimumStart,
    /// In a band.
    InBand,
    /// Outside every band, switched on by a person.
    ByHand,
}

impl Regime {
    /// Stable name, for files.
    pub fn name(self) -> &'static str {
        match self {
            Self::Off => "off",
            Self::OutOfBand => "out-of-band",
            Self::Guard => "guard",
            Self::Setback => "setback",
            Self::OptimumStart => "optimum-start",
            Self::InBand => "in-band",
            Self::ByHand => "by-hand",
        }
    }

    /// Whether people are meant to be comfortable.
    pub fn in_use(self) -> bool {
        matches!(self, Self::InBand | Self::ByHand)
    }
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
    lead: Option<LeadState>,
    ahead_of: Option<usize>,
    recovering: Option<bool>,
    band: Option<usize>,
    minute: Option<u16>,
    system_on: bool,
    sensor_ok: bool,
}

impl ZoneSpec {
    /// The state at the start of a run.
    pub(super) fn initial_state(&self) -> ZoneState {
        ZoneState {
            regime: Regime::OutOfBand,
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
            band: None,
            minute: None,
            system_on: true,
            sensor_ok: true,
        }
    }

    /// Brings setpoints and wish up to date.
    pub(super) fn step(
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
        self.decide(changed_by, s);
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

    fn decide(&self, changed_by: Option<Cause>, s: &mut ZoneState) {
        let before = s.wants;
        s.wants = s.setpoints.and_then(|set| {
            [Mode::Cooling, Mode::Heating].into_iter().find(|&mode| {
                let error_k = error_k(mode, s.reading_c, set);
                self.differential.calls(error_k, before == Some(mode))
            })
        });
        if before.is_some() && s.wants != before {
            s.ended_by = if s.sensor_ok {
                changed_by.unwrap_or(Cause::Satisfied)
            } else {
                Cause::SensorLost
            };
        }
    }

    /// Works out which setpoints are in force.
    fn resolve(&self, index: usize, clock: &Clock, s: &mut ZoneState, notices: &mut Vec<Notice>) {
        let band = self.timetable.band_at(clock.minute_of_week);
        let edge = s.minute.is_some() && band != s.band;
        if edge {
            let notice = |kind| {
                Notice::new(clock.t_s, kind)
                    .zone(index)
                    .cause(Cause::Schedule)
            };
            if s.band.is_some() {
                notices.push(notice(NoticeKind::BandEnded));
            }
            if band.is_some() {
                notices.push(notice(NoticeKind::BandBegan));
            }
        }
        s.minute = Some(clock.minute_of_week);
        s.band = band;
        self.drop_overrides(index, clock.t_s, edge, s, notices);

        let on = s.system_on && s.switched.map_or(self.enabled, |(on, _)| on);
        let by_hand = s.switched.is_some_and(|(on, _)| on);
        if !on || by_hand {
            self.drop_recovery(s);
        }
        let shift_k = s.shift.map_or(0.0, |(k, _)| k);
        let of_band = |i: usize| self.timetable.bands().get(i).map(|b| b.setpoints);
        let shifted = |i: usize| of_band(i).map(|set| self.bounded(set, shift_k));
        let next = || {
            self.timetable
                .next_start(clock.minute_of_week)
                .map(|(_, i)| i)
        };
        (s.regime, s.setpoints) = match band {
            _ if !on => (Regime::Off, None),
            Some(i) => {
                self.end_recovery(clock.t_s, s);
                (Regime::InBand, shifted(i))
            }
            None if by_hand => (Regime::ByHand, next().and_then(shifted)),
            None => match self.ahead_of(index, clock, s, notices) {
                Some(i) => (Regime::OptimumStart, of_band(i)),
                None => match self.out_of_band {
                    OutOfBand::Shut => (Regime::OutOfBand, None),
                    OutOfBand::Guard(set) => (Regime::Guard, Some(set)),
                    OutOfBand::Setback(set) => (Regime::Setback, Some(set)),
                },
            },
        };
    }

    fn drop_overrides(
        &self,
        index: usize,
        t_s: f64,
        edge: bool,
        s: &mut ZoneState,
        notices: &mut Vec<Notice>,
    ) {
        let shift_over = s.shift.is_some_and(|(_, u)| u.over(t_s, edge));
        let switch_over = s.switched.is_some_and(|(_, u)| u.over(t_s, edge));
        if shift_over {
            s.shift = None;
        }
        if switch_over {
            s.switched = None;
        }
        if shift_over || switch_over {
            notices.push(Notice::new(t_s, NoticeKind::OverrideEnded).zone(index));
        }
    }

    /// Setpoints moved by a person, as far as the bounds allow. A setpoint that lies beyond a bound
    /// already is not moved further out, nor pulled in.
    fn bounded(&self, set: Setpoints, shift_k: f64) -> Setpoints {
        let down = (self.lowest_c - set.heating_c).min(0.0);
        let up = (self.highest_c - set.cooling_c).max(0.0);
        set.shifted(shift_k.max(down).min(up))
    }

    /// The band the zone is running ahead of, if any. Judged once a minute.
    fn ahead_of(
        &self,
        index: usize,
        clock: &Clock,
        s: &mut ZoneState,
        notices: &mut Vec<Notice>,
    ) -> Option<usize> {
        if s.ahead_of.is_some() {
            return s.ahead_of;
        }
        let (start, lead) = (self.optimum_start.as_ref()?, s.lead.as_mut()?);
        let (minutes, band) = self.timetable.next_start(clock.minute_of_week)?;
        let left_s = f64::from(minutes) * 60.0 - clock.second_of_minute;
        // A minute of slack: the next look is a minute away, and late is worse than early.
        if left_s - 60.0 >= start.cap_s {
            return None;
        }
        let set = self.timetable.bands().get(band)?.setpoints;
        let cooling = s.reading_c > set.cooling_c;
        let target_c = if cooling {
            set.cooling_c
        } else {
            set.heating_c
        };
        let lead_s = start.lead_s(cooling, s.reading_c, target_c, lead);
        if lead_s <= 0.0 || lead_s <= left_s - 60.0 {
            return None;
        }
        start.begin(clock.t_s, s.reading_c, cooling, lead);
        s.recovering = Some(cooling);
        s.ahead_of = Some(band);
        notices.push(
            Notice::new(clock.t_s, NoticeKind::OptimumStartBegan)
                .zone(index)
                .value(lead_s),
        );
        s.ahead_of
    }

    /// Ends the recovery when the setpoint is reached.
    fn watch_recovery(&self, t_s: f64, s: &mut ZoneState) {
        let (Some(cooling), Some(set)) = (s.recovering, s.setpoints) else {
            return;
        };
        let mode = if cooling {
            Mode::Cooling
        } else {
            Mode::Heating
        };
        if error_k(mode, s.reading_c, set) <= 0.0
            && let (Some(start), Some(lead)) = (&self.optimum_start, s.lead.as_mut())
        {
            start.finish(t_s, s.reading_c, lead);
            s.recovering = None;
        }
    }

    fn end_recovery(&self, t_s: f64, s: &mut ZoneState) {
        if s.recovering.take().is_some()
            && let (Some(start), Some(lead)) = (&self.optimum_start, s.lead.as_mut())
        {
            start.finish(t_s, s.reading_c, lead);
        }
        s.ahead_of = None;
    }

    fn drop_recovery(&self, s: &mut ZoneState) {
        if let (Some(start), Some(lead)) = (&self.optimum_start, s.lead.as_mut()) {
            start.abandon(lead);
        }
        s.recovering = None;
        s.ahead_of = None;
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
            return match self.damper {
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
            self.idle_open
        } else {
            0.0
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
}

/// Need of a zone, K: positive when it is too warm (cooling) or too cold (heating).
pub fn error_k(mode: Mode, reading_c: f64, set: Setpoints) -> f64 {
    match mode {
        Mode::Cooling => reading_c - set.cooling_c,
        Mode::Heating => set.heating_c - reading_c,
    }
}
