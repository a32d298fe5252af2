//! Symptoms of faults, the functional test and look-alike faults: as text, as tables of numbers,
//! as figures.

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
use crate::control::Mode;
use crate::fault::Kind;
use crate::quantity::{Dimension, significant};
use crate::scenario::Scenario;
use crate::study::faults::findings::{Finding, Which, findings};
use crate::study::faults::functional_test::FunctionalTest;
use crate::study::faults::look_alikes::{Complaint, Distinction, Read, Test};
use crate::study::faults::symptoms::{Direction, Symptom};
use crate::study::faults::{FaultCase, FaultStudy};

/// The study as text, at most `width` columns wide.
pub(crate) fn faults_text(
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
        "standard fault set"
    };
    let n = study.cases.len();
    let faults = if n == 1 { "fault" } else { "faults" };
    let _ = writeln!(
        out,
        "{}",
        bold(&format!("{}: {n} {faults}, {whose}", s.title))
    );
    out += "Each fault alone against the healthy run, while it lasts. A dot means no notable difference.\n";
    out += "Static is corrected to full fan speed, so that a slower fan does not hide it.\n\n";
    let healthy =
        locked_out(s, &study.healthy.measures).map(|l| ("the healthy run".to_string(), l));
    let faulty = study.cases.iter().filter_map(|case| {
        let locked = locked_out(s, &case.outcome.measures)?;
        Some((name(s, case, units), locked))
    });
    let locked: Vec<String> = healthy
        .into_iter()
        .chain(faulty)
        .map(|(who, locked)| format!("  {who}: {locked}."))
        .collect();
    if !locked.is_empty() {
        let head = "The unit locks out. Starts, trips, calls and air after that show only this:";
        let _ = writeln!(out, "{}\n{}\n", bold(head), locked.join("\n"));
    }
    out += &symptom_table(s, study, units, width);
    let _ = writeln!(
        out,
        "\n{}",
        bold(
            "Functional test: one damper at a time open, the others shut, unit at its minimum, doors shut"
        )
    );
    let unit = units.symbol(Quantity::TemperatureDifference);
    let _ = writeln!(
        out,
        "Healthy: response of every room in {unit}/h, beyond what it does by itself."
    );
    out += &matrix(s, &study.test, width, units);
    if let [case] = study.cases.as_slice() {
        let _ = writeln!(out, "\nWith the fault ({}):", name(s, case, units));
        out += &matrix(s, &case.test, width, units);
    }
    out += "\nWhat the functional test shows of each fault:\n";
    for case in &study.cases {
        let words = test_words(s, &study.test, &case.test, units).join("; ");
        let _ = writeln!(out, "  {}: {words}.", name(s, case, units));
    }
    out += &how_to_find(study, &bold);
    if !study.look_alikes.is_empty() {
        let _ = writeln!(
            out,
            "\n{}",
            bold("Look-alike faults, and the test that distinguishes them")
        );
    }
    for group in &study.look_alikes {
        let _ = writeln!(out, "{}:", complaint_words(s, group.complaint));
        for d in &group.distinctions {
            let [a, b] = d.cases.map(|i| name(s, &study.cases[i], units));
            let _ = writeln!(out, "  {a}, or {b}: {}.", distinction_words(s, d, units));
        }
    }
    out
}

fn name(s: &Scenario, case: &FaultCase, units: UnitSystem) -> String {
    case.fault.fault.words(&s.parts(), units)
}

/// The test for each kind of fault in the study.
fn how_to_find(study: &FaultStudy, bold: impl Fn(&str) -> String) -> String {
    let mut out = format!(
        "\n{}\n",
        bold("How each kind shows, and the test that finds it")
    );
    let mut kinds: Vec<Kind> = study.cases.iter().map(|c| c.fault.fault.kind()).collect();
    kinds.dedup();
    for kind in kinds {
        let about = kind.about();
        let _ = writeln!(out, "  {}: {}.", about.name, about.effect);
        let _ = writeln!(out, "    Symptoms: {}.", about.symptoms);
        let _ = writeln!(out, "    Test: {}.", about.test);
    }
    out
}

fn signed(v: f64, units: UnitSystem) -> String {
    let quantity = Quantity::TemperatureDifference;
    format!(
        "{:+.1} {}",
        units.convert(quantity, v),
        units.symbol(quantity)
    )
}

fn pressure(v: f64, units: UnitSystem) -> String {
    units.text(Quantity::Pressure, v)
}

