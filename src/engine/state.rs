//! Everything that changes from step to step.

use super::house::HouseState;
use super::manual_override::ManualOverride;
use super::sample::Sample;
use super::sound::MinuteState;
use crate::control::actuator::ActuatorState;
use crate::control::thermostats::ThermostatsState;
use crate::control::{Commands, ControlState, Notice};
use crate::fault::FaultState;
use crate::plant::air::MoistAir;
use crate::plant::air_side::AirState;
use crate::plant::unit::UnitState;

/// Everything that changes. A snapshot is a clone and its restoration an assignment: what follows depends
/// on nothing else, whatever the scratch memory went through in between.
#[derive(Clone, Debug, PartialEq)]
pub struct State {
    /// Seconds since the start of the run; negative during the warm-up.
    pub t_s: f64,
    /// What obeys physics.
    pub plant: PlantState,
    /// Damper motors, by channel.
    pub motors: Vec<ActuatorState>,
    /// Thermostats, by zone.
    pub sensors: ThermostatsState,
    /// What last reached the controller.
    pub readings: ReadingsState,
    /// The controller.
    pub control: ControlState,
    /// A technician's commands in the controller's stead, if there are any.
    pub manual_override: Option<ManualOverride>,
    /// The commands in force.
    pub commands: Commands,
    /// The commands that ended the last long step, where `decided`; else of no meaning.
    pub next_commands: Commands,
    /// Whether the controller has already looked at the instant at which the next step begins.
    pub decided: bool,
    /// Notices that are not yet events.
    pub notices: Vec<Notice>,
    /// The first manual change of the scenario that is still to come.
    pub next_action: usize,
    /// Faults that last, and what they hold.
    pub faults: FaultState,
    /// Time steps that the next long step may have.
    pub next_steps: f64,
    /// The minute of sound that is being judged.
    pub minute: MinuteState,
    /// The controller's count of changes of zones when `sample` last showed them.
    pub zones_shown: u64,
    /// What can be seen at the end of the last step.
    pub sample: Sample,
}

/// What obeys physics, and what a long step that went too far takes back.
#[derive(Clone, Debug, PartialEq)]
pub struct PlantState {
    /// Rooms.
    pub house: HouseState,
    /// Flows and pressures.
    pub air: AirState,
    /// Pressure and flows at the end of the last step, as its sensors measure them.
    pub measured: Measured,
    /// The unit.
    pub unit: UnitState,
    /// Its coil's surface, °C.
    pub surface_c: f64,
    /// Air in the supply plenum.
    pub plenum: MoistAir,
    /// Air in the ducts: see [`Transport::filled`](crate::plant::transport::Transport::filled).
    pub ducts: Vec<MoistAir>,
    /// How supply air changed in the last step, K per time step.
    pub supply_k_per_step: f64,
}

impl PlantState {
    /// Becomes the same as `source`, allocating nothing. With `flows` false only what a step changes that
    /// leaves all flows as they are.
    pub(super) fn assign(&mut self, source: &PlantState, flows: bool) {
        let PlantState {
            house,
            air,
            measured,
            unit,
            surface_c,
            plenum,
            ducts,
            supply_k_per_step,
        } = source;
        self.house.clone_from(house);
        self.air.assign(air, flows);
        self.measured = *measured;
        self.unit = *unit;
        self.surface_c = *surface_c;
        self.plenum = *plenum;
        self.ducts.clone_from(ducts);
        self.supply_k_per_step = *supply_k_per_step;
    }
}

/// What reaches the controller, faults included.
#[derive(Clone, Debug, PartialEq)]
pub struct ReadingsState {
    /// Thermostat of each zone, °C; NaN when lost.
    pub zone_c: Vec<f64>,
    /// Position of each channel's damper, 0..1; NaN when lost.
    pub damper_position: Vec<f64>,
}

/// Pressure and flows at one instant.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Measured {
    /// Supply plenum, Pa.
    pub static_pa: f64,
    /// Air into rooms, m³/s.
    pub rooms_m3_s: f64,
    /// Air through the fan, m³/s.
    pub fan_m3_s: f64,
}

impl Measured {
    /// At a solution of the air network.
    pub fn of(air: &AirState) -> Measured {
        Measured {
            static_pa: air.supply_pa,
            rooms_m3_s: air.outlets_m3_s.iter().map(|q| q.max(0.0)).sum(),
            fan_m3_s: air.fan_m3_s,
        }
    }

    /// On the straight line from here through `now`, so many times as far as that.
    pub fn through(&self, now: &Measured, times: f64) -> Measured {
        let on = |from: f64, to: f64| to + (times - 1.0) * (to - from);
        Measured {
            static_pa: on(self.static_pa, now.static_pa),
            rooms_m3_s: on(self.rooms_m3_s, now.rooms_m3_s),
            fan_m3_s: on(self.fan_m3_s, now.fan_m3_s),
        }
    }
}
