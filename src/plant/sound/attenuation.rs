//! What ducts, bends and branchings take from sound on its way, in dB to subtract.
//!
//! Tables and formulae of the ASHRAE handbooks; each says whether a second text agrees or whether
//! it is from memory. One [`Element`] is one piece, a path is a slice of them.

use super::octave::{OCTAVE_HZ, Octaves, add};

const FOOT_M: f64 = 0.3048;
const INCH_M: f64 = 0.0254;

/// Most that the lined pieces of a path may take together, per octave, dB (common practice):
/// beyond it sound goes round through the duct walls.
pub(crate) const LINED_LIMIT_DB: f64 = 40.0;

/// Longest lined flexible duct that counts, m (common practice): loss a metre falls off beyond.
pub(crate) const FLEXIBLE_LIMIT_M: f64 = 3.7;

/// One piece of the way from the fan, or from a damper, to an opening. Lengths in m.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Element {
    /// Straight rectangular duct; `lining_m` of porous lining, zero if bare.
    Rectangular {
        /// Width, m.
        width_m: f64,
        /// Height, m.
        height_m: f64,
        /// Length, m.
        length_m: f64,
        /// Thickness of lining, m; zero for bare metal.
        lining_m: f64,
    },
    /// Straight round duct; `lining_m` of porous lining, zero if bare.
    Round {
        /// Diameter inside, m.
        diameter_m: f64,
        /// Length, m.
        length_m: f64,
        /// Thickness of lining, m; zero for bare metal.
        lining_m: f64,
    },
    /// Insulated flexible duct.
    Flexible {
        /// Diameter inside, m.
        diameter_m: f64,
        /// Length, m; what lies beyond 3.7 m counts nothing.
        length_m: f64,
        /// False for an airtight plastic core, which takes half as much (common practice).
        porous_core: bool,
    },
    /// Bend of 90°.
    Elbow {
        /// Kind of bend.
        kind: Elbow,
        /// Width in the plane of the bend, or the diameter, m.
        width_m: f64,
    },
    /// Division of a trunk among branches by their areas, which are fixed: a shut damper does not
    /// hand its share of sound to the others.
    Branch {
        /// Area of this branch, m².
        branch_m2: f64,
        /// Area of all branches together, m².
        branches_m2: f64,
        /// Area of the trunk before them, m².
        trunk_m2: f64,
    },
    /// Sudden change of area.
    AreaStep {
        /// Area before, m².
        from_m2: f64,
        /// Area after, m².
        to_m2: f64,
    },
    /// Loss known from elsewhere, dB per octave: a silencer, a lined box.
    Given(Octaves),
}

/// Kinds of 90° bend.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Elbow {
    /// Square, unlined, without vanes.
    Square,
    /// Square, lined, without vanes.
    SquareLined,
    /// Square, unlined, with turning vanes.
    SquareVaned,
    /// Round, unlined.
    Round,
}

impl Element {
    /// Loss of this piece alone, dB per octave.
    pub fn loss_db(&self) -> Octaves {
        match *self {
            Self::Rectangular {
                width_m,
                height_m,
                length_m,
                lining_m,
            } => {
                let bare = bare_rectangular_db_m(width_m, height_m);
                let lining = rectangular_lining_db_m(width_m, height_m, lining_m);
                let loss = add(&bare, &lining).map(|a| a * length_m);
                if lining_m > 0.0 {
                    loss.map(|l| l.min(LINED_LIMIT_DB))
                } else {
                    loss
                }
            }
            Self::Round {
                diameter_m,
                length_m,
                lining_m,
            } => {
                if lining_m > 0.0 {
                    let lined = lined_round_db_m(diameter_m, lining_m);
                    lined.map(|a| (a * length_m).min(LINED_LIMIT_DB))
                } else {
                    bare_round_db_m(diameter_m).map(|a| a * length_m)
                }
            }
            Self::Flexible {
                diameter_m,
                length_m,
                porous_core,
            } => {
                let share = if porous_core { 1.0 } else { 0.5 };
                flexible_db(diameter_m, length_m).map(|a| (share * a).min(LINED_LIMIT_DB))
            }
            Self::Elbow { kind, width_m } => elbow_db(kind, width_m),
            Self::Branch {
                branch_m2,
                branches_m2,
                trunk_m2,
            } => {
                let m = branches_m2 / trunk_m2;
                let reflected = (m - 1.0) / (m + 1.0);
                let share = branch_m2 / branches_m2;
                [-10.0 * share.log10() - 10.0 * (1.0 - reflected * reflected).log10(); 8]
            }
            Self::AreaStep { from_m2, to_m2 } => {
                let m = to_m2 / from_m2;
                [10.0 * ((1.0 + m) * (1.0 + m) / (4.0 * m)).log10(); 8]
            }
            Self::Given(loss_db) => loss_db,
        }
    }

