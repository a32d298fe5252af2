//! What a person asks first: does it hold, where not, by how much, in which zone combination.

use comfy_table::{Cell, CellAlignment, ContentArrangement, Table, presets};

use super::UnitSystem;
use super::in_words;
use crate::measure::{Limit, Measure, Side, cycling, sound};
use crate::quantity::{self, Dimension};
use crate::run::Outcome;
use crate::scenario::Scenario;

/// Times from here on are shown in minutes, s.
const MINUTES_FROM_S: f64 = 120.0;
/// Digits added at most to tell a value from its limit.
const MOST_MORE_DIGITS: usize = 4;

/// The verdict on a run as lines of text, at most `width` columns wide.
pub fn verdict(
    s: &Scenario,
    outcome: &Outcome,
    units: UnitSystem,
    width: u16,
    bold: impl Fn(&str) -> String,
) -> String {
    // Every limit counts, as in measures.csv, also where another line tells of it.
    let that = |holds: bool| -> Vec<&Measure> {
        let all = outcome.measures.iter();
        all.filter(|m| m.holds() == Some(holds)).collect()
    };
    let (broken, kept) = (that(false), that(true));
    let mut listed_broken = broken.clone();
    let mut listed_kept = kept.clone();
    for list in [&mut listed_broken, &mut listed_kept] {
        list.retain(|m| !sound::is_folded(m, &outcome.measures));
    }
    let mut out = String::new();
    let hours = s.run.duration_s / 3600.0;
    out += &format!(
        "{} ({} h from {})\n",
        bold(&s.title),
        quantity::significant(hours, 4),
        s.start().format("%a %d %b %Y %H:%M"),
    );
    if let Some(locked) = locked_out(s, &outcome.measures) {
        out += &bold(&format!("The unit was {locked}."));
        out += "\nEnergy, starts, trips and all else are of a system that stood still meanwhile.\n";
    }
    let n = broken.len() + kept.len();
    let first = match broken.len() {
        0 => format!("It holds: all {n} limits are kept."),
        1 => format!("It does not hold: 1 of {n} limits is broken."),
        b => format!("It does not hold: {b} of {n} limits are broken."),
    };
    out += &bold(&first);
    out.push('\n');
    let unseen = outcome
        .measures
        .iter()
        .filter(|m| m.limit.is_some() && m.value.is_nan());
    match unseen.count() {
        0 => {}
        u => {
            out +=
                &format!("{u} more could not be judged: nothing was seen of them in this time.\n")
        }
    }
    if !listed_broken.is_empty() {
        out += &rows(s, &listed_broken, units, width);
    }
    if !listed_kept.is_empty() {
        out += "\nKept:\n";
        out += &rows(s, &listed_kept, units, width);
    }
    let left_out = [
        (broken.len() - listed_broken.len(), "broken"),
        (kept.len() - listed_kept.len(), "kept"),
    ];
    let left_out: Vec<String> = left_out
        .iter()
        .filter(|(n, _)| *n > 0)
        .map(|(n, word)| format!("{n} {word}"))
        .collect();
    if !left_out.is_empty() {
        out += &format!(
            "\nCounted and not listed: {}, all of sound in rooms listed above; measures.csv has them.\n",
            left_out.join(" and ")
        );
    }
    out += &format!("\n{}\n", energy(outcome, units));
    out += &format!("{}\n", sound::expected_band(s.sound.measured_fan));
    out
}

fn rows(s: &Scenario, measures: &[&Measure], units: UnitSystem, width: u16) -> String {
    let mut table = Table::new();
    table
        .load_style(presets::NOTHING)
        .set_content_arrangement(ContentArrangement::Dynamic)
        .set_width(width)
        .set_header([
            "measure",
            "where",
            "value",
            "limit",
            "when",
            "source of the limit",
        ]);
    for m in measures {
        let limit = m.limit.as_ref();
        let shown = |v: f64| show(v, m.dimension, units);
        let when = [
            m.at_s.map_or(String::new(), |t| clock(s, t)),
            in_words(&m.note, units),
        ];
        let when: Vec<&str> = when
            .iter()
            .map(String::as_str)
            .filter(|w| !w.is_empty())
            .collect();
        let mandatory = limit.is_some_and(|l| l.mandatory);
        let title = in_words(m.title, units);
        table.add_row([
            Cell::new(if mandatory {
                format!("{title} (mandatory)")
            } else {
                title
            }),
            Cell::new(&m.subject),
            Cell::new(match limit {
                Some(l) => show_judged(m.value, l, m.dimension, units),
                None => shown(m.value),
            })
            .set_alignment(CellAlignment::Right),
            Cell::new(limit.map_or(String::new(), |l| {
                let side = if l.side == Side::AtMost { "≤" } else { "≥" };
                format!("{side} {}", shown(l.value))
            })),
            Cell::new(when.join("; ")),
            Cell::new(limit.map_or("", |l| &l.source)),
        ]);
    }
    let mut text = table.trim_fmt();
    text.push('\n');
    text
}

/// What a lock-out did, in words: `locked out from 13:08 to the end (low supply air)`; `None` of a
/// run without one.
pub fn locked_out(s: &Scenario, measures: &[Measure]) -> Option<String> {
    let locked = cycling::locked_out(measures)?;
    let from = clock(s, locked.from_s);
    let until = if locked.to_end(s.run.duration_s) {
        "to the end".to_string()
    } else {
        let total = show(locked.total_s, Dimension::Time, UnitSystem::Si);
        format!("on, for {total} in all")
    };
    Some(format!("locked out from {from} {until} ({})", locked.by))
}

