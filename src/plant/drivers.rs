//! What drives the rooms from outside and from within, minute by minute.
//!
//! Weather, sun and sol-air temperatures are worked out at whole minutes and are linear between
//! them; people, machines and doors change only on minute edges. The step loop reads the values at
//! the middle of each step, which keeps the trapezoid rule second order.

use chrono::{Datelike, NaiveDateTime, TimeDelta, Timelike};

use crate::math::lanes::{Lanes, Seat, blocks};
use crate::plant::air::MoistAir;
use crate::plant::room::{H_OUTER, Hours, Room};
use crate::plant::sun::{Irradiance, Surface, beam_incidence_modifier, irradiance_on};
use crate::plant::sun_track::SunTrack;
use crate::plant::weather::{Site, Weather};

/// Part of the diffuse sun that glazing lets through beside its normal value: Fw of ISO 13790, from
/// memory.
pub(crate) const DIFFUSE_MODIFIER: f64 = 0.9;

/// What is around the rooms beside the weather.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Surroundings {
    /// Temperature of the ground under rooms that touch it, °C.
    pub ground_c: f64,
    /// Reflectance of the ground before windows and walls.
    pub ground_reflectance: f64,
    /// Solar absorptance of the roof covering, for the air of the roof space.
    pub roof_absorptance: f64,
    /// Part of the roof's sol-air rise that the air of the roof space keeps.
    pub roof_space_fraction: f64,
}

impl Surroundings {
    /// Air of the roof space, °C, under a global horizontal irradiance.
    fn roof_space_c(&self, outdoor_c: f64, ghi_w_m2: f64) -> f64 {
        outdoor_c + self.roof_space_fraction * self.roof_absorptance * ghi_w_m2 / H_OUTER
    }
}

/// What acts on a block of rooms at an instant.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct DriveLanes {
    /// Sun let in by the windows, W.
    pub sun_w: Lanes,
    /// Sum over opaque surfaces of UA times sol-air temperature, W (temperature in °C).
    pub opaque_w: Lanes,
    /// People and machines, sensible, W.
    pub gain_w: Lanes,
    /// Moisture released, kg/s.
    pub moisture_kg_s: Lanes,
    /// People present.
    pub people: Lanes,
}

/// What acts on the whole plant at an instant.
#[derive(Clone, Debug, PartialEq)]
pub struct Drive {
    /// Outdoor air.
    pub outdoor: MoistAir,
    /// Temperature of the roof space that ducts may run through, °C.
    pub roof_space_c: f64,
    /// The rooms in scenario order, by blocks; zero past the last room.
    pub rooms: Vec<DriveLanes>,
    /// Whether each doorway stands open.
    pub open: Vec<bool>,
}

#[derive(Clone, Debug)]
struct Minute {
    outdoor: MoistAir,
    roof_space_c: f64,
    rooms: Vec<Sunlit>,
}

/// What the sun does to a block of rooms at a whole minute.
#[derive(Clone, Copy, Debug, Default)]
struct Sunlit {
    sun_w: Lanes,
    opaque_w: Lanes,
}

/// Orientations that occur, each looked at once a minute however many rooms share it.
#[derive(Clone, Debug)]
struct Facades {
    surfaces: Vec<Surface>,
    now: Vec<Irradiance>,
    /// Surface of each window and opaque part, room by room in their order.
    of_windows: Vec<usize>,
    of_opaque: Vec<usize>,
}

impl Facades {
    fn new(rooms: &[Room]) -> Facades {
        let mut surfaces: Vec<Surface> = Vec::new();
        let mut find = |s: Surface| {
            surfaces.iter().position(|o| *o == s).unwrap_or_else(|| {
                surfaces.push(s);
                surfaces.len() - 1
            })
        };
        let windows = rooms.iter().flat_map(|r| &r.windows);
        let of_windows = windows.map(|w| find(w.surface)).collect();
        let opaque = rooms.iter().flat_map(|r| &r.opaque);
        let of_opaque = opaque.map(|o| find(o.surface)).collect();
        Facades {
            now: vec![Irradiance::default(); surfaces.len()],
            surfaces,
            of_windows,
            of_opaque,
        }
    }
}

