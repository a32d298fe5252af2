//! The step: one function that reads like a list.

use chrono::TimeDelta;

use super::RunError;
use super::by_hand::Hand;
use super::event::{Event, What};
use super::fault::{self, FaultState, Scheduled};
use super::house::House;
use super::sample::{OutletSample, RoomSample, Sample, ZoneSample};
use super::sound::SoundStage;
use crate::control::actuator::ActuatorState;
use crate::control::thermostats::{Thermostats, ThermostatsState};
use crate::control::{Action, Calendar, Commands, ControlState, Notice, Readings};
use crate::plant::air::{MoistAir, SaturationTable};
use crate::plant::air_side::{AirCommand, AirSide, AirState, Impairment};
use crate::plant::coupled_rooms::RoomsState;
use crate::plant::drivers::Drivers;
use crate::plant::transport::Transport;
use crate::plant::unit::{UnitOutput, UnitState};
use crate::scenario::Scenario;

mod condition;
mod look;
mod pace;
mod stretch;
mod tell;

use pace::Pace;
use stretch::Stretch;

use tell::{arrived, switched, told};

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

/// What the unit's own sensors show, °C.
#[derive(Clone, Copy, Debug)]
struct Seen {
    supply_c: f64,
    surface_c: f64,
    return_c: f64,
    flow: Felt,
}

/// Pressure and flows at one instant.
#[derive(Clone, Copy, Debug, Default)]
struct Felt {
    static_pa: f64,
    rooms_m3_s: f64,
    fan_m3_s: f64,
}

impl Felt {
    fn of(air: &AirState) -> Felt {
        Felt {
            static_pa: air.supply_pa,
            rooms_m3_s: air.outlets_m3_s.iter().map(|q| q.max(0.0)).sum(),
            fan_m3_s: air.fan_m3_s,
        }
    }

    /// From here through `now` and on, to `times` the way.
    fn through(&self, now: &Felt, times: f64) -> Felt {
        let on = |from: f64, to: f64| to + (times - 1.0) * (to - from);
        Felt {
            static_pa: on(self.static_pa, now.static_pa),
            rooms_m3_s: on(self.rooms_m3_s, now.rooms_m3_s),
            fan_m3_s: on(self.fan_m3_s, now.fan_m3_s),
        }
    }
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
    /// More than one are made only while nothing moves, and never across a half minute, a person's action
    /// or the turn of a fault: the plant then goes in one step as long as all of them (at most
    /// `run.quiet_step`), and the controller looks at every one.
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
            state
                .faults
                .turn(&self.faults, state.t_s, self.scenario, events);
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

    /// A person's actions whose time has come.
    fn act(&mut self, state: &mut State, events: &mut Vec<Event>) {
        let actions = &self.scenario.control.actions;
        while let Some((t_s, action, words)) = actions.get(self.next_action) {
            if *t_s > state.t_s + 1e-6 {
                break;
            }
            let clock = self.calendar.clock(state.t_s + self.lead_s);
            let refused = self
                .scenario
                .control
                .controller
                .apply(action, &clock, &mut state.control, &mut self.notices)
                .err();
            let cause = refused.map_or(String::new(), |e| format!("refused: {e}"));
            events.push(Event {
                t_s: state.t_s,
                what: What::Action,
                subject: "system".to_string(),
                text: words.clone(),
                cause,
                value: f64::NAN,
            });
            self.next_action += 1;
        }
    }

    /// Thermostats and damper positions, as they reach the controller.
    fn read(&mut self, state: &mut State) {
        let rooms = |block: usize| {
            let rooms = &state.house.blocks[block];
            (rooms.air_c, rooms.fabric_c)
        };
        let readings_c = self.thermostats.step(rooms, &mut state.sensors);
        self.readings_c.copy_from_slice(readings_c);
        self.pass_readings(state.t_s, state);
    }

    /// Between sensors and controller, where faults may sit.
    fn pass_readings(&mut self, t_s: f64, state: &mut State) {
        for (p, m) in self.positions.iter_mut().zip(&state.motors) {
            *p = m.position;
        }
        let mut told = fault::Readings {
            zone_c: &mut self.readings_c,
            damper_position: &mut self.positions[..state.motors.len()],
        };
        state.faults.readings(&self.faults, t_s, &mut told);
    }

    /// What the unit's own sensors show.
    fn seen(&self, state: &State) -> Seen {
        Seen {
            supply_c: state.plenum.t_c,
            surface_c: self.sample.unit.surface_c,
            return_c: self.return_c(state),
            flow: self.felt,
        }
    }

