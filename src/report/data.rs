//! What a figure reads of a run, and what figures share in telling it.

use super::series::{Pieces, Spans, pieces, spans};
use super::sheet::Sheet;
use super::time_axis::{clock_text, span_text};
use super::{FigureError, UnitSystem};
use crate::control::NoticeKind;
use crate::control::protection::{Protection, Sense};
use crate::engine::event::{Event, What};
use crate::measure::Measure;
use crate::measure::Note;
use crate::quantity::Dimension;
use crate::run::Outcome;
use crate::scenario::Scenario;
use crate::scenario::control::Zone;
use crate::trace::Trace;

/// Flow above which the fan counts as running, m³/s: below it is rounding, not air.
pub(crate) const FAN_RUNS_M3_S: f64 = 1e-4;
/// Kinds of trip told in notes; more are in the table of events.
const TOLD_KINDS: usize = 4;

/// A scenario, its run and the units shown.
pub(crate) struct FigureData<'a> {
    /// Name of the figure.
    pub figure: &'static str,
    /// What was run.
    pub scenario: &'a Scenario,
    /// What came of it.
    pub outcome: &'a Outcome,
    /// Units shown.
    pub units: UnitSystem,
    /// Time column, s.
    pub t: &'a [f64],
    /// First and last time, s.
    pub span: (f64, f64),
}

impl<'a> FigureData<'a> {
    /// Checks that there is a span of time to draw.
    ///
    /// # Errors
    /// When there is none, or no column of time.
    pub(crate) fn new(
        figure: &'static str,
        scenario: &'a Scenario,
        outcome: &'a Outcome,
        units: UnitSystem,
    ) -> Result<Self, FigureError> {
        let t = outcome.trace.column("time_s").unwrap_or_default();
        match (t.first(), t.last()) {
            (Some(&from), Some(&to)) if to > from && (to - from).is_finite() => Ok(Self {
                figure,
                scenario,
                outcome,
                units,
                t,
                span: (from, to),
            }),
            _ => Err(FigureError::NoTime { figure }),
        }
    }

    /// A sheet of this run with a title and nothing on it.
    pub(crate) fn sheet(&self, title: String) -> Sheet {
        let span = span_text(self.scenario.start(), self.span.0, self.span.1);
        Sheet {
            name: self.figure,
            title,
            subtitle: format!("{} · {span}", self.scenario.title),
            key: Vec::new(),
            start: self.scenario.start(),
            span: self.span,
            panels: Vec::new(),
            lead: 0,
            columns: 1,
            notes: Vec::new(),
        }
    }

