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
