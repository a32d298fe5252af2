//! What a controller is made from, and what can be wrong with it.

use thiserror::Error;

use super::damper::Damper;
use super::fan::{FanLaw, FanSpec};
use super::mode::{ModeRule, ModeSpec};
use super::protection::Protection;
use super::relief_pi::ReliefPi;
use super::sequence::{Opening, SequenceSpec};
use super::staging::{Stages, Staging};
use super::thermostat::Placement;
use super::timetable::Setpoints;
use super::zone::{LostSensor, Unscheduled, ZoneSpec};

/// Who commands a channel. One channel a damper; every channel has exactly one owner.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ChannelOwner {
    /// A zone, by index.
    Zone(usize),
    /// The motorised relief.
    Relief,
}

/// Everything a controller is told before it starts.
#[derive(Debug, Clone, PartialEq)]
pub struct ControllerSpec {
    /// The zones.
    pub zones: Vec<ZoneSpec>,
    /// The owner of each channel.
    pub channels: Vec<ChannelOwner>,
    /// The choice of mode.
    pub mode: ModeSpec,
    /// The unit's stages.
    pub staging: Staging,
    /// The fan.
    pub fan: FanSpec,
    /// The unit's timers.
    pub sequence: SequenceSpec,
    /// The relief's law; needed exactly when a channel belongs to the relief.
    pub relief: Option<ReliefPi>,
    /// The protections, in order of precedence.
    pub protections: Vec<Protection>,
}

/// What can be wrong with a [`ControllerSpec`].
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum ControlError {
    /// No zone at all.
    #[error("there is no zone; a controller needs at least one")]
    NoZones,
    /// A channel owned by a zone that does not exist.
    #[error(
        "channel {channel} belongs to zone number {zone}, but there are {zones} zones (counted from 0)"
    )]
    ChannelZone {
        /// The channel.
        channel: usize,
        /// The zone it names.
        zone: usize,
        /// How many there are.
        zones: usize,
    },
    /// A zone that commands nothing.
    #[error("zone `{zone}` has no channel; give it at least one damper")]
    ZoneWithoutChannel {
        /// The zone.
        zone: String,
    },
    /// A relief channel without a law.
    #[error("channel {channel} belongs to the relief, but the relief has no setpoint")]
    ReliefWithoutLaw {
        /// The channel.
        channel: usize,
    },
    /// A relief law without a channel.
    #[error("the relief has a setpoint, but no channel; give it one, or leave it out")]
    LawWithoutRelief,
    /// A lead zone that does not exist.
    #[error("the lead zone is number {zone}, but there are {zones} zones (counted from 0)")]
    LeadZone {
        /// The zone it names.
        zone: usize,
        /// How many there are.
        zones: usize,
    },
    /// Setpoints too close for the differential.
    #[error(
        "zone `{zone}`, {place}: cooling {cooling_c} °C and heating {heating_c} °C are too close for \
         a differential of {width_k} K; keep them further apart (3 K is usual)"
    )]
    SetpointGap {
        /// The zone.
        zone: String,
        /// Which setpoints.
        place: String,
        /// Cooling setpoint, °C.
        cooling_c: f64,
        /// Heating setpoint, °C.
        heating_c: f64,
        /// Width of the differential, K.
        width_k: f64,
    },
    /// A number out of its range.
    #[error("{what} is {value}; it must be {must}")]
    Value {
        /// Which number.
        what: String,
        /// What it is.
        value: f64,
        /// What it should be.
        must: &'static str,
    },
}

type Check = Result<(), ControlError>;

fn value(ok: bool, value: f64, must: &'static str, what: impl FnOnce() -> String) -> Check {
    if ok {
        Ok(())
    } else {
        Err(ControlError::Value {
            what: what(),
            value,
            must,
        })
    }
}

/// Named, so that each check reads as one line.
fn positive(v: f64, what: impl FnOnce() -> String) -> Check {
    value(v.is_finite() && v > 0.0, v, "above zero", what)
}

fn not_negative(v: f64, what: impl FnOnce() -> String) -> Check {
    value(v.is_finite() && v >= 0.0, v, "zero or above", what)
}

fn finite(v: f64, what: impl FnOnce() -> String) -> Check {
    value(v.is_finite(), v, "a number", what)
}

fn share(v: f64, what: impl FnOnce() -> String) -> Check {
    value((0.0..=1.0).contains(&v), v, "between 0 and 1", what)
}

fn opening(v: f64, what: impl FnOnce() -> String) -> Check {
    value(v > 0.0 && v <= 1.0, v, "above 0 and at most 1", what)
}

