//! The unit's sequence: dampers open, the unit starts, runs its minimum, stops, the fan runs on,
//! dampers close.
//!
//! Priority: safety trip, then minimum off-time, then minimum run time, then call.

use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};

use super::mode::Mode;
use super::notice::Cause;

/// Where the unit is in its sequence.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Phase {
    /// Off, dampers shut.
    Idle,
    /// Off, dampers of the calling zones on their way open.
    Opening,
    /// Compressor and fan on.
    Running,
    /// Compressor off, fan on, dampers held.
    PostRun,
}

impl Phase {
    /// Stable name, for files.
    pub fn name(self) -> &'static str {
        match self {
            Self::Idle => "idle",
            Self::Opening => "opening",
            Self::Running => "running",
            Self::PostRun => "post-run",
        }
    }
}

/// When the dampers count as open.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Opening {
    /// When the dampers of one calling zone have been commanded open for a time; dampers without
    /// feedback. 30 to 60 s is common practice.
    Wait {
        /// The time, s.
        wait_s: f64,
    },
    /// When every damper of the calling zones reports `ready_open` of travel (a modulating one: its
    /// minimum opening, if that is less); after `wait_s` one such damper is enough. With none the
    /// unit does not start.
    Feedback {
        /// Position that counts as open, 0 to 1.
        ready_open: f64,
        /// How long to wait for all of them, s.
        wait_s: f64,
    },
}

/// Timers of the sequence.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SequenceSpec {
    /// Least run, s; 120 to 300 s is common practice.
    pub minimum_run_s: f64,
    /// Least off-time, s; 180 to 300 s is common practice.
    pub minimum_off_s: f64,
    /// Fan after the compressor, s; 30 to 120 s is common practice.
    pub post_run_s: f64,
    /// When the dampers count as open.
    pub opening: Opening,
    /// Longest delay after power-up, s: drawn from 0 to this at the start of a run. 0 for none.
    pub power_up_s: f64,
}

/// What the sequence sees at one step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SequenceInputs {
    /// Now, s.
    pub t_s: f64,
    /// Some zone calls in the unit's mode.
    pub calling: bool,
    /// The unit's mode.
    pub mode: Mode,
    /// Off-time the mode change asks for, s.
    pub change_off_s: f64,
    /// A change of mode waits for the unit to stop.
    pub change_pending: bool,
    /// A protection forbids running.
    pub forbidden: bool,
    /// The fan is wanted until a reading has come back.
    pub keep_fan: bool,
    /// The fan must stop with the compressor.
    pub no_post_run: bool,
    /// Longest time for which the dampers of a calling zone have been commanded open, s.
    pub open_for_s: f64,
    /// Every damper of the calling zones reports open; `false` when unknown.
    pub all_ready: bool,
    /// At least one does.
    pub some_ready: bool,
    /// Why the last call ended.
    pub call_ended_by: Cause,
}

impl SequenceInputs {
    /// Whether these keep the unit in `phase`, whatever its timers say.
    #[inline]
    pub(super) fn keep(&self, phase: Phase) -> bool {
        match phase {
            Phase::Idle => !self.calling,
            Phase::Running => self.calling && !self.change_pending && !self.forbidden,
            Phase::Opening | Phase::PostRun => false,
        }
    }
}

/// What the sequence did at one step.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct SequenceStep {
    /// The compressor started.
    pub started: bool,
    /// The compressor stopped, and why.
    pub stopped: Option<Cause>,
    /// A start or stop is newly held back, and why.
    pub held: Option<Cause>,
}

/// What the sequence remembers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SequenceState {
    /// Phase in force.
    pub phase: Phase,
    /// Since when, s.
    pub since_s: f64,
    /// Last start of the compressor, s.
    pub started_s: f64,
    /// Last stop of the compressor, s.
    pub stopped_s: f64,
    /// Mode of the last run.
    pub last_mode: Option<Mode>,
    /// Starts since the start of the run.
    pub starts: u64,
    ready_after_s: f64,
    held: Option<Cause>,
}

impl SequenceState {
    /// Whether nothing is held back.
    pub(super) fn is_free(&self) -> bool {
        self.held.is_none()
    }
}

/// Slack for sums of time steps, s.
const EPS_S: f64 = 1e-6;

