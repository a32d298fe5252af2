//! Energy, efficiency, and the supply-temperature margin.

use super::{Limit, Measure, Observer, Shown, Side, call_mask, calling};
use crate::engine::sample::Sample;
use crate::quantity::Dimension;
use crate::scenario::Scenario;

/// Watches the margin of supply air to the trip of its mode, from two minutes into a run.
#[derive(Clone, Debug)]
pub(crate) struct SupplyMargin {
    limit: Limit,
    low_c: Option<f64>,
    high_c: Option<f64>,
    zones: Vec<String>,
    on_s: f64,
    minimum: Minimum,
}

/// The smallest margin so far.
#[derive(Clone, Copy, Debug)]
struct Minimum {
    margin_k: f64,
    t_s: f64,
    calls: u64,
    supply_c: f64,
    heating: bool,
}

/// The start-up of a run is not judged, s (the protections are blind for as long).
pub(crate) const BLIND_S: f64 = 120.0;

impl SupplyMargin {
    /// Nothing seen yet.
    pub(crate) fn new(scenario: &Scenario) -> SupplyMargin {
        SupplyMargin {
            limit: scenario.limits.supply_margin_k.clone(),
            low_c: scenario.supply_low_trip_c(),
            high_c: scenario.supply_high_trip_c(),
            zones: scenario.zones.iter().map(|z| z.name.clone()).collect(),
            on_s: 0.0,
            minimum: Minimum {
                margin_k: f64::NAN,
                t_s: f64::NAN,
                calls: 0,
                supply_c: f64::NAN,
                heating: false,
            },
        }
    }
}

impl Observer for SupplyMargin {
    fn observe(&mut self, sample: &Sample, dt_s: f64) {
        if sample.unit.speed <= 0.0 {
            self.on_s = 0.0;
            return;
        }
        self.on_s += dt_s;
        if self.on_s < BLIND_S {
            return;
        }
        let t = sample.unit.supply_c;
        let trip = if sample.unit.heating {
            self.high_c
        } else {
            self.low_c
        };
        let Some(trip) = trip else { return };
        let margin = if sample.unit.heating {
            trip - t
        } else {
            t - trip
        };
        if self.minimum.margin_k.is_nan() || margin < self.minimum.margin_k {
            self.minimum = Minimum {
                margin_k: margin,
                t_s: sample.t_s,
                calls: call_mask(sample),
                supply_c: t,
                heating: sample.unit.heating,
            };
        }
    }

    fn measures(&self, _end_s: f64) -> Vec<Measure> {
        let minimum = &self.minimum;
        let title = if minimum.heating {
            "high-supply-temperature margin"
        } else {
            "low-supply-temperature margin"
        };
        vec![
            Measure::new(
                "supply_margin_minimum",
                title,
                "house",
                minimum.margin_k,
                Dimension::TemperatureDifference,
            )
            .at(minimum.t_s, calling(&self.zones, minimum.calls))
            .judged(&self.limit),
            Measure::new(
                "supply_extreme",
                "supply air at the smallest margin",
                "house",
                minimum.supply_c,
                Dimension::Temperature,
            ),
        ]
    }
}

/// Adds up energy.
#[derive(Clone, Debug, Default)]
pub(crate) struct Energy {
    compressor_j: f64,
    fan_j: f64,
    sensible_j: f64,
    latent_j: f64,
    /// Heat moved either way.
    moved_j: f64,
    steady_j: f64,
    condensate_kg: f64,
}

impl Energy {
    /// Nothing counted yet.
    pub(crate) fn new() -> Energy {
        Energy::default()
    }
}

impl Observer for Energy {
    fn observe(&mut self, sample: &Sample, dt_s: f64) {
        let u = &sample.unit;
        self.compressor_j += u.compressor_w * dt_s;
        self.fan_j += u.fan_w * dt_s;
        self.sensible_j += u.sensible_w * dt_s;
        self.latent_j += u.latent_w * dt_s;
        self.moved_j += (u.sensible_w + u.latent_w).abs() * dt_s;
        self.condensate_kg += u.condensate_kg_s * dt_s;
        if u.speed > 0.0 {
            self.steady_j += u.steady_w * dt_s;
        }
    }

    fn measures(&self, _end_s: f64) -> Vec<Measure> {
        let electric = self.compressor_j + self.fan_j;
        let moved = self.moved_j;
        let energy = |key, title, j| Measure::new(key, title, "house", j, Dimension::Energy);
        let share = |key, title, f| {
            Measure::new(key, title, "house", f, Dimension::Fraction).less_is_better()
        };
        let mut cop = Measure::new(
            "cop_mean",
            "mean COP, fan included",
            "house",
            moved / electric,
            Dimension::Count,
        )
        .shown(Shown::Always);
        cop.good = Some(Side::AtLeast);
        vec![
            energy("energy_electric", "electricity, unit and fan", electric)
                .less_is_better()
                .shown(Shown::Always),
            energy("energy_fan", "electricity, fan alone", self.fan_j)
                .less_is_better()
                .shown(Shown::Always),
            share(
                "energy_fan_share",
                "fan's share of electricity",
                self.fan_j / electric,
            ),
            energy(
                "energy_sensible",
                "sensible heat removed, heating negative",
                self.sensible_j,
            ),
            energy("energy_latent", "latent heat removed", self.latent_j),
            cop,
            share(
                "cycling_loss",
                "output lost to start-up",
                (1.0 - moved / self.steady_j).max(0.0),
            ),
            Measure::new(
                "condensate",
                "condensate",
                "house",
                self.condensate_kg,
                Dimension::Mass,
            ),
        ]
    }
}
