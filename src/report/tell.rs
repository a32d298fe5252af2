//! Turns a scenario and its outcome into the [`Story`] that figures are drawn from.

use super::{
    Differential, EventKind, Story, StoryEvent, StoryLimit, StoryLimits, StoryRoomSound,
    StorySound, StorySpectrum, StoryStatic, StoryZone,
};
use crate::control::NoticeKind;
use crate::control::protection::{Protection, Sense};
use crate::control::thermostat::Placement;
use crate::engine::event::What;
use crate::measure::Limit;
use crate::measure::noise_rating::NcValue;
use crate::measure::sound::{LoudRoom, expected_band};
use crate::quantity::{Dimension, UnitSystem};
use crate::run::Outcome;
use crate::scenario::Scenario;

/// What figures need beyond the trace.
pub fn story(s: &Scenario, outcome: &Outcome, units: UnitSystem) -> Story {
    let spec = s.control.controller.spec();
    let protection = |sense: Sense| spec.protections.iter().find(|p| p.sense == sense);
    let limit = |p: Option<&Protection>, value: fn(&Protection) -> f64| {
        p.map(|p| StoryLimit {
            value: value(p),
            source: p.name.clone(),
        })
    };
    // Only the trips of the modes that ran: a line for the other would squeeze the scale.
    let ran = |heating: bool| {
        let column = |name| outcome.trace.column(name).unwrap_or_default();
        let (mode, speed) = (column("unit.heating"), column("unit.speed"));
        mode.iter()
            .zip(speed)
            .any(|(m, s)| *s > 0.0 && (*m > 0.5) == heating)
    };
    let high = protection(Sense::SupplyHigh).filter(|_| ran(true));
    let low = protection(Sense::SupplyLow).filter(|_| ran(false) || high.is_none());
    let zones = s
        .zones
        .iter()
        .map(|z| {
            let mut rooms = vec![s.rooms[z.room].name.clone()];
            for &o in &z.outlets {
                let room = &s.rooms[s.outlets[o].room].name;
                if !rooms.contains(room) {
                    rooms.push(room.clone());
                }
            }
            StoryZone {
                name: z.name.clone(),
                rooms,
                outlets: z
                    .outlets
                    .iter()
                    .map(|&o| s.outlets[o].name.clone())
                    .collect(),
            }
        })
        .collect();
    let width = s.zones.first().map_or(0.5, |z| z.differential_k);
    let one_sided = spec
        .zones
        .first()
        .is_some_and(|z| z.differential.placement == Placement::OneSided);
    Story {
        title: s.title.clone(),
        start: s.start(),
        zones,
        other_rooms: (0..s.rooms.len())
            .filter(|&r| s.zone_of_room(r).is_none())
            .map(|r| s.rooms[r].name.clone())
            .collect(),
        differential: if one_sided {
            Differential {
                below_k: width,
                above_k: width,
            }
        } else {
            Differential::centred(width)
        },
        limits: StoryLimits {
            static_pa: Some(StoryLimit {
                value: s.limits.static_pa.value,
                source: s.limits.static_pa.source.clone(),
            }),
            supply_low_trip_c: limit(low, |p| p.trip),
            supply_low_reset_c: limit(low, |p| p.reset),
            supply_high_trip_c: limit(high, |p| p.trip),
            supply_high_reset_c: limit(high, |p| p.reset),
        },
        static_pressure: static_pressure(outcome),
        sound: Some(sound(s, outcome)),
        events: events(s, outcome, units),
    }
}

/// The worst static pressure of every step, where the run measured one.
pub(super) fn static_pressure(outcome: &Outcome) -> Option<StoryStatic> {
    let worst = outcome.measure("static_worst", "house")?;
    let above = outcome.measure("static_above_limit", "house");
    Some(StoryStatic {
        at_s: worst.at_s?,
        worst_pa: worst.value,
        above_s: above.map_or(0.0, |m| m.value),
    })
    .filter(|s| s.worst_pa.is_finite())
}