fn complaint_words(s: &Scenario, complaint: Complaint) -> String {
    let words = [
        ("cooler", "warmer"),
        ("static lower", "static higher"),
        ("supply air colder", "supply air warmer"),
        ("fewer starts", "more starts"),
        ("fewer protections act", "protections act"),
    ];
    let zone = &s.zones[complaint.zone].name;
    let mut said = Vec::new();
    for (i, (moved, (down, up))) in complaint.moved.iter().zip(words).enumerate() {
        let word = match moved {
            Direction::Down => down,
            Direction::Up => up,
            Direction::Same => continue,
        };
        said.push(if i == 0 {
            format!("{zone} {word}")
        } else {
            word.to_string()
        });
    }
    if said.is_empty() {
        return "no notable difference".to_string();
    }
    said.join(", ")
}

fn distinction_words(s: &Scenario, d: &Distinction, units: UnitSystem) -> String {
    let [a, b] = d.values;
    match d.test {
        None => "the functional test does not distinguish them".to_string(),
        Some(Test::OpenDamper { outlet, read }) => {
            let open = format!("open {} alone", s.outlets[outlet].name);
            let statics = || format!("static {} or {}", pressure(a, units), pressure(b, units));
            match read {
                Read::Room(room) => format!(
                    "{open}: {} responds {}/h or {}/h",
                    s.rooms[room].name,
                    signed(a, units),
                    signed(b, units)
                ),
                Read::Static => format!("{open}: {}", statics()),
                Read::StaticFullFan => format!("{open} with the fan at full: {}", statics()),
            }
        }
        Some(Test::Thermometer { zone }) => {
            let [a, b] = d.values.map(|v| {
                if v.is_nan() {
                    "does not read".to_string()
                } else {
                    format!("reads {} off", signed(v, units))
                }
            });
            let zone = &s.zones[zone].name;
            format!("hold a thermometer beside the thermostat of {zone}: it {a} or {b}")
        }
    }
}

/// What the functional test shows of a fault beside the healthy system.
pub(crate) fn test_words(
    s: &Scenario,
    healthy: &FunctionalTest,
    faulty: &FunctionalTest,
    units: UnitSystem,
) -> Vec<String> {
    let found = findings(s, healthy, faulty);
    if found.is_empty() {
        return vec!["as in the healthy system".to_string()];
    }
    let room = |r: usize| s.rooms[r].name.as_str();
    let outlet = |o: usize| s.outlets[o].name.as_str();
    let zone = |z: usize| s.zones[z].name.as_str();
    let words = |finding: &Finding| match finding {
        Finding::WrongWay { mode } => {
            let verb = match mode {
                Mode::Cooling => "warms",
                Mode::Heating => "cools",
            };
            format!("every damper opened {verb} its room")
        }
        Finding::RespondsToAll { room: r } => {
            format!("{} responds whichever damper is opened", room(*r))
        }
        Finding::RespondsTo { room: r, outlets } => {
            let names: Vec<&str> = outlets.iter().map(|&o| outlet(o)).collect();
            format!(
                "{} responds to the damper of {}",
                room(*r),
                names.join(", ")
            )
        }
        Finding::OwnRoom { outlet: o, share } => {
            let (name, room) = (outlet(*o), room(s.outlets[*o].room));
            match share {
                None => format!("opening {name} does not reach {room}"),
                Some(share) => {
                    format!("opening {name}: {room} responds {:.0} %", 100.0 * share)
                }
            }
        }
        Finding::Pressure {
            which,
            faulty_pa,
            healthy_pa,
        } => {
            let which = match which {
                Which::Static => "static",
                Which::StaticFullFan => "static with the fan at full",
                Which::ReturnStatic => "return static",
            };
            let [faulty, healthy] = [*faulty_pa, *healthy_pa].map(|v| pressure(v, units));
            format!("{which} {faulty} instead of {healthy} on average")
        }
        Finding::NoReading { zone: z } => format!("the thermostat of {} does not read", zone(*z)),
        Finding::ReadsOff { zone: z, off_k } => format!(
            "the thermostat of {} reads {} off",
            zone(*z),
            signed(*off_k, units)
        ),
        Finding::NeverMoves { zone: z } => format!("the thermostat of {} never moves", zone(*z)),
    };
    found.iter().map(words).collect()
}

