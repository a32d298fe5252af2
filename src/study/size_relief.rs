//! Which relief, or what instead of one, holds every set of zones that may call?
//!
//! Each way of [`super::alternatives`] is halved down to its least sufficient strength on settled states;
//! what is found is judged on every permitted set of zones, and one full run of each says what it costs.

use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;

use super::StudyError;
use super::alternatives::{self, Way};
use super::case::{Case, Edit};
use super::combinations::{Bench, Combination, Options, members, settle_all};
use super::criteria::{CRITERIA, Finding, Trend};
use crate::control::Mode;
use crate::measure::Measure;
use crate::run::{Outcome, simulate};

/// Up to this many sets and modes, all are settled at every look; beyond, those that bind are.
const FEW: usize = 160;
/// Sets kept for each criterion when not all are settled at every look.
const BINDING: usize = 6;
/// Diameters that go on to a full run: the smallest that is enough and the next ones.
const DIAMETERS: usize = 3;
/// Strengths tried on the way to the strongest where sound, which need not fall, decides.
const SOUND_TRIES: u32 = 8;
/// Rounds of settling the binding sets and checking all.
const MOST_ROUNDS: usize = 6;

/// What to look at.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SizingOptions {
    /// Weather and modes.
    pub combinations: Options,
    /// Room that a dumped relief opens into; `None` = the first with a return grille.
    pub dump_to: Option<String>,
    /// Leaves the full runs out.
    pub settled_only: bool,
}

/// A limit broken by some sets.
#[derive(Clone, Debug, PartialEq)]
pub struct Breach {
    /// Index into [`CRITERIA`].
    pub criterion: usize,
    /// How many sets (and modes) break it.
    pub sets: usize,
    /// The worst of them.
    pub finding: Finding,
    /// The zones that call then, one bit each.
    pub calls: u64,
    /// The mode then.
    pub mode: Mode,
}

/// What a day costs.
#[derive(Clone, Debug, PartialEq)]
pub struct Day {
    /// Electricity, J.
    pub electric_j: f64,
    /// Largest share of band time off setpoint, and its zone.
    pub outside_band: (f64, String),
    /// 95th percentile of the spread over the house, K; NaN when none.
    pub house_spread_k: f64,
    /// Protection trips.
    pub trips: f64,
    /// Starts of the compressor.
    pub starts: f64,
    /// Limits broken by the run.
    pub broken: usize,
}

/// One line of the answer.
#[derive(Clone, Debug, PartialEq)]
pub struct Answer {
    /// Stable name, for files.
    pub key: String,
    /// Plain words.
    pub title: String,
    /// What was found, in words.
    pub found: String,
    /// Changes to the file.
    pub edits: Vec<Edit>,
    /// Limits broken; empty when it holds.
    pub breaches: Vec<Breach>,
    /// Largest share of a limit in use that counts (see [`Finding::used`]).
    pub used: f64,
    /// Index of the criterion with that share, and its finding: what binds.
    pub binds: Option<Breach>,
    /// A full run.
    pub day: Option<Day>,
}

impl Answer {
    /// Whether every limit that counts holds in every permitted set.
    pub fn holds(&self) -> bool {
        self.breaches.is_empty()
    }
}

/// What was found.
#[derive(Clone, Debug, PartialEq)]
pub struct Sizing {
    /// Names of the zones.
    pub zones: Vec<String>,
    /// Sets and modes judged.
    pub judged: usize,
    /// Which of [`CRITERIA`] count.
    pub counts: Vec<bool>,
    /// Whether every set keeps static, velocity and sound without any relief, so that nothing has to be
    /// sized.
    pub unneeded: bool,
    /// The file as it stands.
    pub as_written: Answer,
    /// Everything found, best first.
    pub answers: Vec<Answer>,
}

struct Search<'a> {
    case: &'a Case,
    options: Options,
    jobs: Vec<(u64, usize)>,
    counts: Vec<bool>,
}

