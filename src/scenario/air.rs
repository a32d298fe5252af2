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
use crate::quantity::Dimension;

const COMMON: &str = "common practice, no source";

/// The air side as read, with what the channel check needs.
pub(super) struct AirParts {
    pub spec: AirSideSpec,
    /// Channels in use, with where each is written and what it drives.
    pub channels: Vec<Channel>,
    /// Rated flow of the fan, m³/s.
    pub rated_flow_m3_s: f64,
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
    let filter = top.table("filter")?;
    let clean = drop_law(&filter, rated_flow_m3_s, 25.0, 1.6)?;
    let filter_loading = filter
        .number("loading")
        .within(0.3, 20.0)
        .or(1.0, "clean")?;
    let filter_growth = filter.number("growth_per_1000_h").within(0.0, 20.0).or(
        0.3,
        "resistance doubles in about 3000 h of running; common practice, no source",
    )?;
    filter.finish()?;
    let coil_section = top.table("coil")?;
    let coil = drop_law(&coil_section, rated_flow_m3_s, 45.0, 1.6)?;
    coil_section.finish()?;
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
        filter_loading,
        filter_growth_1_h: filter_growth / 1000.0,
        returns,
        trunks,
        outlets,
        relief,
    };
    Ok(AirParts {
        spec,
        channels,
        rated_flow_m3_s,
    })
}

fn fan(top: &Section<'_>) -> Result<(Arc<Fan>, DriveKind, f64), Diagnostic> {
    let s = top.table("fan")?;
    let points = s.list("points")?;
    let (curve, flow, pressure) = if points.is_empty() {
        let flow = s
            .quantity("flow", Dimension::AirFlow)
            .within(0.02, 20.0)
            .required()?;
        let pressure = s
            .quantity("pressure", Dimension::Pressure)
            .within(10.0, 2000.0)
            .or(150.0, "total rise of a small ducted unit, coil and filter included; common practice, no source")?;
        let curve = FanCurve::from_rated_point(flow, pressure)
            .map_err(|e| s.error(e.to_string(), "correct [fan]"))?;
        (curve, flow, pressure)
    } else {
        let mut curve_points = Vec::new();
        for p in &points {
            let flow = p
                .quantity("flow", Dimension::AirFlow)
                .within(0.0, 20.0)
                .required()?;
            let pressure = p
                .quantity("pressure", Dimension::Pressure)
                .within(0.0, 3000.0)
                .required()?;
            p.finish()?;
            curve_points.push((flow, pressure));
        }
        let curve = FanCurve::from_points(&curve_points).map_err(|e| {
            s.error_at(
                "points",
                e.to_string(),
                "give flows that rise and pressures that fall",
            )
        })?;
        let flow = s
            .quantity("flow", Dimension::AirFlow)
            .within(0.02, 20.0)
            .or(
                0.75 * curve.free_flow_m3_s(),
                "three quarters of the curve's free flow",
            )?;
        let pressure = curve.pressure_pa(flow);
        if pressure <= 0.0 {
            return Err(s.error_at(
                "flow",
                "at this flow the fan's points leave no pressure",
                "give a rated flow that lies on the points",
            ));
        }
        (curve, flow, pressure)
    };
    let efficiency = s
        .fraction("efficiency")
        .within(0.03, 0.95)
        .or(0.30, "fan and motor of a small unit, 0.3 to 0.6 W per L/s at 100 to 200 Pa; common practice, no source")?;
    let rated_w = flow * pressure / efficiency;
    let mut power = PowerCurve::from_rated_point(flow, rated_w)
        .map_err(|e| s.error(e.to_string(), "correct [fan]"))?;
    power.standby_w = s
        .quantity("standby", Dimension::Power)
        .within(0.0, 500.0)
        .or(5.0, COMMON)?;
    let drives = [
        ("fixed speed", 0),
        ("constant torque", 1),
        ("constant airflow", 2),
    ];
    let kind = s
        .choice("drive", &drives)
        .or(0, "the plainest drive; our own choice")?;
    let limits = Limits {
        speed_min: s.fraction("lowest_speed").or(0.1, COMMON)?,
        speed_max: s.number("highest_speed").within(0.3, 2.0).or(
            1.25,
            "a quarter above the rated point; common practice, no source",
        )?,
        power_max_w: s
            .quantity("highest_power", Dimension::Power)
            .above(0.0)
            .or(
                1.5 * rated_w,
                "half above the rated point; common practice, no source",
            )?,
    };
    let drive = match kind {
        0 => DriveKind::FixedSpeed,
        1 => DriveKind::ConstantTorque {
            torque_w: power.torque_w(flow, 1.0),
            limits,
        },
        _ => DriveKind::ConstantAirflow {
            flow_m3_s: flow,
            limits,
        },
    };
    // Read here so that a key of the controller's part of [fan] is not a stray.
    super::control::fan_keys(&s)?;
    s.finish()?;
    Ok((Arc::new(Fan { curve, power }), drive, flow))
}

