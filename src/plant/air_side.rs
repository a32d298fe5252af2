//! The air side of one system: from the return plenum through fan, filter and coil to the supply
//! plenum, down the trunk tree to the outlets, and through rooms, doors and leaks back again.
//!
//! Flows are volumes at the reference density of the site (1.2 kg/m³ at sea level): every element
//! sees the same density, so that volume balances are mass balances. True densities between 12 °C
//! supply and 35 °C outdoor air differ by up to 8 % from it, and pressure losses with them by half
//! as much.

use super::damper::Damper;
use super::door::{Door, orifice_quadratic};
use super::duct::{Air, Duct, round_u_w_m2k};
use super::fan::{Drive, Fan, FanLaw, Limits};
use super::network::{
    BuildError, ElementId, Law, LinearQuadratic, Network, NetworkError, NetworkState, NodeId, Power,
};
use super::relief::Relief;
use super::room::Room;
use std::sync::Arc;

/// Exponent of leakage, ISO 9972 form.
pub const LEAKAGE_EXPONENT: f64 = 0.65;
/// Softening of leakage, Pa: the sheet of the network method shows 0.01 Pa to be harmless.
const LEAKAGE_SOFT_PA: f64 = 0.01;
/// Linear part given to orifices so that their slope is finite at no flow, Pa per m³/s.
const ORIFICE_LINEAR: f64 = 1e-3;
/// A blade that moves less than this in a step is at rest.
const BLADE_REST: f64 = 1e-9;

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

/// Flows and pressures of the air side.
#[derive(Clone, Debug, PartialEq)]
pub struct AirState {
    /// Fan flow, m³/s.
    pub fan_m3_s: f64,
    /// Fan speed relative to reference.
    pub fan_speed: f64,
    /// Fan power from the mains, W.
    pub fan_w: f64,
    /// Whether the fan runs left of its peak.
    pub stalled: bool,
    /// Pressure the fan itself makes, Pa, the loss inside the unit included.
    pub fan_rise_pa: f64,
    /// Supply plenum against outdoors, Pa.
    pub supply_pa: f64,
    /// Return plenum against outdoors, Pa.
    pub return_pa: f64,
    /// Drop across the filter, Pa.
    pub filter_pa: f64,
    /// Flow down each trunk, m³/s.
    pub trunks_m3_s: Vec<f64>,
    /// Flow into the room from each outlet, m³/s.
    pub outlets_m3_s: Vec<f64>,
    /// Relief flow, m³/s.
    pub relief_m3_s: f64,
    /// Relief opening, 0..1.
    pub relief_opening: f64,
    /// Flow from each return room, m³/s.
    pub returns_m3_s: Vec<f64>,
    /// Flow through each door from its first to its second room, m³/s.
    pub doors_m3_s: Vec<f64>,
    /// Flow from each room to outdoors by leaks, m³/s.
    pub leaks_m3_s: Vec<f64>,
    /// Pressure of each room against outdoors, Pa.
    pub rooms_pa: Vec<f64>,
    /// Hours the fan has run, for filter loading.
    pub fan_hours: f64,
    blade: f64,
    network: NetworkState,
    solved: Option<Solved>,
    /// Whether something moved in the step before.
    moving: bool,
    /// From the last solution to the end of its step, and from the one before to it, s.
    since_s: f64,
    between_s: f64,
}

impl AirState {
    /// Takes note of what a step overwrites of the time before it.
    pub fn keep(&self) -> AirBefore {
        AirBefore {
            fan_hours: self.fan_hours,
            blade: self.blade,
            blade_at_rest: self.solved.as_ref().is_some_and(|s| s.blade_at_rest),
        }
    }

    /// Makes the next step begin where the last one did. Flows stay those of the last one until it is made.
    pub fn take_back(&mut self, before: &AirBefore) {
        self.fan_hours = before.fan_hours;
        self.blade = before.blade;
        self.moving = false;
        if let Some(solved) = &mut self.solved {
            solved.blade_at_rest = before.blade_at_rest;
        }
    }
}

#[derive(Clone, Debug, PartialEq)]
struct Solved {
    fan: f64,
    openings: Vec<f64>,
    relief: f64,
    open_doors: Vec<bool>,
    loading: f64,
    blade_at_rest: bool,
}

