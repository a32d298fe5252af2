//! The list of damper kinds.

use super::Form;
use super::blade::Blade;
use super::characterised::Characterised;

/// A named damper.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Kind {
    /// Name as written in scenario files.
    pub name: &'static str,
    /// Its formula.
    pub form: Form,
    /// What the formula was fitted to, and how well.
    ///
    /// Published tables of the "same" damper differ by up to ±20 % in flow.
    pub source: &'static str,
}

/// Every damper known by name; the first is the default.
pub const KINDS: &[Kind] = &[
    Kind {
        name: "round",
        form: blade(0.72, 1.10, 0.0, None),
        source: "tight round disc: Weisbach's table as quoted by Idelchik, within 9 % of flow",
    },
    Kind {
        name: "round handbook",
        form: blade(0.61, 0.85, 0.13, None),
        source: "round butterfly, ASHRAE/SMACNA CD9-1, within 9 % of flow to 70°",
    },
    Kind {
        name: "round handbook, leaky",
        form: blade(0.7175, 1.0944, 0.4208, Some(0.04361)),
        source: "round butterfly, ASHRAE/SMACNA CD9-1, within 4 % of flow; leaks as that table does",
    },
    Kind {
        name: "opposed",
        form: blade(0.58, 0.94, 0.0, None),
        source: "opposed blades, ASHRAE/SMACNA, L/R 0.5 (from memory), within 11 % of flow",
    },
    Kind {
        name: "opposed, leaky",
        form: blade(0.6648, 1.3731, 0.2719, Some(0.03591)),
        source: "opposed blades, ASHRAE/SMACNA, L/R 1.0 (from memory), within 10 % of flow; leaks as that table does",
    },
    Kind {
        name: "parallel",
        form: blade(0.57, 0.55, 0.0, None),
        source: "parallel blades, ASHRAE/SMACNA, L/R 0.5 (from memory), within 8 % of flow",
    },
    Kind {
        name: "parallel, many blades",
        form: blade(0.57, 0.60, 0.0, None),
        source: "parallel blades, ASHRAE/SMACNA, L/R 1.0 (from memory), within 5 % of flow",
    },
    Kind {
        name: "single blade",
        form: blade(0.80, 0.98, 0.0, None),
        source: "rectangular single blade, ASHRAE/SMACNA CR9-1, within 27 % of flow",
    },
    Kind {
        name: "single blade, leaky",
        form: blade(0.8277, 1.2876, 0.0, Some(0.06145)),
        source: "rectangular single blade, ASHRAE/SMACNA CR9-1, within 7 % of flow; leaks as that table does",
    },
    Kind {
        name: "linear",
        form: Form::Characterised(Characterised {
            open_c: 0.2,
            rangeability: None,
        }),
        source: "conductance in proportion to opening; open loss is common practice, no source",
    },
    Kind {
        name: "equal percentage",
        form: Form::Characterised(Characterised {
            open_c: 0.2,
            rangeability: Some(50.0),
        }),
        source: "valve practice, rangeability 30 to 50 (from memory)",
    },
];

const fn blade(contraction: f64, exponent: f64, fixed_c: f64, own_leak: Option<f64>) -> Form {
    Form::Blade(Blade {
        contraction,
        exponent,
        fixed_c,
        own_leak,
    })
}