    /// A column of the trace.
    pub(crate) fn column(&self, column: &str) -> Option<&'a [f64]> {
        self.outcome.trace.column(column)
    }

    /// A column without which the figure has no meaning.
    pub(crate) fn need(&self, column: &str) -> Result<&'a [f64], FigureError> {
        self.column(column).ok_or_else(|| self.lacks(column))
    }

    /// The trace lacks a column.
    pub(crate) fn lacks(&self, column: &str) -> FigureError {
        FigureError::NoColumn {
            figure: self.figure,
            column: column.to_owned(),
        }
    }

    /// A number in the unit shown.
    pub(crate) fn shown(&self, si: f64, dimension: Dimension) -> f64 {
        dimension.shown_unit(self.units).express(si)
    }

    /// What an axis shows, with its unit.
    pub(crate) fn axis(&self, what: &str, dimension: Dimension) -> String {
        format!("{what}, {}", dimension.shown_unit(self.units).symbol)
    }

    /// A number for people, with its unit.
    pub(crate) fn text(&self, si: f64, dimension: Dimension) -> String {
        self.units.show(si, dimension)
    }

    /// A measure's value beside its limit: with another digit where rounding would hide an excess.
    pub(crate) fn judged(&self, m: &Measure) -> String {
        match &m.limit {
            Some(limit) => self.units.show_apart(m.value, limit.value, m.dimension),
            None => self.text(m.value, m.dimension),
        }
    }

    /// A column as a line, in the unit shown.
    pub(crate) fn line(&self, column: &[f64], dimension: Dimension) -> Pieces {
        let mut pieces = pieces(self.t, column);
        let unit = dimension.shown_unit(self.units);
        for point in pieces.iter_mut().flatten() {
            point.1 = unit.express(point.1);
        }
        pieces
    }

    /// A column of a flow or temperature while the fan runs; gaps while it stands.
    pub(crate) fn while_fan_runs(&self, column: &[f64]) -> Vec<f64> {
        match self.column("fan.flow_m3_s") {
            None => column.to_vec(),
            Some(fan) => {
                let moving = |(v, f): (&f64, &f64)| if *f > FAN_RUNS_M3_S { *v } else { f64::NAN };
                column.iter().zip(fan).map(moving).collect()
            }
        }
    }

    /// Length of the run, s.
    pub(crate) fn length_s(&self) -> f64 {
        self.span.1 - self.span.0
    }

    /// Clock time at `t_s`, with the day when the run is longer than one.
    pub(crate) fn clock(&self, t_s: f64) -> String {
        clock_text(self.scenario.start(), t_s, self.length_s() > 86_400.0)
    }

    /// A measure of the whole house that has a value.
    pub(crate) fn measure(&self, key: &str) -> Option<&'a Measure> {
        self.measures(key).next()
    }

    /// Measures of one key that have a value.
    pub(crate) fn measures(&self, key: &str) -> impl Iterator<Item = &'a Measure> {
        let all = self.outcome.measures.iter();
        all.filter(move |m| m.key == key && !m.value.is_nan())
    }

    /// How often something happened: as measured, since a long run keeps only its first events, or as
    /// noted.
    pub(crate) fn count(&self, key: &str, kind: NoticeKind) -> f64 {
        let noted = || self.notices(kind).count() as f64;
        self.measure(key).map_or_else(noted, |m| m.value)
    }

    /// The measure of a key that stands worst against its limit, by share of an upper limit.
    pub(crate) fn worst(&self, key: &str) -> Option<&'a Measure> {
        let used = |m: &&Measure| m.limit.as_ref().map_or(m.value, |l| m.value / l.value);
        self.measures(key)
            .max_by(|a, b| used(a).total_cmp(&used(b)))
    }

    /// Names of a zone's rooms, the thermostat's first.
    pub(crate) fn rooms_of(&self, zone: &Zone) -> Vec<&'a str> {
        let s = self.scenario;
        let mut rooms = vec![s.rooms[zone.room].name.as_str()];
        for &outlet in &zone.outlets {
            let room = s.rooms[s.outlets[outlet].room].name.as_str();
            if !rooms.contains(&room) {
                rooms.push(room);
            }
        }
        rooms
    }

    /// Scheduled periods of a zone; `None` when it is always scheduled.
    pub(crate) fn scheduled(&self, zone: &str) -> Option<Spans> {
        let inside = self.column(&format!("zone.{zone}.scheduled"))?;
        let always = inside.iter().all(|&v| v > 0.5);
        (!always).then(|| spans(self.t, |i| inside[i] > 0.5))
    }

    /// Whether any zone has a schedule that ends within the run.
    pub(crate) fn has_schedules(&self) -> bool {
        let mut zones = self.scenario.zones.iter();
        zones.any(|z| self.scheduled(&z.name).is_some())
    }

    /// Spans in which any zone is scheduled; empty when that is the whole run.
    pub(crate) fn any_scheduled(&self) -> Spans {
        let zones = self.scenario.zones.iter();
        let all: Option<Vec<Spans>> = zones.map(|z| self.scheduled(&z.name)).collect();
        let mut all = all.unwrap_or_default().concat();
        all.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut merged: Spans = Vec::new();
        for span in all {
            match merged.last_mut() {
                Some(last) if span.0 <= last.1 => last.1 = last.1.max(span.1),
                _ => merged.push(span),
            }
        }
        merged.retain(|&span| span != self.span);
        merged
    }

    /// What the controller noted of a kind, in order.
    pub(crate) fn notices(&self, kind: NoticeKind) -> impl Iterator<Item = &'a Event> {
        let events = self.outcome.events.iter();
        events.filter(move |e| e.what == What::Control(kind) && e.t_s.is_finite())
    }

    /// Instants at which the controller noted something, s.
    pub(crate) fn times(&self, kind: NoticeKind) -> Vec<f64> {
        self.notices(kind).map(|e| e.t_s).collect()
    }

    /// The protection that watches one side of supply air, if it is fitted.
    pub(crate) fn protection(&self, sense: Sense) -> Option<&'a Protection> {
        let all = &self.scenario.control.controller.spec().protections;
        all.iter().find(|p| p.sense == sense)
    }

    /// Spans in which the unit was locked out.
    pub(crate) fn locked_out(&self) -> Spans {
        let cleared = self.times(NoticeKind::LockOutCleared);
        let until = |from: f64| cleared.iter().copied().find(|&t| t >= from);
        let outs = self.times(NoticeKind::LockOut).into_iter();
        outs.map(|t| (t, until(t).unwrap_or(self.span.1))).collect()
    }

    /// Trips in words, a line for each kind, numbered as their flags are; and lock-outs.
    pub(crate) fn trip_notes(&self) -> Vec<String> {
        let mut kinds: Vec<(String, Vec<String>)> = Vec::new();
        for (i, trip) in self.notices(NoticeKind::Trip).enumerate() {
            let moment = format!("({}) {}", i + 1, self.clock(trip.t_s));
            let kind = format!("{}, {}", trip.subject, self.beyond(trip));
            match kinds.iter_mut().find(|k| k.0 == kind) {
                Some((_, moments)) => moments.push(moment),
                None => kinds.push((kind, vec![moment])),
            }
        }
        let mut lines: Vec<String> = kinds.iter().take(TOLD_KINDS).map(told).collect();
        let outs = self.notices(NoticeKind::LockOut).zip(self.locked_out());
        lines.extend(outs.take(TOLD_KINDS).map(|(out, (from, to))| {
            let until = match to < self.span.1 {
                true => self.clock(to),
                false => "the end of the run".to_owned(),
            };
            format!(
                "Locked out by {} from {} to {until}.",
                out.subject,
                self.clock(from)
            )
        }));
        lines
    }

    /// What a protection that tripped watches for: `below 5 °C for 60 s`.
    fn beyond(&self, trip: &Event) -> String {
        let all = &self.scenario.control.controller.spec().protections;
        let Some(p) = all.iter().find(|p| p.name == trip.subject) else {
            return trip.text.clone();
        };
        let (side, dimension) = match p.sense {
            Sense::StaticHigh => ("above", Dimension::Pressure),
            Sense::SupplyHigh => ("above", Dimension::Temperature),
            _ => ("below", Dimension::Temperature),
        };
        format!(
            "{side} {} for {:.0} s",
            self.text(p.trip, dimension),
            p.qualify_s
        )
    }
}

