//! `[control]`, `[thermostat]`, `[dampers]`, `[zone.*]`, `[protection.*]`, `[[action]]`.

use super::air::{AirParts, Channel, Drives};
use super::diagnostic::Diagnostic;
use super::house::{Rooms, hours};
use super::reader::{Name, Section};
use super::unit::UnitSpec;
use crate::control::actuator::Actuator;
use crate::control::damper::{Damper, Modulating};
use crate::control::defaults as known;
use crate::control::fan::{FanLaw, FanSpec};
use crate::control::mode::{ModeRule, ModeSpec};
use crate::control::optimum_start::{LeadLaw, OptimumStart};
use crate::control::protection::{Protection, ProtectionAction};
use crate::control::relief_pi::ReliefPi;
use crate::control::sequence::{Opening, SequenceSpec};
use crate::control::staging::{
    AirflowLimit, DemandRule, GENERIC_COOLING_SHARE, GENERIC_HEATING_SHARE, Staging,
};
use crate::control::thermostat::{Differential, Placement, Sensor};
use crate::control::timetable::{Band, Days, Setpoints, Timetable};
use crate::control::zone::{LostSensor, OutOfBand, ZoneSpec};
use crate::control::{Action, ChannelOwner, ControlError, Controller, ControllerSpec, Hold, Mode};
use crate::quantity::Dimension;

/// Opening of a damper whose sensor is lost, when the file says nothing.
const COMMON: &str = "common practice, no source";

/// A zone of the scenario beside what the controller knows of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Zone {
    /// Name.
    pub name: String,
    /// Room that holds its thermostat.
    pub room: usize,
    /// Outlets it drives.
    pub outlets: Vec<usize>,
    /// Its sensor.
    pub sensor: Sensor,
    /// Width of its differential, K.
    pub differential_k: f64,
}

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

fn time(s: &Section<'_>, key: &str, d: &known::Sourced, most: f64) -> Result<f64, Diagnostic> {
    s.quantity(key, Dimension::Time)
        .within(0.0, most)
        .or(d.value, d.source)
}

fn kelvin(s: &Section<'_>, key: &str, d: &known::Sourced, most: f64) -> Result<f64, Diagnostic> {
    s.quantity(key, Dimension::TemperatureDifference)
        .within(0.0, most)
        .or(d.value, d.source)
}

