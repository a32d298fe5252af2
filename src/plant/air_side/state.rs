//! Flows and pressures of the air side, and what the next step goes on from.

use super::{AirCommand, Impairment};
use crate::math::clone_in_place;
use crate::plant::network::NetworkState;

/// Flows and pressures of the air side.
#[derive(Clone, Debug, PartialEq)]
pub struct AirState {
    /// Fan flow, m³/s.
    pub fan_m3_s: f64,
    /// Fan speed relative to reference.
    pub fan_speed: f64,
    /// Fan power from the mains, W.
    pub fan_w: f64,
    /// Whether the fan runs left of its peak.
    pub stalled: bool,
    /// Pressure the fan itself makes, Pa, the loss inside the unit included.
    pub fan_rise_pa: f64,
    /// Supply plenum against outdoors, Pa.
    pub supply_pa: f64,
    /// Return plenum against outdoors, Pa.
    pub return_pa: f64,
    /// Drop across the filter, Pa.
    pub filter_pa: f64,
    /// Flow down each trunk, m³/s.
    pub trunks_m3_s: Vec<f64>,
    /// Flow into the room from each outlet, m³/s.
    pub outlets_m3_s: Vec<f64>,
    /// Relief flow, m³/s.
    pub relief_m3_s: f64,
    /// Relief opening, 0..1.
    pub relief_opening: f64,
    /// Flow from each return room, m³/s.
    pub returns_m3_s: Vec<f64>,
    /// Flow through each door from its first to its second room, m³/s.
    pub doors_m3_s: Vec<f64>,
    /// Flow from each room to outdoors by leaks, m³/s.
    pub leaks_m3_s: Vec<f64>,
    /// Pressure of each room against outdoors, Pa.
    pub rooms_pa: Vec<f64>,
    /// Hours the fan has run, for filter loading.
    pub fan_hours: f64,
    pub(super) blade: f64,
    /// What is wrong with filter and relief.
    pub(super) impaired: Impairment,
    pub(super) network: NetworkState,
    /// What the last solution was for; `None` where there is none, or none that counts any more.
    pub(super) solved: Option<Solved>,
    /// Whether something moved in the step before.
    pub(super) moving: bool,
    /// From the last solution to the end of its step, and from the one before to it, s.
    pub(super) since_s: f64,
    pub(super) between_s: f64,
}

impl AirState {
    /// Takes over what is wrong from now on.
    pub fn impair(&mut self, with: Impairment) {
        if self.impaired != with {
            self.impaired = with;
            self.solved = None;
        }
    }

    /// Becomes the same as `source`. With `flows` false only what a step changes that leaves all flows as they
    /// are: see [`Outlook::Same`].
    pub fn assign(&mut self, source: &AirState, flows: bool) {
        let AirState {
            fan_m3_s,
            fan_speed,
            fan_w,
            stalled,
            fan_rise_pa,
            supply_pa,
            return_pa,
            filter_pa,
            trunks_m3_s,
            outlets_m3_s,
            relief_m3_s,
            relief_opening,
            returns_m3_s,
            doors_m3_s,
            leaks_m3_s,
            rooms_pa,
            fan_hours,
            blade,
            impaired,
            network,
            solved,
            moving,
            since_s,
            between_s,
        } = source;
        (self.relief_opening, self.fan_hours, self.blade) = (*relief_opening, *fan_hours, *blade);
        self.moving = *moving;
        if !flows {
            return;
        }
        (self.fan_m3_s, self.fan_speed, self.fan_w) = (*fan_m3_s, *fan_speed, *fan_w);
        (self.stalled, self.fan_rise_pa) = (*stalled, *fan_rise_pa);
        (self.supply_pa, self.return_pa) = (*supply_pa, *return_pa);
        (self.filter_pa, self.relief_m3_s) = (*filter_pa, *relief_m3_s);
        (self.since_s, self.between_s) = (*since_s, *between_s);
        self.impaired = *impaired;
        self.trunks_m3_s.clone_from(trunks_m3_s);
        self.outlets_m3_s.clone_from(outlets_m3_s);
        self.returns_m3_s.clone_from(returns_m3_s);
        self.doors_m3_s.clone_from(doors_m3_s);
        self.leaks_m3_s.clone_from(leaks_m3_s);
        self.rooms_pa.clone_from(rooms_pa);
        self.network.clone_from(network);
        self.solved.clone_from(solved);
    }
}

/// What a solution was for.
#[derive(Debug, PartialEq)]
pub(super) struct Solved {
    pub(super) fan: f64,
    pub(super) openings: Vec<f64>,
    pub(super) relief: f64,
    pub(super) open_doors: Vec<bool>,
    pub(super) loading: f64,
    pub(super) blade_at_rest: bool,
}

impl Solved {
    /// Whether this is the solution for a command and filter, with the relief's blade at rest.
    pub(super) fn is_for(&self, command: &AirCommand<'_>, loading: f64) -> bool {
        self.blade_at_rest
            && self.fan == command.fan
            && self.relief == command.relief
            && self.loading == loading
            && self.openings == command.openings
            && self.open_doors == command.open_doors
    }
}

clone_in_place!(Solved {
    fan,
    openings,
    relief,
    open_doors,
    loading,
    blade_at_rest
});

/// What a step would do to the flows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outlook {
    /// Leave them as they are.
    Same,
    /// Change them little by little, as dampers, blade and filter move.
    Drifting,
    /// Begin new ones: the fan was switched, a door opened or shut, or nothing is known of the last.
    New,
}
