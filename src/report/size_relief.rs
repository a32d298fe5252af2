//! What sizing tells: one ranked table, what to write, CSV.

use std::path::{Path, PathBuf};

use comfy_table::{Cell, CellAlignment, ContentArrangement, Table, presets};

use super::results::{ResultsError, symbol_of, table_of};
use super::verdict::{show, show_difference, show_judged};
use super::{OutputDir, UnitSystem};
use crate::measure::Side;
use crate::quantity::Dimension;
use crate::study::case::Case;
use crate::study::combinations::set_name;
use crate::study::criteria::CRITERIA;
use crate::study::size_relief::{Answer, Breach, Sizing};

/// The answer for a terminal.
pub fn text(
    case: &Case,
    sizing: &Sizing,
    units: UnitSystem,
    width: u16,
    bold: impl Fn(&str) -> String,
) -> String {
    let mut out = format!(
        "{} ({} sets of zones and modes judged)\n",
        bold(&case.scenario.title),
        sizing.judged
    );
    out += &bold(&verdict(sizing, units));
    out.push('\n');
    out += &locked_out(sizing);
    out += &broken_on_the_way(sizing, units);
    out.push('\n');
    out += &rows(sizing, units, width);
    out.push_str(
        "Holds: every set of zones that the time bands let call together keeps static, velocity, sound and \
         the margin of supply air, settled. Day: one full run of the file with that change; energy and time \
         off setpoint against the file as it stands.\n",
    );
    if sizing.unneeded {
        out.push_str(
            "Without any relief every set keeps static, velocity and sound, settled, so there is nothing to size: \
             ways of keeping pressure down are left out.\n",
        );
    }
    if !sizing.counts.iter().all(|c| *c) {
        out.push_str(
            "The share of relief is not held against a relief here, since the supply air it leads to is \
             worked out; write relief_share under [limits] to have it count.\n",
        );
    }
    for answer in &sizing.answers {
        if answer.edits.is_empty() {
            continue;
        }
        out += &format!(
            "\n{} To have this, write:\n",
            bold(&format!("{}.", full_title(answer)))
        );
        for line in case.what_if(&answer.edits).lines() {
            out += format!("    {line}").trim_end();
            out.push('\n');
        }
    }
    out
}

/// Which ways were locked out in their day, so that nobody takes standing still for a saving.
fn locked_out(sizing: &Sizing) -> String {
    let locked = |a: &&Answer| a.day.as_ref().is_some_and(|d| d.locked_out_s > 0.0);
    let told: Vec<String> = sizing
        .answers
        .iter()
        .filter(locked)
        .map(full_title)
        .collect();
    match told.as_slice() {
        [] => String::new(),
        all if all.len() == sizing.answers.len() => {
            "Locked out in its day: every line below. Energy and trips are of systems that stood still \
             meanwhile.\n"
                .into()
        }
        some => format!(
            "Locked out in their day: {}. Their energy and trips, and any comparison with them, are of a \
             system that stood still meanwhile.\n",
            some.join("; ")
        ),
    }
}

/// Which ways hold settled and yet break in their day what they are chosen by.
fn broken_on_the_way(sizing: &Sizing, units: UnitSystem) -> String {
    let told: Vec<String> = sizing
        .answers
        .iter()
        .filter(|a| a.holds())
        .filter_map(|a| {
            let over = &a.day.as_ref()?.over;
            let each = over.iter().filter_map(|m| {
                let limit = show(m.limit.as_ref()?.value, m.dimension, units);
                let value = show(m.value, m.dimension, units);
                Some(format!(
                    "{} ({}) {value}, at most {limit}",
                    m.title, m.subject
                ))
            });
            let each: Vec<String> = each.collect();
            (!each.is_empty()).then(|| format!("{}: {}", full_title(a), each.join(", ")))
        })
        .collect();
    if told.is_empty() {
        return String::new();
    }
    format!(
        "Held settled, broken in its day, on the way from one state to the next (dampers shut while the unit still \
         runs, the fan runs on after it): {}.\n",
        told.join("; ")
    )
}

