//! `[sound]`.

use super::When::{With, Without};
use super::air::{DISTANCE, DISTURBED, ELBOWS, LINING, POSITION};
use super::*;
use crate::plant::sound::fan::DEFAULT_BLADE_PASS_HZ;
use crate::plant::sound::room::DEFAULT_DISTANCE_M;
use crate::quantity::Dimension::*;
use crate::scenario::sound as read;

pub(super) const fn octaves(name: &'static str, about: &'static str) -> Key {
    key(name, Kind::Quantities(SoundLevel), about).within(-50.0, 150.0).most(8)
}

const MEASURED: &[When] = &[With("fan_levels")];
const SPECIFIC: &[When] = &[Without("fan_levels")];

pub(super) const SOUND: TableSpec = table(
    "sound",
    "Sound of the fan, and what holds for all ducts and rooms that say nothing else.",
    &[
        octaves("fan_levels", "Sound power of the fan by octaves, 63 Hz to 8 kHz.").unset("from blades, flow and pressure"),
        quantity("fan_levels_flow", AirFlow, "Flow of those levels.").within(0.005, 20.0)
            .derived("fan.flow", "the fan's rated point").when(MEASURED),
        quantity("fan_levels_pressure", Pressure, "Pressure of those levels.").within(1.0, 3000.0)
            .derived("the fan's at that flow", "the fan's rated point").when(MEASURED),
        choice("blades", &words(&read::BLADES), "Blades of the fan.")
            .or_word("forward-curved", "specific sound power levels of a forward-curved fan, ASHRAE form, terms from a secondary text; give fan_levels where a maker states them")
            .when(SPECIFIC),
        quantity("blade_pass_frequency", Frequency, "Blade passing frequency.").within(20.0, 10_000.0)
            .or(DEFAULT_BLADE_PASS_HZ, "950 rpm and 42 blades fall in the 500 Hz octave; common practice, no source").when(SPECIFIC),
        flag("efficiency_correction", "Whether the fan is louder off its peak efficiency.")
            .derived("true where fan.points are written", "a curve through one rated point does not tell the fan's efficiency"),
        LINING.derived("none; 25 mm for duct board", "sheet metal is bare unless it is said to be lined; a glass-fibre board counts as its own lining; our own choice"),
        choice("flexible_core", &words(&read::CORES), "Core of flexible duct.")
            .or_word("porous", "flexible duct counts as lined and insulated with a porous core, ASHRAE and AHRI 885 table, from memory; an airtight core takes half as much"),
        DISTANCE.or(DEFAULT_DISTANCE_M, "from opening to listener; our own choice"),
        ELBOWS.or(1.0, "bends of 90° in each branch and in the return; our own choice"),
        POSITION.or_word("take-off", "at the take-off, with the branch after it; common practice, no source"),
        DISTURBED.or(0.0, "a straight approach; a bend under 3 diameters upstream is 5 to 10 dB, common practice, no source"),
        quantity("background_sound", SoundLevel, "Sound of a room without the system, dB(A).").within(5.0, 60.0)
            .or(20.0, "a quiet house, in the shape of NC-15; our own choice"),
    ],
);
