//! Fan, filter, coil, return, ducts, outlets and relief.

use std::sync::Arc;

use super::diagnostic::Diagnostic;
use super::house::Rooms;
use super::reader::{Name, Section};
use crate::plant::air::{RHO_REF, STANDARD_PRESSURE};
use crate::plant::air_side::{
    AirSideSpec, DriveKind, DuctSpace, Outlet, ReliefSpec, ReliefTo, ReturnPath, Run, Trunk,
};
use crate::plant::damper::{self, Damper, LeakageClass};
use crate::plant::duct::{self, Air, Duct, Section as DuctSection};
use crate::plant::fan::{Fan, FanCurve, Limits, PowerCurve};
use crate::plant::grille::Grille;
use crate::plant::network::LinearQuadratic;
use crate::plant::relief::{MotorisedRelief, Relief, WeightedBlade};
use crate::plant::weather::Site;

/// The air side as read, with what the channel check needs.
pub(super) struct AirParts {
    pub spec: AirSideSpec,
    /// Channels in use, with where each is written and what it drives.
    pub channels: Vec<Channel>,
    /// Rated flow of the fan, m³/s.
    pub rated_flow_m3_s: f64,
    /// Time constant with which a plenum without flow takes on the house's temperature, s.
    pub plenum_s: f64,
}

/// What a channel drives.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Drives {
    /// An outlet's damper, by index.
    Outlet(usize),
    /// The motorised relief.
    Relief,
}

/// A control channel.
pub(super) struct Channel {
    pub number: u32,
    pub drives: Drives,
    pub at: super::source::At,
}

/// Reference density at the site: 1.2 kg/m³ at sea level, in proportion to pressure.
pub(super) fn density_kg_m3(site: &Site) -> f64 {
    RHO_REF * site.pressure_pa / STANDARD_PRESSURE
}

pub(super) fn air_side(
    top: &Section<'_>,
    site: &Site,
    rooms: &Rooms,
    return_rooms: &[usize],
) -> Result<AirParts, Diagnostic> {
    let air = Air {
        density_kg_m3: density_kg_m3(site),
        viscosity_pa_s: Air::STANDARD.viscosity_pa_s,
    };
    let (fan, drive, rated_flow_m3_s) = fan(top)?;
    let filter = top.table("filter");
    let clean = drop_law(&filter, rated_flow_m3_s)?;
    let coil = drop_law(&top.table("coil"), rated_flow_m3_s)?;
    let returns = returns(top, rated_flow_m3_s, return_rooms)?;
    let defaults = DuctDefaults::read(top)?;
    let (trunks, trunk_names) = trunks(top, &defaults)?;
    let mut channels = Vec::new();
    let outlets = outlets(top, &defaults, &trunk_names, rooms, &air, &mut channels)?;
    let relief = relief(top, &defaults, rooms, &air, &mut channels)?;
    let spec = AirSideSpec {
        air,
        fan,
        drive,
        coil,
        filter: clean,
        filter_loading: filter.get("loading")?,
        filter_growth_1_h: filter.get::<f64>("growth_per_1000_h")? / 1000.0,
        returns,
        trunks,
        outlets,
        relief,
    };
    Ok(AirParts {
        spec,
        channels,
        rated_flow_m3_s,
        plenum_s: defaults.plenum_s,
    })
}

#[derive(Clone, Copy)]
pub(super) enum Drive {
    FixedSpeed,
    ConstantTorque,
    ConstantAirflow,
}

pub(super) const DRIVES: [(&str, Drive); 3] = [
    ("fixed speed", Drive::FixedSpeed),
    ("constant torque", Drive::ConstantTorque),
    ("constant airflow", Drive::ConstantAirflow),
];