impl ControllerSpec {
    /// Checks everything.
    ///
    /// # Errors
    /// The first thing found wrong.
    pub fn check(&self) -> Check {
        if self.zones.is_empty() {
            return Err(ControlError::NoZones);
        }
        self.check_channels()?;
        for zone in &self.zones {
            check_zone(zone)?;
        }
        let total: f64 = self.zones.iter().map(|z| z.weight).sum();
        positive(total, || "the sum of the zones' weights".to_owned())?;
        self.check_mode()?;
        check_staging(&self.staging)?;
        check_sequence(&self.sequence)?;
        share(self.fan.post_run, || {
            "the fan's post-run fraction".to_owned()
        })?;
        let (least, most) = match self.fan.law {
            FanLaw::PerStage { low, full } => (low, full),
            FanLaw::Linear { at_zero, maximum } => (at_zero, maximum),
        };
        share(least, || "the fan's lowest fraction".to_owned())?;
        opening(most, || "the fan's highest fraction".to_owned())?;
        if let Some(pi) = &self.relief {
            check_relief(pi)?;
        }
        self.protections.iter().try_for_each(check_protection)
    }

    fn check_channels(&self) -> Check {
        let zones = self.zones.len();
        for (channel, owner) in self.channels.iter().enumerate() {
            match *owner {
                ChannelOwner::Zone(zone) if zone >= zones => {
                    return Err(ControlError::ChannelZone {
                        channel,
                        zone,
                        zones,
                    });
                }
                ChannelOwner::Relief if self.relief.is_none() => {
                    return Err(ControlError::ReliefWithoutLaw { channel });
                }
                _ => {}
            }
        }
        for (i, zone) in self.zones.iter().enumerate() {
            if !self.channels.contains(&ChannelOwner::Zone(i)) {
                return Err(ControlError::ZoneWithoutChannel {
                    zone: zone.name.clone(),
                });
            }
        }
        if self.relief.is_some() && !self.channels.contains(&ChannelOwner::Relief) {
            return Err(ControlError::LawWithoutRelief);
        }
        Ok(())
    }

    fn check_mode(&self) -> Check {
        let m = &self.mode;
        match m.rule {
            ModeRule::LeadZone { zone } if zone >= self.zones.len() => {
                return Err(ControlError::LeadZone {
                    zone,
                    zones: self.zones.len(),
                });
            }
            ModeRule::WeightedVote { margin_k } => {
                not_negative(margin_k, || "the margin of the vote".to_owned())?;
            }
            _ => {}
        }
        not_negative(m.qualify_s, || {
            "the qualifying time of a mode change".to_owned()
        })?;
        not_negative(m.hold_s, || "the hold time of a mode".to_owned())?;
        not_negative(m.change_off_s, || {
            "the off-time of a mode change".to_owned()
        })?;
        value(m.max_wait_s >= 0.0, m.max_wait_s, "zero or above", || {
            "the longest wait for the other mode".to_owned()
        })
    }
}

fn check_zone(z: &ZoneSpec) -> Check {
    let of = |what: &str| format!("{what} of zone `{}`", z.name);
    not_negative(z.weight, || of("the weight"))?;
    positive(z.differential.width_k, || of("the differential"))?;
    share(z.opening_when_satisfied, || {
        of("the opening when satisfied")
    })?;
    finite(z.lowest_c, || of("the lowest setpoint"))?;
    finite(z.highest_c, || of("the highest setpoint"))?;
    match z.damper {
        Damper::TwoPosition => {}
        Damper::Fixed { opening: o } => opening(o, || of("the fixed opening"))?,
        Damper::Modulating(m) => {
            positive(m.proportional_band_k, || of("the proportional band"))?;
            opening(m.minimum_open, || of("the minimum opening"))?;
            not_negative(m.integral_s, || of("the damper's integral time"))?;
            share(m.dead_band, || of("the damper's dead band"))?;
            not_negative(m.update_s, || of("the damper's update time"))?;
        }
    }
    if let LostSensor::FixedOpening(o) = z.lost_sensor {
        share(o, || of("the opening without sensor"))?;
    }
    if let Some(o) = &z.optimum_start {
        not_negative(o.cap_s, || of("the longest lead"))?;
        let s = o.initial_state();
        match o.law {
            super::optimum_start::LeadLaw::Exponential {
                tau_s,
                cooling_end_c,
                heating_end_c,
            } => {
                positive(tau_s, || of("the time constant of optimum start"))?;
                finite(cooling_end_c, || of("the cooling end temperature"))?;
                finite(heating_end_c, || of("the heating end temperature"))?;
            }
            super::optimum_start::LeadLaw::Slope { learning, .. } => {
                positive(s.cooling_k_per_h, || of("the cooling rate"))?;
                positive(s.heating_k_per_h, || of("the heating rate"))?;
                share(learning, || of("the learning weight"))?;
            }
        }
    }
    for (i, period) in z.timetable.periods().iter().enumerate() {
        check_gap(z, &format!("period {} ({period})", i + 1), period.setpoints)?;
    }
    match z.unscheduled {
        Unscheduled::Shut => Ok(()),
        Unscheduled::Guard(set) => check_gap(z, "guard", set),
        Unscheduled::Setback(set) => check_gap(z, "setback", set),
    }
}

