//! Sound that a grille makes of the air leaving it.
//!
//! `Lw = 10 + 10 lg S + 30 lg ξ + 60 lg u` with a spectrum about `160 u` Hz (Beranek and Vér;
//! Reynolds; from memory, the imperial constant −31.3 converts to 9.98). Pressure follows the
//! square of flow, so twice the flow is 18 dB. This power enters the room directly: no end
//! reflection belongs on it.

use std::sync::LazyLock;

use super::octave::{AIR_DENSITY_KG_M3, OCTAVE_HZ, Octaves, db_to_energy, scaled};

/// Outline of a grille, which sets its spectrum.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum GrilleShape {
    /// Round diffuser.
    Round,
    /// Rectangular register or slot.
    Rectangular,
}

/// A grille as a source of sound.
#[derive(Debug, Clone, PartialEq)]
pub struct GrilleSpec {
    /// Face area, m²; its velocity is flow over this.
    pub area_m2: f64,
    /// Pressure loss over the velocity pressure at the face.
    pub loss_coefficient: f64,
    /// Outline.
    pub shape: GrilleShape,
    /// Added for a bend or kinked duct less than three diameters upstream, dB; common practice is
    /// 5 to 10, none for a straight approach.
    pub disturbed_db: f64,
    /// The maker's octave sound power at one flow, which replaces the formula where given.
    pub rated: Option<RatedGrille>,
}

/// A maker's sound power for a grille, scaled with the sixth power of flow.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RatedGrille {
    /// Sound power level per octave, dB re 1 pW.
    pub level_db: Octaves,
    /// Flow it was rated at, m³/s.
    pub flow_m3_s: f64,
}

/// Face velocity a register is chosen for where nothing is said, m/s (common practice).
pub(crate) const DESIGN_FACE_M_S: f64 = 2.0;
/// Pressure loss of a register at [`DESIGN_FACE_M_S`], Pa (common practice).
pub(crate) const DESIGN_DROP_PA: f64 = 15.0;

/// Loss coefficient for a drop in Pa at a face velocity in m/s.
pub(crate) fn loss_coefficient(drop_pa: f64, velocity_m_s: f64) -> f64 {
    drop_pa / (0.5 * AIR_DENSITY_KG_M3 * velocity_m_s * velocity_m_s)
}

impl GrilleSpec {
    /// A rectangular register of `area_m2` that loses 15 Pa at 2 m/s.
    pub fn register(area_m2: f64) -> Self {
        Self {
            area_m2,
            loss_coefficient: loss_coefficient(DESIGN_DROP_PA, DESIGN_FACE_M_S),
            shape: GrilleShape::Rectangular,
            disturbed_db: 0.0,
            rated: None,
        }
    }

    /// A rectangular register sized for `design_flow_m3_s` at 2 m/s.
    pub fn for_flow(design_flow_m3_s: f64) -> Self {
        Self::register(design_flow_m3_s / DESIGN_FACE_M_S)
    }

    /// Sound power level per octave, dB re 1 pW, by the formula itself. Minus infinity at rest.
    pub fn level_db(&self, flow_m3_s: f64) -> Octaves {
        let velocity = flow_m3_s.abs() / self.area_m2;
        if velocity.is_nan() || velocity <= 0.0 {
            return [f64::NEG_INFINITY; 8];
        }
        if let Some(rated) = &self.rated {
            let more_db = 60.0 * (flow_m3_s.abs() / rated.flow_m3_s).log10() + self.disturbed_db;
            return rated.level_db.map(|l| l + more_db);
        }
        let total_db = self.total_unit_db() + 60.0 * velocity.log10();
        let spectrum = spectrum_db(self.shape, velocity);
        spectrum.map(|c| total_db + c)
    }

    /// Level of the whole spectrum at 1 m/s, dB, before the octave terms.
    fn total_unit_db(&self) -> f64 {
        10.0 + 10.0 * self.area_m2.log10()
            + 30.0 * self.loss_coefficient.log10()
            + self.disturbed_db
    }
}

/// Octave terms at a velocity in m/s, dB. The source steps by whole octaves; the continuous form
/// leaves no jumps.
fn spectrum_db(shape: GrilleShape, velocity_m_s: f64) -> Octaves {
    let base = match shape {
        GrilleShape::Round => -5.82,
        GrilleShape::Rectangular => -11.82,
    };
    OCTAVE_HZ.map(|f| {
        let above = (160.0 * velocity_m_s / f).log2();
        base - 0.15 * above - 1.13 * above * above
    })
}

// The spectrum is tabulated at sixteen velocities in each doubling, found from the bits of the
// number: exponent and first four bits of the mantissa name the row, the rest is how far along.
const LOWEST_M_S: f64 = 0.0625;
const DOUBLINGS: usize = 9;
const ROWS: usize = 16 * DOUBLINGS;
const ROW_SHIFT: u32 = 48;
const REST: u64 = (1 << ROW_SHIFT) - 1;

type Table = [Octaves; ROWS + 1];

