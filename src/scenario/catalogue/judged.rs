//! `[limits]`, `[[fault]]`, `[uncertainty]`.

use super::When::{Is, Without};
use super::*;
use crate::measure::limits;
use crate::quantity::Dimension::*;
use crate::scenario::{fault, house, uncertainty};

/// Every limit that can be mandatory.
const LIMIT_NAMES: [&str; 15] = {
    let mut names = [""; 15];
    let mut i = 0;
    while i < names.len() {
        names[i] = LIMIT_KEYS[i].name;
        i += 1;
    }
    names
};

const LIMIT_KEYS: [Key; 15] = [
    quantity("external_static", Pressure, "Total external static (supply minus return), at most.").within(5.0, 2000.0).sourced(limits::STATIC_PA),
    quantity("room_pressure", Pressure, "Room pressure against the return's room, either way, at most.").within(0.5, 200.0).sourced(limits::ROOM_PRESSURE_PA),
    number("starts_per_hour", "Starts in any rolling hour, at most.").within(0.0, 60.0).sourced(limits::STARTS_PER_HOUR),
    quantity("shortest_run", Time, "Shortest complete run, at least.").within(0.0, 7200.0).sourced(limits::SHORTEST_RUN_S),
    quantity("shortest_off", Time, "Shortest complete off-time, at least.").within(0.0, 7200.0).sourced(limits::SHORTEST_OFF_S),
    fraction("bypass_fraction", "Coil air through the relief damper, at most.").sourced(limits::BYPASS_FRACTION),
    quantity("supply_margin", TemperatureDifference, "Low-supply-temperature margin, at least.").within(0.0, 30.0).sourced(limits::SUPPLY_MARGIN_K),
    number("trips", "Protection trips in the run, at most.").within(0.0, 1000.0).sourced(limits::TRIPS),
    fraction("outside_setpoint", "Scheduled time outside the setpoint's tolerance, at most.").sourced(limits::OUTSIDE_SETPOINT),
    quantity("zone_spread", TemperatureDifference, "Spread between the rooms of a zone, at most.").within(0.1, 20.0).sourced(limits::ZONE_SPREAD_K),
    quantity("house_spread", TemperatureDifference, "Spread between all rooms scheduled, at most.").within(0.1, 20.0).sourced(limits::HOUSE_SPREAD_K),
    quantity("swing", TemperatureDifference, "Peak to peak of operative temperature in 15 min, at most.").within(0.1, 20.0).sourced(limits::SWING_K),
    fraction("humid_fraction", "Occupied time above 60 % relative humidity, at most.").sourced(limits::HUMID_FRACTION),
    quantity("face_velocity", Velocity, "Velocity over the face of every grille, at most.").within(0.2, 20.0)
        .derived("2 m/s in bedrooms, 2.5 m/s elsewhere", "velocity against NC, architectural-acoustics table"),
    quantity("sound", SoundLevel, "Sound in every room, dB(A), at most.").within(10.0, 90.0).unset("by use of the room"),
];

/// What else the table says, after the limits.
const OTHER_KEYS: [Key; 2] = [
    quantity("setpoint_tolerance", TemperatureDifference, "How far from the setpoint a room counts as outside it.").within(0.1, 5.0)
        .or(1.0, "half-width of a comfort category band, EN 16798-1, from memory"),
    key("mandatory", Kind::Words(&LIMIT_NAMES), "Limits that end a run with status 1 when exceeded.").unset("none"),
];

const ALL_LIMIT_KEYS: [Key; 17] = {
    let mut keys = [NOTHING; 17];
    let mut i = 0;
    while i < keys.len() {
        keys[i] = if i < 15 { LIMIT_KEYS[i] } else { OTHER_KEYS[i - 15] };
        i += 1;
    }
    keys
};

pub(super) const LIMITS: TableSpec = table("limits", "What a run is judged by.", &ALL_LIMIT_KEYS);

const CROSSED: &[When] = &[Is("kind", &["dampers crossed"])];
const SUN: &[When] = &[Is("kind", &["sensor in sun"])];
const STUCK: &[When] = &[Is("kind", &["damper stuck"])];

