//! Starting ahead of a scheduled period, so that the zone is at its setpoint when the period begins.

/// How long a zone is expected to need.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum LeadLaw {
    /// First-order approach to an end temperature: t = tau ln((T0 - Tinf)/(Tset - Tinf)).
    /// Tinf is the end temperature at full output when all zones that start together share it.
    Exponential {
        /// Time constant, s.
        tau_s: f64,
        /// End temperature with full cooling, °C.
        cooling_end_c: f64,
        /// End temperature with full heating, °C.
        heating_end_c: f64,
    },
    /// A constant rate of change, learned from each recovery when `learning` is above zero.
    Slope {
        /// Rate when cooling, K/h, above zero.
        cooling_k_per_h: f64,
        /// Rate when heating, K/h, above zero.
        heating_k_per_h: f64,
        /// Weight of each new recovery in the learned rate, 0 (fixed) to 1.
        learning: f64,
    },
}

/// Optimum start of one zone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OptimumStart {
    /// How the lead is computed.
    pub law: LeadLaw,
    /// Longest lead, s; 2 to 3 h is common practice (no source).
    pub cap_s: f64,
}

/// The learned rates and the recovery being watched.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeadState {
    /// Rate in force when cooling, K/h.
    pub cooling_k_per_h: f64,
    /// Rate in force when heating, K/h.
    pub heating_k_per_h: f64,
    /// Start of the recovery under way: time s, reading °C, cooling.
    recovery: Option<(f64, f64, bool)>,
}

/// A recovery shorter than this says too little about the rate, s.
const SHORTEST_LESSON_S: f64 = 600.0;

/// Time for a first-order approach from `from_c` to `to_c` toward `end_c`, s. Zero when already
/// there or beyond; `None` when the end temperature does not reach the target.
///
/// Source: solution of the first-order equation (textbook).
pub(crate) fn exponential_lead_s(tau_s: f64, end_c: f64, from_c: f64, to_c: f64) -> Option<f64> {
    let (far, near) = (from_c - end_c, to_c - end_c);
    let ratio = far / near;
    if near == 0.0 || ratio.is_nan() || ratio <= 0.0 {
        None
    } else {
        Some((tau_s * ratio.ln()).max(0.0))
    }
}

impl OptimumStart {
    /// The state before anything is learned.
    pub fn initial_state(&self) -> LeadState {
        let (cooling_k_per_h, heating_k_per_h) = match self.law {
            LeadLaw::Slope {
                cooling_k_per_h,
                heating_k_per_h,
                ..
            } => (cooling_k_per_h, heating_k_per_h),
            LeadLaw::Exponential { .. } => (0.0, 0.0),
        };
        LeadState {
            cooling_k_per_h,
            heating_k_per_h,
            recovery: None,
        }
    }

    /// Lead needed to bring a reading of `from_c` to `to_c`, s, capped. A target out of reach
    /// takes the cap; an unknown reading takes none.
    pub fn lead_s(&self, cooling: bool, from_c: f64, to_c: f64, state: &LeadState) -> f64 {
        let needed = if cooling {
            from_c - to_c
        } else {
            to_c - from_c
        };
        if needed.is_nan() || needed <= 0.0 {
            return 0.0;
        }
        let lead = match self.law {
            LeadLaw::Exponential {
                tau_s,
                cooling_end_c,
                heating_end_c,
            } => {
                let end_c = if cooling {
                    cooling_end_c
                } else {
                    heating_end_c
                };
                exponential_lead_s(tau_s, end_c, from_c, to_c).unwrap_or(self.cap_s)
            }
            LeadLaw::Slope { .. } => {
                let rate = if cooling {
                    state.cooling_k_per_h
                } else {
                    state.heating_k_per_h
                };
                3600.0 * needed / rate
            }
        };
        lead.min(self.cap_s)
    }

    /// Notes that a recovery begins.
    pub fn begin(&self, t_s: f64, reading_c: f64, cooling: bool, state: &mut LeadState) {
        state.recovery = Some((t_s, reading_c, cooling));
    }

    /// Notes that the recovery has ended (setpoint reached, or period begun) and learns from it.
    pub fn finish(&self, t_s: f64, reading_c: f64, state: &mut LeadState) {
        let Some((from_s, from_c, cooling)) = state.recovery.take() else {
            return;
        };
        let LeadLaw::Slope { learning, .. } = self.law else {
            return;
        };
        let taken_s = t_s - from_s;
        let gained_k = if cooling {
            from_c - reading_c
        } else {
            reading_c - from_c
        };
        if taken_s < SHORTEST_LESSON_S || gained_k.is_nan() || gained_k <= 0.0 {
            return;
        }
        let rate = if cooling {
            &mut state.cooling_k_per_h
        } else {
            &mut state.heating_k_per_h
        };
        *rate += learning.clamp(0.0, 1.0) * (3600.0 * gained_k / taken_s - *rate);
    }

    /// Drops a recovery that was broken off.
    pub fn abandon(&self, state: &mut LeadState) {
        state.recovery = None;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn out_of_reach_takes_the_cap_and_no_need_takes_nothing() {
        let o = OptimumStart {
            law: LeadLaw::Exponential {
                tau_s: 3600.0,
                cooling_end_c: 25.0,
                heating_end_c: 30.0,
            },
            cap_s: 7200.0,
        };
        let s = o.initial_state();
        assert_eq!(o.lead_s(true, 28.0, 24.0, &s), 7200.0);
        assert_eq!(o.lead_s(true, 23.0, 24.0, &s), 0.0);
        assert_eq!(o.lead_s(true, f64::NAN, 24.0, &s), 0.0);
        // Heating 15 to 20 toward 30: tau ln(15/10).
        let expected = 3600.0 * 1.5_f64.ln();
        assert!((o.lead_s(false, 15.0, 20.0, &s) - expected).abs() < 1e-9);
    }

    #[test]
    fn slope_learns_from_a_recovery() {
        let o = OptimumStart {
            law: LeadLaw::Slope {
                cooling_k_per_h: 2.0,
                heating_k_per_h: 2.0,
                learning: 0.5,
            },
            cap_s: 10_800.0,
        };
        let mut s = o.initial_state();
        assert_eq!(o.lead_s(true, 28.0, 24.0, &s), 7200.0);
        o.begin(0.0, 28.0, true, &mut s);
        o.finish(3600.0, 24.0, &mut s);
        assert_eq!((s.cooling_k_per_h, s.heating_k_per_h), (3.0, 2.0));
        assert_eq!(o.lead_s(true, 28.0, 24.0, &s), 4800.0);
        o.begin(0.0, 28.0, true, &mut s);
        o.finish(60.0, 24.0, &mut s);
        assert_eq!(s.cooling_k_per_h, 3.0, "a minute teaches nothing");
    }
}
