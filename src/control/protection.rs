//! Protections: a reading beyond its trip value for its qualifying time, an action, a reset by
//! value and time, and a count that ends in a lock-out.

use std::collections::VecDeque;

use super::io::Readings;
use super::mode::Mode;
use super::notice::{Notice, NoticeKind};

/// Which reading a protection watches, and on which side it trips.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Sense {
    /// Supply air too cold, °C; while cooling.
    SupplyLow,
    /// Supply air too warm, °C; while heating.
    SupplyHigh,
    /// Coil surface too cold, °C; while cooling.
    CoilSurfaceLow,
    /// Supply-plenum static pressure too high, Pa; whenever the fan runs.
    StaticHigh,
    /// Coil airflow too low, fraction of rated; while the compressor runs.
    CoilFlowLow,
}

impl Sense {
    fn reading(self, r: &Readings<'_>) -> f64 {
        match self {
            Self::SupplyLow | Self::SupplyHigh => r.supply_c,
            Self::CoilSurfaceLow => r.coil_surface_c,
            Self::StaticHigh => r.static_pa,
            Self::CoilFlowLow => r.coil_flow_fraction,
        }
    }

    /// A reading for people, with its unit.
    pub(super) fn shown(self, value: f64) -> String {
        let (value, unit) = match self {
            Self::StaticHigh => (value, "Pa"),
            Self::CoilFlowLow => (100.0 * value, "% of rated"),
            Self::SupplyLow | Self::SupplyHigh | Self::CoilSurfaceLow => (value, "°C"),
        };
        // What rounds to nothing has no sign.
        let sign = if value <= -0.05 { "−" } else { "" };
        format!("{sign}{:.1} {unit}", value.abs())
    }

    pub(super) fn trips_high(self) -> bool {
        matches!(self, Self::SupplyHigh | Self::StaticHigh)
    }

    pub(super) fn watches(self, now: &Watch) -> bool {
        match self {
            Self::SupplyLow | Self::CoilSurfaceLow => now.running == Some(Mode::Cooling),
            Self::SupplyHigh => now.running == Some(Mode::Heating),
            Self::CoilFlowLow => now.running.is_some(),
            Self::StaticHigh => now.fan_on,
        }
    }
}

/// What a protection does.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum ProtectionAction {
    /// Lowers the capacity step by step, and stops the compressor when already at minimum.
    StepDownThenOff,
    /// Stops the compressor.
    Off,
    /// Lowers the capacity step by step, never stops.
    StepDown,
    /// Opens the motorised relief fully.
    OpenRelief,
    /// Slows the fan.
    SlowFan {
        /// Factor on the fan's fraction, 0 to 1.
        factor: f64,
    },
    /// Opens every zone's dampers at least this far.
    OpenZones {
        /// Least opening, 0 to 1.
        opening: f64,
    },
}

impl ProtectionAction {
    fn steps_down(self) -> bool {
        matches!(self, Self::StepDown | Self::StepDownThenOff)
    }

    /// Whether it can stop the unit, and so counts toward a lock-out.
    pub fn stops(self) -> bool {
        matches!(self, Self::Off | Self::StepDownThenOff)
    }
}

/// One protection.
#[derive(Debug, Clone, PartialEq)]
pub struct Protection {
    /// Its name in notices.
    pub name: String,
    /// What it watches.
    pub sense: Sense,
    /// Trip value, in the unit of the sense.
    pub trip: f64,
    /// The reading must stay beyond the trip value this long, s.
    pub qualify_s: f64,
    /// Ignored for this long after a start, s.
    pub blind_s: f64,
    /// What it does.
    pub action: ProtectionAction,
    /// It resets only when the reading has come back past this value ...
    pub reset: f64,
    /// ... and this long after the trip, s.
    pub reset_s: f64,
    /// Trips within the window that lock the unit out; 0 for never. Only trips that stop the
    /// compressor count.
    pub lockout_count: usize,
    /// The window, s.
    pub lockout_window_s: f64,
}

