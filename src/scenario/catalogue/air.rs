//! `[fan]`, `[filter]`, `[coil]`, `[return]`, `[ducts]`, `[trunk.<name>]`, `[outlet.<name>]`, `[relief]`.

use super::When::{Is, With, Without};
use super::*;
use crate::plant::{damper, duct};
use crate::quantity::Dimension::*;
use crate::scenario::air as read;

const LIMITED: &[When] = &[Is("drive", &["constant torque", "constant airflow"])];
const FLOW: Key = quantity("flow", AirFlow, "Rated flow.").within(0.02, 20.0);

pub(super) const FAN: TableSpec = table(
    "fan",
    "The fan, with everything inside the unit.",
    &[
        FLOW.when(&[Without("points")]),
        FLOW.derived("0.75 of the points' free flow", "three quarters of the curve's free flow").when(&[With("points")]),
        quantity("pressure", Pressure, "Total rise at the rated flow, coil and filter included.").within(10.0, 2000.0)
            .or(150.0, "total rise of a small ducted unit, coil and filter included; common practice, no source")
            .when(&[Without("points")]),
        fraction("efficiency", "Efficiency of fan and motor at the rated point.").within(0.03, 0.95)
            .or(0.30, "fan and motor of a small unit, 0.3 to 0.6 W per L/s at 100 to 200 Pa; common practice, no source"),
        quantity("standby_power", Power, "Power at rest.").within(0.0, 500.0).common(5.0),
        choice("drive", &words(&read::DRIVES), "What the drive holds.").or_word("fixed speed", "the plainest drive; our own choice"),
        fraction("minimum_speed", "Minimum speed, 1 = rated.").common(0.1).when(LIMITED),
        number("maximum_speed", "Maximum speed, 1 = rated.").within(0.3, 2.0)
            .or(1.25, "a quarter above the rated point; common practice, no source").when(LIMITED),
        quantity("maximum_power", Power, "Maximum power.").above(0.0)
            .derived("1.5 of the rated point's power", "half above the rated point; common practice, no source").when(LIMITED),
        fraction("speed_at_zero_capacity", "Fan command at zero capacity of the unit; 1 at full capacity.")
            .or(0.4, "fan command = 0.4 + 0.6 × unit speed; our own generic unit").when(&[Without("low_stage_speed")]),
        fraction("low_stage_speed", "Fan command at the low stage; 1 at the high.").unset("in step with capacity"),
        fraction("post_run_speed", "Fan command of the post-run.").common(0.6),
    ],
);

pub(super) const POINTS: TableSpec = table(
    "fan.points[]",
    "The fan's curve by points, in place of a rated pressure.",
    &[
        quantity("flow", AirFlow, "Flow.").within(0.0, 20.0),
        quantity("pressure", Pressure, "Total rise at that flow.").within(0.0, 3000.0),
    ],
);

const EXPONENTS: &str = "coil and filter 1.4 to 1.8, return 1.9; common practice, no source";
const DROP: Key = quantity("drop", Pressure, "Pressure drop at `at_flow`.").within(0.5, 1000.0);
const AT_FLOW: Key = quantity("at_flow", AirFlow, "Flow of that drop.").within(0.005, 20.0).derived("fan.flow", "the fan's rated flow");
const EXPONENT: Key = number("exponent", "Exponent of the drop on flow.").within(1.0, 2.0);

pub(super) const FILTER: TableSpec = table(
    "filter",
    "The filter.",
    &[
        DROP.common(25.0),
        AT_FLOW,
        EXPONENT.or(1.6, EXPONENTS),
        number("loading", "Resistance over that of a clean filter.").within(0.3, 20.0).or(1.0, "clean"),
        number("growth_per_1000_h", "Growth of the resistance in 1000 h of running.").within(0.0, 20.0)
            .or(0.3, "resistance doubles in about 3000 h of running; common practice, no source"),
    ],
);