    fn is_lined(&self) -> bool {
        match *self {
            Self::Rectangular { lining_m, .. } | Self::Round { lining_m, .. } => lining_m > 0.0,
            Self::Flexible { .. } => true,
            _ => false,
        }
    }

    /// Name and value of the first dimension that cannot be, if there is one.
    pub(super) fn fault(&self) -> Option<(&'static str, f64)> {
        let (positive, from_zero): (&[_], &[_]) = match *self {
            Self::Rectangular {
                width_m,
                height_m,
                length_m,
                lining_m,
            } => (
                &[("width_m", width_m), ("height_m", height_m)],
                &[("length_m", length_m), ("lining_m", lining_m)],
            ),
            Self::Round {
                diameter_m,
                length_m,
                lining_m,
            } => (
                &[("diameter_m", diameter_m)],
                &[("length_m", length_m), ("lining_m", lining_m)],
            ),
            Self::Flexible {
                diameter_m,
                length_m,
                ..
            } => (&[("diameter_m", diameter_m)], &[("length_m", length_m)]),
            Self::Elbow { width_m, .. } => (&[("width_m", width_m)], &[]),
            Self::Branch {
                branch_m2,
                branches_m2,
                trunk_m2,
            } => (
                &[
                    ("branch_m2", branch_m2),
                    ("branches_m2", branches_m2),
                    ("trunk_m2", trunk_m2),
                ],
                &[(
                    "branches_m2 - branch_m2",
                    branches_m2 - branch_m2 + 1e-9 * branches_m2,
                )],
            ),
            Self::AreaStep { from_m2, to_m2 } => (&[("from_m2", from_m2), ("to_m2", to_m2)], &[]),
            Self::Given(loss) => {
                return loss.iter().find(|l| !l.is_finite()).map(|&l| ("loss", l));
            }
        };
        let bad = |least: bool| {
            move |&&(_, v): &&(&'static str, f64)| {
                !(v.is_finite() && (v > 0.0 || least && v == 0.0))
            }
        };
        positive
            .iter()
            .find(bad(false))
            .or_else(|| from_zero.iter().find(bad(true)))
            .copied()
    }
}

/// Loss of a whole path, dB per octave, its lined pieces together held to [`LINED_LIMIT_DB`].
pub(crate) fn path_loss_db(path: &[Element]) -> Octaves {
    let sum = |lined: bool| {
        let pieces = path.iter().filter(|e| e.is_lined() == lined);
        pieces.fold([0.0; 8], |loss, e| add(&loss, &e.loss_db()))
    };
    add(&sum(false), &sum(true).map(|l| l.min(LINED_LIMIT_DB)))
}

/// Perimeter over area, 1/ft, as the published forms want it.
fn perimeter_area_ft(width_m: f64, height_m: f64) -> f64 {
    2.0 * (width_m + height_m) / (width_m * height_m) * FOOT_M
}

/// Bare rectangular sheet metal, dB/m (ASHRAE formula).
pub(crate) fn bare_rectangular_db_m(width_m: f64, height_m: f64) -> Octaves {
    let pa = perimeter_area_ft(width_m, height_m);
    OCTAVE_HZ.map(|f| {
        let db_ft = if f > 250.0 {
            0.02 * pa.powf(0.8)
        } else if pa >= 3.0 {
            17.0 * pa.powf(-0.25) * f.powf(-0.85)
        } else {
            1.64 * pa.powf(0.73) * f.powf(-0.58)
        };
        db_ft / FOOT_M
    })
}

/// What a porous lining adds to a rectangular duct, dB/m: `B (P/A)^C t^D`, which with the bare
/// duct repeats a printed 25 mm table to 0.01 dB/ft for P/A from 1 to 9 per foot.
///
/// The form was made for 25 to 50 mm. Thicker counts as 50 mm; thinner, our own choice, in
/// proportion to 25 mm.
pub(crate) fn rectangular_lining_db_m(width_m: f64, height_m: f64, lining_m: f64) -> Octaves {
    const B: Octaves = [0.0133, 0.0574, 0.271, 1.0147, 1.77, 1.392, 1.518, 1.581];
    const C: Octaves = [1.959, 1.410, 0.824, 0.500, 0.695, 0.802, 0.451, 0.219];
    const D: Octaves = [0.917, 0.941, 1.079, 1.087, 0.0, 0.0, 0.0, 0.0];
    let pa = perimeter_area_ft(width_m, height_m);
    let inches = lining_m / INCH_M;
    let (thin, inches) = (inches.clamp(0.0, 1.0), inches.clamp(1.0, 2.0));
    std::array::from_fn(|b| thin * B[b] * pa.powf(C[b]) * inches.powf(D[b]) / FOOT_M)
}