/// Where a protection stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Standing {
    /// Nothing wrong.
    Clear,
    /// Capacity is held at or below `cap`.
    Stepped {
        /// Greatest speed allowed.
        cap: f64,
    },
    /// Its action is in force (the compressor is off, the relief open, ...).
    Tripped,
}

/// What a protection remembers.
#[derive(Debug, Clone, PartialEq)]
pub struct ProtectionState {
    /// Where it stands.
    pub standing: Standing,
    /// Whether it has locked the unit out. Only a person clears it.
    pub locked: bool,
    /// Trips since the start of the run.
    pub trips: u64,
    beyond_since_s: f64,
    acted_s: f64,
    recent_s: VecDeque<f64>,
}

/// What protections need to know of the unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Watch {
    /// Now, s.
    pub t_s: f64,
    /// Mode of the run under way.
    pub running: Option<Mode>,
    /// Whether the fan runs.
    pub fan_on: bool,
    /// Time since the compressor started, s (infinite when off).
    pub since_start_s: f64,
    /// The next lower speed; `None` at minimum.
    pub below: Option<f64>,
}

/// What all protections together impose.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Imposed {
    /// The compressor must be off because of this protection.
    pub off: Option<usize>,
    /// The fan should run until the reading has come back.
    pub keep_fan: bool,
    /// The fan must not run on after the stop.
    pub no_post_run: bool,
    /// Greatest speed; infinite for no limit.
    pub speed_cap: f64,
    /// The relief is forced open.
    pub open_relief: bool,
    /// Factor on the fan's fraction.
    pub fan_factor: f64,
    /// Every zone's dampers open at least this far.
    pub least_open: f64,
}

impl Default for Imposed {
    fn default() -> Self {
        Self {
            off: None,
            keep_fan: false,
            no_post_run: false,
            speed_cap: f64::INFINITY,
            open_relief: false,
            fan_factor: 1.0,
            least_open: 0.0,
        }
    }
}

impl Imposed {
    /// Whether any protection acts.
    pub fn any(&self) -> bool {
        *self != Self::default()
    }
}

impl Protection {
    /// The state at the start of a run.
    pub fn initial_state(&self) -> ProtectionState {
        ProtectionState {
            standing: Standing::Clear,
            locked: false,
            trips: 0,
            beyond_since_s: f64::NAN,
            acted_s: f64::NEG_INFINITY,
            recent_s: VecDeque::with_capacity(self.lockout_count + 1),
        }
    }

    /// Judges the reading and adds to what is imposed.
    #[inline]
    pub fn step(
        &self,
        index: usize,
        now: &Watch,
        readings: &Readings<'_>,
        s: &mut ProtectionState,
        imposed: &mut Imposed,
        notices: &mut Vec<Notice>,
    ) {
        let value = self.sense.reading(readings);
        if s.standing == Standing::Clear && !s.locked && !self.beyond(value) {
            s.beyond_since_s = f64::NAN;
        } else {
            self.judge(index, now, value, s, imposed, notices);
        }
    }

    #[inline(never)]
    fn judge(
        &self,
        index: usize,
        now: &Watch,
        value: f64,
        s: &mut ProtectionState,
        imposed: &mut Imposed,
        notices: &mut Vec<Notice>,
    ) {
        self.reset_if_back(index, now, value, s, notices);
        if self.qualified(now, value, s) {
            self.act(index, now, value, s, notices);
        }
        self.impose(index, s, imposed);
    }

    fn reset_if_back(
        &self,
        index: usize,
        now: &Watch,
        value: f64,
        s: &mut ProtectionState,
        notices: &mut Vec<Notice>,
    ) {
        // A lost reading compares false: what cannot be shown to be safe stays tripped.
        let back = if self.sense.trips_high() {
            value < self.reset
        } else {
            value > self.reset
        };
        if s.standing != Standing::Clear && back && now.t_s - s.acted_s >= self.reset_s - EPS_S {
            s.standing = Standing::Clear;
            notices.push(
                Notice::new(now.t_s, NoticeKind::Reset)
                    .protection(index)
                    .value(value),
            );
        }
    }