/// Finds the least relief and the least of each alternative. `progress` hears the share done.
///
/// # Errors
/// A scenario that cannot be settled or run.
pub fn size_relief(
    case: &Case,
    options: &SizingOptions,
    progress: &(dyn Fn(f64) + Sync),
) -> Result<Sizing, StudyError> {
    let search = Search::new(case, options)?;
    let dump_to = match &options.dump_to {
        Some(room) => known_room(case, room)?,
        None => case.scenario.rooms[case.scenario.air.returns[0].room]
            .name
            .clone(),
    };
    let mut answers = Vec::new();
    for way in alternatives::references(case) {
        answers.push(search.judge(&way, 0)?);
    }
    progress(0.05);
    let bare = search.settle(&[Edit::Without("relief".into())], &search.jobs)?;
    let unneeded = search.heard_or_pressed(&bare) <= 1.0;
    if !unneeded {
        answers.extend(search.diameters(alternatives::reliefs(case))?);
        progress(0.15);
        let dumped = search.diameters(alternatives::dumps(case, &dump_to))?;
        answers.extend(dumped.into_iter().take(1));
        progress(0.25);
        let helped = search.diameters(alternatives::reliefs_with_variable_speed(case))?;
        answers.extend(helped.into_iter().take(1));
    }
    for way in alternatives::ways(case) {
        match search.least(&way)? {
            // A way that has something to choose and need not choose anything is no relief at all.
            Some(0) if way.strongest > 0 => {}
            Some(strength) => answers.push(search.judge(&way, strength)?),
            None => {
                let mut answer = search.judge(&way, way.strongest)?;
                if way.strongest > 0 {
                    answer.found = format!("not enough even with {}", answer.found);
                }
                answers.push(answer);
            }
        }
    }
    progress(0.4);
    if !options.settled_only {
        days(case, &mut answers, &|share| progress(0.4 + 0.6 * share))?;
    }
    let as_written = answers[0].clone();
    rank(&mut answers);
    Ok(Sizing {
        zones: case.scenario.zones.iter().map(|z| z.name.clone()).collect(),
        judged: search.jobs.len(),
        counts: search.counts,
        unneeded,
        as_written,
        answers,
    })
}

fn known_room(case: &Case, room: &str) -> Result<String, StudyError> {
    use crate::scenario::diagnostic::{Diagnostic, nearest};
    let names = || case.scenario.rooms.iter().map(|r| r.name.as_str());
    if names().any(|n| n == room) {
        return Ok(room.to_string());
    }
    let fault = Diagnostic::plain(format!("there is no room \"{room}\" to dump into"));
    let advice = match nearest(room, names()) {
        Some(near) => format!("did you mean \"{near}\"?"),
        None => format!("the rooms are: {}", names().collect::<Vec<_>>().join(", ")),
    };
    Err(fault.advise(advice).into())
}

/// What holds first; then what trips less, breaks fewer limits in its day, and costs less energy.
/// What does not hold by how near it comes.
fn rank(answers: &mut [Answer]) {
    let day = |a: &Answer, of: fn(&Day) -> f64| a.day.as_ref().map_or(0.0, of);
    answers.sort_by(|a, b| {
        let near = if a.holds() {
            std::cmp::Ordering::Equal
        } else {
            a.used.total_cmp(&b.used)
        };
        b.holds()
            .cmp(&a.holds())
            .then(near)
            .then(day(a, |d| d.trips).total_cmp(&day(b, |d| d.trips)))
            .then(day(a, |d| d.broken as f64).total_cmp(&day(b, |d| d.broken as f64)))
            .then(day(a, |d| d.electric_j).total_cmp(&day(b, |d| d.electric_j)))
            .then(a.key.cmp(&b.key))
    });
}

