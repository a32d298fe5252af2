//! Meters that prove a run: what was stored against what crossed the boundary.

use serde::Serialize;

/// Adds up what crosses a boundary, and says how well it accounts for the change of store.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Meter {
    net: f64,
    throughput: f64,
}

impl Meter {
    /// Counts a flow (W or kg/s, inward positive) that lasts `dt_s`.
    pub fn add(&mut self, flow: f64, dt_s: f64) {
        self.net += flow * dt_s;
        self.throughput += flow.abs() * dt_s;
    }

    /// Counts flows already added up, that last `dt_s`.
    pub fn add_all(&mut self, tallies: &[Tally], dt_s: f64) {
        let net: f64 = tallies.iter().map(|t| t.net).sum();
        let throughput: f64 = tallies.iter().map(|t| t.throughput).sum();
        self.net += net * dt_s;
        self.throughput += throughput * dt_s;
    }

    /// The balance after the store has changed by `stored` (J or kg).
    pub fn closure(&self, stored: f64) -> Closure {
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
pub struct Tally {
    net: f64,
    throughput: f64,
}

impl Tally {
    /// Adds a flow.
    #[inline]
    pub fn add(&mut self, flow: f64) {
        self.net += flow;
        self.throughput += flow.abs();
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
