//! The step: one function that reads like a list.

use chrono::TimeDelta;

use super::RunError;
use super::by_hand::Hand;
use super::event::Event;
use super::house::House;
use super::sample::{OutletSample, RoomSample, Sample, ZoneSample};
use super::sound::SoundStage;
use crate::control::actuator::ActuatorState;
use crate::control::thermostats::{Thermostats, ThermostatsState};
use crate::control::{Action, Calendar, Commands, ControlState, Notice};
use crate::fault::{FaultState, Scheduled, SensorSun};
use crate::plant::air::{MoistAir, SaturationTable};
use crate::plant::air_side::{AirSide, AirState};
use crate::plant::coupled_rooms::RoomsState;
use crate::plant::drivers::Drivers;
use crate::plant::transport::Transport;
use crate::plant::unit::{UnitOutput, UnitState};
use crate::scenario::Scenario;

mod air;
mod condition;
mod decide;
mod look;
mod pace;
mod stretch;
mod tell;

use air::Felt;
use pace::Pace;
use stretch::Stretch;
use tell::turned;

/// Everything that changes from step to step.
#[derive(Clone, Debug)]
pub struct State {
    /// Seconds since the start of the run; negative during the warm-up.
    pub t_s: f64,
    /// Rooms.
    pub house: RoomsState,
    /// Flows and pressures.
    pub air: AirState,
    /// The unit.
    pub unit: UnitState,
    /// Air in the supply plenum.
    pub plenum: MoistAir,
    /// The controller.
    pub control: ControlState,
    /// Thermostats, by zone.
    pub sensors: ThermostatsState,
    /// Damper motors, by channel.
    pub motors: Vec<ActuatorState>,
    /// Faults that last, and what they hold.
    pub faults: FaultState,
}

/// Steps one scenario through time. Owns the scratch memory; a step allocates nothing.
#[derive(Clone, Debug)]
pub struct Engine<'a> {
    scenario: &'a Scenario,
    calendar: Calendar,
    /// The controller's clock starts with the warm-up, the run's with what is recorded, s.
    lead_s: f64,
    drivers: Drivers<'a>,
    thermostats: Thermostats,
    air_side: AirSide,
    air_changed: bool,
    transport: Transport,
    sound: SoundStage,
    house: House,
    saturation: SaturationTable,
    /// Constants of a step as long as so many time steps, from one upwards.
    paces: Vec<Pace>,
    stretch: Stretch,
    commands: Commands,
    faults: Vec<Scheduled>,
    sensor_sun: SensorSun<'a>,
    hand: Option<Hand>,
    readings_c: Vec<f64>,
    /// By channel as the controller is told them, and after the last the 1 of outlets without one.
    positions: Vec<f64>,
    /// By channel as the motors stand, with the same 1 after the last.
    standing: Vec<f64>,
    openings: Vec<f64>,
    /// Where in `positions` and `standing` each outlet finds its own.
    outlet_seat: Vec<usize>,
    /// Of the last solution, and at the end of the last step.
    flowing: Felt,
    felt: Felt,
    notices: Vec<Notice>,
    next_action: usize,
    /// Changes of zones at the last look at them.
    zones_seen: u64,
    dt_s: f64,
    sample: Sample,
}