    /// Whether the reading is beyond the trip value; a lost one is not.
    #[inline]
    fn beyond(&self, value: f64) -> bool {
        if self.sense.trips_high() {
            value > self.trip
        } else {
            value < self.trip
        }
    }

    /// Whether the reading has been beyond the trip value for the qualifying time.
    fn qualified(&self, now: &Watch, value: f64, s: &mut ProtectionState) -> bool {
        let blind = now.running.is_some() && now.since_start_s < self.blind_s - EPS_S;
        if !self.beyond(value)
            || blind
            || s.standing == Standing::Tripped
            || !self.sense.watches(now)
        {
            s.beyond_since_s = f64::NAN;
            return false;
        }
        if s.beyond_since_s.is_nan() {
            s.beyond_since_s = now.t_s;
        }
        now.t_s - s.beyond_since_s >= self.qualify_s - EPS_S
    }

    fn act(
        &self,
        index: usize,
        now: &Watch,
        value: f64,
        s: &mut ProtectionState,
        notices: &mut Vec<Notice>,
    ) {
        let notice = |kind| Notice::new(now.t_s, kind).protection(index).value(value);
        s.beyond_since_s = f64::NAN;
        if self.action.steps_down() {
            if let Some(cap) = now.below {
                s.standing = Standing::Stepped { cap };
                s.acted_s = now.t_s;
                notices.push(notice(NoticeKind::SteppedDown));
                return;
            }
            if self.action == ProtectionAction::StepDown {
                return;
            }
        }
        s.standing = Standing::Tripped;
        s.acted_s = now.t_s;
        s.trips += 1;
        notices.push(notice(NoticeKind::Trip));
        if self.lockout_count == 0 || !self.action.stops() {
            return;
        }
        while s
            .recent_s
            .front()
            .is_some_and(|&t| now.t_s - t > self.lockout_window_s)
        {
            s.recent_s.pop_front();
        }
        s.recent_s.push_back(now.t_s);
        if s.recent_s.len() >= self.lockout_count && !s.locked {
            s.locked = true;
            notices.push(notice(NoticeKind::LockOut));
        }
    }

    fn impose(&self, index: usize, s: &ProtectionState, imposed: &mut Imposed) {
        match s.standing {
            Standing::Clear => {}
            Standing::Stepped { cap } => imposed.speed_cap = imposed.speed_cap.min(cap),
            Standing::Tripped => match self.action {
                ProtectionAction::Off | ProtectionAction::StepDownThenOff => {
                    imposed.off.get_or_insert(index);
                    if self.sense == Sense::StaticHigh {
                        imposed.no_post_run = true;
                    } else {
                        imposed.keep_fan = true;
                    }
                }
                ProtectionAction::OpenRelief => imposed.open_relief = true,
                ProtectionAction::SlowFan { factor } => {
                    imposed.fan_factor = imposed.fan_factor.min(factor);
                }
                ProtectionAction::OpenZones { opening } => {
                    imposed.least_open = imposed.least_open.max(opening);
                }
                ProtectionAction::StepDown => {}
            },
        }
        if s.locked {
            imposed.off.get_or_insert(index);
        }
    }
}

impl ProtectionState {
    /// Whether nothing is in force, locked or qualifying.
    pub(super) fn is_idle(&self) -> bool {
        self.standing == Standing::Clear && !self.locked && self.beyond_since_s.is_nan()
    }

    /// Clears a lock-out and forgets the trips that led to it. The trip itself still resets by
    /// value and time. Returns whether there was one.
    pub fn clear_lockout(&mut self) -> bool {
        self.recent_s.clear();
        std::mem::take(&mut self.locked)
    }
}

/// Slack for sums of time steps, s.
const EPS_S: f64 = 1e-6;
