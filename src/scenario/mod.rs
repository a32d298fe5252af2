//! Scenario files: read, checked, turned into SI-only types. Everything after this is total.

mod advice;
mod air;
pub mod control;
pub mod diagnostic;
pub mod fault;
pub mod house;
mod limits;
pub mod reader;
pub mod shelf;
mod site;
pub mod sound;
pub mod source;
pub mod tree;
pub mod uncertainty;
pub mod unit;

use std::path::Path;

use chrono::NaiveDateTime;
use sha2::{Digest, Sha256};

use crate::control::protection::Sense;
use crate::fault::Scheduled;
use crate::measure::limits::Limits;
use crate::plant::air_side::{AirSideSpec, Outlet, ReliefSpec};
use crate::plant::door::Door;
use crate::plant::room::Room;
use crate::plant::weather::{Site, Weather};
use control::{ControlParts, Zone};
use diagnostic::Diagnostic;
use house::RoomUse;
use reader::{DefaultTaken, Ledger, Section};
use tree::Tree;

/// Keys and tables at the top of a file.
const TOP: [&str; 27] = [
    "title",
    "about",
    "site",
    "run",
    "weather",
    "house",
    "room",
    "return",
    "door",
    "fan",
    "filter",
    "coil",
    "ducts",
    "trunk",
    "outlet",
    "relief",
    "unit",
    "zone",
    "control",
    "thermostat",
    "dampers",
    "protection",
    "action",
    "limits",
    "sound",
    "fault",
    "uncertainty",
];

pub use site::RunSpec;

/// A checked scenario, in SI units.
#[derive(Clone, Debug)]
pub struct Scenario {
    /// Name: the file's name without its ending; also the name of the results folder.
    pub name: String,
    /// Title for people.
    pub title: String,
    /// Where.
    pub site: Site,
    /// When, and how finely.
    pub run: RunSpec,
    /// Weather.
    pub weather: Weather,
    /// Rooms.
    pub rooms: Vec<Room>,
    /// What each room is used for.
    pub room_uses: Vec<RoomUse>,
    /// Doors.
    pub doors: Vec<Door>,
    /// Fan, ducts, outlets, relief.
    pub air: AirSideSpec,
    /// Outlets, as in `air`.
    pub outlets: Vec<Outlet>,
    /// Relief, as in `air`.
    pub relief: Option<ReliefSpec>,
    /// The unit.
    pub unit: unit::UnitSpec,
    /// Controller, channels, actions.
    pub control: ControlParts,
    /// Zones, as in `control`.
    pub zones: Vec<Zone>,
    /// Limits.
    pub limits: Limits,
    /// Sound: the system as sound sees it, and the rooms' limits.
    pub sound: sound::SoundScene,
    /// Faults with their times.
    pub faults: Vec<Scheduled>,
    /// What is uncertain, for sweeps.
    pub uncertainty: uncertainty::Uncertainty,
    /// Rated flow of the fan, m³/s.
    pub rated_flow_m3_s: f64,
    /// Every default that was taken.
    pub defaults: Vec<DefaultTaken>,
    /// SHA-256 of the texts the scenario was read from, hexadecimal.
    pub digest: String,
}

impl Scenario {
    /// Reads and checks a file with those it is based on.
    ///
    /// # Errors
    /// The first fault, with its file, line and what would be right.
    pub fn load(path: impl AsRef<Path>) -> Result<Scenario, Diagnostic> {
        let path = path.as_ref();
        let tree = tree::load(path)?;
        let name = path
            .file_stem()
            .map_or("scenario".into(), |n| n.to_string_lossy().into_owned());
        let folder = path.parent().unwrap_or(Path::new(""));
        Scenario::from_tree(&tree, &name, folder)
    }

    /// Reads one of the scenarios built into the program, by its name without ending.
    ///
    /// # Errors
    /// As [`Scenario::load`]; also a name that is not on the [`shelf`].
    pub fn embedded(name: &str) -> Result<Scenario, Diagnostic> {
        let tree = tree::load_embedded(&format!("{name}.toml"), shelf::SHELF)?;
        Scenario::from_tree(&tree, name, Path::new(""))
    }