/// One kind of trip with its moments; of many, the first.
fn told((kind, moments): &(String, Vec<String>)) -> String {
    const SHOWN: usize = 12;
    let n = moments.len();
    let plural = if n == 1 { "" } else { "s" };
    let shown = moments[..n.min(SHOWN)].join(", ");
    match n.saturating_sub(SHOWN) {
        0 => format!("{n} trip{plural}, {kind}: {shown}."),
        more => format!("{n} trip{plural}, {kind}: {shown} and {more} more, in events.csv."),
    }
}

/// When a measure was at its worst, from its note: `when only zone study calls`; empty if the note
/// does not say.
pub(crate) fn when(note: &Note) -> String {
    let note = note.to_string();
    let calls = note.split(';').next().unwrap_or_default().trim();
    let Some(zones) = calls.strip_prefix("calling: ") else {
        let whole = ["all zones calling", "no zone calling"].contains(&calls);
        return if whole {
            format!("with {calls}")
        } else {
            String::new()
        };
    };
    let zones: Vec<&str> = zones.split(", ").collect();
    match zones.as_slice() {
        [one] => format!("when only zone {one} calls"),
        [first @ .., last] if zones.len() <= 3 => {
            format!("when only zones {} and {last} call", first.join(", "))
        }
        _ => format!("when {} zones call", zones.len()),
    }
}

