//! The telltale table, the drill and the suspects: as text, as tables of numbers, as figures.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use comfy_table::{
    Cell, CellAlignment, ColumnConstraint, ContentArrangement, Table, Width, presets,
};
use rayon::prelude::*;

use super::fault_figure::{Faulty, fault_figure};
use super::results::ResultsError;
use super::verdict::locked_out;
use super::{Figure, FigureData, FigureError, OutputDir, Quantity, UnitSystem};
use crate::quantity::{Dimension, significant};
use crate::scenario::Scenario;
use crate::study::faults::drill::Drill;
use crate::study::faults::separate::drill_words;
use crate::study::faults::telltales::{Direction, Telltale};
use crate::study::faults::{Case, FaultStudy};

/// The study as text, at most `width` columns wide.
pub fn faults_text(
    s: &Scenario,
    study: &FaultStudy,
    units: UnitSystem,
    width: u16,
    bold: impl Fn(&str) -> String,
) -> String {
    let mut out = String::new();
    let whose = if study.from_file {
        "those of the file"
    } else {
        "made up for this system"
    };
    let n = study.cases.len();
    let faults = if n == 1 { "fault" } else { "faults" };
    let _ = writeln!(
        out,
        "{}",
        bold(&format!("{}: {n} {faults}, {whose}", s.title))
    );
    out += "Each alone beside the healthy run, while it lasts. A dot: no difference that counts.\n";
    out += "Static and suction are brought to full fan speed, so that a slower fan does not hide them.\n\n";
    let healthy =
        locked_out(s, &study.healthy.measures).map(|l| ("the healthy run".to_string(), l));
    let faulty = study.cases.iter().filter_map(|case| {
        let locked = locked_out(s, &case.outcome.measures)?;
        Some((case.words.clone(), locked))
    });
    let locked: Vec<String> = healthy
        .into_iter()
        .chain(faulty)
        .map(|(who, locked)| format!("  {who}: {locked}."))
        .collect();
    if !locked.is_empty() {
        let head =
            "A unit locked out stands still; starts, trips, calls and air after that say only so:";
        let _ = writeln!(out, "{}\n{}\n", bold(head), locked.join("\n"));
    }
    out += &telltale_table(s, study, units, width);
    let _ = writeln!(
        out,
        "\n{}",
        bold("Drill: one damper at a time open, the others shut, unit at its least, doors shut")
    );
    let per_hour = |v: f64| units.convert(Quantity::TemperatureDifference, v);
    let unit = units.symbol(Quantity::TemperatureDifference);
    let _ = writeln!(
        out,
        "Healthy: answer of every room in {unit}/h, beyond what it does by itself."
    );
    out += &matrix(s, &study.drill, width, per_hour);
    if let [case] = study.cases.as_slice() {
        let _ = writeln!(out, "\nWith the fault ({}):", case.words);
        out += &matrix(s, &case.drill, width, per_hour);
    }
    out += "\nWhat the drill shows of each fault:\n";
    for case in &study.cases {
        let words = drill_words(s, &study.drill, &case.drill).join("; ");
        let _ = writeln!(out, "  {}: {words}.", case.words);
    }
    if !study.alike.is_empty() {
        let _ = writeln!(
            out,
            "\n{}",
            bold("Suspects that look alike in operation, and what parts them")
        );
    }
    for group in &study.alike {
        let _ = writeln!(out, "{}:", group.complaint);
        for p in &group.parted {
            let [a, b] = p.cases.map(|i| study.cases[i].words.as_str());
            let _ = writeln!(out, "  {a}, or {b}: {}.", p.words);
        }
    }
    out
}