    fn control(&mut self, t_s: f64, seen: &Seen, state: &mut State) {
        let s = self.scenario;
        let fan_on = state.air.fan_m3_s > 0.0;
        let readings = Readings {
            zone_c: &self.readings_c,
            damper_position: &self.positions[..state.motors.len()],
            static_pa: seen.flow.static_pa,
            supply_c: seen.supply_c,
            coil_surface_c: seen.surface_c,
            return_c: seen.return_c,
            rooms_flow_m3_s: if fan_on {
                seen.flow.rooms_m3_s
            } else {
                f64::NAN
            },
            coil_flow_fraction: seen.flow.fan_m3_s / s.rated_flow_m3_s,
        };
        if let Some(hand) = &mut self.hand {
            hand.command(
                &s.control.controller,
                &readings,
                self.dt_s,
                &mut self.commands,
            );
        } else {
            let clock = self.calendar.clock(t_s + self.lead_s);
            s.control.controller.step(
                &clock,
                self.dt_s,
                &readings,
                &mut state.control,
                &mut self.commands,
                &mut self.notices,
            );
        }
        state.faults.commands(&self.faults, t_s, &mut self.commands);
    }

    /// What the controller has to say becomes events.
    fn tell(&mut self, events: &mut Vec<Event>) {
        for n in self.notices.drain(..) {
            events.push(told(self.scenario, &n, self.lead_s));
        }
    }

    /// Air that leaves the return rooms, °C.
    fn return_c(&self, state: &State) -> f64 {
        let returns = &self.scenario.air.returns;
        let (mut flow, mut heat) = (0.0, 0.0);
        for (r, q) in returns.iter().zip(&state.air.returns_m3_s) {
            flow += q.max(0.0);
            heat += q.max(0.0) * state.house.air_c(r.room);
        }
        if flow > 0.0 {
            heat / flow
        } else {
            state.house.air_c(returns[0].room)
        }
    }

    fn move_dampers(&mut self, state: &mut State, events: &mut Vec<Event>) {
        self.drive_motors(state.t_s, state, events);
        self.stand(state);
    }

    /// Dampers where they stand now.
    fn stand(&mut self, state: &mut State) {
        for (stands, motor) in self.standing.iter_mut().zip(&state.motors) {
            *stands = motor.position;
        }
        self.set_openings(state);
    }

    /// Motors on their way for one time step from `t_s`.
    fn drive_motors(&mut self, t_s: f64, state: &mut State, events: &mut Vec<Event>) {
        let control = &self.scenario.control;
        let targets = control.actuators.iter().zip(&self.commands.channel_opening);
        for (c, (motor, (actuator, &target))) in state.motors.iter_mut().zip(targets).enumerate() {
            let was_moving = motor.moving;
            actuator.step(target, self.dt_s, motor);
            if was_moving && !motor.moving {
                events.push(arrived(self.scenario, c, motor.position, t_s));
            }
        }
    }

    /// Outlets as the motors stand, but for faults.
    fn set_openings(&mut self, state: &mut State) {
        for (opening, &seat) in self.openings.iter_mut().zip(&self.outlet_seat) {
            *opening = self.standing[seat];
        }
        let mut air = Impairment::NONE;
        let mut plant = fault::Plant {
            openings: &mut self.openings,
            air: &mut air,
        };
        state.faults.plant(&self.faults, state.t_s, &mut plant);
        self.air_side.impair(air, &mut state.air);
    }

    fn blow(
        &mut self,
        steps: u64,
        state: &mut State,
        events: &mut Vec<Event>,
    ) -> Result<(), RunError> {
        let dt_s = steps as f64 * self.dt_s;
        let drive = self.drivers.at(state.t_s + 0.5 * dt_s);
        let relief = self.scenario.control.relief_channel;
        let command = AirCommand {
            fan: self.commands.fan_fraction,
            openings: &self.openings,
            relief: relief.map_or(0.0, |c| self.standing[c]),
            open_doors: &drive.open,
        };
        let was_on = state.air.fan_speed > 0.0;
        // Short steps each have the flows of their end: these are in the mean those of the middle one's.
        let at_s = 0.5 * (dt_s + self.dt_s);
        let air = &mut state.air;
        self.air_changed = self.air_side.step_at(&command, at_s, dt_s, air)?;
        if self.air_changed {
            self.transport.refresh(&state.air);
            self.house.take_flows(&state.air);
            self.flowing = Felt::of(&state.air);
            self.felt = self.felt.through(&self.flowing, dt_s / at_s);
        } else {
            self.felt = self.flowing;
        }
        let is_on = state.air.fan_speed > 0.0;
        if was_on != is_on {
            events.push(switched(&self.commands, is_on, state.t_s));
        }
        Ok(())
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
