//! The step of sound: from flows and damper drops to energies in every room, and the events when
//! a room goes above its limit.

use std::sync::Arc;

use super::event::{Event, What};
use super::sample::SoundSample;
use crate::plant::air_side::{AirScratch, AirSide, AirState};
use crate::plant::fan::Fan;
use crate::plant::sound::heard::Heard;
use crate::plant::sound::octave::db_to_energy;
use crate::plant::sound::{Operating, OutletOperating, SoundModel};
use crate::scenario::Scenario;

/// A room is judged on the energy mean of whole minutes, s.
const JUDGED_OVER_S: f64 = 60.0;
/// A room is within its limit when a minute's mean is this far under it, dB, so that a level
/// near the limit does not chatter (our own choice).
const BACK_UNDER_DB: f64 = 1.0;
/// Points at which the fan's efficiency is searched for its peak.
const PEAK_POINTS: usize = 400;

/// How sound of one scenario is worked out and judged; it does not change.
#[derive(Debug, Clone)]
pub struct SoundStage {
    model: SoundModel,
    fan: Arc<Fan>,
    /// Highest efficiency of the fan's curve; `None` where it is not known.
    peak_efficiency: Option<f64>,
    rooms: Vec<RoomLimit>,
}

/// Memory of [`SoundStage::step`].
#[derive(Debug, Clone)]
pub struct SoundScratch {
    outlets: Vec<OutletOperating>,
    drops_pa: Vec<f64>,
}

/// The minute being judged, and which rooms the last ones found above their limits.
#[derive(Debug, Clone, PartialEq)]
pub struct MinuteState {
    /// Energy sums of the sounds that are over, by room and source.
    sums: Vec<[f64; 6]>,
    /// How long the present sound has lasted, and the minute.
    held_s: f64,
    seconds: f64,
    above: Vec<bool>,
}

impl MinuteState {
    fn new(rooms: usize) -> MinuteState {
        MinuteState {
            sums: vec![[0.0; 6]; rooms],
            held_s: 0.0,
            seconds: 0.0,
            above: vec![false; rooms],
        }
    }

    fn restart(&mut self) {
        self.sums.fill([0.0; 6]);
        self.held_s = 0.0;
        self.seconds = 0.0;
    }

    /// Forgets the minute and who was above: a run begins.
    pub fn begin(&mut self) {
        self.restart();
        self.above.fill(false);
    }

    /// Adds the present sound to the sums; it is over.
    pub fn settle(&mut self, heard: &[Heard]) {
        if self.held_s > 0.0 {
            for (sums, heard) in self.sums.iter_mut().zip(heard) {
                for (sum, energy) in sums.iter_mut().zip(&heard.by_source_a) {
                    *sum += self.held_s * energy;
                }
            }
            self.held_s = 0.0;
        }
    }
}

/// A room's limit, as level and as energies to be above it and to be back within it.
#[derive(Debug, Clone)]
struct RoomLimit {
    name: String,
    limit_dba: f64,
    limit: f64,
    back: f64,
}

impl SoundStage {
    /// Of a scenario.
    pub fn new(scenario: &Scenario) -> SoundStage {
        let scene = &scenario.sound;
        let fan = Arc::clone(&scenario.air.fan);
        let rooms = scenario.rooms.iter().zip(&scene.limits);
        SoundStage {
            model: scene.model.clone(),
            peak_efficiency: scene.efficiency_known.then(|| peak_efficiency(&fan)),
            fan,
            rooms: rooms
                .map(|(room, limit)| RoomLimit {
                    name: room.name.clone(),
                    limit_dba: limit.dba.value,
                    limit: db_to_energy(limit.dba.value),
                    back: db_to_energy(limit.dba.value - BACK_UNDER_DB),
                })
                .collect(),
        }
    }

    /// The rooms with the system off.
    pub fn initial(&self) -> SoundSample {
        let state = self.model.initial();
        SoundSample {
            heard: state.rooms.iter().map(Heard::of).collect(),
            state,
            changes: 0,
        }
    }

    /// No room above its limit, and no minute begun.
    pub fn initial_minute(&self) -> MinuteState {
        MinuteState::new(self.rooms.len())
    }

    /// Memory for an air side of so many outlets.
    pub fn scratch(outlets: usize) -> SoundScratch {
        SoundScratch {
            outlets: vec![OutletOperating::default(); outlets],
            drops_pa: vec![0.0; outlets],
        }
    }

