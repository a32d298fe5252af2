//! One line of evidence.

/// One comparison, with everything a reader needs to judge it. Figures are text already rounded, so
/// that machines that differ in the last bit print the same table.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// The part of the program that it watches.
    pub part: &'static str,
    /// What is compared.
    pub what: String,
    /// Who says so: a standard, a library, an exact solution; or "common practice, no source", or
    /// "from memory".
    pub source: String,
    /// This program's figure; of many points, the largest difference.
    pub ours: String,
    /// The outside figure; of many points, how many.
    pub theirs: String,
    /// Difference allowed.
    pub tolerance: String,
    /// Unit of the figures; "1" for a pure number.
    pub unit: &'static str,
    /// Whether the difference is within the tolerance.
    pub holds: bool,
    /// What else should be known.
    pub remark: String,
    /// The difference as computed, in the sense of the tolerance (relative, absolute, or how far
    /// outside the range); what the tests print when a row fails.
    pub difference: f64,
}

impl Row {
    /// One figure against another; `allowed` in the figures' unit.
    pub(super) fn figure(
        what: impl Into<String>,
        source: &str,
        (ours, theirs): (f64, f64),
        allowed: f64,
        unit: &'static str,
    ) -> Row {
        let digits = decimals(allowed);
        let difference = (ours - theirs).abs();
        Row {
            part: "",
            what: what.into(),
            source: source.into(),
            ours: fixed(ours, digits),
            theirs: fixed(theirs, digits),
            tolerance: if allowed > 0.0 {
                format!("± {}", short(allowed))
            } else {
                "exact".into()
            },
            unit,
            holds: difference <= allowed,
            remark: String::new(),
            difference,
        }
    }

    /// One figure against another; `share` is the relative difference allowed.
    pub(super) fn relative(
        what: impl Into<String>,
        source: &str,
        (ours, theirs): (f64, f64),
        share: f64,
        unit: &'static str,
    ) -> Row {
        let difference = (ours / theirs - 1.0).abs();
        let row = Row::figure(what, source, (ours, theirs), share * theirs.abs(), unit);
        Row {
            tolerance: format!("± {} %", short(100.0 * share)),
            holds: difference <= share,
            difference,
            ..row
        }
    }

    /// The largest of many differences. Far below the tolerance only that is said, for round-off is
    /// not the same on every machine.
    pub(super) fn largest(
        what: impl Into<String>,
        source: &str,
        worst: Worst,
        allowed: f64,
        unit: &'static str,
    ) -> Row {
        let floor = (1e-3 * allowed).max((0.1 * allowed).min(1e-9));
        let ours = if worst.difference <= floor {
            format!("below {}", short(floor))
        } else {
            short(worst.difference)
        };
        Row {
            part: "",
            what: what.into(),
            source: source.into(),
            ours: format!("largest difference {ours}"),
            theirs: match worst.count {
                1 => "1 value".into(),
                n => format!("{n} values"),
            },
            tolerance: short(allowed),
            unit,
            // A NaN among the differences must not pass.
            holds: worst.difference <= allowed && worst.count > 0,
            remark: String::new(),
            difference: worst.difference,
        }
    }

    /// A count of cases in which something held.
    pub(super) fn cases(what: impl Into<String>, source: &str, (held, of): (usize, usize)) -> Row {
        Row {
            part: "",
            what: what.into(),
            source: source.into(),
            ours: format!("{held} hold"),
            theirs: format!("{of} cases"),
            tolerance: "all".into(),
            unit: "1",
            holds: held == of && of > 0,
            remark: String::new(),
            difference: (of - held) as f64,
        }
    }

