//! What a person feels: predicted mean vote, and the range of a signal over a window.
//!
//! Predicted mean vote (PMV) and predicted percentage dissatisfied (PPD) follow ISO 7730:2005
//! Annex D. A PMV costs some twenty square roots and four exponentials: meant for once a minute, not
//! for every step.

use std::collections::VecDeque;

pub(crate) use crate::plant::air::vapour_pressure_pa;

/// Watts per square metre in one met.
pub(crate) const W_M2_PER_MET: f64 = 58.15;
/// Square metre kelvins per watt in one clo.
pub(crate) const M2_K_W_PER_CLO: f64 = 0.155;
/// Vapour pressure from relative humidity (0 to 1) by the saturation formula that ISO 7730 Annex D
/// carries with it, Pa. For comparison with its table; a run knows the humidity ratio.
#[must_use]
#[cfg(test)]
pub fn vapour_pressure_of_rh_pa(rh: f64, t_air_c: f64) -> f64 {
    rh * 1000.0 * (16.6536 - 4030.183 / (t_air_c + 235.0)).exp()
}

/// What a person's heat balance depends on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Surroundings {
    /// Air temperature, °C.
    pub t_air_c: f64,
    /// Mean radiant temperature, °C.
    pub t_radiant_c: f64,
    /// Air speed relative to the person, m/s.
    pub air_speed_m_s: f64,
    /// Partial pressure of the water vapour, Pa.
    pub vapour_pa: f64,
    /// Metabolic rate, met.
    pub met: f64,
    /// Insulation of the clothing, clo.
    pub clo: f64,
}

/// What lies outside the range for which ISO 7730 claims its vote (its clause 4).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum OutOfRange {
    /// Air temperature not within 10 to 30 °C.
    AirTemperature,
    /// Mean radiant temperature not within 10 to 40 °C.
    RadiantTemperature,
    /// Air speed not within 0 to 1 m/s.
    AirSpeed,
    /// Vapour pressure not within 0 to 2700 Pa.
    VapourPressure,
    /// Metabolic rate not within 0.8 to 4 met.
    MetabolicRate,
    /// Clothing not within 0 to 2 clo.
    Clothing,
    /// The vote itself not within −2 to +2.
    Vote,
    /// An input is not a number, or the clothing temperature was not found.
    NoAnswer,
}

impl std::fmt::Display for OutOfRange {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            OutOfRange::AirTemperature => "air temperature outside 10 to 30 °C",
            OutOfRange::RadiantTemperature => "radiant temperature outside 10 to 40 °C",
            OutOfRange::AirSpeed => "air speed outside 0 to 1 m/s",
            OutOfRange::VapourPressure => "vapour pressure outside 0 to 2700 Pa",
            OutOfRange::MetabolicRate => "metabolic rate outside 0.8 to 4 met",
            OutOfRange::Clothing => "clothing outside 0 to 2 clo",
            OutOfRange::Vote => "vote outside -2 to +2",
            OutOfRange::NoAnswer => "no heat balance found",
        })
    }
}

/// A vote, with a flag where the standard does not stand behind it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Vote {
    /// Predicted mean vote: −3 cold … +3 hot; NaN without an answer.
    pub pmv: f64,
    /// Predicted share of dissatisfied people, percent; NaN without an answer.
    pub ppd_percent: f64,
    /// The first thing found out of range; `None` where the vote is valid.
    pub out_of_range: Option<OutOfRange>,
}

impl Vote {
    /// The vote, if the standard stands behind it.
    #[must_use]
    #[cfg(test)]
    pub fn valid_pmv(&self) -> Option<f64> {
        self.out_of_range.is_none().then_some(self.pmv)
    }
}

/// Predicted percentage of dissatisfied people for a vote (ISO 7730 eq. 5).
#[must_use]
pub(crate) fn ppd_percent(pmv: f64) -> f64 {
    let square = pmv * pmv;
    100.0 - 95.0 * (-square * (0.033_53 * square + 0.2179)).exp()
}

