//! The whole step, its parts, a day, and the floor: the least arithmetic for the same house.
//!
//! `cargo bench --bench step` prints all of them from one run on one machine, and
//! `cargo bench --bench step -- ratios` the table of the step against its floor.

mod common;
#[path = "common/floor.rs"]
mod floor;

use std::time::Instant;

use divan::counter::ItemsCount;
use divan::{Bencher, black_box};
use openshut::internals::{
    AirCommand, AirScratch, AirSide, AirState, Calendar, Drivers, Event, House, Mode, Observer,
    PlantState, Readings, Recorder, Sample, SaturationTable, Spaces, Transport, UnitCommand,
    UnitInlet, UnitState, observers,
};
use openshut::{Engine, Scenario, Scratch, State, simulate};

const ROOMS: [usize; 5] = [5, 8, 16, 32, 64];
/// Steps in one sample: the hour from three in the afternoon.
const HOUR: u64 = 3600;
/// When that hour begins, s.
const AFTERNOON_S: f64 = 15.0 * 3600.0;

fn main() {
    let args: Vec<String> = std::env::args().collect();
    // `count whole 8 3600`: so many seconds and nothing else, for counting instructions; `seconds` steps
    // each of them.
    if let Some(at) = args.iter().position(|a| a == "count") {
        count(&args[at + 1..]);
    } else if args.iter().any(|a| a == "ratios") {
        ratios();
    } else {
        divan::main();
    }
}

/// Times the step and its floor in turn and prints their ratio. The hour is cut into pieces and
/// the fastest of many tries of each piece taken, so that other work on the machine counts little.
fn ratios() {
    const PIECES: usize = 24;
    const TRIES: usize = 25;
    println!(
        "| rooms | second, µs | seconds/s | floor, µs | second/floor | per room, 8 rooms = 1 | \
         every second stepped, µs | /floor |"
    );
    println!("|---|---|---|---|---|---|---|---|");
    let mut rows = Vec::new();
    for rooms in ROOMS {
        let scenario = common::house(rooms);
        let (engine, start) = afternoon(&scenario);
        let mut floor = floor::Floor::new(&scenario);
        let mut best = [[f64::INFINITY; 3]; PIECES];
        let seconds = HOUR / PIECES as u64;
        for _ in 0..TRIES {
            // With long steps, and without.
            for (which, most) in [(0, u64::MAX), (2, 1)] {
                let mut run = Run::new(&scenario, &engine, start.clone());
                for (piece, best) in best.iter_mut().enumerate() {
                    let from_s = AFTERNOON_S + (piece as u64 * seconds) as f64;
                    let begin = Instant::now();
                    run.pass(from_s, seconds, most);
                    best[which] = best[which].min(begin.elapsed().as_secs_f64());
                }
            }
            for best in &mut best {
                let begin = Instant::now();
                for _ in 0..seconds {
                    black_box(floor.step());
                }
                best[1] = best[1].min(begin.elapsed().as_secs_f64());
            }
        }
        let mean = |which: usize| best.iter().map(|b| b[which]).sum::<f64>() / HOUR as f64;
        rows.push((rooms, [0, 1, 2].map(mean)));
    }
    let per_room = rows
        .iter()
        .find(|r| r.0 == 8)
        .map_or(f64::NAN, |r| r.1[0] / 8.0);
    for (rooms, [whole, least, short]) in rows {
        println!(
            "| {rooms} | {:.3} | {:.0} | {:.3} | {:.2} | {:.2} | {:.3} | {:.2} |",
            1e6 * whole,
            1.0 / whole,
            1e6 * least,
            whole / least,
            whole / rooms as f64 / per_room,
            1e6 * short,
            short / least,
        );
    }
}

/// Runs the hour's first steps without timing them; `benches/instructions.sh` calls it twice with
/// different lengths and takes the difference.
fn count(args: &[String]) {
    let number = |at: usize| -> u64 { args[at].parse().expect("count WHAT ROOMS STEPS") };
    let scenario = common::house(number(1) as usize);
    let steps = number(2);
    if args[0] == "floor" {
        let mut floor = floor::Floor::new(&scenario);
        for _ in 0..steps {
            black_box(floor.step());
        }
        return;
    }
    let (engine, state) = afternoon(&scenario);
    let most = if args[0] == "seconds" { 1 } else { u64::MAX };
    Run::new(&scenario, &engine, state).pass(AFTERNOON_S, steps, most);
}

/// A run from three in the afternoon, as `simulate` makes it: with observers and the trace.
struct Run<'a> {
    engine: &'a Engine<'a>,
    state: State,
    scratch: Scratch<'a>,
    watchers: Vec<Box<dyn Observer>>,
    recorder: Recorder,
    events: Vec<Event>,
}

