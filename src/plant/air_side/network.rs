//! The network that the parts make.

use super::{AirSideSpec, AirState, Impairment, ReliefTo};
use crate::plant::door::{Door, orifice_quadratic};
use crate::plant::fan::FanLaw;
use crate::plant::network::{
    BuildError, ElementId, Law, LinearQuadratic, Network, NetworkState, NodeId, Power,
};
use crate::plant::relief::Relief;
use crate::plant::room::Room;

/// Exponent of leakage, ISO 9972 form.
pub(crate) const LEAKAGE_EXPONENT: f64 = 0.65;
/// Softening of leakage, Pa: the sheet of the network method shows 0.01 Pa to be harmless.
const LEAKAGE_SOFT_PA: f64 = 0.01;
/// Linear part given to orifices so that their slope is finite at no flow, Pa per m³/s.
const ORIFICE_LINEAR: f64 = 1e-3;

/// Memory of the solver: whatever it holds, a step gives the same.
#[derive(Clone, Debug)]
pub struct AirScratch {
    pub(super) network: Network,
    /// Opening for which each outlet's entry in `dampers` holds; not a number where for none.
    pub(super) damper_at: Vec<f64>,
    pub(super) dampers: Vec<LinearQuadratic>,
    /// Elements with another law than at the last solution.
    pub(super) changed: Vec<ElementId>,
}

/// The air side, joined; it does not change.
#[derive(Clone, Debug)]
pub struct AirSide {
    pub(super) spec: AirSideSpec,
    /// As joined; each [`AirScratch`] has a copy of its own.
    network: Network,
    pub(super) fan: ElementId,
    pub(super) supply: NodeId,
    pub(super) return_: NodeId,
    pub(super) rooms: Vec<NodeId>,
    pub(super) trunks: Vec<ElementId>,
    pub(super) outlets: Vec<ElementId>,
    pub(super) relief: Option<ElementId>,
    pub(super) returns: Vec<ElementId>,
    pub(super) doors: Vec<ElementId>,
    pub(super) leaks: Vec<ElementId>,
    /// Everything of a branch but its damper.
    pub(super) branch: Vec<LinearQuadratic>,
    pub(super) relief_duct: LinearQuadratic,
    pub(super) door_open: Vec<LinearQuadratic>,
    pub(super) door_shut: Vec<LinearQuadratic>,
}

impl AirSide {
    /// Joins the parts into one network.
    ///
    /// # Errors
    /// [`BuildError`] names the element or node that cannot be.
    pub fn new(spec: AirSideSpec, rooms: &[Room], doors: &[Door]) -> Result<AirSide, BuildError> {
        let air = spec.air;
        let mut b = Network::builder();
        let outdoors = b.fixed("outdoors", 0.0);
        let return_ = b.node("return plenum");
        let supply = b.node("supply plenum");
        let room_nodes: Vec<NodeId> = rooms.iter().map(|r| b.node(&r.name)).collect();
        let fan_law = FanLaw {
            fan: spec.fan.clone(),
            drive: spec.drive.at(1.0),
            series: spec.coil.in_series(spec.filter),
        };
        let fan = b.element("fan", return_, supply, Law::Fan(fan_law));
        let mut trunk_ends: Vec<NodeId> = Vec::new();
        let mut trunks = Vec::new();
        for t in &spec.trunks {
            let from = t.parent.map_or(supply, |p| trunk_ends[p]);
            let end = b.node(&format!("end of trunk {}", t.name));
            let law = Law::LinearQuadratic(t.run.duct.law(&air));
            trunks.push(b.element(&format!("trunk {}", t.name), from, end, law));
            trunk_ends.push(end);
        }
        let mut branch = Vec::new();
        let mut outlets = Vec::new();
        for o in &spec.outlets {
            let from = o.trunk.map_or(supply, |t| trunk_ends[t]);
            let fixed = o
                .run
                .duct
                .law(&air)
                .in_series(o.balancing)
                .in_series(o.grille);
            let law = Law::LinearQuadratic(fixed);
            outlets.push(b.element(&format!("outlet {}", o.name), from, room_nodes[o.room], law));
            branch.push(fixed);
        }
        let relief = spec.relief.as_ref().and_then(|r| {
            let law = relief_law(&r.relief, 0.0, 0.0, 1.0, &Impairment::NONE)?;
            let to = match r.to {
                ReliefTo::Return => return_,
                ReliefTo::Room(i) => room_nodes[i],
            };
            Some(b.element("relief", supply, to, law))
        });
        let returns = spec
            .returns
            .iter()
            .map(|r| {
                let name = format!("return from {}", rooms[r.room].name);
                b.element(
                    &name,
                    room_nodes[r.room],
                    return_,
                    Law::LinearQuadratic(r.law),
                )
            })
            .collect();
        let orifice = |area: f64, cd: f64| LinearQuadratic {
            a: ORIFICE_LINEAR,
            b: orifice_quadratic(area, cd, air.density_kg_m3),
        };
        let door_open: Vec<LinearQuadratic> = doors
            .iter()
            .map(|d| orifice(d.opening.width_m * d.opening.height_m, d.opening.discharge))
            .collect();
        let door_shut: Vec<LinearQuadratic> = doors
            .iter()
            .map(|d| orifice(d.shut_area_m2, d.opening.discharge))
            .collect();
        let door_elements = doors
            .iter()
            .zip(&door_shut)
            .map(|(d, law)| {
                let [from, to] = d.between.map(|r| room_nodes[r]);
                b.element(
                    &format!("door {}", d.name),
                    from,
                    to,
                    Law::LinearQuadratic(*law),
                )
            })
            .collect();
        let leaks = rooms
            .iter()
            .zip(&room_nodes)
            .map(|(r, &node)| {
                let law = Law::Power(leakage(r));
                b.element(&format!("leaks of {}", r.name), node, outdoors, law)
            })
            .collect();
        Ok(AirSide {
            network: b.build()?,
            fan,
            supply,
            return_,
            rooms: room_nodes,
            trunks,
            outlets,
            relief,
            returns,
            doors: door_elements,
            leaks,
            relief_duct: spec
                .relief
                .as_ref()
                .map_or(LinearQuadratic::NONE, |r| r.run.duct.law(&air)),
            spec,
            branch,
            door_open,
            door_shut,
        })
    }

