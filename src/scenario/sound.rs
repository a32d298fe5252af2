//! `[sound]`, and what trunks, outlets, return, relief and rooms say of sound.
//!
//! Defaults for all ducts stand in `[sound]`; a trunk, an outlet, the return or the relief may
//! differ. The other readers ask for those keys too, by the `*_keys` functions here, so that they
//! are no strays there.

use super::air;
use super::diagnostic::Diagnostic;
use super::house::{RoomUse, Rooms};
use super::reader::Section;
use crate::measure::limits::{Limit, Limits};
use crate::measure::noise_rating::room_limit;
use crate::plant::air_side::{AirSideSpec, Outlet, ReliefTo};
use crate::plant::duct::{Material, Section as DuctSection};
use crate::plant::network::LinearQuadratic;
use crate::plant::sound::attenuation::{Elbow, Element};
use crate::plant::sound::chain::background_db;
use crate::plant::sound::damper::DamperSize;
use crate::plant::sound::fan::{
    BACKWARD_CURVED, DEFAULT_BLADE_PASS_HZ, FORWARD_CURVED, FanSpec, SpecificLevels,
};
use crate::plant::sound::grille::{GrilleShape, GrilleSpec, RatedGrille};
use crate::plant::sound::octave::Octaves;
use crate::plant::sound::room::DEFAULT_DISTANCE_M;
use crate::plant::sound::{
    DamperPosition, OutletSpec, ReliefSpec, ReturnSpec, RoomSpec, SoundModel, SoundSpec,
};
use crate::quantity::Dimension;

const AUTHOR: &str = "set in the scenario";
/// Thickness that glass-fibre duct board counts for as lining, m (our own choice: a 25 mm board).
const BOARD_LINING_M: f64 = 0.025;
/// Velocity that a return duct is sized for where nothing is said, m/s.
const RETURN_M_S: f64 = 4.0;
/// Loss of a return grille on its face velocity pressure, middle of 1.5 to 3.
const RETURN_GRILLE_LOSS: f64 = 2.0;
/// Published pairs of limits have dB(A) this much over NC.
const DBA_OVER_NC: f64 = 5.0;

/// Limits of one room.
#[derive(Clone, Debug, PartialEq)]
pub struct RoomSoundLimit {
    /// Limit in dB(A).
    pub dba: Limit,
    /// Limit in NC.
    pub nc: Limit,
}

/// Sound as a scenario has it.
#[derive(Clone, Debug)]
pub struct SoundScene {
    /// The system as sound sees it.
    pub spec: SoundSpec,
    /// The same with every gain worked out.
    pub model: SoundModel,
    /// Limits by room.
    pub limits: Vec<RoomSoundLimit>,
    /// Whether the fan's octave levels are given, which narrows what may be expected.
    pub measured_fan: bool,
    /// Whether the fan's efficiency is known well enough to correct for running off its peak.
    pub efficiency_known: bool,
}

/// What `[sound]` says for all ducts.
#[derive(Clone, Copy)]
struct Common {
    distance_m: f64,
    lining_m: Option<f64>,
    porous_core: bool,
    elbows: f64,
    position: DamperPosition,
    disturbed_db: f64,
    background_dba: f64,
    material: &'static Material,
}

/// A straight run with its bends, as sound sees it.
struct Piece {
    section: DuctSection,
    length_m: f64,
    flexible: bool,
    lining_m: f64,
    porous_core: bool,
    elbows: usize,
}

impl Piece {
    fn area_m2(&self) -> f64 {
        self.section.area_m2()
    }

