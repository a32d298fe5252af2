//! What a sweep is to do: written down beside its results, compared before going on.

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::SweepError;
use super::inputs::{self, Input, Variant};
use super::sample;
use super::vary::Varied;
use crate::measure::{Limit, observers};
use crate::quantity::Dimension;
use crate::scenario::Scenario;
use crate::scenario::diagnostic::Diagnostic;
use crate::scenario::tree::Tree;
use crate::scenario::uncertainty::Stream;
use crate::study::case::{load_tree, name_and_folder};

/// The most cases a sweep may have.
pub(crate) const MOST_CASES: usize = 1_000_000;
/// The most combinations of varied values; each is checked before the first case runs.
pub(crate) const MOST_VARIANTS: usize = 20_000;
/// The most variants that are kept as read, for they take memory.
const MOST_KEPT: usize = 64;
/// The most instants at which room temperatures are kept of each case.
const MOST_INSTANTS: f64 = 192.0;

/// What a person asks of a sweep.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Options {
    /// Keys changed in every case, `key=value`.
    pub set: Vec<String>,
    /// Keys varied, as behind `--vary`.
    pub vary: Vec<String>,
    /// Samples of the uncertain inputs; 0 for none.
    pub samples: usize,
    /// Seed of what is fixed and not known.
    pub house_seed: u64,
    /// Seed of what differs from day to day.
    pub day_seed: u64,
}

/// An input as the plan records it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PlannedInput {
    /// Name of its column.
    pub name: String,
    /// Unit of its draws.
    pub unit: String,
    /// `house` or `day`.
    pub seed: String,
    /// Its distribution in words.
    pub distribution: String,
    /// What a draw does.
    pub acts: String,
    /// Where it comes from.
    pub source: String,
}

/// A measure as the plan records it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PlannedMeasure {
    /// Stable name.
    pub key: String,
    /// What it belongs to.
    pub subject: String,
    /// Plain words.
    pub title: String,
    /// Kind of quantity.
    pub dimension: Dimension,
    /// Its limit in each variant; one entry when it is the same in all.
    limits: Vec<Option<Limit>>,
}

impl PlannedMeasure {
    /// Its limit in a variant.
    pub fn limit(&self, variant: usize) -> Option<&Limit> {
        let at = variant.min(self.limits.len().saturating_sub(1));
        self.limits.get(at)?.as_ref()
    }

    /// Whether any variant has a limit for it.
    pub fn is_judged(&self) -> bool {
        self.limits.iter().any(Option::is_some)
    }
}

/// Everything that decides the bytes of a sweep's results.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Plan {
    /// Version of the program.
    pub version: String,
    /// Name of the scenario.
    pub scenario: String,
    /// Its title.
    pub title: String,
    /// Digest of the scenario's texts.
    pub input_sha256: String,
    /// Digest of its weather, files included.
    pub weather_sha256: String,
    /// Local clock time at the start.
    pub start: String,
    /// Keys changed in every case.
    pub set: Vec<String>,
    /// Keys varied.
    pub vary: Vec<Varied>,
    /// Samples in each variant; 0 when nothing is drawn.
    pub samples: usize,
    /// Seed of what is fixed and not known.
    pub house_seed: u64,
    /// Seed of what differs from day to day.
    pub day_seed: u64,
    /// Uncertain inputs.
    pub inputs: Vec<PlannedInput>,
    /// Measures, in the order of their columns.
    pub measures: Vec<PlannedMeasure>,
    /// Rooms whose temperature is kept.
    pub rooms: Vec<String>,
    /// When it is kept, s since the start.
    pub instants_s: Vec<f64>,
}

impl Plan {
    /// Cases in all.
    pub fn cases(&self) -> usize {
        self.variants() * self.samples.max(1)
    }

    /// Combinations of the varied values; 1 when nothing is varied.
    pub fn variants(&self) -> usize {
        self.vary.iter().map(|v| v.values.len()).product()
    }

