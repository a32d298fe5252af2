//! The controller: all parts in one visible order.

use super::clock::Clock;
use super::io::{Commands, Readings, UnitDemand};
use super::mode::{Mode, ModeRule, ModeState, Votes};
use super::notice::{Cause, Notice, NoticeKind};
use super::protection::{Imposed, ProtectionState, Watch};
use super::quiet::Quiet;
use super::relief_pi::ReliefPiState;
use super::sequence::{Opening, Phase, SequenceState};
use super::spec::{ChannelOwner, ControlError, ControllerSpec};
use super::staging::StagingState;
use super::zone::ZoneState;

/// A checked controller. It holds no state: that is [`ControlState`].
#[derive(Debug, Clone, PartialEq)]
pub struct Controller {
    spec: ControllerSpec,
    /// Weights of the zones as shares of 1.
    shares: Vec<f64>,
    /// Position at which a zone's dampers count as open.
    ready_at: Vec<f64>,
}

/// Everything the controller remembers from one step to the next.
#[derive(Debug, Clone, PartialEq)]
pub struct ControlState {
    /// Zones.
    pub zones: Vec<ZoneState>,
    /// Mode.
    pub mode: ModeState,
    /// Sequence of the unit.
    pub sequence: SequenceState,
    /// Stage.
    pub staging: StagingState,
    /// Relief.
    pub relief: ReliefPiState,
    /// Protections.
    pub protections: Vec<ProtectionState>,
    /// Whether the system is switched on.
    pub system_on: bool,
    /// Counts changes of zones: as long as it stays the same, so do their readings, setpoints and
    /// calls, and the mode.
    pub zone_changes: u64,
    pub(super) call_ended_by: Cause,
    pub(super) fan_on: bool,
    pub(super) some_zone_calls: bool,
    /// Mode, and whether it may change, for which calls were last decided.
    calls_for: (Mode, bool),
    /// Phase in which zones were last opened or shut; `None` when their calls have changed since.
    pub(super) opened_in: Option<Phase>,
    /// Speed the zones ask for, until they or the mode change.
    pub(super) demand: Option<f64>,
    /// Least opening imposed when the zones' openings were last set.
    pub(super) least_open: f64,
    /// No opening changes of itself before this, s.
    pub(super) openings_due_s: f64,
    pub(super) quiet: Quiet,
}

#[cfg(test)]
impl ControlState {
    /// Drops what is remembered only to save work.
    pub(super) fn forget(&mut self) {
        self.opened_in = None;
        self.demand = None;
        self.openings_due_s = f64::NEG_INFINITY;
        self.quiet.end();
        // Any reading is news after one that no zone takes.
        let zones = self.zones.iter_mut();
        zones.for_each(|z| z.reading_c = f64::INFINITY);
    }
}

impl Controller {
    /// Checks the specification and makes the controller.
    ///
    /// # Errors
    /// What is wrong, and what to write instead: see [`ControlError`].
    pub fn new(spec: ControllerSpec) -> Result<Self, ControlError> {
        spec.check()?;
        let total: f64 = spec.zones.iter().map(|z| z.weight).sum();
        let shares = spec.zones.iter().map(|z| z.weight / total).collect();
        let ready_open = match spec.sequence.opening {
            Opening::Wait { .. } => 1.0,
            Opening::Feedback { ready_open, .. } => ready_open,
        };
        let ready_at = spec
            .zones
            .iter()
            .map(|z| z.least_calling_open().min(ready_open) - 1e-9)
            .collect();
        Ok(Self {
            spec,
            shares,
            ready_at,
        })
    }

    /// Weights of the zones as shares of 1.
    pub(super) fn shares(&self) -> &[f64] {
        &self.shares
    }

    /// Position at which the dampers of each zone count as open.
    pub(super) fn ready_at(&self) -> &[f64] {
        &self.ready_at
    }

    /// What the controller was made from.
    pub fn spec(&self) -> &ControllerSpec {
        &self.spec
    }

    /// The state at power-up. The seed fixes the random delay after power-up, if there is one.
    pub fn initial_state(&self, seed: u64) -> ControlState {
        let mode = self.spec.mode.initial_state();
        let sequence = self.spec.sequence.initial_state(seed);
        ControlState {
            zones: self.spec.zones.iter().map(|z| z.initial_state()).collect(),
            staging: StagingState::default(),
            relief: ReliefPiState::default(),
            protections: self
                .spec
                .protections
                .iter()
                .map(|p| p.initial_state())
                .collect(),
            system_on: true,
            zone_changes: 0,
            call_ended_by: Cause::Satisfied,
            fan_on: false,
            some_zone_calls: false,
            calls_for: (mode.mode, self.spec.mode.may_change(&mode)),
            opened_in: None,
            demand: None,
            least_open: 0.0,
            openings_due_s: f64::NEG_INFINITY,
            quiet: Quiet::never(self.spec.zones.len(), self.commands()),
            mode,
            sequence,
        }
    }

