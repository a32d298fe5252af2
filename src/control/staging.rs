//! How hard the unit runs: demand from the zones, limit by airflow, delays between stages.

use super::mode::Mode;

/// What the compressor can do. Speeds are fractions of rated (1).
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Stages {
    /// On or off.
    FixedSpeed,
    /// A low stage and full.
    TwoStage {
        /// Speed of the low stage, 0 to 1.
        low: f64,
    },
    /// Any speed in a range.
    VariableSpeed {
        /// Least speed; 0.2 to 0.3 is common practice.
        minimum: f64,
        /// Greatest speed; 1.1 to 1.2 is common practice.
        maximum: f64,
        /// Rate of change, 1/s.
        ramp_per_s: f64,
    },
}

impl Stages {
    /// The least speed at which the unit runs.
    pub fn minimum(&self) -> f64 {
        match *self {
            Self::FixedSpeed => 1.0,
            Self::TwoStage { low } => low,
            Self::VariableSpeed { minimum, .. } => minimum,
        }
    }

    /// The greatest speed.
    pub fn maximum(&self) -> f64 {
        match *self {
            Self::FixedSpeed | Self::TwoStage { .. } => 1.0,
            Self::VariableSpeed { maximum, .. } => maximum,
        }
    }

    /// The next speed a protection steps down to; `None` at the minimum.
    pub fn below(&self, speed: f64) -> Option<f64> {
        let minimum = self.minimum();
        if speed <= minimum + SAME {
            return None;
        }
        match self {
            Self::FixedSpeed => None,
            Self::TwoStage { low } => Some(*low),
            Self::VariableSpeed { .. } => Some((speed - STEP_DOWN).max(minimum)),
        }
    }
}

/// How far a protection lowers a variable speed at a time (our choice, no source).
const STEP_DOWN: f64 = 0.25;
/// Two speeds nearer than this are the same.
const SAME: f64 = 1e-9;
/// A variable speed is left alone while demand is nearer than this (our choice, no source).
const TRACKING: f64 = 0.02;

/// What sets the demand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DemandRule {
    /// minimum + gain x (largest error of a calling zone).
    Error,
    /// Sum over calling zones of weight x min(1, error / band).
    Weight,
    /// The lesser of the demand by error and the summed weight of the calling zones, so that one
    /// small zone never gets full capacity. Recommended.
    Both,
}

/// Limit of capacity by the air that reaches the rooms:
/// Q <= rho cp V_rooms |T_return - T_limit| / SHR.
#[derive(Debug, Clone, PartialEq)]
pub struct AirflowLimit {
    /// Rated total cooling capacity, W.
    pub rated_cooling_w: f64,
    /// Rated heating capacity, W.
    pub rated_heating_w: f64,
    /// Coldest supply air wanted, °C.
    pub cooling_limit_c: f64,
    /// Warmest supply air wanted, °C.
    pub heating_limit_c: f64,
    /// Sensible share of the cooling capacity; 1 is used when heating.
    pub sensible_heat_ratio: f64,
    /// No limit in the first seconds of a run, while dampers and fan settle, s.
    pub blind_s: f64,
    /// Capacity share at speeds when cooling: (speed, share) pairs, both rising.
    pub cooling_share: Vec<(f64, f64)>,
    /// The same when heating.
    pub heating_share: Vec<(f64, f64)>,
}

/// Capacity share against speed of a generic variable-speed unit when cooling. Source: our own fit to a
/// computed vapour-compression cycle, not any machine's data.
pub(crate) const GENERIC_COOLING_SHARE: [(f64, f64); 8] = [
    (0.25, 0.339),
    (0.3, 0.390),
    (0.4, 0.488),
    (0.5, 0.586),
    (0.6, 0.678),
    (0.8, 0.847),
    (1.0, 1.0),
    (1.2, 1.139),
];

/// The same when heating.
pub(crate) const GENERIC_HEATING_SHARE: [(f64, f64); 8] = [
    (0.25, 0.301),
    (0.3, 0.355),
    (0.4, 0.459),
    (0.5, 0.558),
    (0.6, 0.652),
    (0.8, 0.830),
    (1.0, 1.0),
    (1.2, 1.161),
];

