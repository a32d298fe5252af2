//! `[control]`, `[protection.*]`, and the controller put together with its zones and channels.

mod actions;
mod zone;

pub(super) use actions::{ACTION_MODES, SWITCH};
pub use zone::Zone;
pub(super) use zone::{DAMPERS, PLACEMENTS};

use super::air::{AirParts, Channel, Drives};
use super::diagnostic::Diagnostic;
use super::house::Rooms;
use super::reader::{Name, Section};
use super::site::RunSpec;
use super::unit::UnitSpec;
use crate::control::actuator::Actuator;
use crate::control::fan::{FanLaw, FanSpec};
use crate::control::mode::{ModeRule, ModeSpec};
use crate::control::optimum_start::{LeadLaw, OptimumStart};
use crate::control::protection::{Protection, ProtectionAction, Sense};
use crate::control::relief_pi::ReliefPi;
use crate::control::sequence::{Opening, SequenceSpec};
use crate::control::staging::{
    AirflowLimit, DemandRule, GENERIC_COOLING_SHARE, GENERIC_HEATING_SHARE, Staging,
};
use crate::control::timetable::Setpoints;
use crate::control::{Action, ChannelOwner, ControlError, Controller, ControllerSpec, Mode};

/// Control of a scenario.
#[derive(Clone, Debug)]
pub struct ControlParts {
    /// The controller.
    pub controller: Controller,
    /// The zones.
    pub zones: Vec<Zone>,
    /// Controller channel of each outlet; `None` = no damper.
    pub outlet_channel: Vec<Option<usize>>,
    /// Controller channel of a motorised relief.
    pub relief_channel: Option<usize>,
    /// Motor of each channel.
    pub actuators: Vec<Actuator>,
    /// A person's actions, in order of time.
    pub actions: Vec<(f64, Action, String)>,
}

pub(super) fn control(
    top: &Section<'_>,
    rooms: &Rooms,
    air: &AirParts,
    unit: &UnitSpec,
    run: &RunSpec,
) -> Result<ControlParts, Diagnostic> {
    let s = top.table("control");
    let zone_sections = top.tables("zone");
    let names: Vec<Name> = zone_sections.iter().map(|(n, _)| n.clone()).collect();
    let mode = mode_spec(&s, &names)?;
    let guard = if s.get("guard")? {
        Some(Setpoints {
            cooling_c: s.get("overheat_guard")?,
            heating_c: s.get("frost_guard")?,
        })
    } else {
        None
    };
    let defaults = zone::Defaults::read(top, &mode.rule, optimum_start(&s)?, guard)?;
    let mut owners: Owners = vec![None; air.channels.len()];
    let read = zone_sections.iter().enumerate().map(|(i, (name, z))| {
        let outlets = own_channels(z, i, &air.channels, &names, &mut owners)?;
        zone::zone(z, name, rooms, air, outlets, &defaults)
    });
    let (zones, specs) = Diagnostic::gather(read)?.into_iter().unzip();
    let mut outlet_channel = vec![None; air.spec.outlets.len()];
    let mut relief_channel = None;
    let channels = air.channels.iter().zip(&owners).enumerate();
    let channels = channels.map(|(i, (c, owner))| match (&c.drives, owner) {
        (Drives::Relief, _) => {
            relief_channel = Some(i);
            Ok(ChannelOwner::Relief)
        }
        (Drives::Outlet(o), Some((zone, _))) => {
            outlet_channel[*o] = Some(i);
            Ok(ChannelOwner::Zone(*zone))
        }
        (Drives::Outlet(o), None) => {
            let (n, outlet) = (c.number, &air.spec.outlets[*o].name);
            let what = format!("channel {n} (outlet \"{outlet}\") belongs to no zone");
            Err(Diagnostic::at(&c.at, what).advise(format!(
                "add {n} to the channels of one zone, or take `channel` out for an outlet \
                 without damper"
            )))
        }
    });
    let channels = Diagnostic::gather(channels)?;
    let motors = top.table("dampers");
    let actuator = Actuator {
        travel_s: motors.get("travel_time")?,
        dead_band: motors.get("motor_dead_band")?,
    };
    let relief = match relief_channel {
        Some(_) => Some(relief_pi(top, actuator.travel_s)?),
        None => None,
    };
    let actuators = vec![actuator; channels.len()];
    let spec = ControllerSpec {
        zones: specs,
        channels,
        mode,
        staging: staging(&s, unit)?,
        fan: fan_spec(top)?,
        sequence: sequence(&s)?,
        relief,
        protections: protections(top)?,
    };
    let actions = actions::actions(top, &names, run)?;
    let controller = Controller::new(spec).map_err(|e| place(&e, top, &zone_sections))?;
    Ok(ControlParts {
        controller,
        zones,
        outlet_channel,
        relief_channel,
        actuators,
        actions,
    })
}