/// Bare round sheet metal, dB/m, by diameter (ASHRAE table): 180 to 380 mm as a secondary text
/// has it, the rest from memory, 8 kHz as 4 kHz where none is published.
pub(crate) fn bare_round_db_m(diameter_m: f64) -> Octaves {
    match diameter_m {
        d if d < 0.18 => [0.10, 0.10, 0.16, 0.16, 0.33, 0.33, 0.33, 0.33],
        d if d < 0.38 => [0.10, 0.10, 0.10, 0.16, 0.23, 0.23, 0.23, 0.26],
        d if d < 0.76 => [0.07, 0.07, 0.07, 0.10, 0.16, 0.16, 0.16, 0.16],
        _ => [0.03, 0.03, 0.03, 0.07, 0.07, 0.07, 0.07, 0.07],
    }
}

/// Lined round duct, dB/m in all, by the published polynomial in inches.
///
/// Its coefficients are from memory; they repeat sixteen printed values, 150 and 200 mm with
/// 25 mm of lining. Diameters are held to 150 .. 1500 mm and lining to 25 .. 75 mm; thinner
/// lining, our own choice, counts in proportion to 25 mm.
pub(crate) fn lined_round_db_m(diameter_m: f64, lining_m: f64) -> Octaves {
    const A: [[f64; 6]; 8] = [
        [0.2825, 0.3447, -5.251e-2, -3.837e-2, 9.1315e-4, -8.294e-6],
        [0.5237, 0.2234, -4.936e-3, -2.724e-2, 3.377e-4, -2.490e-6],
        [0.3652, 0.7900, -0.1157, -1.834e-2, -1.211e-4, 2.681e-6],
        [0.1333, 1.8450, -0.3735, -1.293e-2, 8.624e-5, -4.986e-6],
        [1.9330, 0.0, 0.0, 6.135e-2, -3.891e-3, 3.934e-5],
        [2.7300, 0.0, 0.0, -7.341e-2, 4.428e-4, 1.006e-6],
        [2.8000, 0.0, 0.0, -0.1467, 3.404e-3, -2.851e-5],
        [1.5450, 0.0, 0.0, -5.452e-2, 1.290e-3, -1.318e-5],
    ];
    let d = (diameter_m / INCH_M).clamp(6.0, 60.0);
    let inches = lining_m / INCH_M;
    let (thin, t) = (inches.clamp(0.0, 1.0), inches.clamp(1.0, 3.0));
    A.map(|[a0, a1, a2, a3, a4, a5]| {
        let db_ft = a0 + t * (a1 + t * a2) + d * (a3 + d * (a4 + d * a5));
        thin * db_ft.max(0.0) / FOOT_M
    })
}

/// Lined, insulated flexible duct with a porous core, dB in all, at 0, 0.9, 1.8, 2.7 and 3.7 m
/// (ASHRAE and AHRI 885 table, from memory; 8 kHz as 4 kHz). Rows by length, bands 63 Hz to 4 kHz.
type FlexibleTable = [[f64; 7]; 5];

const FLEXIBLE_LENGTHS_M: [f64; 5] = [0.0, 0.9, 1.8, 2.7, FLEXIBLE_LIMIT_M];

const FLEXIBLE: [(f64, FlexibleTable); 4] = [
    (
        0.150,
        [
            [0.0; 7],
            [2.0, 3.0, 4.0, 8.0, 10.0, 10.0, 7.0],
            [4.0, 6.0, 9.0, 17.0, 19.0, 20.0, 13.0],
            [6.0, 9.0, 13.0, 25.0, 29.0, 30.0, 20.0],
            [8.0, 12.0, 17.0, 33.0, 38.0, 40.0, 26.0],
        ],
    ),
    (
        0.200,
        [
            [0.0; 7],
            [2.0, 3.0, 5.0, 8.0, 9.0, 9.0, 6.0],
            [4.0, 6.0, 11.0, 17.0, 19.0, 19.0, 12.0],
            [6.0, 8.0, 16.0, 25.0, 28.0, 28.0, 18.0],
            [8.0, 11.0, 21.0, 33.0, 37.0, 37.0, 24.0],
        ],
    ),
    (
        0.250,
        [
            [0.0; 7],
            [2.0, 3.0, 6.0, 8.0, 9.0, 9.0, 5.0],
            [4.0, 5.0, 11.0, 16.0, 18.0, 17.0, 11.0],
            [6.0, 8.0, 17.0, 24.0, 27.0, 26.0, 16.0],
            [8.0, 10.0, 22.0, 32.0, 36.0, 34.0, 21.0],
        ],
    ),
    (
        0.300,
        [
            [0.0; 7],
            [2.0, 2.0, 5.0, 8.0, 9.0, 8.0, 5.0],
            [3.0, 5.0, 10.0, 15.0, 17.0, 16.0, 9.0],
            [5.0, 7.0, 15.0, 23.0, 26.0, 23.0, 14.0],
            [7.0, 9.0, 20.0, 30.0, 34.0, 31.0, 18.0],
        ],
    ),
];