impl SequenceSpec {
    /// The state at power-up, at `t_s` = 0: rested, with the power-up delay drawn from `seed`.
    pub fn initial_state(&self, seed: u64) -> SequenceState {
        let draw = Xoshiro256PlusPlus::seed_from_u64(seed).next_u64() >> 11;
        let share = draw as f64 / (1_u64 << 53) as f64;
        SequenceState {
            phase: Phase::Idle,
            since_s: 0.0,
            started_s: f64::NEG_INFINITY,
            stopped_s: f64::NEG_INFINITY,
            last_mode: None,
            starts: 0,
            ready_after_s: share * self.power_up_s.max(0.0),
            held: None,
        }
    }

    /// Moves through the phases as far as the inputs allow.
    #[inline]
    pub fn step(&self, i: &SequenceInputs, s: &mut SequenceState) -> SequenceStep {
        if i.keep(s.phase) {
            s.held = None;
            return SequenceStep::default();
        }
        self.advance(i, s)
    }

    fn advance(&self, i: &SequenceInputs, s: &mut SequenceState) -> SequenceStep {
        let mut done = SequenceStep::default();
        let mut held = None;
        // Four phases: with waits of zero a step may pass through several, but never twice
        // through Running.
        for _ in 0..4 {
            let next = match s.phase {
                Phase::Idle => self.leave_idle(i, s, &mut held),
                Phase::Opening => self.leave_opening(i, s, &mut held),
                Phase::Running => self.leave_running(i, s, &mut held, &mut done),
                Phase::PostRun => self.leave_post_run(i, s),
            };
            let Some(next) = next else { break };
            s.phase = next;
            s.since_s = i.t_s;
            if next == Phase::Running {
                s.started_s = i.t_s;
                s.last_mode = Some(i.mode);
                s.starts += 1;
                done.started = true;
                break;
            }
        }
        if held.is_some() && held != s.held {
            done.held = held;
        }
        s.held = held;
        done
    }

    /// Why a start must wait, if it must.
    fn start_held(&self, i: &SequenceInputs, s: &SequenceState) -> Option<Cause> {
        let off_s = i.t_s - s.stopped_s;
        if i.forbidden {
            Some(Cause::Protection)
        } else if i.change_pending {
            Some(Cause::ModeChange)
        } else if off_s < self.minimum_off_s - EPS_S {
            Some(Cause::MinimumOff)
        } else if s.last_mode.is_some_and(|m| m != i.mode) && off_s < i.change_off_s - EPS_S {
            Some(Cause::ModeChangeOff)
        } else if i.t_s < s.ready_after_s - EPS_S {
            Some(Cause::PowerUp)
        } else {
            None
        }
    }

    fn leave_idle(
        &self,
        i: &SequenceInputs,
        s: &SequenceState,
        held: &mut Option<Cause>,
    ) -> Option<Phase> {
        if !i.calling {
            return None;
        }
        *held = self.start_held(i, s);
        held.is_none().then_some(Phase::Opening)
    }

    fn leave_opening(
        &self,
        i: &SequenceInputs,
        s: &SequenceState,
        held: &mut Option<Cause>,
    ) -> Option<Phase> {
        if !i.calling || self.start_held(i, s).is_some() {
            return Some(Phase::Idle);
        }
        let open = match self.opening {
            Opening::Wait { wait_s } => i.open_for_s >= wait_s - EPS_S,
            Opening::Feedback { wait_s, .. } => {
                let late = i.t_s - s.since_s >= wait_s - EPS_S;
                if late && !i.some_ready {
                    *held = Some(Cause::DampersShut);
                }
                i.all_ready || (late && i.some_ready)
            }
        };
        open.then_some(Phase::Running)
    }

    fn leave_running(
        &self,
        i: &SequenceInputs,
        s: &mut SequenceState,
        held: &mut Option<Cause>,
        done: &mut SequenceStep,
    ) -> Option<Phase> {
        let cause = if i.forbidden {
            Cause::Protection
        } else if i.calling && !i.change_pending {
            return None;
        } else {
            if i.t_s - s.started_s < self.minimum_run_s - EPS_S {
                *held = Some(Cause::MinimumRun);
                return None;
            }
            if i.calling {
                Cause::ModeChange
            } else {
                i.call_ended_by
            }
        };
        s.stopped_s = i.t_s;
        done.stopped = Some(cause);
        Some(Phase::PostRun)
    }

    fn leave_post_run(&self, i: &SequenceInputs, s: &SequenceState) -> Option<Phase> {
        let over = i.t_s - s.since_s >= self.post_run_s - EPS_S;
        if i.no_post_run || (over && !i.keep_fan) {
            Some(Phase::Idle)
        } else {
            None
        }
    }
}