    fn elements(&self, path: &mut Vec<Element>) {
        let (length_m, lining_m) = (self.length_m, self.lining_m);
        let kind = match self.section {
            DuctSection::Round { .. } => Elbow::Round,
            DuctSection::Rectangular { .. } if lining_m > 0.0 => Elbow::SquareLined,
            DuctSection::Rectangular { .. } => Elbow::Square,
        };
        let width_m = match self.section {
            DuctSection::Round { diameter_m } => diameter_m,
            DuctSection::Rectangular { width_m, .. } => width_m,
        };
        path.extend((0..self.elbows).map(|_| Element::Elbow { kind, width_m }));
        path.push(match self.section {
            _ if self.flexible => Element::Flexible {
                diameter_m: round_of(self.area_m2()),
                length_m,
                porous_core: self.porous_core,
            },
            DuctSection::Round { diameter_m } => Element::Round {
                diameter_m,
                length_m,
                lining_m,
            },
            DuctSection::Rectangular { width_m, height_m } => Element::Rectangular {
                width_m,
                height_m,
                length_m,
                lining_m,
            },
        });
    }
}

/// Diameter of the circle of an area, m.
fn round_of(area_m2: f64) -> f64 {
    (area_m2 / std::f64::consts::FRAC_PI_4).sqrt()
}

fn damper_size(section: &DuctSection) -> DamperSize {
    match *section {
        DuctSection::Round { diameter_m } => DamperSize::round(diameter_m),
        DuctSection::Rectangular { width_m, height_m } => DamperSize {
            area_m2: width_m * height_m,
            height_m,
        },
    }
}

const POSITIONS: [(&str, DamperPosition); 2] = [
    ("take-off", DamperPosition::TakeOff),
    ("outlet", DamperPosition::Outlet),
];

fn length(s: &Section<'_>, key: &str, most: f64) -> Result<Option<f64>, Diagnostic> {
    s.quantity(key, Dimension::Length)
        .within(0.0, most)
        .optional()
}

fn distance(s: &Section<'_>) -> Result<Option<f64>, Diagnostic> {
    s.quantity("distance", Dimension::Length)
        .within(0.3, 30.0)
        .optional()
}

fn elbows(s: &Section<'_>) -> Result<Option<f64>, Diagnostic> {
    let n = s.integer("elbows").within(0.0, 20.0).optional()?;
    Ok(n.map(|n| n as f64))
}

/// The keys that a trunk or a relief has for sound.
pub(super) fn duct_keys(s: &Section<'_>) -> Result<(), Diagnostic> {
    length(s, "lining", 0.1)?;
    length(s, "flexible_length", 50.0)?;
    elbows(s)?;
    Ok(())
}

/// The keys that an outlet has for sound.
pub(super) fn outlet_keys(s: &Section<'_>) -> Result<(), Diagnostic> {
    duct_keys(s)?;
    distance(s)?;
    s.choice("damper_position", &POSITIONS).optional()?;
    s.quantity("grille_disturbed", Dimension::SoundLevel)
        .within(0.0, 20.0)
        .optional()?;
    rated_grille(s, 1.0)?;
    Ok(())
}

/// The keys that the return has for sound.
pub(super) fn return_keys(s: &Section<'_>) -> Result<(), Diagnostic> {
    duct_keys(s)?;
    distance(s)?;
    length(s, "length", 100.0)?;
    air::material(s)?;
    return_section(s)?;
    Ok(())
}

/// The keys that a room has for sound.
pub(super) fn room_keys(s: &Section<'_>) -> Result<(), Diagnostic> {
    room_levels(s)?;
    Ok(())
}

/// Limit and background of a room, dB(A), where written.
fn room_levels(s: &Section<'_>) -> Result<(Option<f64>, Option<f64>), Diagnostic> {
    let level = |key: &str| s.quantity(key, Dimension::SoundLevel).within(5.0, 90.0);
    Ok((level("sound").optional()?, level("background").optional()?))
}