pub(super) const COIL: TableSpec = table("coil", "The coil's resistance.", &[DROP.common(45.0), AT_FLOW, EXPONENT.or(1.6, EXPONENTS)]);

const DIAMETER: Key = quantity("diameter", Length, "Diameter of a round duct.").within(0.05, 3.0)
    .unset("rectangular").when(&[Without("width"), Without("height")]);
const WIDTH: Key = quantity("width", Length, "Width of a rectangular duct.").within(0.05, 3.0).unset("round");
const HEIGHT: Key = quantity("height", Length, "Height of a rectangular duct.").within(0.05, 3.0).unset("round");
const MATERIAL: Key = choice("material", &MATERIALS, "What the duct is made of.");
const INSULATION: Key = quantity("insulation", ThermalResistance, "Thermal resistance of its insulation.").within(0.0, 10.0);
const COMPRESSION: Key = fraction("compression", "Longitudinal compression of flexible duct.").within(0.0, 0.5);
const LOCATION: Key = choice("location", &words(&read::SPACES), "Where the duct runs.");
const LENGTH: Key = quantity("length", Length, "Length.").within(0.0, 200.0);
const FITTINGS: Key = number("fitting_loss", "Sum of loss coefficients of its fittings.").within(0.0, 50.0)
    .or(1.0, "a take-off and two easy bends; common practice, no source");
const FLEXIBLE: Key = quantity("flexible_length", Length, "Flexible part of its length, for sound.").within(0.0, 50.0)
    .derived("its length", "what lies beyond 3.7 m counts nothing; common practice, no source");
pub(super) const LINING: Key = quantity("lining", Length, "Thickness of its acoustic lining.").within(0.0, 0.1);
pub(super) const ELBOWS: Key = integer("elbows", "Bends of 90°, for sound.").within(0.0, 20.0);
pub(super) const DISTANCE: Key = quantity("listener_distance", Length, "From its opening to the listener.").within(0.3, 30.0);
const DAMPER: Key = choice("damper", &DAMPERS, "Kind of damper blade.");
const LEAKAGE: Key = choice("damper_leakage", &words(&read::LEAKAGE), "Leakage class of the shut damper, EN 1751.");
const BALANCING: Key = number("balancing_loss", "Loss coefficient of its balancing damper.").within(0.0, 1e5).or(0.0, "no balancing damper");
const GRILLE: Key = key("grille", Kind::Size, "Width and height of its grille.").within(0.02, 5.0).unset("see grille_area");
const GRILLE_AREA: Key = quantity("grille_area", Area, "Face area of its grille, in place of `grille`.").within(1e-4, 10.0).when(&[Without("grille")]);
const CHANNEL: Key = integer("channel", "Control channel of its damper.").within(1.0, 9999.0);

const FIRST_MATERIAL: &str = duct::MATERIALS[0].name;
const MATERIAL_SOURCE: &str = duct::MATERIALS[0].source;
const FIRST_DAMPER: &str = damper::KINDS[0].name;
const DAMPER_SOURCE: &str = damper::KINDS[0].source;

/// Names of the duct materials.
const MATERIALS: [&str; duct::MATERIALS.len()] = {
    let mut names = [""; duct::MATERIALS.len()];
    let mut i = 0;
    while i < names.len() {
        names[i] = duct::MATERIALS[i].name;
        i += 1;
    }
    names
};

/// Names of the damper kinds.
const DAMPERS: [&str; damper::KINDS.len()] = {
    let mut names = [""; damper::KINDS.len()];
    let mut i = 0;
    while i < names.len() {
        names[i] = damper::KINDS[i].name;
        i += 1;
    }
    names
};