/// The fan's curve with its rated flow and pressure.
fn curve(s: &Section<'_>) -> Result<(FanCurve, f64, f64), Diagnostic> {
    let points = s.list("points");
    if points.is_empty() {
        let (flow, pressure) = (s.get("flow")?, s.get("pressure")?);
        let curve = FanCurve::from_rated_point(flow, pressure)
            .map_err(|e| s.error(e.to_string(), "correct [fan]"))?;
        return Ok((curve, flow, pressure));
    }
    let points = points
        .iter()
        .map(|p| Ok((p.get("flow")?, p.get("pressure")?)));
    let points: Vec<(f64, f64)> = Diagnostic::gather(points)?;
    let curve = FanCurve::from_points(&points).map_err(|e| {
        let advice = "give flows that rise and pressures that fall";
        s.error_at("points", e.to_string(), advice)
    })?;
    let flow = s.or("flow", 0.75 * curve.free_flow_m3_s())?;
    let pressure = curve.pressure_pa(flow);
    if pressure <= 0.0 {
        let what = "at this flow the fan's points leave no pressure";
        return Err(s.error_at("flow", what, "give a rated flow that lies on the points"));
    }
    Ok((curve, flow, pressure))
}

fn fan(top: &Section<'_>) -> Result<(Arc<Fan>, DriveKind, f64), Diagnostic> {
    let s = top.table("fan");
    let (curve, flow, pressure) = curve(&s)?;
    let rated_w = flow * pressure / s.get::<f64>("efficiency")?;
    let mut power = PowerCurve::from_rated_point(flow, rated_w)
        .map_err(|e| s.error(e.to_string(), "correct [fan]"))?;
    power.standby_w = s.get("standby_power")?;
    let limits = || {
        Ok(Limits {
            speed_min: s.get("minimum_speed")?,
            speed_max: s.get("maximum_speed")?,
            power_max_w: s.or("maximum_power", 1.5 * rated_w)?,
        })
    };
    let drive = match s.choice("drive", &DRIVES)? {
        Drive::FixedSpeed => DriveKind::FixedSpeed,
        Drive::ConstantTorque => DriveKind::ConstantTorque {
            torque_w: power.torque_w(flow, 1.0),
            limits: limits()?,
        },
        Drive::ConstantAirflow => DriveKind::ConstantAirflow {
            flow_m3_s: flow,
            limits: limits()?,
        },
    };
    Ok((Arc::new(Fan { curve, power }), drive, flow))
}

/// A loss given at a flow with an exponent, as `A·Q + B·Q²` that agrees in value and slope there.
fn drop_law(s: &Section<'_>, rated_m3_s: f64) -> Result<LinearQuadratic, Diagnostic> {
    let (pa, n): (f64, f64) = (s.get("drop")?, s.get("exponent")?);
    let at = s.or("at_flow", rated_m3_s)?;
    Ok(LinearQuadratic {
        a: (2.0 - n) * pa / at,
        b: (n - 1.0) * pa / (at * at),
    })
}

/// The rooms that `[return]` draws from; at least one.
pub(super) fn return_rooms(top: &Section<'_>, rooms: &Rooms) -> Result<Vec<usize>, Diagnostic> {
    let s = top.table("return");
    let names: Vec<Name> = s.get("rooms")?;
    if names.is_empty() {
        return Err(s.error_at("rooms", "no return room", "write rooms = [\"hall\"]"));
    }
    Diagnostic::gather(names.iter().map(|n| rooms.find(n)))
}

fn returns(
    top: &Section<'_>,
    rated_m3_s: f64,
    rooms: &[usize],
) -> Result<Vec<ReturnPath>, Diagnostic> {
    let law = drop_law(&top.table("return"), rated_m3_s)?;
    // Equal paths side by side: each carries its part at the same drop.
    let n = rooms.len() as f64;
    let law = LinearQuadratic {
        a: law.a * n,
        b: law.b * n * n,
    };
    Ok(rooms.iter().map(|&room| ReturnPath { room, law }).collect())
}

struct DuctDefaults {
    material: &'static duct::Material,
    insulation: f64,
    space: DuctSpace,
    compression: f64,
    damper: &'static damper::Kind,
    leakage: LeakageClass,
    plenum_s: f64,
}