    /// Brings `sound` to the flows of `air`.
    pub fn step(
        &self,
        air_side: &AirSide,
        air: &AirState,
        air_scratch: &mut AirScratch,
        scratch: &mut SoundScratch,
        sound: &mut SoundSample,
    ) {
        air_side.damper_drops(air, air_scratch, &mut scratch.drops_pa);
        let found = air.outlets_m3_s.iter().zip(&scratch.drops_pa);
        for (outlet, (&flow_m3_s, &damper_drop_pa)) in scratch.outlets.iter_mut().zip(found) {
            *outlet = OutletOperating {
                flow_m3_s,
                damper_drop_pa,
            };
        }
        let now = Operating {
            fan_flow_m3_s: air.fan_m3_s,
            fan_static_pa: air.fan_rise_pa,
            fan_efficiency_ratio: self.efficiency_ratio(air),
            outlets: &scratch.outlets,
            relief_flow_m3_s: air.relief_m3_s,
            relief_drop_pa: air_side.relief_drop_pa(air),
            return_flow_m3_s: air.returns_m3_s.iter().sum(),
        };
        self.model.step(&now, &mut sound.state);
        let rooms = sound.heard.iter_mut().zip(&sound.state.rooms);
        for (i, (heard, room)) in rooms.enumerate() {
            heard.follow(room, self.model.sources(i));
        }
        sound.changes += 1;
    }

    /// Static efficiency of the fan over its peak, where it is known.
    fn efficiency_ratio(&self, air: &AirState) -> Option<f64> {
        let peak = self.peak_efficiency?;
        if !(air.fan_speed > 0.0 && air.fan_m3_s > 0.0) {
            return None;
        }
        let flow = air.fan_m3_s / air.fan_speed;
        let rise_pa = air.fan_rise_pa / (air.fan_speed * air.fan_speed);
        Some(flow * rise_pa / self.fan.power.power_and_slope(flow).0 / peak)
    }

    /// Judges the rooms once a minute, on that minute's energy mean. `sound` has lasted for the `dt_s` up to
    /// `t_s`.
    pub fn judge(
        &self,
        t_s: f64,
        dt_s: f64,
        sound: &SoundSample,
        minute: &mut MinuteState,
        events: &mut Vec<Event>,
    ) {
        minute.held_s += dt_s;
        minute.seconds += dt_s;
        if minute.seconds < JUDGED_OVER_S - 1e-6 {
            return;
        }
        self.judge_minute(t_s, sound, minute, events);
    }

    #[cold]
    fn judge_minute(
        &self,
        t_s: f64,
        sound: &SoundSample,
        minute: &mut MinuteState,
        events: &mut Vec<Event>,
    ) {
        minute.settle(&sound.heard);
        let part = minute.seconds.recip();
        let judged = minute.sums.iter().zip(&mut minute.above);
        for (room, (sums, above)) in self.rooms.iter().zip(judged) {
            let mean = Heard {
                by_source_a: sums.map(|sum| part * sum),
                ..Heard::default()
            };
            let energy = mean.a_energy();
            let now = energy > if *above { room.back } else { room.limit };
            if now != *above {
                *above = now;
                events.push(crossed(t_s, room, now, &mean));
            }
        }
        minute.restart();
    }
}

/// A room has gone above its limit, or is back.
fn crossed(t_s: f64, room: &RoomLimit, above: bool, mean: &Heard) -> Event {
    let (source, share) = mean.ruling();
    let (name, limit, level) = (&room.name, room.limit_dba, mean.dba());
    let cause = format!("dominant source: {}, {:.0} %", source.name(), 100.0 * share);
    let text = if above {
        format!("{name} goes above its {limit:.0} dB(A): {level:.0} dB(A), {cause}")
    } else {
        format!("{name} is back within its {limit:.0} dB(A): {level:.0} dB(A)")
    };
    Event {
        t_s,
        what: What::Sound,
        subject: name.clone(),
        cause,
        value: level,
        text,
    }
}

/// Highest `Q p / P` along the fan's curve at reference speed.
fn peak_efficiency(fan: &Fan) -> f64 {
    let free = fan.curve.free_flow_m3_s();
    let at = |i: usize| {
        let flow = free * i as f64 / PEAK_POINTS as f64;
        flow * fan.curve.pressure_pa(flow) / fan.power.power_and_slope(flow).0
    };
    (1..PEAK_POINTS).map(at).fold(f64::MIN_POSITIVE, f64::max)
}
