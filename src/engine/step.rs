//! The step: one list.

use chrono::TimeDelta;

use super::RunError;
use super::event::Event;
use super::house::{House, HouseState};
use super::sample::{OutletSample, RoomSample, Sample, ZoneSample};
use super::scratch::Scratch;
use super::sound::SoundStage;
use super::state::{Measured, PlantState, ReadingsState, State};
use crate::control::actuator::ActuatorState;
use crate::control::thermostats::{Thermostats, ThermostatsState};
use crate::control::{Action, Calendar};
use crate::fault::{FaultState, Scheduled};
use crate::plant::air::{MoistAir, SaturationTable};
use crate::plant::air_side::AirSide;
use crate::plant::unit::{UnitOutput, UnitState};
use crate::scenario::Scenario;

mod air;
pub(super) mod constants;
mod control;
mod describe;
mod long_step;
mod sample;
mod unit;

use constants::StepConstants;
use describe::fault_switched;
pub(crate) use long_step::GRID_S;

/// One scenario, joined and ready to be stepped. It does not change: see [`State`] and [`Scratch`].
#[derive(Clone, Debug)]
pub struct Engine<'a> {
    pub(super) scenario: &'a Scenario,
    calendar: Calendar,
    /// The controller's clock starts with the warm-up, the run's with what is recorded, s.
    lead_s: f64,
    thermostats: Thermostats,
    pub(super) air_side: AirSide,
    sound: SoundStage,
    saturation: SaturationTable,
    /// Constants of a step as long as so many time steps, from one upwards.
    pub(super) constants: Vec<StepConstants>,
    faults: Vec<Scheduled>,
    dt_s: f64,
}

impl<'a> Engine<'a> {
    /// Joins plant and controller.
    ///
    /// # Errors
    /// An air network that cannot be joined, or a unit that cannot be stepped so finely.
    pub fn new(scenario: &'a Scenario) -> Result<Engine<'a>, RunError> {
        let run = &scenario.run;
        let zones = scenario.zones.iter();
        Ok(Engine {
            calendar: Calendar::new(
                run.start - TimeDelta::milliseconds((run.warm_up_s * 1e3) as i64),
            ),
            lead_s: run.warm_up_s,
            thermostats: Thermostats::new(zones.map(|z| (z.sensor, z.room)), run.step_s),
            air_side: AirSide::new(scenario.air.clone(), &scenario.rooms, &scenario.doors)?,
            sound: SoundStage::new(scenario),
            saturation: SaturationTable::new(scenario.site.pressure_pa),
            constants: StepConstants::all(scenario)?,
            faults: scenario.faults.clone(),
            dt_s: run.step_s,
            scenario,
        })
    }

    /// The state at the beginning of the warm-up.
    pub fn initial_state(&self) -> State {
        let s = self.scenario;
        let plant = self.initial_plant();
        let controller = &s.control.controller;
        let channels = s.control.actuators.len();
        State {
            t_s: -s.run.warm_up_s,
            // Noise follows from the name of the zone: other zones, and their order, do not matter to it.
            sensors: self.initial_sensors(&plant.house, |zone| {
                seed_of(s.run.seed, &s.zones[zone].name)
            }),
            plant,
            motors: vec![ActuatorState::at(0.0); channels],
            readings: ReadingsState {
                zone_c: vec![f64::NAN; s.zones.len()],
                damper_position: vec![0.0; channels],
            },
            control: controller.initial_state(s.run.seed),
            manual_override: None,
            commands: controller.commands(),
            next_commands: controller.commands(),
            decided: false,
            notices: Vec::with_capacity(64),
            next_action: 0,
            faults: FaultState::new(&self.faults),
            next_steps: 1.0,
            minute: self.sound.initial_minute(),
            zones_shown: u64::MAX,
            sample: Sample {
                rooms: vec![RoomSample::default(); s.rooms.len()],
                zones: vec![ZoneSample::default(); s.zones.len()],
                outlets: vec![OutletSample::default(); s.outlets.len()],
                sound: self.sound.initial(),
                ..Sample::default()
            },
        }
    }

    pub(super) fn initial_plant(&self) -> PlantState {
        let s = self.scenario;
        let house = House::initial(s);
        let indoors = house.rooms.air(s.air.returns[0].room);
        PlantState {
            air: self.air_side.initial(),
            measured: Measured::default(),
            unit: UnitState::default(),
            surface_c: indoors.t_c,
            plenum: indoors,
            ducts: vec![indoors; s.air.trunks.len() + 1],
            supply_k_per_step: 0.0,
            house,
        }
    }

    /// Thermostats at rest, with the seed of the noise of each.
    pub(crate) fn initial_sensors(
        &self,
        house: &HouseState,
        seed: impl Fn(usize) -> u64,
    ) -> ThermostatsState {
        let (zones, rooms) = (&self.scenario.zones, &house.rooms);
        self.thermostats.initial_state(|i| {
            let room = zones[i].room;
            (rooms.air(room).t_c, rooms.fabric_c(room), seed(i))
        })
    }

    /// Length of a time step, s.
    pub fn step_s(&self) -> f64 {
        self.dt_s
    }

    /// Memory to step in.
    pub fn scratch(&self) -> Scratch<'a> {
        Scratch::new(self)
    }

    /// Puts other faults in place of those of the scenario; they begin afresh in `state`.
    pub fn set_faults(&mut self, faults: Vec<Scheduled>, state: &mut State) {
        state.faults = FaultState::new(&faults);
        self.faults = faults;
    }