fn telltale_table(s: &Scenario, study: &FaultStudy, units: UnitSystem, width: u16) -> String {
    let mut table = Table::new();
    table
        .load_style(presets::NOTHING)
        .set_content_arrangement(ContentArrangement::Dynamic)
        .set_width(width)
        .set_header([
            "fault",
            "zone",
            "its air",
            "calls",
            "sensor",
            "others",
            "static",
            "worst",
            "suction",
            "supply air",
            "starts/h",
            "trips",
            "blade, report",
        ]);
    // The faults' names stay whole; the readings share the rest.
    if let Some(column) = table.column_mut(0) {
        column.set_constraint(ColumnConstraint::LowerBoundary(Width::Fixed(26)));
    }
    for case in &study.cases {
        let zone = s.zones[case.zone].name.as_str();
        let cell = |key: &str, subject: &str| {
            let text = case
                .telltale(key, subject)
                .map_or("·".into(), |t| shown(t, units));
            Cell::new(text).set_alignment(CellAlignment::Right)
        };
        table.add_row([
            Cell::new(&case.words),
            Cell::new(zone),
            Cell::new(air(case, zone, units)).set_alignment(CellAlignment::Right),
            cell("calling_share", zone),
            Cell::new(thermostat(case, zone, units)).set_alignment(CellAlignment::Right),
            Cell::new(others(s, case, units)),
            cell("static_full_speed", "house"),
            cell("static_worst", "house"),
            cell("return_suction", "house"),
            cell("supply_air", "house"),
            cell("starts_per_hour", "house"),
            Cell::new(trips(case, units)).set_alignment(CellAlignment::Right),
            Cell::new(blade(s, case)),
        ]);
    }
    let mut text = table.trim_fmt();
    text.push('\n');
    text
}

/// The difference with its sign, or a dot.
fn shown(t: &Telltale, units: UnitSystem) -> String {
    let d = t.difference();
    if t.direction() == Direction::Same {
        return "·".to_string();
    }
    let sign = if d > 0.0 { "+" } else { "−" };
    let size = d.abs();
    let text = match t.dimension {
        Dimension::Temperature | Dimension::TemperatureDifference => {
            units.text(Quantity::TemperatureDifference, size)
        }
        Dimension::Pressure => units.text(Quantity::Pressure, size),
        Dimension::Fraction => units.text(Quantity::Share, size),
        Dimension::AirFlow => units.text(Quantity::Flow, size),
        _ => significant(size, 2),
    };
    format!("{sign}{text}")
}

/// How the zone's room has moved on average, or else at its furthest.
fn air(case: &Case, zone: &str, units: UnitSystem) -> String {
    let moved = |key: &str| {
        let found = case.telltale(key, zone);
        found.filter(|t| t.direction() != Direction::Same)
    };
    match (moved("room_air"), moved("furthest")) {
        (Some(t), _) => shown(t, units),
        (None, Some(t)) => format!("at times {}", shown(t, units)),
        (None, None) => "·".to_string(),
    }
}

/// How much more often protections acted, and whether they locked the unit out.
fn trips(case: &Case, units: UnitSystem) -> String {
    let acts = case.telltale("protection_acts", "house");
    let acts = acts.map_or("·".to_string(), |t| shown(t, units));
    let locked = case.telltale("lock_outs", "house");
    if locked.is_some_and(|t| t.direction() == Direction::Up) {
        return format!("{acts}, locked out");
    }
    acts
}

fn thermostat(case: &Case, zone: &str, units: UnitSystem) -> String {
    let moved = |key: &str| {
        let found = case.telltale(key, zone);
        found.filter(|t| t.direction() != Direction::Same)
    };
    if let Some(t) = moved("sensor_lost_share") {
        return format!("lost {:.0} %", 100.0 * t.faulty);
    }
    if let Some(t) = case.telltale("sensor_spread", zone)
        && t.faulty < 1e-9
        && t.healthy > 1e-9
    {
        return "never moves".to_string();
    }
    moved("sensor_error").map_or("·".to_string(), |t| shown(t, units))
}

/// The room air of another zone that has moved most.
fn others(s: &Scenario, case: &Case, units: UnitSystem) -> String {
    let own = &s.zones[case.zone].name;
    let moved = case
        .telltales
        .iter()
        .filter(|t| t.key == "room_air" && t.subject != *own && t.direction() != Direction::Same);
    moved
        .max_by(|a, b| a.difference().abs().total_cmp(&b.difference().abs()))
        .map_or("·".to_string(), |t| {
            format!("{} {}", t.subject, shown(t, units))
        })
}

