//! What drives the rooms from outside and from within, minute by minute.
//!
//! Weather, sun and sol-air temperatures are worked out at whole minutes and are linear between
//! them; people, machines and doors change only on minute edges. The step loop reads the values at
//! the middle of each step, which keeps the trapezoid rule second order.

use chrono::{Datelike, NaiveDateTime, TimeDelta, Timelike};

use crate::plant::air::MoistAir;
use crate::plant::room::{H_OUTER, Hours, Room};
use crate::plant::sun::{Sun, beam_incidence_modifier, irradiance_on};
use crate::plant::weather::{Sample, Site, Weather};

/// Ground reflectance seen by windows and walls; ASHRAE's usual 0.2.
pub const ALBEDO: f64 = 0.2;

/// Part of the diffuse sun that glazing lets through beside its normal value: Fw of ISO 13790, from
/// memory.
const DIFFUSE_MODIFIER: f64 = 0.9;

/// Solar absorptance of a roof covering, for the air of a roof space; common practice, no source.
const ROOF_ABSORPTANCE: f64 = 0.7;

/// Part of the roof's sol-air rise that a ventilated roof space keeps: reaches 50 to 60 °C on a hot
/// clear day, as commonly seen; common practice, no source.
const ROOF_SPACE_SHARE: f64 = 0.6;

/// What acts on one room at an instant.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct RoomDrive {
    /// Sun let in by the windows, W.
    pub sun_w: f64,
    /// Sum over opaque surfaces of UA times sol-air temperature, W (temperature in °C).
    pub opaque_w: f64,
    /// People and machines, sensible, W.
    pub gain_w: f64,
    /// Moisture released, kg/s.
    pub moisture_kg_s: f64,
    /// People present.
    pub people: f64,
}

/// What acts on the whole plant at an instant.
#[derive(Clone, Debug, PartialEq)]
pub struct Drive {
    /// Outdoor air.
    pub outdoor: MoistAir,
    /// Temperature of the roof space that ducts may run through, °C.
    pub roof_space_c: f64,
    /// Each room, in scenario order.
    pub rooms: Vec<RoomDrive>,
    /// Whether each doorway stands open.
    pub open: Vec<bool>,
}

#[derive(Clone, Debug)]
struct Minute {
    outdoor: MoistAir,
    roof_space_c: f64,
    sun_w: Vec<f64>,
    opaque_w: Vec<f64>,
}

/// Steps through the minutes of a run.
#[derive(Clone, Debug)]
pub struct Drivers<'a> {
    site: &'a Site,
    weather: &'a Weather,
    rooms: &'a [Room],
    door_hours: Vec<&'a [Hours]>,
    start: NaiveDateTime,
    minute: i64,
    from: Minute,
    to: Minute,
    /// The drive that the last call of [`Drivers::at`] filled.
    now: Drive,
}

impl<'a> Drivers<'a> {
    /// Prepares the drivers for a run whose second 0 is `start`, local time.
    pub fn new(
        site: &'a Site,
        weather: &'a Weather,
        rooms: &'a [Room],
        door_hours: Vec<&'a [Hours]>,
        start: NaiveDateTime,
    ) -> Self {
        let blank = Minute {
            outdoor: MoistAir { t_c: 0.0, w: 0.0 },
            roof_space_c: 0.0,
            sun_w: vec![0.0; rooms.len()],
            opaque_w: vec![0.0; rooms.len()],
        };
        Drivers {
            site,
            weather,
            rooms,
            start,
            minute: i64::MIN,
            from: blank.clone(),
            to: blank,
            now: Drive {
                outdoor: MoistAir { t_c: 0.0, w: 0.0 },
                roof_space_c: 0.0,
                rooms: vec![RoomDrive::default(); rooms.len()],
                open: vec![false; door_hours.len()],
            },
            door_hours,
        }
    }