fn octaves(s: &Section<'_>, key: &str) -> Result<Option<Octaves>, Diagnostic> {
    let read = s
        .quantities(key, Dimension::SoundLevel)
        .within(-50.0, 150.0)
        .optional()?;
    let Some(levels) = read else { return Ok(None) };
    let found = levels.len();
    Octaves::try_from(levels).map(Some).map_err(|_| {
        s.error_at(
            key,
            format!("`{key}` has {found} levels, and eight are due"),
            "give the octaves 63, 125, 250, 500 Hz and 1, 2, 4, 8 kHz in that order",
        )
    })
}

fn rated_grille(s: &Section<'_>, flow_m3_s: f64) -> Result<Option<RatedGrille>, Diagnostic> {
    let level_db = octaves(s, "grille_levels")?;
    let flow = s
        .quantity("grille_levels_flow", Dimension::AirFlow)
        .within(0.001, 5.0)
        .optional()?;
    Ok(level_db.map(|level_db| RatedGrille {
        level_db,
        flow_m3_s: flow.unwrap_or(flow_m3_s),
    }))
}

/// Everything about sound; the rest of the scenario has been read.
pub(super) fn sound(
    top: &Section<'_>,
    rooms: &Rooms,
    air: &AirSideSpec,
    rated_flow_m3_s: f64,
    limits: &Limits,
) -> Result<SoundScene, Diagnostic> {
    let s = top.table("sound")?;
    let fan = fan(&s, air, rated_flow_m3_s)?;
    let measured_fan = matches!(fan, FanSpec::Measured { .. });
    let from_points = top.silent("fan")?.has("points");
    let efficiency_known = s.flag("efficiency_correction").or(
        from_points,
        if from_points {
            "the fan's curve is given by points, so its efficiency off its peak is followed"
        } else {
            "a curve drawn through one rated point does not tell the fan's efficiency"
        },
    )?;
    let common = common(top, &s)?;
    s.finish()?;
    let (room_specs, room_limits) = room_parts(top, rooms, &common, limits)?;
    let trunks = trunk_pieces(top, &common, air)?;
    let outlets = outlet_parts(top, &common, air, &trunks)?;
    let relief = relief_part(top, &common, air, &trunks)?;
    let returns = return_parts(top, &common, air, rated_flow_m3_s)?;
    let spec = SoundSpec {
        fan,
        rooms: room_specs,
        outlets,
        returns,
        relief,
    };
    let model =
        SoundModel::new(&spec).map_err(|e| s.error(e.to_string(), "correct it in the scenario"))?;
    Ok(SoundScene {
        spec,
        model,
        limits: room_limits,
        measured_fan,
        efficiency_known,
    })
}

fn fan(s: &Section<'_>, air: &AirSideSpec, rated_m3_s: f64) -> Result<FanSpec, Diagnostic> {
    let flow = s
        .quantity("fan_levels_flow", Dimension::AirFlow)
        .within(0.005, 20.0)
        .optional()?;
    let pressure = s
        .quantity("fan_levels_pressure", Dimension::Pressure)
        .within(1.0, 3000.0)
        .optional()?;
    let kinds = [
        ("forward-curved", FORWARD_CURVED),
        ("backward-curved", BACKWARD_CURVED),
    ];
    let Some(level_db) = octaves(s, "fan_levels")? else {
        let levels: SpecificLevels = s.choice("blades", &kinds).or(
            FORWARD_CURVED,
            "specific sound power levels of a forward-curved fan, ASHRAE form, terms from a \
             secondary text; give fan_levels where a maker states them",
        )?;
        let blade_pass_hz = s
            .quantity("blade_pass", Dimension::Frequency)
            .within(20.0, 10_000.0)
            .or(
                DEFAULT_BLADE_PASS_HZ,
                "950 rpm and 42 blades fall in the 500 Hz octave; common practice, no source",
            )?;
        return Ok(FanSpec::Specific {
            levels,
            blade_pass_hz,
        });
    };
    s.choice("blades", &kinds).optional()?;
    s.quantity("blade_pass", Dimension::Frequency).optional()?;
    let flow_m3_s = flow.unwrap_or(rated_m3_s);
    let static_pa = pressure.unwrap_or_else(|| air.fan.curve.pressure_pa(flow_m3_s));
    if static_pa <= 0.0 {
        return Err(s.error_at(
            "fan_levels_flow",
            "at this flow the fan makes no pressure",
            "give fan_levels_flow and fan_levels_pressure of the point that the levels belong to",
        ));
    }
    if flow.is_none() || pressure.is_none() {
        s.note(
            "sound.fan_levels_flow",
            &format!("{:.0} L/s at {static_pa:.0} Pa", 1000.0 * flow_m3_s),
            "the fan's rated point",
        );
    }
    Ok(FanSpec::Measured {
        level_db,
        flow_m3_s,
        static_pa,
        efficiency_ratio: None,
    })
}

