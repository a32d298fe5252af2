//! Air exchange through a doorway: buoyant two-way flow, and net flow from the air network.

/// Acceleration of gravity, m/s².
const GRAVITY: f64 = 9.80665;

/// An opening between two rooms through which air of different temperature exchanges.
///
/// Buoyant two-way flow each way, m³/s (Brown & Solvason 1962):
/// `V = (Cd/3)·W·√(g H³ ΔT / T̄)`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Doorway {
    /// Width of the opening, m.
    pub width_m: f64,
    /// Height of the opening, m.
    pub height_m: f64,
    /// Discharge coefficient; 0.6 is the sharp-opening value (Hunt & Holford 2000), 0.4 to 0.65 in use.
    pub discharge: f64,
}

impl Doorway {
    /// The factor `k` of `V = k·√ΔT` at mean absolute temperature `mean_k`, m³/s per √K.
    pub fn exchange_factor(&self, mean_k: f64) -> f64 {
        self.discharge / 3.0 * self.width_m * (GRAVITY * self.height_m.powi(3) / mean_k).sqrt()
    }
}

/// Splits a two-way exchange that a net flow partly suppresses into its two one-way flows.
///
/// `both_ways` is the exchange without net flow and `net` the flow from `a` to `b` (any one unit).
/// Returns `(a to b, b to a)`, both ≥ 0, whose difference is exactly `net`.
/// The weaker side is `max(0, both_ways − |net|/2)`: common practice, no source.
pub fn with_net_flow(both_ways: f64, net: f64) -> (f64, f64) {
    let weaker = (both_ways - 0.5 * net.abs()).max(0.0);
    if net >= 0.0 {
        (weaker + net, weaker)
    } else {
        (weaker, weaker - net)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// Splitting a doorway's flow never makes air: the two ways differ by exactly the net flow.
        #[test]
        fn net_flow_is_kept(both in 0.0..1.0_f64, net in -1.0..1.0_f64) {
            let (out, back) = with_net_flow(both, net);
            prop_assert!(out >= 0.0 && back >= 0.0);
            prop_assert!((out - back - net).abs() < 1e-15);
        }
    }
}
