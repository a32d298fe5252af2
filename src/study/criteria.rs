//! What a steady state is judged by. To judge by one thing more, add an entry to [`CRITERIA`]; tables,
//! CSV and heat map follow.

use super::settled::Point;
use crate::control::Mode;
use crate::measure::{Limit, Limits, Side};
use crate::quantity::Dimension;
use crate::scenario::Scenario;

/// Kelvins of missing margin that count, for ranking only, as much as a limit exceeded by its own
/// value (our own choice).
const MARGIN_SCALE_K: f64 = 10.0;
/// The same for decibels above a limit: twice as loud.
const SOUND_SCALE_DB: f64 = 10.0;

/// What judging needs to know of a scenario.
#[derive(Clone, Debug)]
pub(crate) struct Facts {
    limits: Limits,
    outlets: Vec<OutletFacts>,
    rooms: Vec<RoomFacts>,
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

#[derive(Clone, Debug)]
struct RoomFacts {
    name: String,
    sound: Limit,
}

impl Facts {
    /// Of a scenario.
    pub(crate) fn new(s: &Scenario) -> Facts {
        Facts {
            limits: s.limits.clone(),
            outlets: s
                .outlets
                .iter()
                .map(|o| OutletFacts {
                    name: o.name.clone(),
                    face_area_m2: o.face_area_m2,
                    limit: s.limits.face_velocity(s.room_uses[o.room].is_bedroom()),
                })
                .collect(),
            rooms: s
                .rooms
                .iter()
                .zip(&s.sound.limits)
                .map(|(r, limit)| RoomFacts {
                    name: r.name.clone(),
                    sound: limit.dba.clone(),
                })
                .collect(),
            low_trip_c: s.supply_low_trip_c(),
            high_trip_c: s.supply_high_trip_c(),
            relieved: s.relief.is_some(),
        }
    }

    /// Margin of supply air to the trip of its mode, K; `None` when no such trip is fitted.
    pub(crate) fn margin_k(&self, point: &Point, mode: Mode) -> Option<f64> {
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
    /// How far beyond the limit counts, for ranking, as much as twice the limit; `None` = the limit's
    /// own value.
    scale: Option<f64>,
}

impl Finding {
    fn of(value: f64, limit: &Limit) -> Finding {
        Finding {
            value,
            limit: limit.clone(),
            place: String::new(),
            scale: None,
        }
    }

    fn scaled(self, scale: f64) -> Finding {
        Finding {
            scale: Some(scale),
            ..self
        }
    }

    /// Whether it meets its limit.
    pub fn passes(&self) -> bool {
        self.limit.passes(self.value)
    }

    /// How much of the limit is used, for ranking: up to 1 it passes. The value over the limit; for
    /// temperatures and levels 1 + (excess over the limit)/10.
    pub fn used(&self) -> f64 {
        let limit = self.limit.value;
        let excess = match self.limit.side {
            Side::AtMost => self.value - limit,
            Side::AtLeast => limit - self.value,
        };
        match self.scale {
            Some(scale) => 1.0 + excess / scale,
            None if limit > 0.0 => 1.0 + excess / limit,
            None => 1.0 + excess,
        }
    }
}

/// Which way a criterion goes when more air is relieved.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Trend {
    /// More relief helps: static, velocity.
    HelpedByRelief,
    /// Grilles and dampers grow quieter, fan and relief may grow louder: sound.
    EitherWay,
    /// More relief hurts: bypass fraction, supply temperature.
    HurtByRelief,
}

/// One thing that steady states are judged by.
pub(crate) struct Criterion {
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
    /// What helps where it fails.
    pub cure: &'static str,
    /// The worst value of a state; `None` where it has no meaning.
    pub find: fn(&Facts, &Point, Mode) -> Option<Finding>,
}

impl std::fmt::Debug for Criterion {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.key)
    }
}

/// Everything that steady states are judged by, in the order of the columns.
pub(crate) const CRITERIA: &[Criterion] = &[
    Criterion {
        key: "static",
        title: "total external static (supply minus return)",
        heading: "static",
        dimension: Dimension::Pressure,
        trend: Trend::HelpedByRelief,
        cure: "a relief, an opening when satisfied, or a slower or variable-speed unit",
        find: |facts, point, _| Some(Finding::of(point.external_pa(), &facts.limits.static_pa)),
    },
    Criterion {
        key: "face_velocity",
        title: "face velocity at a grille",
        heading: "velocity",
        dimension: Dimension::Velocity,
        trend: Trend::HelpedByRelief,
        cure: "a larger duct and grille, a relief, or a slower unit",
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
        key: "bypass_fraction",
        title: "bypass fraction (relief air over coil air)",
        heading: "bypass",
        dimension: Dimension::Fraction,
        trend: Trend::HurtByRelief,
        cure: "an opening when satisfied, a slower unit, or a relief that opens later",
        find: |facts, point, _| {
            let share = point.bypass_fraction();
            let limit = &facts.limits.relief_share;
            facts.relieved.then(|| Finding::of(share, limit))
        },
    },
    Criterion {
        key: "supply_margin",
        title: "supply-temperature margin to the trip",
        heading: "margin",
        dimension: Dimension::TemperatureDifference,
        trend: Trend::HurtByRelief,
        cure: "less air through the relief, or more air over the coil",
        find: |facts, point, mode| {
            let margin = facts.margin_k(point, mode)?;
            let finding = Finding::of(margin, &facts.limits.supply_margin_k);
            Some(finding.scaled(MARGIN_SCALE_K))
        },
    },
    Criterion {
        key: "sound",
        title: "sound in a room",
        heading: "sound",
        dimension: Dimension::SoundLevel,
        trend: Trend::EitherWay,
        cure: "a slower unit, lined or flexible ducts, or larger grilles",
        find: |facts, point, _| {
            let rooms = facts.rooms.iter().zip(&point.sound);
            rooms
                .map(|(room, level)| Finding {
                    place: room.name.clone(),
                    ..Finding::of(level.dba, &room.sound).scaled(SOUND_SCALE_DB)
                })
                .max_by(|a, b| a.used().total_cmp(&b.used()))
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
            assert_eq!(Finding::of(limit.value, &limit).scaled(10.0).used(), 1.0);
        }
        assert_eq!(Finding::of(250.0, &Limit::at_most(125.0, "")).used(), 2.0);
        let margin = Finding::of(-8.0, &Limit::at_least(2.0, "")).scaled(MARGIN_SCALE_K);
        assert_eq!(margin.used(), 2.0);
        let level = Finding::of(40.0, &Limit::at_most(30.0, "")).scaled(SOUND_SCALE_DB);
        assert_eq!(level.used(), 2.0);
        assert_eq!(Finding::of(2.0, &Limit::at_most(0.0, "")).used(), 3.0);
    }
}
