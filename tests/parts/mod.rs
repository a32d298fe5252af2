//! Parts of the program against the outside world, and studies from within: compiled into the library's own
//! tests, so that what they hold need not be public.

mod air_network;
mod bad_files;
mod comfort;
mod control;
mod ducts_and_dampers;
mod faults;
mod figures;
mod long_runs;
mod long_steps;
mod moist_air;
mod recording;
mod runs;
mod snapshots;
mod sound;
mod sound_run;
mod studies_combinations;
mod studies_compare;
mod studies_sizing;
mod studies_sweep;
mod sun_and_weather;
mod unit_model;

#[path = "../../benches/common/mod.rs"]
mod common;
use crate::scenario::Scenario;
