//! Rooms, doors and partitions.

use super::diagnostic::Diagnostic;
use super::reader::{Name, Section};
use super::tree::Value;
use crate::plant::door::Door;
use crate::plant::doorway::Doorway;
use crate::plant::room::{
    Construction, Gain, Hours, LATENT_HEAT_ROOM, OpaqueSurface, Room, Shares, Stores, Window,
    moisture_buffer_kg,
};
use crate::plant::sun::Surface;

/// How much colder than outdoor air the sky makes a horizontal roof, K; ASHRAE's Handbook of Fundamentals.
pub(super) const SKY_K: f64 = 4.0;
const MINUTES_A_DAY: u32 = 1440;

/// What a room is used for: sets its velocity and sound limits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum RoomUse {
    Bedroom,
    Living,
    Kitchen,
    Bathroom,
    PrivateOffice,
    OpenOffice,
    MeetingRoom,
    WaitingRoom,
    ExamRoom,
    Hall,
}

impl RoomUse {
    /// Every use with the word for it in a scenario.
    pub const ALL: [(&'static str, RoomUse); 10] = [
        ("bedroom", RoomUse::Bedroom),
        ("living", RoomUse::Living),
        ("kitchen", RoomUse::Kitchen),
        ("bathroom", RoomUse::Bathroom),
        ("private office", RoomUse::PrivateOffice),
        ("open-plan office", RoomUse::OpenOffice),
        ("meeting room", RoomUse::MeetingRoom),
        ("waiting room", RoomUse::WaitingRoom),
        ("exam room", RoomUse::ExamRoom),
        ("hall", RoomUse::Hall),
    ];

    /// Whether people sleep there.
    pub fn is_bedroom(self) -> bool {
        self == RoomUse::Bedroom
    }

    /// The word for it in a scenario.
    pub fn word(self) -> &'static str {
        RoomUse::ALL
            .iter()
            .find(|(_, u)| *u == self)
            .map_or("", |(w, _)| w)
    }
}

/// What `[house]` says for all rooms.
struct House {
    construction: Construction,
    height_m: f64,
    wall_u: f64,
    roof_u: f64,
    window_u: f64,
    solar: f64,
    glass: f64,
    absorptance: f64,
    infiltration_1_s: f64,
    ach50_ratio: f64,
    mbv: f64,
    buffer_s: f64,
    initial_c: f64,
    initial_rh: f64,
    shares: Shares,
}

pub(super) const CONSTRUCTIONS: [(&str, Construction); 3] = [
    ("light", Construction::Light),
    ("medium", Construction::Medium),
    ("heavy", Construction::Heavy),
];

fn house(top: &Section<'_>) -> Result<House, Diagnostic> {
    let s = top.table("house");
    Ok(House {
        construction: s.choice("construction", &CONSTRUCTIONS)?,
        height_m: s.get("ceiling_height")?,
        wall_u: s.get("wall_u_value")?,
        roof_u: s.get("roof_u_value")?,
        window_u: s.get("window_u_value")?,
        solar: s.get("window_g_value")?,
        glass: s.get("window_glazed_fraction")?,
        absorptance: s.get("solar_absorptance")?,
        infiltration_1_s: s.get("infiltration")?,
        ach50_ratio: s.get("leakage_50_ratio")?,
        mbv: s.get("moisture_buffer_value")?,
        buffer_s: s.get("moisture_buffer_time")?,
        initial_c: s.get("initial_temperature")?,
        initial_rh: s.get("initial_humidity")?,
        shares: Shares {
            gains_to_air: s.get("gains_to_air")?,
            sun_to_air: s.get("sun_to_air")?,
            rest_to_contents: s.get("rest_to_contents")?,
        },
    })
}

/// Rooms as read, with their uses.
pub(super) struct Rooms {
    pub rooms: Vec<Room>,
    pub uses: Vec<RoomUse>,
    pub names: Vec<Name>,
}

impl Rooms {
    /// The index of the room a key names.
    pub(crate) fn find(&self, name: &Name) -> Result<usize, Diagnostic> {
        self.names
            .iter()
            .position(|n| n.text == name.text)
            .ok_or_else(|| name.unknown("room", self.names.iter().map(Name::as_str)))
    }
}

pub(super) fn rooms(top: &Section<'_>, density_kg_m3: f64) -> Result<Rooms, Diagnostic> {
    let house = house(top)?;
    let sections = top.tables("room");
    let read = sections
        .iter()
        .map(|(name, s)| room(name, s, &house, density_kg_m3));
    let (rooms, uses) = Diagnostic::gather(read)?.into_iter().unzip();
    Ok(Rooms {
        rooms,
        uses,
        names: sections.into_iter().map(|(name, _)| name).collect(),
    })
}

