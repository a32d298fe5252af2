//! Uncertain inputs: what is drawn, and what a draw does to a scenario.

use std::path::Path;

use super::adjust::{self, Adjustment};
use crate::math::distribution::Distribution;
use crate::quantity::{self, Dimension, Unit, UnitSystem};
use crate::scenario::Scenario;
use crate::scenario::diagnostic::{Diagnostic, nearest};
use crate::scenario::reader::split_number;
use crate::scenario::tree::{Node, Table, Tree, Value};
use crate::scenario::uncertainty::{Acts, STANDARD, Stream, Uncertain};

/// One uncertain input.
#[derive(Clone, Debug, PartialEq)]
pub struct Input {
    /// Name of its column, and of its stream of random numbers.
    pub name: String,
    /// Unit of the draw; empty for a factor or a bare number.
    pub unit: String,
    /// The seed it hangs on.
    pub stream: Stream,
    /// Its distribution.
    pub distribution: Distribution,
    /// What a draw does, in words.
    pub acts: String,
    /// Where the distribution comes from.
    pub source: String,
    /// What the draw is done to.
    pub target: Target,
}

/// What a draw is done to.
#[derive(Clone, Debug, PartialEq)]
pub enum Target {
    /// One key of the file.
    Key(Uncertain),
    /// Cooling setpoints of a zone, with those of its periods, °C; the result is kept within bounds.
    Setpoints {
        /// The keys.
        keys: Vec<String>,
        /// Bounds of the result, °C.
        within: (f64, f64),
    },
    /// Something that no single key expresses.
    Adjustment(Adjustment),
}

/// A scenario with its keys as varied, ready for draws.
#[derive(Clone, Debug)]
pub struct Variant {
    /// Its tree.
    pub tree: Tree,
    /// The same, checked.
    pub scenario: Scenario,
}

/// Every uncertain input of a scenario: the standard groups first, then the file's own keys.
pub(super) fn inputs(v: &Variant) -> Vec<Input> {
    let s = &v.scenario;
    let mut out = adjust::standard(s);
    let on = |group: &str| s.uncertainty.standard.contains(&group);
    let source = |group: &str| {
        let found = STANDARD.iter().find(|g| g.name == group);
        found.map_or("", |g| g.source).to_string()
    };
    let normal = || Distribution::Normal {
        mean: 0.0,
        sigma: 1.5,
    };
    if on("setpoints") {
        for z in &s.zones {
            let keys = setpoint_keys(v, &z.name);
            if !keys.is_empty() {
                out.push(Input {
                    name: format!("setpoint.{}", z.name),
                    unit: "K".into(),
                    stream: Stream::Day,
                    distribution: normal(),
                    acts: "offset".into(),
                    source: source("setpoints"),
                    target: Target::Setpoints {
                        keys,
                        within: (20.0, 28.0),
                    },
                });
            }
        }
    }
    if on("weather") {
        let keys = ["weather.maximum", "weather.minimum", "weather.temperature"];
        for key in keys.into_iter().filter(|k| look_up(&v.tree, k).is_some()) {
            let target = Uncertain {
                key: key.into(),
                distribution: normal(),
                unit: "K".into(),
                acts: Acts::Offset,
                stream: Stream::Day,
                lowest: None,
                highest: None,
            };
            let mut input = own(&target);
            input.source = source("weather");
            out.push(input);
        }
    }
    out.extend(s.uncertainty.keys.iter().map(own));
    out
}

fn own(u: &Uncertain) -> Input {
    Input {
        name: u.key.clone(),
        unit: u.unit.clone(),
        stream: u.stream,
        distribution: u.distribution.clone(),
        acts: u.acts.word().into(),
        source: "set in the scenario".into(),
        target: Target::Key(u.clone()),
    }
}

/// Keys with cooling setpoints of a zone.
fn setpoint_keys(v: &Variant, zone: &str) -> Vec<String> {
    let base = format!("zone.{zone}.cooling");
    let mut keys = Vec::new();
    if base_value(v, &base).is_some() {
        keys.push(base);
    }
    if let Some(Value::List(bands)) =
        look_up(&v.tree, &format!("zone.{zone}.schedule")).map(|n| &n.value)
    {
        let own = (1..=bands.len()).map(|i| format!("zone.{zone}.schedule[{i}].cooling"));
        keys.extend(own.filter(|key| look_up(&v.tree, key).is_some()));
    }
    keys
}

/// The node at a path such as `room.living.windows[2].area`.
pub(crate) fn look_up<'t>(tree: &'t Tree, path: &str) -> Option<&'t Node> {
    fn step<'t>(table: &'t Table, part: &str) -> Option<&'t Node> {
        match part.strip_suffix(']').and_then(|p| p.split_once('[')) {
            None => table.get(part),
            Some((key, number)) => match &table.get(key)?.value {
                Value::List(items) => items.get(number.parse::<usize>().ok()?.checked_sub(1)?),
                _ => None,
            },
        }
    }
    let mut parts = path.split('.');
    let mut node = step(&tree.root, parts.next()?)?;
    for part in parts {
        let Value::Table(table) = &node.value else {
            return None;
        };
        node = step(table, part)?;
    }
    Some(node)
}