pub(super) const FAULT: TableSpec = table(
    "fault[]",
    "What is broken, and when.",
    &[
        choice("kind", &fault::KINDS, "What is broken."),
        key("at", Kind::TimeOfDay, "When it begins: the first time of day that comes.").unset("from the start"),
        quantity("after", Time, "When it begins: after the start of the run.").within(0.0, 400.0 * 86_400.0).unset("from the start").when(&[Without("at")]),
        key("until", Kind::TimeOfDay, "When it ends: the next time of day.").unset("it lasts"),
        quantity("for", Time, "How long it lasts.").within(1.0, 400.0 * 86_400.0).unset("it lasts").when(&[Without("until")]),
        key("zone", Kind::Name("zone", &[]), "The zone it is in.")
            .when(&[Is("kind", &["sensor lost", "sensor frozen", "sensor offset", "sensor in sun", "radio lost"])]),
        key("outlet", Kind::Name("outlet", &[]), "The outlet whose damper it is.").unset("see zone").when(STUCK),
        key("zone", Kind::Name("zone", &[]), "The zone, for all of its dampers.").unset("see outlet").when(STUCK),
        fraction("position", "Where the blade is.").derived("where it is when the fault begins", OWN).when(STUCK),
        fraction("position", "Where the blade is.").when(&[Is("kind", &["relief stuck"])]),
        choice("feedback", &words(&fault::FEEDBACK), "What reports the position.")
            .or_word("motor", "a loose shaft: the motor turns on and reports its travel").when(STUCK),
        key("zones", Kind::Names("zone"), "The two zones whose dampers are crossed.").most(2).unset("see outlets").when(CROSSED),
        key("outlets", Kind::Names("outlet"), "The two outlets whose dampers are crossed.").most(2).unset("see zones").when(CROSSED),
        fraction("flow_fraction", "Flow at the same pressure.").within(0.01, 1.0).or(0.5, "half of its flow; our own choice")
            .when(&[Is("kind", &["relief undersized"])]),
        number("resistance_factor", "Resistance of the filter.").within(1.0, 100.0).or(6.0, "well past changing; our own choice")
            .when(&[Is("kind", &["filter blocked"])]),
        quantity("reading", Temperature, "The reading it keeps.").within(-20.0, 60.0).unset("that when the fault begins")
            .when(&[Is("kind", &["sensor frozen"])]),
        quantity("offset", TemperatureDifference, "Error of the reading.").within(-20.0, 20.0).when(&[Is("kind", &["sensor offset"])]),
        quantity("rise", TemperatureDifference, "Error in full sun.").within(0.1, 20.0).common(3.0).when(SUN),
        choice("faces", &words(&house::COMPASS), "Direction of the window whose sun reaches it.").unset("see azimuth, from").when(SUN),
        quantity("azimuth", Angle, "That direction, clockwise from north.").within(0.0, 360.0).unset("see faces, from").when(SUN),
        key("from", Kind::TimeOfDay, "When the sun reaches it, every day.").unset("see faces").when(SUN),
        key("to", Kind::TimeOfDay, "When the sun leaves it.").unset("see faces").when(SUN),
        integer("after_damper", "Dampers on the bus that still respond.").within(0.0, 9999.0).when(&[Is("kind", &["damper bus open"])]),
        quantity("fallback_after", Time, "After how long the zone no longer calls.").within(0.0, 86_400.0).common(1800.0)
            .when(&[Is("kind", &["radio lost"])]),
        choice("stuck_in", &words(&crate::scenario::control::MODES), "The mode it stays in.").unset("the opposite of what it is told")
            .when(&[Is("kind", &["wrong mode"])]),
    ],
);

pub(super) const UNCERTAINTY: TableSpec = table(
    "uncertainty",
    "What is not known, for sweeps; a single run takes no notice of it.",
    &[key("standard", Kind::FlagOrWords(&uncertainty::GROUPS), "Usual uncertainties switched on.").unset("none")],
);

const fn loose(name: &'static str, about: &'static str) -> Key {
    key(name, Kind::Loose, about)
}

const NORMAL: &[When] = &[Is("distribution", &["normal"])];
const LOGNORMAL: &[When] = &[Is("distribution", &["lognormal"])];
const BETA: &[When] = &[Is("distribution", &["beta"])];
const BOUNDED: &[When] = &[Is("distribution", &["uniform", "triangular"])];
const DISCRETE: &[When] = &[Is("distribution", &["discrete"])];

pub(super) const UNCERTAIN: TableSpec = table(
    "uncertainty.<key>",
    "How one key is drawn; its path in quotes, as in [uncertainty.\"house.infiltration\"].",
    &[
        choice("distribution", &words(&uncertainty::KINDS), "How it is distributed."),
        choice("as", &words(&uncertainty::Acts::ALL), "What a draw does to the key.").unset("normal: offset; lognormal: factor; else value"),
        choice("seed", &words(&uncertainty::Stream::ALL), "Whether it is fixed with the house or new every day.").unset("house"),
        loose("mean", "Mean.").unset("no change").when(NORMAL),
        loose("sigma", "Standard deviation.").when(NORMAL),
        loose("median", "Median.").unset("1 for a factor").when(LOGNORMAL),
        number("sigma", "Standard deviation of the logarithm.").within(0.0, 5.0).above(0.0).when(LOGNORMAL),
        loose("low", "Least.").when(BOUNDED),
        loose("high", "Greatest.").when(BOUNDED),
        loose("mode", "Most likely.").when(&[Is("distribution", &["triangular"])]),
        number("alpha", "First shape.").within(0.05, 1000.0).when(BETA),
        number("beta", "Second shape.").within(0.05, 1000.0).when(BETA),
        loose("low", "Least.").unset("0").when(BETA),
        loose("high", "Greatest.").unset("1").when(BETA),
        key("values", Kind::Looses, "The values.").most(1000).when(DISCRETE),
        key("weights", Kind::Numbers, "Their weights.").above(0.0).most(1000).unset("all alike").when(DISCRETE),
        loose("lowest", "Draws below are put here.").unset("no bound"),
        loose("highest", "Draws above are put here.").unset("no bound"),
    ],
)
.count(0, 1000);