/// The two calls of a zone must never overlap: a call for one must end before the other begins.
fn check_gap(z: &ZoneSpec, place: &str, set: Setpoints) -> Check {
    let width_k = z.differential.width_k;
    let least_k = match z.differential.placement {
        Placement::Centred => width_k,
        Placement::OneSided => 0.0,
    };
    // A NaN setpoint fails this too.
    if set.gap_k() > 0.0 && set.gap_k() >= least_k && set.gap_k().is_finite() {
        return Ok(());
    }
    Err(ControlError::SetpointGap {
        zone: z.name.clone(),
        place: place.to_owned(),
        cooling_c: set.cooling_c,
        heating_c: set.heating_c,
        width_k,
    })
}

fn check_staging(s: &Staging) -> Check {
    match s.stages {
        Stages::FixedSpeed => {}
        Stages::TwoStage { low } => {
            value(low > 0.0 && low < 1.0, low, "above 0 and below 1", || {
                "the low stage".to_owned()
            })?;
        }
        Stages::VariableSpeed {
            minimum,
            maximum,
            ramp_per_s,
        } => {
            positive(minimum, || "the minimum speed".to_owned())?;
            value(
                maximum.is_finite() && maximum >= minimum,
                maximum,
                "at least the minimum speed",
                || "the maximum speed".to_owned(),
            )?;
            positive(ramp_per_s, || "the speed's rate of change".to_owned())?;
        }
    }
    not_negative(s.gain_per_k, || "the staging gain".to_owned())?;
    positive(s.band_k, || "the staging band".to_owned())?;
    not_negative(s.up_delay_s, || "the stage-up delay".to_owned())?;
    not_negative(s.down_delay_s, || "the stage-down delay".to_owned())?;
    if let Some(a) = &s.airflow_limit {
        positive(a.rated_cooling_w, || {
            "the rated cooling capacity".to_owned()
        })?;
        positive(a.rated_heating_w, || {
            "the rated heating capacity".to_owned()
        })?;
        opening(a.sensible_heat_ratio, || {
            "the sensible heat ratio".to_owned()
        })?;
        finite(a.cooling_limit_c, || "the coldest supply air".to_owned())?;
        finite(a.heating_limit_c, || "the warmest supply air".to_owned())?;
        not_negative(a.blind_s, || {
            "the blind time of the airflow limit".to_owned()
        })?;
        for table in [&a.cooling_share, &a.heating_share] {
            let mut before = (0.0, 0.0);
            for &(speed, at) in table {
                value(
                    speed > before.0 && at > before.1,
                    speed,
                    "in rising order",
                    || "a speed in the table of capacity shares".to_owned(),
                )?;
                before = (speed, at);
            }
        }
    }
    Ok(())
}

fn check_sequence(s: &SequenceSpec) -> Check {
    not_negative(s.minimum_run_s, || "the minimum run time".to_owned())?;
    not_negative(s.minimum_off_s, || "the minimum off-time".to_owned())?;
    not_negative(s.post_run_s, || "the post-run".to_owned())?;
    not_negative(s.power_up_s, || "the delay after power-up".to_owned())?;
    match s.opening {
        Opening::Wait { wait_s } => not_negative(wait_s, || "the wait for dampers".to_owned()),
        Opening::Feedback { ready_open, wait_s } => {
            opening(ready_open, || "the position that counts as open".to_owned())?;
            not_negative(wait_s, || "the wait for dampers".to_owned())
        }
    }
}

fn check_relief(pi: &ReliefPi) -> Check {
    positive(pi.setpoint_pa, || "the relief's setpoint".to_owned())?;
    positive(pi.gain_per_pa, || "the relief's gain".to_owned())?;
    not_negative(pi.integral_s, || "the relief's integral time".to_owned())?;
    not_negative(pi.filter_s, || "the relief's filter".to_owned())?;
    not_negative(pi.dead_band_pa, || "the relief's dead band".to_owned())?;
    not_negative(pi.travel_s, || "the relief's travel time".to_owned())
}

fn check_protection(p: &Protection) -> Check {
    let of = |what: &str| format!("{what} of protection `{}`", p.name);
    finite(p.trip, || of("the trip value"))?;
    let right = if p.sense.trips_high() {
        p.reset <= p.trip
    } else {
        p.reset >= p.trip
    };
    value(right, p.reset, "on the safe side of the trip value", || {
        of("the reset value")
    })?;
    not_negative(p.qualify_s, || of("the qualifying time"))?;
    not_negative(p.blind_s, || of("the blind time"))?;
    not_negative(p.reset_s, || of("the reset time"))?;
    not_negative(p.lockout_window_s, || of("the lock-out window"))?;
    match p.action {
        super::protection::ProtectionAction::SlowFan { factor } => {
            share(factor, || of("the fan factor"))
        }
        super::protection::ProtectionAction::OpenZones { opening } => {
            share(opening, || of("the opening"))
        }
        _ => Ok(()),
    }
}
