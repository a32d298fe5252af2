//! Rooms, doors and partitions.

use super::diagnostic::Diagnostic;
use super::reader::{Name, Section};
use crate::plant::door::Door;
use crate::plant::doorway::Doorway;
use crate::plant::room::{
    Construction, Gain, Hours, LATENT_HEAT_ROOM, OpaqueSurface, Room, Shares, Stores, Window,
    moisture_buffer_kg,
};
use crate::plant::sun::Surface;
use crate::quantity::Dimension;

const COMMON: &str = "common practice, no source";
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
    buffer_hours: f64,
    initial_c: f64,
    initial_rh: f64,
    shares: Shares,
}

const CONSTRUCTIONS: [(&str, Construction); 3] = [
    ("light", Construction::Light),
    ("medium", Construction::Medium),
    ("heavy", Construction::Heavy),
];

fn house(top: &Section<'_>) -> Result<House, Diagnostic> {
    let s = top.table("house")?;
    let u = |key: &str| s.quantity(key, Dimension::UValue).within(0.05, 8.0);
    let house = House {
        construction: s.choice("construction", &CONSTRUCTIONS).or(
            Construction::Medium,
            "capacities of ISO 13790:2008 table 12, as transcribed",
        )?,
        height_m: s
            .quantity("ceiling_height", Dimension::Length)
            .within(1.8, 8.0)
            .or(2.4, COMMON)?,
        wall_u: u("wall_u_value")
            .or(0.5, "a lightly insulated wall; common practice, no source")?,
        roof_u: u("roof_u_value").or(0.3, "an insulated ceiling; common practice, no source")?,
        window_u: u("window_u_value").or(3.0, "double clear glass; common practice, no source")?,
        solar: s
            .fraction("window_solar")
            .or(0.75, "double clear glass, ISO 13790 table, from memory")?,
        glass: s.fraction("window_glass").or(0.75, COMMON)?,
        absorptance: s.fraction("absorptance").or(0.6, COMMON)?,
        infiltration_1_s: s
            .quantity("infiltration", Dimension::AirChanges)
            .within(0.0, 3.0 / 3600.0)
            .or(0.3 / 3600.0, COMMON)?,
        ach50_ratio: s.number("leakage_50_ratio").within(1.0, 60.0).or(
            20.0,
            "leakage at 50 Pa over natural air change: a rule of thumb, inaccurate",
        )?,
        mbv: s
            .number("moisture_buffer")
            .within(0.0, 5.0)
            .or(0.5, "g/(m² %RH), edge of the NORDTEST classes, from memory")?,
        buffer_hours: s
            .quantity("moisture_buffer_time", Dimension::Time)
            .within(600.0, 86_400.0)
            .or(4.0 * 3600.0, COMMON)?
            / 3600.0,
        initial_c: s
            .quantity("initial", Dimension::Temperature)
            .within(0.0, 45.0)
            .or(25.0, "before the warm-up; our own choice")?,
        initial_rh: s
            .fraction("initial_humidity")
            .or(0.5, "before the warm-up; our own choice")?,
        shares: Shares {
            gains_to_air: s.fraction("gains_to_air").or(
                0.45,
                "between ISO 13790 (½) and ISO 52016-1 (0.40), from memory",
            )?,
            sun_to_air: s
                .fraction("sun_to_air")
                .or(0.10, "ISO 52016-1, from memory")?,
            rest_to_contents: s.fraction("rest_to_contents").or(0.5, COMMON)?,
        },
    };
    s.finish()?;
    Ok(house)
}

/// Rooms as read, with their uses.
pub(super) struct Rooms {
    pub rooms: Vec<Room>,
    pub uses: Vec<RoomUse>,
    pub names: Vec<Name>,
}

impl Rooms {
    /// The index of the room a key names.
    pub fn find(&self, name: &Name) -> Result<usize, Diagnostic> {
        self.names
            .iter()
            .position(|n| n.text == name.text)
            .ok_or_else(|| name.unknown("room", self.names.iter().map(Name::as_str)))
    }
}