/// A value for people; whole minutes and seconds for times.
pub fn show(value: f64, dimension: Dimension, units: UnitSystem) -> String {
    if value.is_nan() {
        return "none".to_string();
    }
    match dimension {
        Dimension::Time if value >= MINUTES_FROM_S => format!("{:.0} min", value / 60.0),
        Dimension::Time => format!("{value:.0} s"),
        Dimension::Temperature | Dimension::TemperatureDifference => {
            let shown = quantity::display(value, dimension, units);
            match shown.split_once(' ') {
                Some((n, unit)) => {
                    let n: f64 = n.parse().unwrap_or(value);
                    format!("{n:.1} {unit}")
                }
                None => shown,
            }
        }
        Dimension::SoundLevel => format!("{value:.0} dB(A)"),
        Dimension::Energy => format!("{:.2} kWh", value / 3.6e6),
        _ => quantity::display(value, dimension, units),
    }
}

/// A value for people beside its limit: with more digits where rounding would hide that the limit is
/// broken, as in \"5 min, at least 5 min\".
pub fn show_judged(value: f64, limit: &Limit, dimension: Dimension, units: UnitSystem) -> String {
    let text = show(value, dimension, units);
    if limit.holds(value) || value.is_nan() {
        return text;
    }
    let minutes = limit.value >= MINUTES_FROM_S;
    let finer = |v: f64, more: usize| match dimension {
        Dimension::Time if minutes => format!("{:.more$} min", v / 60.0),
        Dimension::Time => format!("{v:.more$} s"),
        Dimension::SoundLevel => format!("{v:.more$} dB(A)"),
        Dimension::Energy => format!("{:.*} kWh", 2 + more, v / 3.6e6),
        Dimension::Temperature | Dimension::TemperatureDifference => {
            let unit = dimension.shown_unit(units);
            format!("{:.*} {}", 1 + more, unit.from_si(v), unit.symbol)
        }
        _ => quantity::in_unit(v, dimension.shown_unit(units), 3 + more),
    };
    if finer(value, 0) != finer(limit.value, 0) {
        return text;
    }
    (1..=MOST_MORE_DIGITS)
        .map(|more| (finer(value, more), finer(limit.value, more)))
        .find(|(value, limit)| value != limit)
        .map_or(text, |(value, _)| value)
}

/// How far two values lie apart: kelvins for temperatures, percentage points for shares.
pub fn show_difference(size: f64, dimension: Dimension, units: UnitSystem) -> String {
    match dimension {
        Dimension::Temperature => show(size, Dimension::TemperatureDifference, units),
        Dimension::Fraction => format!(
            "{} percentage points",
            quantity::significant(100.0 * size, 3)
        ),
        Dimension::SoundLevel if size.abs() < 1.0 => format!("{size:.1} dB(A)"),
        _ => show(size, dimension, units),
    }
}

/// Local clock time `t_s` into the run; with the day when the run is longer than one.
pub fn clock(s: &Scenario, t_s: f64) -> String {
    let at = s.start() + chrono::TimeDelta::milliseconds((t_s * 1000.0) as i64);
    let form = if s.run.duration_s > 86_400.0 {
        "%a %H:%M"
    } else {
        "%H:%M"
    };
    at.format(form).to_string()
}

fn energy(outcome: &Outcome, units: UnitSystem) -> String {
    let value = |key: &str| outcome.measure(key, "house").map_or(f64::NAN, |m| m.value);
    let starts = value("starts");
    format!(
        "Electricity {} (fan {:.0} %), mean COP {:.2}, {starts:.0} starts, condensate {}.",
        show(value("energy_electric"), Dimension::Energy, units),
        100.0 * value("energy_fan_share"),
        value("cop_mean"),
        show(value("condensate"), Dimension::Mass, units),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shares_differ_by_points_and_temperatures_by_kelvins() {
        let apart = |size, dimension| show_difference(size, dimension, UnitSystem::Si);
        assert_eq!(apart(0.401, Dimension::Fraction), "40.1 percentage points");
        assert_eq!(apart(2.0, Dimension::Temperature), "2.0 K");
        assert_eq!(apart(0.3, Dimension::SoundLevel), "0.3 dB(A)");
    }

    #[test]
    fn rounding_does_not_hide_a_breach() {
        let judged =
            |value, limit: Limit, dimension| show_judged(value, &limit, dimension, UnitSystem::Si);
        let least = || Limit::at_least(300.0, "");
        assert_eq!(judged(299.0, least(), Dimension::Time), "4.98 min");
        assert_eq!(judged(301.0, least(), Dimension::Time), "5 min");
        assert_eq!(judged(200.0, least(), Dimension::Time), "3 min");
        let two = Limit::at_least(120.0, "");
        assert_eq!(judged(119.8, two, Dimension::Time), "1.997 min");
        let most = || Limit::at_most(30.0, "");
        assert_eq!(judged(30.2, most(), Dimension::SoundLevel), "30.2 dB(A)");
        assert_eq!(judged(29.8, most(), Dimension::SoundLevel), "30 dB(A)");
        assert_eq!(judged(31.2, most(), Dimension::SoundLevel), "31 dB(A)");
        let share = Limit::at_most(0.3, "");
        assert_eq!(judged(0.30004, share, Dimension::Fraction), "30.004 %");
        let kelvins = Limit::at_most(1.1, "");
        let swing = judged(1.12, kelvins, Dimension::TemperatureDifference);
        assert_eq!(swing, "1.12 K");
    }
}
