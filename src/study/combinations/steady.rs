//! A scenario made ready for settling sets of zones.

use super::around;
use super::{Combination, Dampers, ModeAt, Options, SpeedOf, StatePoint, Worst, members};
use crate::control::damper::Damper;
use crate::control::staging::{Need, Stages};
use crate::control::zone::ZoneSpec;
use crate::control::{ControllerSpec, Mode};
use crate::engine::RunError;
use crate::scenario::Scenario;
use crate::study::criteria::{CRITERIA, Facts};
use crate::study::settled::{Approach, Held, Setting, SteadyPlant};

/// An error so large that every zone asks for all it may, K.
const FULL_NEED_K: f64 = 100.0;
/// Iterations in which the controller's speed must be found.
const MOST_HALVINGS: usize = 60;

/// A scenario made ready for settling sets of zones.
#[derive(Clone, Debug)]
pub(crate) struct SteadyStates {
    plant: SteadyPlant,
    facts: Facts,
    control: ControllerSpec,
    shares: Vec<f64>,
    zone_outlets: Vec<Vec<usize>>,
    /// Opening of outlets that no zone drives.
    unowned: Vec<f64>,
    /// Scheduled zones, one entry a distinct pattern of the week.
    patterns: Vec<u64>,
    design_m3_s: Vec<f64>,
    idle_air: Vec<f64>,
    pub(super) modes: Vec<(ModeAt, Held)>,
}

impl SteadyStates {
    /// Prepares a scenario.
    ///
    /// # Errors
    /// An air network that cannot be joined.
    pub(crate) fn new(s: &Scenario, options: &Options) -> Result<SteadyStates, RunError> {
        let control = s.control.controller.spec().clone();
        let total: f64 = control.zones.iter().map(|z| z.weight).sum();
        let modes = around::modes(s, options)
            .into_iter()
            .map(|at| (at, around::held(s, at, options)))
            .collect();
        Ok(SteadyStates {
            plant: SteadyPlant::new(s)?,
            facts: Facts::new(s),
            shares: control.zones.iter().map(|z| z.weight / total).collect(),
            zone_outlets: s.zones.iter().map(|z| z.outlets.clone()).collect(),
            unowned: s
                .control
                .outlet_channel
                .iter()
                .map(|c| if c.is_some() { 0.0 } else { 1.0 })
                .collect(),
            patterns: patterns(&control),
            design_m3_s: s
                .zones
                .iter()
                .map(|z| {
                    z.outlets
                        .iter()
                        .map(|&o| s.outlets[o].design_flow_m3_s)
                        .sum()
                })
                .collect(),
            idle_air: s
                .zones
                .iter()
                .zip(&control.zones)
                .map(|(z, spec)| {
                    let design = |&o: &usize| s.outlets[o].design_flow_m3_s;
                    opening_at_rest(spec, true) * z.outlets.iter().map(design).sum::<f64>()
                })
                .collect(),
            control,
            modes,
        })
    }

    /// The zones' number.
    pub(crate) fn zones(&self) -> usize {
        self.zone_outlets.len()
    }

    /// The modes looked at, with what is held in each.
    pub(crate) fn modes(&self) -> &[(ModeAt, Held)] {
        &self.modes
    }

    /// Whether the schedule lets all of a set call at once.
    pub(crate) fn permitted(&self, calls: u64) -> bool {
        self.patterns.iter().any(|&p| p & calls == calls)
    }

    /// The zones beside `calls` that are scheduled at the minute that leaves least air through them.
    pub(super) fn idle_beside(&self, calls: u64) -> u64 {
        let permitted = self.permitted(calls);
        let air = |set: u64| -> f64 { members(set).map(|i| self.idle_air[i]).sum() };
        self.patterns
            .iter()
            .filter(|&&p| !permitted || p & calls == calls)
            .map(|&p| p & !calls)
            .min_by(|&a, &b| air(a).total_cmp(&air(b)).then(a.cmp(&b)))
            .unwrap_or(0)
    }

