//! What every figure asks of a story and its trace.

use super::lettering::{SMALL, text_width};
use super::palette::Colour;
use super::series::{decimate, spans};
use super::time_axis::{Tick, clock_text, span_text, ticks};
use super::units::UnitSystem;
use super::{EventKind, FigureError, MAX_POINTS, Story, StoryEvent, StoryZone};
use crate::trace::Trace;

/// A series ready to draw.
pub struct Series {
    /// Its label.
    pub name: String,
    /// Its colour.
    pub colour: Colour,
    /// Which marker it carries, or none.
    pub marker: Option<usize>,
    /// The line in pieces, `(s, shown unit)`.
    pub pieces: Vec<Vec<(f64, f64)>>,
}

/// A story, its trace and the units shown.
pub struct Context<'a> {
    /// Name of the figure.
    pub figure: &'static str,
    /// Names, limits, events.
    pub story: &'a Story,
    /// The numbers.
    pub trace: &'a Trace,
    /// Units shown.
    pub units: UnitSystem,
    /// Time column, s.
    pub t: &'a [f64],
    /// First and last time, s.
    pub span: (f64, f64),
}

impl<'a> Context<'a> {
    /// Checks that there is a span of time to draw.
    pub fn new(
        figure: &'static str,
        story: &'a Story,
        trace: &'a Trace,
        units: UnitSystem,
    ) -> Result<Self, FigureError> {
        let column = "time_s";
        let t = trace.column(column).ok_or_else(|| FigureError::NoColumn {
            figure,
            column: column.to_owned(),
        })?;
        match (t.first(), t.last()) {
            (Some(&from), Some(&to)) if to - from > 0.0 && (to - from).is_finite() => Ok(Self {
                figure,
                story,
                trace,
                units,
                t,
                span: (from, to),
            }),
            _ => Err(FigureError::NoTime { figure }),
        }
    }

