//! The top of a file, `[site]`, `[run]`, `[weather]`, `[unit]`.

use super::When::Is;
use super::*;
use crate::quantity::Dimension::*;
use crate::scenario::{site, unit};

pub(super) const TOP: TableSpec = table(
    "",
    "The scenario as a whole.",
    &[
        key("title", Kind::Text, "Title for people.").unset("the file's name"),
        key("about", Kind::Text, "What the scenario is for.").most(4000).unset("nothing"),
        key("based_on", Kind::Text, "Scenario file that this one changes; it holds whatever is not written here.").unset("stands alone"),
        key("without", Kind::Texts, "Tables and keys of the base file that this one takes out, by path.").unset("all of it"),
    ],
);

pub(super) const SITE: TableSpec = table(
    "site",
    "Where the house is.",
    &[
        key("place", Kind::Text, "Name of the place, for people.").unset("unnamed"),
        quantity("latitude", Angle, "Latitude, south negative.").within(-90.0, 90.0),
        quantity("longitude", Angle, "Longitude, west negative.").within(-180.0, 180.0),
        quantity("altitude", Length, "Altitude; sets the air's density.")
            .within(-400.0, 4500.0)
            .or(0.0, "sea level; sets the air's density"),
        quantity("utc_offset", Time, "Clock time less UTC, kept all year.")
            .within(-14.0 * 3600.0, 14.0 * 3600.0)
            .derived("the longitude's hour", "from the longitude, no daylight saving"),
        quantity("ground_temperature", Temperature, "Temperature of the ground under rooms that touch it.")
            .within(-10.0, 40.0)
            .or(17.0, "near the yearly mean of a temperate site; common practice, no source"),
        fraction("ground_reflectance", "Reflectance of the ground before windows and walls.")
            .or(0.2, "ASHRAE's usual value"),
    ],
);

pub(super) const RUN: TableSpec = table(
    "run",
    "When a run takes place, how finely it is stepped and recorded.",
    &[
        key("start", Kind::DateTime, "Local clock time at the start; the weekday follows from it."),
        quantity("duration", Time, "Length of the run.").within(60.0, 400.0 * 86_400.0).or(86_400.0, "one day"),
        quantity("step", Time, "Time step of the controller.")
            .within(0.1, 10.0)
            .or(1.0, "as controllers sample; the fastest store has a time constant of minutes"),
        quantity("long_step", Time, "Longest step of the plant while nothing new is commanded.")
            .within(0.1, 30.0)
            .or(15.0, "a quarter of a minute, in which weather and schedules run; our own choice"),
        quantity("record", Time, "Time between recorded rows; a whole number of steps.")
            .within(0.1, 3600.0)
            .or(60.0, "our own choice; measures watch every step whatever this says"),
        quantity("warm_up", Time, "Time simulated before the start and thrown away.")
            .within(0.0, 30.0 * 86_400.0)
            .or(86_400.0, "one day thrown away, so that the building mass is warmed up"),
        integer("seed", "Seed of sensor noise.").at_least(0.0).or(1.0, OWN),
    ],
);

const DAYS: &[&str] = &["summer day", "winter day"];
const DESIGN: &[When] = &[Is("kind", DAYS)];
const CONSTANT: &[When] = &[Is("kind", &["constant"])];
const NO_FILE: &[When] = &[Is("kind", &["summer day", "winter day", "constant"])];
const SKY: &str = "a clear mid-latitude sky in the ASHRAE 2013 form, from memory";