/// Parts of a sentence joined by spaces, without the empty ones.
pub(crate) fn sentence(parts: &[&str]) -> String {
    let parts: Vec<&str> = parts.iter().copied().filter(|p| !p.is_empty()).collect();
    parts.join(" ")
}

/// The name with a capital first letter.
pub(crate) fn capital(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next();
    first.map_or(String::new(), |c| c.to_uppercase().chain(letters).collect())
}

/// A source without its full stop.
pub(crate) fn source(text: &str) -> &str {
    text.trim_end_matches('.')
}

/// A length of time as a person says it: "45 s", "38 min", "6 h 20 min".
pub(crate) fn duration_text(seconds: f64) -> String {
    // A sum of nothing is minus zero.
    let seconds = seconds + 0.0;
    let minutes = (seconds / 60.0).round() as u64;
    match (minutes / 60, minutes % 60) {
        _ if seconds < 90.0 => format!("{seconds:.0} s"),
        (0, minutes) => format!("{minutes} min"),
        (hours, 0) => format!("{hours} h"),
        (hours, minutes) => format!("{hours} h {minutes:02} min"),
    }
}

/// Total external static (supply minus return) row by row, Pa; `None` without both plenums.
pub(crate) fn external_static(trace: &Trace) -> Option<Vec<f64>> {
    let supply = trace.column("supply_plenum.static_Pa")?;
    let back = trace.column("return_plenum.static_Pa")?;
    Some(supply.iter().zip(back).map(|(s, r)| s - r).collect())
}

/// Relief flow as a share of fan flow, row by row; gaps while the fan stands.
pub(crate) fn bypass_fraction(trace: &Trace) -> Option<Vec<f64>> {
    let relief = trace.column("relief.flow_m3_s")?;
    let fan = trace.column("fan.flow_m3_s")?;
    let share = |(r, f): (&f64, &f64)| if *f > FAN_RUNS_M3_S { r / f } else { f64::NAN };
    Some(relief.iter().zip(fan).map(share).collect())
}

/// The worst static pressure of every step, of which the trace holds only some.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct WorstStatic {
    /// When, s.
    pub at_s: f64,
    /// How high, Pa.
    pub worst_pa: f64,
}

/// The worst static pressure of a run, if it measured one.
pub(crate) fn static_pressure(outcome: &Outcome) -> Option<WorstStatic> {
    let worst = outcome.measure("static_worst", "house")?;
    Some(WorstStatic {
        at_s: worst.at_s?,
        worst_pa: worst.value,
    })
    .filter(|w| w.worst_pa.is_finite() && w.worst_pa > 0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(note: &str) -> String {
        when(&Note::default().words(note))
    }

    #[test]
    fn lengths_of_time_read_plainly() {
        for (seconds, text) in [
            (-0.0, "0 s"),
            (45.0, "45 s"),
            (300.0, "5 min"),
            (3600.0, "1 h"),
            (3900.0, "1 h 05 min"),
            (90_000.0, "25 h"),
        ] {
            assert_eq!(duration_text(seconds), text);
        }
    }

    #[test]
    fn calls_read_as_part_of_a_sentence() {
        assert_eq!(said("calling: study"), "when only zone study calls");
        assert_eq!(
            said("calling: a, b; peak 300 Pa"),
            "when only zones a and b call"
        );
        assert_eq!(said("calling: a, b, c, d"), "when 4 zones call");
        assert_eq!(said("all zones calling"), "with all zones calling");
        assert_eq!(said("a door was open"), "");
    }
}