fn common(top: &Section<'_>, s: &Section<'_>) -> Result<Common, Diagnostic> {
    let material = air::material(&top.silent("ducts")?)?;
    let lining_m = length(s, "lining", 0.1)?;
    if lining_m.is_none() {
        s.note(
            "sound.lining",
            "none; 25 mm for duct board",
            "sheet metal is bare unless it is said to be lined; a glass-fibre board counts as \
             its own lining; our own choice",
        );
    }
    let cores = [("porous", true), ("airtight", false)];
    let porous_core = s.choice("flexible_core", &cores).or(
        true,
        "flexible duct counts as lined and insulated with a porous core, ASHRAE and AHRI 885 \
         table, from memory; an airtight core takes half as much",
    )?;
    s.note(
        "sound.flexible_length",
        "each flexible duct's own length",
        "what lies beyond 3.7 m counts nothing; common practice, no source",
    );
    Ok(Common {
        distance_m: s
            .quantity("distance", Dimension::Length)
            .within(0.3, 30.0)
            .or(
                DEFAULT_DISTANCE_M,
                "from opening to listener; our own choice",
            )?,
        lining_m,
        porous_core,
        elbows: s.integer("elbows").within(0.0, 20.0).or(
            1,
            "bends of 90° in each branch and in the return; our own choice",
        )? as f64,
        position: s.choice("damper_position", &POSITIONS).or(
            DamperPosition::TakeOff,
            "at the take-off, with the branch after it; common practice, no source",
        )?,
        disturbed_db: s
            .quantity("grille_disturbed", Dimension::SoundLevel)
            .within(0.0, 20.0)
            .or(
                0.0,
                "a straight approach; a bend under 3 diameters upstream is 5 to 10 dB, common \
                 practice, no source",
            )?,
        background_dba: s
            .quantity("background", Dimension::SoundLevel)
            .within(5.0, 60.0)
            .or(20.0, "a quiet house, in the shape of NC-15; our own choice")?,
        material: material.unwrap_or(&crate::plant::duct::MATERIALS[0]),
    })
}

/// Name of a room's use in the table of limits.
fn limit_name(use_: RoomUse) -> &'static str {
    match use_ {
        RoomUse::Bedroom => "bedroom",
        RoomUse::Living => "living room",
        RoomUse::Kitchen => "kitchen",
        RoomUse::Bathroom => "bathroom",
        RoomUse::PrivateOffice => "private office",
        RoomUse::OpenOffice => "open-plan office",
        RoomUse::MeetingRoom => "meeting room",
        RoomUse::WaitingRoom => "waiting room",
        RoomUse::ExamRoom => "clinic exam room",
        RoomUse::Hall => "corridor",
    }
}

/// Limits of a room by its use: dB(A), NC and their source.
fn limit_by_use(use_: RoomUse) -> (f64, f64, &'static str) {
    // The strictest stands in for a use that the table should lack; a test holds that it lacks none.
    room_limit(limit_name(use_)).map_or((30.0, 25.0, "our own choice"), |l| (l.dba, l.nc, l.source))
}