/// A fault that the controller found, at the place it most likely comes from.
fn place(e: &ControlError, top: &Section<'_>, zones: &[(Name, Section<'_>)]) -> Diagnostic {
    let text = e.to_string();
    let zone = zones
        .iter()
        .find(|(n, _)| text.contains(&format!("`{}`", n.text)));
    let at = zone.map_or_else(|| top.at().clone(), |(_, s)| s.at().clone());
    Diagnostic::at(&at, text).advise("correct the control part of the scenario")
}

/// Whether the unit is in one mode for good.
#[derive(Clone, Copy, PartialEq)]
pub(super) enum Rule {
    Cooling,
    Heating,
    First,
    Lead,
    Count,
    Vote,
}

pub(super) const RULES: [(&str, Rule); 6] = [
    ("cooling", Rule::Cooling),
    ("heating", Rule::Heating),
    ("first call", Rule::First),
    ("lead zone", Rule::Lead),
    ("head count", Rule::Count),
    ("weighted vote", Rule::Vote),
];

pub(super) const MODES: [(&str, Mode); 2] =
    [("cooling", Mode::Cooling), ("heating", Mode::Heating)];

fn mode_spec(s: &Section<'_>, zones: &[Name]) -> Result<ModeSpec, Diagnostic> {
    let rule = match s.choice("mode", &RULES)? {
        Rule::Cooling => ModeRule::Fixed(Mode::Cooling),
        Rule::Heating => ModeRule::Fixed(Mode::Heating),
        Rule::First => ModeRule::FirstCall,
        Rule::Count => ModeRule::HeadCount,
        Rule::Vote => ModeRule::WeightedVote {
            margin_k: s.get("vote_margin")?,
        },
        Rule::Lead => ModeRule::LeadZone {
            zone: find_zone(&s.get("lead_zone")?, zones)?,
        },
    };
    let initial = match rule {
        ModeRule::Fixed(mode) => mode,
        _ => s.choice("initial_mode", &MODES)?,
    };
    Ok(ModeSpec {
        rule,
        initial,
        qualify_s: s.get("mode_qualify")?,
        hold_s: s.get("mode_hold")?,
        change_off_s: s.get("mode_change_off")?,
        max_wait_s: s.get("maximum_wait")?,
    })
}

/// The index of the zone that a key names.
fn find_zone(name: &Name, zones: &[Name]) -> Result<usize, Diagnostic> {
    zones
        .iter()
        .position(|n| n.text == name.text)
        .ok_or_else(|| name.unknown("zone", zones.iter().map(Name::as_str)))
}

fn sequence(s: &Section<'_>) -> Result<SequenceSpec, Diagnostic> {
    Ok(SequenceSpec {
        minimum_run_s: s.get("minimum_run")?,
        minimum_off_s: s.get("minimum_off")?,
        post_run_s: s.get("post_run")?,
        opening: Opening::Feedback {
            ready_open: s.get("ready_opening")?,
            wait_s: s.get("opening_wait")?,
        },
        power_up_s: s.get("power_up_delay")?,
    })
}

pub(super) const STAGINGS: [(&str, DemandRule); 3] = [
    ("error", DemandRule::Error),
    ("calls", DemandRule::Weight),
    ("both", DemandRule::Both),
];

fn staging(s: &Section<'_>, unit: &UnitSpec) -> Result<Staging, Diagnostic> {
    let airflow_limit = if s.get("airflow_limit")? {
        Some(AirflowLimit {
            rated_cooling_w: unit.cooling_w,
            rated_heating_w: unit.heating_w,
            cooling_limit_c: s.get("minimum_supply_temperature")?,
            heating_limit_c: s.get("maximum_supply_temperature")?,
            sensible_heat_ratio: s.get("sensible_heat_ratio")?,
            blind_s: s.get("airflow_limit_delay")?,
            cooling_share: GENERIC_COOLING_SHARE.to_vec(),
            heating_share: GENERIC_HEATING_SHARE.to_vec(),
        })
    } else {
        None
    };
    Ok(Staging {
        stages: unit.stages(),
        rule: s.choice("staging", &STAGINGS)?,
        gain_per_k: s.get("staging_gain")?,
        band_k: s.get("staging_band")?,
        up_delay_s: s.get("stage_up_delay")?,
        down_delay_s: s.get("stage_down_delay")?,
        airflow_limit,
    })
}

