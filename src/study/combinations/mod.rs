//! Every set of calling zones at steady state: which set fails?
//!
//! For each set and mode the plant is settled with
//! - the dampers of calling zones fully open, the unit at its minimum speed and at the highest speed
//!   that the controller brings about with these zones (its demand rule at full need, held back by its
//!   airflow limit);
//! - the calling zone with the least design flow fully open and the others at their minimum opening, the
//!   unit at the highest speed that the controller brings about: one zone in need drives the unit while
//!   the others are nearly satisfied;
//! - the dampers of calling zones at their minimum opening, the unit at its minimum speed (zones that
//!   are nearly satisfied ask for no more).
//!
//! Each is settled with a weighted relief blade come to rest from shut and from open, since its friction
//! leaves it a range: the one is harder on static, the other on supply air.
//!
//! The worst of these is judged. Beyond them the set is shown at rated speed whatever the controller
//! would do, for that is what a controller without these limits does; it does not count in the
//! verdict. The zones that do not call are as their schedules have them at the minute of the week
//! that leaves least air: at their opening when satisfied while scheduled, else shut (with leakage).

mod around;
mod steady;

use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;

use super::StudyError;
use super::criteria::Finding;
use super::settled::{Approach, Point};
use crate::control::Mode;
use crate::engine::RunError;
use crate::plant::air::MoistAir;
use crate::scenario::Scenario;

pub(crate) use steady::SteadyStates;

/// Zones up to which every set is looked at.
pub(crate) const ALL_SETS_UP_TO: usize = 12;
/// Sets from which the search among larger houses starts.
const CLIMBERS: usize = 8;
/// Rounds of that search.
const MOST_ROUNDS: usize = 100;

/// What to look at.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Options {
    /// Modes; empty = those that the controller may choose.
    pub modes: Vec<Mode>,
    /// Outdoor air for cooling, °C; `None` = the hottest of the scenario's weather.
    pub cooling_outdoor_c: Option<f64>,
    /// Outdoor air for heating, °C; `None` = the coldest.
    pub heating_outdoor_c: Option<f64>,
    /// Only sets that the schedule allows.
    pub permitted_only: bool,
    /// Air of each room; `None` = rooms at their zones' setpoints (the lowest of a zone's periods in
    /// cooling, the highest in heating), rooms without a zone at the zones' mean, at the humidity that
    /// rooms start with.
    pub rooms: Option<Vec<MoistAir>>,
}

/// Openings of the dampers of calling zones.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Dampers {
    /// Fully open.
    Full,
    /// The zone with the least design flow fully open, the others at their minimum opening.
    OneFull,
    /// At the minimum opening of a calling zone.
    Minimum,
}

impl Dampers {
    /// Name for files and notes.
    pub fn name(self) -> &'static str {
        match self {
            Dampers::Full => "full",
            Dampers::OneFull => "one full",
            Dampers::Minimum => "minimum",
        }
    }
}

/// Why the unit runs at its speed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SpeedOf {
    /// Its minimum.
    Minimum,
    /// The highest that the controller brings about with these zones.
    Controlled,
    /// Rated, whatever the controller would do.
    Rated,
}

impl SpeedOf {
    /// Name for files and notes.
    pub fn name(self) -> &'static str {
        match self {
            SpeedOf::Minimum => "minimum",
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
    /// The zones that do not call but are scheduled, so that they are at their opening when satisfied.
    pub idle: u64,
    /// Mode of the unit.
    pub mode: Mode,
    /// Whether some minute of the week has all of these zones scheduled.
    pub permitted: bool,
    /// The settled states; those that count first.
    pub states: Vec<StatePoint>,
    /// The worst that counts, by criterion in the order of [`CRITERIA`](crate::study::criteria::CRITERIA).
    pub worst: Vec<Option<Worst>>,
    /// The worst at rated speed.
    pub rated: Vec<Option<Worst>>,
}

impl Combination {
    /// Whether it meets every limit.
    pub fn passes(&self) -> bool {
        self.failed().next().is_none()
    }

    /// Indices of the criteria that fail.
    pub fn failed(&self) -> impl Iterator<Item = usize> {
        failed(&self.worst)
    }