    /// Opening of every outlet.
    fn openings(&self, calls: u64, idle: u64, dampers: Dampers) -> Vec<f64> {
        let mut openings = self.unowned.clone();
        let in_need = members(calls)
            .filter(|&i| i < self.design_m3_s.len())
            .min_by(|&a, &b| self.design_m3_s[a].total_cmp(&self.design_m3_s[b]));
        for (i, outlets) in self.zone_outlets.iter().enumerate() {
            let spec = &self.control.zones[i];
            let opening = if calls >> i & 1 == 1 {
                match (spec.damper, dampers) {
                    (Damper::Fixed { opening }, _) => opening,
                    (Damper::Modulating(m), Dampers::Minimum) => m.minimum_open,
                    (Damper::Modulating(m), Dampers::OneFull) if in_need != Some(i) => {
                        m.minimum_open
                    }
                    _ => 1.0,
                }
            } else {
                opening_at_rest(spec, idle >> i & 1 == 1)
            };
            for &o in outlets {
                openings[o] = opening;
            }
        }
        openings
    }

    /// Settles and judges a set in one of [`SteadyStates::modes`].
    ///
    /// # Errors
    /// A state that cannot be solved.
    pub(crate) fn combination(&mut self, calls: u64, mode: usize) -> Result<Combination, RunError> {
        let (at, held) = self.modes[mode].clone();
        let idle = self.idle_beside(calls);
        let [full, one, least] = [Dampers::Full, Dampers::OneFull, Dampers::Minimum]
            .map(|d| self.openings(calls, idle, d));
        let slowest = self.control.staging.stages.minimum();
        let sides: &[Approach] = if self.plant.sticks() {
            &[Approach::FromShut, Approach::FromOpen]
        } else {
            &[Approach::FromShut]
        };
        let mut states: Vec<StatePoint> = Vec::with_capacity(6 * sides.len());
        for &approach in sides {
            let mut wanted: Vec<(Dampers, SpeedOf, f64)> = Vec::with_capacity(6);
            let controlled = self.controlled_speed(&held, at.mode, calls, &full, approach)?;
            wanted.push((Dampers::Full, SpeedOf::Controlled, controlled));
            if one != full && one != least {
                let speed = self.controlled_speed(&held, at.mode, calls, &one, approach)?;
                wanted.push((Dampers::OneFull, SpeedOf::Controlled, speed));
            }
            if slowest != controlled {
                wanted.push((Dampers::Full, SpeedOf::Minimum, slowest));
            }
            if least != full {
                wanted.push((Dampers::Minimum, SpeedOf::Minimum, slowest));
            }
            if controlled != 1.0 {
                wanted.push((Dampers::Full, SpeedOf::Rated, 1.0));
            }
            if least != full && slowest != 1.0 {
                wanted.push((Dampers::Minimum, SpeedOf::Rated, 1.0));
            }
            for (dampers, speed_of, speed) in wanted {
                let openings = match dampers {
                    Dampers::Full => &full,
                    Dampers::OneFull => &one,
                    Dampers::Minimum => &least,
                };
                let setting = Setting {
                    openings,
                    mode: at.mode,
                    speed,
                    fan: self.fan(speed),
                    approach,
                };
                states.push(StatePoint {
                    dampers,
                    speed_of,
                    approach,
                    point: self.plant.settle(&held, &setting)?,
                });
            }
        }
        // A state that the controller brings about at rated speed is also one at rated speed.
        let at_rated = |s: &StatePoint| s.point.speed == 1.0;
        let worst = self.worst(&states, at.mode, StatePoint::counts);
        let rated = self.worst(&states, at.mode, at_rated);
        Ok(Combination {
            calls,
            idle,
            mode: at.mode,
            permitted: self.permitted(calls),
            states,
            worst,
            rated,
        })
    }