pub(super) const WEATHER: TableSpec = table(
    "weather",
    "The weather.",
    &[
        choice("kind", &words(&site::KINDS), "Where the weather comes from."),
        quantity("maximum", Temperature, "The day's maximum.").within(-50.0, 60.0).when(&[Is("kind", &["summer day"])]),
        quantity("minimum", Temperature, "The day's minimum.").within(-50.0, 60.0).when(&[Is("kind", &["winter day"])]),
        quantity("daily_range", TemperatureDifference, "Maximum less minimum of the day.")
            .within(0.0, 30.0).common(10.0).when(DESIGN),
        quantity("dew_point", Temperature, "Dew point, held all day.")
            .within(-50.0, 35.0)
            .derived("14 °C in summer; 1 K below the minimum in winter", "held all day; common practice, no source")
            .when(DESIGN),
        quantity("wind", Velocity, "Wind speed.").within(0.0, 40.0).common(3.0).when(NO_FILE),
        number("tau_beam", "Optical depth of the clear sky, beam.").within(0.1, 1.5).or(0.40, SKY).when(DESIGN),
        number("tau_diffuse", "Optical depth of the clear sky, diffuse.").within(1.0, 3.5).or(2.2, SKY).when(DESIGN),
        fraction("clear_fraction", "Part of the clear sky's sun that reaches the ground.").or(1.0, "a cloudless day").when(DESIGN),
        quantity("temperature", Temperature, "Outdoor temperature.").within(-50.0, 60.0).when(CONSTANT),
        fraction("humidity", "Relative humidity.").common(0.5).when(CONSTANT),
        quantity("beam", PowerPerArea, "Direct normal irradiance.").within(0.0, 1400.0).or(0.0, "no sun").when(CONSTANT),
        quantity("diffuse", PowerPerArea, "Diffuse horizontal irradiance.").within(0.0, 1400.0).or(0.0, "no sun").when(CONSTANT),
        key("file", Kind::Text, "Weather file, beside the scenario.").most(1000)
            .when(&[Is("kind", &["file", "typical year file"])]),
    ],
);

const GENERIC: &str = "our own generic unit, not any machine's data";
const VARIABLE: &[When] = &[Is("kind", &["variable speed"])];

pub(super) const UNIT: TableSpec = table(
    "unit",
    "The conditioning unit.",
    &[
        choice("kind", &words(&unit::KINDS), "How its capacity is set.")
            .or_word("fixed speed", "the plainest machine; our own choice"),
        fraction("low_stage_capacity", "Capacity of the low stage.").within(0.3, 0.95).common(0.67)
            .when(&[Is("kind", &["two stage"])]),
        fraction("minimum_speed", "Minimum compressor speed.").within(0.25, 1.0).common(0.25).when(VARIABLE),
        number("maximum_speed", "Maximum compressor speed, 1 = rated.").within(1.0, 1.2).common(1.2).when(VARIABLE),
        number("speed_ramp", "Change of speed per second, 1 = rated.")
            .within(0.0005, 1.0)
            .or(0.01, "95 s from end to end; common practice, no source").when(VARIABLE),
        quantity("cooling_capacity", Power, "Rated total cooling capacity.").within(500.0, 200_000.0),
        quantity("heating_capacity", Power, "Rated heating capacity.").within(500.0, 200_000.0)
            .derived("0.998 of cooling_capacity", GENERIC),
        quantity("cooling_power", Power, "Compressor power at rated cooling.").within(50.0, 100_000.0)
            .derived("0.2415 of cooling_capacity", GENERIC),
        quantity("heating_power", Power, "Compressor power at rated heating.").within(50.0, 100_000.0)
            .derived("0.2108 of heating_capacity", GENERIC),
        fraction("bypass_factor", "Part of the air that passes the coil untouched, at rated flow.").within(0.01, 0.6).or(0.15, GENERIC),
        number("rated_air_per_kw", "Dry air over the coil at rating, kg/s per kW of cooling.")
            .within(0.02, 0.12)
            .or(crate::plant::unit::AIR_KG_S_PER_KW, "kg/s of dry air per rated kW, 0.050 m³/s; our own generic unit"),
        quantity("start_up_time", Time, "Time constant of capacity after a start.")
            .within(1.0, 600.0)
            .or(60.0, "gives the 0.20 degradation of the 6/24 minute rating cycle, from memory"),
        fraction("after_run_recovery", "Part of the start-up loss that the fan brings back after a stop.")
            .or(0.2, "our own estimate"),
        quantity("standby_power", Power, "Power of the electronics.").within(0.0, 500.0).or(30.0, GENERIC),
        quantity("coil_heat_capacity", HeatCapacity, "Heat capacity of coil and plenum metal on the air side.")
            .within(100.0, 500_000.0)
            .derived("0.6 J/K per W of cooling_capacity", "about 10 kg of coil per 10 kW; our own estimate"),
    ],
);
