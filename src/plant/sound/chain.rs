//! From the sources, along the ducts, to the listener in each room.

use super::attenuation::{Element, path_loss_db};
use super::damper::{DamperSize, DamperSource};
use super::end_reflection::end_reflection_db;
use super::fan::{self, FanSpec};
use super::grille::{GrilleSource, GrilleSpec};
use super::octave::{Octaves, add, db_to_energy, dba, scaled, to_energy};
use super::room::furnished_room_db;
use super::{RoomSound, SoundState, Source, check};

/// A system as sound sees it.
#[derive(Debug, Clone, PartialEq)]
pub struct SoundSpec {
    /// The fan.
    pub fan: FanSpec,
    /// Rooms, in the order of [`SoundState::rooms`].
    pub rooms: Vec<RoomSpec>,
    /// Supply outlets, in the order of [`Operating::outlets`].
    pub outlets: Vec<OutletSpec>,
    /// Return grilles. Return flow divides among them by face area.
    pub returns: Vec<ReturnSpec>,
    /// Relief, if there is one.
    pub relief: Option<ReliefSpec>,
}

/// A room where people listen.
#[derive(Debug, Clone, PartialEq)]
pub struct RoomSpec {
    /// Volume, m³.
    pub volume_m3: f64,
    /// Sound pressure level with the system off, dB per octave. See [`background_db`].
    pub background_db: Octaves,
}

/// Background of `level_dba` in the shape of the NC-15 curve; 20 dB(A) where nothing is said (our
/// own choice).
pub fn background_db(level_dba: f64) -> Octaves {
    const SHAPE_DB: Octaves = [47.0, 36.0, 29.0, 22.0, 17.0, 14.0, 12.0, 11.0];
    let shift_db = level_dba - dba(&to_energy(&SHAPE_DB));
    SHAPE_DB.map(|l| l + shift_db)
}

/// Where on its branch a damper sits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DamperPosition {
    /// At the take-off: its sound goes through the whole branch.
    TakeOff,
    /// Right behind the grille: its sound meets the end reflection only.
    Outlet,
}

/// One supply outlet, from the supply plenum to the listener.
#[derive(Debug, Clone, PartialEq)]
pub struct OutletSpec {
    /// Index of the room it serves.
    pub room: usize,
    /// From the fan to the take-off: trunks and the division among branches.
    pub trunk: Vec<Element>,
    /// From the take-off to the grille: elbows, flexible duct.
    pub branch: Vec<Element>,
    /// Its damper, if it has one.
    pub damper: Option<(DamperSize, DamperPosition)>,
    /// Its grille, flush in a surface.
    pub grille: GrilleSpec,
    /// Distance to the listener, m; 1.5 where nothing is said.
    pub distance_m: f64,
}

/// One return grille, from the fan's inlet to the listener.
#[derive(Debug, Clone, PartialEq)]
pub struct ReturnSpec {
    /// Index of the room it stands in.
    pub room: usize,
    /// From the return plenum to the grille, with the division among returns if there are more.
    pub path: Vec<Element>,
    /// Its grille, flush in a surface.
    pub grille: GrilleSpec,
    /// Distance to the listener, m.
    pub distance_m: f64,
}

/// Where relief air goes.
#[derive(Debug, Clone, PartialEq)]
pub enum ReliefSpec {
    /// To the return plenum: its damper is heard through every return.
    ToReturn {
        /// The relief damper.
        damper: DamperSize,
        /// From the relief damper to the return plenum.
        path: Vec<Element>,
    },
    /// Into a room, as an outlet is. Its damper and grille count as relief.
    ToRoom(OutletSpec),
}

/// Why a [`SoundSpec`] cannot be.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum SoundError {
    /// A room that is not there.
    #[error("{part} is in room {room}, but there are {rooms} rooms, counted from 0")]
    Room {
        /// Which part.
        part: String,
        /// Index it gave.
        room: usize,
        /// How many rooms there are.
        rooms: usize,
    },
    /// A size, level or coefficient that cannot be.
    #[error("{part}: {name} cannot be {value}; give a positive, finite number")]
    Value {
        /// Which part.
        part: String,
        /// Which value.
        name: &'static str,
        /// What it was.
        value: f64,
    },
}

/// What the air network found, for one step. Flow against its usual direction sounds the same.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Operating<'a> {
    /// Flow through the fan, m³/s.
    pub fan_flow_m3_s: f64,
    /// Static pressure across the fan, Pa.
    pub fan_static_pa: f64,
    /// Static efficiency of the fan over its peak, if known.
    pub fan_efficiency_ratio: Option<f64>,
    /// One entry an outlet, in the order of [`SoundSpec::outlets`]; an outlet without one is silent.
    pub outlets: &'a [OutletOperating],
    /// Flow through the relief, m³/s.
    pub relief_flow_m3_s: f64,
    /// Pressure drop of the relief damper alone, Pa.
    pub relief_drop_pa: f64,
    /// Flow through all return grilles together, m³/s.
    pub return_flow_m3_s: f64,
}