fn room(
    name: &Name,
    s: &Section<'_>,
    house: &House,
    density_kg_m3: f64,
) -> Result<(Room, RoomUse), Diagnostic> {
    let own = |key: &str, usual: f64| s.opt(key).map(|own: Option<f64>| own.unwrap_or(usual));
    let area_m2 = s.get("area")?;
    let height_m = own("ceiling_height", house.height_m)?;
    let construction = s.choice_opt("construction", &CONSTRUCTIONS)?;
    let use_ = s.choice("use", &RoomUse::ALL)?;
    let construction = construction.unwrap_or(house.construction);
    let base = Stores::from_geometry(area_m2, height_m, construction, density_kg_m3);
    let stores = Stores {
        air_j_k: own("air_capacity", base.air_j_k)?,
        contents_j_k: own("contents_capacity", base.contents_j_k)?,
        fabric_j_k: own("fabric_capacity", base.fabric_j_k)?,
        air_contents_w_k: own("air_contents_conductance", base.air_contents_w_k)?,
        air_fabric_w_k: own("air_fabric_conductance", base.air_fabric_w_k)?,
        contents_fabric_w_k: own("contents_fabric_conductance", base.contents_fabric_w_k)?,
    };
    let walls = s.list("walls");
    let mut opaque = Diagnostic::gather(walls.iter().map(|w| wall(w, house)))?;
    opaque.extend(roof(s, house, area_m2)?);
    let windows = s.list("windows");
    let infiltration = own("infiltration", house.infiltration_1_s)?;
    let volume = area_m2 * height_m;
    let natural_50 = (house.ach50_ratio * infiltration * volume).max(1e-4);
    let buffer_kg = moisture_buffer_kg(area_m2, house.mbv);
    let room = Room {
        name: name.text.clone(),
        area_m2,
        height_m,
        stores,
        opaque,
        windows: Diagnostic::gather(windows.iter().map(|w| window(w, house)))?,
        ground_w_k: s.get("ground_conductance")?,
        infiltration_ach: infiltration * 3600.0,
        leakage_50_m3_s: own("leakage_50", natural_50)?,
        shares: house.shares,
        gains: gains(s)?,
        buffer_kg: buffer_kg.max(density_kg_m3 * volume * 0.01),
        buffer_kg_s: buffer_kg / house.buffer_s,
        initial_c: own("initial_temperature", house.initial_c)?,
        initial_rh: house.initial_rh,
    };
    Ok((room, use_))
}

pub(super) const COMPASS: [(&str, f64); 8] = [
    ("north", 0.0),
    ("north-east", 45.0),
    ("east", 90.0),
    ("south-east", 135.0),
    ("south", 180.0),
    ("south-west", 225.0),
    ("west", 270.0),
    ("north-west", 315.0),
];

/// Azimuth of a wall or window: a compass word, or an angle from north, clockwise.
pub(super) fn faces(s: &Section<'_>) -> Result<Surface, Diagnostic> {
    let azimuth_deg = match s.opt("azimuth")? {
        Some(angle) => angle,
        None => s.choice("faces", &COMPASS)?,
    };
    Ok(Surface::vertical(azimuth_deg))
}

fn wall(w: &Section<'_>, house: &House) -> Result<OpaqueSurface, Diagnostic> {
    let area_m2: f64 = w.get("area")?;
    let u = w.opt("u_value")?.unwrap_or(house.wall_u);
    Ok(OpaqueSurface {
        ua_w_k: area_m2 * u,
        surface: faces(w)?,
        absorptance: w.opt("solar_absorptance")?.unwrap_or(house.absorptance),
        sky_k: 0.0,
    })
}

fn roof(
    s: &Section<'_>,
    house: &House,
    floor_m2: f64,
) -> Result<Option<OpaqueSurface>, Diagnostic> {
    let area_m2 = s.or("roof_area", floor_m2)?;
    let u = s.opt("roof_u_value")?.unwrap_or(house.roof_u);
    Ok((area_m2 > 0.0).then_some(OpaqueSurface {
        ua_w_k: area_m2 * u,
        surface: Surface {
            tilt_deg: 0.0,
            azimuth_deg: 0.0,
        },
        absorptance: house.absorptance,
        sky_k: SKY_K,
    }))
}

fn window(w: &Section<'_>, house: &House) -> Result<Window, Diagnostic> {
    let area_m2: f64 = w.get("area")?;
    let u = w.opt("u_value")?.unwrap_or(house.window_u);
    let solar = w.opt("g_value")?.unwrap_or(house.solar);
    let glass = w.opt("glazed_fraction")?.unwrap_or(house.glass);
    Ok(Window {
        ua_w_k: area_m2 * u,
        aperture_m2: area_m2 * glass * solar * w.get::<f64>("shading_factor")?,
        surface: faces(w)?,
    })
}

/// `from`, `to` and `days` of an inline table.
pub(super) fn hours(s: &Section<'_>) -> Result<Hours, Diagnostic> {
    let (from, to): (u32, u32) = (s.get("from")?, s.get("to")?);
    let days = s.opt("days")?.unwrap_or(Hours::ALWAYS.days);
    if from >= MINUTES_A_DAY {
        let what = "a day has no minute 24:00 to begin at";
        return Err(s.error_at("from", what, "write \"00:00\""));
    }
    if from == to {
        let what = "these hours end when they begin";
        let advice = "write from = \"00:00\", to = \"24:00\" for the whole day";
        return Err(s.error_at("to", what, advice));
    }
    Ok(Hours {
        days,
        from_min: from as u16,
        to_min: to as u16,
    })
}