pub(super) fn rooms(top: &Section<'_>, density_kg_m3: f64) -> Result<Rooms, Diagnostic> {
    let house = house(top)?;
    let mut out = Rooms {
        rooms: Vec::new(),
        uses: Vec::new(),
        names: Vec::new(),
    };
    for (name, s) in top.tables("room")? {
        let (room, use_) = room(&name, &s, &house, density_kg_m3)?;
        s.finish()?;
        out.rooms.push(room);
        out.uses.push(use_);
        out.names.push(name);
    }
    if out.rooms.is_empty() {
        return Err(top.error(
            "the scenario has no room",
            "add one: [room.living] with its area",
        ));
    }
    if out.rooms.len() > 64 {
        return Err(top.error(
            format!("{} rooms are more than this program takes", out.rooms.len()),
            "keep to 64 rooms",
        ));
    }
    Ok(out)
}

fn room(
    name: &Name,
    s: &Section<'_>,
    house: &House,
    density_kg_m3: f64,
) -> Result<(Room, RoomUse), Diagnostic> {
    let area_m2 = s
        .quantity("area", Dimension::Area)
        .within(1.0, 2000.0)
        .required()?;
    let height_m = s
        .quantity("ceiling_height", Dimension::Length)
        .within(1.8, 8.0)
        .optional()?
        .unwrap_or(house.height_m);
    let construction = s
        .choice("construction", &CONSTRUCTIONS)
        .optional()?
        .unwrap_or(house.construction);
    let use_ = s
        .choice("use", &RoomUse::ALL)
        .or(RoomUse::Living, "the stricter of two; our own")?;
    super::sound::room_keys(s)?;
    let base = Stores::from_geometry(area_m2, height_m, construction, density_kg_m3);
    let capacity = |key: &str, default: f64| {
        let field = s
            .quantity(key, Dimension::HeatCapacity)
            .above(0.0)
            .optional();
        field.map(|v| v.unwrap_or(default))
    };
    let coupling = |key: &str, default: f64| {
        let field = s
            .quantity(key, Dimension::Conductance)
            .at_least(0.0)
            .optional();
        field.map(|v| v.unwrap_or(default))
    };
    let stores = Stores {
        air_j_k: capacity("air_capacity", base.air_j_k)?,
        contents_j_k: capacity("contents_capacity", base.contents_j_k)?,
        fabric_j_k: capacity("fabric_capacity", base.fabric_j_k)?,
        air_contents_w_k: coupling("air_contents", base.air_contents_w_k)?,
        air_fabric_w_k: coupling("air_fabric", base.air_fabric_w_k)?,
        contents_fabric_w_k: coupling("contents_fabric", base.contents_fabric_w_k)?,
    };
    let mut opaque = walls(s, house)?;
    opaque.extend(roof(s, house, area_m2)?);
    let infiltration = s
        .quantity("infiltration", Dimension::AirChanges)
        .within(0.0, 3.0 / 3600.0)
        .optional()?
        .unwrap_or(house.infiltration_1_s);
    let volume = area_m2 * height_m;
    let leakage_50_m3_s = s
        .quantity("leakage_50", Dimension::AirFlow)
        .above(0.0)
        .optional()?
        .unwrap_or_else(|| (house.ach50_ratio * infiltration * volume).max(1e-4));
    let buffer_kg = moisture_buffer_kg(area_m2, house.mbv);
    let room = Room {
        name: name.text.clone(),
        area_m2,
        height_m,
        stores,
        opaque,
        windows: windows(s, house)?,
        ground_w_k: s
            .quantity("ground_loss", Dimension::Conductance)
            .at_least(0.0)
            .optional()?
            .unwrap_or(0.0),
        infiltration_ach: infiltration * 3600.0,
        leakage_50_m3_s,
        shares: house.shares,
        gains: gains(s)?,
        buffer_kg: buffer_kg.max(density_kg_m3 * volume * 0.01),
        buffer_kg_s: buffer_kg / (house.buffer_hours * 3600.0),
        initial_c: s
            .quantity("initial", Dimension::Temperature)
            .within(0.0, 45.0)
            .optional()?
            .unwrap_or(house.initial_c),
        initial_rh: house.initial_rh,
    };
    Ok((room, use_))
}

const COMPASS: [(&str, f64); 8] = [
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
    if let Some(angle) = s
        .quantity("azimuth", Dimension::Angle)
        .within(0.0, 360.0)
        .optional()?
    {
        return Ok(Surface::vertical(angle));
    }
    Ok(Surface::vertical(s.choice("faces", &COMPASS).required()?))
}

