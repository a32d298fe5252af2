//! The controller's hand on the unit: its sequence, the zones that are open with it, its stage.

use super::controller::{ControlState, Controller};
use super::io::Readings;
use super::notice::{Cause, Notice, NoticeKind};
use super::protection::Imposed;
use super::sequence::{Opening, Phase, SequenceInputs, SequenceStep};
use super::spec::ChannelOwner;
use super::staging::{Need, Stages, StagingState};
use super::zone::error_k;

impl Controller {
    /// Moves the unit through its sequence.
    pub(super) fn sequence(
        &self,
        t_s: f64,
        readings: &Readings<'_>,
        imposed: &Imposed,
        state: &mut ControlState,
        notices: &mut Vec<Notice>,
    ) {
        let mut inputs = SequenceInputs {
            t_s,
            calling: state.some_zone_calls,
            mode: state.mode.mode,
            change_off_s: self.spec().mode.change_off_s,
            change_pending: state.mode.pending.is_some(),
            forbidden: imposed.off.is_some(),
            keep_fan: imposed.keep_fan,
            no_post_run: imposed.no_post_run,
            open_for_s: 0.0,
            all_ready: false,
            some_ready: false,
            call_ended_by: state.call_ended_by,
        };
        // Dampers matter only to a start.
        if inputs.calling && !inputs.keep(state.sequence.phase) {
            inputs.open_for_s = longest_open_s(t_s, state);
            (inputs.all_ready, inputs.some_ready) = self.dampers_ready(readings, state);
        }
        let done = self.spec().sequence.step(&inputs, &mut state.sequence);
        if done != SequenceStep::default() {
            report(t_s, &done, imposed, state, notices);
        }
    }

    /// Whether all, and whether some, dampers of the calling zones report open.
    fn dampers_ready(&self, readings: &Readings<'_>, state: &ControlState) -> (bool, bool) {
        if matches!(self.spec().sequence.opening, Opening::Wait { .. }) {
            return (false, false);
        }
        let (mut all, mut some) = (true, false);
        for (channel, owner) in self.spec().channels.iter().enumerate() {
            let ChannelOwner::Zone(i) = *owner else {
                continue;
            };
            if state.zones.get(i).is_some_and(|z| z.calling) {
                let position = readings
                    .damper_position
                    .get(channel)
                    .copied()
                    .unwrap_or(f64::NAN);
                let ready = self.ready_at().get(i).is_some_and(|&at| position >= at);
                all &= ready;
                some |= ready;
            }
        }
        (all && some, some)
    }

    /// Which zones' dampers are open in this phase: those that call; at a minimum-run hold and in
    /// the post-run those that called last.
    #[inline(never)]
    pub(super) fn open_zones(&self, t_s: f64, state: &mut ControlState) {
        let (mode, phase) = (state.mode.mode, state.sequence.phase);
        let follow = state.some_zone_calls && matches!(phase, Phase::Opening | Phase::Running);
        for (spec, zone) in self.spec().zones.iter().zip(&mut state.zones) {
            if follow {
                zone.held = zone.calling;
            }
            let open = phase != Phase::Idle && zone.held;
            spec.set_open(open, mode, t_s, zone);
        }
        state.opened_in = Some(phase);
    }

    /// Speed for this step, and whether a limit holds it below demand.
    pub(super) fn stage(
        &self,
        t_s: f64,
        dt_s: f64,
        readings: &Readings<'_>,
        imposed: &Imposed,
        state: &mut ControlState,
        notices: &mut Vec<Notice>,
    ) -> (f64, bool) {
        if state.sequence.phase != Phase::Running {
            state.staging = StagingState::default();
            return (0.0, false);
        }
        let staging = &self.spec().staging;
        let mode = state.mode.mode;
        let demand = state.demand.unwrap_or_else(|| self.demand(state));
        state.demand = Some(demand);
        let mut cap = imposed.speed_cap;
        if let Some(limit) = &staging.airflow_limit
            && t_s - state.sequence.started_s >= limit.blind_s
        {
            cap = cap.min(limit.speed(mode, readings.rooms_flow_m3_s, readings.return_c));
        }
        let before = state.staging.speed;
        let speed = staging.step(t_s, dt_s, demand, cap, &mut state.staging);
        if matches!(staging.stages, Stages::TwoStage { .. }) && before > 0.0 && speed != before {
            notices.push(Notice::new(t_s, NoticeKind::StageChange).value(speed));
        }
        (speed, cap < demand)
    }

    /// Speed the calling zones ask for.
    #[inline(never)]
    fn demand(&self, state: &ControlState) -> f64 {
        let staging = &self.spec().staging;
        let mut need = Need::default();
        for (zone, &share) in state.zones.iter().zip(self.shares()) {
            if let (true, Some(set)) = (zone.calling, zone.setpoints) {
                let error_k = error_k(state.mode.mode, zone.reading_c, set);
                need.add(share, error_k, staging.band_k);
            }
        }
        staging.demand(&need)
    }
}

/// Longest time for which the dampers of a calling zone have been commanded open, s.
fn longest_open_s(t_s: f64, state: &ControlState) -> f64 {
    let open = state.zones.iter().filter(|z| z.calling && z.open);
    open.fold(0.0, |longest, z| longest.max(t_s - z.open_since_s))
}

/// Reports what the sequence did.
#[cold]
fn report(
    t_s: f64,
    done: &SequenceStep,
    imposed: &Imposed,
    state: &ControlState,
    notices: &mut Vec<Notice>,
) {
    let mut push = |kind, zone, cause| {
        let protection = if cause == Cause::Protection {
            imposed.off
        } else {
            None
        };
        let n = Notice {
            zone,
            protection,
            ..Notice::new(t_s, kind).cause(cause)
        };
        notices.push(n);
    };
    if let Some(cause) = done.stopped {
        push(NoticeKind::Stop, None, cause);
    }
    if let Some(cause) = done.held {
        push(NoticeKind::Held, None, cause);
    }
    if done.started {
        // The zone that has called longest; the first of several.
        let calling = state.zones.iter().enumerate().filter(|(_, z)| z.calling);
        let first = calling.min_by(|a, b| a.1.calling_since_s.total_cmp(&b.1.calling_since_s));
        push(NoticeKind::Start, first.map(|(i, _)| i), Cause::Call);
    }
}