    /// Commands of a system at rest, with lists of the right length.
    pub fn commands(&self) -> Commands {
        let mode = self.spec.mode.initial_state().mode;
        Commands::idle(self.spec.channels.len(), mode)
    }

    /// A notice as a sentence, with names.
    pub fn describe(&self, notice: &Notice) -> String {
        let zone = notice.zone.and_then(|i| self.spec.zones.get(i));
        let guard = notice.protection.and_then(|i| self.spec.protections.get(i));
        notice.sentence(
            zone.map(|z| z.name.as_str()),
            guard.map(|p| (p.name.as_str(), p.sense)),
        )
    }

    /// One step: reads `readings` at `clock` and fills `commands` for the `dt_s` seconds that
    /// follow. Order: zones, mode, calls, protections, sequence, stage, dampers, relief, fan.
    ///
    /// `state` must come from [`Controller::initial_state`] of this controller.
    pub fn step(
        &self,
        clock: &Clock,
        dt_s: f64,
        readings: &Readings<'_>,
        state: &mut ControlState,
        commands: &mut Commands,
        notices: &mut Vec<Notice>,
    ) {
        let t_s = clock.t_s;
        if self.is_quiet(t_s, clock.minute_of_week, readings, state) {
            self.repeat(dt_s, readings, state, commands);
            return;
        }
        commands
            .channel_opening
            .resize(self.spec.channels.len(), 0.0);
        let zones_changed = self.step_zones(clock, readings, state, notices);
        self.choose_mode(t_s, state, notices);
        let calls_for = (state.mode.mode, self.spec.mode.may_change(&state.mode));
        if zones_changed || state.calls_for != calls_for {
            state.calls_for = calls_for;
            state.zone_changes += 1;
            state.opened_in = None;
            state.demand = None;
            self.update_calls(t_s, state, notices);
        }
        let imposed = self.protect(t_s, readings, state, notices);
        self.sequence(t_s, readings, &imposed, state, notices);
        if state.opened_in != Some(state.sequence.phase) {
            self.open_zones(t_s, state);
            state.openings_due_s = t_s;
        }
        let (speed, limited) = self.stage(t_s, dt_s, readings, &imposed, state, notices);
        self.fill(t_s, dt_s, readings, &imposed, speed, state, commands);
        commands.unit.limited = limited;
        self.note_quiet(t_s, clock.minute_of_week, readings, state, commands);
    }

    /// Brings every zone up to date. Returns whether something may have changed in one.
    fn step_zones(
        &self,
        clock: &Clock,
        readings: &Readings<'_>,
        state: &mut ControlState,
        notices: &mut Vec<Notice>,
    ) -> bool {
        let mut changed = false;
        for (i, (spec, zone)) in self.spec.zones.iter().zip(&mut state.zones).enumerate() {
            let reading_c = readings.zone_c.get(i).copied().unwrap_or(f64::NAN);
            changed |= spec.step(i, clock, reading_c, state.system_on, zone, notices);
        }
        changed
    }

    #[inline(never)]
    fn votes(&self, t_s: f64, state: &ControlState) -> Votes {
        let mut votes = Votes::default();
        let mode = state.mode.mode;
        for (zone, &share) in state.zones.iter().zip(&self.shares) {
            if let (Some(set), true) = (zone.setpoints, zone.sensor_ok()) {
                votes.add_need(share, zone.reading_c, set.cooling_c, set.heating_c);
            }
            match zone.wants {
                Some(Mode::Cooling) => votes.cooling_calls += 1,
                Some(Mode::Heating) => votes.heating_calls += 1,
                None => {}
            }
            if zone.wants == Some(mode.other()) && !zone.waiting_since_s.is_nan() {
                votes.longest_wait_s = votes.longest_wait_s.max(t_s - zone.waiting_since_s);
            }
        }
        if let ModeRule::LeadZone { zone } = self.spec.mode.rule {
            votes.lead = state.zones.get(zone).and_then(|z| z.wants);
        }
        votes
    }

    fn choose_mode(&self, t_s: f64, state: &mut ControlState, notices: &mut Vec<Notice>) {
        // Nobody counts votes on a mode that is set by hand.
        let votes = if self.spec.mode.may_change(&state.mode) {
            self.votes(t_s, state)
        } else {
            Votes::default()
        };
        let running = state.sequence.phase == Phase::Running;
        if let Some(cause) = self.spec.mode.step(t_s, &votes, running, &mut state.mode) {
            notices.push(Notice::new(t_s, NoticeKind::ModeChange).cause(cause));
            // Dampers now opening may belong to zones of the other mode.
            if state.sequence.phase == Phase::Opening {
                state.sequence.phase = Phase::Idle;
                state.sequence.since_s = t_s;
            }
        }
    }

