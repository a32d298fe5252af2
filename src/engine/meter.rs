//! Meters that prove a run: what was stored against what crossed the boundary.

use serde::Serialize;

use crate::math::lanes::{Lanes, sum};

/// Adds up what crosses a boundary, and says how well it accounts for the change of store.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Meter {
    /// What was stored when the meter started, J or kg.
    stored: f64,
    net: f64,
    throughput: f64,
}

impl Meter {
    /// A meter that starts with so much stored, J or kg.
    pub(crate) fn starting_at(stored: f64) -> Meter {
        Meter {
            stored,
            ..Meter::default()
        }
    }

    /// Counts flows already added up, that last `dt_s`.
    pub(crate) fn add(&mut self, flows: Tally, dt_s: f64) {
        self.net += flows.net * dt_s;
        self.throughput += flows.throughput * dt_s;
    }

    /// The balance now that `stored` is stored (J or kg).
    pub(crate) fn closure(&self, stored: f64) -> Closure {
        let stored = stored - self.stored;
        let residual = stored - self.net;
        Closure {
            stored,
            net_inflow: self.net,
            throughput: self.throughput,
            residual,
            relative: if self.throughput > 0.0 {
                residual.abs() / self.throughput
            } else {
                0.0
            },
        }
    }
}

/// Flows of one instant added up (W or kg/s, inward positive), with and without their signs.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Tally {
    net: f64,
    throughput: f64,
}

impl Tally {
    /// Adds a flow.
    #[inline]
    pub(crate) fn add(&mut self, flow: f64) {
        self.net += flow;
        self.throughput += flow.abs();
    }
}

/// The same for rooms taken by blocks.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct LaneTally {
    net: Lanes,
    throughput: Lanes,
}

impl LaneTally {
    /// Adds flows of a block of rooms.
    #[inline]
    pub(crate) fn add<const N: usize>(&mut self, flows: [Lanes; N]) {
        for flow in flows {
            self.net += flow;
            self.throughput += flow.abs();
        }
    }

    /// All rooms together.
    #[inline]
    pub(crate) fn total(&self) -> Tally {
        Tally {
            net: sum(self.net),
            throughput: sum(self.throughput),
        }
    }
}

/// How a balance closed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Closure {
    /// Change of what is stored, J or kg.
    pub stored: f64,
    /// Sum of everything that crossed the boundary, inward positive, J or kg.
    pub net_inflow: f64,
    /// The same without signs.
    pub throughput: f64,
    /// Stored less net inflow.
    pub residual: f64,
    /// The residual as a share of the throughput.
    pub relative: f64,
}
