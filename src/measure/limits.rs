//! The limits that measures are judged by, with their sources.

/// Which side of the limit is good.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// The figure must not exceed the limit.
    AtMost,
    /// The figure must not fall below the limit.
    AtLeast,
}

/// One limit.
#[derive(Clone, Debug, PartialEq)]
pub struct Limit {
    /// Its value, SI, same quantity as the measure.
    pub value: f64,
    /// Which side is good.
    pub side: Side,
    /// Where it comes from; the scenario's author when set in the file.
    pub source: String,
    /// Whether breaking it makes the program end with status 1.
    pub mandatory: bool,
}

impl Limit {
    /// An upper limit that is not mandatory.
    pub fn at_most(value: f64, source: impl Into<String>) -> Limit {
        Limit {
            value,
            side: Side::AtMost,
            source: source.into(),
            mandatory: false,
        }
    }

    /// A lower limit that is not mandatory.
    pub fn at_least(value: f64, source: impl Into<String>) -> Limit {
        Limit {
            value,
            side: Side::AtLeast,
            source: source.into(),
            mandatory: false,
        }
    }

    /// Whether `value` is good.
    pub fn holds(&self, value: f64) -> bool {
        match self.side {
            Side::AtMost => value <= self.value,
            Side::AtLeast => value >= self.value,
        }
    }
}

/// Every limit of a scenario.
#[derive(Clone, Debug, PartialEq)]
pub struct Limits {
    /// External static, supply plenum less return plenum, Pa.
    pub static_pa: Limit,
    /// Pressure of a room from that of the return's room, either way, Pa.
    pub room_pressure_pa: Limit,
    /// Starts in any rolling hour.
    pub starts_per_hour: Limit,
    /// Velocity over a grille's face, m/s, for all rooms; `None` = by use of the room.
    pub face_velocity: Option<Limit>,
    /// Sound in every room, dB(A), where the scenario sets one; `None` = by use of the room.
    pub sound_dba: Option<f64>,
    /// Whether the rooms' limits for sound are mandatory.
    pub sound_mandatory: bool,
    /// Shortest complete run, s.
    pub shortest_run_s: Limit,
    /// Shortest complete off-time, s.
    pub shortest_off_s: Limit,
    /// Share of coil air that the relief takes, 0..1.
    pub relief_share: Limit,
    /// Distance of the supply air from its cut-out while the unit runs, K.
    pub supply_margin_k: Limit,
    /// Protection trips in the run.
    pub trips: Limit,
    /// Time that a zone's sensor is outside its differential, after the first half hour of a time
    /// band, as a share of the time in band, 0..1.
    pub outside_band: Limit,
    /// Half-width of the band that [`Limits::outside_band`] counts against, K.
    pub band_half_width_k: f64,
    /// Spread between the rooms of one zone, K (95th percentile of time in band).
    pub zone_spread_k: Limit,
    /// Spread between all rooms whose zones are in band, K (95th percentile).
    pub house_spread_k: Limit,
    /// Peak-to-peak of operative temperature within 15 minutes, K.
    pub cycle_k: Limit,
    /// Share of occupied time above 60 % relative humidity, 0..1.
    pub humid_share: Limit,
}

impl Default for Limits {
    fn default() -> Self {
        Limits {
            static_pa: Limit::at_most(
                125.0,
                "rated external static of small fans, trade press; to last 5 s, our own choice",
            ),
            room_pressure_pa: Limit::at_most(
                5.0,
                "ENERGY STAR homes: 3 Pa, 5 Pa for large flows, from memory; more undercut or a \
                 transfer grille mends it",
            ),
            starts_per_hour: Limit::at_most(6.0, "common practice, no source"),
            face_velocity: None,
            sound_dba: None,
            sound_mandatory: false,
            shortest_run_s: Limit::at_least(300.0, "common practice, no source"),
            shortest_off_s: Limit::at_least(180.0, "compressor makers' guides, 180 s timer"),
            relief_share: Limit::at_most(0.30, "our own derivation for a fixed-speed coil"),
            supply_margin_k: Limit::at_least(2.0, "common practice, no source"),
            trips: Limit::at_most(0.0, "a protection is not a control"),
            outside_band: Limit::at_most(0.05, "5 % of time, CEN/TR 16798-2, from memory"),
            band_half_width_k: 1.0,
            zone_spread_k: Limit::at_most(
                1.7,
                "±3 °F of the thermostat, ACCA Manual RS, from memory",
            ),
            house_spread_k: Limit::at_most(3.3, "6 °F room to room, ACCA Manual RS, from memory"),
            cycle_k: Limit::at_most(1.1, "cycles up to 15 min, ASHRAE 55, from memory"),
            humid_share: Limit::at_most(0.25, "our own choice"),
        }
    }
}

/// Limit for the velocity over a grille's face by use of its room, m/s, and its source: derived from
/// a published table of velocity against noise criterion for open slots.
pub fn face_velocity_limit(is_bedroom: bool) -> Limit {
    let source = "velocity against NC, architectural-acoustics table";
    if is_bedroom {
        Limit::at_most(2.0, source)
    } else {
        Limit::at_most(2.5, source)
    }
}
