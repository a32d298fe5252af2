//! Every set of calling zones in its settled state: which set of zones breaks it?
//!
//! For each set and mode the plant is settled with
//! - the dampers of calling zones fully open, the unit at its least speed and at the highest speed
//!   that the controller brings about with these zones (its demand rule at full need, held back by its
//!   airflow limit);
//! - the calling zone with the least design flow fully open and the others at their least opening, the
//!   unit at the highest speed that the controller brings about: one zone in need drives the unit while
//!   the others are nearly satisfied;
//! - the dampers of calling zones at their least opening, the unit at its least speed (zones that
//!   are nearly satisfied ask for no more).
//!
//! Each is settled with a weighted relief blade come to rest from shut and from open, since its friction
//! leaves it a range: the one is harder on static, the other on supply air.
//!
//! The worst of these is judged. Beyond them the set is shown at rated speed whatever the controller
//! would do, for that is what a controller without these limits does; it does not count in the
//! verdict. The zones that do not call stand as their time bands have them at the minute of the week
//! that leaves least air: at their idle opening in a band, shut (with leakage) outside it.

use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;

use super::StudyError;
use super::criteria::{CRITERIA, Facts, Finding};
use super::settled::{Approach, Held, Point, Setting, Stand};
use crate::control::damper::Damper;
use crate::control::mode::ModeRule;
use crate::control::staging::{Need, Stages};
use crate::control::{ControllerSpec, Mode};
use crate::plant::air::MoistAir;
use crate::plant::room::Hours;
use crate::run::RunError;
use crate::scenario::Scenario;

/// Zones up to which every set is looked at.
pub const ALL_SETS_UP_TO: usize = 12;
/// Sets from which the search among larger houses starts.
const CLIMBERS: usize = 8;
/// Rounds of that search.
const MOST_ROUNDS: usize = 100;
/// An error so large that every zone asks for all it may, K.
const FULL_NEED_K: f64 = 100.0;
/// Iterations in which the controller's speed must be found.
const MOST_HALVINGS: usize = 60;

/// What to look at.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Options {
    /// Modes; empty = those that the controller may choose.
    pub modes: Vec<Mode>,
    /// Outdoor air for cooling, °C; `None` = the hottest of the scenario's weather.
    pub cooling_outdoor_c: Option<f64>,
    /// Outdoor air for heating, °C; `None` = the coldest.
    pub heating_outdoor_c: Option<f64>,
    /// Only sets that the time bands allow.
    pub permitted_only: bool,
    /// Air of each room; `None` = rooms at their zones' setpoints (the lowest of a zone's bands in
    /// cooling, the highest in heating), rooms without a zone at the zones' mean, at the humidity that
    /// rooms start with.
    pub rooms: Option<Vec<MoistAir>>,
}

/// How the dampers of calling zones stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Dampers {
    /// Fully open.
    Full,
    /// The zone with the least design flow fully open, the others at their least opening.
    OneFull,
    /// At the least opening of a calling zone.
    Least,
}

impl Dampers {
    /// Name for files and notes.
    pub fn name(self) -> &'static str {
        match self {
            Dampers::Full => "full",
            Dampers::OneFull => "one full",
            Dampers::Least => "least",
        }
    }
}

/// Why the unit runs at its speed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SpeedOf {
    /// Its least.
    Least,
    /// The highest that the controller brings about with these zones.
    Controlled,
    /// Rated, whatever the controller would do.
    Rated,
}

impl SpeedOf {
    /// Name for files and notes.
    pub fn name(self) -> &'static str {
        match self {
            SpeedOf::Least => "least",
            SpeedOf::Controlled => "controlled",
            SpeedOf::Rated => "rated",
        }
    }
}

/// A settled state of a set.
#[derive(Clone, Debug, PartialEq)]
pub struct StatePoint {
    /// Dampers of the calling zones.
    pub dampers: Dampers,
    /// Why the unit runs at its speed.
    pub speed_of: SpeedOf,
    /// From which side a weighted relief blade came to rest.
    pub approach: Approach,
    /// The state.
    pub point: Point,
}

impl StatePoint {
    /// Whether the controller brings it about, so that it counts.
    pub fn counts(&self) -> bool {
        self.speed_of != SpeedOf::Rated
    }
}