/// A loss given at a flow with an exponent, as `A·Q + B·Q²` that agrees in value and slope there.
fn drop_law(
    s: &Section<'_>,
    rated_m3_s: f64,
    default_pa: f64,
    default_n: f64,
) -> Result<LinearQuadratic, Diagnostic> {
    let pa = s
        .quantity("drop", Dimension::Pressure)
        .within(0.5, 1000.0)
        .or(default_pa, COMMON)?;
    let at = s
        .quantity("at", Dimension::AirFlow)
        .within(0.005, 20.0)
        .or(rated_m3_s, "the fan's rated flow")?;
    let n = s.number("exponent").within(1.0, 2.0).or(
        default_n,
        "coil and filter 1.4 to 1.8, return 1.9; common practice, no source",
    )?;
    Ok(LinearQuadratic {
        a: (2.0 - n) * pa / at,
        b: (n - 1.0) * pa / (at * at),
    })
}

/// The rooms that `[return]` draws from; at least one.
pub(super) fn return_rooms(top: &Section<'_>, rooms: &Rooms) -> Result<Vec<usize>, Diagnostic> {
    let s = top.table("return")?;
    let names = s.names("rooms").required()?;
    if names.is_empty() {
        return Err(s.error_at("rooms", "no return room", "write rooms = [\"hall\"]"));
    }
    names.iter().map(|n| rooms.find(n)).collect()
}

fn returns(
    top: &Section<'_>,
    rated_m3_s: f64,
    rooms: &[usize],
) -> Result<Vec<ReturnPath>, Diagnostic> {
    let s = top.table("return")?;
    s.names("rooms").required()?;
    let law = drop_law(&s, rated_m3_s, 20.0, 1.9)?;
    face_area(&s)?;
    super::sound::return_keys(&s)?;
    s.finish()?;
    // Equal paths side by side: each carries its share at the same drop.
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
}

const SPACES: [(&str, DuctSpace); 3] = [
    ("roof", DuctSpace::Roof),
    ("indoors", DuctSpace::Indoors),
    ("outdoors", DuctSpace::Outdoors),
];

const LEAKAGE: [(&str, LeakageClass); 4] = [
    ("class 1", LeakageClass::Class1),
    ("class 2", LeakageClass::Class2),
    ("class 3", LeakageClass::Class3),
    ("class 4", LeakageClass::Class4),
];

