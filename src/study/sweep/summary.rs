//! The cases together: quantiles, failed limits, which inputs matter.

use rayon::prelude::*;

use super::plan::PlannedMeasure;
use super::statistics::{bootstrap_mean, quantile, sorted, spearman, thirds, wilson};
use super::{Case, Plan, Sweep};

/// Quantiles of one measure in one group of cases, SI.
#[derive(Clone, Debug, PartialEq)]
pub struct Spread {
    /// The group, as in [`Summary::groups`].
    pub group: usize,
    /// The measure, as in the plan.
    pub measure: usize,
    /// Cases in which it has a value.
    pub count: usize,
    /// 5, 50 and 95 % quantiles.
    pub quantiles: [f64; 3],
}

/// How often a limit is missed in one group of cases.
#[derive(Clone, Debug, PartialEq)]
pub struct Failures {
    /// The group.
    pub group: usize,
    /// The measure.
    pub measure: usize,
    /// Cases that were judged.
    pub count: usize,
    /// Cases that fail.
    pub failed: usize,
    /// 95 % interval of the share; [`wilson`].
    pub interval: (f64, f64),
}

impl Failures {
    /// Share of the cases that fail; NaN of none.
    pub fn share(&self) -> f64 {
        self.failed as f64 / self.count as f64
    }
}

/// What an input has to do with a measure, over all cases.
#[derive(Clone, Debug, PartialEq)]
pub struct Effect {
    /// The input, as in [`Summary::inputs`].
    pub input: usize,
    /// The measure.
    pub measure: usize,
    /// Spearman's rank correlation.
    pub rank_correlation: f64,
    /// Mean of the measure where the input is in its lowest and its highest third.
    pub thirds: (f64, f64),
}

/// Difference of a measure between a variant and the first one, sample by sample.
#[derive(Clone, Debug, PartialEq)]
pub struct Paired {
    /// The variant.
    pub variant: usize,
    /// The measure.
    pub measure: usize,
    /// Pairs in which both have a value.
    pub count: usize,
    /// Mean difference and the ends of its 95 % bootstrap interval, SI.
    pub mean: (f64, f64, f64),
}

/// The statistics of a sweep.
#[derive(Clone, Debug, PartialEq)]
pub struct Summary {
    /// Labels of the groups: the variants when samples are drawn, else all cases together.
    pub groups: Vec<String>,
    /// Names of the inputs that have an order: drawn ones, and varied keys with numbers.
    pub inputs: Vec<String>,
    /// Quantiles.
    pub spreads: Vec<Spread>,
    /// Limits.
    pub limits: Vec<Failures>,
    /// Rank correlations.
    pub effects: Vec<Effect>,
    /// Differences between variants on the same samples.
    pub paired: Vec<Paired>,
}

/// Whether cases are grouped by variant.
pub(crate) fn by_variant(plan: &Plan) -> bool {
    plan.samples > 0 && plan.variants() > 1
}

/// The group of a case.
pub(crate) fn group(plan: &Plan, case: usize) -> usize {
    if by_variant(plan) {
        plan.place(case).0
    } else {
        0
    }
}

/// Columns of inputs that have an order: name and a value for each case.
fn ordered_inputs(sweep: &Sweep) -> Vec<(String, Vec<f64>)> {
    let plan = &sweep.plan;
    let mut out = Vec::new();
    for (k, v) in plan.vary.iter().enumerate() {
        let Some(numbers) = v.numbers() else {
            continue;
        };
        let of = |c: &Case| {
            let value = plan.varied(plan.place(c.index).0)[k];
            let at = v.values.iter().position(|have| have == value);
            at.map_or(f64::NAN, |i| numbers[i])
        };
        out.push((v.key.clone(), sweep.cases.iter().map(of).collect()));
    }
    for (k, input) in plan.inputs.iter().enumerate() {
        let column = sweep.cases.iter().map(|c| c.draws[k]).collect();
        out.push((input.name.clone(), column));
    }
    out
}