fn room_parts(
    top: &Section<'_>,
    rooms: &Rooms,
    common: &Common,
    limits: &Limits,
) -> Result<(Vec<RoomSpec>, Vec<RoomSoundLimit>), Diagnostic> {
    let mut specs = Vec::with_capacity(rooms.rooms.len());
    let mut room_limits = Vec::with_capacity(rooms.rooms.len());
    for ((name, s), (room, &use_)) in top
        .tables("room")?
        .iter()
        .zip(rooms.rooms.iter().zip(&rooms.uses))
    {
        let (own_limit, background) = room_levels(s)?;
        specs.push(RoomSpec {
            volume_m3: room.area_m2 * room.height_m,
            background_db: background_db(background.unwrap_or(common.background_dba)),
        });
        let (dba, nc, source) = match own_limit.or(limits.sound_dba) {
            Some(dba) => (dba, dba - DBA_OVER_NC, AUTHOR),
            None => {
                let (dba, nc, source) = limit_by_use(use_);
                let shown = format!("{dba:.0} dB(A) and NC-{nc:.0}");
                s.note(&format!("room.{name}.sound"), &shown, source);
                (dba, nc, source)
            }
        };
        let limit = |value: f64| Limit {
            mandatory: limits.sound_mandatory,
            ..Limit::at_most(value, source)
        };
        room_limits.push(RoomSoundLimit {
            dba: limit(dba),
            nc: limit(nc),
        });
    }
    Ok((specs, room_limits))
}

/// A duct by its own keys where written, else as `[sound]` has it.
fn piece(
    s: &Section<'_>,
    common: &Common,
    section: DuctSection,
    length_m: f64,
    bends: f64,
) -> Result<Piece, Diagnostic> {
    let material = air::material(s)?.unwrap_or(common.material);
    let flexible = material.name.contains("flexible");
    let own = length(s, "flexible_length", 50.0)?;
    if own.is_some() && !flexible {
        return Err(s.error_at(
            "flexible_length",
            format!("{} is {}, not flexible", s.header(), material.name),
            "take it out, or write material = \"flexible\"",
        ));
    }
    let board = if material.name == "duct board" {
        BOARD_LINING_M
    } else {
        0.0
    };
    let lining = length(s, "lining", 0.1)?.or(common.lining_m);
    Ok(Piece {
        section,
        length_m: own.unwrap_or(length_m),
        flexible,
        lining_m: lining.unwrap_or(board),
        porous_core: common.porous_core,
        elbows: elbows(s)?.unwrap_or(bends) as usize,
    })
}

/// The trunks' pieces in the order of `air`, which puts parents first.
fn trunk_pieces(
    top: &Section<'_>,
    common: &Common,
    air: &AirSideSpec,
) -> Result<Vec<Piece>, Diagnostic> {
    let sections = top.tables("trunk")?;
    let mut pieces = Vec::with_capacity(air.trunks.len());
    for t in &air.trunks {
        let section = sections.iter().find(|(name, _)| name.text == t.name);
        if let Some((_, s)) = section {
            let duct = &t.run.duct;
            pieces.push(piece(s, common, duct.section, duct.length_m, 0.0)?);
        }
    }
    Ok(pieces)
}

/// The division at the end of `trunk` (`None` for the plenum) into a branch of `branch_m2`.
///
/// The relief leaves the plenum as a branch does, shut or open.
fn division(air: &AirSideSpec, trunk: Option<usize>, branch_m2: f64) -> Element {
    let area = |section: &DuctSection| section.area_m2();
    let outlets = air.outlets.iter().filter(|o| o.trunk == trunk);
    let trunks = air.trunks.iter().filter(|t| t.parent == trunk);
    let mut branches_m2: f64 = outlets.map(|o| area(&o.run.duct.section)).sum();
    branches_m2 += trunks.map(|t| area(&t.run.duct.section)).sum::<f64>();
    if trunk.is_none() {
        branches_m2 += air.relief.as_ref().map_or(0.0, |r| r.area_m2);
    }
    Element::Branch {
        branch_m2,
        branches_m2,
        // The plenum is no duct with an area of its own.
        trunk_m2: trunk.map_or(branches_m2, |t| area(&air.trunks[t].run.duct.section)),
    }
}