    /// Ends the warm-up: meters start afresh, and a lock-out that the warm-up earned is cleared, for
    /// somebody would have come.
    pub fn begin(&self, state: &mut State, scratch: &Scratch<'_>) {
        scratch.house.start_meters(&mut state.plant.house);
        state.minute.begin();
        let clock = self.calendar.clock(state.t_s + self.lead_s);
        let controller = &self.scenario.control.controller;
        // Clearing cannot be refused: it names no zone and no number.
        let _ = controller.apply(
            &Action::ClearLockOut,
            &clock,
            &mut state.control,
            &mut state.notices,
        );
        state.notices.clear();
    }

    /// One time step: see [`advance`](Self::advance).
    ///
    /// # Errors
    /// A balance that cannot be solved, naming the element or room.
    pub fn step(
        &self,
        state: &mut State,
        scratch: &mut Scratch<'_>,
        events: &mut Vec<Event>,
    ) -> Result<(), RunError> {
        self.advance(1, state, scratch, events).map(|_| ())
    }

    /// Brings `state` forward by at most so many time steps at once; says by how many. What happens is
    /// appended to `events`, and `state.sample` shows the end of the step. Nothing is allocated but for events.
    ///
    /// The order: manual changes, faults, readings, control, dampers; then the plant, which is weather, air
    /// network, unit, ducts and rooms; then sound and sample. Several time steps are made at once only while
    /// nothing new is commanded, and never across a half minute, a manual change, or the beginning or end of a
    /// fault: the plant then goes in one long step (at most `run.long_step`, less while dampers move), and the
    /// controller looks at every time step of it.
    ///
    /// # Errors
    /// As [`step`](Self::step).
    pub fn advance(
        &self,
        most: u64,
        state: &mut State,
        scratch: &mut Scratch<'_>,
        events: &mut Vec<Event>,
    ) -> Result<u64, RunError> {
        self.apply_manual_changes(state, events);
        if !self.take_commands_decided(state) {
            let t_s = state.t_s;
            state.faults.turn(&self.faults, t_s, |fault, begins| {
                events.push(fault_switched(self.scenario, fault, begins, t_s));
            });
            self.read_sensors(state, scratch);
            self.control(state.t_s, &self.unit_readings(&state.plant), state);
        }
        self.report_notices(state, events);
        self.show_zones(state);
        self.move_dampers(state, scratch, events);
        let steps = self.steps_at_once(most, state, scratch);
        let (steps, unit) = if steps > 1 {
            self.long_step(steps, state, scratch, events)?
        } else {
            (1, self.step_plant(1, state, scratch, events)?)
        };
        state.t_s += steps as f64 * self.dt_s;
        self.step_sound(steps, state, scratch, events);
        self.fill_sample(state, scratch, &unit);
        Ok(steps)
    }

    /// The plant over so many time steps, under the commands in force and with dampers where they are.
    fn step_plant(
        &self,
        steps: u64,
        state: &mut State,
        scratch: &mut Scratch<'_>,
        events: &mut Vec<Event>,
    ) -> Result<UnitOutput, RunError> {
        let dt_s = steps as f64 * self.dt_s;
        self.step_air_network(dt_s, state, scratch, events)?;
        let supply_c = state.plant.plenum.t_c;
        let (unit, supplied) = self.step_unit_and_ducts(steps, state, scratch)?;
        let deviation_k = self.step_rooms(dt_s, supplied, state, scratch)?;
        self.set_next_length(steps, deviation_k, supply_c, state, scratch.flows_changed);
        Ok(unit)
    }

    /// Returns how far the air of any room ended from where the step's outset pointed, K.
    fn step_rooms(
        &self,
        dt_s: f64,
        supplied: MoistAir,
        state: &mut State,
        scratch: &mut Scratch<'_>,
    ) -> Result<f64, RunError> {
        let outlet_air = scratch.ducts.outlet_air();
        let (drive, house) = (scratch.drivers.drive(), &mut state.plant.house);
        let stepped = scratch.house.step(dt_s, drive, outlet_air, supplied, house);
        stepped.map_err(|room| RunError::Room {
            room: self.scenario.rooms[room].name.clone(),
            t_s: state.t_s,
        })
    }

    /// Sound in the rooms: the same as before where no flow changed.
    fn step_sound(
        &self,
        steps: u64,
        state: &mut State,
        scratch: &mut Scratch<'_>,
        events: &mut Vec<Event>,
    ) {
        let (sound, minute) = (&mut state.sample.sound, &mut state.minute);
        if scratch.flows_changed {
            minute.settle(&sound.heard);
            let (air, scratches) = (&state.plant.air, (&mut scratch.air, &mut scratch.sound));
            self.sound
                .step(&self.air_side, air, scratches.0, scratches.1, sound);
        }
        let lasted_s = steps as f64 * self.dt_s;
        self.sound.judge(state.t_s, lasted_s, sound, minute, events);
    }
}

/// Seed of what belongs to a name: 64-bit FNV-1a of it (Fowler, Noll and Vo, constants from memory), with the
/// seed of the run.
fn seed_of(run: u64, name: &str) -> u64 {
    let hash = name.bytes().fold(0xcbf2_9ce4_8422_2325, |hash: u64, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
    });
    run ^ hash
}

#[cfg(test)]
mod tests {
    use super::seed_of;

    /// Test vectors of the hash's authors, from memory: of nothing, of `a` and of `foobar`.
    #[test]
    fn seeds_are_hashes_of_names() {
        assert_eq!(seed_of(0, ""), 0xcbf2_9ce4_8422_2325);
        assert_eq!(seed_of(0, "a"), 0xaf63_dc4c_8601_ec8c);
        assert_eq!(seed_of(0, "foobar"), 0x8594_4171_f739_67e8);
    }
}