impl<'a> Search<'a> {
    fn new(case: &'a Case, options: &SizingOptions) -> Result<Search<'a>, StudyError> {
        use crate::scenario::diagnostic::Diagnostic;
        let s = &case.scenario;
        let options = Options {
            permitted_only: true,
            ..options.combinations.clone()
        };
        let bench = Bench::new(s, &options).map_err(StudyError::of(&s.name))?;
        let jobs = permitted(&bench);
        if jobs.is_empty() {
            let fault = Diagnostic::plain(format!("{}: no zone is ever in a time band", s.name));
            return Err(fault
                .advise("give a zone `bands`, so that there is a set of zones to size for")
                .into());
        }
        // The relief share stands in for a supply margin that is not worked out; here it is, so the share
        // counts only when the file asks for it.
        let asked =
            s.limits.relief_share.mandatory || case.written("limits.relief_share").is_some();
        Ok(Search {
            case,
            options,
            jobs,
            counts: CRITERIA
                .iter()
                .map(|c| c.key != "relief_share" || asked)
                .collect(),
        })
    }

    fn settle(
        &self,
        edits: &[Edit],
        jobs: &[(u64, usize)],
    ) -> Result<Vec<Combination>, StudyError> {
        let changed = self.case.with(&self.case.scenario.name, edits)?;
        let name = &self.case.scenario.name;
        let bench = Bench::new(&changed.scenario, &self.options).map_err(StudyError::of(name))?;
        settle_all(&bench, jobs, &|_, _| {}).map_err(StudyError::of(name))
    }

    /// Largest share in use of the limits that more relief helps.
    fn pressed(&self, list: &[Combination]) -> f64 {
        self.used(list, |trend| trend == Trend::HelpedByRelief)
    }

    /// The same with those that may go either way.
    fn heard_or_pressed(&self, list: &[Combination]) -> f64 {
        self.used(list, |trend| trend != Trend::HurtByRelief)
    }

    fn used(&self, list: &[Combination], counts: impl Fn(Trend) -> bool) -> f64 {
        let mut most = f64::NEG_INFINITY;
        for c in list {
            for (i, worst) in c.worst.iter().enumerate() {
                if let Some(w) = worst
                    && self.counts[i]
                    && counts(CRITERIA[i].trend)
                {
                    most = most.max(w.finding.used());
                }
            }
        }
        most
    }

    /// The least strength at which static and velocity hold in every set, or more where that also makes
    /// every room quiet enough; `None` when not even the strongest is enough. Sound need not fall with
    /// strength, so a few strengths are tried; when none is quiet, sound is left to the verdict.
    fn least(&self, way: &Way<'_>) -> Result<Option<u32>, StudyError> {
        let Some(least) = self.least_pressed(way)? else {
            return Ok(None);
        };
        let quiet = |strength: u32| -> Result<bool, StudyError> {
            let list = self.settle(&(way.edits)(strength), &self.jobs)?;
            Ok(self.heard_or_pressed(&list) <= 1.0)
        };
        if least == way.strongest || quiet(least)? {
            return Ok(Some(least));
        }
        let mut loud = least;
        for i in 1..=SOUND_TRIES {
            let tried = least + (way.strongest - least) * i / SOUND_TRIES;
            if tried == loud {
                continue;
            }
            if quiet(tried)? {
                let mut enough = tried;
                while enough - loud > 1 {
                    let middle = loud + (enough - loud) / 2;
                    if quiet(middle)? {
                        enough = middle;
                    } else {
                        loud = middle;
                    }
                }
                return Ok(Some(enough));
            }
            loud = tried;
        }
        Ok(Some(least))
    }

    /// The least strength at which every limit that relief helps holds in every set.
    fn least_pressed(&self, way: &Way<'_>) -> Result<Option<u32>, StudyError> {
        let mut active = self.jobs.clone();
        if self.jobs.len() > FEW {
            active = binding(&self.settle(&(way.edits)(0), &self.jobs)?, &self.jobs);
        }
        for _ in 0..MOST_ROUNDS {
            let Some(strength) = self.least_for(way, &active)? else {
                return Ok(None);
            };
            if active.len() == self.jobs.len() {
                return Ok(Some(strength));
            }
            let all = self.settle(&(way.edits)(strength), &self.jobs)?;
            if self.pressed(&all) <= 1.0 {
                return Ok(Some(strength));
            }
            for job in binding(&all, &self.jobs) {
                if !active.contains(&job) {
                    active.push(job);
                }
            }
        }
        self.least_for(way, &self.jobs)
    }

    fn least_for(&self, way: &Way<'_>, jobs: &[(u64, usize)]) -> Result<Option<u32>, StudyError> {
        let enough = |strength: u32| -> Result<bool, StudyError> {
            Ok(self.pressed(&self.settle(&(way.edits)(strength), jobs)?) <= 1.0)
        };
        if enough(0)? {
            return Ok(Some(0));
        }
        let (mut low, mut high) = (0, way.strongest);
        if !enough(high)? {
            return Ok(None);
        }
        while high - low > 1 {
            let middle = low + (high - low) / 2;
            if enough(middle)? {
                high = middle;
            } else {
                low = middle;
            }
        }
        Ok(Some(high))
    }

    /// The smallest diameter that is enough at its strongest, and the next ones, each at its least
    /// strength; the largest at its strongest when none is.
    fn diameters(&self, ways: Vec<Way<'_>>) -> Result<Vec<Answer>, StudyError> {
        let Some(last) = ways.last() else {
            return Ok(Vec::new());
        };
        // Sizes are in order and each relieves more than the one before.
        let (mut low, mut high) = (0, ways.len());
        while low < high {
            let middle = low + (high - low) / 2;
            let way = &ways[middle];
            let list = self.settle(&(way.edits)(way.strongest), &self.jobs)?;
            if self.pressed(&list) <= 1.0 {
                high = middle;
            } else {
                low = middle + 1;
            }
        }
        if low == ways.len() {
            return Ok(vec![self.judge(last, last.strongest)?]);
        }
        let mut answers = Vec::new();
        for way in ways.iter().skip(low).take(DIAMETERS) {
            match self.least(way)? {
                // It need not open below the static limit: no relief does as well.
                Some(0) => break,
                Some(strength) => answers.push(self.judge(way, strength)?),
                None => {}
            }
        }
        Ok(answers)
    }

    /// Judges one strength on every permitted set.
    fn judge(&self, way: &Way<'_>, strength: u32) -> Result<Answer, StudyError> {
        let edits = (way.edits)(strength);
        let list = self.settle(&edits, &self.jobs)?;
        let mut breaches = Vec::new();
        let mut binds: Option<Breach> = None;
        for criterion in (0..CRITERIA.len()).filter(|&i| self.counts[i]) {
            let mut worst: Option<Breach> = None;
            let mut sets = 0;
            for c in &list {
                let Some(w) = &c.worst[criterion] else {
                    continue;
                };
                sets += usize::from(!w.finding.holds());
                if worst
                    .as_ref()
                    .is_none_or(|b| w.finding.used() > b.finding.used())
                {
                    worst = Some(Breach {
                        criterion,
                        sets: 0,
                        finding: w.finding.clone(),
                        calls: c.calls,
                        mode: c.mode,
                    });
                }
            }
            let Some(worst) = worst.map(|w| Breach { sets, ..w }) else {
                continue;
            };
            if sets > 0 {
                breaches.push(worst.clone());
            }
            if binds
                .as_ref()
                .is_none_or(|b| worst.finding.used() > b.finding.used())
            {
                binds = Some(worst);
            }
        }
        Ok(Answer {
            key: way.key.clone(),
            title: way.title.clone(),
            found: (way.words)(strength),
            edits,
            breaches,
            used: binds.as_ref().map_or(f64::NAN, |b| b.finding.used()),
            binds,
            day: None,
        })
    }
}

fn permitted(bench: &Bench) -> Vec<(u64, usize)> {
    let zones = bench.zones();
    let mut sets: Vec<u64> = super::combinations::sets(zones);
    sets.retain(|&set| bench.permitted(set));
    let modes = 0..bench.modes().len();
    modes
        .flat_map(|mode| sets.iter().map(move |&set| (set, mode)))
        .collect()
}

/// The sets that come nearest to each limit.
fn binding(list: &[Combination], jobs: &[(u64, usize)]) -> Vec<(u64, usize)> {
    let mut out = Vec::new();
    for criterion in 0..CRITERIA.len() {
        let mut by: Vec<(f64, usize)> = list
            .iter()
            .enumerate()
            .filter_map(|(i, c)| Some((c.worst[criterion].as_ref()?.finding.used(), i)))
            .collect();
        by.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        for &(_, i) in by.iter().take(BINDING) {
            if !out.contains(&jobs[i]) {
                out.push(jobs[i]);
            }
        }
    }
    out
}

/// One full run of every answer, side by side.
fn days(
    case: &Case,
    answers: &mut [Answer],
    progress: &(dyn Fn(f64) + Sync),
) -> Result<(), StudyError> {
    let done = AtomicUsize::new(0);
    let count = answers.len();
    let runs: Vec<Result<Day, StudyError>> = answers
        .par_iter()
        .map(|answer| {
            let changed = case.with(&case.scenario.name, &answer.edits)?;
            let outcome =
                simulate(&changed.scenario, |_| {}).map_err(StudyError::of(&answer.key))?;
            progress((done.fetch_add(1, Ordering::Relaxed) + 1) as f64 / count as f64);
            Ok(day(&outcome))
        })
        .collect();
    for (answer, run) in answers.iter_mut().zip(runs) {
        answer.day = Some(run?);
    }
    Ok(())
}

fn day(outcome: &Outcome) -> Day {
    let value = |key: &str| outcome.measure(key, "house").map_or(f64::NAN, |m| m.value);
    let outside = outcome
        .measures
        .iter()
        .filter(|m| m.key == "outside_band_share" && m.value.is_finite())
        .max_by(|a, b| a.value.total_cmp(&b.value));
    let broken = |m: &&Measure| m.holds() == Some(false);
    Day {
        electric_j: value("energy_electric"),
        outside_band: outside.map_or((f64::NAN, String::new()), |m| (m.value, m.subject.clone())),
        house_spread_k: value("house_spread_p95"),
        trips: value("trips"),
        starts: value("starts"),
        broken: outcome.measures.iter().filter(broken).count(),
    }
}

/// Names of the zones in a set, joined by " + "; "all" for all of several.
pub fn names(zones: &[String], set: u64) -> String {
    let names: Vec<&str> = members(set)
        .filter_map(|i| zones.get(i).map(String::as_str))
        .collect();
    if names.len() == zones.len() && names.len() > 1 {
        return format!("all {}", names.len());
    }
    names.join(" + ")
}