impl Solved {
    /// Whether this is the solution for a command and filter, with the relief's blade at rest.
    fn is_for(&self, command: &AirCommand<'_>, loading: f64) -> bool {
        self.blade_at_rest
            && self.fan == command.fan
            && self.relief == command.relief
            && self.loading == loading
            && self.openings == command.openings
            && self.open_doors == command.open_doors
    }
}

/// What a step would do to the flows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outlook {
    /// Leave them as they are.
    Same,
    /// Change them little by little, as dampers, blade and filter move.
    Drifting,
    /// Begin new ones: the fan was switched, a door opened or shut, or nothing is known of the last.
    New,
}

/// What [`AirState::keep`] notes.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct AirBefore {
    fan_hours: f64,
    blade: f64,
    blade_at_rest: bool,
}

/// The air side, ready to be solved.
#[derive(Clone, Debug)]
pub struct AirSide {
    spec: AirSideSpec,
    network: Network,
    fan: ElementId,
    supply: NodeId,
    return_: NodeId,
    rooms: Vec<NodeId>,
    trunks: Vec<ElementId>,
    outlets: Vec<ElementId>,
    relief: Option<ElementId>,
    returns: Vec<ElementId>,
    doors: Vec<ElementId>,
    leaks: Vec<ElementId>,
    /// Everything of a branch but its damper.
    branch: Vec<LinearQuadratic>,
    /// Every branch's damper as it stood at the last solution.
    dampers: Vec<LinearQuadratic>,
    relief_duct: LinearQuadratic,
    door_open: Vec<LinearQuadratic>,
    door_shut: Vec<LinearQuadratic>,
    impaired: Impairment,
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
            dampers: vec![LinearQuadratic::NONE; branch.len()],
            relief_duct: spec
                .relief
                .as_ref()
                .map_or(LinearQuadratic::NONE, |r| r.run.duct.law(&air)),
            spec,
            branch,
            door_open,
            door_shut,
            impaired: Impairment::NONE,
        })
    }

    /// Takes over what is wrong from now on.
    pub fn impair(&mut self, with: Impairment, state: &mut AirState) {
        if self.impaired != with {
            self.impaired = with;
            state.solved = None;
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
            network: NetworkState::new(&self.network),
            solved: None,
            moving: false,
            since_s: 0.0,
            between_s: 0.0,
        }
    }

    /// Brings `state` to the end of a step of `dt_s`; returns whether any flow changed.
    ///
    /// Nothing moved since the last solution means the same solution, so nothing is solved then.
    ///
    /// # Errors
    /// [`NetworkError`] names the element where the balance failed.
    pub fn step(
        &mut self,
        command: &AirCommand<'_>,
        dt_s: f64,
        state: &mut AirState,
    ) -> Result<bool, NetworkError> {
        self.step_at(command, dt_s, dt_s, state)
    }

    /// As [`step`](Self::step), with the flows of the time `at_s` into it: `command` tells how dampers
    /// stand then, and a weighted blade is on its way.
    ///
    /// # Errors
    /// As [`step`](Self::step).
    pub fn step_at(
        &mut self,
        command: &AirCommand<'_>,
        at_s: f64,
        dt_s: f64,
        state: &mut AirState,
    ) -> Result<bool, NetworkError> {
        if command.fan <= 0.0 {
            return Ok(self.rest(command, dt_s, state));
        }
        state.fan_hours += dt_s / 3600.0;
        let loading = self.loading(state.fan_hours);
        let solved = state.solved.as_ref();
        if solved.is_some_and(|s| s.is_for(command, loading)) {
            state.moving = false;
            return Ok(false);
        }
        self.set_laws(command, loading, at_s, state);
        // Pressures go on as they did where times between solutions are the same.
        let since_s = state.since_s + at_s;
        state.since_s = dt_s - at_s;
        let evenly = since_s == state.between_s;
        state.between_s = since_s;
        if state.moving && evenly {
            self.network.solve_ahead(&mut state.network)?;
        } else {
            self.network.solve(&mut state.network)?;
        }
        state.moving = state.solved.is_some();
        let at_rest = self.read(command, dt_s, state);
        state.filter_pa = self.spec.filter.drop_pa(state.fan_m3_s) * loading * self.impaired.filter;
        match &mut state.solved {
            Some(s) => {
                s.fan = command.fan;
                s.openings.copy_from_slice(command.openings);
                s.relief = command.relief;
                s.open_doors.copy_from_slice(command.open_doors);
                s.loading = loading;
                s.blade_at_rest = at_rest;
            }
            None => {
                state.solved = Some(Solved {
                    fan: command.fan,
                    openings: command.openings.to_vec(),
                    relief: command.relief,
                    open_doors: command.open_doors.to_vec(),
                    loading,
                    blade_at_rest: at_rest,
                });
            }
        }
        Ok(true)
    }

    /// What a step of `dt_s` would do to the flows.
    pub fn outlook(&self, command: &AirCommand<'_>, dt_s: f64, state: &AirState) -> Outlook {
        if command.fan <= 0.0 {
            return if state.fan_m3_s == 0.0 && state.fan_speed == 0.0 {
                Outlook::Same
            } else {
                Outlook::New
            };
        }
        let Some(solved) = &state.solved else {
            return Outlook::New;
        };
        let loading = self.loading(state.fan_hours + dt_s / 3600.0);
        if solved.is_for(command, loading) {
            Outlook::Same
        } else if solved.fan == command.fan && solved.open_doors == command.open_doors {
            Outlook::Drifting
        } else {
            Outlook::New
        }
    }

    /// Filter resistance over clean, in steps of a thousandth: the filter does not change from second
    /// to second.
    fn loading(&self, fan_hours: f64) -> f64 {
        let loading = self.spec.filter_loading + self.spec.filter_growth_1_h * fan_hours;
        (loading * 1000.0 + 0.5) as i64 as f64 / 1000.0
    }

    /// Pressure drop across each outlet's damper alone at the last solution, Pa, into `drops_pa`;
    /// zero where there is no damper.
    pub fn damper_drops(&self, state: &AirState, drops_pa: &mut [f64]) {
        let flows = state.outlets_m3_s.iter().zip(&self.dampers);
        for (drop, (&flow, law)) in drops_pa.iter_mut().zip(flows) {
            *drop = law.drop_pa(flow).abs();
        }
    }

    /// Pressure drop across the relief damper alone at the last solution, Pa: what stands across
    /// the whole relief less the loss of its duct.
    pub fn relief_drop_pa(&self, state: &AirState) -> f64 {
        let Some(relief) = &self.spec.relief else {
            return 0.0;
        };
        let end_pa = match relief.to {
            ReliefTo::Return => state.return_pa,
            ReliefTo::Room(room) => state.rooms_pa[room],
        };
        let duct_pa = self.relief_duct.drop_pa(state.relief_m3_s);
        (state.supply_pa - end_pa - duct_pa).abs()
    }

    /// No fan, no wind, no buoyancy in the ducts: nothing flows.
    fn rest(&self, command: &AirCommand<'_>, dt_s: f64, state: &mut AirState) -> bool {
        if let Some(ReliefSpec {
            relief: Relief::WeightedBlade(blade),
            ..
        }) = &self.spec.relief
        {
            state.blade = self
                .impaired
                .relief_stuck
                .unwrap_or_else(|| blade.law(state.blade, dt_s).opening_at(0.0));
            state.relief_opening = state.blade;
        } else {
            state.relief_opening = self.impaired.relief_stuck.unwrap_or(command.relief);
        }
        if state.fan_m3_s == 0.0 && state.fan_speed == 0.0 {
            return false;
        }
        state.fan_m3_s = 0.0;
        state.fan_speed = 0.0;
        state.fan_w = 0.0;
        state.stalled = false;
        state.fan_rise_pa = 0.0;
        state.supply_pa = 0.0;
        state.return_pa = 0.0;
        state.filter_pa = 0.0;
        state.relief_m3_s = 0.0;
        for flows in [
            &mut state.trunks_m3_s,
            &mut state.outlets_m3_s,
            &mut state.returns_m3_s,
            &mut state.doors_m3_s,
            &mut state.leaks_m3_s,
            &mut state.rooms_pa,
        ] {
            flows.fill(0.0);
        }
        state.solved = None;
        state.moving = false;
        true
    }

    fn set_laws(&mut self, command: &AirCommand<'_>, loading: f64, dt_s: f64, state: &AirState) {
        let spec = &self.spec;
        let filter = spec.filter;
        let loading = loading * self.impaired.filter;
        let drive = spec.drive.at(command.fan);
        let series = spec.coil.in_series(LinearQuadratic {
            a: filter.a * loading,
            b: filter.b * loading,
        });
        let same = |law: &FanLaw| law.drive == drive && law.series == series;
        if !matches!(self.network.law(self.fan), Law::Fan(law) if same(law))
            && let Law::Fan(law) = self.network.law_mut(self.fan)
        {
            (law.drive, law.series) = (drive, series);
        }
        for (i, o) in spec.outlets.iter().enumerate() {
            let unmoved = state
                .solved
                .as_ref()
                .is_some_and(|s| s.openings[i] == command.openings[i]);
            if let Some(damper) = o.damper.as_ref().filter(|_| !unmoved) {
                let law = damper.law(command.openings[i], spec.air.density_kg_m3);
                self.dampers[i] = law;
                let law = Law::LinearQuadratic(self.branch[i].in_series(law));
                self.network.set_law(self.outlets[i], law);
            }
        }
        if let (Some(element), Some(r)) = (self.relief, &spec.relief)
            && let Some(law) =
                relief_law(&r.relief, command.relief, state.blade, dt_s, &self.impaired)
        {
            self.network.set_law(element, law);
        }
        for (i, &open) in command.open_doors.iter().enumerate() {
            let law = if open {
                self.door_open[i]
            } else {
                self.door_shut[i]
            };
            self.network
                .set_law(self.doors[i], Law::LinearQuadratic(law));
        }
    }

    /// Takes flows and pressures over; returns whether a weighted blade has come to rest.
    fn read(&self, command: &AirCommand<'_>, dt_s: f64, state: &mut AirState) -> bool {
        let n = &state.network;
        if let Some(point) = self.network.fan_point(self.fan, n) {
            state.fan_speed = point.speed;
            state.fan_w = point.power_w;
            state.stalled = point.stalled;
            state.fan_rise_pa = point.rise_pa;
        }
        state.fan_m3_s = n.flow_m3_s(self.fan);
        state.supply_pa = n.pressure_pa(self.supply);
        state.return_pa = n.pressure_pa(self.return_);
        state.relief_m3_s = self.relief.map_or(0.0, |e| n.flow_m3_s(e));
        for (flows, elements) in [
            (&mut state.trunks_m3_s, &self.trunks),
            (&mut state.outlets_m3_s, &self.outlets),
            (&mut state.returns_m3_s, &self.returns),
            (&mut state.doors_m3_s, &self.doors),
            (&mut state.leaks_m3_s, &self.leaks),
        ] {
            for (flow, &e) in flows.iter_mut().zip(elements) {
                *flow = n.flow_m3_s(e);
            }
        }
        for (p, &node) in state.rooms_pa.iter_mut().zip(&self.rooms) {
            *p = n.pressure_pa(node);
        }
        let Some(r) = &self.spec.relief else {
            return true;
        };
        match &r.relief {
            Relief::WeightedBlade(blade) => {
                let end = match r.to {
                    ReliefTo::Return => state.return_pa,
                    ReliefTo::Room(i) => state.rooms_pa[i],
                };
                let before = state.blade;
                state.blade = self
                    .impaired
                    .relief_stuck
                    .unwrap_or_else(|| blade.law(before, dt_s).opening_at(state.supply_pa - end));
                state.relief_opening = state.blade;
                (state.blade - before).abs() < BLADE_REST
            }
            Relief::Motorised(_) => {
                state.relief_opening = self.impaired.relief_stuck.unwrap_or(command.relief);
                true
            }
            Relief::None => true,
        }
    }
}

/// How air leaves a room by its cracks at a pressure above outdoors.
pub fn leakage(room: &Room) -> Power {
    Power {
        k: room.leakage_50_m3_s / 50.0_f64.powf(LEAKAGE_EXPONENT),
        m: LEAKAGE_EXPONENT,
        soft_pa: LEAKAGE_SOFT_PA,
    }
}

fn relief_law(
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
