//! The air side of one system: from the return plenum through fan, filter and coil to the supply
//! plenum, down the trunk tree to the outlets, and through rooms, doors and leaks back again.
//!
//! Flows are volumes at the reference density of the site (1.2 kg/m³ at sea level): every element
//! sees the same density, so that volume balances are mass balances. True densities between 12 °C
//! supply and 35 °C outdoor air differ by up to 8 % from it, and pressure losses with them by half
//! as much.

mod network;
mod state;
mod step;

use super::damper::Damper;
use super::duct::{Air, Duct, round_u_w_m2k};
use super::fan::{Drive, Fan, Limits};
use super::network::LinearQuadratic;
use super::relief::Relief;
use std::sync::Arc;

pub use network::{AirScratch, AirSide};
pub(crate) use network::{LEAKAGE_EXPONENT, leakage};
pub use state::{AirState, Outlook};

/// What surrounds a duct.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DuctSpace {
    /// The roof space, warmed by the sun.
    Roof,
    /// Inside the insulated house: the first return room.
    Indoors,
    /// Outdoor air.
    Outdoors,
}

/// A duct with its insulation and surroundings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Run {
    /// The duct.
    pub duct: Duct,
    /// Thermal resistance of its insulation, m² K/W.
    pub insulation_m2k_w: f64,
    /// What surrounds it.
    pub space: DuctSpace,
}

impl Run {
    /// Heat conductance of the whole run to its surroundings, W/K (round form on the inner
    /// perimeter; inner and outer coefficients 15 and 8 W/(m² K), common practice, no source).
    pub fn ua_w_k(&self) -> f64 {
        let section = &self.duct.section;
        let d = section.hydraulic_diameter_m();
        let u = round_u_w_m2k(d, self.insulation_m2k_w, 0.04, 15.0, 8.0);
        u * section.perimeter_m() * self.duct.length_m
    }
}

/// A trunk of the supply tree.
#[derive(Clone, Debug, PartialEq)]
pub struct Trunk {
    /// Name in the scenario.
    pub name: String,
    /// The trunk it comes from; `None` = the supply plenum. Always an earlier one in the list.
    pub parent: Option<usize>,
    /// Its duct.
    pub run: Run,
}

/// A branch with its damper and grille, serving one room.
#[derive(Clone, Debug, PartialEq)]
pub struct Outlet {
    /// Name in the scenario.
    pub name: String,
    /// Room it serves.
    pub room: usize,
    /// Trunk it comes from; `None` = the supply plenum.
    pub trunk: Option<usize>,
    /// Its duct.
    pub run: Run,
    /// Its damper; `None` = always open.
    pub damper: Option<Damper>,
    /// Control channel of its damper.
    pub channel: Option<u32>,
    /// Loss of a hand balancing damper, Pa/(m³/s)².
    pub balancing: LinearQuadratic,
    /// Loss of the grille.
    pub grille: LinearQuadratic,
    /// Face area of the grille, m².
    pub face_area_m2: f64,
    /// Design flow, m³/s: the zone's weight.
    pub design_flow_m3_s: f64,
}

/// How the fan is driven.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum DriveKind {
    /// Speed follows the command.
    FixedSpeed,
    /// Torque follows the square of the command.
    ConstantTorque {
        /// Torque at full command, as power at reference speed, W.
        torque_w: f64,
        /// Limits of speed and power.
        limits: Limits,
    },
    /// Flow follows the command.
    ConstantAirflow {
        /// Flow at full command, m³/s.
        flow_m3_s: f64,
        /// Limits of speed and power.
        limits: Limits,
    },
}

impl DriveKind {
    fn at(&self, fraction: f64) -> Drive {
        match *self {
            DriveKind::FixedSpeed => Drive::FixedSpeed { speed: fraction },
            DriveKind::ConstantTorque { torque_w, limits } => Drive::ConstantTorque {
                torque_w: torque_w * fraction * fraction,
                limits,
            },
            DriveKind::ConstantAirflow { flow_m3_s, limits } => Drive::ConstantAirflow {
                flow_m3_s: flow_m3_s * fraction,
                limits,
            },
        }
    }
}

/// A return grille with its path to the return plenum.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReturnPath {
    /// Room it draws from.
    pub room: usize,
    /// Loss of grille and duct.
    pub law: LinearQuadratic,
}

/// Where relief air goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ReliefTo {
    /// The return plenum.
    Return,
    /// A room.
    Room(usize),
}

/// The relief of a system.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReliefSpec {
    /// What it is.
    pub relief: Relief,
    /// Where its air goes.
    pub to: ReliefTo,
    /// Control channel of a motorised one.
    pub channel: Option<u32>,
    /// Area of its duct, m².
    pub area_m2: f64,
    /// Its duct, a hand damper's loss included.
    pub run: Run,
}

/// Everything the air side is made of.
#[derive(Clone, Debug, PartialEq)]
pub struct AirSideSpec {
    /// Reference air.
    pub air: Air,
    /// The fan.
    pub fan: Arc<Fan>,
    /// Its drive.
    pub drive: DriveKind,
    /// Coil and casing.
    pub coil: LinearQuadratic,
    /// Clean filter.
    pub filter: LinearQuadratic,
    /// Filter resistance over clean at the start.
    pub filter_loading: f64,
    /// Growth of that factor per hour of running.
    pub filter_growth_1_h: f64,
    /// Return paths; at least one.
    pub returns: Vec<ReturnPath>,
    /// Trunks, parents first.
    pub trunks: Vec<Trunk>,
    /// Outlets.
    pub outlets: Vec<Outlet>,
    /// Relief.
    pub relief: Option<ReliefSpec>,
}

/// What the air side is told for one step.
#[derive(Clone, Copy, Debug)]
pub struct AirCommand<'a> {
    /// Fan command, 0 (off) to 1.
    pub fan: f64,
    /// Opening of each outlet's damper, 0..1.
    pub openings: &'a [f64],
    /// Opening of a motorised relief, 0..1.
    pub relief: f64,
    /// Which doors stand open.
    pub open_doors: &'a [bool],
}

/// What is wrong with filter and relief.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Impairment {
    /// Filter resistance over what it should be.
    pub filter: f64,
    /// Relief conductance over what it should be; above 0.
    pub relief_capacity: f64,
    /// Where the relief's blade stands still, 0 to 1; `None` = it moves.
    pub relief_stuck: Option<f64>,
}

impl Impairment {
    /// Nothing is wrong.
    pub const NONE: Impairment = Impairment {
        filter: 1.0,
        relief_capacity: 1.0,
        relief_stuck: None,
    };
}
