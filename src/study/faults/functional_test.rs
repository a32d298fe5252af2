//! The functional test: one damper at a time is fully open and all others are shut, with fan and
//! compressor at their minimum. How fast does every room respond?
//!
//! Doors are shut, so that a room responds to its own outlets. What every room does by itself over
//! the same minutes is subtracted.

use crate::control::Mode;
use crate::engine::RunError;
use crate::engine::manual_override::ManualOverride;
use crate::engine::sample::Sample;
use crate::engine::{Engine, Scratch, State};
use crate::fault::Scheduled;
use crate::scenario::Scenario;

/// How long each test lasts once the dampers have arrived, s; our own choice: room air responds
/// within minutes, its walls do not.
const TEST_S: f64 = 600.0;
/// Time of day at which the test begins, if the run has it, s: an afternoon, when the weather is
/// not mild; our own choice.
const BEGINS_S: f64 = 14.0 * 3600.0;
/// How long the fan then runs at full, s: a motorised relief needs its travel to settle.
const FULL_FAN_S: f64 = 180.0;
/// Time for dampers beyond their full travel, s.
const MARGIN_S: f64 = 10.0;

/// What one damper did.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct DamperTest {
    /// The outlet whose damper was told to open, by index.
    pub outlet: usize,
    /// Response of every room, K/h; negative when cooled.
    pub rooms_k_h: Vec<f64>,
    /// Response of every thermostat, K/h; NaN without reading.
    pub thermostats_k_h: Vec<f64>,
    /// Supply-plenum static at the end, Pa.
    pub static_pa: f64,
    /// Return static between filter and fan at the end, below room pressure, Pa.
    pub return_static_pa: f64,
    /// Supply air at the end, °C.
    pub supply_c: f64,
    /// Flow of every outlet at the end, m³/s.
    pub flows_m3_s: Vec<f64>,
    /// Flow through the relief at the end, m³/s.
    pub relief_m3_s: f64,
    /// Static with the fan at full and the compressor off, Pa: a relief damper's fault shows here.
    pub full_fan_pa: f64,
}

/// The tests in the order of the file's outlets: a response matrix, a row a damper, a column a room.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct FunctionalTest {
    /// Mode of the unit in it.
    pub mode: Mode,
    /// One test for each damper.
    pub tests: Vec<DamperTest>,
    /// Every thermostat's reading minus a thermometer beside it with nothing running, K; NaN
    /// without reading.
    pub sensor_error_k: Vec<f64>,
}

impl FunctionalTest {
    /// How strongly the room of a test's own outlet responds, K/h, unsigned.
    pub(crate) fn own_k_h(&self, scenario: &Scenario, test: usize) -> f64 {
        let response = self.tests.get(test).and_then(|t| {
            let room = scenario.outlets.get(t.outlet)?.room;
            t.rooms_k_h.get(room)
        });
        response.map_or(f64::NAN, |a| a.abs())
    }
}

/// The healthy system, run up to the time of the test.
pub(crate) struct Prepared<'a> {
    scenario: &'a Scenario,
    engine: Engine<'a>,
    state: State,
}

/// Runs the healthy system up to the time of the test.
///
/// # Errors
/// [`RunError`] of a step that cannot be solved.
pub(crate) fn prepare(scenario: &Scenario) -> Result<Prepared<'_>, RunError> {
    use chrono::Timelike;
    let engine = Engine::new(scenario)?;
    let (mut state, mut scratch) = (engine.initial_state(), engine.scratch());
    let run = &scenario.run;
    let begun = f64::from(run.start.num_seconds_from_midnight());
    let first = (BEGINS_S - begun).rem_euclid(86_400.0);
    let t_s = if first <= run.duration_s {
        first
    } else {
        0.5 * run.duration_s
    };
    let steps = ((t_s + run.warm_up_s) / run.step_s).round() as u64;
    let mut events = Vec::new();
    for k in 0..steps {
        state.t_s = k as f64 * run.step_s - run.warm_up_s;
        engine.step(&mut state, &mut scratch, &mut events)?;
        events.clear();
    }
    Ok(Prepared {
        scenario,
        engine,
        state,
    })
}

/// Temperatures at one moment.
struct Temperatures {
    rooms_c: Vec<f64>,
    thermostats_c: Vec<f64>,
}