pub(super) const RETURN: TableSpec = table(
    "return",
    "The return. Its duct is for sound only.",
    &[
        key("rooms", Kind::Names("room"), "Rooms with a return grille; every other room needs a way there.").most(MANY),
        DROP.common(20.0),
        AT_FLOW,
        EXPONENT.or(1.9, EXPONENTS),
        GRILLE,
        GRILLE_AREA.derived("2 m/s at the fan's rated flow", COMMON),
        DIAMETER.derived("4 m/s at the fan's rated flow", COMMON),
        WIDTH,
        HEIGHT,
        quantity("length", Length, "From the unit to the grille.").within(0.0, 100.0).or(3.0, "from the unit to the grille, for sound only; our own choice"),
        MATERIAL.or_word("flexible", "for sound only; bare sheet metal here is 10 to 15 dB(A) louder: write material and lining where you know them; our own choice"),
        LINING.as_in("sound.lining"),
        FLEXIBLE,
        ELBOWS.as_in("sound.elbows"),
        DISTANCE.as_in("sound.listener_distance"),
    ],
);

pub(super) const DUCTS: TableSpec = table(
    "ducts",
    "What holds for all supply ducts and their dampers that say nothing else.",
    &[
        MATERIAL.or_word(FIRST_MATERIAL, MATERIAL_SOURCE),
        INSULATION.common(1.0),
        LOCATION.or_word("roof", "the harder case"),
        COMPRESSION.or(0.04, "flexible duct pulled to within 4 % of its length, ASHRAE Fundamentals"),
        DAMPER.or_word(FIRST_DAMPER, DAMPER_SOURCE),
        LEAKAGE.or_word("class 2", "EN 1751; cheap round dampers are class 1 or 2, common practice, no source"),
        quantity("plenum_time_constant", Time, "Time constant with which a plenum without flow takes on the house's temperature.")
            .within(1.0, 36_000.0).common(900.0),
    ],
);

pub(super) const TRUNK: TableSpec = table(
    "trunk.<name>",
    "A trunk duct.",
    &[
        key("from", Kind::Name("trunk", &["plenum"]), "What it comes from: another trunk, or the plenum.").unset("plenum"),
        DIAMETER,
        WIDTH,
        HEIGHT,
        LENGTH.common(5.0),
        MATERIAL.as_in("ducts.material"),
        INSULATION.as_in("ducts.insulation"),
        COMPRESSION.as_in("ducts.compression"),
        FITTINGS,
        LOCATION.as_in("ducts.location"),
        LINING.as_in("sound.lining"),
        FLEXIBLE,
        ELBOWS.or(0.0, "a straight trunk"),
    ],
);

const WITH_DAMPER: &[When] = &[With("channel")];

pub(super) const OUTLET: TableSpec = table(
    "outlet.<name>",
    "An outlet: a duct, a damper on its own control channel, a grille, one room.",
    &[
        key("room", Kind::Name("room", &[]), "The room it supplies."),
        key("from", Kind::Name("trunk", &["plenum"]), "What it comes from: a trunk, or the plenum.").unset("plenum"),
        DIAMETER,
        WIDTH,
        HEIGHT,
        quantity("length", Length, "Length.").within(0.0, 200.0).above(0.0).common(5.0),
        MATERIAL.as_in("ducts.material"),
        INSULATION.as_in("ducts.insulation"),
        COMPRESSION.as_in("ducts.compression"),
        FITTINGS,
        LOCATION.as_in("ducts.location"),
        CHANNEL.derived("none: no damper, always open", "an outlet without a channel has no damper"),
        DAMPER.as_in("ducts.damper").when(WITH_DAMPER),
        LEAKAGE.as_in("ducts.damper_leakage").when(WITH_DAMPER),
        GRILLE,
        GRILLE_AREA.derived("1.6 of the duct's area", "1.6 times the duct: common practice, no source"),
        number("grille_loss", "Loss coefficient of the grille, on its face velocity.").within(0.1, 50.0)
            .or(3.0, "on the face velocity, 2 to 4; common practice, no source"),
        BALANCING,
        quantity("flow", AirFlow, "Design flow.").within(0.001, 5.0).derived("3 m/s in the branch", "3 m/s in the branch: common practice, no source"),
        LINING.as_in("sound.lining"),
        FLEXIBLE,
        ELBOWS.as_in("sound.elbows"),
        DISTANCE.as_in("sound.listener_distance"),
        POSITION.as_in("sound.damper_position").when(WITH_DAMPER),
        DISTURBED.as_in("sound.grille_disturbed"),
        super::sound::octaves("grille_levels", "Sound power of its grille by octaves, 63 Hz to 8 kHz.").unset("from face velocity and loss"),
        quantity("grille_levels_flow", AirFlow, "Flow of those levels.").within(0.001, 5.0).derived("its design flow", OWN).when(&[With("grille_levels")]),
    ],
)
.count(1, 4 * MANY);