/// Volumetric heat capacity of air, J/(m³ K): 1.2 kg/m³ x 1006 J/(kg K).
pub(crate) const AIR_J_PER_M3_K: f64 = 1207.2;

impl AirflowLimit {
    /// Capacity the rooms' air can carry, W; never below zero.
    pub fn capacity_w(&self, mode: Mode, rooms_flow_m3_s: f64, return_c: f64) -> f64 {
        let (span_k, shr) = match mode {
            Mode::Cooling => (return_c - self.cooling_limit_c, self.sensible_heat_ratio),
            Mode::Heating => (self.heating_limit_c - return_c, 1.0),
        };
        (AIR_J_PER_M3_K * rooms_flow_m3_s * span_k / shr).max(0.0)
    }

    /// Rated capacity, W, and its shares at speeds.
    fn rating(&self, mode: Mode) -> (f64, &[(f64, f64)]) {
        match mode {
            Mode::Cooling => (self.rated_cooling_w, &self.cooling_share),
            Mode::Heating => (self.rated_heating_w, &self.heating_share),
        }
    }

    /// Speed at which the unit gives that capacity. Infinite where the limit does not bind or a
    /// reading is missing.
    pub fn speed(&self, mode: Mode, rooms_flow_m3_s: f64, return_c: f64) -> f64 {
        if rooms_flow_m3_s.is_nan() || return_c.is_nan() {
            return f64::INFINITY;
        }
        let (rated_w, table) = self.rating(mode);
        speed_for_share(
            table,
            self.capacity_w(mode, rooms_flow_m3_s, return_c) / rated_w,
        )
    }

    /// Capacity that the rooms' air must carry for the limit to leave this speed alone, W; a hair
    /// more than needed, so that rounding cannot make it too little.
    pub(super) fn enough_w(&self, mode: Mode, speed: f64) -> f64 {
        let (rated_w, table) = self.rating(mode);
        rated_w * share_for_speed(table, speed) * (1.0 + 1e-9)
    }
}

/// Inverse of a rising (speed, share) table, linear between its points, through the origin below
/// them, infinite above. An empty table takes share for speed.
fn speed_for_share(table: &[(f64, f64)], share: f64) -> f64 {
    let Some(last) = table.last() else {
        return share;
    };
    if share >= last.1 {
        return f64::INFINITY;
    }
    let mut below = (0.0, 0.0);
    for &(speed, at) in table {
        if share < at {
            return below.0 + (speed - below.0) * (share - below.1) / (at - below.1);
        }
        below = (speed, at);
    }
    f64::INFINITY
}

/// The other way round: the share at a speed, and beyond the table its last.
fn share_for_speed(table: &[(f64, f64)], speed: f64) -> f64 {
    let mut below = (0.0, 0.0);
    for &(at, share) in table {
        if speed < at {
            return below.1 + (share - below.1) * (speed - below.0) / (at - below.0);
        }
        below = (at, share);
    }
    if table.is_empty() { speed } else { below.1 }
}

/// Staging of the unit.
#[derive(Debug, Clone, PartialEq)]
pub struct Staging {
    /// What the compressor can do.
    pub stages: Stages,
    /// What sets the demand.
    pub rule: DemandRule,
    /// Demand per kelvin of error, 1/K.
    pub gain_per_k: f64,
    /// Error that counts as full need in the demand by weight, K.
    pub band_k: f64,
    /// A higher demand must last this long before it is met, s; 300 to 600 s is common practice.
    pub up_delay_s: f64,
    /// A lower demand must last this long, s; 120 to 180 s is common practice.
    pub down_delay_s: f64,
    /// Limit by airflow, if any.
    pub airflow_limit: Option<AirflowLimit>,
}

/// Need gathered from the calling zones.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Need {
    /// Largest error, K.
    pub error_k: f64,
    /// Sum of weights of the calling zones, 0 to 1.
    pub weight: f64,
    /// Sum of weight x min(1, error / band).
    pub weighted: f64,
}

impl Need {
    /// Adds a calling zone of this weight (share of 1) and error (K, positive for need).
    pub fn add(&mut self, weight: f64, error_k: f64, band_k: f64) {
        let error_k = error_k.max(0.0);
        self.error_k = self.error_k.max(error_k);
        self.weight += weight;
        self.weighted += weight * (error_k / band_k).min(1.0);
    }
}