/// The worst finding on one criterion, with the index of its state.
#[derive(Clone, Debug, PartialEq)]
pub struct Worst {
    /// What was found.
    pub finding: Finding,
    /// Which state of the combination.
    pub state: usize,
}

/// A set of calling zones in one mode.
#[derive(Clone, Debug, PartialEq)]
pub struct Combination {
    /// The zones that call, one bit each.
    pub calls: u64,
    /// The zones that do not call but are in a time band, so that they stand at their idle opening.
    pub idle: u64,
    /// Mode of the unit.
    pub mode: Mode,
    /// Whether some minute of the week has all of these zones in a time band.
    pub permitted: bool,
    /// The settled states; those that count first.
    pub states: Vec<StatePoint>,
    /// The worst that counts, by criterion in the order of [`CRITERIA`].
    pub worst: Vec<Option<Worst>>,
    /// The worst at rated speed.
    pub rated: Vec<Option<Worst>>,
}

impl Combination {
    /// Whether every limit holds.
    pub fn holds(&self) -> bool {
        self.broken().next().is_none()
    }

    /// Indices of the criteria whose limits are broken.
    pub fn broken(&self) -> impl Iterator<Item = usize> {
        broken(&self.worst)
    }

    /// Indices of the criteria whose limits would be broken at rated speed.
    pub fn broken_at_rated(&self) -> impl Iterator<Item = usize> {
        broken(&self.rated)
    }

    /// The largest share of a limit that is used.
    pub fn used(&self) -> f64 {
        self.worst
            .iter()
            .flatten()
            .map(|w| w.finding.used())
            .fold(f64::NEG_INFINITY, f64::max)
    }

    /// The state with calling dampers full and the unit at the controller's speed.
    pub fn controlled(&self) -> Option<&StatePoint> {
        self.states
            .iter()
            .find(|s| s.speed_of == SpeedOf::Controlled)
    }

    /// The calling zones' names, joined by `joint`.
    pub fn names(&self, zones: &[String], joint: &str) -> String {
        let names: Vec<&str> = members(self.calls)
            .filter_map(|i| zones.get(i).map(String::as_str))
            .collect();
        names.join(joint)
    }
}

fn broken(worst: &[Option<Worst>]) -> impl Iterator<Item = usize> {
    let found = worst.iter().enumerate();
    found.filter_map(|(i, w)| w.as_ref().filter(|w| !w.finding.holds()).map(|_| i))
}

/// Indices of the zones in a set.
pub fn members(set: u64) -> impl Iterator<Item = usize> {
    (0..64).filter(move |i| set >> i & 1 == 1)
}

/// What a mode was judged at.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ModeAt {
    /// The mode.
    pub mode: Mode,
    /// Outdoor air, °C.
    pub outdoor_c: f64,
}

/// All combinations, worst first.
#[derive(Clone, Debug, PartialEq)]
pub struct Combinations {
    /// Names of the zones.
    pub zones: Vec<String>,
    /// The modes looked at.
    pub modes: Vec<ModeAt>,
    /// Whether every set was looked at, or those of 1, 2, n−1, n zones and what the search found.
    pub every_set: bool,
    /// Whether the file has faults, which are left out: the healthy system is settled.
    pub faults_left_out: bool,
    /// The combinations.
    pub list: Vec<Combination>,
}

impl Combinations {
    /// Combinations that break a limit.
    pub fn broken(&self) -> usize {
        self.list.iter().filter(|c| !c.holds()).count()
    }
}

/// A scenario made ready for settling sets of zones.
#[derive(Clone, Debug)]
pub struct Bench {
    stand: Stand,
    facts: Facts,
    control: ControllerSpec,
    shares: Vec<f64>,
    zone_outlets: Vec<Vec<usize>>,
    /// Opening of outlets that no zone drives.
    unowned: Vec<f64>,
    /// Zones in a time band, one entry a distinct pattern of the week.
    patterns: Vec<u64>,
    design_m3_s: Vec<f64>,
    idle_air: Vec<f64>,
    modes: Vec<(ModeAt, Held)>,
}