    fn worst(
        &self,
        states: &[StatePoint],
        mode: Mode,
        counts: impl Fn(&StatePoint) -> bool,
    ) -> Vec<Option<Worst>> {
        CRITERIA
            .iter()
            .map(|criterion| {
                let mut worst: Option<Worst> = None;
                for (state, s) in states.iter().enumerate().filter(|(_, s)| counts(s)) {
                    let Some(finding) = (criterion.find)(&self.facts, &s.point, mode) else {
                        continue;
                    };
                    let is_worse = worst
                        .as_ref()
                        .is_none_or(|w| finding.used() > w.finding.used());
                    if is_worse {
                        worst = Some(Worst { finding, state });
                    }
                }
                worst
            })
            .collect()
    }

    fn fan(&self, speed: f64) -> f64 {
        self.control
            .fan
            .running(speed, &self.control.staging.stages)
    }

    /// The highest speed that the controller brings about with these zones fully in need.
    ///
    /// A variable-speed unit starts at its minimum speed and rises until it meets its demand or the speed
    /// that the rooms' air can carry; the fan rises with it, so that meeting point is searched for.
    fn controlled_speed(
        &mut self,
        held: &Held,
        mode: Mode,
        calls: u64,
        openings: &[f64],
        approach: Approach,
    ) -> Result<f64, RunError> {
        let staging = self.control.staging.clone();
        let mut need = Need::default();
        for i in members(calls) {
            if let Some(&share) = self.shares.get(i) {
                need.add(share, FULL_NEED_K, staging.band_k);
            }
        }
        let demand = staging.demand(&need);
        let least = staging.stages.minimum();
        let Some(limit) = &staging.airflow_limit else {
            return Ok(match staging.stages {
                Stages::TwoStage { low } if demand > low => 1.0,
                Stages::TwoStage { low } => low,
                _ => demand,
            });
        };
        let cap = |states: &mut SteadyStates, speed: f64| -> Result<f64, RunError> {
            let air = states
                .plant
                .air(held, openings, states.fan(speed), approach)?;
            let rooms: f64 = air.outlets_m3_s.iter().map(|q| q.max(0.0)).sum();
            let return_c = states.plant.return_c(held, &air);
            Ok(limit.speed(mode, rooms, return_c))
        };
        match staging.stages {
            Stages::FixedSpeed => Ok(1.0),
            Stages::TwoStage { low } => {
                // The high stage is held off while the low stage's air could not carry it.
                let full = demand > low && cap(self, low)? >= 1.0;
                Ok(if full { 1.0 } else { low })
            }
            Stages::VariableSpeed { .. } => {
                if demand <= least || cap(self, least)? <= least {
                    return Ok(least);
                }
                if cap(self, demand)? >= demand {
                    return Ok(demand);
                }
                let (mut low, mut high) = (least, demand);
                for _ in 0..MOST_HALVINGS {
                    let middle = 0.5 * (low + high);
                    let cap = cap(self, middle)?;
                    if cap >= middle {
                        low = middle;
                    } else {
                        // The meeting point lies no higher than what this speed's air carries, for
                        // slower air carries less.
                        high = middle.min(cap.max(low));
                    }
                    if high - low < 1e-6 {
                        break;
                    }
                }
                Ok(low)
            }
        }
    }
}

fn opening_at_rest(spec: &ZoneSpec, scheduled: bool) -> f64 {
    match spec.damper {
        Damper::Fixed { opening } => opening,
        _ if scheduled => spec.opening_when_satisfied,
        _ => 0.0,
    }
}

/// Every distinct set of zones that are scheduled together at some minute of the week.
fn patterns(control: &ControllerSpec) -> Vec<u64> {
    let mut seen = Vec::new();
    let mut last = None;
    for minute in 0..7 * 1440 {
        let zones = control.zones.iter().take(64).enumerate();
        let set = zones.fold(0, |set, (i, z)| {
            set | u64::from(z.timetable.period_at(minute).is_some()) << i
        });
        if last != Some(set) && !seen.contains(&set) {
            seen.push(set);
        }
        last = Some(set);
    }
    seen
}
