//! `[sound]`, and what trunks, outlets, return, relief and rooms say of sound.
//!
//! Defaults for all ducts stand in `[sound]`; a trunk, an outlet, the return or the relief may differ.

mod ducts;
pub(super) use ducts::RETURN_GRILLE_LOSS;

use super::air;
use super::diagnostic::Diagnostic;
use super::house::{RoomUse, Rooms};
use super::reader::Section;
use crate::measure::limits::{Limit, Limits};
use crate::measure::noise_rating::room_limit;
use crate::plant::air_side::AirSideSpec;
use crate::plant::duct::Material;
use crate::plant::sound::chain::background_db;
use crate::plant::sound::fan::{BACKWARD_CURVED, FORWARD_CURVED, FanSpec, SpecificLevels};
use crate::plant::sound::octave::Octaves;
use crate::plant::sound::{DamperPosition, RoomSpec, SoundModel, SoundSpec};

const AUTHOR: &str = "set in the scenario";
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

pub(super) const POSITIONS: [(&str, DamperPosition); 2] = [
    ("take-off", DamperPosition::TakeOff),
    ("outlet", DamperPosition::Outlet),
];

pub(super) const BLADES: [(&str, SpecificLevels); 2] = [
    ("forward-curved", FORWARD_CURVED),
    ("backward-curved", BACKWARD_CURVED),
];

/// Whether the core of flexible duct is porous.
pub(super) const CORES: [(&str, bool); 2] = [("porous", true), ("airtight", false)];

fn octaves(s: &Section<'_>, key: &str) -> Result<Option<Octaves>, Diagnostic> {
    let Some(levels) = s.opt::<Vec<f64>>(key)? else {
        return Ok(None);
    };
    let found = levels.len();
    Octaves::try_from(levels).map(Some).map_err(|_| {
        let what = format!("`{key}` has {found} levels, and eight are due");
        let advice = "give the octaves 63, 125, 250, 500 Hz and 1, 2, 4, 8 kHz in that order";
        s.error_at(key, what, advice)
    })
}

/// Everything about sound; the rest of the scenario has been read.
pub(super) fn sound(
    top: &Section<'_>,
    rooms: &Rooms,
    air: &AirSideSpec,
    rated_flow_m3_s: f64,
    limits: &Limits,
) -> Result<SoundScene, Diagnostic> {
    let s = top.table("sound");
    let fan = fan(&s, air, rated_flow_m3_s)?;
    let measured_fan = matches!(fan, FanSpec::Measured { .. });
    let from_points = top.table("fan").has("points");
    let efficiency_known = match s.opt("efficiency_correction")? {
        Some(known) => known,
        None => {
            s.taken("efficiency_correction", from_points.to_string())?;
            from_points
        }
    };
    let common = common(top, &s)?;
    let (rooms, room_limits) = room_parts(top, rooms, &common, limits)?;
    let trunks = ducts::trunks(top, &common, air)?;
    let spec = SoundSpec {
        fan,
        rooms,
        outlets: ducts::outlets(top, &common, air, &trunks)?,
        relief: ducts::relief(top, &common, air, &trunks)?,
        returns: ducts::returns(top, &common, air, rated_flow_m3_s)?,
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
    let Some(level_db) = octaves(s, "fan_levels")? else {
        return Ok(FanSpec::Specific {
            levels: s.choice("blades", &BLADES)?,
            blade_pass_hz: s.get("blade_pass_frequency")?,
        });
    };
    let flow_m3_s = s.or("fan_levels_flow", rated_m3_s)?;
    let static_pa = s.or("fan_levels_pressure", air.fan.curve.pressure_pa(flow_m3_s))?;
    if static_pa <= 0.0 {
        return Err(s.error_at(
            "fan_levels_flow",
            "at this flow the fan makes no pressure",
            "give fan_levels_flow and fan_levels_pressure of the point that the levels belong to",
        ));
    }
    Ok(FanSpec::Measured {
        level_db,
        flow_m3_s,
        static_pa,
        efficiency_ratio: None,
    })
}

fn common(top: &Section<'_>, s: &Section<'_>) -> Result<Common, Diagnostic> {
    let material = air::material(&top.table("ducts"))?;
    let lining_m = s.opt("lining")?;
    if lining_m.is_none() {
        s.taken("lining", "none; 25 mm for duct board")?;
    }
    Ok(Common {
        distance_m: s.get("listener_distance")?,
        lining_m,
        porous_core: s.choice("flexible_core", &CORES)?,
        elbows: s.get("elbows")?,
        position: s.choice("damper_position", &POSITIONS)?,
        disturbed_db: s.get("grille_disturbed")?,
        background_dba: s.get("background_sound")?,
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
    let sections = top.tables("room");
    let rooms = rooms.rooms.iter().zip(&rooms.uses);
    let read = sections.iter().zip(rooms).map(|((_, s), (room, &use_))| {
        let background: Option<f64> = s.opt("background_sound")?;
        let (dba, nc, source) = match s.opt("sound_limit")?.or(limits.sound_dba) {
            Some(dba) => (dba, dba - DBA_OVER_NC, AUTHOR),
            None => {
                let (dba, nc, source) = limit_by_use(use_);
                let shown = format!("{dba:.0} dB(A) and NC-{nc:.0}");
                s.note(format!("{}.sound_limit", s.path()), shown, source);
                (dba, nc, source)
            }
        };
        let limit = |value: f64| Limit {
            mandatory: limits.sound_mandatory,
            ..Limit::at_most(value, source)
        };
        let spec = RoomSpec {
            volume_m3: room.area_m2 * room.height_m,
            background_db: background_db(background.unwrap_or(common.background_dba)),
        };
        let limits = RoomSoundLimit {
            dba: limit(dba),
            nc: limit(nc),
        };
        Ok((spec, limits))
    });
    Ok(Diagnostic::gather(read)?.into_iter().unzip())
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