/// The damper whose blade lies furthest from what is reported.
fn blade(s: &Scenario, case: &Case) -> String {
    let off = case.telltales.iter().filter(|t| {
        t.key == "blade_off_report" && (t.direction() != Direction::Same || t.faulty.is_nan())
    });
    let worst = off.max_by(|a, b| a.difference().total_cmp(&b.difference()));
    let silent = case
        .telltales
        .iter()
        .filter(|t| t.key == "blade_off_report" && t.faulty.is_nan());
    let count = silent.count();
    if count > 0 {
        return format!("{count} of {} report nothing", s.outlets.len());
    }
    worst.map_or("·".to_string(), |t| {
        format!("{} {:.0} % apart", t.subject, 100.0 * t.faulty)
    })
}

fn matrix(s: &Scenario, drill: &Drill, width: u16, show: impl Fn(f64) -> f64) -> String {
    let mut table = Table::new();
    let rooms = s.rooms.iter().map(|r| r.name.clone());
    table
        .load_style(presets::NOTHING)
        .set_content_arrangement(ContentArrangement::Dynamic)
        .set_width(width)
        .set_header(
            std::iter::once("damper opened".to_string())
                .chain(rooms)
                .chain(["static, Pa".to_string()]),
        );
    for t in &drill.tests {
        let right = |text: String| Cell::new(text).set_alignment(CellAlignment::Right);
        let mut row = vec![Cell::new(&s.outlets[t.outlet].name)];
        row.extend(
            t.rooms_k_h
                .iter()
                .map(|&v| right(format!("{:+.1}", show(v)))),
        );
        row.push(right(format!("{:.0}", t.static_pa)));
        table.add_row(row);
    }
    let mut text = table.trim_fmt();
    text.push('\n');
    text
}

/// Folder that [`write_faults`] leaves: `out/faults-<scenario>/`.
pub fn folder(out: &Path, s: &Scenario) -> PathBuf {
    out.join(format!("faults-{}", s.name))
}

/// Writes tables and figures to `out/faults-<scenario>/`, whole or not at all, and returns the
/// folder.
///
/// # Errors
/// The folder cannot be written, or a figure not drawn; the last good result is then in place.
pub fn write_faults(
    out: &Path,
    s: &Scenario,
    study: &FaultStudy,
    units: UnitSystem,
    figures: bool,
) -> Result<PathBuf, ResultsError> {
    let drawn = if figures {
        draw(s, study, units)?
    } else {
        Vec::new()
    };
    let staged = OutputDir::stage(folder(out, s))?;
    staged.write("telltales.csv", &telltales_csv(study))?;
    staged.write("drill.csv", &drill_csv(s, study))?;
    staged.write("suspects.csv", &suspects_csv(s, study))?;
    for (name, figure, png) in &drawn {
        staged.write(format!("figures/{name}.svg"), figure.svg.as_bytes())?;
        staged.write(format!("figures/{name}.png"), png)?;
    }
    Ok(staged.commit()?)
}

fn draw(
    s: &Scenario,
    study: &FaultStudy,
    units: UnitSystem,
) -> Result<Vec<(String, Figure, Vec<u8>)>, FigureError> {
    let figures = study.cases.par_iter().enumerate().map(|(i, case)| {
        let zone = &s.zones[case.zone];
        let overlay = Faulty {
            words: &case.words,
            room: &s.rooms[zone.room].name,
            zone: &zone.name,
            healthy: &study.healthy.trace,
        };
        let data = FigureData::new("fault", s, &case.outcome, units)?;
        let figure = fault_figure(&data, &overlay)?;
        let png = figure.png()?;
        let kind = case.fault.fault.kind().replace(' ', "-");
        Ok((format!("{:02}-{kind}", i + 1), figure, png))
    });
    figures.collect()
}

fn number(v: f64) -> String {
    if v.is_finite() {
        significant(v, 8)
    } else {
        String::new()
    }
}