    /// What tells a variant from the others: `fan.flow = 400 L/s`; empty when nothing is varied.
    pub fn label(&self, variant: usize) -> String {
        let keys = self.vary.iter().map(|v| v.key.as_str());
        let each: Vec<String> = keys
            .zip(self.varied(variant))
            .map(|(key, value)| format!("{key} = {value}"))
            .collect();
        each.join(", ")
    }

    /// Variant and sample of a case.
    pub fn place(&self, case: usize) -> (usize, usize) {
        (case / self.samples.max(1), case % self.samples.max(1))
    }

    /// The values that the varied keys take in a variant; the last key changes fastest.
    pub fn varied(&self, variant: usize) -> Vec<&str> {
        let mut rest = variant;
        let mut out: Vec<&str> = Vec::with_capacity(self.vary.len());
        for v in self.vary.iter().rev() {
            out.push(&v.values[rest % v.values.len()]);
            rest /= v.values.len();
        }
        out.reverse();
        out
    }

    /// Digest of the whole plan, hexadecimal.
    pub fn digest(&self) -> String {
        hex(&serde_json::to_vec(self).unwrap_or_default())
    }

    /// Where two plans differ, in words; empty when they are the same.
    pub fn differences(&self, other: &Plan) -> Vec<String> {
        let mut out = Vec::new();
        let mut differ = |same: bool, what: String| {
            if !same {
                out.push(what);
            }
        };
        let (a, b) = (self, other);
        let list = |vary: &[Varied]| {
            let each = vary
                .iter()
                .map(|v| format!("{}={}", v.key, v.values.join(",")));
            let all: Vec<_> = each.collect();
            if all.is_empty() {
                "nothing".into()
            } else {
                all.join(" and ")
            }
        };
        differ(
            a.version == b.version,
            format!("the program was version {} and is {}", a.version, b.version),
        );
        differ(
            a.scenario == b.scenario,
            format!("the scenario was {} and is {}", a.scenario, b.scenario),
        );
        differ(
            a.set == b.set,
            format!(
                "--set was \"{}\" and is \"{}\"",
                a.set.join(", "),
                b.set.join(", ")
            ),
        );
        differ(
            a.input_sha256 == b.input_sha256 || a.set != b.set,
            "the scenario file, or one that it is based on, was edited".into(),
        );
        differ(
            a.weather_sha256 == b.weather_sha256 || a.input_sha256 != b.input_sha256,
            "the weather file was changed".into(),
        );
        differ(
            a.vary == b.vary,
            format!("--vary was {} and is {}", list(&a.vary), list(&b.vary)),
        );
        differ(
            a.samples == b.samples,
            format!("--samples was {} and is {}", a.samples, b.samples),
        );
        differ(
            a.house_seed == b.house_seed,
            format!("--house-seed was {} and is {}", a.house_seed, b.house_seed),
        );
        differ(
            a.day_seed == b.day_seed,
            format!("--day-seed was {} and is {}", a.day_seed, b.day_seed),
        );
        if out.is_empty() && a != b {
            out.push("the program measures or draws something else than it did".into());
        }
        out
    }
}

fn hex(bytes: &[u8]) -> String {
    Sha256::digest(bytes)
        .iter()
        .map(|b| format!("{b:02x}"))
        .collect()
}

/// A plan with what is needed to run its cases.
#[derive(Clone, Debug)]
pub struct Study {
    /// The plan.
    pub plan: Plan,
    /// Uncertain inputs.
    pub inputs: Vec<Input>,
    /// Draws of each input, by sample.
    pub draws: Vec<Vec<f64>>,
    /// Where files that the scenario names are looked for.
    pub folder: PathBuf,
    base: Tree,
    /// The first variants, read; every case of the others reads its own.
    pub(super) kept: Vec<Variant>,
}

