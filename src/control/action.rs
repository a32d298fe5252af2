//! What a person may do while the system runs.

use thiserror::Error;

use super::clock::Clock;
use super::controller::{ControlState, Controller};
use super::mode::Mode;
use super::notice::{Cause, Notice, NoticeKind};
use super::zone::ZoneState;

/// How long an override of a zone holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Hold {
    /// Until the zone's period in force next changes. In a timetable without gaps that is one period
    /// all week, this is until released.
    NextEdge,
    /// For a time, s.
    For(f64),
    /// Until released.
    Released,
}

/// One action of a person.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Action {
    /// Moves both setpoints of a zone up or down by `change_k`. Repeated changes add up. The zone's
    /// bounds limit what comes into force.
    ZoneSetpoint {
        /// The zone.
        zone: usize,
        /// The change, K.
        change_k: f64,
        /// How long it holds.
        hold: Hold,
    },
    /// Switches a zone on. Outside its periods it takes the setpoints of its next one.
    ZoneOn {
        /// The zone.
        zone: usize,
        /// How long it holds.
        hold: Hold,
    },
    /// Switches a zone off: no call of any kind, dampers shut.
    ZoneOff {
        /// The zone.
        zone: usize,
        /// How long it holds.
        hold: Hold,
    },
    /// Gives a zone back to its timetable.
    ZoneRelease {
        /// The zone.
        zone: usize,
    },
    /// Switches the whole system on.
    SystemOn,
    /// Switches the whole system off. A run under way completes its minimum run time.
    SystemOff,
    /// Chooses the mode by hand, or gives the choice back to the rule.
    Mode(Option<Mode>),
    /// Clears every lock-out.
    ClearLockOut,
}

/// Why an action was refused. Nothing has changed then.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
#[non_exhaustive]
pub enum ActionError {
    /// No such zone.
    #[error("there is no zone number {zone}; the last one is {last} (counted from 0)")]
    NoZone {
        /// The zone asked for.
        zone: usize,
        /// The last one there is.
        last: usize,
    },
    /// A number that is not finite, or a negative time.
    #[error("{0} is not a possible value for this action")]
    Value(f64),
    /// Nothing to take setpoints from.
    #[error("zone number {zone} has no schedule, so there is no setpoint to switch it on at")]
    NoBand {
        /// The zone.
        zone: usize,
    },
}

/// When an override ends, as an instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Until {
    Edge,
    Time(f64),
    Released,
}

impl Until {
    pub(super) fn new(hold: Hold, t_s: f64) -> Result<Self, ActionError> {
        match hold {
            Hold::NextEdge => Ok(Self::Edge),
            Hold::For(s) if s.is_finite() && s >= 0.0 => Ok(Self::Time(t_s + s)),
            Hold::For(s) => Err(ActionError::Value(s)),
            Hold::Released => Ok(Self::Released),
        }
    }

    /// When it ends by time, s.
    pub(super) fn ends_s(self) -> f64 {
        match self {
            Self::Time(end_s) => end_s - 1e-6,
            Self::Edge | Self::Released => f64::INFINITY,
        }
    }

    pub(super) fn over(self, t_s: f64, edge: bool) -> bool {
        match self {
            Self::Edge => edge,
            Self::Time(_) | Self::Released => t_s >= self.ends_s(),
        }
    }
}

impl Controller {
    /// Carries out what a person does at `clock`; it takes effect at the next step.
    ///
    /// # Errors
    /// No such zone, an impossible number, or a zone without any setpoint to switch on at.
    pub fn apply(
        &self,
        action: &Action,
        clock: &Clock,
        state: &mut ControlState,
        notices: &mut Vec<Notice>,
    ) -> Result<(), ActionError> {
        let t_s = clock.t_s;
        state.quiet.end();
        let by_person = Notice::new(t_s, NoticeKind::Override).cause(Cause::Person);
        match *action {
            Action::ZoneSetpoint {
                zone,
                change_k,
                hold,
            } => {
                if !change_k.is_finite() {
                    return Err(ActionError::Value(change_k));
                }
                let until = Until::new(hold, t_s)?;
                let z = zone_mut(state, zone)?;
                let shift_k = z.shift.map_or(0.0, |(k, _)| k) + change_k;
                z.shift = Some((shift_k, until));
                z.touched = true;
                notices.push(by_person.zone(zone).value(shift_k));
            }
            Action::ZoneOn { zone, hold } => self.switch(zone, true, hold, t_s, state, notices)?,
            Action::ZoneOff { zone, hold } => {
                self.switch(zone, false, hold, t_s, state, notices)?
            }
            Action::ZoneRelease { zone } => {
                let z = zone_mut(state, zone)?;
                (z.shift, z.switched, z.touched) = (None, None, true);
                let ended = Notice::new(t_s, NoticeKind::OverrideEnded);
                notices.push(ended.zone(zone).cause(Cause::Person));
            }
            Action::SystemOn | Action::SystemOff => {
                state.system_on = *action == Action::SystemOn;
                notices.push(by_person);
            }
            Action::Mode(mode) => {
                state.mode.person = mode;
                notices.push(by_person);
            }
            Action::ClearLockOut => {
                for (i, p) in state.protections.iter_mut().enumerate() {
                    if p.clear_lockout() {
                        let cleared = Notice::new(t_s, NoticeKind::LockOutCleared);
                        notices.push(cleared.protection(i).cause(Cause::Person));
                    }
                }
            }
        }
        Ok(())
    }

    fn switch(
        &self,
        zone: usize,
        on: bool,
        hold: Hold,
        t_s: f64,
        state: &mut ControlState,
        notices: &mut Vec<Notice>,
    ) -> Result<(), ActionError> {
        let until = Until::new(hold, t_s)?;
        let z = zone_mut(state, zone)?;
        if on
            && self
                .spec()
                .zones
                .get(zone)
                .is_some_and(|z| z.timetable.periods().is_empty())
        {
            return Err(ActionError::NoBand { zone });
        }
        z.switched = Some((on, until));
        z.touched = true;
        let notice = Notice::new(t_s, NoticeKind::Override).cause(Cause::Person);
        notices.push(notice.zone(zone).value(f64::from(u8::from(on))));
        Ok(())
    }
}

fn zone_mut(state: &mut ControlState, zone: usize) -> Result<&mut ZoneState, ActionError> {
    let last = state.zones.len().saturating_sub(1);
    state
        .zones
        .get_mut(zone)
        .ok_or(ActionError::NoZone { zone, last })
}
