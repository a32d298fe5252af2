//! Dampers made to a characteristic: `φ = φ_L + (φ_open − φ_L) f(u)`.

/// The characteristic and the loss when open.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Characterised {
    /// Loss coefficient when open.
    pub open_c: f64,
    /// Rangeability R of `f = (R^u − 1)/(R − 1)`; `None` for the linear `f = u`.
    pub rangeability: Option<f64>,
}

impl Characterised {
    pub(super) fn open_conductance(&self) -> f64 {
        1.0 / self.open_c.sqrt()
    }

    pub(super) fn conductance(&self, opening: f64, closed: f64) -> f64 {
        let share = match self.rangeability {
            Some(range) => (range.powf(opening) - 1.0) / (range - 1.0),
            None => opening,
        };
        closed + (self.open_conductance() - closed) * share
    }

    pub(super) fn opening(&self, conductance: f64, closed: f64) -> f64 {
        let share = ((conductance - closed) / (self.open_conductance() - closed)).clamp(0.0, 1.0);
        match self.rangeability {
            Some(range) => (1.0 + share * (range - 1.0)).ln() / range.ln(),
            None => share,
        }
    }
}