impl Surroundings {
    /// Which input lies outside the standard's range, if any.
    #[must_use]
    pub(crate) fn out_of_range(&self) -> Option<OutOfRange> {
        let checks = [
            (self.t_air_c, 10.0, 30.0, OutOfRange::AirTemperature),
            (self.t_radiant_c, 10.0, 40.0, OutOfRange::RadiantTemperature),
            (self.air_speed_m_s, 0.0, 1.0, OutOfRange::AirSpeed),
            (self.vapour_pa, 0.0, 2700.0, OutOfRange::VapourPressure),
            (self.met, 0.8, 4.0, OutOfRange::MetabolicRate),
            (self.clo, 0.0, 2.0, OutOfRange::Clothing),
        ];
        if checks.iter().any(|c| c.0.is_nan()) {
            return Some(OutOfRange::NoAnswer);
        }
        checks
            .iter()
            .find(|c| !(c.1..=c.2).contains(&c.0))
            .map(|c| c.3)
    }

    /// Vote and dissatisfied share by the algorithm of ISO 7730 Annex D, without external work.
    ///
    /// Outside the range the figure is still computed, and flagged. The Annex stops when two
    /// clothing temperatures differ by 0.015 K, so its vote is up to 0.004 off the exact solution
    /// of its own equations; its stopping rule is kept, so that published votes are met.
    #[must_use]
    pub(crate) fn vote(&self) -> Vote {
        let balance = Balance::new(self);
        let pmv = balance
            .clothing(self)
            .map_or(f64::NAN, |(t_clo_c, h)| balance.pmv(self, t_clo_c, h));
        let out_of_range = if pmv.is_finite() {
            self.out_of_range()
                .or((pmv.abs() > 2.0).then_some(OutOfRange::Vote))
        } else {
            Some(OutOfRange::NoAnswer)
        };
        if pmv.is_finite() {
            Vote {
                pmv,
                ppd_percent: ppd_percent(pmv),
                out_of_range,
            }
        } else {
            Vote {
                pmv: f64::NAN,
                ppd_percent: f64::NAN,
                out_of_range,
            }
        }
    }
}

/// The parts of the heat balance that do not depend on the clothing temperature.
struct Balance {
    metabolic_w_m2: f64,
    insulation_m2_k_w: f64,
    /// Clothed over naked surface.
    area_factor: f64,
    forced_w_m2_k: f64,
    /// Fourth power of a hundredth of the radiant temperature in kelvins.
    radiant_4: f64,
}

/// Kelvins at 0 °C, as the Annex rounds it.
const KELVIN: f64 = 273.0;
/// The Annex works in hundredths of a kelvin temperature and stops at this change.
const STOP: f64 = 0.000_15;
const MOST_ROUNDS: usize = 150;

impl Balance {
    fn new(s: &Surroundings) -> Balance {
        let insulation = M2_K_W_PER_CLO * s.clo;
        Balance {
            metabolic_w_m2: W_M2_PER_MET * s.met,
            insulation_m2_k_w: insulation,
            area_factor: if insulation <= 0.078 {
                1.0 + 1.29 * insulation
            } else {
                1.05 + 0.645 * insulation
            },
            forced_w_m2_k: 12.1 * s.air_speed_m_s.max(0.0).sqrt(),
            radiant_4: ((s.t_radiant_c + KELVIN) / 100.0).powi(4),
        }
    }

    /// The larger of free and forced convection, W/(m² K).
    fn convection(&self, t_clo_c: f64, t_air_c: f64) -> f64 {
        let free = 2.38 * (t_clo_c - t_air_c).abs().sqrt().sqrt();
        free.max(self.forced_w_m2_k)
    }