    /// A column without which the figure has no meaning.
    pub fn need(&self, column: &str) -> Result<&'a [f64], FigureError> {
        self.trace
            .column(column)
            .ok_or_else(|| FigureError::NoColumn {
                figure: self.figure,
                column: column.to_owned(),
            })
    }

    /// External static, row by row, Pa: supply plenum less return plenum.
    pub fn external_static(&self) -> Result<Vec<f64>, FigureError> {
        external_static(|column| self.need(column))
    }

    /// A column thinned for drawing, each value passed through `show`.
    pub fn thin(&self, column: &[f64], points: usize, show: impl Fn(f64) -> f64) -> Pieces {
        let mut pieces = decimate(self.t, column, points.min(MAX_POINTS));
        for point in pieces.iter_mut().flatten() {
            point.1 = show(point.1);
        }
        pieces
    }

    /// Clock ticks for an axis `width` px long.
    pub fn ticks(&self, width: f64) -> Vec<Tick> {
        ticks(self.story.start, self.span, width, 62.0)
    }

    /// Length of the run, s.
    pub fn length_s(&self) -> f64 {
        self.span.1 - self.span.0
    }

    /// Clock time at `t_s`, with the day when the run is longer than one.
    pub fn clock(&self, t_s: f64) -> String {
        clock_text(self.story.start, t_s, self.length_s() > 86_400.0)
    }

    /// The scenario's name and its dates.
    pub fn subtitle(&self) -> String {
        let span = span_text(self.story.start, self.span.0, self.span.1);
        format!("{} · {span}", self.story.title)
    }

    /// Spans in which a zone's time band is open; `None` when it always is.
    pub fn zone_band(&self, zone: &StoryZone) -> Option<Vec<(f64, f64)>> {
        if let Some(inside) = self.trace.column(&format!("zone.{}.in_band", zone.name)) {
            let always = inside.iter().all(|&v| v > 0.5);
            return (!always).then(|| spans(self.t, |i| inside[i] > 0.5));
        }
        let edges = self.story.events.iter().filter(|e| e.subject == zone.name);
        let (mut spans, mut open, mut known) = (Vec::new(), None, false);
        for event in edges {
            match event.kind {
                EventKind::BandOpens => open = open.or(Some(event.t_s)),
                EventKind::BandCloses => {
                    // Closing before any opening: it was open from the start.
                    let from = open.take().or((!known).then_some(self.span.0));
                    spans.extend(from.map(|from| (from, event.t_s)));
                }
                _ => continue,
            }
            known = true;
        }
        spans.extend(open.map(|from| (from, self.span.1)));
        known.then_some(spans)
    }

    /// Whether any zone has a time band that shuts during the run.
    pub fn has_bands(&self) -> bool {
        self.story
            .zones
            .iter()
            .any(|zone| self.zone_band(zone).is_some())
    }

    /// Spans in which any zone's time band is open; empty when that is the whole run.
    pub fn any_band(&self) -> Vec<(f64, f64)> {
        let bands: Option<Vec<_>> = self.story.zones.iter().map(|z| self.zone_band(z)).collect();
        let mut all: Vec<(f64, f64)> = bands.unwrap_or_default().concat();
        all.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut merged: Vec<(f64, f64)> = Vec::new();
        for span in all {
            match merged.last_mut() {
                Some(last) if span.0 <= last.1 => last.1 = last.1.max(span.1),
                _ => merged.push(span),
            }
        }
        merged.retain(|&span| span != self.span);
        merged
    }

    /// Trips told in words, one line for each kind, numbered as their flags are, and lock-outs;
    /// each no wider than `width` px if that can be.
    pub fn trip_notes(&self, width: f64) -> Vec<String> {
        let mut kinds: Vec<(&StoryEvent, Vec<String>)> = Vec::new();
        for (i, trip) in self.story.trips().enumerate() {
            let moment = format!("({}) {}", i + 1, self.clock(trip.t_s));
            match kinds
                .iter_mut()
                .find(|(e, _)| e.subject == trip.subject && e.text == trip.text)
            {
                Some((_, moments)) => moments.push(moment),
                None => kinds.push((trip, vec![moment])),
            }
        }
        let told = kinds.iter().map(|(trip, moments)| {
            let plural = if moments.len() == 1 { "" } else { "s" };
            let head = format!(
                "{} trip{plural}, {}, {}",
                moments.len(),
                trip.subject,
                trip.text
            );
            let line = |shown: usize| {
                let more = match moments.len() - shown {
                    0 => String::new(),
                    n => format!(" and {n} more, in events.csv"),
                };
                format!("{head}: {}{more}.", moments[..shown].join(", "))
            };
            (2..=moments.len())
                .rev()
                .map(line)
                .find(|l| text_width(l, SMALL, false) <= width)
                .unwrap_or_else(|| line(moments.len().min(1)))
        });
        told.chain(self.story.lock_outs().map(|(out, cleared)| {
            let until = cleared.map_or("the end of the run".to_owned(), |t| self.clock(t));
            let from = self.clock(out.t_s);
            format!("Locked out by {} from {from} to {until}.", out.subject)
        }))
        .collect()
    }

    /// Spans in which the unit was locked out.
    pub fn locked_out(&self) -> Vec<(f64, f64)> {
        let outs = self.story.lock_outs();
        outs.map(|(out, cleared)| (out.t_s, cleared.unwrap_or(self.span.1)))
            .collect()
    }
}

/// A line in pieces, parted where values are missing.
pub type Pieces = Vec<Vec<(f64, f64)>>;

/// Flow above which the fan counts as running, m³/s: below it is rounding, not air.
pub const FAN_RUNS_M3_S: f64 = 1e-4;

/// A length of time as a person says it: "45 s", "38 min", "6 h 20 min".
pub fn duration_text(seconds: f64) -> String {
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

/// External static from the columns of a trace: supply plenum less return plenum.
pub(super) fn external_static<'a, E>(
    column: impl Fn(&str) -> Result<&'a [f64], E>,
) -> Result<Vec<f64>, E> {
    let supply = column("supply_plenum.static_Pa")?;
    let back = column("return_plenum.static_Pa")?;
    Ok(supply.iter().zip(back).map(|(s, r)| s - r).collect())
}

#[cfg(test)]
mod tests {
    use super::duration_text;

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
}