fn walls(s: &Section<'_>, house: &House) -> Result<Vec<OpaqueSurface>, Diagnostic> {
    let mut out = Vec::new();
    for w in s.list("walls")? {
        let area = w
            .quantity("area", Dimension::Area)
            .within(0.1, 2000.0)
            .required()?;
        let u = w
            .quantity("u_value", Dimension::UValue)
            .within(0.05, 8.0)
            .optional()?;
        out.push(OpaqueSurface {
            ua_w_k: area * u.unwrap_or(house.wall_u),
            surface: faces(&w)?,
            absorptance: w
                .fraction("absorptance")
                .optional()?
                .unwrap_or(house.absorptance),
            sky_k: 0.0,
        });
        w.finish()?;
    }
    Ok(out)
}

fn roof(
    s: &Section<'_>,
    house: &House,
    floor_m2: f64,
) -> Result<Option<OpaqueSurface>, Diagnostic> {
    let area = s
        .quantity("roof_area", Dimension::Area)
        .within(0.0, 2000.0)
        .or(
            floor_m2,
            "a roof over the whole room; write \"0 m2\" below another storey",
        )?;
    let u = s
        .quantity("roof_u_value", Dimension::UValue)
        .within(0.05, 8.0)
        .optional()?;
    Ok((area > 0.0).then(|| OpaqueSurface {
        ua_w_k: area * u.unwrap_or(house.roof_u),
        surface: Surface {
            tilt_deg: 0.0,
            azimuth_deg: 0.0,
        },
        absorptance: house.absorptance,
        sky_k: 4.0,
    }))
}

fn windows(s: &Section<'_>, house: &House) -> Result<Vec<Window>, Diagnostic> {
    let mut out = Vec::new();
    for w in s.list("windows")? {
        let area = w
            .quantity("area", Dimension::Area)
            .within(0.05, 500.0)
            .required()?;
        let u = w
            .quantity("u_value", Dimension::UValue)
            .within(0.3, 8.0)
            .optional()?;
        let solar = w.fraction("solar").optional()?.unwrap_or(house.solar);
        let glass = w.fraction("glass").optional()?.unwrap_or(house.glass);
        let shading = w
            .fraction("shading")
            .or(1.0, "share of the sun let past shading: nothing shades it")?;
        out.push(Window {
            ua_w_k: area * u.unwrap_or(house.window_u),
            aperture_m2: area * glass * solar * shading,
            surface: faces(&w)?,
        });
        w.finish()?;
    }
    Ok(out)
}

/// `from`, `to` and `days` of an inline table.
pub(super) fn hours(s: &Section<'_>) -> Result<Hours, Diagnostic> {
    let from = s.time_of_day("from").required()?;
    let to = s.time_of_day("to").required()?;
    let days = s.weekdays("days").optional()?.unwrap_or(Hours::ALWAYS.days);
    if from >= MINUTES_A_DAY {
        return Err(s.error_at(
            "from",
            "a day has no minute 24:00 to begin at",
            "write \"00:00\"",
        ));
    }
    if from == to {
        return Err(s.error_at(
            "to",
            "these hours end when they begin",
            "write from = \"00:00\", to = \"24:00\" for the whole day",
        ));
    }
    Ok(Hours {
        days,
        from_min: from as u16,
        to_min: to as u16,
    })
}

fn gains(s: &Section<'_>) -> Result<Vec<Gain>, Diagnostic> {
    let mut out = Vec::new();
    for p in s.list("people")? {
        let count = p.number("count").within(0.0, 500.0).or(1.0, "one person")?;
        let heat = |key: &str| p.quantity(key, Dimension::Power).within(0.0, 500.0);
        let sensible = heat("sensible").or(
            70.0,
            "seated, very light work, ASHRAE Fundamentals 2009 ch. 18 table 1",
        )?;
        let latent = heat("latent").or(
            45.0,
            "seated, very light work, ASHRAE Fundamentals 2009 ch. 18 table 1",
        )?;
        out.push(Gain {
            hours: hours(&p)?,
            sensible_w: count * sensible,
            moisture_kg_s: count * latent / LATENT_HEAT_ROOM,
            people: count,
        });
        p.finish()?;
    }
    for e in s.list("equipment")? {
        let power = e
            .quantity("power", Dimension::Power)
            .within(0.0, 50_000.0)
            .required()?;
        let moisture = e
            .quantity("moisture", Dimension::MassFlow)
            .within(0.0, 0.01)
            .optional()?
            .unwrap_or(0.0);
        out.push(Gain {
            hours: hours(&e)?,
            sensible_w: power,
            moisture_kg_s: moisture,
            people: 0.0,
        });
        e.finish()?;
    }
    Ok(out)
}