impl Bench {
    /// Prepares a scenario.
    ///
    /// # Errors
    /// An air network that cannot be joined.
    pub fn new(s: &Scenario, options: &Options) -> Result<Bench, RunError> {
        let control = s.control.controller.spec().clone();
        let total: f64 = control.zones.iter().map(|z| z.weight).sum();
        let modes = modes(s, options)
            .into_iter()
            .map(|at| (at, held(s, at, options)))
            .collect();
        Ok(Bench {
            stand: Stand::new(s)?,
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
                    idle_opening(spec, true) * z.outlets.iter().map(design).sum::<f64>()
                })
                .collect(),
            control,
            modes,
        })
    }

    /// The zones' number.
    pub fn zones(&self) -> usize {
        self.zone_outlets.len()
    }

    /// The modes looked at, with what is held in each.
    pub fn modes(&self) -> &[(ModeAt, Held)] {
        &self.modes
    }

    /// Whether the time bands let all of a set call at once.
    pub fn permitted(&self, calls: u64) -> bool {
        self.patterns.iter().any(|&p| p & calls == calls)
    }

    /// The zones beside `calls` that are in band at the minute that leaves least air through them.
    fn idle_beside(&self, calls: u64) -> u64 {
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
                    (Damper::Modulating(m), Dampers::Least) => m.minimum_open,
                    (Damper::Modulating(m), Dampers::OneFull) if in_need != Some(i) => {
                        m.minimum_open
                    }
                    _ => 1.0,
                }
            } else {
                idle_opening(spec, idle >> i & 1 == 1)
            };
            for &o in outlets {
                openings[o] = opening;
            }
        }
        openings
    }

    /// Settles and judges a set in one of [`Bench::modes`].
    ///
    /// # Errors
    /// A state that cannot be solved.
    pub fn combination(&mut self, calls: u64, mode: usize) -> Result<Combination, RunError> {
        let (at, held) = self.modes[mode].clone();
        let idle = self.idle_beside(calls);
        let [full, one, least] = [Dampers::Full, Dampers::OneFull, Dampers::Least]
            .map(|d| self.openings(calls, idle, d));
        let slowest = self.control.staging.stages.minimum();
        let sides: &[Approach] = if self.stand.sticks() {
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
                wanted.push((Dampers::Full, SpeedOf::Least, slowest));
            }
            if least != full {
                wanted.push((Dampers::Least, SpeedOf::Least, slowest));
            }
            if controlled != 1.0 {
                wanted.push((Dampers::Full, SpeedOf::Rated, 1.0));
            }
            if least != full && slowest != 1.0 {
                wanted.push((Dampers::Least, SpeedOf::Rated, 1.0));
            }
            for (dampers, speed_of, speed) in wanted {
                let openings = match dampers {
                    Dampers::Full => &full,
                    Dampers::OneFull => &one,
                    Dampers::Least => &least,
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
                    point: self.stand.settle(&held, &setting)?,
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
    /// A variable-speed unit starts at its least speed and rises until it meets its demand or the speed
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
        let cap = |bench: &mut Bench, speed: f64| -> Result<f64, RunError> {
            let air = bench
                .stand
                .blow(held, openings, bench.fan(speed), approach)?;
            let rooms: f64 = air.outlets_m3_s.iter().map(|q| q.max(0.0)).sum();
            let return_c = bench.stand.return_c(held, &air);
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

fn idle_opening(spec: &crate::control::zone::ZoneSpec, in_band: bool) -> f64 {
    match spec.damper {
        Damper::Fixed { opening } => opening,
        _ if in_band => spec.idle_open,
        _ => 0.0,
    }
}

/// Every distinct set of zones that are in band together at some minute of the week.
fn patterns(control: &ControllerSpec) -> Vec<u64> {
    let mut seen = Vec::new();
    let mut last = None;
    for minute in 0..7 * 1440 {
        let zones = control.zones.iter().take(64).enumerate();
        let set = zones.fold(0, |set, (i, z)| {
            set | u64::from(z.timetable.band_at(minute).is_some()) << i
        });
        if last != Some(set) && !seen.contains(&set) {
            seen.push(set);
        }
        last = Some(set);
    }
    seen
}

/// The modes to look at, with their outdoor air.
fn modes(s: &Scenario, options: &Options) -> Vec<ModeAt> {
    let both = [Mode::Cooling, Mode::Heating];
    let wanted = if options.modes.is_empty() {
        match s.control.controller.spec().mode.rule {
            ModeRule::Fixed(mode) => vec![mode],
            _ => both.to_vec(),
        }
    } else {
        options.modes.clone()
    };
    let (coldest, hottest) = extremes_c(s);
    both.into_iter()
        .filter(|mode| wanted.contains(mode))
        .filter(|mode| match mode {
            Mode::Cooling => s.unit.unit.cooling.is_some(),
            Mode::Heating => s.unit.unit.heating.is_some(),
        })
        .map(|mode| ModeAt {
            mode,
            outdoor_c: match mode {
                Mode::Cooling => options.cooling_outdoor_c.unwrap_or(hottest),
                Mode::Heating => options.heating_outdoor_c.unwrap_or(coldest),
            },
        })
        .collect()
}

/// Coldest and hottest outdoor air during the run, looked at every ten minutes, °C.
fn extremes_c(s: &Scenario) -> (f64, f64) {
    let steps = (s.run.duration_s / 600.0).ceil() as i64;
    let mut range = (f64::INFINITY, f64::NEG_INFINITY);
    for i in 0..=steps {
        let local = s.run.start + chrono::TimeDelta::seconds(600 * i);
        let air_c = s.weather.sample(&s.site, local, &s.site.sun(local)).air_c;
        range = (range.0.min(air_c), range.1.max(air_c));
    }
    range
}

/// Setpoints where a scenario says nothing for a mode: those that files default to, °C.
const COOLING_C: f64 = 25.0;
const HEATING_C: f64 = 20.0;

/// Rooms as [`Options::rooms`] says; doors shut unless they never are.
fn held(s: &Scenario, at: ModeAt, options: &Options) -> Held {
    let spec = s.control.controller.spec();
    let other_only = spec.mode.rule == ModeRule::Fixed(at.mode.other());
    let setpoint = |zone: usize| -> Option<f64> {
        let bands = spec.zones[zone].timetable.bands().iter();
        if other_only {
            return None;
        }
        match at.mode {
            Mode::Cooling => bands.map(|b| b.setpoints.cooling_c).min_by(f64::total_cmp),
            Mode::Heating => bands.map(|b| b.setpoints.heating_c).max_by(f64::total_cmp),
        }
    };
    let known: Vec<f64> = (0..s.zones.len()).filter_map(setpoint).collect();
    let mean = if known.is_empty() {
        match at.mode {
            Mode::Cooling => COOLING_C,
            Mode::Heating => HEATING_C,
        }
    } else {
        known.iter().sum::<f64>() / known.len() as f64
    };
    let at_setpoint = s
        .rooms
        .iter()
        .enumerate()
        .map(|(room, r)| {
            let t_c = s.zone_of_room(room).and_then(setpoint).unwrap_or(mean);
            MoistAir::from_relative_humidity(t_c, r.initial_rh, s.site.pressure_pa)
        })
        .collect();
    let asked = options.rooms.clone();
    let rooms = asked
        .filter(|r| r.len() == s.rooms.len())
        .unwrap_or(at_setpoint);
    Held {
        outdoor_c: at.outdoor_c,
        rooms,
        open_doors: s
            .doors
            .iter()
            .map(|d| d.open.contains(&Hours::ALWAYS))
            .collect(),
        dump_reaches_return: true,
    }
}

/// The sets looked at first: every one up to [`ALL_SETS_UP_TO`] zones, else those of 1, 2, n−1, n.
pub(super) fn sets(zones: usize) -> Vec<u64> {
    let all = if zones >= 64 {
        u64::MAX
    } else {
        (1 << zones) - 1
    };
    if zones <= ALL_SETS_UP_TO {
        return (1..=all).collect();
    }
    let mut sets = Vec::new();
    for i in 0..zones {
        sets.push(1 << i);
        sets.push(all & !(1 << i));
        for j in 0..i {
            sets.push(1 << i | 1 << j);
        }
    }
    sets.push(all);
    sets
}

/// Settles and judges the sets of a scenario. `progress` hears how many are done, of how many.
///
/// # Errors
/// The first set, in order, that cannot be solved.
pub fn combinations(
    s: &Scenario,
    options: &Options,
    progress: &(dyn Fn(usize, usize) + Sync),
) -> Result<Combinations, StudyError> {
    let bench = Bench::new(s, options).map_err(StudyError::of(&s.name))?;
    let zones = bench.zones();
    let mut first = sets(zones);
    if options.permitted_only {
        first.retain(|&set| bench.permitted(set));
    }
    let every_set = zones <= ALL_SETS_UP_TO;
    let mut jobs = Vec::new();
    for mode in 0..bench.modes.len() {
        jobs.extend(first.iter().map(|&set| (set, mode)));
    }
    let mut list = settle_all(&bench, &jobs, progress).map_err(StudyError::of(&s.name))?;
    if !every_set {
        climb(&bench, options, &mut list).map_err(StudyError::of(&s.name))?;
    }
    sort(&mut list);
    Ok(Combinations {
        zones: s.zones.iter().map(|z| z.name.clone()).collect(),
        modes: bench.modes.iter().map(|(at, _)| *at).collect(),
        every_set,
        faults_left_out: !s.faults.is_empty(),
        list,
    })
}

/// Worst first: those that break limits, then by how much of a limit is used; then smaller sets.
pub fn sort(list: &mut [Combination]) {
    list.sort_by(|a, b| {
        a.holds()
            .cmp(&b.holds())
            .then(b.used().total_cmp(&a.used()))
            .then(a.calls.count_ones().cmp(&b.calls.count_ones()))
            .then(a.calls.cmp(&b.calls))
            .then((a.mode == Mode::Heating).cmp(&(b.mode == Mode::Heating)))
    });
}

/// Every job from the same cold start, so that the answer does not depend on who did which.
pub fn settle_all(
    bench: &Bench,
    jobs: &[(u64, usize)],
    progress: &(dyn Fn(usize, usize) + Sync),
) -> Result<Vec<Combination>, RunError> {
    let done = AtomicUsize::new(0);
    let settled: Vec<Result<Combination, RunError>> = jobs
        .par_iter()
        .map_init(
            || bench.clone(),
            |bench, &(set, mode)| {
                let combination = bench.combination(set, mode);
                progress(done.fetch_add(1, Ordering::Relaxed) + 1, jobs.len());
                combination
            },
        )
        .collect();
    settled.into_iter().collect()
}

/// From the worst sets of each mode, lets one zone more or less call as long as that makes it worse.
fn climb(bench: &Bench, options: &Options, list: &mut Vec<Combination>) -> Result<(), RunError> {
    let zones = bench.zones();
    for mode in 0..bench.modes.len() {
        let at = bench.modes[mode].0.mode;
        let mut here: Vec<Combination> = list.iter().filter(|c| c.mode == at).cloned().collect();
        sort(&mut here);
        here.truncate(CLIMBERS);
        for _ in 0..MOST_ROUNDS {
            let mut jobs: Vec<(u64, usize)> = Vec::new();
            for c in &here {
                for i in 0..zones {
                    let next = c.calls ^ (1 << i);
                    let known = list.iter().any(|k| k.calls == next && k.mode == at)
                        || jobs.contains(&(next, mode));
                    let allowed = !options.permitted_only || bench.permitted(next);
                    if next != 0 && !known && allowed {
                        jobs.push((next, mode));
                    }
                }
            }
            if jobs.is_empty() {
                break;
            }
            let found = settle_all(bench, &jobs, &|_, _| {})?;
            let bar = here
                .iter()
                .map(Combination::used)
                .fold(f64::INFINITY, f64::min);
            let better: Vec<Combination> =
                found.iter().filter(|c| c.used() > bar).cloned().collect();
            list.extend(found);
            if better.is_empty() {
                break;
            }
            here = better;
            sort(&mut here);
            here.truncate(CLIMBERS);
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sets_of_a_large_house_are_those_of_one_two_and_nearly_all() {
        assert_eq!(sets(4).len(), 15);
        assert_eq!(sets(12).len(), 4095);
        assert_eq!(sets(16).len(), 16 + 16 + 120 + 1);
        assert!(sets(64).contains(&u64::MAX));
    }

    #[test]
    fn others_stand_as_the_week_leaves_least_air() {
        // Living (zone 0, idle at 35 %) is in band 06:30 to 22:30; parents 19:00 to 08:00; children 16:00
        // to 08:00; study 08:00 to 18:00 on working days.
        let s = Scenario::embedded("family-house").unwrap();
        let bench = Bench::new(&s, &Options::default()).unwrap();
        assert!(bench.permitted(0b1000) && bench.permitted(0b1001));
        assert!(
            !bench.permitted(0b1010),
            "parents and study are never in band together"
        );
        assert_eq!(
            bench.idle_beside(0b1000) & 1,
            1,
            "study calls only while living is in band"
        );
        assert_eq!(
            bench.idle_beside(0b0010) & 1,
            0,
            "parents sleep while living is out of band"
        );
    }
}
