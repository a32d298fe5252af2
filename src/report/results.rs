//! The folder that a run leaves: tables, summary, figures; written whole or not at all.

use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};

use serde::Serialize;

use super::tell::story;
use super::{FigureError, OutputDir, OutputError, Staged, UnitSystem, draw_all};
use crate::control::Calendar;
use crate::engine::Outcome;
use crate::engine::Tables;
use crate::engine::event::Event;
use crate::engine::meter::Closure;
use crate::measure::{Measure, Side};
use crate::scenario::Scenario;
use crate::trace::RowWriter;

/// Why a run's results could not be left.
#[derive(Debug, thiserror::Error)]
pub enum ResultsError {
    /// The folder cannot be written.
    #[error(transparent)]
    Output(#[from] OutputError),
    /// A figure cannot be drawn.
    #[error(transparent)]
    Figure(#[from] FigureError),
}

#[derive(Serialize)]
struct Summary<'a> {
    program: &'static str,
    version: &'static str,
    scenario: &'a str,
    title: &'a str,
    input_sha256: &'a str,
    seed: u64,
    start: String,
    duration_s: f64,
    step_s: f64,
    long_step_s: f64,
    warm_up_s: f64,
    holds: bool,
    mandatory_holds: bool,
    heat_closure_j: &'a Closure,
    moisture_closure_kg: &'a Closure,
    measures: Vec<SummaryMeasure<'a>>,
}

#[derive(Serialize)]
struct SummaryMeasure<'a> {
    measure: &'a str,
    subject: &'a str,
    value: Option<f64>,
    unit: &'static str,
    at_s: Option<f64>,
    note: &'a str,
    limit: Option<f64>,
    limit_side: Option<&'static str>,
    limit_source: Option<&'a str>,
    mandatory: bool,
    holds: Option<bool>,
}

fn side(side: Side) -> &'static str {
    match side {
        Side::AtMost => "at most",
        Side::AtLeast => "at least",
    }
}

impl<'a> SummaryMeasure<'a> {
    fn of(m: &'a Measure) -> SummaryMeasure<'a> {
        SummaryMeasure {
            measure: m.key,
            subject: &m.subject,
            value: m.value.is_finite().then_some(m.value),
            unit: si_symbol(m),
            at_s: m.at_s,
            note: &m.note,
            limit: m.limit.as_ref().map(|l| l.value),
            limit_side: m.limit.as_ref().map(|l| side(l.side)),
            limit_source: m.limit.as_ref().map(|l| l.source.as_str()),
            mandatory: m.limit.as_ref().is_some_and(|l| l.mandatory),
            holds: m.holds(),
        }
    }
}

/// Unit that a measure's value is written in: plain SI.
pub(crate) fn si_symbol(m: &Measure) -> &'static str {
    symbol_of(m.dimension)
}

/// Unit that values of a kind are written in: plain SI.
pub(super) fn symbol_of(dimension: crate::quantity::Dimension) -> &'static str {
    use crate::quantity::Dimension as D;
    match dimension {
        D::Pressure => "Pa",
        D::Time => "s",
        D::Temperature => "C",
        D::TemperatureDifference => "K",
        D::Velocity => "m_s",
        D::AirFlow => "m3_s",
        D::Energy => "J",
        D::Mass => "kg",
        D::Power => "W",
        D::SoundLevel => "dB",
        _ => "1",
    }
}

/// Writes everything a run leaves to `out/<scenario>/` and returns that folder. `figures` may be
/// left out for speed.
///
/// # Errors
/// The folder cannot be written; the last good result is then in place as before.
pub fn write(
    out: &Path,
    scenario: &Scenario,
    outcome: &Outcome,
    units: UnitSystem,
    figures: bool,
) -> Result<PathBuf, ResultsError> {
    let staged = OutputDir::stage(out.join(&scenario.name))?;
    write_into(staged, scenario, outcome, units, figures)
}

/// The same into a folder already staged, where a [`LongTables`] may have written the tables.
///
/// # Errors
/// As [`write()`].
pub fn write_into(
    staged: Staged,
    scenario: &Scenario,
    outcome: &Outcome,
    units: UnitSystem,
    figures: bool,
) -> Result<PathBuf, ResultsError> {
    let drawn = if figures {
        draw_all(&story(scenario, outcome), &outcome.trace, units)?
    } else {
        Vec::new()
    };
    if !outcome.handed_on {
        staged.write_with(TRACE, |w| {
            outcome.trace.write_csv(w).map_err(std::io::Error::other)
        })?;
        staged.write(EVENTS, &events_csv(scenario, outcome))?;
    }
    let rooms: Vec<String> = scenario.rooms.iter().map(|r| r.name.clone()).collect();
    staged.write_with("sound.csv", |w| {
        crate::engine::sound_record::write_csv(&outcome.sound, &rooms, w)
    })?;
    staged.write("measures.csv", &measures_csv(outcome))?;
    staged.write("summary.json", &summary_json(scenario, outcome))?;
    for (figure, png) in &drawn {
        staged.write(
            format!("figures/{}.svg", figure.name),
            figure.svg.as_bytes(),
        )?;
        staged.write(format!("figures/{}.png", figure.name), png)?;
    }
    Ok(staged.commit()?)
}

const TRACE: &str = "trace.csv";
const EVENTS: &str = "events.csv";
const EVENT_COLUMNS: [&str; 6] = ["time_s", "local_time", "event", "subject", "cause", "text"];

