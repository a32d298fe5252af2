//! Defaults of the controller, each with its source, for showing to people.
//!
//! "Common practice" means that no published source was found.

use super::protection::{Protection, ProtectionAction, Sense};

/// A default with its unit and source.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sourced {
    /// What it is.
    pub what: &'static str,
    /// Its value, in `unit`.
    pub value: f64,
    /// Usual range, in `unit`.
    pub range: Option<(f64, f64)>,
    /// Its unit.
    pub unit: &'static str,
    /// Where it comes from.
    pub source: &'static str,
}

const COMMON: &str = "common practice, no source";

const fn common(
    what: &'static str,
    value: f64,
    range: Option<(f64, f64)>,
    unit: &'static str,
) -> Sourced {
    Sourced {
        what,
        value,
        range,
        unit,
        source: COMMON,
    }
}

macro_rules! defaults {
    ($($(#[$doc:meta])* $name:ident = $value:expr;)*) => {
        $($(#[$doc])* pub const $name: Sourced = $value;)*
        /// Every default.
        pub const ALL: &[Sourced] = &[$($name),*];
    };
}

defaults! {
    /// Differential.
    DIFFERENTIAL_K = common("thermostat differential, total", 0.5, Some((0.5, 1.0)), "K");
    /// Gap between setpoints.
    SETPOINT_GAP_K = Sourced {
        what: "gap between heating and cooling setpoints, least", value: 3.0, range: None, unit: "K",
        source: "ASHRAE 90.1 section 6.4.3.1.2, from memory",
    };
    /// Sensor lag.
    SENSOR_LAG_S = common("time constant of a wall sensor", 120.0, Some((60.0, 600.0)), "s");
    /// Sensor resolution.
    SENSOR_RESOLUTION_K = common("resolution of a wall sensor", 0.1, Some((0.1, 0.5)), "K");
    /// Sensor sampling.
    SENSOR_SAMPLE_S = common("time between samples of a sensor", 10.0, Some((5.0, 60.0)), "s");
    /// Proportional band.
    PROPORTIONAL_BAND_K = common("proportional band of a zone damper", 1.5, Some((1.0, 2.0)), "K");
    /// Minimum opening.
    MINIMUM_OPEN = common("least opening of a calling zone's damper", 0.15, Some((0.1, 0.2)), "1");
    /// Damper command dead band.
    DAMPER_DEAD_BAND = common("dead band of a damper command", 0.05, Some((0.03, 0.05)), "1");
    /// Damper update.
    DAMPER_UPDATE_S = common("time between damper commands, least", 60.0, None, "s");
    /// Zone actuator.
    ACTUATOR_TRAVEL_S = common("full travel of a damper motor", 90.0, Some((60.0, 150.0)), "s");
    /// Actuator dead band.
    ACTUATOR_DEAD_BAND = common("dead band of a damper motor", 0.02, Some((0.01, 0.03)), "1");
    /// Wait for dampers.
    OPENING_WAIT_S = common("wait for dampers before a start", 60.0, Some((30.0, 60.0)), "s");
    /// Minimum run.
    MINIMUM_RUN_S = Sourced {
        what: "minimum run time", value: 180.0, range: Some((120.0, 300.0)), unit: "s",
        source: "a unit maker's glossary (3 min); compressor guides give 2 min",
    };
    /// Minimum off-time.
    MINIMUM_OFF_S = Sourced {
        what: "minimum off-time", value: 300.0, range: Some((180.0, 300.0)), unit: "s",
        source: "a unit maker's glossary (5 min); compressor guides give 180 s",
    };
    /// Post-run.
    POST_RUN_S = common("fan post-run", 60.0, Some((30.0, 120.0)), "s");
    /// Power-up.
    POWER_UP_S = common("longest random delay after power-up", 0.0, Some((0.0, 180.0)), "s");
    /// Mode change.
    MODE_CHANGE_OFF_S = common("off-time between heating and cooling", 600.0, Some((300.0, 600.0)), "s");
    /// Vote margin.
    VOTE_MARGIN_K = common("margin of the weighted vote", 0.2, None, "K");
    /// Vote time.
    VOTE_QUALIFY_S = common("qualifying time of a mode change", 600.0, Some((600.0, 900.0)), "s");
    /// Longest wait.
    MAX_WAIT_S = common("longest wait for the other mode", 2700.0, Some((1800.0, 3600.0)), "s");
    /// Stage up.
    STAGE_UP_S = common("stage-up delay", 300.0, Some((300.0, 600.0)), "s");
    /// Stage down.
    STAGE_DOWN_S = common("stage-down delay", 120.0, Some((120.0, 180.0)), "s");
    /// Speed range.
    MINIMUM_SPEED = common("minimum speed of a variable-speed unit", 0.25, Some((0.2, 0.3)), "1");
    /// Speed range.
    MAXIMUM_SPEED = common("maximum speed of a variable-speed unit", 1.2, Some((1.1, 1.2)), "1");
    /// Frost guard.
    FROST_GUARD_C = common("frost guard outside the time bands", 12.0, None, "°C");
    /// Overheat guard.
    OVERHEAT_GUARD_C = common("overheat guard outside the time bands", 32.0, None, "°C");
    /// Optimum start.
    LEAD_CAP_S = common("longest lead of optimum start", 10_800.0, Some((7200.0, 10_800.0)), "s");
    /// Low supply trip.
    SUPPLY_LOW_TRIP_C = common("low supply air trip, cooling", 5.0, Some((4.0, 7.0)), "°C");
    /// Low supply reset.
    SUPPLY_LOW_RESET_C = common("low supply air reset, after 300 s off", 12.0, None, "°C");
    /// Coil freeze trip.
    COIL_TRIP_C = Sourced {
        what: "coil freeze trip, for 3 min", value: 3.0, range: Some((1.1, 3.0)), unit: "°C",
        source: "a technician's page (3 °C, 3 min); a unit service manual gives 1.1 °C, 5 min",
    };
    /// Coil freeze reset.
    COIL_RESET_C = Sourced {
        what: "coil freeze reset", value: 7.0, range: Some((7.0, 10.0)), unit: "°C",
        source: "a technician's page (7 °C); a unit service manual gives 10 °C and 3 min off",
    };
    /// High supply trip.
    SUPPLY_HIGH_TRIP_C = common("high supply air trip, heating", 55.0, Some((50.0, 60.0)), "°C");
    /// High supply reset.
    SUPPLY_HIGH_RESET_C = common("high supply air reset", 45.0, None, "°C");
    /// High static trip.
    STATIC_HIGH_TRIP_PA = common("high static pressure trip", 200.0, Some((200.0, 250.0)), "Pa");
    /// Lock-out.
    LOCK_OUT_COUNT = common("trips in an hour that lock the unit out", 3.0, None, "1");
    /// Low airflow.
    COIL_FLOW_LOW = Sourced {
        what: "low coil airflow, fixed speed (0.35 at minimum speed)", value: 0.6,
        range: Some((0.35, 0.6)), unit: "1", source: "our own, from the generic unit's supply temperatures",
    };
}

/// Window in which trips are counted, s (common practice).
const HOUR_S: f64 = 3600.0;

impl Protection {
    /// Low supply air while cooling: qualifies in 60 s, blind for the first 120 s (common practice).
    pub fn low_supply() -> Self {
        Self {
            name: "low supply air".to_owned(),
            sense: Sense::SupplyLow,
            trip: SUPPLY_LOW_TRIP_C.value,
            qualify_s: 60.0,
            blind_s: 120.0,
            action: ProtectionAction::StepDownThenOff,
            reset: SUPPLY_LOW_RESET_C.value,
            reset_s: 300.0,
            lockout_count: LOCK_OUT_COUNT.value as usize,
            lockout_window_s: HOUR_S,
        }
    }

    /// Coil freeze while cooling: 3 min below the trip value, at least 3 min off.
    pub fn coil_freeze() -> Self {
        Self {
            name: "coil freeze".to_owned(),
            sense: Sense::CoilSurfaceLow,
            trip: COIL_TRIP_C.value,
            qualify_s: 180.0,
            blind_s: 0.0,
            action: ProtectionAction::Off,
            reset: COIL_RESET_C.value,
            reset_s: 180.0,
            lockout_count: LOCK_OUT_COUNT.value as usize,
            lockout_window_s: HOUR_S,
        }
    }

    /// High supply air while heating: qualifies in 45 s, 240 s to reset (common practice).
    pub fn high_supply() -> Self {
        Self {
            name: "high supply air".to_owned(),
            sense: Sense::SupplyHigh,
            trip: SUPPLY_HIGH_TRIP_C.value,
            qualify_s: 45.0,
            blind_s: 0.0,
            action: ProtectionAction::StepDownThenOff,
            reset: SUPPLY_HIGH_RESET_C.value,
            reset_s: 240.0,
            lockout_count: LOCK_OUT_COUNT.value as usize,
            lockout_window_s: HOUR_S,
        }
    }

    /// High static pressure: `action` after 20 s above 200 Pa, reset 50 Pa lower after 60 s (common
    /// practice). Several with different actions make a ladder: open the relief, slow the fan, open
    /// zones, stop.
    pub fn high_static(action: ProtectionAction) -> Self {
        Self {
            name: "high static pressure".to_owned(),
            sense: Sense::StaticHigh,
            trip: STATIC_HIGH_TRIP_PA.value,
            qualify_s: 20.0,
            blind_s: 0.0,
            action,
            reset: STATIC_HIGH_TRIP_PA.value - 50.0,
            reset_s: 60.0,
            lockout_count: 0,
            lockout_window_s: HOUR_S,
        }
    }

    /// Low airflow through the coil: lowers the speed after 60 s, reset 0.05 higher (our own).
    pub fn low_airflow() -> Self {
        Self {
            name: "low airflow".to_owned(),
            sense: Sense::CoilFlowLow,
            trip: COIL_FLOW_LOW.value,
            qualify_s: 60.0,
            blind_s: 60.0,
            action: ProtectionAction::StepDown,
            reset: COIL_FLOW_LOW.value + 0.05,
            reset_s: 60.0,
            lockout_count: 0,
            lockout_window_s: HOUR_S,
        }
    }
}