impl Summary {
    /// Sums up the finished cases. Cases that could not be run count nowhere.
    pub fn of(sweep: &Sweep) -> Summary {
        let plan = &sweep.plan;
        let groups: Vec<String> = if by_variant(plan) {
            (0..plan.variants()).map(|v| plan.label(v)).collect()
        } else {
            vec![String::new()]
        };
        let mut members: Vec<Vec<&Case>> = vec![Vec::new(); groups.len()];
        for c in &sweep.cases {
            members[group(plan, c.index)].push(c);
        }
        let (mut spreads, mut limits) = (Vec::new(), Vec::new());
        for (g, cases) in members.iter().enumerate() {
            for (m, planned) in plan.measures.iter().enumerate() {
                let values = sorted(cases.iter().map(|c| c.values[m]));
                spreads.push(Spread {
                    group: g,
                    measure: m,
                    count: values.len(),
                    quantiles: [0.05, 0.5, 0.95].map(|q| quantile(&values, q)),
                });
                if !planned.is_judged() {
                    continue;
                }
                let count = cases.iter().filter(|c| c.passes[m].is_some()).count();
                let failed = cases.iter().filter(|c| c.passes[m] == Some(false)).count();
                limits.push(Failures {
                    group: g,
                    measure: m,
                    count,
                    failed,
                    interval: wilson(failed, count),
                });
            }
        }
        let inputs = ordered_inputs(sweep);
        let of_measure = |m: usize| -> Vec<Effect> {
            let y: Vec<f64> = sweep.cases.iter().map(|c| c.values[m]).collect();
            let effect = |(i, (_, x)): (usize, &(String, Vec<f64>))| Effect {
                input: i,
                measure: m,
                rank_correlation: spearman(x, &y),
                thirds: thirds(x, &y),
            };
            inputs.iter().enumerate().map(effect).collect()
        };
        let measures = (0..plan.measures.len()).into_par_iter();
        let effects: Vec<Vec<Effect>> = measures.map(of_measure).collect();
        let effects = effects.into_iter().flatten().collect();
        Summary {
            groups,
            inputs: inputs.into_iter().map(|(name, _)| name).collect(),
            spreads,
            limits,
            effects,
            paired: paired(plan, &members),
        }
    }

    /// Effects on a measure, strongest first; those without a correlation are left out.
    pub fn strongest(&self, measure: usize) -> Vec<&Effect> {
        let mut out: Vec<&Effect> = self
            .effects
            .iter()
            .filter(|e| e.measure == measure && e.rank_correlation.is_finite())
            .collect();
        out.sort_by(|a, b| {
            let size = |e: &Effect| e.rank_correlation.abs();
            size(b).total_cmp(&size(a)).then(a.input.cmp(&b.input))
        });
        out
    }

    /// Judged measures that vary, those that fail most often first, at most `most`. Of
    /// measures of several subjects only the worst comes in.
    pub fn most_at_stake(&self, plan: &Plan, most: usize) -> Vec<usize> {
        let mut shares: Vec<(usize, f64)> = Vec::new();
        for l in &self.limits {
            let share = if l.count > 0 { l.share() } else { 0.0 };
            match shares.iter_mut().find(|(m, _)| *m == l.measure) {
                Some((_, worst)) => *worst = worst.max(share),
                None => shares.push((l.measure, share)),
            }
        }
        shares.retain(|(m, _)| !self.strongest(*m).is_empty());
        shares.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
        let mut out: Vec<usize> = Vec::new();
        for (m, _) in shares {
            let key = &plan.measures[m].key;
            if out.len() < most && !out.iter().any(|&o| plan.measures[o].key == *key) {
                out.push(m);
            }
        }
        out
    }
}

fn paired(plan: &Plan, members: &[Vec<&Case>]) -> Vec<Paired> {
    let Some((first, others)) = members.split_first() else {
        return Vec::new();
    };
    let of_variant = |(v, cases): (usize, &Vec<&Case>)| -> Vec<Paired> {
        let of_measure = |(m, planned): (usize, &PlannedMeasure)| {
            let partner = |c: &&&Case| {
                let sample = plan.place(c.index).1;
                let at = first.binary_search_by_key(&sample, |f| plan.place(f.index).1);
                at.ok().map(|i| c.values[m] - first[i].values[m])
            };
            let pairs = cases.iter().filter_map(|c| partner(&c));
            let differences: Vec<f64> = pairs.filter(|d| d.is_finite()).collect();
            let name = format!("{} {} {}", v + 1, planned.key, planned.subject);
            Paired {
                variant: v + 1,
                measure: m,
                count: differences.len(),
                mean: bootstrap_mean(&differences, &name),
            }
        };
        let measures = plan.measures.par_iter().enumerate();
        measures.map(of_measure).collect()
    };
    others.iter().enumerate().flat_map(of_variant).collect()
}