fn symptom_table(s: &Scenario, study: &FaultStudy, units: UnitSystem, width: u16) -> String {
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
            "highest",
            "return static",
            "supply air",
            "starts/h",
            "trips",
            "blade off report",
        ]);
    // The faults' names stay whole; the readings share the rest.
    if let Some(column) = table.column_mut(0) {
        column.set_constraint(ColumnConstraint::LowerBoundary(Width::Fixed(26)));
    }
    for case in &study.cases {
        let zone = s.zones[case.zone].name.as_str();
        let cell = |key: &str, subject: &str| {
            let text = case
                .symptom(key, subject)
                .map_or("·".into(), |t| shown(t, units));
            Cell::new(text).set_alignment(CellAlignment::Right)
        };
        table.add_row([
            Cell::new(name(s, case, units)),
            Cell::new(zone),
            Cell::new(air(case, zone, units)).set_alignment(CellAlignment::Right),
            cell("calling_share", zone),
            Cell::new(thermostat(case, zone, units)).set_alignment(CellAlignment::Right),
            Cell::new(others(s, case, units)),
            cell("static_full_speed", "house"),
            cell("static_worst", "house"),
            cell("return_static", "house"),
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
fn shown(t: &Symptom, units: UnitSystem) -> String {
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
        Dimension::Fraction => units.text(Quantity::Fraction, size),
        Dimension::AirFlow => units.text(Quantity::AirFlow, size),
        _ => significant(size, 2),
    };
    format!("{sign}{text}")
}

/// How the zone's room has moved on average, or else at its greatest.
fn air(case: &FaultCase, zone: &str, units: UnitSystem) -> String {
    let moved = |key: &str| {
        let found = case.symptom(key, zone);
        found.filter(|t| t.direction() != Direction::Same)
    };
    match (moved("room_air"), moved("room_air_greatest")) {
        (Some(t), _) => shown(t, units),
        (None, Some(t)) => format!("at times {}", shown(t, units)),
        (None, None) => "·".to_string(),
    }
}

/// How much more often protections acted, and whether they locked the unit out.
fn trips(case: &FaultCase, units: UnitSystem) -> String {
    let acts = case.symptom("protection_acts", "house");
    let acts = acts.map_or("·".to_string(), |t| shown(t, units));
    let locked = case.symptom("lock_outs", "house");
    if locked.is_some_and(|t| t.direction() == Direction::Up) {
        return format!("{acts}, locked out");
    }
    acts
}

fn thermostat(case: &FaultCase, zone: &str, units: UnitSystem) -> String {
    let moved = |key: &str| {
        let found = case.symptom(key, zone);
        found.filter(|t| t.direction() != Direction::Same)
    };
    if let Some(t) = moved("sensor_lost_share") {
        return format!("lost {:.0} %", 100.0 * t.faulty);
    }
    if let Some(t) = case.symptom("sensor_spread", zone)
        && t.faulty < 1e-9
        && t.healthy > 1e-9
    {
        return "never moves".to_string();
    }
    moved("sensor_error").map_or("·".to_string(), |t| shown(t, units))
}

/// The room air of another zone that has moved most.
fn others(s: &Scenario, case: &FaultCase, units: UnitSystem) -> String {
    let own = &s.zones[case.zone].name;
    let moved = case
        .symptoms
        .iter()
        .filter(|t| t.key == "room_air" && t.subject != *own && t.direction() != Direction::Same);
    moved
        .max_by(|a, b| a.difference().abs().total_cmp(&b.difference().abs()))
        .map_or("·".to_string(), |t| {
            format!("{} {}", t.subject, shown(t, units))
        })
}

/// The damper whose blade differs most from what is reported.
fn blade(s: &Scenario, case: &FaultCase) -> String {
    let off = case.symptoms.iter().filter(|t| {
        t.key == "blade_off_report" && (t.direction() != Direction::Same || t.faulty.is_nan())
    });
    let worst = off.max_by(|a, b| a.difference().total_cmp(&b.difference()));
    let silent = case
        .symptoms
        .iter()
        .filter(|t| t.key == "blade_off_report" && t.faulty.is_nan());
    let count = silent.count();
    if count > 0 {
        return format!("{count} of {} report nothing", s.outlets.len());
    }
    worst.map_or("·".to_string(), |t| {
        format!("{} by {:.0} %", t.subject, 100.0 * t.faulty)
    })
}

fn matrix(s: &Scenario, test: &FunctionalTest, width: u16, units: UnitSystem) -> String {
    let mut table = Table::new();
    let rooms = s.rooms.iter().map(|r| r.name.clone());
    table
        .load_style(presets::NOTHING)
        .set_content_arrangement(ContentArrangement::Dynamic)
        .set_width(width)
        .set_header(
            std::iter::once("damper opened".to_string())
                .chain(rooms)
                .chain([format!("static, {}", units.symbol(Quantity::Pressure))]),
        );
    for t in &test.tests {
        let right = |text: String| Cell::new(text).set_alignment(CellAlignment::Right);
        let mut row = vec![Cell::new(&s.outlets[t.outlet].name)];
        row.extend(
            t.rooms_k_h
                .iter()
                .map(|&v| units.convert(Quantity::TemperatureDifference, v))
                .map(|v| right(format!("{v:+.1}"))),
        );
        let with_unit = pressure(t.static_pa, units);
        let number = with_unit.split(' ').next().unwrap_or_default();
        row.push(right(number.to_string()));
        table.add_row(row);
    }
    let mut text = table.trim_fmt();
    text.push('\n');
    text
}

/// Folder that [`write_faults`] leaves: `out/faults-<scenario>/`.
pub(crate) fn folder(out: &Path, s: &Scenario) -> PathBuf {
    out.join(format!("faults-{}", s.name))
}

/// Writes tables and figures to `out/faults-<scenario>/`, whole or not at all, and returns the
/// folder.
///
/// # Errors
/// The folder cannot be written, or a figure not drawn; the last good result is then in place.
pub(crate) fn write_faults(
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
    staged.write("symptoms.csv", &symptoms_csv(study))?;
    staged.write("functional_test.csv", &functional_test_csv(s, study))?;
    staged.write("look_alikes.csv", &look_alikes_csv(s, study, units))?;
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
            words: &name(s, case, units),
            room: &s.rooms[zone.room].name,
            zone: &zone.name,
            healthy: &study.healthy.trace,
        };
        let data = FigureData::new("fault", s, &case.outcome, units)?;
        let figure = fault_figure(&data, &overlay)?;
        let png = figure.png()?;
        let kind = case.fault.fault.kind().about().name.replace(' ', "-");
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

fn symptoms_csv(study: &FaultStudy) -> Vec<u8> {
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
        "threshold",
        "title",
    ]);
    let rows = study.cases.iter().flat_map(|case| {
        case.symptoms.iter().map(|t| {
            vec![
                case.words.clone(),
                case.fault.fault.kind().about().name.to_string(),
                t.key.to_string(),
                t.subject.clone(),
                symbol(t.dimension).to_string(),
                number(t.healthy),
                number(t.faulty),
                number(t.difference()),
                t.direction().sign().to_string(),
                number(t.threshold),
                t.title.to_string(),
            ]
        })
    });
    table(std::iter::once(head).chain(rows))
}