/// Lined flexible duct with a porous core, dB in all: between the rows of the table in diameter
/// and in length, at its ends beyond 150 .. 300 mm and 3.7 m.
pub(crate) fn flexible_db(diameter_m: f64, length_m: f64) -> Octaves {
    let (row, along) = between(&FLEXIBLE_LENGTHS_M, length_m);
    let (size, across) = between(&FLEXIBLE.map(|(d, _)| d), diameter_m);
    let at = |table: &FlexibleTable, band: usize| {
        table[row][band] + along * (table[row + 1][band] - table[row][band])
    };
    std::array::from_fn(|band| {
        let band = band.min(6);
        let (narrow, wide) = (at(&FLEXIBLE[size].1, band), at(&FLEXIBLE[size + 1].1, band));
        narrow + across * (wide - narrow)
    })
}

/// Interval of ascending `points` that holds `x`, and the fraction along it, held to the ends.
fn between(points: &[f64], x: f64) -> (usize, f64) {
    let inner = &points[1..points.len() - 1];
    let i = inner.iter().filter(|&&p| x >= p).count();
    (
        i,
        ((x - points[i]) / (points[i + 1] - points[i])).clamp(0.0, 1.0),
    )
}

/// Bend of 90°, dB, by the product of frequency in kHz and width in mm (ASHRAE table, from memory).
pub(crate) fn elbow_db(kind: Elbow, width_m: f64) -> Octaves {
    const EDGES: [f64; 5] = [48.0, 96.0, 190.0, 380.0, 760.0];
    let steps = match kind {
        Elbow::Square => [0.0, 1.0, 5.0, 8.0, 4.0, 3.0],
        Elbow::SquareLined => [0.0, 1.0, 6.0, 11.0, 10.0, 10.0],
        Elbow::SquareVaned => [0.0, 1.0, 4.0, 6.0, 4.0, 4.0],
        Elbow::Round => [0.0, 1.0, 2.0, 3.0, 3.0, 3.0],
    };
    OCTAVE_HZ.map(|f| steps[EDGES.iter().filter(|&&edge| f * width_m >= edge).count()])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tables_are_met_at_their_rows_and_held_at_their_ends() {
        assert_eq!(between(&[0.0, 1.0, 3.0], 2.0), (1, 0.5));
        assert_eq!(between(&[0.0, 1.0, 3.0], -1.0), (0, 0.0));
        assert_eq!(between(&[0.0, 1.0, 3.0], 9.0), (1, 1.0));
        for (diameter, table) in FLEXIBLE {
            for (length, row) in FLEXIBLE_LENGTHS_M.into_iter().zip(table) {
                let loss = flexible_db(diameter, length);
                assert!(row.iter().zip(loss).all(|(a, b)| (a - b).abs() < 1e-9));
                assert_eq!(loss[7], loss[6]);
            }
        }
        assert_eq!(flexible_db(0.2, 12.0), flexible_db(0.2, FLEXIBLE_LIMIT_M));
        assert_eq!(flexible_db(0.5, 2.0), flexible_db(0.3, 2.0));
    }

    #[test]
    fn faults_are_named() {
        let elbow = Element::Elbow {
            kind: Elbow::Round,
            width_m: 0.0,
        };
        assert_eq!(elbow.fault(), Some(("width_m", 0.0)));
        let flex = Element::Flexible {
            diameter_m: 0.2,
            length_m: 0.0,
            porous_core: true,
        };
        assert_eq!(flex.fault(), None);
        let step = Element::AreaStep {
            from_m2: 0.1,
            to_m2: f64::INFINITY,
        };
        assert_eq!(step.fault(), Some(("to_m2", f64::INFINITY)));
    }
}
