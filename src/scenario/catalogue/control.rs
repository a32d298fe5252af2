//! `[control]`, `[thermostat]`, `[dampers]`, `[zone.<name>]`, `[protection.*]`, `[[action]]`.

use super::When::{Is, With, Without};
use super::house::{DAYS, FROM, TO};
use super::*;
use crate::quantity::Dimension::*;
use crate::scenario::control as read;

const fn time(name: &'static str, most: f64, about: &'static str) -> Key {
    quantity(name, Time, about).within(0.0, most)
}

const fn kelvin(name: &'static str, most: f64, about: &'static str) -> Key {
    quantity(name, TemperatureDifference, about).within(0.0, most)
}

const VOTES: &[When] = &[Is("mode", &["first call", "lead zone", "head count", "weighted vote"])];
const LIMITED: &[When] = &[Is("airflow_limit", &["true"])];
const GUARDED: &[When] = &[Is("guard", &["true"])];

pub(super) const CONTROL: TableSpec = table(
    "control",
    "The controller: mode, times, staging.",
    &[
        choice("mode", &words(&read::RULES), "How the one mode of the unit is chosen."),
        key("lead_zone", Kind::Name("zone", &[]), "The zone that chooses.").when(&[Is("mode", &["lead zone"])]),
        kelvin("vote_margin", 5.0, "By how much the other mode must win a vote.").common(0.2).when(&[Is("mode", &["weighted vote"])]),
        choice("initial_mode", &words(&read::MODES), "Mode before the first choice.").or_word("cooling", OWN).when(VOTES),
        time("mode_qualify", 7200.0, "How long the other mode must be wanted.").common(600.0).when(VOTES),
        time("mode_hold", 7200.0, "How long a mode is kept at least.").common(600.0).when(VOTES),
        time("mode_change_off", 7200.0, "Off-time between heating and cooling.").common(600.0).when(VOTES),
        time("maximum_wait", 86_400.0, "Longest wait of a zone for the other mode.").common(2700.0).when(VOTES),
        time("minimum_run", 3600.0, "Minimum run time of the compressor.").or(180.0, "a unit maker's glossary (3 min); compressor guides give 2 min"),
        time("minimum_off", 3600.0, "Minimum off-time of the compressor.").or(300.0, "a unit maker's glossary (5 min); compressor guides give 180 s"),
        time("post_run", 1800.0, "Fan post-run.").common(60.0),
        fraction("ready_opening", "Position that counts as open before a start.").within(0.01, 1.0).common(0.5),
        time("opening_wait", 600.0, "Longest wait for dampers before a start.").common(60.0),
        time("power_up_delay", 600.0, "Longest random delay after power-up.").common(0.0),
        choice("staging", &words(&read::STAGINGS), "What demand is counted by: temperature error, calling zones, or the lesser of both.")
            .or_word("both", "the lesser of demand by error and by weight of the calling zones; common practice, no source"),
        number("staging_gain", "Demand per K of error.").within(0.05, 20.0).or(1.0, "full speed at 1 K of error; common practice, no source"),
        quantity("staging_band", TemperatureDifference, "Error that stands for a stage.").within(0.05, 10.0).common(1.0),
        time("stage_up_delay", 3600.0, "Delay of a stage up.").common(300.0),
        time("stage_down_delay", 3600.0, "Delay of a stage down.").common(120.0),
        flag("airflow_limit", "Whether capacity is held to what the rooms' air can carry.")
            .or_flag(true, "capacity is held to what the rooms' air can carry; common practice, no source"),
        time("airflow_limit_delay", 3600.0, "Time after a start in which that limit does not act.").common(120.0).when(LIMITED),
        fraction("sensible_heat_ratio", "Sensible part of the capacity, for that limit.").within(0.3, 1.0).or(0.78, "our own generic unit").when(LIMITED),
        quantity("minimum_supply_temperature", Temperature, "Coldest supply air that limit allows.").within(2.0, 20.0).common(8.0).when(LIMITED),
        quantity("maximum_supply_temperature", Temperature, "Warmest supply air that limit allows.").within(25.0, 60.0).common(48.0).when(LIMITED),
        flag("guard", "Whether zones call at guard setpoints outside their schedule.")
            .or_flag(true, "outside their schedule zones still call at guard setpoints"),
        quantity("overheat_guard", Temperature, "Guard setpoint, cooling.").within(25.0, 60.0).common(32.0).when(GUARDED),
        quantity("frost_guard", Temperature, "Guard setpoint, heating.").within(0.0, 20.0).common(12.0).when(GUARDED),
    ],
);