    /// Indices of the criteria that would fail at rated speed.
    pub fn failed_at_rated(&self) -> impl Iterator<Item = usize> {
        failed(&self.rated)
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
        listed(zones, self.calls, joint)
    }
}

fn failed(worst: &[Option<Worst>]) -> impl Iterator<Item = usize> {
    let found = worst.iter().enumerate();
    found.filter_map(|(i, w)| w.as_ref().filter(|w| !w.finding.passes()).map(|_| i))
}

/// Indices of the zones in a set.
pub(crate) fn members(set: u64) -> impl Iterator<Item = usize> {
    (0..64).filter(move |i| set >> i & 1 == 1)
}

fn listed(zones: &[String], set: u64, joint: &str) -> String {
    let names: Vec<&str> = members(set)
        .filter_map(|i| zones.get(i).map(String::as_str))
        .collect();
    names.join(joint)
}

/// A set in words: "all 8", "all but records" when that is shorter, else its names joined by " + ".
pub(crate) fn set_name(zones: &[String], set: u64) -> String {
    let here = members(set).filter(|i| *i < zones.len()).count();
    let missing = zones.len() - here;
    if missing == 0 && here > 1 {
        return format!("all {here}");
    }
    if here > 2 && missing < here && missing <= 2 {
        return format!("all but {}", listed(zones, !set, " and "));
    }
    listed(zones, set, " + ")
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
    /// How many combinations fail.
    pub fn failed(&self) -> usize {
        self.list.iter().filter(|c| !c.passes()).count()
    }
}

/// The sets looked at first: every one up to [`ALL_SETS_UP_TO`] zones, else those of 1, 2, n−1, n.
pub(in crate::study) fn sets(zones: usize) -> Vec<u64> {
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
    let states = SteadyStates::new(s, options).map_err(StudyError::of(&s.name))?;
    let zones = states.zones();
    let mut first = sets(zones);
    if options.permitted_only {
        first.retain(|&set| states.permitted(set));
    }
    let every_set = zones <= ALL_SETS_UP_TO;
    let mut jobs = Vec::new();
    for mode in 0..states.modes.len() {
        jobs.extend(first.iter().map(|&set| (set, mode)));
    }
    let mut list = settle_all(&states, &jobs, progress).map_err(StudyError::of(&s.name))?;
    if !every_set {
        climb(&states, options, &mut list).map_err(StudyError::of(&s.name))?;
    }
    sort(&mut list);
    Ok(Combinations {
        zones: s.zones.iter().map(|z| z.name.clone()).collect(),
        modes: states.modes.iter().map(|(at, _)| *at).collect(),
        every_set,
        faults_left_out: !s.faults.is_empty(),
        list,
    })
}

/// Worst first: those that fail, then by how much of a limit is used; then smaller sets.
pub(crate) fn sort(list: &mut [Combination]) {
    list.sort_by(|a, b| {
        a.passes()
            .cmp(&b.passes())
            .then(b.used().total_cmp(&a.used()))
            .then(a.calls.count_ones().cmp(&b.calls.count_ones()))
            .then(a.calls.cmp(&b.calls))
            .then((a.mode == Mode::Heating).cmp(&(b.mode == Mode::Heating)))
    });
}

/// Every job from the same cold start, so that the answer does not depend on who did which.
pub(crate) fn settle_all(
    states: &SteadyStates,
    jobs: &[(u64, usize)],
    progress: &(dyn Fn(usize, usize) + Sync),
) -> Result<Vec<Combination>, RunError> {
    let done = AtomicUsize::new(0);
    let settled: Vec<Result<Combination, RunError>> = jobs
        .par_iter()
        .map_init(
            || states.clone(),
            |states, &(set, mode)| {
                let combination = states.combination(set, mode);
                progress(done.fetch_add(1, Ordering::Relaxed) + 1, jobs.len());
                combination
            },
        )
        .collect();
    settled.into_iter().collect()
}

/// From the worst sets of each mode, lets one zone more or less call as long as that makes it worse.
fn climb(
    states: &SteadyStates,
    options: &Options,
    list: &mut Vec<Combination>,
) -> Result<(), RunError> {
    let zones = states.zones();
    for mode in 0..states.modes.len() {
        let at = states.modes[mode].0.mode;
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
                    let allowed = !options.permitted_only || states.permitted(next);
                    if next != 0 && !known && allowed {
                        jobs.push((next, mode));
                    }
                }
            }
            if jobs.is_empty() {
                break;
            }
            let found = settle_all(states, &jobs, &|_, _| {})?;
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
    fn nearly_all_zones_are_named_by_those_missing() {
        let zones: Vec<String> = ["a", "b", "c", "d"].map(String::from).to_vec();
        let name = |set| set_name(&zones, set);
        assert_eq!(name(0b1111), "all 4");
        assert_eq!(name(0b1011), "all but c");
        assert_eq!(name(0b0011), "a + b");
        assert_eq!(set_name(&zones[..1], 1), "a");
    }

    #[test]
    fn others_are_as_the_week_leaves_least_air() {
        // Living (zone 0, open 35 % when satisfied) is scheduled 06:30 to 22:30; parents 19:00 to 08:00; children 16:00
        // to 08:00; study 08:00 to 18:00 on working days.
        let s = Scenario::embedded("family-house").unwrap();
        let states = SteadyStates::new(&s, &Options::default()).unwrap();
        assert!(states.permitted(0b1000) && states.permitted(0b1001));
        assert!(
            !states.permitted(0b1010),
            "parents and study are never scheduled together"
        );
        assert_eq!(
            states.idle_beside(0b1000) & 1,
            1,
            "study calls only while living is scheduled"
        );
        assert_eq!(
            states.idle_beside(0b0010) & 1,
            0,
            "parents sleep while living is not scheduled"
        );
    }
}