impl<'a> Run<'a> {
    fn new(scenario: &'a Scenario, engine: &'a Engine<'a>, state: State) -> Run<'a> {
        Run {
            scratch: engine.scratch(),
            engine,
            state,
            watchers: observers(scenario),
            recorder: Recorder::new(scenario),
            events: Vec::with_capacity(4096),
        }
    }

    /// So many seconds from `from_s`; `most` is the longest step.
    fn pass(&mut self, from_s: f64, seconds: u64, most: u64) {
        self.events.clear();
        let mut k = 0;
        while k < seconds {
            self.state.t_s = from_s + k as f64;
            let advanced = self.engine.advance(
                most.min(seconds - k),
                &mut self.state,
                &mut self.scratch,
                &mut self.events,
            );
            let (made, sample) = (advanced.unwrap(), &self.state.sample);
            for w in &mut self.watchers {
                w.observe(sample, made as f64);
            }
            self.recorder.hear(sample, made as f64);
            k += made;
            if k.is_multiple_of(60) {
                self.recorder.record(sample);
            }
        }
    }
}

/// An engine with the state it has at three in the afternoon of the day simulated.
fn afternoon(scenario: &Scenario) -> (Engine<'_>, State) {
    let engine = Engine::new(scenario).unwrap();
    let (mut state, mut scratch) = (engine.initial_state(), engine.scratch());
    let mut events = Vec::new();
    // From six in the morning: the zones have begun to call long before three.
    state.t_s = 6.0 * 3600.0;
    while state.t_s < AFTERNOON_S {
        engine.step(&mut state, &mut scratch, &mut events).unwrap();
        events.clear();
    }
    (engine, state)
}

/// An hour of steps in a hot afternoon, as `simulate` makes them: with observers and the trace.
#[divan::bench(args = ROOMS, sample_count = 20, sample_size = 1)]
fn whole_step(bencher: Bencher, rooms: usize) {
    let scenario = common::house(rooms);
    let (engine, start) = afternoon(&scenario);
    bencher
        .counter(ItemsCount::new(HOUR))
        .with_inputs(|| Run::new(&scenario, &engine, start.clone()))
        .bench_local_refs(|run| run.pass(AFTERNOON_S, HOUR, u64::MAX));
}

/// The floor over as many steps.
#[divan::bench(args = ROOMS, sample_count = 20, sample_size = 1)]
fn floor_kernel(bencher: Bencher, rooms: usize) {
    let scenario = common::house(rooms);
    let mut floor = floor::Floor::new(&scenario);
    bencher.counter(ItemsCount::new(HOUR)).bench_local(|| {
        let mut last = 0.0;
        for _ in 0..HOUR {
            last = floor.step();
        }
        assert!(
            (10.0..40.0).contains(&last),
            "the floor kernel ran away: {last} °C"
        );
        last
    });
}

/// A day at 1 s, warm-up day included, from a read scenario to measures.
#[divan::bench(args = [8], sample_count = 5, sample_size = 1)]
fn day_with_warm_up(bencher: Bencher, rooms: usize) {
    let scenario = common::house(rooms);
    bencher
        .counter(ItemsCount::new(2_u32 * 86_400))
        .bench_local(|| simulate(&scenario, |_| {}).unwrap());
}

/// What the parts below stand on.
struct Parts<'a> {
    scenario: &'a Scenario,
    drivers: Drivers<'a>,
    air_side: AirSide,
    air: AirState,
    air_scratch: AirScratch,
    transport: Transport,
    house: House,
    state: State,
    sample: Sample,
}

fn parts(scenario: &Scenario) -> Parts<'_> {
    let (engine, mut state) = afternoon(scenario);
    let air_side = AirSide::new(scenario.air.clone(), &scenario.rooms, &scenario.doors).unwrap();
    let hours = scenario.doors.iter().map(|d| d.open.as_slice()).collect();
    let mut drivers = Drivers::new(
        &scenario.site,
        &scenario.weather,
        &scenario.rooms,
        hours,
        scenario.run.start,
    );
    let drive = drivers.at(AFTERNOON_S);
    let (mut air, mut air_scratch) = (air_side.initial(), air_side.scratch());
    let openings = vec![0.7; scenario.outlets.len()];
    let command = AirCommand {
        fan: 0.8,
        openings: &openings,
        relief: 0.0,
        open_doors: &drive.open,
    };
    for _ in 0..60 {
        air_side
            .step(&command, 1.0, &mut air, &mut air_scratch)
            .unwrap();
    }
    let mut transport = Transport::new(&scenario.air);
    transport.refresh(&air);
    let spaces = Spaces {
        roof_c: 45.0,
        indoors_c: 25.0,
        outdoors_c: 35.0,
    };
    let PlantState {
        plenum,
        house: rooms,
        ducts,
        ..
    } = &mut state.plant;
    transport.carry(*plenum, |room| rooms.rooms.air(room), &spaces, ducts);
    let mut scratch = engine.scratch();
    engine
        .step(&mut state, &mut scratch, &mut Vec::new())
        .unwrap();
    let sample = state.sample.clone();
    let mut house = House::new(scenario);
    house.take_flows(&air);
    Parts {
        scenario,
        drivers,
        air_side,
        air,
        air_scratch,
        transport,
        house,
        state,
        sample,
    }
}