/// The stage in force and its timers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StagingState {
    /// Speed in force; 0 when the compressor is off.
    pub speed: f64,
    up_since_s: f64,
    down_since_s: f64,
}

impl Default for StagingState {
    fn default() -> Self {
        Self {
            speed: 0.0,
            up_since_s: f64::NAN,
            down_since_s: f64::NAN,
        }
    }
}

impl Staging {
    /// Speed the zones ask for, within the range of the unit.
    pub fn demand(&self, need: &Need) -> f64 {
        let (minimum, maximum) = (self.stages.minimum(), self.stages.maximum());
        let by_error = minimum + self.gain_per_k * need.error_k;
        let raw = match self.rule {
            DemandRule::Error => by_error,
            DemandRule::Weight => need.weighted,
            DemandRule::Both => by_error.min(need.weight),
        };
        raw.max(minimum).min(maximum)
    }

    /// How far demand may be from the speed in force and change nothing.
    fn slack(&self) -> f64 {
        match self.stages {
            Stages::VariableSpeed { .. } => TRACKING,
            _ => SAME,
        }
    }

    /// The least cap that leaves the speed in force to `demand` alone.
    pub(super) fn free_speed(&self, demand: f64, s: &StagingState) -> f64 {
        match self.stages {
            Stages::VariableSpeed { .. } => demand.max(s.speed),
            Stages::FixedSpeed | Stages::TwoStage { .. } => 1.0,
        }
    }

    /// Until when the speed in force and its timers stay as they are, s, while `demand` does and no
    /// cap acts; a little early. Negative infinity when the next step may change them.
    pub(super) fn steady_until_s(&self, demand: f64, s: &StagingState) -> f64 {
        let slack = self.slack();
        let up = demand > s.speed + slack;
        let down = demand < s.speed - slack;
        if up == s.up_since_s.is_nan() || down == s.down_since_s.is_nan() {
            f64::NEG_INFINITY
        } else if up {
            s.up_since_s + self.up_delay_s - 1e-3
        } else if down {
            s.down_since_s + self.down_delay_s - 1e-3
        } else {
            f64::INFINITY
        }
    }