pub(super) const SPACES: [(&str, DuctSpace); 3] = [
    ("roof", DuctSpace::Roof),
    ("indoors", DuctSpace::Indoors),
    ("outdoors", DuctSpace::Outdoors),
];

pub(super) const LEAKAGE: [(&str, LeakageClass); 4] = [
    ("class 1", LeakageClass::Class1),
    ("class 2", LeakageClass::Class2),
    ("class 3", LeakageClass::Class3),
    ("class 4", LeakageClass::Class4),
];

pub(super) fn material(s: &Section<'_>) -> Result<Option<&'static duct::Material>, Diagnostic> {
    let words: Vec<_> = duct::MATERIALS.iter().map(|m| (m.name, m)).collect();
    s.choice_opt("material", &words)
}

impl DuctDefaults {
    fn read(top: &Section<'_>) -> Result<DuctDefaults, Diagnostic> {
        let s = top.table("ducts");
        let materials: Vec<_> = duct::MATERIALS.iter().map(|m| (m.name, m)).collect();
        let dampers: Vec<_> = damper::KINDS.iter().map(|k| (k.name, k)).collect();
        Ok(DuctDefaults {
            material: s.choice("material", &materials)?,
            insulation: s.get("insulation")?,
            space: s.choice("location", &SPACES)?,
            compression: s.get("compression")?,
            damper: s.choice("damper", &dampers)?,
            leakage: s.choice("damper_leakage", &LEAKAGE)?,
            plenum_s: s.get("plenum_time_constant")?,
        })
    }

    /// The damper of an outlet or of the relief.
    fn damper(&self, s: &Section<'_>, area_m2: f64) -> Result<Damper, Diagnostic> {
        let kinds: Vec<_> = damper::KINDS.iter().map(|k| (k.name, k)).collect();
        let kind = s.choice_opt("damper", &kinds)?.unwrap_or(self.damper);
        let leakage = s.choice_opt("damper_leakage", &LEAKAGE)?;
        Damper::new(kind.form, area_m2, leakage.unwrap_or(self.leakage))
            .map_err(|e| s.error(e.to_string(), "correct the damper"))
    }
}

/// The size of a duct, if any is written.
pub(super) fn size(s: &Section<'_>) -> Result<Option<DuctSection>, Diagnostic> {
    match (s.opt("diameter")?, s.opt("width")?, s.opt("height")?) {
        (None, None, None) => Ok(None),
        (Some(diameter_m), None, None) => Ok(Some(DuctSection::Round { diameter_m })),
        (None, Some(width_m), Some(height_m)) => {
            Ok(Some(DuctSection::Rectangular { width_m, height_m }))
        }
        _ => {
            let header = s.header();
            let what = format!("{header} has a size that is neither round nor rectangular");
            let advice = "write diameter = \"200 mm\" alone, or width and height alone";
            Err(s.error(what, advice))
        }
    }
}

fn run(s: &Section<'_>, d: &DuctDefaults) -> Result<Run, Diagnostic> {
    let section = size(s)?.ok_or_else(|| {
        let advice = "write diameter = \"200 mm\", or width and height";
        s.error(format!("{} needs a size", s.header()), advice)
    })?;
    let material = material(s)?.unwrap_or(d.material);
    let usual = if material.name.contains("flexible") {
        d.compression
    } else {
        0.0
    };
    Ok(Run {
        duct: Duct {
            section,
            length_m: s.get("length")?,
            roughness_m: material.roughness_m,
            fitting_c: s.get("fitting_loss")?,
            compression: s.opt("compression")?.unwrap_or(usual),
        },
        insulation_m2k_w: s.opt("insulation")?.unwrap_or(d.insulation),
        space: s.choice_opt("location", &SPACES)?.unwrap_or(d.space),
    })
}

/// The trunk that a duct comes from; `None` for the plenum.
fn from(s: &Section<'_>, trunks: &[Name]) -> Result<Option<usize>, Diagnostic> {
    let from: Option<Name> = s.opt("from")?;
    let trunk = from.filter(|f| f.text != "plenum");
    trunk.map(|name| find_trunk(trunks, &name)).transpose()
}

fn trunks(top: &Section<'_>, d: &DuctDefaults) -> Result<(Vec<Trunk>, Vec<Name>), Diagnostic> {
    let sections = top.tables("trunk");
    let names: Vec<Name> = sections.iter().map(|(n, _)| n.clone()).collect();
    let read = sections
        .iter()
        .map(|(name, s)| Ok((name.clone(), s, from(s, &names)?, run(s, d)?)));
    let read = Diagnostic::gather(read)?;
    // Parents first, whatever the order of the file.
    let mut order: Vec<usize> = Vec::new();
    while order.len() < read.len() {
        let before = order.len();
        for (i, (_, _, parent, _)) in read.iter().enumerate() {
            if !order.contains(&i) && parent.is_none_or(|p| order.contains(&p)) {
                order.push(i);
            }
        }
        if order.len() == before {
            let (name, s, _, _) = &read[(0..read.len()).find(|i| !order.contains(i)).unwrap_or(0)];
            return Err(s.error_at(
                "from",
                format!("trunk \"{name}\" comes from itself, by way of the trunks it names"),
                "let the first trunk come from = \"plenum\"",
            ));
        }
    }
    let place = |i: usize| order.iter().position(|&o| o == i);
    let trunks = order
        .iter()
        .map(|&i| Trunk {
            name: read[i].0.text.clone(),
            parent: read[i].2.and_then(place),
            run: read[i].3,
        })
        .collect();
    let names = order.iter().map(|&i| read[i].0.clone()).collect();
    Ok((trunks, names))
}

fn find_trunk(names: &[Name], name: &Name) -> Result<usize, Diagnostic> {
    let known = names.iter().map(Name::as_str).chain(["plenum"]);
    names
        .iter()
        .position(|n| n.text == name.text)
        .ok_or_else(|| name.unknown("trunk", known))
}

/// Face area of a grille, m²; `None` when not written.
pub(super) fn face_area(s: &Section<'_>) -> Result<Option<f64>, Diagnostic> {
    match s.opt::<[f64; 2]>("grille")? {
        Some([width_m, height_m]) => Ok(Some(width_m * height_m)),
        None => s.opt("grille_area"),
    }
}

fn outlets(
    top: &Section<'_>,
    d: &DuctDefaults,
    trunks: &[Name],
    rooms: &Rooms,
    air: &Air,
    channels: &mut Vec<Channel>,
) -> Result<Vec<Outlet>, Diagnostic> {
    let sections = top.tables("outlet");
    let read = sections.iter().enumerate().map(|(i, (name, s))| {
        let outlet = outlet(name, s, d, trunks, rooms, air)?;
        if let Some(number) = outlet.channel {
            claim(channels, number, Drives::Outlet(i), s.at_of("channel"))?;
        }
        Ok(outlet)
    });
    Diagnostic::gather(read)
}

fn outlet(
    name: &Name,
    s: &Section<'_>,
    d: &DuctDefaults,
    trunks: &[Name],
    rooms: &Rooms,
    air: &Air,
) -> Result<Outlet, Diagnostic> {
    let room = rooms.find(&s.get("room")?)?;
    let trunk = from(s, trunks)?;
    let run = run(s, d)?;
    let area = run.duct.section.area_m2();
    let channel: Option<usize> = s.opt("channel")?;
    let damper = match channel {
        None => {
            s.taken("channel", "none: no damper, always open")?;
            None
        }
        Some(_) => Some(d.damper(s, area)?),
    };
    let face_area_m2 = match face_area(s)? {
        Some(area) => area,
        None => s.or("grille_area", 1.6 * area)?,
    };
    let grille = Grille {
        loss_k: s.get("grille_loss")?,
        face_area_m2,
    };
    let balancing_c: f64 = s.get("balancing_loss")?;
    Ok(Outlet {
        name: name.text.clone(),
        room,
        trunk,
        balancing: LinearQuadratic {
            a: 0.0,
            b: 0.5 * air.density_kg_m3 * balancing_c / (area * area),
        },
        run,
        damper,
        channel: channel.map(|c| c as u32),
        grille: grille.law(air),
        face_area_m2,
        design_flow_m3_s: s.or("flow", 3.0 * area)?,
    })
}

/// Takes a channel for a damper; two dampers on one channel is an error.
fn claim(
    channels: &mut Vec<Channel>,
    number: u32,
    drives: Drives,
    at: super::source::At,
) -> Result<(), Diagnostic> {
    if let Some(first) = channels.iter().find(|c| c.number == number) {
        return Err(Diagnostic::at(
            &at,
            format!("channel {number} already drives another damper"),
        )
        .and_at(&first.at, "it is taken here")
        .advise(format!(
            "one channel per damper: {} is free",
            free(channels)
        )));
    }
    channels.push(Channel { number, drives, at });
    Ok(())
}

fn free(channels: &[Channel]) -> u32 {
    (1..)
        .find(|n| channels.iter().all(|c| c.number != *n))
        .unwrap_or(1)
}

#[derive(Clone, Copy, PartialEq)]
pub(super) enum ReliefKind {
    None,
    Blade,
    Motorised,
}

pub(super) const RELIEFS: [(&str, ReliefKind); 3] = [
    ("none", ReliefKind::None),
    ("weighted blade", ReliefKind::Blade),
    ("motorised", ReliefKind::Motorised),
];

fn relief(
    top: &Section<'_>,
    d: &DuctDefaults,
    rooms: &Rooms,
    air: &Air,
    channels: &mut Vec<Channel>,
) -> Result<Option<ReliefSpec>, Diagnostic> {
    let s = top.table("relief");
    let kind = s.choice("kind", &RELIEFS)?;
    if kind == ReliefKind::None {
        return Ok(None);
    }
    let run = run(&s, d)?;
    let area = run.duct.section.area_m2();
    let to: Option<Name> = s.opt("discharge_to")?;
    let to = match to.filter(|name| name.text != "return") {
        None => ReliefTo::Return,
        Some(name) => ReliefTo::Room(rooms.find(&name)?),
    };
    let mut duct = run.duct;
    duct.fitting_c += s.get::<f64>("balancing_loss")?;
    let damper = d.damper(&s, area)?;
    let (relief, channel) = if kind == ReliefKind::Motorised {
        let number = s.get::<usize>("channel")? as u32;
        claim(channels, number, Drives::Relief, s.at_of("channel"))?;
        let motorised = MotorisedRelief::new(damper, &duct, air);
        (Relief::Motorised(motorised), Some(number))
    } else {
        (Relief::WeightedBlade(blade(&s, &damper, &duct, air)?), None)
    };
    Ok(Some(ReliefSpec {
        relief,
        to,
        channel,
        area_m2: area,
        run: Run { duct, ..run },
    }))
}

fn blade(
    s: &Section<'_>,
    damper: &Damper,
    duct: &Duct,
    air: &Air,
) -> Result<WeightedBlade, Diagnostic> {
    let open_pa = s.get("opening_pressure")?;
    let full_pa = s.or("full_open_pressure", 1.6 * open_pa)?;
    let friction = s.or("friction", 0.05 * open_pa)?;
    let lag_s = s.get("lag")?;
    // Duct and open blade in series, taken at 5 m/s where the linear part is small.
    let through = duct.law(air).in_series(damper.law(1.0, air.density_kg_m3));
    let at = 5.0 * damper.area_m2();
    let full = 1.0 / (through.b + through.a / at).sqrt();
    let leak = 1.0 / damper.law(0.0, air.density_kg_m3).b.sqrt();
    WeightedBlade::new(open_pa, full_pa, leak, full, friction, lag_s)
        .map_err(|e| s.error_at("opening_pressure", e.to_string(), "correct [relief]"))
}