    /// Begins and ends calls and waits. They follow from what the zones want, from the mode and from
    /// whether it may change: until one of these does, nothing is to be done.
    #[inline(never)]
    fn update_calls(&self, t_s: f64, state: &mut ControlState, notices: &mut Vec<Notice>) {
        let mode = state.mode.mode;
        let may_change = self.spec.mode.may_change(&state.mode);
        for (i, zone) in state.zones.iter_mut().enumerate() {
            let calling = zone.wants == Some(mode);
            let waiting = may_change && zone.wants == Some(mode.other());
            if calling && !zone.calling {
                zone.calling_since_s = t_s;
                let notice = Notice::new(t_s, NoticeKind::CallBegan).zone(i);
                notices.push(notice.value(zone.reading_c));
            } else if !calling && zone.calling {
                // A wish that outlives its call lost it to the mode.
                let cause = if zone.wants.is_some() {
                    Cause::ModeChange
                } else {
                    zone.ended_by
                };
                state.call_ended_by = cause;
                let notice = Notice::new(t_s, NoticeKind::CallEnded).zone(i).cause(cause);
                notices.push(notice.value(zone.reading_c));
            }
            zone.calling = calling;
            if waiting && zone.waiting_since_s.is_nan() {
                zone.waiting_since_s = t_s;
                notices.push(Notice::new(t_s, NoticeKind::ZoneWaiting).zone(i));
            } else if !waiting {
                zone.waiting_since_s = f64::NAN;
            }
        }
        state.some_zone_calls = state.zones.iter().any(|z| z.calling);
    }

    /// What protections need to know of the unit.
    pub(super) fn watch(&self, t_s: f64, state: &ControlState) -> Watch {
        let running = state.sequence.phase == Phase::Running;
        Watch {
            t_s,
            running: if running {
                state.sequence.last_mode
            } else {
                None
            },
            fan_on: state.fan_on,
            since_start_s: if running {
                t_s - state.sequence.started_s
            } else {
                f64::INFINITY
            },
            below: self.spec.staging.stages.below(state.staging.speed),
        }
    }

    fn protect(
        &self,
        t_s: f64,
        readings: &Readings<'_>,
        state: &mut ControlState,
        notices: &mut Vec<Notice>,
    ) -> Imposed {
        let watch = self.watch(t_s, state);
        let mut imposed = Imposed::default();
        for (i, (p, s)) in self
            .spec
            .protections
            .iter()
            .zip(&mut state.protections)
            .enumerate()
        {
            p.step(i, &watch, readings, s, &mut imposed, notices);
        }
        imposed
    }

    #[expect(
        clippy::too_many_arguments,
        reason = "the last stage of the step needs them all"
    )]
    fn fill(
        &self,
        t_s: f64,
        dt_s: f64,
        readings: &Readings<'_>,
        imposed: &Imposed,
        speed: f64,
        state: &mut ControlState,
        commands: &mut Commands,
    ) {
        let (mode, phase) = (state.mode.mode, state.sequence.phase);
        let running = phase == Phase::Running;
        let fan = match phase {
            Phase::Idle | Phase::Opening => 0.0,
            Phase::Running => self.spec.fan.running(speed, &self.spec.staging.stages),
            Phase::PostRun => self.spec.fan.post_run,
        };
        commands.fan_fraction = fan * imposed.fan_factor;
        state.fan_on = commands.fan_fraction > 0.0;
        commands.unit = UnitDemand {
            mode: running.then_some(mode),
            speed,
            limited: false,
        };
        commands.mode = mode;
        commands.phase = phase;
        commands.relief_opening = match &self.spec.relief {
            Some(pi) => {
                let by_law = pi.step(readings.static_pa, state.fan_on, dt_s, &mut state.relief);
                if imposed.open_relief && state.fan_on {
                    1.0
                } else {
                    by_law
                }
            }
            None => 0.0,
        };
        let least = if state.fan_on {
            imposed.least_open
        } else {
            0.0
        };
        if t_s >= state.openings_due_s || state.least_open != least {
            state.least_open = least;
            self.set_openings(t_s, running && !imposed.any(), state);
        }
        for (target, owner) in commands.channel_opening.iter_mut().zip(&self.spec.channels) {
            *target = match *owner {
                ChannelOwner::Zone(i) => state.zones.get(i).map_or(0.0, |z| z.opening),
                ChannelOwner::Relief => commands.relief_opening,
            };
        }
    }

    /// Opens the zones' dampers as far as their laws say, and notes when to look at them again.
    /// `free`: the unit runs and no protection acts.
    #[inline(never)]
    fn set_openings(&self, t_s: f64, free: bool, state: &mut ControlState) {
        state.openings_due_s = f64::INFINITY;
        for (spec, zone) in self.spec.zones.iter().zip(&mut state.zones) {
            let opening = spec.opening(state.mode.mode, t_s, free, zone);
            zone.opening = opening.max(state.least_open).clamp(0.0, 1.0);
            state.openings_due_s = state.openings_due_s.min(spec.opening_due_s(zone));
        }
    }
}