/// Doors, with one added for every room that has none on its way to a return grille.
pub(super) fn doors(
    top: &Section<'_>,
    rooms: &Rooms,
    return_rooms: &[usize],
) -> Result<Vec<Door>, Diagnostic> {
    let mut out: Vec<Door> = Vec::new();
    let to = return_rooms[0];
    for (name, s) in top.tables("door")? {
        // A door named after a room is that room's way to the return, unless it says otherwise.
        let of = rooms.names.iter().position(|room| room.text == name.text);
        let written = s.names("between").optional()?;
        let between = match (of.filter(|&room| room != to), written) {
            (Some(room), None) => {
                s.note(
                    &format!("door.{}.between", name.text),
                    &format!("{} and {}", name.text, rooms.names[to]),
                    "a door named after a room leads to the return",
                );
                [room, to]
            }
            _ => ends(&s, rooms)?,
        };
        out.push(door(&name.text, &s, between)?);
        s.finish()?;
    }
    for room in 0..rooms.rooms.len() {
        if !leads_to_return(room, return_rooms, &out) {
            let name = &rooms.names[room];
            let s = top.table("default_door")?;
            s.note(
                &format!("door.{name}"),
                &format!("shut, 10 mm undercut, to {}", rooms.names[to]),
                "every room needs a way for its air to the return; common practice, no source",
            );
            out.push(door(&name.text, &s, [room, to])?);
            s.finish()?;
        }
    }
    Ok(out)
}

/// The two rooms that a door names.
fn ends(s: &Section<'_>, rooms: &Rooms) -> Result<[usize; 2], Diagnostic> {
    let ends = s.names("between").required()?;
    let [a, b] = ends.as_slice() else {
        return Err(s.error_at(
            "between",
            format!("a door joins two rooms, and this names {}", ends.len()),
            "write between = [\"living\", \"hall\"]",
        ));
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

fn door(name: &str, s: &Section<'_>, between: [usize; 2]) -> Result<Door, Diagnostic> {
    let length = |key: &str| s.quantity(key, Dimension::Length);
    let width_m = length("width").within(0.2, 10.0).or(0.8, COMMON)?;
    let height_m = length("height").within(0.5, 5.0).or(2.0, COMMON)?;
    let undercut_m = length("undercut").within(0.0, 0.3).or(0.010, COMMON)?;
    let transfer_m2 = s
        .quantity("transfer", Dimension::Area)
        .within(0.0, 2.0)
        .optional()?
        .unwrap_or(0.0);
    let discharge = s.number("discharge").within(0.2, 1.0).or(
        0.6,
        "sharp opening, Hunt & Holford 2000; 0.4 to 0.65 in use",
    )?;
    let shut_area_m2 = width_m * undercut_m + transfer_m2;
    if shut_area_m2 <= 0.0 {
        return Err(s.error_at(
            "undercut",
            "a shut door without undercut or transfer grille leaves the air no way out",
            "write an undercut such as \"10 mm\", or transfer = \"150 cm2\"",
        ));
    }
    let partition = s
        .quantity("partition", Dimension::Conductance)
        .at_least(0.0)
        .optional()?;
    Ok(Door {
        name: name.to_string(),
        between,
        opening: Doorway {
            width_m,
            height_m,
            discharge,
        },
        open: open_hours(s)?,
        shut_area_m2,
        partition_w_k: partition.unwrap_or(0.0),
    })
}

/// `open = "always"`, `"never"` or a list of hours.
fn open_hours(s: &Section<'_>) -> Result<Vec<Hours>, Diagnostic> {
    use super::tree::Value;
    if s.peek("open")
        .is_some_and(|n| matches!(n.value, Value::List(_)))
    {
        let mut out = Vec::new();
        for h in s.list("open")? {
            out.push(hours(&h)?);
            h.finish()?;
        }
        return Ok(out);
    }
    let words = [("never", false), ("always", true)];
    let always = s
        .choice("open", &words)
        .or(false, "doors shut: the harder case for return air")?;
    Ok(if always {
        vec![Hours::ALWAYS]
    } else {
        Vec::new()
    })
}