    /// The drive `t_s` seconds after the start (negative during a warm-up).
    pub fn at(&mut self, t_s: f64) -> &Drive {
        let minute = (t_s / 60.0).floor() as i64;
        if minute != self.minute {
            if minute == self.minute.wrapping_add(1) {
                std::mem::swap(&mut self.from, &mut self.to);
            } else {
                fill(
                    self.site,
                    self.weather,
                    self.rooms,
                    self.local(minute),
                    &mut self.from,
                );
            }
            fill(
                self.site,
                self.weather,
                self.rooms,
                self.local(minute + 1),
                &mut self.to,
            );
            self.minute = minute;
            self.change_hours();
        }
        let f = t_s / 60.0 - minute as f64;
        let mix = |a: f64, b: f64| a + f * (b - a);
        let now = &mut self.now;
        now.outdoor = MoistAir {
            t_c: mix(self.from.outdoor.t_c, self.to.outdoor.t_c),
            w: mix(self.from.outdoor.w, self.to.outdoor.w),
        };
        now.roof_space_c = mix(self.from.roof_space_c, self.to.roof_space_c);
        for (i, room) in now.rooms.iter_mut().enumerate() {
            room.sun_w = mix(self.from.sun_w[i], self.to.sun_w[i]);
            room.opaque_w = mix(self.from.opaque_w[i], self.to.opaque_w[i]);
        }
        now
    }

    /// The drive that the last call of [`Drivers::at`] gave.
    pub fn drive(&self) -> &Drive {
        &self.now
    }

    fn local(&self, minute: i64) -> NaiveDateTime {
        self.start + TimeDelta::minutes(minute)
    }

    fn change_hours(&mut self) {
        let minute = minute_of_week(self.local(self.minute));
        for (drive, room) in self.now.rooms.iter_mut().zip(self.rooms) {
            drive.gain_w = 0.0;
            drive.moisture_kg_s = 0.0;
            drive.people = 0.0;
            for g in room.gains.iter().filter(|g| g.hours.contains(minute)) {
                drive.gain_w += g.sensible_w;
                drive.moisture_kg_s += g.moisture_kg_s;
                drive.people += g.people;
            }
        }
        for (open, hours) in self.now.open.iter_mut().zip(&self.door_hours) {
            *open = hours.iter().any(|h| h.contains(minute));
        }
    }
}

/// Minute of the week of a local time, 0 = Monday 00:00.
pub fn minute_of_week(local: NaiveDateTime) -> u32 {
    local.weekday().num_days_from_monday() * 1440 + local.hour() * 60 + local.minute()
}

fn fill(site: &Site, weather: &Weather, rooms: &[Room], local: NaiveDateTime, minute: &mut Minute) {
    let sun = site.sun(local);
    let sample = weather.sample(site, local, &sun);
    minute.outdoor = sample.air();
    let roof_rise_k = ROOF_ABSORPTANCE * sample.ghi_w_m2(&sun) / H_OUTER;
    minute.roof_space_c = sample.air_c + ROOF_SPACE_SHARE * roof_rise_k;
    for (i, room) in rooms.iter().enumerate() {
        minute.sun_w[i] = sun_through_windows_w(room, &sun, &sample);
        minute.opaque_w[i] = opaque_source_w(room, &sun, &sample);
    }
}

/// Sun that a room's windows let in, W: glass aperture times beam with its incidence modifier plus
/// 0.9 of sky and ground diffuse (ISO 13790 form).
fn sun_through_windows_w(room: &Room, sun: &Sun, sample: &Sample) -> f64 {
    room.windows
        .iter()
        .map(|w| {
            let i = irradiance_on(&w.surface, sun, sample.dni_w_m2, sample.dhi_w_m2, ALBEDO);
            let beam = i.beam * beam_incidence_modifier(i.cos_incidence);
            w.aperture_m2 * (beam + DIFFUSE_MODIFIER * (i.sky + i.ground))
        })
        .sum()
}

/// Σ UA·(To + α·E/ho − sky), W: sol-air temperature of ASHRAE's Handbook of Fundamentals.
fn opaque_source_w(room: &Room, sun: &Sun, sample: &Sample) -> f64 {
    room.opaque
        .iter()
        .map(|s| {
            let i = irradiance_on(&s.surface, sun, sample.dni_w_m2, sample.dhi_w_m2, ALBEDO);
            let rise = s.absorptance * (i.beam + i.sky + i.ground) / H_OUTER - s.sky_k;
            s.ua_w_k * (sample.air_c + rise)
        })
        .sum()
}