pub(super) fn control(
    top: &Section<'_>,
    rooms: &Rooms,
    air: &AirParts,
    unit: &UnitSpec,
    duration_s: f64,
    start: chrono::NaiveDateTime,
) -> Result<ControlParts, Diagnostic> {
    let zone_sections = top.tables("zone")?;
    if zone_sections.is_empty() {
        return Err(top.error(
            "the scenario has no zone",
            "add one: [zone.day] with its thermostat's room and its channels",
        ));
    }
    if zone_sections.len() > 64 {
        return Err(top.error("more than 64 zones", "keep to 64 zones"));
    }
    let names: Vec<Name> = zone_sections.iter().map(|(n, _)| n.clone()).collect();
    let s = top.table("control")?;
    let mode = mode_spec(&s, &names)?;
    let cooling_only = mode.rule == ModeRule::Fixed(Mode::Cooling);
    let heating_only = mode.rule == ModeRule::Fixed(Mode::Heating);
    let sequence = sequence(&s)?;
    let staging = staging(&s, unit)?;
    let optimum = optimum_start(&s)?;
    let guard = Setpoints {
        cooling_c: s
            .quantity("overheat_guard", Dimension::Temperature)
            .within(25.0, 60.0)
            .or(
                known::OVERHEAT_GUARD_C.value,
                known::OVERHEAT_GUARD_C.source,
            )?,
        heating_c: s
            .quantity("frost_guard", Dimension::Temperature)
            .within(0.0, 20.0)
            .or(known::FROST_GUARD_C.value, known::FROST_GUARD_C.source)?,
    };
    let guarded = s.flag("guard").or(
        true,
        "outside their bands zones still call at guard setpoints",
    )?;
    s.finish()?;
    let defaults = ZoneDefaults {
        sensor: sensor(top)?,
        differential: differential(top)?,
        damper: dampers(top)?,
        optimum,
        guard: guarded.then_some(guard),
        cooling_only,
        heating_only,
    };
    let mut owners: Vec<Option<(usize, super::source::At)>> = vec![None; air.channels.len()];
    let mut zones = Vec::new();
    let mut specs = Vec::new();
    for (i, (name, z)) in zone_sections.iter().enumerate() {
        let outlets = own_channels(z, name, i, &air.channels, &names, &mut owners)?;
        let (zone, spec) = zone(z, name, rooms, air, outlets, &defaults)?;
        z.finish()?;
        zones.push(zone);
        specs.push(spec);
    }
    let mut channels = Vec::new();
    let mut outlet_channel = vec![None; air.spec.outlets.len()];
    let mut relief_channel = None;
    for (i, c) in air.channels.iter().enumerate() {
        match (&c.drives, &owners[i]) {
            (Drives::Relief, _) => {
                relief_channel = Some(i);
                channels.push(ChannelOwner::Relief);
            }
            (Drives::Outlet(o), Some((zone, _))) => {
                outlet_channel[*o] = Some(i);
                channels.push(ChannelOwner::Zone(*zone));
            }
            (Drives::Outlet(o), None) => {
                let outlet = &air.spec.outlets[*o].name;
                return Err(Diagnostic::at(
                    &c.at,
                    format!(
                        "channel {} (outlet \"{outlet}\") belongs to no zone",
                        c.number
                    ),
                )
                .advise(format!(
                    "add {} to the channels of one zone, or take `channel` out for an outlet \
                     without damper",
                    c.number
                )));
            }
        }
    }
    let relief = match relief_channel {
        Some(_) => Some(relief_pi(top)?),
        None => None,
    };
    let spec = ControllerSpec {
        zones: specs,
        channels,
        mode,
        staging,
        fan: fan_spec(top)?,
        sequence,
        relief,
        protections: protections(top)?,
    };
    let travel = top.table("dampers")?;
    let actuator = Actuator {
        travel_s: time(&travel, "travel", &known::ACTUATOR_TRAVEL_S, 600.0)?,
        dead_band: travel.fraction("motor_dead_band").or(
            known::ACTUATOR_DEAD_BAND.value,
            known::ACTUATOR_DEAD_BAND.source,
        )?,
    };
    let actuators = vec![actuator; spec.channels.len()];
    let actions = actions(top, &names, duration_s, start)?;
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

fn mode_spec(s: &Section<'_>, zones: &[Name]) -> Result<ModeSpec, Diagnostic> {
    #[derive(Clone, Copy, PartialEq)]
    enum Rule {
        Cooling,
        Heating,
        First,
        Lead,
        Count,
        Vote,
    }
    let rules = [
        ("cooling", Rule::Cooling),
        ("heating", Rule::Heating),
        ("first call", Rule::First),
        ("lead zone", Rule::Lead),
        ("head count", Rule::Count),
        ("weighted vote", Rule::Vote),
    ];
    let rule = s.choice("mode", &rules).required()?;
    let margin_k = kelvin(s, "vote_margin", &known::VOTE_MARGIN_K, 5.0)?;
    let lead = s.name("lead_zone").optional()?;
    let rule = match rule {
        Rule::Cooling => ModeRule::Fixed(Mode::Cooling),
        Rule::Heating => ModeRule::Fixed(Mode::Heating),
        Rule::First => ModeRule::FirstCall,
        Rule::Count => ModeRule::HeadCount,
        Rule::Vote => ModeRule::WeightedVote { margin_k },
        Rule::Lead => {
            let lead = lead.ok_or_else(|| {
                s.error(
                    "mode = \"lead zone\" needs `lead_zone`",
                    "write lead_zone = \"living\"",
                )
            })?;
            let zone = zones
                .iter()
                .position(|n| n.text == lead.text)
                .ok_or_else(|| lead.unknown("zone", zones.iter().map(Name::as_str)))?;
            ModeRule::LeadZone { zone }
        }
    };
    let initial = match rule {
        ModeRule::Fixed(mode) => mode,
        _ => s
            .choice(
                "initial_mode",
                &[("cooling", Mode::Cooling), ("heating", Mode::Heating)],
            )
            .or(Mode::Cooling, "our own choice")?,
    };
    Ok(ModeSpec {
        rule,
        initial,
        qualify_s: time(s, "mode_qualify", &known::VOTE_QUALIFY_S, 7200.0)?,
        hold_s: time(s, "mode_hold", &known::VOTE_QUALIFY_S, 7200.0)?,
        change_off_s: time(s, "mode_change_off", &known::MODE_CHANGE_OFF_S, 7200.0)?,
        max_wait_s: time(s, "longest_wait", &known::MAX_WAIT_S, 86_400.0)?,
    })
}

fn sequence(s: &Section<'_>) -> Result<SequenceSpec, Diagnostic> {
    Ok(SequenceSpec {
        minimum_run_s: time(s, "minimum_run", &known::MINIMUM_RUN_S, 3600.0)?,
        minimum_off_s: time(s, "minimum_off", &known::MINIMUM_OFF_S, 3600.0)?,
        post_run_s: time(s, "post_run", &known::POST_RUN_S, 1800.0)?,
        opening: Opening::Feedback {
            ready_open: s.fraction("ready_open").within(0.01, 1.0).or(
                0.5,
                "position that counts as open before a start; common practice, no source",
            )?,
            wait_s: time(s, "opening_wait", &known::OPENING_WAIT_S, 600.0)?,
        },
        power_up_s: time(s, "power_up_delay", &known::POWER_UP_S, 600.0)?,
    })
}

fn staging(s: &Section<'_>, unit: &UnitSpec) -> Result<Staging, Diagnostic> {
    let rules = [
        ("error", DemandRule::Error),
        ("calls", DemandRule::Weight),
        ("both", DemandRule::Both),
    ];
    let rule = s.choice("staging", &rules).or(
        DemandRule::Both,
        "the lesser of demand by error and by weight of the calling zones; common practice, no source",
    )?;
    let limited = s.flag("airflow_limit").or(
        true,
        "capacity is held to what the rooms' air can carry; common practice, no source",
    )?;
    let shr = s
        .fraction("sensible_share")
        .within(0.3, 1.0)
        .or(0.78, "our own generic unit")?;
    let temperature = |key: &str| s.quantity(key, Dimension::Temperature);
    let airflow_limit = AirflowLimit {
        rated_cooling_w: unit.cooling_w,
        rated_heating_w: unit.heating_w,
        cooling_limit_c: temperature("coldest_supply")
            .within(2.0, 20.0)
            .or(8.0, COMMON)?,
        heating_limit_c: temperature("warmest_supply")
            .within(25.0, 60.0)
            .or(48.0, COMMON)?,
        sensible_heat_ratio: shr,
        blind_s: 120.0,
        cooling_share: GENERIC_COOLING_SHARE.to_vec(),
        heating_share: GENERIC_HEATING_SHARE.to_vec(),
    };
    Ok(Staging {
        stages: unit.stages(),
        rule,
        gain_per_k: s.number("staging_gain").within(0.05, 20.0).or(
            1.0,
            "full speed at 1 K of error; common practice, no source",
        )?,
        band_k: s
            .quantity("staging_band", Dimension::TemperatureDifference)
            .within(0.05, 10.0)
            .or(1.0, COMMON)?,
        up_delay_s: time(s, "stage_up", &known::STAGE_UP_S, 3600.0)?,
        down_delay_s: time(s, "stage_down", &known::STAGE_DOWN_S, 3600.0)?,
        airflow_limit: limited.then_some(airflow_limit),
    })
}

fn optimum_start(s: &Section<'_>) -> Result<Option<OptimumStart>, Diagnostic> {
    let Some(o) = s.optional_table("optimum_start")? else {
        return Ok(None);
    };
    let rate = |key: &str| {
        o.number(key).within(0.1, 20.0).or(
            1.5,
            "kelvin per hour to begin with; then learned; common practice, no source",
        )
    };
    let law = LeadLaw::Slope {
        cooling_k_per_h: rate("cooling_rate")?,
        heating_k_per_h: rate("heating_rate")?,
        learning: o
            .fraction("learning")
            .or(0.3, "weight of each new recovery; our own choice")?,
    };
    let cap_s = o
        .quantity("earliest", Dimension::Time)
        .within(0.0, 6.0 * 3600.0)
        .or(known::LEAD_CAP_S.value, known::LEAD_CAP_S.source)?;
    o.finish()?;
    Ok(Some(OptimumStart { law, cap_s }))
}

fn sensor(top: &Section<'_>) -> Result<Sensor, Diagnostic> {
    let s = top.table("thermostat")?;
    let read = sensor_keys(&s, None)?;
    s.quantity("differential", Dimension::TemperatureDifference)
        .optional()?;
    s.choice("placement", &PLACEMENTS).optional()?;
    s.finish()?;
    Ok(read)
}

fn sensor_keys(s: &Section<'_>, base: Option<Sensor>) -> Result<Sensor, Diagnostic> {
    let read = |key: &str, dim: Dimension, most: f64, base: Option<f64>, d: (f64, &str)| {
        let field = s
            .quantity(key, dim)
            .within(if key == "offset" { -most } else { 0.0 }, most);
        match base {
            Some(b) => field.optional().map(|v| v.unwrap_or(b)),
            None => field.or(d.0, d.1),
        }
    };
    let k = Dimension::TemperatureDifference;
    let known_pair = |d: &known::Sourced| (d.value, d.source);
    Ok(Sensor {
        lag_s: read(
            "lag",
            Dimension::Time,
            3600.0,
            base.map(|b| b.lag_s),
            known_pair(&known::SENSOR_LAG_S),
        )?,
        offset_k: read(
            "offset",
            k,
            5.0,
            base.map(|b| b.offset_k),
            (0.0, "a true sensor"),
        )?,
        noise_k: read("noise", k, 2.0, base.map(|b| b.noise_k), (0.02, COMMON))?,
        resolution_k: read(
            "resolution",
            k,
            2.0,
            base.map(|b| b.resolution_k),
            known_pair(&known::SENSOR_RESOLUTION_K),
        )?,
        sample_s: read(
            "sample",
            Dimension::Time,
            900.0,
            base.map(|b| b.sample_s),
            known_pair(&known::SENSOR_SAMPLE_S),
        )?,
        wall_weight: read(
            "wall_weight",
            Dimension::Fraction,
            1.0,
            base.map(|b| b.wall_weight),
            (0.1, "0 to 0.3; common practice, no source"),
        )?,
    })
}

const PLACEMENTS: [(&str, Placement); 2] = [
    ("centred", Placement::Centred),
    ("one-sided", Placement::OneSided),
];

fn differential(top: &Section<'_>) -> Result<Differential, Diagnostic> {
    let s = top.table("thermostat")?;
    let width_k = s
        .quantity("differential", Dimension::TemperatureDifference)
        .within(0.05, 5.0)
        .or(known::DIFFERENTIAL_K.value, known::DIFFERENTIAL_K.source)?;
    let placement = s.choice("placement", &PLACEMENTS).or(
        Placement::Centred,
        "half above and half below the setpoint; common practice, no source",
    )?;
    Ok(Differential { width_k, placement })
}

fn dampers(top: &Section<'_>) -> Result<Damper, Diagnostic> {
    let s = top.table("dampers")?;
    let damper = damper_keys(&s)?.unwrap_or_else(|| {
        let source = "the simplest motor; common practice, no source";
        s.note("dampers.control", "two-position", source);
        Damper::TwoPosition
    });
    for key in ["travel", "motor_dead_band"] {
        s.quantity(key, Dimension::Time).optional().ok();
    }
    s.finish()?;
    Ok(damper)
}

fn damper_keys(s: &Section<'_>) -> Result<Option<Damper>, Diagnostic> {
    let kinds = [("two-position", 0), ("modulating", 1)];
    let kind = s.choice("control", &kinds).optional()?;
    let modulating = Modulating {
        proportional_band_k: s
            .quantity("proportional_band", Dimension::TemperatureDifference)
            .within(0.1, 10.0)
            .optional()?
            .unwrap_or(known::PROPORTIONAL_BAND_K.value),
        minimum_open: s
            .fraction("minimum_open")
            .within(0.01, 1.0)
            .optional()?
            .unwrap_or(known::MINIMUM_OPEN.value),
        integral_s: s
            .quantity("integral", Dimension::Time)
            .within(0.0, 36_000.0)
            .optional()?
            .unwrap_or(0.0),
        dead_band: s
            .fraction("dead_band")
            .within(0.0, 0.5)
            .optional()?
            .unwrap_or(known::DAMPER_DEAD_BAND.value),
        update_s: s
            .quantity("update", Dimension::Time)
            .within(0.0, 3600.0)
            .optional()?
            .unwrap_or(known::DAMPER_UPDATE_S.value),
    };
    Ok(match kind {
        None => None,
        Some(0) => Some(Damper::TwoPosition),
        Some(_) => {
            if !s.has("proportional_band") {
                s.note(
                    &format!("{}.proportional_band", s.path()),
                    "1.5 K",
                    known::PROPORTIONAL_BAND_K.source,
                );
            }
            Some(Damper::Modulating(modulating))
        }
    })
}

struct ZoneDefaults {
    sensor: Sensor,
    differential: Differential,
    damper: Damper,
    optimum: Option<OptimumStart>,
    guard: Option<Setpoints>,
    cooling_only: bool,
    heating_only: bool,
}

/// Takes the zone's channels; returns the outlets they drive.
fn own_channels(
    s: &Section<'_>,
    name: &Name,
    zone: usize,
    channels: &[Channel],
    names: &[Name],
    owners: &mut [Option<(usize, super::source::At)>],
) -> Result<Vec<usize>, Diagnostic> {
    let numbers = s.numbers("channels").within(1.0, 9999.0).required()?;
    if numbers.is_empty() {
        return Err(s.error_at(
            "channels",
            format!("zone \"{name}\" has no channel"),
            "give it at least one damper: channels = [1]",
        ));
    }
    let at = s.at_of("channels");
    let mut outlets = Vec::new();
    for n in numbers {
        let known = || {
            let list: Vec<String> = channels.iter().map(|c| c.number.to_string()).collect();
            format!("the channels in use are {}", list.join(", "))
        };
        let Some(i) = channels.iter().position(|c| f64::from(c.number) == n) else {
            return Err(s.error_at("channels", format!("no damper has channel {n}"), known()));
        };
        match &channels[i].drives {
            Drives::Relief => {
                return Err(s.error_at(
                    "channels",
                    format!("channel {n} drives the relief, which no zone may own"),
                    format!("take {n} out of zone \"{name}\""),
                ));
            }
            Drives::Outlet(o) => outlets.push(*o),
        }
        if let Some((other, first)) = &owners[i] {
            let other = &names[*other];
            return Err(Diagnostic::at(
                &at,
                format!("channel {n} is owned twice: by zone \"{other}\" and by zone \"{name}\""),
            )
            .and_at(first, "first here")
            .advise("a channel belongs to exactly one zone; take it out of one of them"));
        }
        owners[i] = Some((zone, at.clone()));
    }
    Ok(outlets)
}

fn zone(
    s: &Section<'_>,
    name: &Name,
    rooms: &Rooms,
    air: &AirParts,
    outlets: Vec<usize>,
    d: &ZoneDefaults,
) -> Result<(Zone, ZoneSpec), Diagnostic> {
    let room = rooms.find(&s.name("thermostat").required()?)?;
    let served: Vec<usize> = outlets.iter().map(|&o| air.spec.outlets[o].room).collect();
    if !served.contains(&room) {
        let names: Vec<&str> = served.iter().map(|&r| rooms.names[r].as_str()).collect();
        return Err(s.error_at(
            "thermostat",
            format!(
                "the thermostat of zone \"{name}\" hangs in a room that none of its outlets serve"
            ),
            format!("put it in one of: {}", names.join(", ")),
        ));
    }
    let base = setpoints(s, d)?;
    let bands = bands(s, base, d)?;
    let timetable = Timetable::new(bands).map_err(|e| {
        s.error_at(
            "bands",
            e.to_string(),
            "correct the bands; they may not overlap",
        )
    })?;
    let setback = setback(s, base)?;
    let out_of_band = match (setback, d.guard) {
        (Some(set), _) => OutOfBand::Setback(set),
        (None, Some(guard)) => OutOfBand::Guard(guard),
        (None, None) => OutOfBand::Shut,
    };
    let sensor = sensor_keys(s, Some(d.sensor))?;
    let width = s
        .quantity("differential", Dimension::TemperatureDifference)
        .within(0.05, 5.0)
        .optional()?
        .unwrap_or(d.differential.width_k);
    let design: f64 = outlets
        .iter()
        .map(|&o| air.spec.outlets[o].design_flow_m3_s)
        .sum();
    let weight = s
        .number("weight")
        .within(0.0, 1e6)
        .optional()?
        .unwrap_or(design);
    let lost = s.fraction("lost_sensor_open").optional()?;
    let early = s.flag("optimum_start").optional()?.unwrap_or(true);
    let spec = ZoneSpec {
        name: name.text.clone(),
        weight,
        timetable,
        out_of_band,
        optimum_start: d.optimum.filter(|_| early),
        differential: Differential {
            width_k: width,
            ..d.differential
        },
        damper: damper_keys(s)?.unwrap_or(d.damper),
        idle_open: s.fraction("idle_open").or(0.0, "a satisfied zone shuts")?,
        lost_sensor: lost.map_or(LostSensor::NoCall, LostSensor::FixedOpening),
        lowest_c: s
            .quantity("lowest", Dimension::Temperature)
            .within(5.0, 30.0)
            .or(
                16.0,
                "bounds of a person's setpoint; common practice, no source",
            )?,
        highest_c: s
            .quantity("highest", Dimension::Temperature)
            .within(15.0, 40.0)
            .or(
                30.0,
                "bounds of a person's setpoint; common practice, no source",
            )?,
        enabled: s.flag("on").or(true, "zones are switched on")?,
    };
    let zone = Zone {
        name: name.text.clone(),
        room,
        outlets,
        sensor,
        differential_k: width,
    };
    Ok((zone, spec))
}

/// The gap that keeps an unwritten setpoint out of the way of a single-mode system, K.
const FAR_K: f64 = 10.0;

fn setpoints(s: &Section<'_>, d: &ZoneDefaults) -> Result<Setpoints, Diagnostic> {
    let t = |key: &str| s.quantity(key, Dimension::Temperature).within(5.0, 40.0);
    let (cooling, heating) = (t("cooling").optional()?, t("heating").optional()?);
    if d.heating_only {
        let heating_c = match heating {
            Some(h) => h,
            None => t("heating").or(20.0, "EN 16798-1 category II, as transcribed")?,
        };
        return Ok(Setpoints {
            cooling_c: heating_c + FAR_K,
            heating_c,
        });
    }
    let cooling_c = match cooling {
        Some(c) => c,
        None => t("cooling").or(25.0, "within EN 16798-1 category II, as transcribed")?,
    };
    let heating_c = match heating {
        Some(h) if !d.cooling_only => h,
        _ if d.cooling_only => cooling_c - FAR_K,
        _ => t("heating").or(20.0, "EN 16798-1 category II, as transcribed")?,
    };
    Ok(Setpoints {
        cooling_c,
        heating_c,
    })
}

fn bands(s: &Section<'_>, base: Setpoints, d: &ZoneDefaults) -> Result<Vec<Band>, Diagnostic> {
    if !s.has("bands") {
        s.note(
            &format!("{}.bands", s.path()),
            "all day, every day",
            "no band written",
        );
        let all = Band {
            days: Days::ALL,
            from_min: 0,
            to_min: 1440,
            setpoints: base,
        };
        return Ok(vec![all]);
    }
    let mut out = Vec::new();
    for b in s.list("bands")? {
        let h = hours(&b)?;
        let t = |key: &str| {
            b.quantity(key, Dimension::Temperature)
                .within(5.0, 40.0)
                .optional()
        };
        let (cooling, heating) = (t("cooling")?, t("heating")?);
        let mut set = base;
        if let Some(c) = cooling {
            set.cooling_c = c;
            if d.cooling_only {
                set.heating_c = c - FAR_K;
            }
        }
        if let Some(h) = heating {
            set.heating_c = h;
            if d.heating_only {
                set.cooling_c = h + FAR_K;
            }
        }
        b.finish()?;
        let days: Vec<chrono::Weekday> = (0..7u16)
            .filter(|day| h.days >> day & 1 == 1)
            .map(|day| crate::control::clock::weekday_of(day * 1440))
            .collect();
        out.push(Band {
            days: Days::of(&days),
            from_min: h.from_min,
            to_min: h.to_min,
            setpoints: set,
        });
    }
    Ok(out)
}

fn setback(s: &Section<'_>, base: Setpoints) -> Result<Option<Setpoints>, Diagnostic> {
    let t = |key: &str| {
        s.quantity(key, Dimension::Temperature)
            .within(5.0, 45.0)
            .optional()
    };
    let (cooling, heating) = (t("setback_cooling")?, t("setback_heating")?);
    if cooling.is_none() && heating.is_none() {
        return Ok(None);
    }
    Ok(Some(Setpoints {
        cooling_c: cooling.unwrap_or(base.cooling_c + FAR_K),
        heating_c: heating.unwrap_or(base.heating_c - FAR_K),
    }))
}

/// The keys of `[fan]` that the controller reads.
pub(super) fn fan_keys(s: &Section<'_>) -> Result<FanSpec, Diagnostic> {
    let at_zero = s.fraction("at_zero_speed").or(
        0.4,
        "fan command = 0.4 + 0.6 × unit speed; our own generic unit",
    )?;
    let low = s.fraction("low_stage").optional()?;
    let post_run = s.fraction("post_run").or(0.6, COMMON)?;
    let law = match low {
        Some(low) => FanLaw::PerStage { low, full: 1.0 },
        None => FanLaw::Linear {
            at_zero,
            maximum: 1.0,
        },
    };
    Ok(FanSpec { law, post_run })
}

fn fan_spec(top: &Section<'_>) -> Result<FanSpec, Diagnostic> {
    let s = top.silent("fan")?;
    fan_keys(&s)
}

/// The keys of `[relief]` that the controller reads.
pub(super) fn relief_keys(s: &Section<'_>) -> Result<Option<ReliefPi>, Diagnostic> {
    let written = s
        .quantity("setpoint", Dimension::Pressure)
        .within(5.0, 500.0)
        .optional()?;
    let gain = s.number("gain").within(1e-5, 1.0).or(
        0.004,
        "opening per Pa: half open at 125 Pa over; tuned on our own clinic",
    )?;
    let integral_s = s
        .quantity("integral", Dimension::Time)
        .within(1.0, 3600.0)
        .or(60.0, "0.3 to 1 times the motor's travel; our own choice")?;
    let filter_s = s
        .quantity("filter", Dimension::Time)
        .within(0.0, 60.0)
        .or(3.0, COMMON)?;
    let dead_band_pa = s
        .quantity("dead_band", Dimension::Pressure)
        .within(0.0, 50.0)
        .or(4.0, COMMON)?;
    Ok(written.map(|setpoint_pa| ReliefPi {
        setpoint_pa,
        gain_per_pa: gain,
        integral_s,
        filter_s,
        dead_band_pa,
        travel_s: known::ACTUATOR_TRAVEL_S.value,
    }))
}

fn relief_pi(top: &Section<'_>) -> Result<ReliefPi, Diagnostic> {
    let s = top.silent("relief")?;
    relief_keys(&s)?.ok_or_else(|| {
        s.error(
            "a motorised relief needs `setpoint`",
            "write setpoint = \"80 Pa\"",
        )
    })
}

fn protections(top: &Section<'_>) -> Result<Vec<Protection>, Diagnostic> {
    let s = top.table("protection")?;
    let list: [(&str, Protection, Dimension); 4] = [
        (
            "low_supply",
            Protection::low_supply(),
            Dimension::Temperature,
        ),
        (
            "coil_freeze",
            Protection::coil_freeze(),
            Dimension::Temperature,
        ),
        (
            "high_supply",
            Protection::high_supply(),
            Dimension::Temperature,
        ),
        (
            "high_static",
            Protection::high_static(ProtectionAction::SlowFan { factor: 0.7 }),
            Dimension::Pressure,
        ),
    ];
    let mut out = Vec::new();
    for (key, default, dimension) in list {
        let p = s.table(key)?;
        let fitted = p
            .flag("fitted")
            .or(key != "high_static", "as most units have it")?;
        let source = COMMON;
        let value = |k: &str, v: f64| p.quantity(k, dimension).or(v, source);
        let seconds = |k: &str, v: f64| {
            p.quantity(k, Dimension::Time)
                .within(0.0, 7200.0)
                .or(v, source)
        };
        let protection = Protection {
            trip: value("trip", default.trip)?,
            reset: value("reset", default.reset)?,
            qualify_s: seconds("qualify", default.qualify_s)?,
            blind_s: seconds("blind", default.blind_s)?,
            reset_s: seconds("reset_after", default.reset_s)?,
            lockout_count: p
                .count("lock_out_count")
                .or(default.lockout_count, "trips in the window; 0 = never")?,
            lockout_window_s: seconds("lock_out_window", default.lockout_window_s)?,
            action: action_of(&p, default.action)?,
            ..default
        };
        p.finish()?;
        if fitted {
            out.push(protection);
        }
    }
    s.finish()?;
    Ok(out)
}

fn action_of(p: &Section<'_>, default: ProtectionAction) -> Result<ProtectionAction, Diagnostic> {
    let words = [
        ("step down, then off", ProtectionAction::StepDownThenOff),
        ("off", ProtectionAction::Off),
        ("step down", ProtectionAction::StepDown),
        ("open relief", ProtectionAction::OpenRelief),
        ("slow fan", ProtectionAction::SlowFan { factor: 0.7 }),
        ("open zones", ProtectionAction::OpenZones { opening: 0.3 }),
    ];
    p.choice("action", &words).or(default, COMMON)
}

fn actions(
    top: &Section<'_>,
    zones: &[Name],
    duration_s: f64,
    start: chrono::NaiveDateTime,
) -> Result<Vec<(f64, Action, String)>, Diagnostic> {
    let mut out = Vec::new();
    for a in top.list("action")? {
        let at = action_time(&a, duration_s, start)?;
        let hold = match a
            .quantity("for", Dimension::Time)
            .within(60.0, 1e7)
            .optional()?
        {
            Some(s) => Hold::For(s),
            None => Hold::NextEdge,
        };
        let zone = a.name("zone").optional()?;
        let zone_index = zone
            .as_ref()
            .map(|z| {
                zones
                    .iter()
                    .position(|n| n.text == z.text)
                    .ok_or_else(|| z.unknown("zone", zones.iter().map(Name::as_str)))
            })
            .transpose()?;
        let change = a
            .quantity("setpoint_change", Dimension::TemperatureDifference)
            .within(-10.0, 10.0)
            .optional()?;
        let switch = a
            .choice("switch", &[("on", true), ("off", false)])
            .optional()?;
        let modes = [
            ("cooling", Some(Mode::Cooling)),
            ("heating", Some(Mode::Heating)),
            ("by rule", None),
        ];
        let mode = a.choice("mode", &modes).optional()?;
        let clear = a.flag("clear_lock_out").optional()?.unwrap_or(false);
        let who = zone.as_ref().map_or("system", |z| z.text.as_str());
        let (action, words) = match (zone_index, change, switch, mode, clear) {
            (Some(zone), Some(change_k), None, None, false) => (
                Action::ZoneSetpoint {
                    zone,
                    change_k,
                    hold,
                },
                format!("setpoint of {who} moved by {change_k:+.1} K"),
            ),
            (Some(zone), None, Some(true), None, false) => {
                (Action::ZoneOn { zone, hold }, format!("{who} switched on"))
            }
            (Some(zone), None, Some(false), None, false) => (
                Action::ZoneOff { zone, hold },
                format!("{who} switched off"),
            ),
            (None, None, Some(true), None, false) => {
                (Action::SystemOn, "whole system switched on".to_string())
            }
            (None, None, Some(false), None, false) => {
                (Action::SystemOff, "whole system switched off".to_string())
            }
            (None, None, None, Some(mode), false) => (
                Action::Mode(mode),
                mode.map_or("mode given back to the rule".to_string(), |m| {
                    format!("mode set to {}", m.name())
                }),
            ),
            (None, None, None, None, true) => {
                (Action::ClearLockOut, "lock-outs cleared".to_string())
            }
            _ => {
                return Err(a.error(
                    "this action does not say one thing",
                    "write one of: zone with setpoint_change = \"-1 K\" or switch = \"off\"; \
                     switch = \"off\" alone for the whole system; mode = \"heating\"; \
                     clear_lock_out = true",
                ));
            }
        };
        a.finish()?;
        out.push((at, action, words));
    }
    out.sort_by(|a, b| a.0.total_cmp(&b.0));
    Ok(out)
}

/// `at` as a time of day on the first day that has it, or `after` the start.
fn action_time(
    a: &Section<'_>,
    duration_s: f64,
    start: chrono::NaiveDateTime,
) -> Result<f64, Diagnostic> {
    use chrono::Timelike;
    let after = a
        .quantity("after", Dimension::Time)
        .within(0.0, duration_s)
        .optional()?;
    if let Some(after) = after {
        return Ok(after);
    }
    let minute = a.time_of_day("at").required()?;
    let begun = start.num_seconds_from_midnight();
    let t = (i64::from(minute) * 60 - i64::from(begun)).rem_euclid(86_400) as f64;
    if t > duration_s {
        return Err(a.error_at(
            "at",
            "the run ends before this time of day comes",
            "choose a time within the run, or lengthen [run] duration",
        ));
    }
    Ok(t)
}