static ROUND: LazyLock<Box<Table>> = LazyLock::new(|| table(GrilleShape::Round));
static RECTANGULAR: LazyLock<Box<Table>> = LazyLock::new(|| table(GrilleShape::Rectangular));

fn table(shape: GrilleShape) -> Box<Table> {
    Box::new(std::array::from_fn(|row| {
        let doubling = (0..row / 16).fold(LOWEST_M_S, |u, _| 2.0 * u);
        let velocity = doubling * (1.0 + (row % 16) as f64 / 16.0);
        spectrum_db(shape, velocity).map(db_to_energy)
    }))
}

/// Row below a velocity, and the fraction of the way to the next. Clamped to 1/16 .. 32 m/s.
#[inline]
fn row_of(velocity_m_s: f64) -> (usize, f64) {
    let first = LOWEST_M_S.to_bits() >> ROW_SHIFT;
    let bits = velocity_m_s.max(LOWEST_M_S).to_bits();
    let row = ((bits >> ROW_SHIFT) - first) as usize;
    if row < ROWS {
        (
            row,
            (bits & REST) as f64 * (1.0 / (1u64 << ROW_SHIFT) as f64),
        )
    } else {
        (ROWS - 1, 1.0)
    }
}

/// A grille with everything that does not change worked out: gives its energy without logarithms.
///
/// Within 0.12 dB of [`GrilleSpec::level_db`] from 1/16 to 32 m/s, 0.03 dB in the octaves that
/// matter; outside that range the spectrum keeps the shape of the end.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct GrilleSource {
    per_area: f64,
    unit: Octaves,
    spectrum: Option<&'static Table>,
}

impl GrilleSource {
    /// The grille's own sound power, pW.
    pub(crate) fn new(spec: &GrilleSpec) -> Self {
        let per_area = spec.area_m2.recip();
        let Some(rated) = &spec.rated else {
            let spectrum: &'static Table = match spec.shape {
                GrilleShape::Round => &ROUND,
                GrilleShape::Rectangular => &RECTANGULAR,
            };
            let unit = [db_to_energy(spec.total_unit_db()); 8];
            return Self {
                per_area,
                unit,
                spectrum: Some(spectrum),
            };
        };
        let sixth = (rated.flow_m3_s * per_area).powi(6);
        let unit = rated
            .level_db
            .map(|l| db_to_energy(l + spec.disturbed_db) / sixth);
        Self {
            per_area,
            unit,
            spectrum: None,
        }
    }

    /// The same grille heard through `gain`, energy received per energy sent.
    pub(crate) fn through(mut self, gain: &Octaves) -> Self {
        for (unit, g) in self.unit.iter_mut().zip(gain) {
            *unit *= g;
        }
        self
    }

    /// Its energy, with `flow_m3_s` through it.
    #[inline(always)]
    pub(crate) fn energy(&self, flow_m3_s: f64) -> Octaves {
        let velocity = flow_m3_s.abs() * self.per_area;
        let square = velocity * velocity;
        let sixth = square * square * square;
        let mut energy = self.unit;
        if let Some(table) = self.spectrum {
            let (row, along) = row_of(velocity);
            let (here, next) = (&table[row], &table[row + 1]);
            for (band, energy) in energy.iter_mut().enumerate() {
                *energy *= here[band] + along * (next[band] - here[band]);
            }
        }
        scaled(&energy, sixth)
    }
}

#[cfg(test)]
mod tests {
    use super::super::octave::energy_to_db;
    use super::*;

    #[test]
    fn the_table_follows_the_formula() {
        for shape in [GrilleShape::Round, GrilleShape::Rectangular] {
            let spec = GrilleSpec {
                shape,
                ..GrilleSpec::register(0.045)
            };
            let source = GrilleSource::new(&spec);
            let mut velocity = LOWEST_M_S;
            while velocity < 32.0 {
                let flow = velocity * spec.area_m2;
                let power = source.energy(flow);
                for (band, exact) in spec.level_db(flow).iter().enumerate() {
                    let error = energy_to_db(power[band]) - exact;
                    let peak = 160.0 * velocity / OCTAVE_HZ[band];
                    let limit = if (0.25..4.0).contains(&peak) {
                        0.03
                    } else {
                        0.12
                    };
                    assert!(error.abs() < limit, "{velocity} m/s, band {band}: {error}");
                }
                velocity *= 1.0037;
            }
        }
    }

    #[test]
    fn beyond_the_table_nothing_breaks() {
        let source = GrilleSource::new(&GrilleSpec::register(0.045));
        for velocity in [0.0, 1e-300, 1e-9, 31.999_999, 32.0, 500.0] {
            let power = source.energy(velocity * 0.045);
            assert!(
                power.iter().all(|p| p.is_finite() && *p >= 0.0),
                "{velocity}"
            );
        }
        assert_eq!(row_of(0.0625), (0, 0.0));
        assert_eq!(row_of(1.0), (64, 0.0));
        assert_eq!(row_of(3.0), (88, 0.0));
        assert_eq!(row_of(f64::NAN), (0, 0.0));
    }
}