fn table(rows: impl Iterator<Item = Vec<String>>) -> Vec<u8> {
    let mut csv = csv::Writer::from_writer(Vec::new());
    // Writing to memory cannot fail.
    for row in rows {
        let _ = csv.write_record(&row);
    }
    let _ = csv.flush();
    csv.into_inner().unwrap_or_default()
}

fn header(names: &[&str]) -> Vec<String> {
    names.iter().map(|n| n.to_string()).collect()
}

fn symbol(d: Dimension) -> &'static str {
    match d {
        Dimension::Pressure => "Pa",
        Dimension::Temperature => "C",
        Dimension::TemperatureDifference => "K",
        Dimension::AirFlow => "m3_s",
        _ => "1",
    }
}

fn telltales_csv(study: &FaultStudy) -> Vec<u8> {
    let head = header(&[
        "fault",
        "kind",
        "reading",
        "subject",
        "unit",
        "healthy",
        "faulty",
        "difference",
        "direction",
        "counts_from",
        "title",
    ]);
    let rows = study.cases.iter().flat_map(|case| {
        case.telltales.iter().map(|t| {
            vec![
                case.words.clone(),
                case.fault.fault.kind().to_string(),
                t.key.to_string(),
                t.subject.clone(),
                symbol(t.dimension).to_string(),
                number(t.healthy),
                number(t.faulty),
                number(t.difference()),
                t.direction().sign().to_string(),
                number(t.counts),
                t.title.to_string(),
            ]
        })
    });
    table(std::iter::once(head).chain(rows))
}

fn drill_csv(s: &Scenario, study: &FaultStudy) -> Vec<u8> {
    let mut head = header(&["fault", "damper_opened"]);
    head.extend(
        s.rooms
            .iter()
            .map(|r| format!("room.{}.response_K_h", r.name)),
    );
    head.extend(
        s.zones
            .iter()
            .map(|z| format!("zone.{}.response_K_h", z.name)),
    );
    head.extend(
        s.zones
            .iter()
            .map(|z| format!("zone.{}.sensor_error_K", z.name)),
    );
    head.extend(
        s.outlets
            .iter()
            .map(|o| format!("outlet.{}.flow_m3_s", o.name)),
    );
    head.extend(header(&[
        "supply_plenum.static_Pa",
        "supply_plenum.static_full_fan_Pa",
        "fan.suction_Pa",
        "relief.flow_m3_s",
        "unit.supply_C",
    ]));
    let healthy = std::iter::once(("healthy", &study.drill));
    let all = healthy.chain(study.cases.iter().map(|c| (c.words.as_str(), &c.drill)));
    let rows = all.flat_map(|(words, drill)| {
        drill.tests.iter().map(move |t| {
            let numbers = t
                .rooms_k_h
                .iter()
                .chain(&t.thermostats_k_h)
                .chain(&drill.sensor_error_k)
                .chain(&t.flows_m3_s)
                .chain([
                    &t.static_pa,
                    &t.full_fan_pa,
                    &t.suction_pa,
                    &t.relief_m3_s,
                    &t.supply_c,
                ]);
            let mut row = vec![words.to_string(), s.outlets[t.outlet].name.clone()];
            row.extend(numbers.map(|&v| number(v)));
            row
        })
    });
    table(std::iter::once(head).chain(rows))
}

fn suspects_csv(s: &Scenario, study: &FaultStudy) -> Vec<u8> {
    let head = header(&[
        "complaint",
        "fault",
        "or_fault",
        "damper_to_open",
        "look_for",
    ]);
    let rows = study.alike.iter().flat_map(|group| {
        group.parted.iter().map(|p| {
            let [a, b] = p.cases.map(|i| study.cases[i].words.clone());
            let damper = p
                .outlet
                .map_or(String::new(), |o| s.outlets[o].name.clone());
            vec![group.complaint.clone(), a, b, damper, p.words.clone()]
        })
    });
    table(std::iter::once(head).chain(rows))
}
