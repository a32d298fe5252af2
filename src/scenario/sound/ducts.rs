//! Ducts, outlets, relief and return as sound meets them.

use super::{Common, POSITIONS, octaves};
use crate::plant::air_side::{AirSideSpec, Outlet, ReliefTo};
use crate::plant::duct::Section as DuctSection;
use crate::plant::network::LinearQuadratic;
use crate::plant::sound::attenuation::{Elbow, Element};
use crate::plant::sound::damper::DamperSize;
use crate::plant::sound::grille::{GrilleShape, GrilleSpec, RatedGrille};
use crate::plant::sound::{DamperPosition, OutletSpec, ReliefSpec, ReturnSpec};
use crate::scenario::air;
use crate::scenario::diagnostic::Diagnostic;
use crate::scenario::reader::Section;

/// Thickness that glass-fibre duct board counts for as lining, m (our own choice: a 25 mm board).
const BOARD_LINING_M: f64 = 0.025;
/// Velocity that a return duct is sized for where nothing is said, m/s.
const RETURN_M_S: f64 = 4.0;
/// Velocity over the face of a return grille where nothing is said, m/s.
const RETURN_FACE_M_S: f64 = 2.0;
/// Loss of a return grille on its face velocity pressure, middle of 1.5 to 3.
pub(in crate::scenario) const RETURN_GRILLE_LOSS: f64 = 2.0;

/// A straight run with its bends, as sound sees it.
pub(super) struct Piece {
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
    let own = s.opt("flexible_length")?;
    if own.is_some() && !flexible {
        let what = format!("{} is {}, not flexible", s.header(), material.name);
        let advice = "take it out, or write material = \"flexible\"";
        return Err(s.error_at("flexible_length", what, advice));
    }
    if own.is_none() && flexible {
        s.taken("flexible_length", "its length")?;
    }
    let board = if material.name == "duct board" {
        BOARD_LINING_M
    } else {
        0.0
    };
    Ok(Piece {
        section,
        length_m: own.unwrap_or(length_m),
        flexible,
        lining_m: s.opt("lining")?.or(common.lining_m).unwrap_or(board),
        porous_core: common.porous_core,
        elbows: s.opt("elbows")?.unwrap_or(bends) as usize,
    })
}

/// The trunks' pieces in the order of `air`, which puts parents first.
pub(super) fn trunks(
    top: &Section<'_>,
    common: &Common,
    air: &AirSideSpec,
) -> Result<Vec<Piece>, Diagnostic> {
    let sections = top.tables("trunk");
    let read = air.trunks.iter().filter_map(|t| {
        let (_, s) = sections.iter().find(|(name, _)| name.text == t.name)?;
        let duct = &t.run.duct;
        Some(piece(s, common, duct.section, duct.length_m, 0.0))
    });
    Diagnostic::gather(read)
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

pub(super) fn outlets(
    top: &Section<'_>,
    common: &Common,
    air: &AirSideSpec,
    trunks: &[Piece],
) -> Result<Vec<OutletSpec>, Diagnostic> {
    let sections = top.tables("outlet");
    let read = sections.iter().zip(&air.outlets).map(|((_, s), o)| {
        let duct = &o.run.duct;
        let piece = piece(s, common, duct.section, duct.length_m, common.elbows)?;
        let mut branch = Vec::new();
        piece.elements(&mut branch);
        let position = s.choice_opt("damper_position", &POSITIONS)?;
        let size = damper_size(&duct.section);
        Ok(OutletSpec {
            room: o.room,
            trunk: way_to(air, trunks, o.trunk, piece.area_m2()),
            branch,
            damper: o
                .damper
                .map(|_| (size, position.unwrap_or(common.position))),
            grille: supply_grille(s, common, o, air.air.density_kg_m3)?,
            distance_m: s.opt("listener_distance")?.unwrap_or(common.distance_m),
        })
    });
    Diagnostic::gather(read)
}

fn supply_grille(
    s: &Section<'_>,
    common: &Common,
    o: &Outlet,
    density_kg_m3: f64,
) -> Result<GrilleSpec, Diagnostic> {
    let rated = match octaves(s, "grille_levels")? {
        Some(level_db) => Some(RatedGrille {
            level_db,
            flow_m3_s: s.or("grille_levels_flow", o.design_flow_m3_s)?,
        }),
        None => None,
    };
    Ok(GrilleSpec {
        area_m2: o.face_area_m2,
        loss_coefficient: loss_on_face(&o.grille, o.face_area_m2, density_kg_m3),
        shape: GrilleShape::Rectangular,
        disturbed_db: s.opt("grille_disturbed")?.unwrap_or(common.disturbed_db),
        rated,
    })
}

pub(super) fn relief(
    top: &Section<'_>,
    common: &Common,
    air: &AirSideSpec,
    trunks: &[Piece],
) -> Result<Option<ReliefSpec>, Diagnostic> {
    let Some(relief) = &air.relief else {
        return Ok(None);
    };
    let s = top.table("relief");
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

pub(super) fn returns(
    top: &Section<'_>,
    common: &Common,
    air: &AirSideSpec,
    rated_m3_s: f64,
) -> Result<Vec<ReturnSpec>, Diagnostic> {
    let s = top.table("return");
    let n = air.returns.len() as f64;
    let each_m3_s = rated_m3_s / n;
    let section = match air::size(&s)? {
        Some(section) => section,
        None => DuctSection::Round {
            diameter_m: s.or("diameter", round_of(each_m3_s / RETURN_M_S))?,
        },
    };
    let area_m2 = match air::face_area(&s)? {
        Some(area_m2) => area_m2,
        None => s.or("grille_area", each_m3_s / RETURN_FACE_M_S)?,
    };
    // What [ducts] says is of the supply.
    let word: String = s.get("material")?;
    let of_return = Common {
        material: crate::plant::duct::material(&word).unwrap_or(common.material),
        ..*common
    };
    let piece = piece(&s, &of_return, section, s.get("length")?, common.elbows)?;
    let mut path = Vec::new();
    piece.elements(&mut path);
    path.push(Element::Branch {
        branch_m2: piece.area_m2(),
        branches_m2: n * piece.area_m2(),
        trunk_m2: n * piece.area_m2(),
    });
    let distance_m = s.opt("listener_distance")?.unwrap_or(common.distance_m);
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