const RATE: &str = "kelvin per hour to begin with; then learned; common practice, no source";

pub(super) const OPTIMUM_START: TableSpec = table(
    "control.optimum_start",
    "Optimum start: zones start before their schedule so as to be ready in time. On where this table is written.",
    &[
        number("cooling_rate", "Recovery when cooling, K/h, to begin with.").within(0.1, 20.0).or(1.5, RATE),
        number("heating_rate", "Recovery when heating, K/h, to begin with.").within(0.1, 20.0).or(1.5, RATE),
        fraction("learning", "Weight of each new recovery.").or(0.3, "weight of each new recovery; our own choice"),
        time("maximum_lead", 6.0 * 3600.0, "Earliest start before the schedule.").common(10_800.0),
    ],
);

const LAG: Key = time("lag", 3600.0, "Time constant of its sensor.");
const OFFSET: Key = kelvin("offset", 5.0, "Error of its sensor.").within(-5.0, 5.0);
const NOISE: Key = kelvin("noise", 2.0, "Noise of its sensor.");
const RESOLUTION: Key = kelvin("resolution", 2.0, "Resolution of its sensor.");
const SAMPLE: Key = time("sample_interval", 900.0, "Time between its samples.");
const WALL: Key = fraction("wall_weight", "Weight of the wall behind it in its reading.");
const DIFFERENTIAL: Key = quantity("differential", TemperatureDifference, "Differential, total.").within(0.05, 5.0);

pub(super) const THERMOSTAT: TableSpec = table(
    "thermostat",
    "What holds for all thermostats that say nothing else.",
    &[
        DIFFERENTIAL.common(0.5),
        choice("placement", &words(&read::PLACEMENTS), "Where the differential is about the setpoint.")
            .or_word("centred", "half above and half below the setpoint; common practice, no source"),
        LAG.common(120.0),
        OFFSET.or(0.0, "a true sensor"),
        NOISE.common(0.02),
        RESOLUTION.common(0.1),
        SAMPLE.common(10.0),
        WALL.or(0.1, "0 to 0.3; common practice, no source"),
    ],
);

const MODULATING: &[When] = &[Is("control", &["modulating"])];
const DAMPER: Key = choice("control", &words(&read::DAMPERS), "How its damper moves.");
const BAND: Key = quantity("proportional_band", TemperatureDifference, "Proportional band.").within(0.1, 10.0).when(MODULATING);
const OPENING: Key = fraction("minimum_opening", "Minimum opening while it calls.").within(0.01, 1.0).when(MODULATING);
const INTEGRAL: Key = time("integral_time", 36_000.0, "Integral time; 0 = none.").when(MODULATING);
const DEAD_BAND: Key = fraction("dead_band", "Change of command below which nothing moves.").within(0.0, 0.5).when(MODULATING);
const UPDATE: Key = time("update_interval", 3600.0, "Least time between commands.").when(MODULATING);

pub(super) const DAMPERS: TableSpec = table(
    "dampers",
    "What holds for all zone dampers that say nothing else, and for their motors, on a bus or wired singly.",
    &[
        DAMPER.or_word("two-position", "the simplest motor; common practice, no source"),
        BAND.common(1.5),
        OPENING.common(0.15),
        INTEGRAL.or(0.0, "proportional alone"),
        DEAD_BAND.common(0.05),
        UPDATE.common(60.0),
        time("travel_time", 600.0, "Full travel of a motor.").common(90.0),
        fraction("motor_dead_band", "Dead band of a motor.").common(0.02),
    ],
);

