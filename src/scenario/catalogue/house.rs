//! `[house]`, `[room.<name>]`, `[door.<name>]`.

use super::When::Without;
use super::*;
use crate::quantity::Dimension::*;
use crate::scenario::house as read;

const U: (f64, f64) = (0.05, 8.0);

const fn u_value(name: &'static str, about: &'static str) -> Key {
    quantity(name, UValue, about).within(U.0, U.1)
}

const CONSTRUCTION: Key = choice("construction", &words(&read::CONSTRUCTIONS), "Thermal mass of walls, floor and ceiling.");
const CEILING: Key = quantity("ceiling_height", Length, "Height of the ceiling.").within(1.8, 8.0);
const INFILTRATION: Key = quantity("infiltration", AirChanges, "Natural air change with outdoors.").within(0.0, 3.0 / 3600.0);
const INITIAL: Key = quantity("initial_temperature", Temperature, "Temperature before the warm-up.").within(0.0, 45.0);

pub(super) const HOUSE: TableSpec = table(
    "house",
    "What holds for all rooms that say nothing else.",
    &[
        CONSTRUCTION.or_word("medium", "capacities of ISO 13790:2008 table 12, as transcribed"),
        CEILING.common(2.4),
        u_value("wall_u_value", "Thermal transmittance of walls.").or(0.5, "a lightly insulated wall; common practice, no source"),
        u_value("roof_u_value", "Thermal transmittance of roofs with their ceiling.").or(0.3, "an insulated ceiling; common practice, no source"),
        u_value("window_u_value", "Thermal transmittance of windows.").or(3.0, "double clear glass; common practice, no source"),
        fraction("window_g_value", "Total solar energy transmittance of the glass.").or(0.75, "double clear glass, ISO 13790 table, from memory"),
        fraction("window_glazed_fraction", "Glass in the area of a window.").common(0.75),
        fraction("solar_absorptance", "Solar absorptance of walls and roofs.").common(0.6),
        INFILTRATION.common(0.3 / 3600.0),
        number("leakage_50_ratio", "Leakage at 50 Pa over natural air change.").within(1.0, 60.0)
            .or(20.0, "leakage at 50 Pa over natural air change: a rule of thumb, inaccurate"),
        number("moisture_buffer_value", "Moisture buffer value per floor area, g/(m² %RH).").within(0.0, 5.0)
            .or(0.5, "g/(m² %RH), edge of the NORDTEST classes, from memory"),
        quantity("moisture_buffer_time", Time, "Time constant of the moisture buffer.").within(600.0, 86_400.0).common(4.0 * 3600.0),
        INITIAL.or(25.0, "before the warm-up; our own choice"),
        fraction("initial_humidity", "Relative humidity before the warm-up.").or(0.5, "before the warm-up; our own choice"),
        fraction("gains_to_air", "Part of internal gains that goes to the air.").or(0.45, "between ISO 13790 (½) and ISO 52016-1 (0.40), from memory"),
        fraction("sun_to_air", "Part of the sun let in that goes to the air.").or(0.10, "ISO 52016-1, from memory"),
        fraction("rest_to_contents", "Part of the rest that goes to contents, the other part to the fabric.").common(0.5),
        fraction("roof_absorptance", "Solar absorptance of the roof covering, for the air of the roof space.").common(0.7),
        fraction("roof_space_fraction", "Part of the roof's sol-air rise that the air of the roof space keeps.")
            .or(0.6, "reaches 50 to 60 °C on a hot clear day, as commonly seen; common practice, no source"),
    ],
);

const fn capacity(name: &'static str, about: &'static str) -> Key {
    quantity(name, HeatCapacity, about).above(0.0).derived("from area, height and construction", "ISO 13790:2008 table 12, as transcribed")
}

const fn conductance(name: &'static str, about: &'static str) -> Key {
    quantity(name, Conductance, about).at_least(0.0)
}

const fn coupling(name: &'static str, about: &'static str) -> Key {
    conductance(name, about).derived("from area and height", "surface coefficients of ISO 52016-1, from memory")
}

pub(super) const ROOM: TableSpec = table(
    "room.<name>",
    "A room. Walls and windows are those that face outdoors.",
    &[
        choice("use", &words(&read::RoomUse::ALL), "What it is used for: sets its limits for velocity and sound.")
            .or_word("living", "the stricter of two; our own"),
        quantity("area", Area, "Floor area.").within(1.0, 2000.0),
        CEILING.as_in("house.ceiling_height"),
        CONSTRUCTION.as_in("house.construction"),
        quantity("sound_limit", SoundLevel, "Limit of sound, dB(A).").within(5.0, 90.0).derived("by use of the room", "published limits by use"),
        quantity("background_sound", SoundLevel, "Sound without the system, dB(A).").within(5.0, 90.0).as_in("sound.background_sound"),
        quantity("roof_area", Area, "Area of its roof.").within(0.0, 2000.0)
            .derived("its floor area", "a roof over the whole room; write \"0 m2\" below another storey"),
        u_value("roof_u_value", "Thermal transmittance of its roof.").as_in("house.roof_u_value"),
        INFILTRATION.as_in("house.infiltration"),
        quantity("leakage_50", AirFlow, "Air leakage at 50 Pa.").above(0.0).derived("house.leakage_50_ratio times infiltration", COMMON),
        conductance("ground_conductance", "Conductance to the ground.").or(0.0, "no loss to the ground"),
        INITIAL.as_in("house.initial_temperature"),
        capacity("air_capacity", "Heat capacity of its air."),
        capacity("contents_capacity", "Heat capacity of its contents."),
        capacity("fabric_capacity", "Heat capacity of its fabric."),
        coupling("air_contents_conductance", "Conductance from air to contents."),
        coupling("air_fabric_conductance", "Conductance from air to fabric."),
        coupling("contents_fabric_conductance", "Conductance from contents to fabric."),
    ],
)
.count(1, MANY);