/// The number under a key with the text of its unit: as written, or the default taken.
fn base_value(v: &Variant, key: &str) -> Option<(f64, String)> {
    if let Some(node) = look_up(&v.tree, key) {
        return match &node.value {
            Value::Number(n) => Some((*n, String::new())),
            Value::Integer(n) => Some((*n as f64, String::new())),
            Value::Text(text) => split_number(text).map(|(n, unit)| (n, unit.to_string())),
            _ => None,
        };
    }
    let default = v.scenario.defaults.iter().find(|d| d.path == key)?;
    match default.quantity {
        Some((value_si, dimension)) => {
            let unit = dimension.shown_unit(UnitSystem::Si);
            Some((unit.express(value_si), unit.symbol.to_string()))
        }
        None => split_number(&default.shown).map(|(n, unit)| (n, unit.to_string())),
    }
}

fn no_base(v: &Variant, key: &str) -> Diagnostic {
    if look_up(&v.tree, key).is_some() {
        return Diagnostic::plain(format!(
            "`{key}` is no number, and [uncertainty] draws numbers"
        ))
        .advise("vary it with --vary instead, naming its values");
    }
    let leaves = v.tree.leaves();
    let defaults = v.scenario.defaults.iter().map(|d| d.path.as_str());
    let known = leaves.iter().map(|(path, _)| path.as_str()).chain(defaults);
    let near = nearest(key, known.filter(|path| !path.starts_with("uncertainty.")));
    Diagnostic::plain(format!(
        "there is no `{key}` with a value that could be drawn about"
    ))
    .advise(match near {
        Some(near) => format!("did you mean `{near}`?"),
        None => "write the key into the file, or draw it whole with as = \"value\"".into(),
    })
}

fn unit_of(text: &str, dimension: Dimension) -> Option<&'static Unit> {
    let written = quantity::parse_written(&format!("1 {text}"), dimension);
    written.ok().map(|q| q.unit)
}

/// How many of the key's own units a draw of 1 is: 1, or 1.8 for kelvins about a key in °F.
fn scale(unit: &str, base: &str) -> Option<f64> {
    if unit.is_empty() || unit == base {
        return Some(1.0);
    }
    let size = |u: &Unit| u.to_si(1.0) - u.to_si(0.0);
    let of_base = size(unit_of(base, Dimension::Temperature)?);
    Some(size(unit_of(unit, Dimension::TemperatureDifference)?) / of_base)
}

fn write(tree: &mut Tree, key: &str, value: f64, unit: &str) -> Result<(), Diagnostic> {
    // A bare number keeps its point, so that a whole one is not taken for a count.
    let text = match unit {
        "" => format!("{value:?}"),
        _ => format!("{value} {unit}"),
    };
    tree.set_path(key, &text)
}

fn set(v: &Variant, tree: &mut Tree, u: &Uncertain, draw: f64) -> Result<(), Diagnostic> {
    if u.acts == Acts::Value {
        return write(tree, &u.key, draw, &u.unit);
    }
    let (base, unit) = base_value(v, &u.key).ok_or_else(|| no_base(v, &u.key))?;
    if u.acts == Acts::Factor {
        return write(tree, &u.key, base * draw, &unit);
    }
    let step = scale(&u.unit, &unit).ok_or_else(|| {
        let what = format!(
            "`{}` is in \"{unit}\", and its offset in \"{}\"",
            u.key, u.unit
        );
        Diagnostic::plain(what).advise("write the offset in the unit of the key")
    })?;
    write(tree, &u.key, base + draw * step, &unit)
}

/// A draw at probability `u`, held within the bounds of its key.
pub(crate) fn draw(input: &Input, u: f64) -> f64 {
    let value = input.distribution.quantile(u);
    match &input.target {
        Target::Key(key) => value
            .max(key.lowest.unwrap_or(f64::NEG_INFINITY))
            .min(key.highest.unwrap_or(f64::INFINITY)),
        // A person does not cool, nor dry.
        Target::Adjustment(Adjustment::PeopleHeat | Adjustment::PeopleMoisture) => value.max(0.1),
        Target::Adjustment(Adjustment::Times(_)) => value.clamp(-720.0, 720.0),
        _ => value,
    }
}

/// The scenario of a variant with one draw for each input.
///
/// # Errors
/// A key that does not exist, or a value that the scenario refuses.
pub fn apply(
    v: &Variant,
    inputs: &[Input],
    draws: &[f64],
    folder: &Path,
) -> Result<Scenario, Diagnostic> {
    let mut tree: Option<Tree> = None;
    for (input, &draw) in inputs.iter().zip(draws) {
        match &input.target {
            Target::Adjustment(_) => {}
            Target::Key(key) => set(v, tree.get_or_insert_with(|| v.tree.clone()), key, draw)?,
            Target::Setpoints { keys, within } => {
                let tree = tree.get_or_insert_with(|| v.tree.clone());
                for key in keys {
                    let (base, unit) = base_value(v, key).ok_or_else(|| no_base(v, key))?;
                    let step = scale("K", &unit).unwrap_or(1.0);
                    let bound = |c: f64| match unit_of(&unit, Dimension::Temperature) {
                        Some(unit) => unit.express(c),
                        None => c,
                    };
                    let value = (base + draw * step)
                        .max(bound(within.0))
                        .min(bound(within.1));
                    write(tree, key, value, &unit)?;
                }
            }
        }
    }
    let mut scenario = match tree {
        Some(tree) => Scenario::from_tree(&tree, &v.scenario.name, folder)?,
        None => v.scenario.clone(),
    };
    for (input, &draw) in inputs.iter().zip(draws) {
        if let Target::Adjustment(adjustment) = &input.target {
            adjustment.apply(&mut scenario, draw);
        }
    }
    Ok(scenario)
}
