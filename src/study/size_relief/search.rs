//! The least strength of a alternative that is enough, on the sets that bind.

use std::cell::RefCell;
use std::rc::Rc;

use super::{Answer, Failure, SizingOptions};
use crate::study::StudyError;
use crate::study::alternatives::Alternative;
use crate::study::case::{Case, Edit};
use crate::study::combinations::{Combination, Options, SteadyStates, sets, settle_all};
use crate::study::criteria::{CRITERIA, Trend};

/// Up to this many sets and modes, all are settled at every look; beyond, those that bind are.
const FEW: usize = 160;
/// Sets kept for each criterion when not all are settled at every look.
const BINDING: usize = 6;
/// Diameters that go on to a full run: the smallest that is enough and the next ones.
const DIAMETERS: usize = 3;
/// Strengths tried on the alternative to the strongest where what decides need not fall with strength.
const TRIES: u32 = 8;
/// Rounds of settling the binding sets and checking all.
const MOST_ROUNDS: usize = 6;

/// Changes, and every set settled with them.
type Last = (Vec<Edit>, Rc<Vec<Combination>>);

/// Settles what a alternative makes of a scenario, and finds its least sufficient strength.
pub(super) struct Search<'a> {
    case: &'a Case,
    options: Options,
    pub(super) jobs: Vec<(u64, usize)>,
    pub(super) counts: Vec<bool>,
    /// The sets that strengths are tried on: all of a few, else those found to bind so far.
    active: RefCell<Vec<(u64, usize)>>,
    /// The changes last settled on every set, with what came out.
    last: RefCell<Option<Last>>,
}

