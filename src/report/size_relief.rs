//! Sizing in words, one ranked table, lines for the scenario file, and files.

use std::path::{Path, PathBuf};

use super::combinations::{misses, place};
use super::results::ResultsError;
use super::table::{Column, Table, Value};
use super::words::{count, listed};
use super::{OutputDir, UnitSystem};
use crate::quantity::Dimension;
use crate::study::case::Case;
use crate::study::combinations::set_name;
use crate::study::criteria::CRITERIA;
use crate::study::size_relief::{Answer, Failure, Sizing};

/// The answer for a terminal.
pub(crate) fn text(
    case: &Case,
    sizing: &Sizing,
    units: UnitSystem,
    width: u16,
    bold: impl Fn(&str) -> String,
) -> String {
    let mut out = format!("{}\n", bold(&case.scenario.title));
    out += &bold(&verdict(sizing, units));
    out += &format!(
        "\nJudged: {} of zones and modes.\n",
        count(sizing.judged, "set")
    );
    out += &locked_out(sizing, units);
    out += &day_failures(sizing, units);
    out.push('\n');
    out += &rows(sizing, units, width);
    out += "\"Steady state\": every set of zones that the schedule lets call together meets static, velocity, sound \
            and supply-temperature margin. \"Day run\": one full run of the file with that change; its energy is \
            against the file as written.\n";
    if sizing.unneeded {
        out += "Nothing needs sizing: without a relief (bypass) damper every set meets static, velocity and sound. \
                Ways to lower static are left out.\n";
    }
    if !sizing.counts.iter().all(|c| *c) {
        out += "The bypass fraction is not judged here, because the supply air that it leads to is. To judge it, \
                write its limit under [limits].\n";
    }
    for answer in &sizing.answers {
        if answer.edits.is_empty() {
            continue;
        }
        let head = bold(&format!("{}.", full_title(answer, units)));
        out += &format!("\n{head} Lines for the scenario file:\n");
        for line in case.what_if(&answer.edits).lines() {
            out += format!("    {line}").trim_end();
            out.push('\n');
        }
    }
    out
}

/// Which alternatives locked out in their day run, so that nobody takes standing still for a saving.
fn locked_out(sizing: &Sizing, units: UnitSystem) -> String {
    let locked = |a: &&Answer| a.day.as_ref().is_some_and(|d| d.locked_out_s > 0.0);
    let named: Vec<String> = sizing
        .answers
        .iter()
        .filter(locked)
        .map(|a| full_title(a, units))
        .collect();
    let who = match named.len() {
        0 => return String::new(),
        n if n == sizing.answers.len() => "every line below".into(),
        _ => named.join("; "),
    };
    format!(
        "Locked out in the day run: {who}. A locked-out unit is off, so its energy and trips are low.\n"
    )
}

/// Which alternatives pass at steady state and yet fail in their day run what they are chosen by.
fn day_failures(sizing: &Sizing, units: UnitSystem) -> String {
    let lines: Vec<String> = sizing
        .answers
        .iter()
        .filter(|a| a.passes())
        .filter_map(|a| {
            let failed = &a.day.as_ref()?.failed_alike;
            let each = failed.iter().filter_map(|m| {
                let limit = m.limit.as_ref()?;
                let value = limit.show_value(m.value, m.dimension, units);
                let limit = units.show(limit.value, m.dimension);
                let place = match m.subject.as_str() {
                    "house" => String::new(),
                    subject => format!(" ({subject})"),
                };
                Some(format!("{}{place} exceeds {limit}: {value}", m.title))
            });
            let each: Vec<String> = each.collect();
            (!each.is_empty())
                .then(|| format!("  - {}: {}\n", full_title(a, units), each.join("; ")))
        })
        .collect();
    if lines.is_empty() {
        return String::new();
    }
    format!(
        "Passes at steady state, fails in the day run:\n{}The cause is between two states: dampers shut while the \
         unit still runs, and the fan runs on after it.\n",
        lines.concat()
    )
}

fn full_title(a: &Answer, units: UnitSystem) -> String {
    if a.found.is_empty() {
        a.title.clone()
    } else {
        format!("{}, {}", a.title, a.found.text(units))
    }
}

/// Whether anything passes; if not, what binds and by how much.
pub(crate) fn verdict(sizing: &Sizing, units: UnitSystem) -> String {
    let written = &sizing.as_written;
    if written.passes() {
        let others = sizing.answers.iter().filter(|a| a.passes()).count() - 1;
        return match others {
            0 => "The file passes as written. None of the alternatives does.".into(),
            n => format!(
                "The file passes as written. So do {}.",
                count(n, "alternative")
            )
            .replace("So do 1 ", "So does 1 "),
        };
    }
    let Some(best) = sizing.answers.first() else {
        return "There is nothing to choose from.".into();
    };
    if best.passes() {
        let failed: Vec<&str> = written
            .failures
            .iter()
            .map(|b| CRITERIA[b.criterion].heading)
            .collect();
        return format!(
            "Best: {}. The file as written fails {}.",
            full_title(best, units),
            listed(&failed)
        );
    }
    let Some(b) = &best.binds else {
        return "No alternative passes.".into();
    };
    let criterion = &CRITERIA[b.criterion];
    format!(
        "No alternative passes. The nearest is: {}. Its {}{} {} with {} calling in {}: {}.",
        full_title(best, units),
        criterion.title,
        place(&b.finding),
        misses(criterion, &b.finding, units),
        set_name(&sizing.zones, b.calls),
        b.mode.name(),
        b.finding
            .limit
            .show_value(b.finding.value, criterion.dimension, units),
    )
}