    /// Clothing surface temperature and the convection coefficient it was found with: the heat through the clothing equals radiation plus convection.
    ///
    /// With x a hundredth of it in kelvins and R = I_cl f_cl, the balance
    /// t_cl = 35.7 − 0.028 M − I_cl f_cl (3.96 (x⁴ − x_r⁴) + h_c (t_cl − t_a)) is solved for t_cl
    /// where it stands in the convective term, and iterated on the mean of the last two guesses.
    fn clothing(&self, s: &Surroundings) -> Option<(f64, f64)> {
        let resistance = self.insulation_m2_k_w * self.area_factor;
        let air_k = s.t_air_c + KELVIN;
        let skin_k = 35.7 + KELVIN - 0.028 * self.metabolic_w_m2;
        let constant = skin_k + 3.96 * resistance * self.radiant_4;
        let first_k = air_k + (35.5 - s.t_air_c) / (3.5 * (6.45 * self.insulation_m2_k_w + 0.1));
        // The Annex's first mean is taken with twice its guess's own hundredth: one and a half of it.
        let mut next = first_k / 100.0;
        let mut mean = first_k / 50.0;
        for _ in 0..MOST_ROUNDS {
            mean = 0.5 * (mean + next);
            let h = self.convection(100.0 * mean - KELVIN, s.t_air_c);
            next = (constant + resistance * (h * air_k - 3.96 * mean.powi(4)))
                / (100.0 + 100.0 * resistance * h);
            if (next - mean).abs() <= STOP {
                return Some((100.0 * next - KELVIN, h));
            }
        }
        None
    }

    fn pmv(&self, s: &Surroundings, t_clo_c: f64, convection_w_m2_k: f64) -> f64 {
        let m = self.metabolic_w_m2;
        let skin_diffusion = 3.05e-3 * (5733.0 - 6.99 * m - s.vapour_pa);
        let sweat = 0.42 * (m - W_M2_PER_MET).max(0.0);
        let breath_latent = 1.7e-5 * m * (5867.0 - s.vapour_pa);
        let breath_sensible = 1.4e-3 * m * (34.0 - s.t_air_c);
        let clo_4 = ((t_clo_c + KELVIN) / 100.0).powi(4);
        let radiation = 3.96 * self.area_factor * (clo_4 - self.radiant_4);
        let convection = self.area_factor * convection_w_m2_k * (t_clo_c - s.t_air_c);
        let surplus =
            m - skin_diffusion - sweat - breath_latent - breath_sensible - radiation - convection;
        (0.303 * (-0.036 * m).exp() + 0.028) * surplus
    }
}

/// Maximum less minimum of a signal over a window that slides along it.
///
/// Two monotonic queues: each sample enters and leaves once, so a signal of n samples costs O(n).
#[derive(Clone, Debug)]
pub(crate) struct SlidingRange {
    window_s: f64,
    low: VecDeque<(f64, f64)>,
    high: VecDeque<(f64, f64)>,
}

impl SlidingRange {
    /// A window of `window_s`; holds samples at least `sample_s` apart without allocating again.
    #[must_use]
    pub(crate) fn new(window_s: f64, sample_s: f64) -> SlidingRange {
        let room = (window_s / sample_s.max(1.0)) as usize + 2;
        SlidingRange {
            window_s,
            low: VecDeque::with_capacity(room),
            high: VecDeque::with_capacity(room),
        }
    }

    /// Takes a sample at `t_s`, not before the last one, and gives the range over the window that
    /// ends there, both ends included. A value that is not a number is passed over.
    pub(crate) fn push(&mut self, t_s: f64, value: f64) -> f64 {
        let oldest = t_s - self.window_s * (1.0 + 1e-12);
        for q in [&mut self.low, &mut self.high] {
            while q.front().is_some_and(|&(t, _)| t < oldest) {
                q.pop_front();
            }
        }
        if !value.is_nan() {
            while self.low.back().is_some_and(|&(_, y)| y >= value) {
                self.low.pop_back();
            }
            while self.high.back().is_some_and(|&(_, y)| y <= value) {
                self.high.pop_back();
            }
            self.low.push_back((t_s, value));
            self.high.push_back((t_s, value));
        }
        match (self.high.front(), self.low.front()) {
            (Some(high), Some(low)) => high.1 - low.1,
            _ => 0.0,
        }
    }

    /// Forgets every sample, as where people leave.
    pub(crate) fn clear(&mut self) {
        self.low.clear();
        self.high.clear();
    }
}
