//! Units that people read on figures. Inside, everything stays SI.

pub use crate::quantity::{Dimension as Quantity, UnitSystem};

impl UnitSystem {
    /// An SI value as text with its unit; see [`UnitSystem::show`].
    pub fn text(self, quantity: Quantity, si: f64) -> String {
        self.show(si, quantity)
    }
}