pub(super) fn material(s: &Section<'_>) -> Result<Option<&'static duct::Material>, Diagnostic> {
    let words: Vec<_> = duct::MATERIALS.iter().map(|m| (m.name, m)).collect();
    s.choice("material", &words).optional()
}

fn damper_kind(s: &Section<'_>) -> Result<Option<&'static damper::Kind>, Diagnostic> {
    let words: Vec<_> = damper::KINDS.iter().map(|k| (k.name, k)).collect();
    s.choice("damper", &words).optional()
}

impl DuctDefaults {
    fn read(top: &Section<'_>) -> Result<DuctDefaults, Diagnostic> {
        let s = top.table("ducts")?;
        let chosen = material(&s)?;
        if chosen.is_none() {
            s.note(
                "ducts.material",
                duct::MATERIALS[0].name,
                duct::MATERIALS[0].source,
            );
        }
        let kind = damper_kind(&s)?;
        if kind.is_none() {
            s.note(
                "ducts.damper",
                damper::KINDS[0].name,
                damper::KINDS[0].source,
            );
        }
        let defaults = DuctDefaults {
            material: chosen.unwrap_or(&duct::MATERIALS[0]),
            insulation: s
                .quantity("insulation", Dimension::ThermalResistance)
                .within(0.0, 10.0)
                .or(1.0, COMMON)?,
            space: s
                .choice("space", &SPACES)
                .or(DuctSpace::Roof, "the harder case")?,
            compression: s.fraction("compression").within(0.0, 0.5).or(
                0.04,
                "flexible duct pulled to within 4 % of its length, ASHRAE Fundamentals",
            )?,
            damper: kind.unwrap_or(&damper::KINDS[0]),
            leakage: s.choice("leakage", &LEAKAGE).or(
                LeakageClass::Class2,
                "EN 1751; cheap round dampers are class 1 or 2, common practice, no source",
            )?,
        };
        s.finish()?;
        Ok(defaults)
    }
}

fn run(s: &Section<'_>, d: &DuctDefaults, default_length: f64) -> Result<Run, Diagnostic> {
    let size = |key: &str| {
        s.quantity(key, Dimension::Length)
            .within(0.05, 3.0)
            .optional()
    };
    let section = match (size("diameter")?, size("width")?, size("height")?) {
        (Some(diameter_m), None, None) => DuctSection::Round { diameter_m },
        (None, Some(width_m), Some(height_m)) => DuctSection::Rectangular { width_m, height_m },
        (None, None, None) => {
            return Err(s.error(
                format!("{} needs a size", s.header()),
                "write diameter = \"200 mm\", or width and height",
            ));
        }
        _ => {
            return Err(s.error(
                format!(
                    "{} has a size that is neither round nor rectangular",
                    s.header()
                ),
                "write diameter = \"200 mm\" alone, or width and height alone",
            ));
        }
    };
    let material = material(s)?.unwrap_or(d.material);
    let compression = s.fraction("compression").within(0.0, 0.5).optional()?;
    let flexible = material.name.contains("flexible");
    let insulation = s
        .quantity("insulation", Dimension::ThermalResistance)
        .within(0.0, 10.0)
        .optional()?;
    Ok(Run {
        duct: Duct {
            section,
            length_m: s
                .quantity("length", Dimension::Length)
                .within(0.0, 200.0)
                .or(default_length, COMMON)?,
            roughness_m: material.roughness_m,
            fitting_c: s
                .number("fittings")
                .within(0.0, 50.0)
                .or(1.0, "sum of loss coefficients: a take-off and two easy bends; common practice, no source")?,
            compression: compression.unwrap_or(if flexible { d.compression } else { 0.0 }),
        },
        insulation_m2k_w: insulation.unwrap_or(d.insulation),
        space: s.choice("space", &SPACES).optional()?.unwrap_or(d.space),
    })
}

fn trunks(top: &Section<'_>, d: &DuctDefaults) -> Result<(Vec<Trunk>, Vec<Name>), Diagnostic> {
    let sections = top.tables("trunk")?;
    let names: Vec<Name> = sections.iter().map(|(n, _)| n.clone()).collect();
    let mut read = Vec::new();
    for (name, s) in &sections {
        let from = s.name("from").optional()?.filter(|f| f.text != "plenum");
        let parent = from.as_ref().map(|f| find_trunk(&names, f)).transpose()?;
        read.push((name.clone(), s, parent, run(s, d, 5.0)?));
        super::sound::duct_keys(s)?;
        s.finish()?;
    }
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

/// `"300 mm x 200 mm"` as an area, m²; `None` when not written.
pub(super) fn face_area(s: &Section<'_>) -> Result<Option<f64>, Diagnostic> {
    let Some(text) = s.text("grille").optional()? else {
        return s
            .quantity("grille_area", Dimension::Area)
            .within(1e-4, 10.0)
            .optional();
    };
    let sides: Vec<f64> = text
        .split(['x', '×'])
        .filter_map(|side| crate::quantity::parse(side.trim(), Dimension::Length).ok())
        .collect();
    match sides.as_slice() {
        [w, h] if (0.02..=5.0).contains(w) && (0.02..=5.0).contains(h) => Ok(Some(w * h)),
        _ => Err(s.error_at(
            "grille",
            format!("\"{text}\" is not the size of a grille"),
            "write width and height, as in \"300 mm x 150 mm\", each 20 mm to 5 m",
        )),
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
    let mut out = Vec::new();
    for (name, s) in top.tables("outlet")? {
        let room = rooms.find(&s.name("room").required()?)?;
        let from = s.name("from").optional()?.filter(|f| f.text != "plenum");
        let trunk = from.as_ref().map(|f| find_trunk(trunks, f)).transpose()?;
        let run = run(&s, d, 5.0)?;
        let area = run.duct.section.area_m2();
        let channel = s
            .integer("channel")
            .within(1.0, 9999.0)
            .optional()?
            .map(|c| c as u32);
        let kind = damper_kind(&s)?.unwrap_or(d.damper);
        let leakage = s
            .choice("leakage", &LEAKAGE)
            .optional()?
            .unwrap_or(d.leakage);
        let damper = match channel {
            None => {
                s.note(
                    &format!("outlet.{name}.channel"),
                    "none: no damper, always open",
                    "an outlet without a channel has no damper",
                );
                None
            }
            Some(_) => Some(
                Damper::new(kind.form, area, leakage)
                    .map_err(|e| s.error(e.to_string(), "correct the damper"))?,
            ),
        };
        if let Some(number) = channel {
            claim(
                channels,
                number,
                Drives::Outlet(out.len()),
                s.at_of("channel"),
            )?;
        }
        let face_area_m2 = match face_area(&s)? {
            Some(a) => a,
            None => {
                let a = 1.6 * area;
                s.note(
                    &format!("outlet.{name}.grille_area"),
                    &format!("{:.3} m²", a),
                    "1.6 times the duct: common practice, no source",
                );
                a
            }
        };
        let grille = Grille {
            loss_k: s.number("grille_loss").within(0.1, 50.0).or(
                3.0,
                "on the face velocity, 2 to 4; common practice, no source",
            )?,
            face_area_m2,
        };
        let balancing_c = s
            .number("balancing")
            .within(0.0, 1e5)
            .or(0.0, "no hand damper")?;
        let design_flow_m3_s = s
            .quantity("flow", Dimension::AirFlow)
            .within(0.001, 5.0)
            .or(
                3.0 * area,
                "3 m/s in the branch: common practice, no source",
            )?;
        out.push(Outlet {
            name: name.text.clone(),
            room,
            trunk,
            balancing: LinearQuadratic {
                a: 0.0,
                b: 0.5 * air.density_kg_m3 * balancing_c / (area * area),
            },
            run,
            damper,
            channel,
            grille: grille.law(air),
            face_area_m2,
            design_flow_m3_s,
        });
        super::sound::outlet_keys(&s)?;
        s.finish()?;
    }
    if out.is_empty() {
        return Err(top.error(
            "the scenario has no outlet",
            "add one: [outlet.living] with its room and diameter",
        ));
    }
    Ok(out)
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
enum ReliefKind {
    None,
    Blade,
    Motorised,
}

fn relief(
    top: &Section<'_>,
    d: &DuctDefaults,
    rooms: &Rooms,
    air: &Air,
    channels: &mut Vec<Channel>,
) -> Result<Option<ReliefSpec>, Diagnostic> {
    let s = top.table("relief")?;
    let kinds = [
        ("none", ReliefKind::None),
        ("weighted blade", ReliefKind::Blade),
        ("motorised", ReliefKind::Motorised),
    ];
    let kind = s
        .choice("kind", &kinds)
        .or(ReliefKind::None, "no relief unless one is written")?;
    if kind == ReliefKind::None {
        // A what-if that takes the relief away may leave its figures in the base file.
        for key in [
            "diameter",
            "width",
            "height",
            "length",
            "material",
            "fittings",
            "space",
            "lining",
            "elbows",
            "flexible_length",
        ] {
            s.text(key).optional().ok();
        }
        for key in [
            "insulation",
            "compression",
            "opening_pressure",
            "full_open_pressure",
        ] {
            s.text(key).optional().ok();
        }
        for key in [
            "friction",
            "lag",
            "leakage",
            "damper",
            "to",
            "balancing",
            "channel",
        ] {
            s.text(key).optional().ok();
        }
        super::control::relief_keys(&s).ok();
        s.finish()?;
        return Ok(None);
    }
    let run = run(&s, d, 2.0)?;
    let area = run.duct.section.area_m2();
    let to = match s.name("to").optional()? {
        None => ReliefTo::Return,
        Some(n) if n.text == "return" => ReliefTo::Return,
        Some(n) => ReliefTo::Room(rooms.find(&n)?),
    };
    let damper_kind = damper_kind(&s)?.unwrap_or(d.damper);
    let leakage = s
        .choice("leakage", &LEAKAGE)
        .optional()?
        .unwrap_or(d.leakage);
    let balancing = s
        .number("balancing")
        .within(0.0, 1e5)
        .or(0.0, "no hand damper")?;
    let mut duct = run.duct;
    duct.fitting_c += balancing;
    let damper = Damper::new(damper_kind.form, area, leakage)
        .map_err(|e| s.error(e.to_string(), "correct the relief damper"))?;
    let (relief, channel) = match kind {
        ReliefKind::Motorised => {
            let number = s.integer("channel").within(1.0, 9999.0).required()? as u32;
            claim(channels, number, Drives::Relief, s.at_of("channel"))?;
            (
                Relief::Motorised(MotorisedRelief::new(damper, &duct, air)),
                Some(number),
            )
        }
        _ => (Relief::WeightedBlade(blade(&s, &damper, &duct, air)?), None),
    };
    super::control::relief_keys(&s)?;
    super::sound::duct_keys(&s)?;
    s.finish()?;
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
    let pressure = |key: &str| s.quantity(key, Dimension::Pressure).within(5.0, 500.0);
    let open_pa = pressure("opening_pressure").required()?;
    let full_pa = pressure("full_open_pressure").or(
        1.6 * open_pa,
        "1.3 to 2 times the opening pressure; common practice, no source",
    )?;
    let friction = s
        .quantity("friction", Dimension::Pressure)
        .within(0.0, 100.0)
        .or(
            0.05 * open_pa,
            "half of a band of a tenth of the opening pressure; common practice, no source",
        )?;
    let lag_s = s
        .quantity("lag", Dimension::Time)
        .within(0.0, 60.0)
        .or(3.0, COMMON)?;
    // Duct and open blade in series, taken at 5 m/s where the linear part is small.
    let through = duct.law(air).in_series(damper.law(1.0, air.density_kg_m3));
    let at = 5.0 * damper.area_m2();
    let full = 1.0 / (through.b + through.a / at).sqrt();
    let leak = 1.0 / damper.law(0.0, air.density_kg_m3).b.sqrt();
    WeightedBlade::new(open_pa, full_pa, leak, full, friction, lag_s)
        .map_err(|e| s.error_at("opening_pressure", e.to_string(), "correct [relief]"))
}