impl<'a> Engine<'a> {
    /// Joins plant and controller; with it comes the state at the beginning of the warm-up.
    ///
    /// # Errors
    /// An air network that cannot be joined, or a unit that cannot be stepped so finely.
    pub fn new(scenario: &'a Scenario) -> Result<(Engine<'a>, State), RunError> {
        let dt_s = scenario.run.step_s;
        let air_side = AirSide::new(scenario.air.clone(), &scenario.rooms, &scenario.doors)?;
        let door_hours = scenario.doors.iter().map(|d| d.open.as_slice()).collect();
        let drivers = Drivers::new(
            &scenario.site,
            &scenario.weather,
            scenario.surroundings,
            &scenario.rooms,
            door_hours,
            scenario.run.start,
        );
        let house_state = House::initial(scenario);
        let indoors = house_state.air(scenario.air.returns[0].room);
        let controller = &scenario.control.controller;
        let zones = scenario.zones.iter();
        let thermostats = Thermostats::new(zones.map(|z| (z.sensor, z.room)), dt_s);
        let sensors = thermostats.initial_state(|i| {
            let room = scenario.zones[i].room;
            let (air, wall) = (house_state.air(room).t_c, house_state.fabric_c(room));
            (air, wall, scenario.run.seed ^ ((i as u64 + 1) << 32))
        });
        let channels = scenario.control.actuators.len();
        let state = State {
            t_s: -scenario.run.warm_up_s,
            air: air_side.initial(),
            unit: UnitState::default(),
            plenum: indoors,
            control: controller.initial_state(scenario.run.seed),
            sensors,
            motors: vec![ActuatorState::at(0.0); channels],
            faults: FaultState::new(&scenario.faults),
            house: house_state,
        };
        let sound = SoundStage::new(scenario);
        let paces = Pace::all(scenario)?;
        let mut house = House::new(scenario);
        for pace in &paces {
            house.prepare(pace.dt_s);
        }
        let engine = Engine {
            calendar: Calendar::new(
                scenario.run.start - TimeDelta::milliseconds((scenario.run.warm_up_s * 1e3) as i64),
            ),
            lead_s: scenario.run.warm_up_s,
            drivers,
            thermostats,
            transport: Transport::new(&scenario.air, indoors),
            house,
            saturation: SaturationTable::new(scenario.site.pressure_pa),
            stretch: Stretch::new(scenario, paces.len()),
            paces,
            commands: controller.commands(),
            faults: scenario.faults.clone(),
            sensor_sun: SensorSun::new(
                &scenario.site,
                &scenario.weather,
                scenario.run.start,
                scenario.run.duration_s,
            ),
            hand: None,
            readings_c: vec![f64::NAN; scenario.zones.len()],
            positions: [vec![0.0; channels], vec![1.0]].concat(),
            standing: [vec![0.0; channels], vec![1.0]].concat(),
            outlet_seat: scenario
                .control
                .outlet_channel
                .iter()
                .map(|c| c.unwrap_or(channels))
                .collect(),
            flowing: Felt::default(),
            felt: Felt::default(),
            openings: vec![1.0; scenario.outlets.len()],
            notices: Vec::with_capacity(64),
            next_action: 0,
            zones_seen: u64::MAX,
            dt_s,
            sample: Sample {
                rooms: vec![RoomSample::default(); scenario.rooms.len()],
                zones: vec![ZoneSample::default(); scenario.zones.len()],
                outlets: vec![OutletSample::default(); scenario.outlets.len()],
                sound: sound.initial(),
                ..Sample::default()
            },
            sound,
            air_changed: false,
            air_side,
            scenario,
        };
        Ok((engine, state))
    }

    /// The rooms, for their meters.
    pub fn house(&mut self) -> &mut House {
        &mut self.house
    }

    /// Puts other faults in place of those of the scenario; they begin afresh.
    pub fn set_faults(&mut self, faults: Vec<Scheduled>, state: &mut State) {
        state.faults = FaultState::new(&faults);
        self.faults = faults;
    }

    /// Commands by hand in the controller's stead from the next step; `None` gives back.
    pub fn by_hand(&mut self, hand: Option<Hand>) {
        self.hand = hand;
    }

    /// What was last seen.
    pub fn sample(&self) -> &Sample {
        &self.sample
    }