pub(super) const POSITION: Key = choice("damper_position", &words(&crate::scenario::sound::POSITIONS), "Where its damper is, for sound.");
pub(super) const DISTURBED: Key = quantity("grille_disturbed", SoundLevel, "Extra sound of a grille with a disturbed approach.").within(0.0, 20.0);

const FITTED: &[When] = &[Is("kind", &["weighted blade", "motorised"])];
const BLADE: &[When] = &[Is("kind", &["weighted blade"])];
const MOTOR: &[When] = &[Is("kind", &["motorised"])];
const ROUND: &[When] = &[Is("kind", &["weighted blade", "motorised"]), Without("width"), Without("height")];

pub(super) const RELIEF: TableSpec = table(
    "relief",
    "The relief (bypass) damper, from the supply plenum to the return or a room.",
    &[
        choice("kind", &words(&read::RELIEFS), "How it opens.").or_word("none", "no relief unless one is written"),
        DIAMETER.when(ROUND),
        WIDTH.when(FITTED),
        HEIGHT.when(FITTED),
        LENGTH.common(2.0).when(FITTED),
        MATERIAL.as_in("ducts.material").when(FITTED),
        INSULATION.as_in("ducts.insulation").when(FITTED),
        COMPRESSION.as_in("ducts.compression").when(FITTED),
        FITTINGS.when(FITTED),
        LOCATION.as_in("ducts.location").when(FITTED),
        key("discharge_to", Kind::Name("room", &["return"]), "Where its air goes.").unset("return").when(FITTED),
        DAMPER.as_in("ducts.damper").when(FITTED),
        LEAKAGE.as_in("ducts.damper_leakage").when(FITTED),
        BALANCING.when(FITTED),
        quantity("opening_pressure", Pressure, "Static at which the blade lifts.").within(5.0, 500.0).when(BLADE),
        quantity("full_open_pressure", Pressure, "Static at which it is fully open.").within(5.0, 500.0)
            .derived("1.6 of opening_pressure", "1.3 to 2 times the opening pressure; common practice, no source").when(BLADE),
        quantity("friction", Pressure, "Friction of the blade, half of its hysteresis.").within(0.0, 100.0)
            .derived("0.05 of opening_pressure", "half of a band of a tenth of the opening pressure; common practice, no source").when(BLADE),
        quantity("lag", Time, "Lag of the blade.").within(0.0, 60.0).common(3.0).when(BLADE),
        CHANNEL.when(MOTOR),
        quantity("setpoint", Pressure, "Static that it holds.").within(5.0, 500.0).when(MOTOR),
        number("gain", "Opening per Pa.").within(1e-5, 1.0).or(0.004, "opening per Pa: half open at 125 Pa over; tuned on our own clinic").when(MOTOR),
        quantity("integral_time", Time, "Integral time.").within(1.0, 3600.0)
            .or(60.0, "0.3 to 1 times the motor's travel; our own choice").when(MOTOR),
        quantity("filter_time", Time, "Time constant of the filter of its reading.").within(0.0, 60.0).common(3.0).when(MOTOR),
        quantity("dead_band", Pressure, "Dead band.").within(0.0, 50.0).common(4.0).when(MOTOR),
        LINING.as_in("sound.lining").when(FITTED),
        FLEXIBLE.when(FITTED),
        ELBOWS.or(0.0, "a straight relief").when(FITTED),
    ],
);