/// One outlet of an [`Operating`].
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct OutletOperating {
    /// Flow, m³/s.
    pub flow_m3_s: f64,
    /// Pressure drop of the damper alone, Pa.
    pub damper_drop_pa: f64,
}

/// A checked [`SoundSpec`] with every gain worked out.
#[derive(Debug, Clone)]
pub struct SoundModel {
    rooms: Vec<RoomGains>,
    outlets: Vec<OutletSources>,
    returns: Vec<ReturnSources>,
    relief: Option<OutletSources>,
}

#[derive(Debug, Clone)]
struct RoomGains {
    /// Fan energy at unit strength, through all outlets of the room.
    fan: Octaves,
    background: Octaves,
    /// What is heard there besides the background, in the order of [`Source::ALL`].
    sources: Vec<Source>,
}

#[derive(Debug, Clone)]
struct OutletSources {
    room: usize,
    /// Whether it sets its room's energies afresh, or adds to those of an earlier outlet.
    first: bool,
    damper: Option<DamperSource>,
    grille: GrilleSource,
}

#[derive(Debug, Clone)]
struct ReturnSources {
    room: usize,
    first: bool,
    flow_share: f64,
    /// Fan energy at unit strength.
    fan: Octaves,
    grille: GrilleSource,
    relief: Option<DamperSource>,
}

/// Gains from power to energy at the listener: of sound born at the start of the path, at the
/// grille's back, and at its face.
struct Gains {
    path: Octaves,
    opening: Octaves,
    face: Octaves,
}

impl SoundModel {
    /// Works out every gain.
    ///
    /// # Errors
    /// If a room index, size, level or coefficient cannot be.
    pub fn new(spec: &SoundSpec) -> Result<Self, SoundError> {
        check::spec(spec)?;
        let fan_unit = spec.fan.unit_power();
        let silent = |room: &RoomSpec| RoomGains {
            fan: [0.0; 8],
            background: to_energy(&room.background_db),
            sources: Vec::new(),
        };
        let mut model = Self {
            rooms: spec.rooms.iter().map(silent).collect(),
            outlets: Vec::with_capacity(spec.outlets.len()),
            returns: Vec::with_capacity(spec.returns.len()),
            relief: None,
        };
        for outlet in &spec.outlets {
            let sources = model.outlet(outlet, &spec.rooms[outlet.room], &fan_unit);
            model.outlets.push(sources);
        }
        let faces_m2: f64 = spec.returns.iter().map(|r| r.grille.area_m2).sum();
        for inlet in &spec.returns {
            let room = &spec.rooms[inlet.room];
            let gains = gains(&inlet.path, &inlet.grille, inlet.distance_m, room);
            model.returns.push(ReturnSources {
                room: inlet.room,
                first: !model.returns.iter().any(|r| r.room == inlet.room),
                flow_share: inlet.grille.area_m2 / faces_m2,
                fan: times(&fan_unit, &gains.path),
                grille: GrilleSource::new(&inlet.grille).through(&gains.face),
                relief: match &spec.relief {
                    Some(ReliefSpec::ToReturn { damper, path }) => {
                        let gain = times(&gains.path, &kept(path));
                        Some(DamperSource::new(damper).through(&gain))
                    }
                    _ => None,
                },
            });
        }
        if let Some(ReliefSpec::ToRoom(outlet)) = &spec.relief {
            model.relief = Some(model.outlet(outlet, &spec.rooms[outlet.room], &fan_unit));
        }
        model.name_sources();
        Ok(model)
    }

    /// Notes which sources each room hears.
    fn name_sources(&mut self) {
        for (i, room) in self.rooms.iter_mut().enumerate() {
            let outlets = || self.outlets.iter().filter(|o| o.room == i);
            let returns = || self.returns.iter().filter(|r| r.room == i);
            let relief = self.relief.iter().any(|r| r.room == i);
            let heard = |source: &Source| match source {
                Source::Fan => outlets().next().is_some() || relief,
                Source::Damper => outlets().any(|o| o.damper.is_some()),
                Source::Grille => outlets().next().is_some(),
                Source::Relief => relief || returns().any(|r| r.relief.is_some()),
                Source::Return => returns().next().is_some(),
                Source::Background => false,
            };
            room.sources = Source::ALL.into_iter().filter(heard).collect();
        }
    }

    /// What is heard in a room besides its background, in the order of [`Source::ALL`].
    pub fn sources(&self, room: usize) -> &[Source] {
        self.rooms.get(room).map_or(&[], |room| &room.sources)
    }