impl<'a> Search<'a> {
    pub(super) fn new(case: &'a Case, options: &SizingOptions) -> Result<Search<'a>, StudyError> {
        use crate::scenario::diagnostic::Diagnostic;
        let s = &case.scenario;
        let options = Options {
            permitted_only: true,
            ..options.combinations.clone()
        };
        let states = SteadyStates::new(s, &options).map_err(StudyError::of(&s.name))?;
        let jobs = permitted(&states);
        if jobs.is_empty() {
            let fault = Diagnostic::plain(format!("{}: no zone is ever scheduled", s.name));
            return Err(fault
                .advise("give a zone a schedule, so that there is a set of zones to size for")
                .into());
        }
        // The bypass fraction is judged where no supply margin is computed; here it is, so it
        // counts only when the file asks for it.
        let asked =
            s.limits.relief_share.mandatory || case.written("limits.relief_share").is_some();
        let few = jobs.len() <= FEW;
        Ok(Search {
            case,
            options,
            active: RefCell::new(if few { jobs.clone() } else { Vec::new() }),
            last: RefCell::new(None),
            jobs,
            counts: CRITERIA
                .iter()
                .map(|c| c.key != "bypass_fraction" || asked)
                .collect(),
        })
    }

    /// Every permitted set; those that bind join the sets that strengths are tried on.
    pub(super) fn settle_every(&self, edits: &[Edit]) -> Result<Rc<Vec<Combination>>, StudyError> {
        if let Some((last, list)) = &*self.last.borrow()
            && last == edits
        {
            return Ok(Rc::clone(list));
        }
        let list = Rc::new(self.settle(edits, &self.jobs)?);
        let mut active = self.active.borrow_mut();
        if active.len() < self.jobs.len() {
            for job in binding(&list, &self.jobs) {
                if !active.contains(&job) {
                    active.push(job);
                }
            }
        }
        *self.last.borrow_mut() = Some((edits.to_vec(), Rc::clone(&list)));
        Ok(list)
    }

    fn settle_active(&self, edits: &[Edit]) -> Result<Vec<Combination>, StudyError> {
        let jobs = self.active.borrow().clone();
        self.settle(edits, &jobs)
    }

    fn settle(
        &self,
        edits: &[Edit],
        jobs: &[(u64, usize)],
    ) -> Result<Vec<Combination>, StudyError> {
        let changed = self.case.with(&self.case.scenario.name, edits)?;
        let name = &self.case.scenario.name;
        let states =
            SteadyStates::new(&changed.scenario, &self.options).map_err(StudyError::of(name))?;
        settle_all(&states, jobs, &|_, _| {}).map_err(StudyError::of(name))
    }

    /// Largest share in use of the limits that more relief helps.
    fn pressed(&self, list: &[Combination]) -> f64 {
        self.used(list, |trend| trend == Trend::HelpedByRelief)
    }

    /// The same with those that may go either alternative.
    pub(super) fn heard_or_pressed(&self, list: &[Combination]) -> f64 {
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

    /// The least strength at which static and velocity pass in every set, or more where that also makes
    /// every room quiet enough; `None` when none tried is enough. Sound need not fall with strength, so a
    /// few strengths are tried; when none is quiet, sound is left to the verdict.
    ///
    /// Strengths are tried on the sets that bind; what is found is checked on all, and those that fail
    /// join in.
    pub(super) fn least(&self, alternative: &Alternative<'_>) -> Result<Option<u32>, StudyError> {
        for _ in 0..MOST_ROUNDS {
            let Some((strength, quiet)) = self.least_on_active(alternative)? else {
                return Ok(None);
            };
            if self.active.borrow().len() == self.jobs.len() {
                return Ok(Some(strength));
            }
            let every = self.settle_every(&(alternative.edits)(strength))?;
            let passes = if quiet {
                self.heard_or_pressed(&every) <= 1.0
            } else {
                self.pressed(&every) <= 1.0
            };
            if passes {
                return Ok(Some(strength));
            }
        }
        *self.active.borrow_mut() = self.jobs.clone();
        Ok(self
            .least_on_active(alternative)?
            .map(|(strength, _)| strength))
    }

    /// The least strength, and whether every room is quiet enough at it.
    fn least_on_active(
        &self,
        alternative: &Alternative<'_>,
    ) -> Result<Option<(u32, bool)>, StudyError> {
        let pressed = |strength: u32| -> Result<bool, StudyError> {
            Ok(self.pressed(&self.settle_active(&(alternative.edits)(strength))?) <= 1.0)
        };
        let quiet = |strength: u32| -> Result<bool, StudyError> {
            Ok(self.heard_or_pressed(&self.settle_active(&(alternative.edits)(strength))?) <= 1.0)
        };
        let least = if pressed(0)? {
            0
        } else if alternative.strongest > 0 && pressed(alternative.strongest)? {
            halved(0, alternative.strongest, pressed)?
        } else {
            // A zone held wide open may take too much air where one half open takes enough.
            match tried(0, alternative.strongest.saturating_sub(1), pressed)? {
                Some(least) => least,
                None => return Ok(None),
            }
        };
        if quiet(least)? {
            return Ok(Some((least, true)));
        }
        Ok(Some(match tried(least, alternative.strongest, quiet)? {
            Some(strength) => (strength, true),
            None => (least, false),
        }))
    }

    /// The smallest diameter that is enough at its strongest, and the next ones, each at its least
    /// strength; the largest at its strongest when none is.
    pub(super) fn diameters(
        &self,
        alternatives: Vec<Alternative<'_>>,
    ) -> Result<Vec<Answer>, StudyError> {
        let Some(last) = alternatives.last() else {
            return Ok(Vec::new());
        };
        // Sizes are in order and each relieves more than the one before.
        let (mut low, mut high) = (0, alternatives.len());
        while low < high {
            let middle = low + (high - low) / 2;
            let alternative = &alternatives[middle];
            let list = self.settle_active(&(alternative.edits)(alternative.strongest))?;
            if self.pressed(&list) <= 1.0 {
                high = middle;
            } else {
                low = middle + 1;
            }
        }
        if low == alternatives.len() {
            return Ok(vec![self.judge(last, last.strongest)?]);
        }
        let mut answers = Vec::new();
        for alternative in alternatives.iter().skip(low) {
            if answers.len() == DIAMETERS {
                break;
            }
            match self.least(alternative)? {
                // It need not open below the static limit: no relief does as well.
                Some(0) => return Ok(answers),
                Some(strength) => answers.push(self.judge(alternative, strength)?),
                // Enough on the sets that bound so far, and not on all.
                None => {}
            }
        }
        if answers.is_empty() {
            answers.push(self.judge(last, last.strongest)?);
        }
        Ok(answers)
    }

    /// Judges one strength on every permitted set.
    pub(super) fn judge(
        &self,
        alternative: &Alternative<'_>,
        strength: u32,
    ) -> Result<Answer, StudyError> {
        let edits = (alternative.edits)(strength);
        let list = self.settle_every(&edits)?;
        let mut failures = Vec::new();
        let mut binds: Option<Failure> = None;
        for criterion in (0..CRITERIA.len()).filter(|&i| self.counts[i]) {
            let mut worst: Option<Failure> = None;
            let mut sets = 0;
            for c in list.iter() {
                let Some(w) = &c.worst[criterion] else {
                    continue;
                };
                sets += usize::from(!w.finding.passes());
                if worst
                    .as_ref()
                    .is_none_or(|b| w.finding.used() > b.finding.used())
                {
                    worst = Some(Failure {
                        criterion,
                        sets: 0,
                        finding: w.finding.clone(),
                        calls: c.calls,
                        mode: c.mode,
                    });
                }
            }
            let Some(worst) = worst.map(|w| Failure { sets, ..w }) else {
                continue;
            };
            if sets > 0 {
                failures.push(worst.clone());
            }
            if binds
                .as_ref()
                .is_none_or(|b| worst.finding.used() > b.finding.used())
            {
                binds = Some(worst);
            }
        }
        Ok(Answer {
            key: alternative.key.clone(),
            title: alternative.title.clone(),
            found: (alternative.words)(strength),
            edits,
            failures,
            used: binds.as_ref().map_or(f64::NAN, |b| b.finding.used()),
            binds,
            day: None,
        })
    }
}

/// From a strength that is not enough up to another, in [`TRIES`] strides: the first that is enough, and
/// from the stride before it the least.
fn tried(
    from: u32,
    to: u32,
    enough: impl Fn(u32) -> Result<bool, StudyError>,
) -> Result<Option<u32>, StudyError> {
    let mut low = from;
    for i in 1..=TRIES {
        let high = from + to.saturating_sub(from) * i / TRIES;
        if high == low {
            continue;
        }
        if enough(high)? {
            return halved(low, high, enough).map(Some);
        }
        low = high;
    }
    Ok(None)
}

/// Between a strength that is not enough and one that is, the least that is.
fn halved(
    mut low: u32,
    mut high: u32,
    enough: impl Fn(u32) -> Result<bool, StudyError>,
) -> Result<u32, StudyError> {
    while high - low > 1 {
        let middle = low + (high - low) / 2;
        if enough(middle)? {
            high = middle;
        } else {
            low = middle;
        }
    }
    Ok(high)
}

fn permitted(states: &SteadyStates) -> Vec<(u64, usize)> {
    let zones = states.zones();
    let mut sets: Vec<u64> = sets(zones);
    sets.retain(|&set| states.permitted(set));
    let modes = 0..states.modes().len();
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::control::Mode;
    use crate::study::alternatives;

    #[test]
    fn what_is_enough_only_in_the_middle_is_found() {
        let middle = |s: u32| Ok((30..=60).contains(&s));
        assert_eq!(tried(0, 99, middle).unwrap(), Some(30));
        assert_eq!(tried(0, 0, middle).unwrap(), None);
        assert_eq!(halved(0, 45, middle).unwrap(), 30);
    }

    /// A search that knows no binding set yet against one that settles all of them at every look.
    #[test]
    fn the_sets_that_bind_need_what_all_sets_need() {
        let always = "[{ from = \"00:00\", to = \"24:00\" }]";
        let zones = ["living", "parents", "children", "study"];
        let bands = zones.map(|z| Edit::set(format!("zone.{z}.bands"), always));
        let case = Case::embedded("small-zone-no-relief").unwrap();
        let case = case.with("all day", &bands).unwrap();
        let mut options = SizingOptions::default();
        options.combinations.modes = vec![Mode::Cooling, Mode::Heating];
        let all = Search::new(&case, &options).unwrap();
        let binding = Search::new(&case, &options).unwrap();
        binding.active.borrow_mut().clear();
        assert_eq!(*all.active.borrow(), all.jobs);
        let reliefs = || alternatives::reliefs(&case);
        assert_eq!(
            all.diameters(reliefs()).unwrap(),
            binding.diameters(reliefs()).unwrap()
        );
        let mut found = 0;
        for alternative in alternatives::instead(&case) {
            let strength = all.least(&alternative).unwrap();
            assert_eq!(
                strength,
                binding.least(&alternative).unwrap(),
                "{}",
                alternative.key
            );
            found += usize::from(strength.is_some_and(|s| s > 0));
        }
        let tried_on = binding.active.borrow().len();
        assert!(found > 0 && tried_on < all.jobs.len(), "{found} {tried_on}");
    }
}