impl Prepared<'_> {
    /// The functional test with these faults lasting all through it.
    ///
    /// # Errors
    /// [`RunError`] of a step that cannot be solved.
    pub(crate) fn run(&self, faults: &[Scheduled]) -> Result<FunctionalTest, RunError> {
        let s = self.scenario;
        let always = |f: &Scheduled| Scheduled::always(f.fault.clone());
        let faults: Vec<Scheduled> = faults.iter().map(always).collect();
        let mode = self.state.control.mode.mode;
        let (before, after, _, _) = self.test(&faults, None, mode)?;
        let per_hour = 3600.0 / TEST_S;
        let slope = |b: &[f64], a: &[f64]| -> Vec<f64> {
            a.iter().zip(b).map(|(a, b)| (a - b) * per_hour).collect()
        };
        let alone = slope(&before.rooms_c, &after.rooms_c);
        let alone_read = slope(&before.thermostats_c, &after.thermostats_c);
        let less = |a: Vec<f64>, b: &[f64]| a.iter().zip(b).map(|(a, b)| a - b).collect();
        let sensor_error_k = s
            .zones
            .iter()
            .zip(&after.thermostats_c)
            .map(|(z, read)| read - after.rooms_c[z.room])
            .collect();
        let mut tests = Vec::new();
        for (outlet, channel) in s.control.outlet_channel.iter().enumerate() {
            let Some(channel) = *channel else { continue };
            let (before, after, sample, full_fan_pa) = self.test(&faults, Some(channel), mode)?;
            tests.push(DamperTest {
                outlet,
                rooms_k_h: less(slope(&before.rooms_c, &after.rooms_c), &alone),
                thermostats_k_h: less(
                    slope(&before.thermostats_c, &after.thermostats_c),
                    &alone_read,
                ),
                static_pa: sample.air.supply_static_pa,
                return_static_pa: sample.air.filter_drop_pa - sample.air.return_static_pa,
                supply_c: sample.unit.supply_c,
                flows_m3_s: sample.outlets.iter().map(|o| o.flow_m3_s).collect(),
                relief_m3_s: sample.air.relief_flow_m3_s,
                full_fan_pa,
            });
        }
        Ok(FunctionalTest {
            mode,
            tests,
            sensor_error_k,
        })
    }

    /// One damper: it travels with everything off, then fan and compressor run at their minimum,
    /// then the fan alone at full. Gives what is read before and after, the sample before the full
    /// fan, and the static with it. Without a channel nothing runs at all.
    fn test(
        &self,
        faults: &[Scheduled],
        channel: Option<usize>,
        mode: Mode,
    ) -> Result<(Temperatures, Temperatures, Sample, f64), RunError> {
        let s = self.scenario;
        let (mut engine, mut state) = (self.engine.clone(), self.state.clone());
        engine.set_faults(faults.to_vec(), &mut state);
        let spec = s.control.controller.spec();
        let mut scratch = engine.scratch();
        let mut hand = ManualOverride::off(s.control.actuators.len());
        if let Some(opening) = channel.and_then(|c| hand.openings.get_mut(c)) {
            *opening = 1.0;
        }
        state.manual_override = Some(hand.clone());
        let travel_s = s
            .control
            .actuators
            .iter()
            .fold(0.0, |t: f64, a| t.max(a.travel_s));
        advance(
            &engine,
            &mut state,
            &mut scratch,
            travel_s + MARGIN_S,
            s.run.step_s,
        )?;
        let before = read(&state.sample);
        if channel.is_some() {
            let stages = &spec.staging.stages;
            hand.speed = stages.minimum();
            hand.fan = spec.fan.running(hand.speed, stages);
            hand.mode = Some(mode);
            state.manual_override = Some(hand.clone());
        }
        advance(&engine, &mut state, &mut scratch, TEST_S, s.run.step_s)?;
        let (after, seen) = (read(&state.sample), state.sample.clone());
        if channel.is_none() {
            return Ok((before, after, seen, 0.0));
        }
        hand.mode = None;
        hand.fan = 1.0;
        state.manual_override = Some(hand);
        advance(&engine, &mut state, &mut scratch, FULL_FAN_S, s.run.step_s)?;
        Ok((before, after, seen, state.sample.air.supply_static_pa))
    }
}

fn advance(
    engine: &Engine<'_>,
    state: &mut State,
    scratch: &mut Scratch<'_>,
    time_s: f64,
    step_s: f64,
) -> Result<(), RunError> {
    let mut events = Vec::new();
    let from_s = state.t_s;
    for k in 0..(time_s / step_s).round() as u64 {
        state.t_s = from_s + k as f64 * step_s;
        engine.step(state, scratch, &mut events)?;
        events.clear();
    }
    Ok(())
}

fn read(seen: &Sample) -> Temperatures {
    Temperatures {
        rooms_c: seen.rooms.iter().map(|r| r.air_c).collect(),
        thermostats_c: seen.zones.iter().map(|z| z.sensor_c).collect(),
    }
}