fn full_title(a: &Answer) -> String {
    if a.found.is_empty() {
        a.title.clone()
    } else {
        format!("{}, {}", a.title, a.found)
    }
}

/// Whether anything holds; if not, what binds and by how much.
pub fn verdict(sizing: &Sizing, units: UnitSystem) -> String {
    let written = &sizing.as_written;
    if written.holds() {
        let also = sizing.answers.iter().filter(|a| a.holds()).count() - 1;
        return match also {
            0 => "The file holds as it stands, and none of the alternatives does.".into(),
            1 => "The file holds as it stands, and so does 1 of the alternatives.".into(),
            n => format!("The file holds as it stands, and so do {n} of the alternatives."),
        };
    }
    let Some(best) = sizing.answers.first() else {
        return "There is nothing to choose from.".into();
    };
    if best.holds() {
        return format!(
            "Best: {}. The file as it stands breaks {}.",
            full_title(best),
            broken(written)
        );
    }
    let Some(b) = &best.binds else {
        return "Nothing holds.".into();
    };
    format!(
        "Nothing holds. {} comes nearest: {} misses {} by {} ({} {}, with {} calling in {}).",
        full_title(best),
        CRITERIA[b.criterion].title,
        limit(b, units),
        miss(b, units),
        show_judged(
            b.finding.value,
            &b.finding.limit,
            CRITERIA[b.criterion].dimension,
            units
        ),
        b.finding.place,
        set_name(&sizing.zones, b.calls),
        b.mode.name(),
    )
    .replace(" , with", ", with")
}

fn broken(a: &Answer) -> String {
    let headings: Vec<&str> = a
        .breaches
        .iter()
        .map(|b| CRITERIA[b.criterion].heading)
        .collect();
    headings.join(", ")
}

fn limit(b: &Breach, units: UnitSystem) -> String {
    let side = match b.finding.limit.side {
        Side::AtMost => "at most",
        Side::AtLeast => "at least",
    };
    let shown = show(
        b.finding.limit.value,
        CRITERIA[b.criterion].dimension,
        units,
    );
    format!("its limit of {side} {shown}")
}

fn miss(b: &Breach, units: UnitSystem) -> String {
    show_difference(
        (b.finding.value - b.finding.limit.value).abs(),
        CRITERIA[b.criterion].dimension,
        units,
    )
}

/// What fails and where, worst set first; or what comes nearest.
fn fails(a: &Answer, zones: &[String], units: UnitSystem) -> String {
    let one = |b: &Breach| {
        let criterion = &CRITERIA[b.criterion];
        let place = if b.finding.place.is_empty() {
            String::new()
        } else {
            format!(" at {}", b.finding.place)
        };
        format!(
            "{} {}{place} with {}",
            criterion.heading,
            show_judged(
                b.finding.value,
                &b.finding.limit,
                criterion.dimension,
                units
            ),
            set_name(zones, b.calls),
        )
    };
    if a.breaches.is_empty() {
        return a
            .binds
            .as_ref()
            .map_or(String::new(), |b| format!("nearest: {}", one(b)));
    }
    let told: Vec<String> = a
        .breaches
        .iter()
        .map(|b| match b.sets {
            1 => one(b),
            n => format!("{} ({n} sets)", one(b)),
        })
        .collect();
    told.join("; ")
}