fn optimum_start(s: &Section<'_>) -> Result<Option<OptimumStart>, Diagnostic> {
    if !s.has("optimum_start") {
        return Ok(None);
    }
    let o = s.table("optimum_start");
    let law = LeadLaw::Slope {
        cooling_k_per_h: o.get("cooling_rate")?,
        heating_k_per_h: o.get("heating_rate")?,
        learning: o.get("learning")?,
    };
    let cap_s = o.get("maximum_lead")?;
    Ok(Some(OptimumStart { law, cap_s }))
}

/// Channel by channel: the zone that owns it, and where it says so.
type Owners = Vec<Option<(usize, super::source::At)>>;

/// Takes the zone's channels; returns the outlets they drive.
fn own_channels(
    s: &Section<'_>,
    zone: usize,
    channels: &[Channel],
    names: &[Name],
    owners: &mut Owners,
) -> Result<Vec<usize>, Diagnostic> {
    let name = &names[zone];
    let fault = |what: String, advice: String| Err(s.error_at("channels", what, advice));
    let mut outlets = Vec::new();
    for n in s.get::<Vec<f64>>("channels")? {
        let Some(i) = channels.iter().position(|c| f64::from(c.number) == n) else {
            let known: Vec<String> = channels.iter().map(|c| c.number.to_string()).collect();
            let advice = format!("the channels in use are {}", known.join(", "));
            return fault(format!("no damper has channel {n}"), advice);
        };
        match &channels[i].drives {
            Drives::Relief => {
                let what = format!("channel {n} drives the relief, which no zone may own");
                return fault(what, format!("take {n} out of zone \"{name}\""));
            }
            Drives::Outlet(o) => outlets.push(*o),
        }
        let at = s.at_of("channels");
        if let Some((other, first)) = &owners[i] {
            let other = &names[*other];
            let what =
                format!("channel {n} is owned twice: by zone \"{other}\" and by zone \"{name}\"");
            let advice = "a channel belongs to exactly one zone; take it out of one of them";
            return Err(Diagnostic::at(&at, what)
                .and_at(first, "first here")
                .advise(advice));
        }
        owners[i] = Some((zone, at));
    }
    Ok(outlets)
}

fn fan_spec(top: &Section<'_>) -> Result<FanSpec, Diagnostic> {
    let s = top.table("fan");
    let law = match s.opt("low_stage_speed")? {
        Some(low) => FanLaw::PerStage { low, full: 1.0 },
        None => FanLaw::Linear {
            at_zero: s.get("speed_at_zero_capacity")?,
            maximum: 1.0,
        },
    };
    let post_run = s.get("post_run_speed")?;
    Ok(FanSpec { law, post_run })
}

fn relief_pi(top: &Section<'_>, travel_s: f64) -> Result<ReliefPi, Diagnostic> {
    let s = top.table("relief");
    Ok(ReliefPi {
        setpoint_pa: s.get("setpoint")?,
        gain_per_pa: s.get("gain")?,
        integral_s: s.get("integral_time")?,
        filter_s: s.get("filter_time")?,
        dead_band_pa: s.get("dead_band")?,
        travel_s,
    })
}

pub(super) const CUTOUT_ACTIONS: [(&str, ProtectionAction); 6] = [
    ("step down, then off", ProtectionAction::StepDownThenOff),
    ("off", ProtectionAction::Off),
    ("step down", ProtectionAction::StepDown),
    ("open relief", ProtectionAction::OpenRelief),
    ("slow fan", ProtectionAction::SlowFan { factor: 0.7 }),
    ("open zones", ProtectionAction::OpenZones { opening: 0.3 }),
];

fn protections(top: &Section<'_>) -> Result<Vec<Protection>, Diagnostic> {
    let s = top.table("protection");
    let list = [
        ("low_supply", "low supply air", Sense::SupplyLow),
        ("coil_freeze", "coil freeze", Sense::CoilSurfaceLow),
        ("high_supply", "high supply air", Sense::SupplyHigh),
        ("high_static", "high static pressure", Sense::StaticHigh),
    ];
    let mut fitted = Vec::new();
    for (key, name, sense) in list {
        let p = s.table(key);
        if p.get("fitted")? {
            fitted.push(Protection {
                name: name.into(),
                sense,
                trip: p.get("trip")?,
                qualify_s: p.get("qualify_time")?,
                blind_s: p.get("blind_time")?,
                action: p.choice("action", &CUTOUT_ACTIONS)?,
                reset: p.get("re_enable")?,
                reset_s: p.get("re_enable_after")?,
                lockout_count: p.get("lock_out_count")?,
                lockout_window_s: p.get("lock_out_window")?,
            });
        }
    }
    Ok(fitted)
}