fn functional_test_csv(s: &Scenario, study: &FaultStudy) -> Vec<u8> {
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
        "fan.return_static_below_room_Pa",
        "relief.flow_m3_s",
        "unit.supply_C",
    ]));
    let healthy = std::iter::once(("healthy", &study.test));
    let all = healthy.chain(study.cases.iter().map(|c| (c.words.as_str(), &c.test)));
    let rows = all.flat_map(|(words, test)| {
        test.tests.iter().map(move |t| {
            let numbers = t
                .rooms_k_h
                .iter()
                .chain(&t.thermostats_k_h)
                .chain(&test.sensor_error_k)
                .chain(&t.flows_m3_s)
                .chain([
                    &t.static_pa,
                    &t.full_fan_pa,
                    &t.return_static_pa,
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

fn look_alikes_csv(s: &Scenario, study: &FaultStudy, units: UnitSystem) -> Vec<u8> {
    let head = header(&[
        "complaint",
        "fault",
        "or_fault",
        "damper_to_open",
        "look_for",
    ]);
    let rows = study.look_alikes.iter().flat_map(|group| {
        group.distinctions.iter().map(move |d| {
            let [a, b] = d.cases.map(|i| study.cases[i].words.clone());
            let damper = match d.test {
                Some(Test::OpenDamper { outlet, .. }) => s.outlets[outlet].name.clone(),
                _ => String::new(),
            };
            let complaint = complaint_words(s, group.complaint);
            vec![complaint, a, b, damper, distinction_words(s, d, units)]
        })
    });
    table(std::iter::once(head).chain(rows))
}