    /// Ends the warm-up: meters start afresh, and a lock-out that the warm-up earned is cleared, for
    /// somebody would have come.
    pub fn begin(&mut self, state: &mut State) {
        self.house.start_meters(&state.house);
        self.sound.begin();
        let clock = self.calendar.clock(state.t_s + self.lead_s);
        let controller = &self.scenario.control.controller;
        // Clearing cannot be refused: it names no zone and no number.
        let _ = controller.apply(
            &Action::ClearLockOut,
            &clock,
            &mut state.control,
            &mut self.notices,
        );
        self.notices.clear();
    }

    /// One step: people, readings, control, dampers, air network, unit and ducts, rooms, sound.
    /// Events are appended to `events`; the sample shows the end of the step. `state` is the one that
    /// this engine stepped last, or came with: what depends on flows is kept until they change.
    ///
    /// # Errors
    /// A balance that cannot be solved, naming the element or room.
    pub fn step(
        &mut self,
        state: &mut State,
        events: &mut Vec<Event>,
    ) -> Result<&Sample, RunError> {
        self.advance(state, events, 1).map(|(sample, _)| sample)
    }

    /// As [`step`](Self::step), by at most so many time steps at once; says how many it made.
    ///
    /// More than one are made only while nothing new is commanded, and never across a half minute, a
    /// person's action or the turn of a fault: the plant then goes in one step as long as all of them (at
    /// most `run.long_step`, less while dampers move), and the controller looks at every one.
    ///
    /// # Errors
    /// As [`step`](Self::step).
    pub fn advance(
        &mut self,
        state: &mut State,
        events: &mut Vec<Event>,
        most: u64,
    ) -> Result<(&Sample, u64), RunError> {
        self.act(state, events);
        if !self.resume() {
            let t_s = state.t_s;
            state.faults.turn(&self.faults, t_s, |fault, begins| {
                events.push(turned(self.scenario, fault, begins, t_s));
            });
            self.read(state);
            self.control(state.t_s, &self.seen(state), state);
        }
        self.tell(events);
        self.look_at_zones(state);
        self.move_dampers(state, events);
        let steps = self.quiet_steps(most, state);
        let (steps, unit) = if steps > 1 {
            self.pass(steps, state, events)?
        } else {
            (1, self.carry(1, state, events)?)
        };
        state.t_s += steps as f64 * self.dt_s;
        self.listen(steps, state, events);
        self.look(state, &unit);
        Ok((&self.sample, steps))
    }

    /// What follows once commands are given and dampers stand, over so many time steps.
    fn carry(
        &mut self,
        steps: u64,
        state: &mut State,
        events: &mut Vec<Event>,
    ) -> Result<UnitOutput, RunError> {
        let dt_s = steps as f64 * self.dt_s;
        self.blow(steps, state, events)?;
        let pace = self.pace(
            steps,
            self.scenario.air.air.density_kg_m3 * state.air.fan_m3_s,
        );
        let supply_c = state.plenum.t_c;
        let (unit, blown) = self.condition(&pace, state)?;
        self.step_rooms(dt_s, blown, state)?;
        self.judge_pace(steps, supply_c, state.plenum.t_c);
        Ok(unit)
    }

    fn step_rooms(
        &mut self,
        dt_s: f64,
        blown: MoistAir,
        state: &mut State,
    ) -> Result<(), RunError> {
        let outlet_air = self.transport.outlet_air();
        let drive = self.drivers.drive();
        self.house
            .step(dt_s, drive, outlet_air, blown, &mut state.house)
            .map_err(|room| RunError::Room {
                room: self.scenario.rooms[room].name.clone(),
                t_s: state.t_s,
            })
    }

    /// Sound in the rooms: the same as before where no flow changed.
    fn listen(&mut self, steps: u64, state: &State, events: &mut Vec<Event>) {
        let sound = &mut self.sample.sound;
        if self.air_changed {
            self.sound.step(&self.air_side, &state.air, sound);
        }
        let lasted_s = steps as f64 * self.dt_s;
        self.sound.judge(state.t_s, lasted_s, sound, events);
    }
}
