//! What a [`SoundSpec`] may not say.

use super::attenuation::Element;
use super::chain::{OutletSpec, ReliefSpec, SoundError, SoundSpec};
use super::damper::DamperSize;
use super::fan::FanSpec;
use super::grille::GrilleSpec;
use super::octave::Octaves;

type Checked = Result<(), SoundError>;

pub(super) fn spec(spec: &SoundSpec) -> Checked {
    fan(&spec.fan)?;
    let rooms = spec.rooms.len();
    for (i, room) in spec.rooms.iter().enumerate() {
        let part = format!("room {i}");
        positive(&part, "volume_m3", room.volume_m3)?;
        levels(&part, "background_db", &room.background_db)?;
    }
    for (i, o) in spec.outlets.iter().enumerate() {
        outlet(&format!("outlet {i}"), o, rooms)?;
    }
    for (i, r) in spec.returns.iter().enumerate() {
        let part = format!("return {i}");
        exists(&part, r.room, rooms)?;
        path(&part, &r.path)?;
        grille(&part, &r.grille)?;
        positive(&part, "distance_m", r.distance_m)?;
    }
    match &spec.relief {
        Some(ReliefSpec::ToRoom(o)) => outlet("relief", o, rooms),
        Some(ReliefSpec::ToReturn {
            damper: size,
            path: p,
        }) => {
            damper("relief", size)?;
            path("relief", p)
        }
        None => Ok(()),
    }
}

fn outlet(part: &str, outlet: &OutletSpec, rooms: usize) -> Checked {
    exists(part, outlet.room, rooms)?;
    path(part, &outlet.trunk)?;
    path(part, &outlet.branch)?;
    if let Some((size, _)) = &outlet.damper {
        damper(part, size)?;
    }
    grille(part, &outlet.grille)?;
    positive(part, "distance_m", outlet.distance_m)
}

fn fan(fan: &FanSpec) -> Checked {
    match fan {
        FanSpec::Measured {
            level_db,
            flow_m3_s,
            static_pa,
            efficiency_ratio,
        } => {
            levels("fan", "level_db", level_db)?;
            positive("fan", "flow_m3_s", *flow_m3_s)?;
            positive("fan", "static_pa", *static_pa)?;
            positive("fan", "efficiency_ratio", efficiency_ratio.unwrap_or(1.0))
        }
        FanSpec::Specific {
            levels: set,
            blade_pass_hz,
        } => {
            levels("fan", "levels_db", &set.levels_db)?;
            levels("fan", "blade_increment_db", &[set.blade_increment_db; 8])?;
            positive("fan", "blade_pass_hz", *blade_pass_hz)
        }
    }
}

fn grille(part: &str, grille: &GrilleSpec) -> Checked {
    positive(part, "grille area_m2", grille.area_m2)?;
    positive(part, "grille loss_coefficient", grille.loss_coefficient)?;
    levels(part, "grille disturbed_db", &[grille.disturbed_db; 8])?;
    let Some(rated) = &grille.rated else {
        return Ok(());
    };
    levels(part, "grille level_db", &rated.level_db)?;
    positive(part, "grille rated flow_m3_s", rated.flow_m3_s)
}

fn damper(part: &str, size: &DamperSize) -> Checked {
    positive(part, "damper area_m2", size.area_m2)?;
    positive(part, "damper height_m", size.height_m)
}

fn path(part: &str, path: &[Element]) -> Checked {
    match path.iter().find_map(Element::fault) {
        Some((name, value)) => Err(SoundError::Value {
            part: part.into(),
            name,
            value,
        }),
        None => Ok(()),
    }
}

fn exists(part: &str, room: usize, rooms: usize) -> Checked {
    if room < rooms {
        return Ok(());
    }
    Err(SoundError::Room {
        part: part.into(),
        room,
        rooms,
    })
}

fn positive(part: &str, name: &'static str, value: f64) -> Checked {
    if value.is_finite() && value > 0.0 {
        return Ok(());
    }
    Err(SoundError::Value {
        part: part.into(),
        name,
        value,
    })
}

fn levels(part: &str, name: &'static str, levels_db: &Octaves) -> Checked {
    match levels_db
        .iter()
        .find(|l| l.is_nan() || **l == f64::INFINITY)
    {
        Some(&value) => Err(SoundError::Value {
            part: part.into(),
            name,
            value,
        }),
        None => Ok(()),
    }
}