    /// Sources of an outlet; the fan through it goes to its room's gain.
    fn outlet(&mut self, spec: &OutletSpec, room: &RoomSpec, fan_unit: &Octaves) -> OutletSources {
        let gains = gains(&spec.branch, &spec.grille, spec.distance_m, room);
        // The whole way at once: lined pieces of trunk and branch share one limit.
        let way: Vec<Element> = spec.trunk.iter().chain(&spec.branch).copied().collect();
        let fan = &mut self.rooms[spec.room].fan;
        *fan = add(fan, &times(fan_unit, &times(&kept(&way), &gains.opening)));
        OutletSources {
            room: spec.room,
            first: !self.outlets.iter().any(|o| o.room == spec.room),
            damper: spec.damper.as_ref().map(|(size, position)| {
                DamperSource::new(size).through(match position {
                    DamperPosition::TakeOff => &gains.path,
                    DamperPosition::Outlet => &gains.opening,
                })
            }),
            grille: GrilleSource::new(&spec.grille).through(&gains.face),
        }
    }

    /// The rooms with the system off.
    pub fn initial(&self) -> SoundState {
        let mut state = SoundState {
            rooms: vec![RoomSound::SILENT; self.rooms.len()],
        };
        for (room, gains) in state.rooms.iter_mut().zip(&self.rooms) {
            room.by_source[Source::Background as usize] = gains.background;
        }
        state
    }

    /// Sound in every room under `now`, written over `state`, which [`SoundModel::initial`] of
    /// this model made. Neither allocates nor takes a logarithm.
    pub fn step(&self, now: &Operating, state: &mut SoundState) {
        let rooms = &mut state.rooms[..];
        let strength = fan::strength(
            now.fan_flow_m3_s,
            now.fan_static_pa,
            now.fan_efficiency_ratio,
        );
        for (room, gains) in rooms.iter_mut().zip(&self.rooms) {
            room.by_source[Source::Fan as usize] = scaled(&gains.fan, strength);
        }
        for (i, outlet) in self.outlets.iter().enumerate() {
            let Some(room) = rooms.get_mut(outlet.room) else {
                continue;
            };
            let at = now.outlets.get(i).copied().unwrap_or_default();
            let (damper, grille) = outlet.energies(at.flow_m3_s, at.damper_drop_pa);
            room.put(Source::Damper, outlet.first, damper);
            room.put(Source::Grille, outlet.first, grille);
        }
        for inlet in &self.returns {
            let Some(room) = rooms.get_mut(inlet.room) else {
                continue;
            };
            let grille = inlet.grille.energy(now.return_flow_m3_s * inlet.flow_share);
            let fan = scaled(&inlet.fan, strength);
            room.put(Source::Return, inlet.first, add(&fan, &grille));
            if let Some(damper) = &inlet.relief {
                let energy = damper.energy(now.relief_flow_m3_s, now.relief_drop_pa);
                room.put(Source::Relief, inlet.first, energy);
            }
        }
        if let Some(outlet) = &self.relief
            && let Some(room) = rooms.get_mut(outlet.room)
        {
            let (damper, grille) = outlet.energies(now.relief_flow_m3_s, now.relief_drop_pa);
            room.put(Source::Relief, true, add(&damper, &grille));
        }
    }
}

impl OutletSources {
    /// Energies of damper and grille.
    #[inline]
    fn energies(&self, flow_m3_s: f64, drop_pa: f64) -> (Octaves, Octaves) {
        let damper = self
            .damper
            .as_ref()
            .map_or([0.0; 8], |d| d.energy(flow_m3_s, drop_pa));
        (damper, self.grille.energy(flow_m3_s))
    }
}

impl RoomSound {
    /// Sets a source's energies, or adds to them.
    #[inline]
    fn put(&mut self, source: Source, set: bool, energy: Octaves) {
        let held = &mut self.by_source[source as usize];
        *held = if set { energy } else { add(held, &energy) };
    }
}

fn gains(path: &[Element], grille: &GrilleSpec, distance_m: f64, room: &RoomSpec) -> Gains {
    let face = to_energy(&furnished_room_db(distance_m, room.volume_m3));
    let reflected_db = end_reflection_db(grille.area_m2);
    let opening = times(&face, &reflected_db.map(|l| db_to_energy(-l)));
    Gains {
        path: times(&opening, &kept(path)),
        opening,
        face,
    }
}

/// Part of the energy that a path lets through.
fn kept(path: &[Element]) -> Octaves {
    path_loss_db(path).map(|l| db_to_energy(-l))
}

fn times(a: &Octaves, b: &Octaves) -> Octaves {
    std::array::from_fn(|i| a[i] * b[i])
}
