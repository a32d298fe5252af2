//! What a run means: figures with limits, each limit with its source.
//!
//! Measures watch every step (not the recorded rows), so a peak between two rows is not lost. To add
//! one: write an [`Observer`] in its own file, which says key, title, dimension, limit, which way is
//! good and when to show it, and name it in [`observers`].

pub(crate) mod air;
pub(crate) mod balance;
pub(crate) mod comfort;
pub(crate) mod cycling;
pub(crate) mod energy;
pub(crate) mod lasting;
pub(crate) mod limits;
pub(crate) mod loudest_minute;
pub(crate) mod noise_rating;
pub(crate) mod note;
pub(crate) mod sound;
pub(crate) mod thermal_comfort;

use crate::engine::event::Event;
use crate::engine::sample::Sample;
use crate::quantity::Dimension;
use crate::scenario::Scenario;

pub use limits::{Limit, Limits, Side};
pub use note::Note;

/// One figure of a run.
#[derive(Clone, Debug, PartialEq)]
pub struct Measure {
    /// Stable name, e.g. `static_worst`.
    pub key: &'static str,
    /// Plain words for a table, e.g. `shortest complete run`.
    pub title: &'static str,
    /// What it belongs to: `house`, or the name of a zone, room or outlet.
    pub subject: String,
    /// The figure, SI; NaN when it has no meaning in this run (no complete run, say).
    pub value: f64,
    /// What kind of quantity it is.
    pub dimension: Dimension,
    /// When the figure was reached, s since the start.
    pub at_s: Option<f64>,
    /// Which zones called then, or another word on how it came about.
    pub note: Note,
    /// The limit it is judged by.
    pub limit: Option<Limit>,
    /// Which way is good; `None` when nobody can say.
    pub good: Option<Side>,
    /// When a short table shows it though it has no limit.
    pub shown: Shown,
}

/// When a short table shows a measure that has no limit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shown {
    /// Never.
    No,
    /// Where it is above nought: what it tells changes the meaning of all others.
    IfAny,
    /// Always.
    Always,
}

impl Measure {
    /// A figure without time, note or limit.
    pub fn new(
        key: &'static str,
        title: &'static str,
        subject: impl Into<String>,
        value: f64,
        dimension: Dimension,
    ) -> Measure {
        Measure {
            key,
            title,
            subject: subject.into(),
            value,
            dimension,
            at_s: None,
            note: Note::default(),
            limit: None,
            good: None,
            shown: Shown::No,
        }
    }

    /// Adds the instant and the zones that called.
    pub fn at(mut self, t_s: f64, note: impl Into<Note>) -> Measure {
        self.at_s = t_s.is_finite().then_some(t_s);
        self.note = note.into();
        self
    }

    /// Adds the limit.
    pub fn judged(mut self, limit: &Limit) -> Measure {
        self.limit = Some(limit.clone());
        self.good = Some(limit.side);
        self
    }

    /// Says that less is better.
    pub fn less_is_better(mut self) -> Measure {
        self.good = Some(Side::AtMost);
        self
    }

    /// Says when a short table shows it without a limit.
    pub fn shown(mut self, shown: Shown) -> Measure {
        self.shown = shown;
        self
    }

    /// Whether it meets its limit; `None` without a limit or without a value.
    pub fn passes(&self) -> Option<bool> {
        let limit = self.limit.as_ref()?;
        (!self.value.is_nan()).then(|| limit.passes(self.value))
    }

    /// Whether it misses its limit.
    pub fn fails(&self) -> bool {
        self.passes() == Some(false)
    }

    /// Whether it misses a limit that the scenario calls mandatory.
    pub fn fails_mandatory(&self) -> bool {
        self.fails() && self.limit.as_ref().is_some_and(|l| l.mandatory)
    }
}

/// Watches a run and says what it found.
pub trait Observer {
    /// Sees the state at the end of a step of `dt_s` seconds.
    fn observe(&mut self, sample: &Sample, dt_s: f64);
    /// Sees an event as it happens.
    fn event(&mut self, _event: &Event) {}
    /// The loudest minute of every room, from the observer that listens.
    fn loudest(&self) -> Vec<sound::LoudRoom> {
        Vec::new()
    }
    /// Says what it found; `end_s` is the length of the run. Which measures come, and in which order,
    /// depends on the scenario alone: what was never seen is NaN, so that tables keep their columns.
    fn measures(&self, end_s: f64) -> Vec<Measure>;
}