/// What fails and where, worst set first; or what comes nearest.
fn failures(a: &Answer, zones: &[String], units: UnitSystem) -> String {
    let one = |b: &Failure| {
        let criterion = &CRITERIA[b.criterion];
        let limit = &b.finding.limit;
        format!(
            "{} {}{} with {}",
            criterion.heading,
            limit.show_value(b.finding.value, criterion.dimension, units),
            place(&b.finding),
            set_name(zones, b.calls),
        )
    };
    if a.failures.is_empty() {
        let nearest = a.binds.as_ref();
        return nearest.map_or(String::new(), |b| format!("none; nearest: {}", one(b)));
    }
    let each: Vec<String> = a
        .failures
        .iter()
        .map(|b| match b.sets {
            1 => one(b),
            n => format!("{} ({n} sets)", one(b)),
        })
        .collect();
    each.join("; ")
}

fn rows(sizing: &Sizing, units: UnitSystem, width: u16) -> String {
    let with_days = sizing.answers.iter().any(|a| a.day.is_some());
    let mut columns = vec![
        Column::text(""),
        Column::text("alternative"),
        Column::text("size found"),
        Column::text("steady state"),
        Column::text("fails at steady state"),
    ];
    if with_days {
        columns.extend([
            Column::text("day run: energy").right(),
            Column::text("off setpoint").right(),
            Column::number("spread", Dimension::TemperatureDifference),
            Column::text("trips").right(),
            Column::text("failed limits").right(),
        ]);
    }
    let mut table = Table::new(columns);
    let reference = sizing.as_written.day.as_ref();
    for (i, a) in sizing.answers.iter().enumerate() {
        let mut cells: Vec<Value> = vec![
            (i + 1).into(),
            a.title.as_str().into(),
            a.found.text(units).into(),
            if a.passes() { "passes" } else { "fails" }.into(),
            failures(a, &sizing.zones, units).into(),
        ];
        if let (Some(day), Some(reference)) = (&a.day, reference) {
            let change = 100.0 * (day.electric_j / reference.electric_j - 1.0);
            let energy = units.show(day.electric_j, Dimension::Energy);
            let (share, zone) = &day.off_setpoint;
            let off = units.show(*share, Dimension::Fraction);
            let locked = units.show(day.locked_out_s, Dimension::Time);
            cells.extend([
                format!("{energy} ({change:+.0} %)").into(),
                format!("{off} {zone}").into(),
                day.house_spread_k.into(),
                match day.locked_out_s > 0.0 {
                    true => format!("{:.0}, locked out {locked}", day.trips).into(),
                    false => format!("{:.0}", day.trips).into(),
                },
                day.failed.into(),
            ]);
        }
        table.row(cells);
    }
    table.text(units, width)
}

/// Folder that [`write()`] leaves: `out/size-relief-<scenario>/`.
pub(crate) fn folder(out: &Path, case: &Case) -> PathBuf {
    out.join(format!("size-relief-{}", case.scenario.name))
}

/// Writes `size-relief.csv` and a what-if file for each answer into `out/size-relief-<scenario>/`, whole or not
/// at all.
///
/// # Errors
/// The folder cannot be written.
pub(crate) fn write(out: &Path, case: &Case, sizing: &Sizing) -> Result<PathBuf, ResultsError> {
    let staged = OutputDir::stage(folder(out, case))?;
    staged.write("size-relief.csv", &answers_table(sizing).csv())?;
    for a in sizing.answers.iter().filter(|a| !a.edits.is_empty()) {
        let text = format!(
            "# {}.\n# Put this beside {}.\n\n{}",
            full_title(a, UnitSystem::Si),
            case.file,
            case.what_if(&a.edits)
        );
        staged.write(format!("what-if/{}.toml", a.key), text.as_bytes())?;
    }
    Ok(staged.commit()?)
}

fn answers_table(sizing: &Sizing) -> Table {
    let mut names: Vec<String> = ["rank", "key", "what", "found", "passes", "used"]
        .map(String::from)
        .to_vec();
    for k in CRITERIA {
        let unit = k.dimension.si_symbol();
        for what in [
            "sets_failed".into(),
            format!("worst_{unit}"),
            format!("limit_{unit}"),
            "calling".into(),
        ] {
            names.push(format!("{}_{what}", k.key));
        }
    }
    let of_day = [
        "day_electric_J",
        "day_off_setpoint_share",
        "day_off_setpoint_zone",
        "day_house_spread_K",
        "day_trips",
        "day_locked_out_s",
        "day_starts",
        "day_limits_failed",
    ];
    names.extend(of_day.map(String::from));
    let mut table = Table::named(names);
    for (rank, a) in sizing.answers.iter().enumerate() {
        let mut cells: Vec<Value> = vec![
            (rank + 1).into(),
            a.key.as_str().into(),
            a.title.as_str().into(),
            a.found.to_string().into(),
            a.passes().into(),
            a.used.into(),
        ];
        for i in 0..CRITERIA.len() {
            match a.failures.iter().chain(&a.binds).find(|b| b.criterion == i) {
                None => cells.extend([0.into(), Value::None, Value::None, Value::None]),
                Some(b) => cells.extend([
                    b.sets.into(),
                    b.finding.value.into(),
                    b.finding.limit.value.into(),
                    set_name(&sizing.zones, b.calls).into(),
                ]),
            }
        }
        match &a.day {
            None => cells.extend(std::iter::repeat_n(Value::None, of_day.len())),
            Some(d) => cells.extend([
                d.electric_j.into(),
                d.off_setpoint.0.into(),
                d.off_setpoint.1.as_str().into(),
                d.house_spread_k.into(),
                d.trips.into(),
                d.locked_out_s.into(),
                d.starts.into(),
                d.failed.into(),
            ]),
        }
        table.row(cells);
    }
    table
}
