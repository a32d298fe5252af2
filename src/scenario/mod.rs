//! Scenario files: read, checked, turned into SI-only types. Everything after this is total.

mod advice;
mod air;
pub(crate) mod catalogue;
mod check;
pub(crate) mod control;
pub(crate) mod diagnostic;
pub(crate) mod fault;
pub(crate) mod house;
mod limits;
pub(crate) mod reader;
pub(crate) mod shelf;
mod site;
pub(crate) mod sound;
pub(crate) mod source;
pub(crate) mod tree;
pub(crate) mod uncertainty;
pub(crate) mod unit;

use std::path::Path;

use chrono::NaiveDateTime;
use sha2::{Digest, Sha256};

use crate::control::protection::Sense;
use crate::fault::Scheduled;
use crate::measure::limits::Limits;
use crate::plant::air_side::{AirSideSpec, Outlet, ReliefSpec};
use crate::plant::door::Door;
use crate::plant::drivers::Surroundings;
use crate::plant::room::Room;
use crate::plant::weather::{Site, Weather};
use control::{ControlParts, Zone};
use diagnostic::Diagnostic;
use house::RoomUse;
use reader::{DefaultTaken, Reading, Section};
use tree::Tree;

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
    /// What is around the rooms.
    pub surroundings: Surroundings,
    /// When, and how finely.
    pub run: RunSpec,
    /// Weather.
    pub weather: Weather,
    /// Rooms.
    pub rooms: Vec<Room>,
    /// What each room is used for.
    pub room_uses: Vec<RoomUse>,
    /// Time constant with which a plenum without flow takes on the house's temperature, s.
    pub plenum_s: f64,
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
    /// Keys that are written and do not apply.
    pub warnings: Vec<Diagnostic>,
    /// SHA-256 of the texts the scenario was read from, hexadecimal.
    pub digest: String,
}

impl Scenario {
    /// Reads and checks a file with those it is based on.
    ///
    /// # Errors
    /// Every fault found, each with its file, line and what would be right.
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
        let found = check::check(tree);
        let reading = Reading::new(tree);
        let read = read(&reading.top(), tree, name, folder);
        let mut scenario = match read {
            Ok(scenario) if found.faults.is_empty() => scenario,
            read => {
                let second = read.err().filter(|_| !found.astray);
                return Err(all_faults(found.faults, second, tree));
            }
        };
        scenario.warnings = found.warnings;
        scenario.defaults = reading.into_defaults();
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

/// What both looks at a file found, in the order of the file; what only the catalogue knows is told once.
fn all_faults(first: Vec<Diagnostic>, second: Option<Diagnostic>, tree: &Tree) -> Diagnostic {
    let second = second.iter().flat_map(Diagnostic::each).cloned();
    let new = second.filter(|fault| first.is_empty() || !fault.is_of_catalogue());
    let mut faults: Vec<_> = first
        .iter()
        .cloned()
        .chain(new.map(Diagnostic::alone))
        .collect();
    let source = |file: &str| tree.sources.iter().position(|s| s.name() == file);
    faults.sort_by_key(|fault| {
        let place = fault.place();
        place.map(|place| (source(&place.file), place.line, place.column))
    });
    Diagnostic::join(faults).unwrap_or_else(|| Diagnostic::plain("the scenario cannot be read"))
}

/// Parts of a scenario as they are read, with the faults of those that cannot be.
#[derive(Default)]
struct Parts(std::cell::RefCell<Vec<Diagnostic>>);

impl Parts {
    fn keep<T>(&self, read: Result<T, Diagnostic>) -> Option<T> {
        read.map_err(|fault| self.0.borrow_mut().push(fault)).ok()
    }
}

/// Reads the parts one by one: a faulty part keeps only those unread that rest on it.
fn read(top: &Section<'_>, tree: &Tree, name: &str, folder: &Path) -> Result<Scenario, Diagnostic> {
    let parts = Parts::default();
    let scenario = read_parts(&parts, top, tree, name, folder);
    match (scenario, Diagnostic::join(parts.0.into_inner())) {
        (Some(scenario), None) => Ok(scenario),
        (_, Some(faults)) => Err(faults),
        (None, None) => Err(Diagnostic::plain("the scenario cannot be read")),
    }
}

fn read_parts(
    p: &Parts,
    top: &Section<'_>,
    tree: &Tree,
    name: &str,
    folder: &Path,
) -> Option<Scenario> {
    let title = p.keep(top.opt("title"))?;
    let site = p.keep(site::site(top));
    let run = p.keep(site::run(top));
    let weather = match (&site, &run) {
        (Some(site), Some(run)) => p.keep(site::weather(top, site, run, folder)),
        _ => None,
    };
    let unit = p.keep(unit::unit(top));
    let limits = p.keep(limits::limits(top));
    let uncertainty = p.keep(uncertainty::uncertainty(top));
    let surroundings = p.keep(site::surroundings(top));
    let site = site?;
    let rooms = p.keep(house::rooms(top, air::density_kg_m3(&site)))?;
    let return_rooms = p.keep(air::return_rooms(top, &rooms))?;
    let doors = p.keep(house::doors(top, &rooms, &return_rooms));
    let air = p.keep(air::air_side(top, &site, &rooms, &return_rooms));
    let (air, unit, limits, run) = (air?, unit?, limits?, run?);
    let control = p.keep(control::control(top, &rooms, &air, &unit, &run));
    let sound = sound::sound(top, &rooms, &air.spec, air.rated_flow_m3_s, &limits);
    let sound = p.keep(sound);
    let control = control?;
    let mut hash = Sha256::new();
    for source in tree.sources.iter() {
        hash.update(source.text().as_bytes());
    }
    let mut scenario = Scenario {
        name: name.to_string(),
        title: title.unwrap_or_else(|| name.to_string()),
        site,
        surroundings: surroundings?,
        run,
        weather: weather?,
        room_uses: rooms.uses,
        rooms: rooms.rooms,
        plenum_s: air.plenum_s,
        doors: doors?,
        outlets: air.spec.outlets.clone(),
        relief: air.spec.relief,
        air: air.spec,
        unit,
        zones: control.zones.clone(),
        control,
        limits,
        sound: sound?,
        faults: Vec::new(),
        uncertainty: uncertainty?,
        rated_flow_m3_s: air.rated_flow_m3_s,
        defaults: Vec::new(),
        warnings: Vec::new(),
        digest: hash.finalize().iter().map(|b| format!("{b:02x}")).collect(),
    };
    scenario.faults = p.keep(fault::faults(top, &scenario))?;
    Some(scenario)
}