const FACES: Key = choice("faces", &words(&read::COMPASS), "Compass direction it faces.").when(&[Without("azimuth")]);
const AZIMUTH: Key = quantity("azimuth", Angle, "Direction it faces, clockwise from north, in place of `faces`.").within(0.0, 360.0).unset("as faces");

pub(super) const WALLS: TableSpec = table(
    "room.<name>.walls[]",
    "Walls to outdoors.",
    &[
        FACES,
        AZIMUTH,
        quantity("area", Area, "Area without its windows.").within(0.1, 2000.0),
        u_value("u_value", "Thermal transmittance.").as_in("house.wall_u_value"),
        fraction("solar_absorptance", "Solar absorptance.").as_in("house.solar_absorptance"),
    ],
);

pub(super) const WINDOWS: TableSpec = table(
    "room.<name>.windows[]",
    "Windows to outdoors.",
    &[
        FACES,
        AZIMUTH,
        quantity("area", Area, "Area with its frame.").within(0.05, 500.0),
        quantity("u_value", UValue, "Thermal transmittance.").within(0.3, 8.0).as_in("house.window_u_value"),
        fraction("g_value", "Total solar energy transmittance of the glass.").as_in("house.window_g_value"),
        fraction("glazed_fraction", "Glass in its area.").as_in("house.window_glazed_fraction"),
        fraction("shading_factor", "Part of the sun that shading lets past.").or(1.0, "nothing shades it"),
    ],
);

pub(super) const FROM: Key = key("from", Kind::TimeOfDay, "When the hours begin.");
pub(super) const TO: Key = key("to", Kind::TimeOfDay, "When the hours end; before `from`, on the next day.");
pub(super) const DAYS: Key = key("days", Kind::Weekdays, "Days on which the hours begin.").unset("every day");

const PERSON: &str = "seated, very light work, ASHRAE Fundamentals 2009 ch. 18 table 1";

pub(super) const PEOPLE: TableSpec = table(
    "room.<name>.people[]",
    "People, with their hours.",
    &[
        FROM,
        TO,
        DAYS,
        number("count", "How many.").within(0.0, 500.0).or(1.0, "one person"),
        quantity("sensible", Power, "Sensible heat of one person.").within(0.0, 500.0).or(70.0, PERSON),
        quantity("latent", Power, "Latent heat of one person.").within(0.0, 500.0).or(45.0, PERSON),
    ],
);

pub(super) const EQUIPMENT: TableSpec = table(
    "room.<name>.equipment[]",
    "Equipment and lights, with their hours.",
    &[
        FROM,
        TO,
        DAYS,
        quantity("power", Power, "Heat to the room.").within(0.0, 50_000.0),
        quantity("moisture", MassFlow, "Water vapour released.").within(0.0, 0.01).or(0.0, "none"),
    ],
);

pub(super) const DOOR: TableSpec = table(
    "door.<name>",
    "A door. One named after a room joins that room and the return's; every other says what it joins. A room without any gets one.",
    &[
        key("between", Kind::Names("room"), "The two rooms that it joins.").most(2)
            .derived("the room it is named after, and the return's", "a door named after a room leads to the return"),
        quantity("width", Length, "Width.").within(0.2, 10.0).common(0.8),
        quantity("height", Length, "Height.").within(0.5, 5.0).common(2.0),
        quantity("undercut", Length, "Gap below it when shut.").within(0.0, 0.3).common(0.010),
        quantity("transfer_area", Area, "Free area of its transfer grille.").within(0.0, 2.0).or(0.0, "no grille"),
        number("discharge_coefficient", "Discharge coefficient of its openings.").within(0.2, 1.0)
            .or(0.6, "sharp opening, Hunt & Holford 2000; 0.4 to 0.65 in use"),
        choice("open", &words(&read::OPEN), "When it stands open: a word, or a list of hours.")
            .or_word("never", "doors shut: the harder case for return air"),
        conductance("partition_conductance", "Conductance of the partition between its rooms.").or(0.0, "no heat through the partition"),
    ],
)
.count(0, 4 * MANY);

pub(super) const OPEN: TableSpec = table("door.<name>.open[]", "Hours in which a door stands open.", &[FROM, TO, DAYS]);