/// Steps through the minutes of a run.
#[derive(Clone, Debug)]
pub struct Drivers<'a> {
    site: &'a Site,
    weather: &'a Weather,
    around: Surroundings,
    rooms: &'a [Room],
    door_hours: Vec<&'a [Hours]>,
    start: NaiveDateTime,
    sun: SunTrack,
    facades: Facades,
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
        around: Surroundings,
        rooms: &'a [Room],
        door_hours: Vec<&'a [Hours]>,
        start: NaiveDateTime,
    ) -> Self {
        let blank = Minute {
            outdoor: MoistAir { t_c: 0.0, w: 0.0 },
            roof_space_c: 0.0,
            rooms: vec![Sunlit::default(); blocks(rooms.len())],
        };
        Drivers {
            site,
            weather,
            around,
            rooms,
            start,
            sun: SunTrack::new(*site),
            facades: Facades::new(rooms),
            minute: i64::MIN,
            from: blank.clone(),
            to: blank,
            now: Drive {
                outdoor: MoistAir { t_c: 0.0, w: 0.0 },
                roof_space_c: 0.0,
                rooms: vec![DriveLanes::default(); blocks(rooms.len())],
                open: vec![false; door_hours.len()],
            },
            door_hours,
        }
    }

    /// The drive `t_s` seconds after the start (negative during a warm-up).
    pub fn at(&mut self, t_s: f64) -> &Drive {
        // The whole part, downwards also before the start.
        let whole = (t_s / 60.0) as i64;
        let minute = whole - i64::from(whole as f64 > t_s / 60.0);
        if minute != self.minute {
            if minute == self.minute.wrapping_add(1) {
                std::mem::swap(&mut self.from, &mut self.to);
            } else {
                self.fill(minute, false);
            }
            self.fill(minute + 1, true);
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
        let f = Lanes::splat(f);
        let ends = self.from.rooms.iter().zip(&self.to.rooms);
        for (room, (from, to)) in now.rooms.iter_mut().zip(ends) {
            room.sun_w = from.sun_w + f * (to.sun_w - from.sun_w);
            room.opaque_w = from.opaque_w + f * (to.opaque_w - from.opaque_w);
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

    /// Weather and sun at a whole minute: at the end of the present one, or at its beginning.
    fn fill(&mut self, minute: i64, end: bool) {
        let local = self.local(minute);
        let sun = self.sun.at(local);
        let sample = self.weather.sample(self.site, local, &sun);
        let reflectance = self.around.ground_reflectance;
        let facades = &mut self.facades;
        for (now, surface) in facades.now.iter_mut().zip(&facades.surfaces) {
            *now = irradiance_on(surface, &sun, sample.dni_w_m2, sample.dhi_w_m2, reflectance);
        }
        let at = if end { &mut self.to } else { &mut self.from };
        at.outdoor = sample.air();
        at.roof_space_c = self
            .around
            .roof_space_c(sample.air_c, sample.ghi_w_m2(&sun));
        let mut of_windows = facades.of_windows.iter();
        let mut of_opaque = facades.of_opaque.iter();
        for (i, room) in self.rooms.iter().enumerate() {
            let seat = Seat::of(i);
            let lit = &mut at.rooms[seat.block];
            let windows = room.windows.iter().zip(&mut of_windows);
            *seat.of_mut(&mut lit.sun_w) = windows
                .map(|(w, &s)| w.aperture_m2 * through_glass_w_m2(&facades.now[s]))
                .sum();
            // Σ UA·(To + α·E/ho − sky): sol-air temperature of ASHRAE's Handbook of Fundamentals.
            let opaque = room.opaque.iter().zip(&mut of_opaque);
            *seat.of_mut(&mut lit.opaque_w) = opaque
                .map(|(o, &s)| {
                    let rise_k = o.absorptance * facades.now[s].total() / H_OUTER - o.sky_k;
                    o.ua_w_k * (sample.air_c + rise_k)
                })
                .sum();
        }
    }

    fn change_hours(&mut self) {
        let minute = minute_of_week(self.local(self.minute));
        for (i, room) in self.rooms.iter().enumerate() {
            let (mut gain_w, mut moisture_kg_s, mut people) = (0.0, 0.0, 0.0);
            for g in room.gains.iter().filter(|g| g.hours.contains(minute)) {
                gain_w += g.sensible_w;
                moisture_kg_s += g.moisture_kg_s;
                people += g.people;
            }
            let seat = Seat::of(i);
            let drive = &mut self.now.rooms[seat.block];
            *seat.of_mut(&mut drive.gain_w) = gain_w;
            *seat.of_mut(&mut drive.moisture_kg_s) = moisture_kg_s;
            *seat.of_mut(&mut drive.people) = people;
        }
        for (open, hours) in self.now.open.iter_mut().zip(&self.door_hours) {
            *open = hours.iter().any(|h| h.contains(minute));
        }
    }
}

/// Minute of the week of a local time, 0 = Monday 00:00.
pub(crate) fn minute_of_week(local: NaiveDateTime) -> u32 {
    local.weekday().num_days_from_monday() * 1440 + local.hour() * 60 + local.minute()
}

/// Sun let through per m² of glass aperture, W/m²: beam with its incidence modifier plus 0.9 of
/// sky and ground diffuse (ISO 13790 form).
fn through_glass_w_m2(i: &Irradiance) -> f64 {
    i.beam * beam_incidence_modifier(i.cos_incidence) + DIFFUSE_MODIFIER * (i.sky + i.ground)
}