/// From the fan to the take-off of a branch of `branch_m2` on `trunk`.
fn way_to(
    air: &AirSideSpec,
    trunks: &[Piece],
    trunk: Option<usize>,
    branch_m2: f64,
) -> Vec<Element> {
    let mut chain = Vec::new();
    let mut at = trunk;
    while let Some(t) = at {
        chain.push(t);
        at = air.trunks[t].parent;
    }
    let mut path = Vec::new();
    for &t in chain.iter().rev() {
        let area = air.trunks[t].run.duct.section.area_m2();
        path.push(division(air, air.trunks[t].parent, area));
        if let Some(piece) = trunks.get(t) {
            piece.elements(&mut path);
        }
    }
    path.push(division(air, trunk, branch_m2));
    path
}

/// The grille's loss on its own face velocity pressure, from its law.
fn loss_on_face(law: &LinearQuadratic, area_m2: f64, density_kg_m3: f64) -> f64 {
    law.b * area_m2 * area_m2 / (0.5 * density_kg_m3)
}

fn outlet_parts(
    top: &Section<'_>,
    common: &Common,
    air: &AirSideSpec,
    trunks: &[Piece],
) -> Result<Vec<OutletSpec>, Diagnostic> {
    let mut parts = Vec::with_capacity(air.outlets.len());
    for ((_, s), o) in top.tables("outlet")?.iter().zip(&air.outlets) {
        let duct = &o.run.duct;
        let piece = piece(s, common, duct.section, duct.length_m, common.elbows)?;
        let mut branch = Vec::new();
        piece.elements(&mut branch);
        let position = s.choice("damper_position", &POSITIONS).optional()?;
        let size = damper_size(&duct.section);
        parts.push(OutletSpec {
            room: o.room,
            trunk: way_to(air, trunks, o.trunk, piece.area_m2()),
            branch,
            damper: o
                .damper
                .map(|_| (size, position.unwrap_or(common.position))),
            grille: supply_grille(s, common, o, air.air.density_kg_m3)?,
            distance_m: distance(s)?.unwrap_or(common.distance_m),
        });
    }
    Ok(parts)
}

fn supply_grille(
    s: &Section<'_>,
    common: &Common,
    o: &Outlet,
    density_kg_m3: f64,
) -> Result<GrilleSpec, Diagnostic> {
    let disturbed = s
        .quantity("grille_disturbed", Dimension::SoundLevel)
        .optional()?;
    Ok(GrilleSpec {
        area_m2: o.face_area_m2,
        loss_coefficient: loss_on_face(&o.grille, o.face_area_m2, density_kg_m3),
        shape: GrilleShape::Rectangular,
        disturbed_db: disturbed.unwrap_or(common.disturbed_db),
        rated: rated_grille(s, o.design_flow_m3_s)?,
    })
}

fn relief_part(
    top: &Section<'_>,
    common: &Common,
    air: &AirSideSpec,
    trunks: &[Piece],
) -> Result<Option<ReliefSpec>, Diagnostic> {
    let Some(relief) = &air.relief else {
        return Ok(None);
    };
    let s = top.silent("relief")?;
    let duct = &relief.run.duct;
    let piece = piece(&s, common, duct.section, duct.length_m, 0.0)?;
    let mut path = Vec::new();
    piece.elements(&mut path);
    let damper = damper_size(&duct.section);
    Ok(Some(match relief.to {
        ReliefTo::Return => ReliefSpec::ToReturn { damper, path },
        ReliefTo::Room(room) => ReliefSpec::ToRoom(OutletSpec {
            room,
            trunk: way_to(air, trunks, None, relief.area_m2),
            branch: path,
            damper: Some((damper, DamperPosition::TakeOff)),
            // The air side gives the relief no grille of its own: an open duct end.
            grille: GrilleSpec {
                area_m2: relief.area_m2,
                loss_coefficient: 1.0,
                shape: GrilleShape::Round,
                disturbed_db: 0.0,
                rated: None,
            },
            distance_m: common.distance_m,
        }),
    }))
}

