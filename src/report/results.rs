//! The folder that a run leaves: tables, summary, figures; written whole or not at all.

use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::PathBuf;

use serde::Serialize;

use super::table::{Table, Value};
use super::{FigureError, OutputError, Staged, UnitSystem, draw_all};
use crate::control::Calendar;
use crate::engine::event::Event;
use crate::engine::meter::Closure;
use crate::measure::Measure;
use crate::run::{Outcome, Tables};
use crate::scenario::Scenario;
use crate::study::sweep::SweepError;
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
    /// The folder of a sweep cannot be read.
    #[error(transparent)]
    Sweep(#[from] SweepError),
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
    passes: bool,
    mandatory_passes: bool,
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
    note: String,
    limit: Option<f64>,
    limit_side: Option<&'static str>,
    limit_source: Option<&'a str>,
    mandatory: bool,
    passes: Option<bool>,
}

impl<'a> SummaryMeasure<'a> {
    fn of(m: &'a Measure) -> SummaryMeasure<'a> {
        SummaryMeasure {
            measure: m.key,
            subject: &m.subject,
            value: m.value.is_finite().then_some(m.value),
            unit: m.dimension.si_symbol(),
            at_s: m.at_s,
            note: m.note.to_string(),
            limit: m.limit.as_ref().map(|l| l.value),
            limit_side: m.limit.as_ref().map(|l| l.side.words()),
            limit_source: m.limit.as_ref().map(|l| l.source.as_str()),
            mandatory: m.limit.as_ref().is_some_and(|l| l.mandatory),
            passes: m.passes(),
        }
    }
}

/// Writes everything a run leaves to `out/<scenario>/` and returns that folder. `figures` may be
/// left out for speed.
///
/// # Errors
/// The folder cannot be written; the last good result is then in place as before.
#[cfg(test)]
pub fn write(
    out: &std::path::Path,
    scenario: &Scenario,
    outcome: &Outcome,
    units: UnitSystem,
    figures: bool,
) -> Result<PathBuf, ResultsError> {
    let staged = super::OutputDir::stage(out.join(&scenario.name))?;
    write_into(staged, scenario, outcome, units, figures)
}

/// The same into a folder already staged, where a [`LongTables`] may have written the tables.
///
/// # Errors
/// A figure that cannot be drawn, a file that cannot be written.
pub(crate) fn write_into(
    staged: Staged,
    scenario: &Scenario,
    outcome: &Outcome,
    units: UnitSystem,
    figures: bool,
) -> Result<PathBuf, ResultsError> {
    let drawn = if figures {
        draw_all(scenario, outcome, units)?
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
        crate::run::sound_record::write_csv(&outcome.sound, &rooms, w)
    })?;
    staged.write("measures.csv", &measures_csv(outcome))?;
    staged.write("summary.json", &summary_json(scenario, outcome))?;
    staged.figures(&drawn)?;
    Ok(staged.commit()?)
}

const TRACE: &str = "trace.csv";
const EVENTS: &str = "events.csv";
const EVENT_COLUMNS: [&str; 6] = ["time_s", "local_time", "event", "subject", "cause", "text"];

/// Writes `trace.csv` and `events.csv` of a long run as it goes.
#[derive(Debug)]
pub(crate) struct LongTables {
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
    pub(crate) fn create(staged: &Staged, scenario: &Scenario) -> Result<LongTables, OutputError> {
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

fn events_csv(s: &Scenario, outcome: &Outcome) -> Vec<u8> {
    let calendar = Calendar::new(s.start());
    let mut table = Table::named(EVENT_COLUMNS);
    for e in &outcome.events {
        table.row(event_cells(&calendar, e).map(Value::from));
    }
    table.csv()
}

fn measures_csv(outcome: &Outcome) -> Vec<u8> {
    let mut table = Table::named([
        "measure",
        "subject",
        "value",
        "unit",
        "at_s",
        "limit",
        "side",
        "passes",
        "mandatory",
        "source",
        "note",
    ]);
    for m in &outcome.measures {
        let limit = m.limit.as_ref();
        table.row([
            m.key.into(),
            m.subject.as_str().into(),
            m.value.into(),
            m.dimension.si_symbol().into(),
            m.at_s.into(),
            limit.map(|l| l.value).into(),
            limit.map(|l| l.side.words()).into(),
            m.passes().into(),
            limit.map(|l| l.mandatory).into(),
            limit.map(|l| l.source.as_str()).into(),
            m.note.to_string().into(),
        ]);
    }
    table.csv()
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
        passes: !outcome.measures.iter().any(Measure::fails),
        mandatory_passes: !outcome.measures.iter().any(Measure::fails_mandatory),
        heat_closure_j: &outcome.heat,
        moisture_closure_kg: &outcome.moisture,
        measures: outcome.measures.iter().map(SummaryMeasure::of).collect(),
    };
    let mut bytes = serde_json::to_vec_pretty(&summary).unwrap_or_default();
    let _ = bytes.write_all(b"\n");
    bytes
}