const fn setpoint(name: &'static str, about: &'static str) -> Key {
    quantity(name, Temperature, about).within(5.0, 40.0)
}

const COOLS: &[When] = &[Is("control.mode", &["cooling", "first call", "lead zone", "head count", "weighted vote"])];
const HEATS: &[When] = &[Is("control.mode", &["heating", "first call", "lead zone", "head count", "weighted vote"])];

const BOUNDS: &str = "bounds of a person's setpoint; common practice, no source";

pub(super) const ZONE: TableSpec = table(
    "zone.<name>",
    "A zone: one thermostat in one room, wired or by radio, and the dampers it drives.",
    &[
        key("thermostat", Kind::Name("room", &[]), "The room its thermostat is in."),
        key("channels", Kind::Integers, "Control channels of its dampers.").within(1.0, 9999.0).most(MANY),
        setpoint("cooling", "Cooling setpoint.").or(25.0, "within EN 16798-1 category II, as transcribed").when(COOLS),
        setpoint("heating", "Heating setpoint.").or(20.0, "EN 16798-1 category II, as transcribed").when(HEATS),
        setpoint("setback_cooling", "Cooling setpoint outside its schedule.").within(5.0, 45.0).unset("as control.guard says").when(COOLS),
        setpoint("setback_heating", "Heating setpoint outside its schedule.").within(5.0, 45.0).unset("as control.guard says").when(HEATS),
        flag("on", "Whether it is switched on.").or_flag(true, "zones are switched on"),
        flag("optimum_start", "Whether it starts early, where [control.optimum_start] is written.").or_flag(true, "every zone starts early where any does"),
        number("weight", "Weight in votes and staging.").within(0.0, 1e6).derived("the design flow of its outlets, m³/s", OWN),
        fraction("opening_when_satisfied", "Opening of its dampers when it does not call, within its schedule.").or(0.0, "a satisfied zone shuts"),
        fraction("opening_on_lost_sensor", "Opening of its dampers when its sensor is lost.").unset("it does not call, and shuts"),
        quantity("minimum_setpoint", Temperature, "Least setpoint a person can choose.").within(5.0, 30.0).or(16.0, BOUNDS),
        quantity("maximum_setpoint", Temperature, "Greatest setpoint a person can choose.").within(15.0, 40.0).or(30.0, BOUNDS),
        DIFFERENTIAL.as_in("thermostat.differential"),
        LAG.as_in("thermostat.lag"),
        OFFSET.as_in("thermostat.offset"),
        NOISE.as_in("thermostat.noise"),
        RESOLUTION.as_in("thermostat.resolution"),
        SAMPLE.as_in("thermostat.sample_interval"),
        WALL.as_in("thermostat.wall_weight"),
        DAMPER.as_in("dampers.control"),
        BAND.as_in("dampers.proportional_band"),
        OPENING.as_in("dampers.minimum_opening"),
        INTEGRAL.as_in("dampers.integral_time"),
        DEAD_BAND.as_in("dampers.dead_band"),
        UPDATE.as_in("dampers.update_interval"),
    ],
)
.count(1, MANY);

pub(super) const SCHEDULE: TableSpec = table(
    "zone.<name>.schedule[]",
    "Scheduled periods of a zone; without any it is scheduled all day, every day.",
    &[
        FROM,
        TO,
        DAYS,
        setpoint("cooling", "Cooling setpoint of the period.").unset("the zone's").when(COOLS),
        setpoint("heating", "Heating setpoint of the period.").unset("the zone's").when(HEATS),
    ],
);

struct Cutout {
    dimension: Dimension,
    fitted: bool,
    trip: f64,
    re_enable: f64,
    qualify_s: f64,
    blind_s: f64,
    re_enable_s: f64,
    trips: f64,
    action: &'static str,
}

const FITTED: &[When] = &[Is("fitted", &["true"])];

const CUTOUTS: &[&str] = &words(&read::CUTOUT_ACTIONS);