    /// Speed for this step. `demand` from [`Staging::demand`]; `cap` from the airflow limit or a
    /// protection (infinite for none). A run starts at the minimum. A cap acts at once, demand
    /// after its delay; the unit never runs below its minimum.
    pub fn step(&self, t_s: f64, dt_s: f64, demand: f64, cap: f64, s: &mut StagingState) -> f64 {
        let minimum = self.stages.minimum();
        if s.speed == 0.0 {
            *s = StagingState {
                speed: minimum,
                ..StagingState::default()
            };
        }
        let cap = cap.max(minimum);
        let wanted = demand.min(cap);
        let slack = self.slack();
        let lasted = |since_s: &mut f64, holds: bool| {
            if !holds {
                *since_s = f64::NAN;
                return f64::NEG_INFINITY;
            }
            if since_s.is_nan() {
                *since_s = t_s;
            }
            t_s - *since_s
        };
        let up = lasted(&mut s.up_since_s, wanted > s.speed + slack) >= self.up_delay_s - 1e-6;
        let down =
            lasted(&mut s.down_since_s, wanted < s.speed - slack) >= self.down_delay_s - 1e-6;
        s.speed = match self.stages {
            Stages::FixedSpeed => 1.0,
            Stages::TwoStage { low } => {
                // Full only when the low stage does not do; a cap below full means low.
                if cap < 1.0 - SAME || (down && wanted <= low + SAME) {
                    low
                } else if up {
                    1.0
                } else {
                    s.speed
                }
            }
            Stages::VariableSpeed { ramp_per_s, .. } => {
                let reach = ramp_per_s * dt_s.max(0.0);
                let ramped = if up {
                    (s.speed + reach).min(wanted)
                } else if down {
                    (s.speed - reach).max(wanted)
                } else {
                    s.speed
                };
                ramped.min(cap)
            }
        };
        s.speed
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn staging(stages: Stages) -> Staging {
        Staging {
            stages,
            rule: DemandRule::Both,
            gain_per_k: 0.5,
            band_k: 1.5,
            up_delay_s: 300.0,
            down_delay_s: 120.0,
            airflow_limit: None,
        }
    }

    const VARIABLE: Stages = Stages::VariableSpeed {
        minimum: 0.25,
        maximum: 1.2,
        ramp_per_s: 0.01,
    };

    #[test]
    fn one_small_zone_never_gets_full_capacity() {
        let mut small = Need::default();
        small.add(0.1, 6.0, 1.5);
        assert_eq!(staging(VARIABLE).demand(&small), 0.25);
        let mut all = Need::default();
        for w in [0.3, 0.25, 0.2, 0.15, 0.1] {
            all.add(w, 1.0, 1.5);
        }
        assert!((staging(VARIABLE).demand(&all) - 0.75).abs() < 1e-12);
        let by_weight = Staging {
            rule: DemandRule::Weight,
            ..staging(VARIABLE)
        };
        assert!((by_weight.demand(&all) - 1.0 / 1.5).abs() < 1e-12);
        let by_error = Staging {
            rule: DemandRule::Error,
            ..staging(VARIABLE)
        };
        assert_eq!(by_error.demand(&small), 1.2);
    }

    #[test]
    fn stages_wait_for_their_delay_and_caps_do_not() {
        let two = staging(Stages::TwoStage { low: 0.6 });
        let mut s = StagingState::default();
        for t in 0..300 {
            assert_eq!(two.step(f64::from(t), 1.0, 1.0, f64::INFINITY, &mut s), 0.6);
        }
        assert_eq!(two.step(300.0, 1.0, 1.0, f64::INFINITY, &mut s), 1.0);
        for t in 301..421 {
            assert_eq!(two.step(f64::from(t), 1.0, 0.6, f64::INFINITY, &mut s), 1.0);
        }
        assert_eq!(two.step(421.0, 1.0, 0.6, f64::INFINITY, &mut s), 0.6);
        s.speed = 1.0;
        assert_eq!(two.step(422.0, 1.0, 1.0, 0.7, &mut s), 0.6);
    }

    #[test]
    fn variable_speed_ramps_after_its_delay() {
        let v = staging(VARIABLE);
        let mut s = StagingState::default();
        assert_eq!(v.step(0.0, 1.0, 0.9, f64::INFINITY, &mut s), 0.25);
        assert_eq!(v.step(299.0, 1.0, 0.9, f64::INFINITY, &mut s), 0.25);
        assert!((v.step(300.0, 1.0, 0.9, f64::INFINITY, &mut s) - 0.26).abs() < 1e-12);
        for t in 301..500 {
            v.step(f64::from(t), 1.0, 0.9, f64::INFINITY, &mut s);
        }
        assert!((s.speed - 0.9).abs() <= TRACKING, "{}", s.speed);
        assert_eq!(v.step(500.0, 1.0, 0.9, 0.4, &mut s), 0.4);
        assert_eq!(
            v.step(501.0, 1.0, 0.9, 0.1, &mut s),
            0.25,
            "never below minimum"
        );
    }

    #[test]
    fn airflow_limit_by_hand() {
        // Case 1 of the equipment sheet: 0.1 m³/s to rooms at 24 °C, trip 5 °C: 2293.68 W sensible.
        let limit = AirflowLimit {
            rated_cooling_w: 10_000.0,
            rated_heating_w: 10_000.0,
            cooling_limit_c: 5.0,
            heating_limit_c: 55.0,
            sensible_heat_ratio: 1.0,
            blind_s: 60.0,
            cooling_share: vec![],
            heating_share: GENERIC_HEATING_SHARE.to_vec(),
        };
        assert!((limit.capacity_w(Mode::Cooling, 0.1, 24.0) - 2293.68).abs() < 1e-9);
        assert!((limit.speed(Mode::Cooling, 0.1, 24.0) - 0.229368).abs() < 1e-12);
        assert_eq!(limit.speed(Mode::Cooling, f64::NAN, 24.0), f64::INFINITY);
        // Heating 20 to 55 °C with 0.1321 m³/s: 5581.6 W, the share at half speed.
        let flow = 0.558 * 10_000.0 / (AIR_J_PER_M3_K * 35.0);
        assert!((limit.speed(Mode::Heating, flow, 20.0) - 0.5).abs() < 1e-9);
        assert_eq!(limit.speed(Mode::Heating, 1.0, 20.0), f64::INFINITY);
    }
}