    /// Reads a text that is based on nothing or on a scenario of the [`shelf`].
    ///
    /// # Errors
    /// As [`Scenario::load`].
    pub fn from_text(name: &str, text: &str) -> Result<Scenario, Diagnostic> {
        let file = format!("{name}.toml");
        let mut all: Vec<(&str, &str)> = vec![(&file, text)];
        all.extend(shelf::SHELF.iter().filter(|(n, _)| *n != file));
        let tree = tree::load_embedded(&file, &all)?;
        Scenario::from_tree(&tree, name, Path::new(""))
    }

    /// Checks a tree already read; `folder` is where files it names are looked for.
    ///
    /// # Errors
    /// As [`Scenario::load`].
    pub fn from_tree(tree: &Tree, name: &str, folder: &Path) -> Result<Scenario, Diagnostic> {
        let ledger = Ledger::default();
        let top = Section::root(tree, &ledger);
        top.no_slip_of(&TOP)?;
        let title = top
            .text("title")
            .optional()?
            .unwrap_or_else(|| name.to_string());
        top.text("about").optional()?;
        let site = site::site(&top)?;
        let run = site::run(&top)?;
        let weather = site::weather(&top, &site, &run, folder)?;
        let rooms = house::rooms(&top, air::density_kg_m3(&site))?;
        let return_rooms = air::return_rooms(&top, &rooms)?;
        let doors = house::doors(&top, &rooms, &return_rooms)?;
        let air = air::air_side(&top, &site, &rooms, &return_rooms)?;
        let unit = unit::unit(&top)?;
        let control = control::control(&top, &rooms, &air, &unit, run.duration_s, run.start)?;
        let limits = limits::limits(&top)?;
        let sound = sound::sound(&top, &rooms, &air.spec, air.rated_flow_m3_s, &limits)?;
        let faults = top.list("fault")?;
        let uncertainty = uncertainty::uncertainty(&top, tree)?;
        top.finish()?;
        let mut hash = Sha256::new();
        for source in tree.sources.iter() {
            hash.update(source.text().as_bytes());
        }
        let mut scenario = Scenario {
            name: name.to_string(),
            title,
            site,
            run,
            weather,
            room_uses: rooms.uses,
            rooms: rooms.rooms,
            doors,
            outlets: air.spec.outlets.clone(),
            relief: air.spec.relief,
            air: air.spec,
            unit,
            zones: control.zones.clone(),
            control,
            limits,
            sound,
            faults: Vec::new(),
            uncertainty,
            rated_flow_m3_s: air.rated_flow_m3_s,
            defaults: Vec::new(),
            digest: hash.finalize().iter().map(|b| format!("{b:02x}")).collect(),
        };
        scenario.faults = fault::faults(&faults, &scenario)?;
        drop((faults, top));
        scenario.defaults = ledger.into_entries();
        Ok(scenario)
    }

    /// Local clock time at the start.
    pub fn start(&self) -> NaiveDateTime {
        self.run.start
    }

    /// The zone whose outlets serve a room; `None` when none does.
    pub fn zone_of_room(&self, room: usize) -> Option<usize> {
        self.zones
            .iter()
            .position(|z| z.outlets.iter().any(|&o| self.outlets[o].room == room))
    }

    fn trip_of(&self, sense: Sense) -> Option<f64> {
        let spec = self.control.controller.spec();
        spec.protections
            .iter()
            .find(|p| p.sense == sense)
            .map(|p| p.trip)
    }

    /// Trip of the low-supply cut-out, °C, if one is fitted.
    pub fn supply_low_trip_c(&self) -> Option<f64> {
        self.trip_of(Sense::SupplyLow)
    }

    /// Trip of the high-supply cut-out, °C, if one is fitted.
    pub fn supply_high_trip_c(&self) -> Option<f64> {
        self.trip_of(Sense::SupplyHigh)
    }
}