/// How many time steps of `step_s` a step of `dt_s` is: more than one in a quiet stretch.
fn steps(dt_s: f64, step_s: f64) -> u64 {
    (dt_s / step_s + 0.5) as u64
}

/// Every measure, in the order in which they are shown.
pub fn observers(scenario: &Scenario) -> Vec<Box<dyn Observer>> {
    vec![
        Box::new(cycling::Cycling::new(&scenario.limits)),
        Box::new(air::Pressure::new(scenario)),
        Box::new(balance::RoomPressure::new(scenario)),
        Box::new(air::FaceVelocity::new(scenario)),
        Box::new(sound::Sound::new(scenario)),
        Box::new(air::BypassFraction::new(scenario)),
        Box::new(energy::SupplyMargin::new(scenario)),
        Box::new(comfort::OffSetpoint::new(scenario)),
        Box::new(comfort::Scheduled::new(scenario)),
        Box::new(comfort::Humidity::new(scenario)),
        Box::new(comfort::Votes::new(scenario)),
        Box::new(energy::Energy::new()),
    ]
}

/// Names of the zones that call in `sample`, for the note of a worst case.
pub(crate) fn calling(names: &[String], mask: u64) -> String {
    let who: Vec<&str> = names
        .iter()
        .enumerate()
        .filter(|(i, _)| mask >> i & 1 == 1)
        .map(|(_, n)| n.as_str())
        .collect();
    match who.len() {
        0 => "no zone calling".to_string(),
        n if n == names.len() => "all zones calling".to_string(),
        _ => format!("calling: {}", who.join(", ")),
    }
}

/// The zones that call, one bit each (at most 64 zones).
pub(crate) fn call_mask(sample: &Sample) -> u64 {
    sample
        .zones
        .iter()
        .take(64)
        .rev()
        .fold(0, |m, z| m << 1 | u64::from(z.call))
}

/// Time-weighted quantiles of a bounded quantity by counting into equal bins; allocates only once.
#[derive(Clone, Debug)]
pub(crate) struct Histogram {
    width: f64,
    seconds: Vec<f64>,
    total: f64,
    weighted: f64,
    worst: f64,
}

impl Histogram {
    /// Bins of `width` from 0 up to `width × bins`; larger values fall into the last bin.
    pub(crate) fn new(width: f64, bins: usize) -> Histogram {
        Histogram {
            width,
            seconds: vec![0.0; bins],
            total: 0.0,
            weighted: 0.0,
            worst: f64::NAN,
        }
    }

    /// Counts `value ≥ 0` for `dt_s` seconds.
    pub(crate) fn add(&mut self, value: f64, dt_s: f64) {
        let bin = ((value / self.width) as u32 as usize).min(self.seconds.len() - 1);
        self.seconds[bin] += dt_s;
        self.total += dt_s;
        self.weighted += value * dt_s;
        self.worst = self.worst.max(value);
    }

    /// Time-weighted mean; NaN when nothing was counted.
    pub(crate) fn mean(&self) -> f64 {
        self.weighted / self.total
    }

    /// Largest value; NaN when nothing was counted.
    pub(crate) fn worst(&self) -> f64 {
        self.worst
    }

    /// The value below which the share `q` of the time lies, to one bin (upper edge); NaN when
    /// nothing was counted.
    pub(crate) fn quantile(&self, q: f64) -> f64 {
        if self.total == 0.0 {
            return f64::NAN;
        }
        let mut sum = 0.0;
        for (i, s) in self.seconds.iter().enumerate() {
            sum += s;
            if sum >= q * self.total {
                return ((i + 1) as f64 * self.width).min(self.worst);
            }
        }
        self.worst
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantiles_of_a_ramp() {
        let mut h = Histogram::new(0.01, 1000);
        for i in 0..1000 {
            h.add(f64::from(i) / 1000.0, 1.0);
        }
        assert!((h.quantile(0.95) - 0.95).abs() <= 0.011);
        assert!((h.mean() - 0.4995).abs() < 1e-9);
        assert_eq!(h.worst(), 0.999);
        assert!(Histogram::new(1.0, 2).quantile(0.5).is_nan());
    }

    #[test]
    fn calling_zones_are_named() {
        let names = vec!["day".to_string(), "night".to_string()];
        assert_eq!(calling(&names, 0b10), "calling: night");
        assert_eq!(calling(&names, 0b11), "all zones calling");
        assert_eq!(calling(&names, 0), "no zone calling");
    }
}