impl Study {
    /// Reads a scenario file and lays out the cases. Every combination of varied values is checked
    /// now, not after hours.
    ///
    /// # Errors
    /// A file that cannot be read, a key that does not exist, a value that the scenario refuses,
    /// nothing to vary or draw, too many cases.
    pub fn prepare(path: &Path, options: &Options) -> Result<Study, SweepError> {
        let base = load_tree(path, &options.set)?;
        let (name, folder) = name_and_folder(path);
        let parsed = options.vary.iter().map(|v| Varied::parse(v));
        let vary: Vec<Varied> = parsed.collect::<Result<_, _>>()?;
        check_arguments(&vary, options)?;
        let mut plan = Plan {
            version: env!("CARGO_PKG_VERSION").into(),
            scenario: name,
            title: String::new(),
            input_sha256: texts_digest(&base),
            weather_sha256: String::new(),
            start: String::new(),
            set: options.set.clone(),
            vary,
            samples: options.samples,
            house_seed: options.house_seed,
            day_seed: options.day_seed,
            inputs: Vec::new(),
            measures: Vec::new(),
            rooms: Vec::new(),
            instants_s: Vec::new(),
        };
        let first = variant(&base, &plan, 0, &folder)?;
        let inputs = match options.samples {
            0 => Vec::new(),
            _ => inputs::inputs(&first),
        };
        check_inputs(&inputs, &plan.vary, options)?;
        let seed = |stream| match stream {
            Stream::House => options.house_seed,
            Stream::Day => options.day_seed,
        };
        let draws = inputs.iter().map(|i| {
            let column = sample::column(options.samples, seed(i.stream), &i.name);
            column.into_iter().map(|u| inputs::draw(i, u)).collect()
        });
        let draws: Vec<Vec<f64>> = draws.collect();
        let middle: Vec<f64> = inputs.iter().map(|i| inputs::draw(i, 0.5)).collect();
        let mut kept = Vec::new();
        for i in 0..plan.variants() {
            let v = variant(&base, &plan, i, &folder)?;
            inputs::apply(&v, &inputs, &middle, &folder)?;
            note_measures(&mut plan.measures, i, &v.scenario);
            if kept.len() < MOST_KEPT {
                kept.push(v);
            }
        }
        let variants = plan.variants();
        for m in &mut plan.measures {
            m.limits.resize(variants, None);
            if m.limits.windows(2).all(|w| w[0] == w[1]) {
                m.limits.truncate(1);
            }
        }
        let s = &first.scenario;
        plan.title.clone_from(&s.title);
        plan.weather_sha256 = hex(format!("{:?}", s.weather).as_bytes());
        plan.start = s.start().format("%Y-%m-%dT%H:%M:%S").to_string();
        plan.inputs = inputs.iter().map(planned_input).collect();
        plan.rooms = s.rooms.iter().map(|r| r.name.clone()).collect();
        plan.instants_s = instants(s);
        Ok(Study {
            plan,
            inputs,
            draws,
            folder,
            base,
            kept,
        })
    }

    /// A variant, checked.
    ///
    /// # Errors
    /// None once [`Study::prepare`] has gone through, unless a weather file has gone.
    pub fn variant(&self, index: usize) -> Result<Variant, Diagnostic> {
        variant(&self.base, &self.plan, index, &self.folder)
    }
}

fn variant(base: &Tree, plan: &Plan, index: usize, folder: &Path) -> Result<Variant, Diagnostic> {
    let mut tree = base.clone();
    for (v, value) in plan.vary.iter().zip(plan.varied(index)) {
        tree.set_path(&v.key, value)?;
    }
    let scenario = Scenario::from_tree(&tree, &plan.scenario, folder)?;
    Ok(Variant { tree, scenario })
}

fn texts_digest(tree: &Tree) -> String {
    let mut all = Vec::new();
    for source in tree.sources.iter() {
        all.extend_from_slice(source.text().as_bytes());
        all.push(0);
    }
    hex(&all)
}

