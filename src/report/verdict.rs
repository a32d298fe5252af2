//! The verdict on a run: does it pass, what fails, by how much, in which combination of zones.

use super::UnitSystem;
use super::table::{Column, Table, Value};
use super::words;
use crate::measure::{Measure, cycling, sound};
use crate::quantity::{Dimension, significant};
use crate::run::Outcome;
use crate::scenario::Scenario;

/// The verdict on a run as lines of text, at most `width` columns wide.
pub(crate) fn verdict(
    s: &Scenario,
    outcome: &Outcome,
    units: UnitSystem,
    width: u16,
    bold: impl Fn(&str) -> String,
) -> String {
    // Every limit counts, as in measures.csv, also where it is not listed.
    let that = |passes: bool| -> Vec<&Measure> {
        let all = outcome.measures.iter();
        all.filter(|m| m.passes() == Some(passes)).collect()
    };
    let (failed, passed) = (that(false), that(true));
    let listed = |all: &[&Measure]| -> Vec<Measure> {
        let mut list: Vec<Measure> = all.iter().map(|m| (*m).clone()).collect();
        list.retain(|m| !sound::is_folded(m, &outcome.measures));
        list
    };
    let (listed_failed, listed_passed) = (listed(&failed), listed(&passed));
    let mut out = format!(
        "{} ({} h from {})\n",
        bold(&s.title),
        significant(s.run.duration_s / 3600.0, 3),
        s.start().format("%a %d %b %Y %H:%M"),
    );
    if let Some(locked) = locked_out(s, &outcome.measures) {
        out += &bold(&format!("The unit was {locked}."));
        out += "\nA locked-out unit is off, so its energy, starts and trips are low.\n";
    }
    let all = words::count(failed.len() + passed.len(), "limit");
    let first = match failed.len() {
        0 => format!("It passes: all {all} are met."),
        n => format!("It fails {n} of {all}."),
    };
    out += &bold(&first);
    out.push('\n');
    let measures = outcome.measures.iter();
    let unseen = measures.filter(|m| m.limit.is_some() && m.value.is_nan());
    match unseen.count() {
        0 => {}
        n => {
            let limits = words::count(n, "more limit");
            out += &format!("{limits} could not be judged: the run has no value for them.\n");
        }
    }
    if !listed_failed.is_empty() {
        out += &rows(s, &listed_failed, units, width);
    }
    if !listed_passed.is_empty() {
        out += "\nPassed:\n";
        out += &rows(s, &listed_passed, units, width);
    }
    let left_out = [
        (failed.len() - listed_failed.len(), "failed"),
        (passed.len() - listed_passed.len(), "passed"),
    ];
    let left_out: Vec<String> = left_out
        .iter()
        .filter(|(n, _)| *n > 0)
        .map(|(n, word)| format!("{n} {word}"))
        .collect();
    if !left_out.is_empty() {
        out += &format!(
            "\nCounted but not listed: {}. They are other ratings of sound in the rooms above; measures.csv has them.\n",
            left_out.join(" and ")
        );
    }
    out += &format!("\n{}\n", energy(outcome, units));
    out += &format!("{}\n", sound::expected_band(s.sound.measured_fan));
    out
}

fn rows(s: &Scenario, measures: &[Measure], units: UnitSystem, width: u16) -> String {
    let mut table = Table::new([
        Column::text("measure"),
        Column::text("where"),
        Column::text("value").right(),
        Column::text("limit"),
        Column::text("when"),
        Column::text("source of the limit"),
    ]);
    for m in measures {
        let limit = m.limit.as_ref();
        let mandatory = limit.is_some_and(|l| l.mandatory);
        let when = [
            m.at_s.map_or(String::new(), |t| clock(s, t)),
            m.note.text(units),
        ];
        let when: Vec<&str> = when
            .iter()
            .map(String::as_str)
            .filter(|w| !w.is_empty())
            .collect();
        table.row_of(
            m.dimension,
            [
                format!("{}{}", m.title, if mandatory { " (mandatory)" } else { "" }).into(),
                m.subject.as_str().into(),
                match limit {
                    Some(limit) => limit.show_value(m.value, m.dimension, units).into(),
                    None => Value::Number(m.value),
                },
                limit.map_or(Value::None, |l| Value::Limit(l.clone())),
                when.join("; ").into(),
                limit.map(|l| l.source.as_str()).into(),
            ],
        );
    }
    table.text(units, width)
}

/// What a lock-out did, in words: `locked out from 13:08 to the end (low supply air)`; `None` of a
/// run without one.
pub(crate) fn locked_out(s: &Scenario, measures: &[Measure]) -> Option<String> {
    let locked = cycling::locked_out(measures)?;
    let from = clock(s, locked.from_s);
    let until = if locked.to_end(s.run.duration_s) {
        "to the end".to_string()
    } else {
        let total = UnitSystem::Si.show(locked.total_s, Dimension::Time);
        format!("on, for {total} in all")
    };
    Some(format!("locked out from {from} {until} ({})", locked.by))
}

/// Local clock time `t_s` into the run; with the day when the run is longer than one.
pub(crate) fn clock(s: &Scenario, t_s: f64) -> String {
    let at = s.start() + chrono::TimeDelta::milliseconds((t_s * 1000.0) as i64);
    let form = if s.run.duration_s > 86_400.0 {
        "%a %H:%M"
    } else {
        "%H:%M"
    };
    at.format(form).to_string()
}

fn energy(outcome: &Outcome, units: UnitSystem) -> String {
    let shown = |key: &str| {
        let m = outcome.measure(key, "house");
        m.map_or("none".into(), |m| units.show(m.value, m.dimension))
    };
    format!(
        "Electricity {} (fan {}), mean COP {}, compressor starts {}, condensate {}.",
        shown("energy_electric"),
        shown("energy_fan_share"),
        shown("cop_mean"),
        shown("starts"),
        shown("condensate"),
    )
}