fn return_section(s: &Section<'_>) -> Result<Option<DuctSection>, Diagnostic> {
    let size = |key: &str| {
        s.quantity(key, Dimension::Length)
            .within(0.05, 3.0)
            .optional()
    };
    match (size("diameter")?, size("width")?, size("height")?) {
        (None, None, None) => Ok(None),
        (Some(diameter_m), None, None) => Ok(Some(DuctSection::Round { diameter_m })),
        (None, Some(width_m), Some(height_m)) => {
            Ok(Some(DuctSection::Rectangular { width_m, height_m }))
        }
        _ => Err(s.error(
            "[return] has a size that is neither round nor rectangular",
            "write diameter = \"400 mm\" alone, or width and height alone",
        )),
    }
}

fn return_parts(
    top: &Section<'_>,
    common: &Common,
    air: &AirSideSpec,
    rated_m3_s: f64,
) -> Result<Vec<ReturnSpec>, Diagnostic> {
    let s = top.silent("return")?;
    let n = air.returns.len() as f64;
    let share_m3_s = rated_m3_s / n;
    let section = return_section(&s)?.unwrap_or_else(|| {
        let diameter_m = round_of(share_m3_s / RETURN_M_S);
        s.note(
            "return.diameter",
            &format!("{:.0} mm", 1000.0 * diameter_m),
            "4 m/s at the fan's rated flow, for sound only; common practice, no source",
        );
        DuctSection::Round { diameter_m }
    });
    let length_m = length(&s, "length", 100.0)?.unwrap_or_else(|| {
        s.note(
            "return.length",
            "3 m",
            "from the unit to the grille, for sound only; our own choice",
        );
        3.0
    });
    let area_m2 = air::face_area(&s)?.unwrap_or_else(|| {
        let area_m2 = share_m3_s / 2.0;
        s.note(
            "return.grille_area",
            &format!("{area_m2:.3} m²"),
            "2 m/s at the fan's rated flow; common practice, no source",
        );
        area_m2
    });
    // What [ducts] says is of the supply.
    let flexible = crate::plant::duct::material("flexible");
    let silent = air::material(&s)?.is_none();
    let of_return = Common {
        material: flexible.unwrap_or(common.material),
        ..*common
    };
    if silent {
        s.note(
            "return.material",
            "flexible, lined and insulated",
            "for sound only; bare sheet metal here is 10 to 15 dB(A) louder: write material \
             and lining where you know them; our own choice",
        );
    }
    let piece = piece(&s, &of_return, section, length_m, common.elbows)?;
    let mut path = Vec::new();
    piece.elements(&mut path);
    path.push(Element::Branch {
        branch_m2: piece.area_m2(),
        branches_m2: n * piece.area_m2(),
        trunk_m2: n * piece.area_m2(),
    });
    let distance_m = distance(&s)?.unwrap_or(common.distance_m);
    let one = |room: usize| ReturnSpec {
        room,
        path: path.clone(),
        grille: GrilleSpec {
            area_m2,
            loss_coefficient: RETURN_GRILLE_LOSS,
            shape: GrilleShape::Rectangular,
            disturbed_db: 0.0,
            rated: None,
        },
        distance_m,
    };
    Ok(air.returns.iter().map(|r| one(r.room)).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_use_has_a_published_limit() {
        for (word, use_) in RoomUse::ALL {
            assert!(room_limit(limit_name(use_)).is_some(), "{word}");
        }
    }
}
