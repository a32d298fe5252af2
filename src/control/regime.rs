//! Which setpoints are in force for a zone: timetable, overrides, guard, setback, optimum start.

use super::clock::Clock;
use super::mode::Mode;
use super::notice::{Cause, Notice, NoticeKind};
use super::timetable::Setpoints;
use super::zone::{Unscheduled, ZoneSpec, ZoneState, error_k};

/// Where a zone's setpoints come from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Regime {
    /// Switched off.
    Off,
    /// Outside every period, nothing in force.
    Unscheduled,
    /// Outside every period, guarded.
    Guard,
    /// Outside every period, set back.
    Setback,
    /// Ahead of the next period.
    OptimumStart,
    /// In a period.
    Scheduled,
    /// Outside every period, switched on by a person.
    ByHand,
}

impl Regime {
    /// Stable name, for files.
    pub fn name(self) -> &'static str {
        match self {
            Self::Off => "off",
            Self::Unscheduled => "unscheduled",
            Self::Guard => "guard",
            Self::Setback => "setback",
            Self::OptimumStart => "optimum-start",
            Self::Scheduled => "scheduled",
            Self::ByHand => "by-hand",
        }
    }

    /// Whether people are meant to be comfortable.
    pub fn in_use(self) -> bool {
        matches!(self, Self::Scheduled | Self::ByHand)
    }
}

impl ZoneSpec {
    /// Works out which setpoints are in force.
    pub(super) fn resolve(
        &self,
        index: usize,
        clock: &Clock,
        s: &mut ZoneState,
        notices: &mut Vec<Notice>,
    ) {
        let period = self.timetable.period_at(clock.minute_of_week);
        let edge = s.minute.is_some() && period != s.period;
        if edge {
            let notice = |kind| {
                Notice::new(clock.t_s, kind)
                    .zone(index)
                    .cause(Cause::Schedule)
            };
            if s.period.is_some() {
                notices.push(notice(NoticeKind::PeriodEnded));
            }
            if period.is_some() {
                notices.push(notice(NoticeKind::PeriodBegan));
            }
        }
        s.minute = Some(clock.minute_of_week);
        s.period = period;
        self.drop_overrides(index, clock.t_s, edge, s, notices);

        let on = s.system_on && s.switched.map_or(self.enabled, |(on, _)| on);
        let by_hand = s.switched.is_some_and(|(on, _)| on);
        if !on || by_hand {
            self.drop_recovery(s);
        }
        let shift_k = s.shift.map_or(0.0, |(k, _)| k);
        let of_period = |i: usize| self.timetable.periods().get(i).map(|b| b.setpoints);
        let shifted = |i: usize| of_period(i).map(|set| self.bounded(set, shift_k));
        let next = || {
            self.timetable
                .next_start(clock.minute_of_week)
                .map(|(_, i)| i)
        };
        (s.regime, s.setpoints) = match period {
            _ if !on => (Regime::Off, None),
            Some(i) => {
                self.end_recovery(clock.t_s, s);
                (Regime::Scheduled, shifted(i))
            }
            None if by_hand => (Regime::ByHand, next().and_then(shifted)),
            None => match self.ahead_of(index, clock, s, notices) {
                Some(i) => (Regime::OptimumStart, of_period(i)),
                None => match self.unscheduled {
                    Unscheduled::Shut => (Regime::Unscheduled, None),
                    Unscheduled::Guard(set) => (Regime::Guard, Some(set)),
                    Unscheduled::Setback(set) => (Regime::Setback, Some(set)),
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

    /// The period the zone is running ahead of, if any. Judged once a minute.
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
        let (minutes, period) = self.timetable.next_start(clock.minute_of_week)?;
        let left_s = f64::from(minutes) * 60.0 - clock.second_of_minute();
        // A minute of slack: the next look is a minute away, and late is worse than early.
        if left_s - 60.0 >= start.cap_s {
            return None;
        }
        let set = self.timetable.periods().get(period)?.setpoints;
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
        s.ahead_of = Some(period);
        notices.push(
            Notice::new(clock.t_s, NoticeKind::OptimumStartBegan)
                .zone(index)
                .value(lead_s),
        );
        s.ahead_of
    }

    /// Ends the recovery when the setpoint is reached.
    pub(super) fn watch_recovery(&self, t_s: f64, s: &mut ZoneState) {
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
}