fn rows(sizing: &Sizing, units: UnitSystem, width: u16) -> String {
    let with_days = sizing.answers.iter().any(|a| a.day.is_some());
    let mut table = Table::new();
    let mut head = vec!["", "what", "found", "holds", "what fails, and where"];
    if with_days {
        head.extend([
            "day: energy",
            "off setpoint",
            "spread",
            "trips",
            "limits broken",
        ]);
    }
    table
        .load_style(presets::NOTHING)
        .set_content_arrangement(ContentArrangement::Dynamic)
        .set_width(width)
        .set_header(head);
    let reference = sizing.as_written.day.as_ref();
    for (i, a) in sizing.answers.iter().enumerate() {
        let mut cells = vec![
            Cell::new(i + 1),
            Cell::new(&a.title),
            Cell::new(&a.found),
            Cell::new(if a.holds() { "holds" } else { "fails" }),
            Cell::new(fails(a, &sizing.zones, units)),
        ];
        if let (Some(day), Some(reference)) = (&a.day, reference) {
            let energy = 100.0 * (day.electric_j / reference.electric_j - 1.0);
            let (share, zone) = &day.outside_band;
            for text in [
                format!(
                    "{} ({energy:+.0} %)",
                    show(day.electric_j, Dimension::Energy, units)
                ),
                format!("{:.0} % {zone}", 100.0 * share),
                show(day.house_spread_k, Dimension::TemperatureDifference, units),
                if day.locked_out_s > 0.0 {
                    let time = show(day.locked_out_s, Dimension::Time, units);
                    format!("{:.0}, locked out {time}", day.trips)
                } else {
                    format!("{:.0}", day.trips)
                },
                day.broken.to_string(),
            ] {
                cells.push(Cell::new(text).set_alignment(CellAlignment::Right));
            }
        }
        table.add_row(cells);
    }
    let mut text = table.trim_fmt();
    text.push('\n');
    text
}

/// Folder that [`write()`] leaves: `out/size-relief-<scenario>/`.
pub fn folder(out: &Path, case: &Case) -> PathBuf {
    out.join(format!("size-relief-{}", case.scenario.name))
}

/// Writes `size-relief.csv` and one what-if file an answer into `out/size-relief-<scenario>/`, whole or not
/// at all.
///
/// # Errors
/// The folder cannot be written.
pub fn write(out: &Path, case: &Case, sizing: &Sizing) -> Result<PathBuf, ResultsError> {
    let staged = OutputDir::stage(folder(out, case))?;
    staged.write("size-relief.csv", &csv(sizing))?;
    for a in sizing.answers.iter().filter(|a| !a.edits.is_empty()) {
        let text = format!(
            "# {}.\n# Put this beside {}.\n\n{}",
            full_title(a),
            case.file,
            case.what_if(&a.edits)
        );
        staged.write(format!("what-if/{}.toml", a.key), text.as_bytes())?;
    }
    Ok(staged.commit()?)
}

fn csv(sizing: &Sizing) -> Vec<u8> {
    let number = |v: f64| {
        if v.is_finite() {
            v.to_string()
        } else {
            String::new()
        }
    };
    let mut head: Vec<String> = ["rank", "key", "what", "found", "holds", "used"]
        .map(String::from)
        .to_vec();
    for k in CRITERIA {
        let unit = symbol_of(k.dimension);
        for what in [
            "sets_broken".into(),
            format!("worst_{unit}"),
            format!("limit_{unit}"),
            "calling".into(),
        ] {
            head.push(format!("{}_{what}", k.key));
        }
    }
    for what in [
        "day_electric_J",
        "day_off_setpoint_share",
        "day_off_setpoint_zone",
        "day_house_spread_K",
        "day_trips",
        "day_locked_out_s",
        "day_starts",
        "day_limits_broken",
    ] {
        head.push(what.into());
    }
    let rows = sizing.answers.iter().enumerate().map(|(rank, a)| {
        let holds = if a.holds() { "yes" } else { "no" };
        let mut cells = vec![
            (rank + 1).to_string(),
            a.key.clone(),
            a.title.clone(),
            a.found.clone(),
            holds.to_string(),
            number(a.used),
        ];
        for i in 0..CRITERIA.len() {
            match a.breaches.iter().chain(&a.binds).find(|b| b.criterion == i) {
                None => cells.extend(["0", "", "", ""].map(String::from)),
                Some(b) => cells.extend([
                    b.sets.to_string(),
                    number(b.finding.value),
                    number(b.finding.limit.value),
                    set_name(&sizing.zones, b.calls),
                ]),
            }
        }
        match &a.day {
            None => cells.extend(std::iter::repeat_n(String::new(), 8)),
            Some(d) => cells.extend([
                number(d.electric_j),
                number(d.outside_band.0),
                d.outside_band.1.clone(),
                number(d.house_spread_k),
                number(d.trips),
                number(d.locked_out_s),
                number(d.starts),
                d.broken.to_string(),
            ]),
        }
        cells
    });
    table_of(&head, rows)
}