fn sound(s: &Scenario, outcome: &Outcome) -> StorySound {
    let limit = |l: &Limit| StoryLimit {
        value: l.value,
        source: l.source.clone(),
    };
    let rooms = s.rooms.iter().zip(&s.sound.limits).enumerate();
    let rooms = rooms.map(|(i, (room, limits))| {
        let loud = outcome.loudest.iter().find(|l| l.room == i);
        StoryRoomSound {
            name: room.name.clone(),
            limit: limit(&limits.dba),
            above_s: ["sound_above_day", "sound_above_night"]
                .iter()
                .filter_map(|key| outcome.measure(key, &room.name))
                .map(|m| m.value)
                .sum(),
            loudest: loud.map(|l| (l.stretch.start_s, l.stretch.sound.dba())),
            ruling: loud.map_or(String::new(), |l| {
                let first = l.stretch.sound.ranking()[0];
                format!("{} {:.0} %", first.source.name(), 100.0 * first.share)
            }),
        }
    });
    // How far over its limit a room is, by whichever rating is worse.
    let excess = |l: &LoudRoom| {
        let limits = &s.sound.limits[l.room];
        let nc = match l.nc().value {
            NcValue::Within(nc) => nc - limits.nc.value,
            NcValue::Below15 => f64::NEG_INFINITY,
            NcValue::Above65 => f64::INFINITY,
        };
        nc.max(l.stretch.sound.dba() - limits.dba.value)
    };
    let loud = outcome.loudest.iter();
    let worst = loud.max_by(|a, b| excess(a).total_cmp(&excess(b)));
    StorySound {
        rooms: rooms.collect(),
        spectrum: worst.map(|l| StorySpectrum {
            room: s.rooms[l.room].name.clone(),
            at_s: l.stretch.start_s,
            combination: l.combination.clone(),
            limit_dba: limit(&s.sound.limits[l.room].dba),
            limit_nc: limit(&s.sound.limits[l.room].nc),
            sound: l.stretch.sound,
        }),
        expected: expected_band(s.sound.measured_fan),
    }
}

fn events(s: &Scenario, outcome: &Outcome, units: UnitSystem) -> Vec<StoryEvent> {
    let mut heating = outcome
        .trace
        .column("unit.heating")
        .and_then(|c| c.first())
        .is_some_and(|h| *h > 0.5);
    let mode = |heating: bool| if heating { "heating" } else { "cooling" }.to_string();
    let mut out = vec![StoryEvent {
        t_s: 0.0,
        kind: EventKind::Mode,
        subject: "unit".to_string(),
        text: mode(heating),
    }];
    for e in &outcome.events {
        if e.what == What::Fault {
            out.push(StoryEvent {
                t_s: e.t_s,
                kind: EventKind::Fault,
                subject: e.subject.clone(),
                text: e.text.clone(),
            });
        }
        let What::Control(notice) = e.what else {
            continue;
        };
        let Some(kind) = kind_of(notice) else {
            continue;
        };
        let text = match kind {
            EventKind::Mode => {
                heating = !heating;
                mode(heating)
            }
            EventKind::Trip => {
                let protections = &s.control.controller.spec().protections;
                let watched = protections.iter().find(|p| p.name == e.subject);
                let watched = watched.map(|p| beyond(p, units));
                watched.unwrap_or_else(|| e.text.clone())
            }
            EventKind::LockOut => "locked out, too many trips".to_string(),
            _ => e.text.clone(),
        };
        out.push(StoryEvent {
            t_s: e.t_s,
            kind,
            subject: e.subject.clone(),
            text,
        });
    }
    out
}

/// What a protection watches for: `below 5 °C for 60 s`.
fn beyond(p: &Protection, units: UnitSystem) -> String {
    let dimension = if p.sense == Sense::StaticHigh {
        Dimension::Pressure
    } else {
        Dimension::Temperature
    };
    let side = match p.sense {
        Sense::SupplyHigh | Sense::StaticHigh => "above",
        _ => "below",
    };
    let trip = units.show(p.trip, dimension);
    format!("{side} {trip} for {:.0} s", p.qualify_s)
}

fn kind_of(kind: NoticeKind) -> Option<EventKind> {
    Some(match kind {
        NoticeKind::Start => EventKind::Start,
        NoticeKind::Stop => EventKind::Stop,
        NoticeKind::Trip => EventKind::Trip,
        NoticeKind::Reset => EventKind::Reset,
        NoticeKind::LockOut => EventKind::LockOut,
        NoticeKind::LockOutCleared => EventKind::LockOutCleared,
        NoticeKind::BandBegan => EventKind::BandOpens,
        NoticeKind::BandEnded => EventKind::BandCloses,
        NoticeKind::ModeChange => EventKind::Mode,
        _ => return None,
    })
}