fn check_arguments(vary: &[Varied], options: &Options) -> Result<(), SweepError> {
    if vary.is_empty() && options.samples == 0 {
        return Err(SweepError::Argument {
            what: "there is nothing to sweep".into(),
            advice: "give --vary \"key=a,b,c\", --samples N, or both".into(),
        });
    }
    for (i, v) in vary.iter().enumerate() {
        if vary[..i].iter().any(|w| w.key == v.key) {
            return Err(SweepError::Argument {
                what: format!("--vary names {} twice", v.key),
                advice: "put all values of a key into one --vary".into(),
            });
        }
    }
    let product = |first: usize| {
        vary.iter()
            .try_fold(first, |n, v| n.checked_mul(v.values.len()))
    };
    if product(1).is_none_or(|n| n > MOST_VARIANTS) {
        return Err(SweepError::Argument {
            what: format!("these are more than {MOST_VARIANTS} combinations"),
            advice:
                "vary fewer keys or values; many keys at once are for [uncertainty] and --samples"
                    .into(),
        });
    }
    let cases = product(options.samples.max(1));
    if cases.is_none_or(|n| n > MOST_CASES) {
        return Err(SweepError::Argument {
            what: format!("these are more than {MOST_CASES} cases"),
            advice: "vary fewer keys or values, or draw fewer samples".into(),
        });
    }
    Ok(())
}

fn check_inputs(inputs: &[Input], vary: &[Varied], options: &Options) -> Result<(), SweepError> {
    if options.samples > 0 && inputs.is_empty() {
        return Err(SweepError::Argument {
            what: "the scenario declares nothing uncertain to sample".into(),
            advice:
                "add [uncertainty] with standard = true, or give --set uncertainty.standard=true"
                    .into(),
        });
    }
    if let Some(both) = inputs.iter().find(|i| vary.iter().any(|v| v.key == i.name)) {
        let absolute = both.acts == "value";
        if absolute {
            return Err(SweepError::Argument {
                what: format!("{} is both varied and drawn", both.name),
                advice: "leave one of the two out, or draw it as = \"factor\" or \"offset\"".into(),
            });
        }
    }
    Ok(())
}

fn planned_input(i: &Input) -> PlannedInput {
    PlannedInput {
        name: i.name.clone(),
        unit: i.unit.clone(),
        seed: i.stream.word().into(),
        distribution: i.distribution.to_string(),
        acts: i.acts.clone(),
        source: i.source.clone(),
    }
}

/// Adds the measures of a variant with their limits. Which measures come depends on the scenario alone,
/// so observers that have seen nothing name them all.
fn note_measures(all: &mut Vec<PlannedMeasure>, variant: usize, s: &Scenario) {
    let found = observers(s).into_iter();
    for m in found.flat_map(|o| o.measures(s.run.duration_s)) {
        let have = all
            .iter()
            .position(|p| p.key == m.key && p.subject == m.subject);
        let at = have.unwrap_or_else(|| {
            all.push(PlannedMeasure {
                key: m.key.into(),
                subject: m.subject.clone(),
                title: m.title.into(),
                dimension: m.dimension,
                limits: Vec::new(),
            });
            all.len() - 1
        });
        let limits = &mut all[at].limits;
        limits.resize(variant, None);
        limits.push(m.limit);
    }
}

/// Instants at which room temperatures are kept: hourly, more often in short runs.
fn instants(s: &Scenario) -> Vec<f64> {
    let run = &s.run;
    let wanted = match run.duration_s {
        d if d >= 43_200.0 => 3600.0,
        d if d >= 7200.0 => 600.0,
        _ => run.record_s,
    };
    let mut every = (wanted / run.record_s).ceil().max(1.0) * run.record_s;
    while run.duration_s / every > MOST_INSTANTS {
        every *= 2.0;
    }
    let count = (run.duration_s / every + 1e-9).floor() as usize;
    // A run without warm-up has no row at its start.
    let first = usize::from(run.warm_up_s <= 0.0);
    (first..=count).map(|i| i as f64 * every).collect()
}
