//! Quiet seconds, which are most of them: nothing is decided, and the last commands stand.
//!
//! At the end of a step the controller notes within which readings, and until when, the next one
//! would decide nothing. As long as it stays so, a step is a handful of comparisons. Whatever is not
//! plainly quiet is stepped in full: a damper on its way to a start, a hold, a ramp, a zone that
//! waits for the other mode, a protection that acts.

use super::controller::{ControlState, Controller};
use super::io::{Commands, Readings};
use super::protection::{Protection, Sense, Watch};
use super::sequence::Phase;
use super::spec::ChannelOwner;

/// Until when, and within which readings, nothing is decided.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Quiet {
    /// A step before this decides nothing of itself, s.
    until_s: f64,
    minute_of_week: u16,
    /// The zones' readings; any other is news.
    zone_c: Vec<f64>,
    trips: Trips,
    /// Capacity that the rooms' air must carry for the airflow limit not to bind, W.
    enough_w: f64,
    /// The commands that stand.
    commands: Commands,
}

/// The nearest trip values of the protections that watch.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Trips {
    supply_low_c: f64,
    supply_high_c: f64,
    surface_low_c: f64,
    static_high_pa: f64,
    coil_flow_low: f64,
}

impl Trips {
    const NONE: Self = Self {
        supply_low_c: f64::NEG_INFINITY,
        supply_high_c: f64::INFINITY,
        surface_low_c: f64::NEG_INFINITY,
        static_high_pa: f64::INFINITY,
        coil_flow_low: f64::NEG_INFINITY,
    };

    fn of(protections: &[Protection], now: &Watch) -> Self {
        let mut trips = Self::NONE;
        for p in protections.iter().filter(|p| p.sense.watches(now)) {
            let nearest = match p.sense {
                Sense::SupplyLow => &mut trips.supply_low_c,
                Sense::SupplyHigh => &mut trips.supply_high_c,
                Sense::CoilSurfaceLow => &mut trips.surface_low_c,
                Sense::StaticHigh => &mut trips.static_high_pa,
                Sense::CoilFlowLow => &mut trips.coil_flow_low,
            };
            *nearest = if p.sense.trips_high() {
                nearest.min(p.trip)
            } else {
                nearest.max(p.trip)
            };
        }
        trips
    }

    /// Whether any reading is beyond its trip value; a lost one is not.
    #[inline]
    fn beyond(&self, r: &Readings<'_>) -> bool {
        r.supply_c < self.supply_low_c
            || r.supply_c > self.supply_high_c
            || r.coil_surface_c < self.surface_low_c
            || r.static_pa > self.static_high_pa
            || r.coil_flow_fraction < self.coil_flow_low
    }
}

impl Quiet {
    /// Nothing is known to be quiet.
    pub(super) fn never(zones: usize, commands: Commands) -> Self {
        Self {
            until_s: f64::NEG_INFINITY,
            minute_of_week: 0,
            zone_c: Vec::with_capacity(zones),
            trips: Trips::NONE,
            enough_w: f64::INFINITY,
            commands,
        }
    }

    /// The next step is a full one.
    pub(super) fn end(&mut self) {
        self.until_s = f64::NEG_INFINITY;
    }
}

impl Controller {
    /// Whether a step at this time and with these readings would decide nothing.
    #[inline]
    pub(super) fn is_quiet(
        &self,
        t_s: f64,
        minute_of_week: u16,
        readings: &Readings<'_>,
        state: &ControlState,
    ) -> bool {
        let quiet = &state.quiet;
        t_s < quiet.until_s
            && minute_of_week == quiet.minute_of_week
            && same(readings.zone_c, &quiet.zone_c)
            && !quiet.trips.beyond(readings)
            && self.air_carries(quiet.enough_w, readings, state)
    }

    /// Whether the airflow limit leaves the unit a capacity of `enough_w`.
    #[inline]
    fn air_carries(&self, enough_w: f64, r: &Readings<'_>, state: &ControlState) -> bool {
        let Some(limit) = &self.spec().staging.airflow_limit else {
            return true;
        };
        // Nothing is asked of a unit that is off.
        enough_w <= 0.0
            || limit.capacity_w(state.mode.mode, r.rooms_flow_m3_s, r.return_c) >= enough_w
    }

    /// A quiet step: the commands stand, but for a relief that follows the pressure.
    #[inline]
    pub(super) fn repeat(
        &self,
        dt_s: f64,
        readings: &Readings<'_>,
        state: &mut ControlState,
        commands: &mut Commands,
    ) {
        commands.take_over(&state.quiet.commands);
        if let (Some(pi), true) = (&self.spec().relief, state.fan_on) {
            let opening = pi.step(readings.static_pa, true, dt_s, &mut state.relief);
            commands.relief_opening = opening;
            let channels = commands.channel_opening.iter_mut();
            for (target, owner) in channels.zip(&self.spec().channels) {
                if *owner == ChannelOwner::Relief {
                    *target = opening;
                }
            }
        }
    }

    /// Notes, at the end of a full step, for how long nothing will be decided.
    pub(super) fn note_quiet(
        &self,
        t_s: f64,
        minute_of_week: u16,
        readings: &Readings<'_>,
        state: &mut ControlState,
        commands: &Commands,
    ) {
        state.quiet.end();
        let phase = state.sequence.phase;
        let running = phase == Phase::Running;
        let staging = &self.spec().staging;
        let stays = match phase {
            Phase::Idle => !state.some_zone_calls,
            Phase::Running => state.some_zone_calls,
            Phase::Opening | Phase::PostRun => false,
        };
        if !stays || state.mode.pending.is_some() || commands.unit.limited {
            return;
        }
        let (mut until_s, mut enough_w) = (state.openings_due_s, 0.0);
        if running {
            let Some(demand) = state.demand else { return };
            until_s = until_s.min(staging.steady_until_s(demand, &state.staging));
            if let Some(limit) = &staging.airflow_limit {
                if t_s - state.sequence.started_s < limit.blind_s {
                    return;
                }
                let speed = staging.free_speed(demand, &state.staging);
                enough_w = limit.enough_w(state.mode.mode, speed);
            }
        }
        if until_s <= t_s
            || state.least_open != 0.0
            || !state.sequence.is_free()
            || !state.protections.iter().all(|p| p.is_idle())
            || !state.zones.iter().all(|z| z.waiting_since_s.is_nan())
        {
            return;
        }
        for zone in &state.zones {
            until_s = until_s.min(zone.override_ends_s());
        }
        let trips = Trips::of(&self.spec().protections, &self.watch(t_s, state));
        let quiet = &mut state.quiet;
        quiet.until_s = until_s;
        quiet.minute_of_week = minute_of_week;
        quiet.zone_c.clear();
        quiet.zone_c.extend_from_slice(readings.zone_c);
        quiet.trips = trips;
        quiet.enough_w = enough_w;
        quiet.commands.take_over(commands);
    }
}

/// Whether two lists are the same, bit by bit: a lost reading is the same as a lost one.
#[inline]
fn same(a: &[f64], b: &[f64]) -> bool {
    let differing = |d: u64, (a, b): (&f64, &f64)| d | (a.to_bits() ^ b.to_bits());
    a.len() == b.len() && a.iter().zip(b).fold(0, differing) == 0
}
