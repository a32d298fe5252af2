//! A turning blade: vena contracta and sudden expansion behind its projected free area.

use std::f64::consts::FRAC_PI_4;

/// Parameters of the blade formula
/// `α = α_L + (1 − α_L)(1 − sin θ)^m`, `C = C_f + (1/(μα) − 1)²`, our own derivation fitted to
/// published loss tables (the list of kinds names them).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Blade {
    /// Contraction coefficient μ of the jet, between 0 and 1.
    pub contraction: f64,
    /// Exponent m of the free area.
    pub exponent: f64,
    /// Fixed loss C_f of spindle and body.
    pub fixed_c: f64,
    /// Free-area ratio when closed as the source's own damper leaked it; `None` takes the
    /// leakage class instead.
    pub own_leak: Option<f64>,
}

impl Blade {
    /// Conductance when the free-area ratio is `area`.
    pub(super) fn conductance_of_area(&self, area: f64) -> f64 {
        let expansion = 1.0 / (self.contraction * area) - 1.0;
        1.0 / (self.fixed_c + expansion * expansion).sqrt()
    }

    fn area_of_conductance(&self, conductance: f64) -> f64 {
        let loss = 1.0 / (conductance * conductance) - self.fixed_c;
        1.0 / (self.contraction * (1.0 + loss.max(0.0).sqrt()))
    }

    /// Free-area ratio left when closed, for a leakage of the given conductance.
    pub(super) fn closed_area(&self, leak_conductance: f64) -> f64 {
        self.own_leak
            .unwrap_or_else(|| self.area_of_conductance(leak_conductance))
    }

    pub(super) fn conductance(&self, opening: f64, closed_area: f64) -> f64 {
        // 1 − sin θ = 1 − cos(πu/2) = 2 sin²(πu/4), which keeps its digits near closed.
        let half = (FRAC_PI_4 * opening).sin();
        let projected = (2.0 * half * half).powf(self.exponent);
        self.conductance_of_area(closed_area + (1.0 - closed_area) * projected)
    }

    pub(super) fn opening(&self, conductance: f64, closed_area: f64) -> f64 {
        let area = self.area_of_conductance(conductance);
        let projected = ((area - closed_area) / (1.0 - closed_area)).clamp(0.0, 1.0);
        let half = (0.5 * projected.powf(1.0 / self.exponent)).sqrt();
        half.asin() / FRAC_PI_4
    }
}
