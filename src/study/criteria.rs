//! What a settled state is judged by. To judge by one thing more, add an entry to [`CRITERIA`]; tables,
//! CSV and heat map follow.

use super::settled::Point;
use crate::control::Mode;
use crate::measure::limits::face_velocity_limit;
use crate::measure::{Limit, Limits, Side};
use crate::quantity::Dimension;
use crate::scenario::Scenario;

/// Kelvins of missing margin that count, for ranking only, as much as a limit exceeded by its own
/// value (our own choice).
const MARGIN_SCALE_K: f64 = 10.0;

/// What judging needs to know of a scenario.
#[derive(Clone, Debug)]
pub struct Facts {
    limits: Limits,
    outlets: Vec<OutletFacts>,
    low_trip_c: Option<f64>,
    high_trip_c: Option<f64>,
    relieved: bool,
}

#[derive(Clone, Debug)]
struct OutletFacts {
    name: String,
    face_area_m2: f64,
    limit: Limit,
}

impl Facts {
    /// Of a scenario.
    pub fn new(s: &Scenario) -> Facts {
        Facts {
            limits: s.limits.clone(),
            outlets: s
                .outlets
                .iter()
                .map(|o| OutletFacts {
                    name: o.name.clone(),
                    face_area_m2: o.face_area_m2,
                    limit: s
                        .limits
                        .face_velocity
                        .clone()
                        .unwrap_or_else(|| face_velocity_limit(s.room_uses[o.room].is_bedroom())),
                })
                .collect(),
            low_trip_c: s.supply_low_trip_c(),
            high_trip_c: s.supply_high_trip_c(),
            relieved: s.relief.is_some(),
        }
    }

    /// Margin of supply air to the trip of its mode, K; `None` when no such trip is fitted.
    pub fn margin_k(&self, point: &Point, mode: Mode) -> Option<f64> {
        match mode {
            Mode::Cooling => self.low_trip_c.map(|trip| point.supply.t_c - trip),
            Mode::Heating => self.high_trip_c.map(|trip| trip - point.supply.t_c),
        }
    }
}

/// A value with its limit.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// The value, SI.
    pub value: f64,
    /// Its limit.
    pub limit: Limit,
    /// Where: the name of an outlet or room; empty for the whole plant.
    pub place: String,
}

impl Finding {
    fn of(value: f64, limit: &Limit) -> Finding {
        Finding {
            value,
            limit: limit.clone(),
            place: String::new(),
        }
    }

    /// Whether the limit holds.
    pub fn holds(&self) -> bool {
        self.limit.holds(self.value)
    }

    /// How much of the limit is used, for ranking: up to 1 it holds. A least value counts
    /// 1 + (limit − value)/10 K.
    pub fn used(&self) -> f64 {
        match self.limit.side {
            Side::AtMost if self.limit.value > 0.0 => self.value / self.limit.value,
            Side::AtMost => 1.0 + self.value - self.limit.value,
            Side::AtLeast => 1.0 + (self.limit.value - self.value) / MARGIN_SCALE_K,
        }
    }
}

/// Which way a criterion goes when more air is relieved.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Trend {
    /// More relief helps: static, velocity, sound.
    HelpedByRelief,
    /// More relief hurts: relief share, supply temperature.
    HurtByRelief,
}

/// One thing that settled states are judged by.
pub struct Criterion {
    /// Stable name, for files.
    pub key: &'static str,
    /// Plain words.
    pub title: &'static str,
    /// Short words, for the head of a column.
    pub heading: &'static str,
    /// Kind of quantity.
    pub dimension: Dimension,
    /// What more relief does to it.
    pub trend: Trend,
    /// The worst value of a state; `None` where it has no meaning.
    pub find: fn(&Facts, &Point, Mode) -> Option<Finding>,
}

impl std::fmt::Debug for Criterion {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.key)
    }
}

/// Everything that settled states are judged by, in the order of the columns.
pub const CRITERIA: &[Criterion] = &[
    Criterion {
        key: "static",
        title: "supply-plenum static",
        heading: "static",
        dimension: Dimension::Pressure,
        trend: Trend::HelpedByRelief,
        find: |facts, point, _| Some(Finding::of(point.supply_pa, &facts.limits.static_pa)),
    },
    Criterion {
        key: "face_velocity",
        title: "face velocity at a grille",
        heading: "velocity",
        dimension: Dimension::Velocity,
        trend: Trend::HelpedByRelief,
        find: |facts, point, _| {
            let faces = facts.outlets.iter().zip(&point.outlets_m3_s);
            faces
                .map(|(o, flow)| Finding {
                    place: o.name.clone(),
                    ..Finding::of(flow.abs() / o.face_area_m2, &o.limit)
                })
                .max_by(|a, b| a.used().total_cmp(&b.used()))
        },
    },
    Criterion {
        key: "relief_share",
        title: "share of coil air through the relief",
        heading: "relief",
        dimension: Dimension::Fraction,
        trend: Trend::HurtByRelief,
        find: |facts, point, _| {
            let share = point.relief_share();
            let limit = &facts.limits.relief_share;
            facts.relieved.then(|| Finding::of(share, limit))
        },
    },
    Criterion {
        key: "supply_margin",
        title: "margin of supply air to its trip",
        heading: "margin",
        dimension: Dimension::TemperatureDifference,
        trend: Trend::HurtByRelief,
        find: |facts, point, mode| {
            let margin = facts.margin_k(point, mode)?;
            Some(Finding::of(margin, &facts.limits.supply_margin_k))
        },
    },
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_limit_is_used_up_at_its_value_on_either_side() {
        for limit in [Limit::at_most(125.0, ""), Limit::at_least(2.0, "")] {
            assert_eq!(Finding::of(limit.value, &limit).used(), 1.0);
        }
        assert_eq!(Finding::of(250.0, &Limit::at_most(125.0, "")).used(), 2.0);
        assert_eq!(Finding::of(-8.0, &Limit::at_least(2.0, "")).used(), 2.0);
        assert_eq!(Finding::of(2.0, &Limit::at_most(0.0, "")).used(), 3.0);
    }
}