const fn cutout(c: Cutout) -> [Key; 9] {
    let source = if c.fitted { "as most units have it" } else { "as most units lack it; common practice, no source" };
    [
        flag("fitted", "Whether the unit has it.").or_flag(c.fitted, source),
        quantity("trip", c.dimension, "Where it trips.").common(c.trip).when(FITTED),
        quantity("qualify_time", Time, "How long the trip must last.").within(0.0, 7200.0).common(c.qualify_s).when(FITTED),
        quantity("blind_time", Time, "Time after a start in which it does not act.").within(0.0, 7200.0).common(c.blind_s).when(FITTED),
        choice("action", CUTOUTS, "What it does.").or_word(c.action, COMMON).when(FITTED),
        quantity("re_enable", c.dimension, "Where it lets the unit run again.").common(c.re_enable).when(FITTED),
        quantity("re_enable_after", Time, "After how long at the earliest.").within(0.0, 7200.0).common(c.re_enable_s).when(FITTED),
        integer("lock_out_count", "Trips in the window that lock the unit out; 0 = never.").within(0.0, 1000.0).or(c.trips, "trips in the window; 0 = never").when(FITTED),
        quantity("lock_out_window", Time, "Window in which trips are counted.").within(0.0, 7200.0).common(3600.0).when(FITTED),
    ]
}

const LOW: Cutout = Cutout {
    dimension: Temperature,
    fitted: true,
    trip: 5.0,
    re_enable: 12.0,
    qualify_s: 60.0,
    blind_s: 120.0,
    re_enable_s: 300.0,
    trips: 3.0,
    action: "step down, then off",
};

pub(super) const PROTECTION: TableSpec = table("protection", "Cut-outs of the unit.", &[]);

pub(super) const LOW_SUPPLY: TableSpec = table("protection.low_supply", "Low supply air temperature, while cooling.", &cutout(LOW));

pub(super) const COIL_FREEZE: TableSpec = table(
    "protection.coil_freeze",
    "Coil freeze, while cooling.",
    &cutout(Cutout { trip: 3.0, re_enable: 7.0, qualify_s: 180.0, blind_s: 0.0, re_enable_s: 180.0, action: "off", ..LOW }),
);

pub(super) const HIGH_SUPPLY: TableSpec = table(
    "protection.high_supply",
    "High supply air temperature, while heating.",
    &cutout(Cutout { trip: 55.0, re_enable: 45.0, qualify_s: 45.0, blind_s: 0.0, re_enable_s: 240.0, ..LOW }),
);

pub(super) const HIGH_STATIC: TableSpec = table(
    "protection.high_static",
    "High total external static.",
    &cutout(Cutout {
        dimension: Pressure,
        fitted: false,
        trip: 200.0,
        re_enable: 200.0 - 50.0,
        qualify_s: 20.0,
        blind_s: 0.0,
        re_enable_s: 60.0,
        trips: 0.0,
        action: "slow fan",
    }),
);

pub(super) const ACTION: TableSpec = table(
    "action[]",
    "What a person changes during the run: one thing each.",
    &[
        key("at", Kind::TimeOfDay, "When: the first time of day that comes.").when(&[Without("after")]),
        quantity("after", Time, "When: after the start of the run.").at_least(0.0).unset("see at"),
        key("zone", Kind::Name("zone", &[]), "The zone; the whole system where none is named.").unset("the whole system"),
        quantity("setpoint_change", TemperatureDifference, "Change of the zone's setpoint.").within(-10.0, 10.0).unset("no change").when(&[With("zone")]),
        choice("switch", &words(&read::SWITCH), "Switches the zone, or the whole system.").unset("no change"),
        choice("mode", &words(&read::ACTION_MODES), "Sets the mode of the system.").unset("no change"),
        flag("clear_lock_out", "Clears lock-outs.").or_flag(false, "no change"),
        quantity("for", Time, "How long it lasts.").within(60.0, 1e7).unset("until the zone's next scheduled change"),
    ],
);