/// Heat and moisture of all rooms, meters included.
#[divan::bench(args = [8, 64])]
fn rooms(bencher: Bencher, rooms: usize) {
    let scenario = common::house(rooms);
    let mut p = parts(&scenario);
    bencher.bench_local(|| {
        p.house
            .step(
                1.0,
                p.drivers.drive(),
                p.transport.outlet_air(),
                p.state.plant.plenum,
                &mut p.state.plant.house,
            )
            .unwrap();
    });
}

/// The air side while one damper moves at its motor's pace.
#[divan::bench(args = [8, 64])]
fn air_side_moving(bencher: Bencher, rooms: usize) {
    let scenario = common::house(rooms);
    let mut p = parts(&scenario);
    let mut openings = vec![0.7; scenario.outlets.len()];
    let (mut at, mut by) = (0.7, 0.01);
    bencher.bench_local(|| {
        at += by;
        if !(0.2..0.95).contains(&at) {
            by = -by;
        }
        openings[1] = at;
        let command = AirCommand {
            fan: 0.8,
            openings: &openings,
            relief: 0.0,
            open_doors: &p.drivers.drive().open,
        };
        black_box(
            p.air_side
                .step(&command, 1.0, &mut p.air, &mut p.air_scratch),
        )
        .unwrap();
        p.transport.refresh(&p.air);
    });
}

/// The coil, running, its entering air moving a little.
#[divan::bench]
fn coil(bencher: Bencher) {
    let scenario = common::house(8);
    let p = parts(&scenario);
    let saturation = SaturationTable::new(scenario.site.pressure_pa);
    let step = scenario.unit.unit.prepared(1.0).unwrap();
    let mut unit = UnitState::default();
    let mut n = 0.0;
    let air_kg_s = scenario.rated_flow_m3_s * 1.1;
    bencher.bench_local(|| {
        n = if n > 100.0 { 0.0 } else { n + 1.0 };
        let mut air = p.state.plant.house.rooms.air(0);
        air.t_c += 0.001 * n;
        let inlet = UnitInlet {
            air,
            air_kg_s,
            outdoor_c: 35.0 + 0.001 * n,
        };
        let command = UnitCommand {
            mode: Mode::Cooling,
            speed: 0.8,
        };
        let unit_spec = &p.scenario.unit.unit;
        black_box(unit_spec.step(&saturation, &step, &command, &inlet, &mut unit)).unwrap();
    });
}

/// The controller with all its zones.
#[divan::bench(args = [8, 64])]
fn control(bencher: Bencher, rooms: usize) {
    let scenario = common::house(rooms);
    let controller = &scenario.control.controller;
    let calendar = Calendar::new(scenario.run.start);
    let mut state = controller.initial_state(1);
    let mut commands = controller.commands();
    let mut notices = Vec::with_capacity(256);
    let mut zone_c = vec![25.0; scenario.zones.len()];
    let position = vec![0.7; scenario.control.actuators.len()];
    let mut t_s = AFTERNOON_S;
    bencher.bench_local(|| {
        t_s += 1.0;
        zone_c[0] = 24.0 + (t_s % 600.0) / 300.0;
        let readings = Readings {
            zone_c: &zone_c,
            damper_position: &position,
            static_pa: 60.0,
            supply_c: 14.0,
            coil_surface_c: 11.0,
            return_c: 25.0,
            rooms_flow_m3_s: 0.4,
            coil_flow_fraction: 0.8,
        };
        let clock = calendar.clock(t_s);
        controller.step(
            &clock,
            1.0,
            &readings,
            &mut state,
            &mut commands,
            &mut notices,
        );
        notices.clear();
    });
}

/// One row of the trace; it is made once in sixty steps.
#[divan::bench(args = [8, 64])]
fn record_row(bencher: Bencher, rooms: usize) {
    let scenario = common::house(rooms);
    let p = parts(&scenario);
    let mut recorder = Recorder::new(&scenario);
    bencher.bench_local(|| {
        if recorder.trace.rows() > 1440 {
            recorder = Recorder::new(&scenario);
        }
        recorder.record(&p.sample);
    });
}

/// All measures watching one step.
#[divan::bench(args = [8, 64])]
fn observe(bencher: Bencher, rooms: usize) {
    let scenario = common::house(rooms);
    let mut p = parts(&scenario);
    let mut watchers = observers(&scenario);
    bencher.bench_local(|| {
        p.sample.t_s += 1.0;
        for w in &mut watchers {
            w.observe(&p.sample, 1.0);
        }
    });
}

/// Weather and sun of a whole minute: sixty reads and one new minute.
#[divan::bench(args = [8, 64])]
fn drivers_minute(bencher: Bencher, rooms: usize) {
    let scenario = common::house(rooms);
    let mut p = parts(&scenario);
    let mut t_s = AFTERNOON_S;
    bencher.bench_local(|| {
        for _ in 0..60 {
            t_s += 1.0;
            black_box(p.drivers.at(t_s));
        }
    });
}
