//! How warm or cold people would vote.

use crate::engine::sample::Sample;
use crate::measure::thermal_comfort::{Surroundings, ppd_percent, vapour_pressure_pa};
use crate::measure::{Measure, Observer};
use crate::quantity::Dimension;
use crate::scenario::Scenario;

/// Metabolic rate, met: sedentary activity (ISO 7730:2005 Table B.1).
const MET: f64 = 1.2;
/// Clothing while the system cools, clo: light summer clothes (ISO 7730:2005 Table C.1).
const CLO_COOLING: f64 = 0.5;
/// Clothing while the system heats, clo: indoor winter clothes (ISO 7730:2005 Table C.1).
const CLO_HEATING: f64 = 1.0;
/// Air speed where people are, m/s; common practice, no source.
const AIR_SPEED_M_S: f64 = 0.1;
/// A vote further from 0 than this is outside category B of ISO 7730 (10 % dissatisfied).
const NEUTRAL: f64 = 0.5;
/// Time between votes, s.
const EVERY_S: f64 = 60.0;

/// Predicted mean vote and dissatisfied share of ISO 7730 (PMV, PPD), by room while people are in it.
///
/// Once a minute, from the air, surfaces and humidity of that instant. People are sedentary, dressed for
/// the mode that the system is in, in air that moves at 0.1 m/s; the radiant temperature is the mean of
/// contents and fabric.
#[derive(Clone, Debug)]
pub(crate) struct Votes {
    pressure_pa: f64,
    rooms: Vec<Room>,
    next_s: f64,
}

#[derive(Clone, Debug)]
struct Room {
    name: String,
    index: usize,
    votes: u32,
    sum: f64,
    dissatisfied_percent: f64,
    outside: u32,
    worst: f64,
    worst_s: f64,
}

impl Votes {
    /// Nothing seen yet.
    pub(crate) fn new(scenario: &Scenario) -> Votes {
        let peopled = scenario.rooms.iter().enumerate();
        let peopled = peopled.filter(|(_, r)| r.gains.iter().any(|g| g.people > 0.0));
        Votes {
            pressure_pa: scenario.site.pressure_pa,
            rooms: peopled
                .map(|(index, r)| Room {
                    name: r.name.clone(),
                    index,
                    votes: 0,
                    sum: 0.0,
                    dissatisfied_percent: 0.0,
                    outside: 0,
                    worst: f64::NAN,
                    worst_s: f64::NAN,
                })
                .collect(),
            next_s: f64::NEG_INFINITY,
        }
    }

    #[inline(never)]
    fn vote(&mut self, sample: &Sample) {
        let clo = if sample.unit.heating {
            CLO_HEATING
        } else {
            CLO_COOLING
        };
        for room in &mut self.rooms {
            let now = &sample.rooms[room.index];
            if now.people <= 0.0 {
                continue;
            }
            let vote = Surroundings {
                t_air_c: now.air_c,
                t_radiant_c: 0.5 * (now.contents_c + now.fabric_c),
                air_speed_m_s: AIR_SPEED_M_S,
                vapour_pa: vapour_pressure_pa(now.w, self.pressure_pa),
                met: MET,
                clo,
            }
            .vote();
            if !vote.pmv.is_finite() {
                continue;
            }
            room.votes += 1;
            room.sum += vote.pmv;
            room.dissatisfied_percent += vote.ppd_percent;
            room.outside += u32::from(vote.pmv.abs() > NEUTRAL);
            if room.worst.is_nan() || vote.pmv.abs() > room.worst.abs() {
                (room.worst, room.worst_s) = (vote.pmv, sample.t_s);
            }
        }
    }
}

impl Observer for Votes {
    #[inline]
    fn observe(&mut self, sample: &Sample, _dt_s: f64) {
        if sample.t_s < self.next_s - 1e-6 {
            return;
        }
        // By the clock, so that it does not matter how the run is stepped in between.
        self.next_s = EVERY_S * ((sample.t_s / EVERY_S + 1e-9).floor() + 1.0);
        self.vote(sample);
    }

    fn measures(&self, _end_s: f64) -> Vec<Measure> {
        let rooms = self.rooms.iter();
        rooms
            .flat_map(|r| {
                let n = f64::from(r.votes);
                let measure = |key, title, value, dimension| {
                    Measure::new(key, title, r.name.clone(), value, dimension)
                };
                let note = if r.worst.is_nan() {
                    String::new()
                } else {
                    format!("{:.0} % dissatisfied", ppd_percent(r.worst))
                };
                [
                    measure(
                        "pmv_worst",
                        "predicted mean vote furthest from neutral",
                        r.worst,
                        Dimension::Count,
                    )
                    .at(r.worst_s, note),
                    measure(
                        "pmv_mean",
                        "predicted mean vote, mean",
                        r.sum / n,
                        Dimension::Count,
                    ),
                    measure(
                        "pmv_outside",
                        "share of occupied time with a vote beyond ±0.5",
                        f64::from(r.outside) / n,
                        Dimension::Fraction,
                    ),
                    measure(
                        "ppd_mean",
                        "predicted share of dissatisfied people, mean",
                        0.01 * r.dissatisfied_percent / n,
                        Dimension::Fraction,
                    ),
                ]
            })
            .collect()
    }
}
