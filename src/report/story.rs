//! What figures need to know beyond the trace: names, limits and events.

use crate::plant::sound::RoomSound;
use chrono::NaiveDateTime;

/// The story a set of figures tells, apart from the numbers in the trace.
#[derive(Debug, Clone, PartialEq)]
pub struct Story {
    /// Name of the scenario, as its author wrote it.
    pub title: String,
    /// Local clock time at `time_s` = 0.
    pub start: NaiveDateTime,
    /// Zones in the order of the file.
    pub zones: Vec<StoryZone>,
    /// Rooms that belong to no zone, such as a hall.
    pub other_rooms: Vec<String>,
    /// The thermostats' differential about the setpoint.
    pub differential: Differential,
    /// Limits drawn as lines.
    pub limits: StoryLimits,
    /// External static as every step had it; `None` leaves it to the recorded rows.
    pub static_pressure: Option<StoryStatic>,
    /// Sound; `None` leaves its figures without data.
    pub sound: Option<StorySound>,
    /// What happened, in order of time.
    pub events: Vec<StoryEvent>,
}

/// A zone with the rooms it serves and the outlets it drives.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoryZone {
    /// Name of the zone.
    pub name: String,
    /// Names of its rooms, the thermostat's room first.
    pub rooms: Vec<String>,
    /// Names of its outlets.
    pub outlets: Vec<String>,
}

/// How far the temperature may move about the setpoint before the thermostat acts.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Differential {
    /// Below the setpoint, K.
    pub below_k: f64,
    /// Above the setpoint, K.
    pub above_k: f64,
}

impl Differential {
    /// A differential of `total_k` split evenly about the setpoint.
    pub fn centred(total_k: f64) -> Self {
        Self {
            below_k: total_k / 2.0,
            above_k: total_k / 2.0,
        }
    }
}

/// A limit with the place it comes from.
#[derive(Debug, Clone, PartialEq)]
pub struct StoryLimit {
    /// The limit, SI.
    pub value: f64,
    /// Its source, such as a clause or "unit data sheet".
    pub source: String,
}

/// Limits drawn on the figures. Those absent are not drawn.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct StoryLimits {
    /// Highest external static, supply plenum less return plenum, Pa.
    pub static_pa: Option<StoryLimit>,
    /// Supply temperature at which low protection trips, °C.
    pub supply_low_trip_c: Option<StoryLimit>,
    /// Supply temperature at which low protection resets, °C.
    pub supply_low_reset_c: Option<StoryLimit>,
    /// Supply temperature at which high protection trips, °C.
    pub supply_high_trip_c: Option<StoryLimit>,
    /// Supply temperature at which high protection resets, °C.
    pub supply_high_reset_c: Option<StoryLimit>,
}

/// External static as measured at every step, of which the trace holds only some.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StoryStatic {
    /// When it was worst, s.
    pub at_s: f64,
    /// The worst, Pa.
    pub worst_pa: f64,
    /// Time above the limit, s.
    pub above_s: f64,
}

/// What the figures of sound need beyond the trace.
#[derive(Debug, Clone, PartialEq)]
pub struct StorySound {
    /// Rooms in the order of the file.
    pub rooms: Vec<StoryRoomSound>,
    /// The loudest minute of the room that stands worst against its limit.
    pub spectrum: Option<StorySpectrum>,
    /// How far the levels may be off, as a sentence.
    pub expected: String,
}

/// Sound of one room.
#[derive(Debug, Clone, PartialEq)]
pub struct StoryRoomSound {
    /// Name of the room.
    pub name: String,
    /// Its limit, dB(A).
    pub limit: StoryLimit,
    /// Start of its loudest minute, s, and the level then, dB(A).
    pub loudest: Option<(f64, f64)>,
    /// Time above the limit, s.
    pub above_s: f64,
    /// What rules that minute, such as "grille 68 %".
    pub ruling: String,
}

/// A spectrum with its sources.
#[derive(Debug, Clone, PartialEq)]
pub struct StorySpectrum {
    /// Name of the room.
    pub room: String,
    /// Start of its loudest minute, s.
    pub at_s: f64,
    /// Which zones called and stood open then.
    pub combination: String,
    /// Limit of the room, dB(A).
    pub limit_dba: StoryLimit,
    /// Limit of the room, NC.
    pub limit_nc: StoryLimit,
    /// Energies by source and octave.
    pub sound: RoomSound,
}

/// What kind of thing happened.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum EventKind {
    /// The unit started.
    Start,
    /// The unit stopped.
    Stop,
    /// A protection tripped.
    Trip,
    /// A protection reset.
    Reset,
    /// Too many trips: the unit is locked out.
    LockOut,
    /// A person cleared the lock-out.
    LockOutCleared,
    /// A zone's time band opened.
    BandOpens,
    /// A zone's time band closed.
    BandCloses,
    /// The unit changed mode; the text is the new mode, such as "cooling".
    Mode,
    /// A fault began or ended.
    Fault,
    /// Anything else.
    Other,
}

/// Something that happened at a moment.
#[derive(Debug, Clone, PartialEq)]
pub struct StoryEvent {
    /// Seconds since the start of the run.
    pub t_s: f64,
    /// What kind of thing.
    pub kind: EventKind,
    /// What it happened to: a zone, "unit", an outlet.
    pub subject: String,
    /// A few words, such as "supply air below 3 °C for 60 s".
    pub text: String,
}

impl Story {
    /// Events of one kind that name a finite time, in order.
    pub fn events_of(&self, kind: EventKind) -> impl Iterator<Item = &StoryEvent> {
        self.events
            .iter()
            .filter(move |event| event.kind == kind && event.t_s.is_finite())
    }

    /// Trips, in order: the events that figures number, as measures count them.
    pub fn trips(&self) -> impl Iterator<Item = &StoryEvent> {
        self.events_of(EventKind::Trip)
    }

    /// Lock-outs with the time at which each was cleared; none when it outlasted the run.
    pub fn lock_outs(&self) -> impl Iterator<Item = (&StoryEvent, Option<f64>)> {
        self.events_of(EventKind::LockOut).map(|out| {
            let mut cleared = self.events_of(EventKind::LockOutCleared).map(|e| e.t_s);
            (out, cleared.find(|&t| t >= out.t_s))
        })
    }
}