    /// Memory to solve in.
    pub fn scratch(&self) -> AirScratch {
        let outlets = self.outlets.len();
        AirScratch {
            network: self.network.clone(),
            damper_at: vec![f64::NAN; outlets],
            dampers: vec![LinearQuadratic::NONE; outlets],
            changed: Vec::with_capacity(self.network.element_count()),
        }
    }

    /// What it is made of.
    pub fn spec(&self) -> &AirSideSpec {
        &self.spec
    }

    /// A state with the fan off.
    pub fn initial(&self) -> AirState {
        let spec = &self.spec;
        AirState {
            fan_m3_s: 0.0,
            fan_speed: 0.0,
            fan_w: 0.0,
            stalled: false,
            fan_rise_pa: 0.0,
            supply_pa: 0.0,
            return_pa: 0.0,
            filter_pa: 0.0,
            trunks_m3_s: vec![0.0; spec.trunks.len()],
            outlets_m3_s: vec![0.0; spec.outlets.len()],
            relief_m3_s: 0.0,
            relief_opening: 0.0,
            returns_m3_s: vec![0.0; spec.returns.len()],
            doors_m3_s: vec![0.0; self.doors.len()],
            leaks_m3_s: vec![0.0; self.rooms.len()],
            rooms_pa: vec![0.0; self.rooms.len()],
            fan_hours: 0.0,
            blade: 0.0,
            impaired: Impairment::NONE,
            network: NetworkState::new(&self.network),
            solved: None,
            moving: false,
            since_s: 0.0,
            between_s: 0.0,
        }
    }
}

/// How air leaves a room by its cracks at a pressure above outdoors.
pub(crate) fn leakage(room: &Room) -> Power {
    Power {
        k: room.leakage_50_m3_s / 50.0_f64.powf(LEAKAGE_EXPONENT),
        m: LEAKAGE_EXPONENT,
        soft_pa: LEAKAGE_SOFT_PA,
    }
}

/// Law of a relief whose blade stood at `blade` for `dt_s`; `None` where there is none.
pub(super) fn relief_law(
    relief: &Relief,
    opening: f64,
    blade: f64,
    dt_s: f64,
    impaired: &Impairment,
) -> Option<Law> {
    let share = impaired.relief_capacity;
    match relief {
        Relief::None => None,
        Relief::WeightedBlade(b) => {
            let mut law = b.law(blade, dt_s);
            law.leak *= share;
            law.full *= share;
            Some(match impaired.relief_stuck {
                None => Law::WeightedBlade(law),
                Some(at) => {
                    let conductance = law.leak + (law.full - law.leak) * at;
                    Law::LinearQuadratic(LinearQuadratic {
                        a: ORIFICE_LINEAR,
                        b: 1.0 / (conductance * conductance),
                    })
                }
            })
        }
        Relief::Motorised(m) => {
            let law = m.law(impaired.relief_stuck.unwrap_or(opening));
            // A share of the flow at every drop.
            Some(Law::LinearQuadratic(LinearQuadratic {
                a: law.a / share,
                b: law.b / (share * share),
            }))
        }
    }
}