    /// A figure inside a range.
    pub(super) fn inside(
        what: impl Into<String>,
        source: &str,
        ours: f64,
        (low, high): (f64, f64),
        unit: &'static str,
    ) -> Row {
        let digits = decimals(0.01 * (high - low));
        Row {
            part: "",
            what: what.into(),
            source: source.into(),
            ours: fixed(ours, digits),
            theirs: format!("{} to {}", short(low), short(high)),
            tolerance: "inside the range".into(),
            unit,
            holds: (low..=high).contains(&ours),
            remark: String::new(),
            difference: (low - ours).max(ours - high).max(0.0),
        }
    }

    /// What could not be computed.
    pub(super) fn refused(why: &str) -> Row {
        let row = Row::figure("every row of the topic", "none", (f64::NAN, 0.0), 0.0, "1");
        row.remark(why)
    }

    /// The same row with the part it watches.
    pub(super) fn part(mut self, part: &'static str) -> Row {
        self.part = part;
        self
    }

    /// The same row with a remark.
    pub(super) fn remark(mut self, remark: impl Into<String>) -> Row {
        self.remark = remark.into();
        self
    }
}

/// The largest of many differences, and of how many.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Worst {
    pub(super) difference: f64,
    pub(super) count: usize,
}

impl Worst {
    /// Counts one absolute difference; NaN sticks.
    pub(super) fn add(&mut self, ours: f64, theirs: f64) {
        self.push((ours - theirs).abs());
    }

    /// Counts one relative difference.
    pub(super) fn add_relative(&mut self, ours: f64, theirs: f64) {
        self.push((ours / theirs - 1.0).abs());
    }

    /// Counts a difference as it is.
    pub(super) fn push(&mut self, difference: f64) {
        self.count += 1;
        // `max` would drop a NaN.
        self.difference = if difference.is_nan() || self.difference.is_nan() {
            f64::NAN
        } else {
            self.difference.max(difference)
        };
    }
}

/// Decimals that show a tenth of the allowed difference, within reason.
fn decimals(allowed: f64) -> usize {
    if allowed <= 0.0 {
        return 0;
    }
    (1.0 - allowed.log10()).ceil().clamp(0.0, 9.0) as usize
}

/// A number with a fixed number of decimals, never "-0".
pub(super) fn fixed(x: f64, decimals: usize) -> String {
    let text = format!("{x:.decimals$}");
    match text.strip_prefix('-') {
        Some(rest) if rest.chars().all(|c| c == '0' || c == '.') => rest.to_string(),
        _ => text,
    }
}

/// A number to two digits, or exactly when it has few.
pub(super) fn short(x: f64) -> String {
    if x == 0.0 || !x.is_finite() {
        return format!("{x}");
    }
    if x.abs() >= 100.0 {
        return format!("{x:.0}");
    }
    if x.abs() < 1e-3 {
        let text = format!("{x:.1e}");
        return text.replace(".0e", "e");
    }
    // Rounded to two significant digits, then printed as short as it goes.
    let places = (1.0 - x.abs().log10().floor()).max(0.0) as usize;
    let text = format!("{x:.places$}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_string()
    } else {
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_short() {
        for (x, text) in [
            (1e-6, "1e-6"),
            (0.0042, "0.0042"),
            (1.0, "1"),
            (12.34, "12"),
            (0.55, "0.55"),
            (440.0, "440"),
            (0.6, "0.6"),
        ] {
            assert_eq!(short(x), text);
        }
        assert_eq!(fixed(-0.0001, 2), "0.00");
    }

    #[test]
    fn what_is_not_a_number_never_holds() {
        let mut worst = Worst::default();
        worst.add(1.0, 1.0);
        worst.add(f64::NAN, 1.0);
        worst.add(1.0, 1.0);
        assert!(!Row::largest("x", "y", worst, 1.0, "1").holds);
        assert!(!Row::largest("x", "y", Worst::default(), 1.0, "1").holds);
        assert!(!Row::figure("x", "y", (f64::NAN, 1.0), 1.0, "1").holds);
        assert!(!Row::inside("x", "y", f64::NAN, (0.0, 1.0), "1").holds);
    }
}