fn gains(s: &Section<'_>) -> Result<Vec<Gain>, Diagnostic> {
    let people = s.list("people");
    let people = people.iter().map(|p| {
        let count: f64 = p.get("count")?;
        let (sensible, latent): (f64, f64) = (p.get("sensible")?, p.get("latent")?);
        Ok(Gain {
            hours: hours(p)?,
            sensible_w: count * sensible,
            moisture_kg_s: count * latent / LATENT_HEAT_ROOM,
            people: count,
        })
    });
    let equipment = s.list("equipment");
    let equipment = equipment.iter().map(|e| {
        Ok(Gain {
            hours: hours(e)?,
            sensible_w: e.get("power")?,
            moisture_kg_s: e.get("moisture")?,
            people: 0.0,
        })
    });
    Diagnostic::gather(people.chain(equipment))
}

/// Doors, with one added for every room that has none on its way to a return grille.
pub(super) fn doors(
    top: &Section<'_>,
    rooms: &Rooms,
    return_rooms: &[usize],
) -> Result<Vec<Door>, Diagnostic> {
    let to = return_rooms[0];
    let sections = top.tables("door");
    let read = sections.iter().map(|(name, s)| {
        // A door named after a room is that room's way to the return, unless it says otherwise.
        let of = rooms.names.iter().position(|room| room.text == name.text);
        let between = match of.filter(|&room| room != to && !s.has("between")) {
            Some(room) => {
                s.taken("between", format!("{} and {}", name.text, rooms.names[to]))?;
                [room, to]
            }
            None => ends(s, rooms)?,
        };
        door(&name.text, s, between)
    });
    let mut out = Diagnostic::gather(read)?;
    for room in 0..rooms.rooms.len() {
        if !leads_to_return(room, return_rooms, &out) {
            let name = &rooms.names[room];
            top.note(
                format!("door.{name}"),
                format!("shut, to {}", rooms.names[to]),
                "every room needs a way for its air to the return; common practice, no source",
            );
            let absent = top.absent("door", name.as_str());
            out.push(door(&name.text, &absent, [room, to])?);
        }
    }
    Ok(out)
}

/// The two rooms that a door names.
fn ends(s: &Section<'_>, rooms: &Rooms) -> Result<[usize; 2], Diagnostic> {
    let advice = "write between = [\"living\", \"hall\"]";
    let Some(ends) = s.opt::<Vec<Name>>("between")? else {
        return Err(s.error(format!("{} needs `between`", s.header()), advice));
    };
    let [a, b] = ends.as_slice() else {
        let what = format!("a door joins two rooms, and this names {}", ends.len());
        return Err(s.error_at("between", what, advice));
    };
    Ok([rooms.find(a)?, rooms.find(b)?])
}

fn leads_to_return(room: usize, returns: &[usize], doors: &[Door]) -> bool {
    let mut seen = vec![room];
    let mut next = 0;
    while next < seen.len() {
        let at = seen[next];
        if returns.contains(&at) {
            return true;
        }
        for d in doors {
            for (here, there) in [(0, 1), (1, 0)] {
                if d.between[here] == at && !seen.contains(&d.between[there]) {
                    seen.push(d.between[there]);
                }
            }
        }
        next += 1;
    }
    false
}

pub(super) const OPEN: [(&str, bool); 2] = [("never", false), ("always", true)];

fn door(name: &str, s: &Section<'_>, between: [usize; 2]) -> Result<Door, Diagnostic> {
    let (width_m, undercut_m): (f64, f64) = (s.get("width")?, s.get("undercut")?);
    let shut_area_m2 = width_m * undercut_m + s.get::<f64>("transfer_area")?;
    if shut_area_m2 <= 0.0 {
        return Err(s.error_at(
            "undercut",
            "a shut door without undercut or transfer grille leaves the air no way out",
            "write an undercut such as \"10 mm\", or transfer_area = \"150 cm2\"",
        ));
    }
    // A word, or a list of hours.
    let periods = s.list("open");
    let open = if !periods.is_empty() {
        Diagnostic::gather(periods.iter().map(hours))?
    } else if matches!(s.peek("open").map(|n| &n.value), Some(Value::List(_))) {
        Vec::new()
    } else if s.choice("open", &OPEN)? {
        vec![Hours::ALWAYS]
    } else {
        Vec::new()
    };
    Ok(Door {
        name: name.to_string(),
        between,
        opening: Doorway {
            width_m,
            height_m: s.get("height")?,
            discharge: s.get("discharge_coefficient")?,
        },
        open,
        shut_area_m2,
        partition_w_k: s.get("partition_conductance")?,
    })
}