/// Writes `trace.csv` and `events.csv` of a long run as it goes.
#[derive(Debug)]
pub struct LongTables {
    calendar: Calendar,
    trace: Option<BufWriter<File>>,
    rows: Option<RowWriter<BufWriter<File>>>,
    events: csv::Writer<BufWriter<File>>,
}

impl LongTables {
    /// Opens both tables in a staged folder.
    ///
    /// # Errors
    /// When they cannot be made.
    pub fn create(staged: &Staged, scenario: &Scenario) -> Result<LongTables, OutputError> {
        Ok(LongTables {
            calendar: Calendar::new(scenario.start()),
            trace: Some(staged.create(TRACE)?),
            rows: None,
            events: csv::Writer::from_writer(staged.create(EVENTS)?),
        })
    }
}

impl Tables for LongTables {
    fn begin(&mut self, columns: &[String]) -> Result<(), String> {
        if let Some(file) = self.trace.take() {
            let rows = RowWriter::new(file, columns).map_err(|e| e.to_string())?;
            self.rows = Some(rows);
        }
        let heading = self.events.write_record(EVENT_COLUMNS);
        heading.map_err(|e| e.to_string())
    }

    fn row(&mut self, row: &[f64]) -> Result<(), String> {
        match &mut self.rows {
            Some(rows) => rows.write(row.iter().copied()).map_err(|e| e.to_string()),
            None => Ok(()),
        }
    }

    fn event(&mut self, event: &Event) -> Result<(), String> {
        let cells = event_cells(&self.calendar, event);
        self.events.write_record(cells).map_err(|e| e.to_string())
    }

    fn end(&mut self) -> Result<(), String> {
        if let Some(rows) = self.rows.take() {
            rows.finish().map_err(|e| e.to_string())?;
        }
        self.events.flush().map_err(|e| e.to_string())
    }
}

fn event_cells(calendar: &Calendar, e: &Event) -> [String; 6] {
    let local = calendar
        .date_time(e.t_s)
        .map_or(String::new(), |t| t.format("%Y-%m-%d %H:%M:%S").to_string());
    [
        format!("{}", e.t_s),
        local,
        e.what.name().to_string(),
        e.subject.clone(),
        e.cause.clone(),
        e.text.clone(),
    ]
}

fn table<const N: usize>(header: [&str; N], rows: impl Iterator<Item = [String; N]>) -> Vec<u8> {
    table_of(&header, rows)
}

/// A CSV table of any width.
pub(super) fn table_of<R>(header: &[impl AsRef<[u8]>], rows: impl Iterator<Item = R>) -> Vec<u8>
where
    R: IntoIterator<Item = String>,
{
    let mut csv = csv::Writer::from_writer(Vec::new());
    // Writing to memory cannot fail.
    let _ = csv.write_record(header);
    for row in rows {
        let _ = csv.write_record(row);
    }
    let _ = csv.flush();
    csv.into_inner().unwrap_or_default()
}

fn events_csv(s: &Scenario, outcome: &Outcome) -> Vec<u8> {
    let calendar = Calendar::new(s.start());
    let rows = outcome.events.iter().map(|e| event_cells(&calendar, e));
    table(EVENT_COLUMNS, rows)
}

fn measures_csv(outcome: &Outcome) -> Vec<u8> {
    let number = |v: Option<f64>| {
        v.filter(|v| v.is_finite())
            .map_or(String::new(), |v| v.to_string())
    };
    table(
        [
            "measure",
            "subject",
            "value",
            "unit",
            "at_s",
            "limit",
            "side",
            "holds",
            "mandatory",
            "source",
            "note",
        ],
        outcome.measures.iter().map(|m| {
            let limit = m.limit.as_ref();
            [
                m.key.to_string(),
                m.subject.clone(),
                number(Some(m.value)),
                si_symbol(m).to_string(),
                number(m.at_s),
                number(limit.map(|l| l.value)),
                limit.map_or("", |l| side(l.side)).to_string(),
                m.holds()
                    .map_or("", |h| if h { "yes" } else { "no" })
                    .to_string(),
                limit
                    .map_or("", |l| if l.mandatory { "yes" } else { "no" })
                    .to_string(),
                limit.map_or("", |l| &l.source).to_string(),
                m.note.clone(),
            ]
        }),
    )
}

fn summary_json(s: &Scenario, outcome: &Outcome) -> Vec<u8> {
    let summary = Summary {
        program: "openshut",
        version: env!("CARGO_PKG_VERSION"),
        scenario: &s.name,
        title: &s.title,
        input_sha256: &s.digest,
        seed: s.run.seed,
        start: s.start().format("%Y-%m-%d %H:%M:%S").to_string(),
        duration_s: s.run.duration_s,
        step_s: s.run.step_s,
        long_step_s: s.run.long_step_s,
        warm_up_s: s.run.warm_up_s,
        holds: outcome.measures.iter().all(|m| m.holds() != Some(false)),
        mandatory_holds: !outcome.measures.iter().any(Measure::breaks_mandatory),
        heat_closure_j: &outcome.heat,
        moisture_closure_kg: &outcome.moisture,
        measures: outcome.measures.iter().map(SummaryMeasure::of).collect(),
    };
    let mut bytes = serde_json::to_vec_pretty(&summary).unwrap_or_default();
    let _ = bytes.write_all(b"\n");
    bytes
}
