//! The settled state of air network, relief, coil, fan and sound while rooms are held: what a plant comes to
//! when nothing moves any more and no protection acts.
//!
//! It uses the same parts as a run (air side, transport, coil) and the same balances at the plenum,
//! so a run that is held long enough at the same rooms and dampers ends in the same state.

use crate::control::Mode;
use crate::engine::RunError;
use crate::engine::sound::{SoundScratch, SoundStage};
use crate::plant::air::{MoistAir, SaturationTable};
use crate::plant::air_side::{AirCommand, AirScratch, AirSide, AirState, ReliefTo};
use crate::plant::relief::Relief;
use crate::plant::room::CP_MOIST;
use crate::plant::sound::Source;
use crate::plant::sound::heard::Heard;
use crate::plant::transport::Transport;
use crate::plant::unit::{Mode as UnitMode, Unit, UnitError, UnitInlet, UnitState};
use crate::scenario::Scenario;

/// A step so long that every lag has run out, s.
const LONG_S: f64 = 1e6;
/// Steps in which a weighted blade must come to rest.
const MOST_STEPS: usize = 50;
/// Passes in which the loop of relief air and coil must settle.
const MOST_PASSES: usize = 20_000;
/// The loop has settled when supply air moves less than this in a pass, K (humidity counted by its
/// latent heat). The coil's own root is good to 1e-8 K.
const SETTLED_K: f64 = 5e-8;
/// A motorised relief's opening is found to this.
const OPENING_TOLERANCE: f64 = 1e-9;

/// What is held while everything else settles.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Held {
    /// Outdoor air at the unit, °C.
    pub outdoor_c: f64,
    /// Air of each room.
    pub rooms: Vec<MoistAir>,
    /// Which doors are open.
    pub open_doors: Vec<bool>,
    /// Relief air that is dumped into a room with a return grille reaches the return unmixed with the
    /// room's own: right for a hall that nothing else keeps at its temperature.
    pub dump_reaches_return: bool,
}

/// From which side a weighted blade comes to rest. Friction leaves it a range of openings; these are
/// its ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Approach {
    /// From shut: the least that it opens.
    FromShut,
    /// From as far open as this fan opens it with every damper shut: the most.
    FromOpen,
}

impl Approach {
    /// Name for files and notes.
    pub fn name(self) -> &'static str {
        match self {
            Approach::FromShut => "shut",
            Approach::FromOpen => "open",
        }
    }
}

/// How the plant is driven.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Setting<'a> {
    /// Opening of each outlet's damper, 0..1.
    pub openings: &'a [f64],
    /// What the unit does.
    pub mode: Mode,
    /// Speed of the unit relative to rated.
    pub speed: f64,
    /// Fan command, 0..1.
    pub fan: f64,
    /// From which side a weighted relief blade comes to rest.
    pub approach: Approach,
}

/// A settled state.
#[derive(Clone, Debug, PartialEq)]
pub struct Point {
    /// Speed of the unit relative to rated.
    pub speed: f64,
    /// Fan flow, m³/s at the reference density.
    pub fan_m3_s: f64,
    /// Fan speed relative to reference.
    pub fan_speed: f64,
    /// Power of the fan, W.
    pub fan_w: f64,
    /// Whether the fan runs left of its peak.
    pub stalled: bool,
    /// Supply plenum against outdoors, Pa.
    pub supply_pa: f64,
    /// Return plenum against outdoors, Pa.
    pub return_pa: f64,
    /// Flow into the rooms by the outlets, m³/s.
    pub rooms_m3_s: f64,
    /// Flow of each outlet, m³/s.
    pub outlets_m3_s: Vec<f64>,
    /// Relief flow, m³/s.
    pub relief_m3_s: f64,
    /// Relief opening, 0..1.
    pub relief_opening: f64,
    /// Air entering the coil.
    pub entering: MoistAir,
    /// Air in the supply plenum.
    pub supply: MoistAir,
    /// Coil surface, °C.
    pub surface_c: f64,
    /// Heat that the coil moves, W, unsigned.
    pub total_w: f64,
    /// Power of compressor and electronics, W.
    pub power_w: f64,
    /// An input of the unit was held at the edge of its data.
    pub beyond_map: bool,
    /// Sound in each room.
    pub sound: Vec<RoomLevel>,
}

/// Sound in a room.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RoomLevel {
    /// Level, dB(A).
    pub dba: f64,
    /// The source with the largest part of it.
    pub dominant: Source,
}

impl Point {
    /// Relief flow as a share of the coil's.
    pub fn bypass_fraction(&self) -> f64 {
        if self.fan_m3_s > 0.0 {
            self.relief_m3_s / self.fan_m3_s
        } else {
            0.0
        }
    }

    /// External static, from return plenum to supply plenum, Pa: the fan's total less coil and filter.
    pub fn external_pa(&self) -> f64 {
        self.supply_pa - self.return_pa
    }

    /// Air over the coil per heat that it moves, m³/s per W.
    pub fn coil_air_per_w(&self) -> f64 {
        self.fan_m3_s / self.total_w
    }

    /// Air that reaches rooms per heat that the coil moves, m³/s per W.
    pub fn room_air_per_w(&self) -> f64 {
        self.rooms_m3_s / self.total_w
    }
}

/// One system at steady state: cheap to clone, one for each worker.
#[derive(Clone, Debug)]
pub(crate) struct SteadyPlant {
    air_side: AirSide,
    air_scratch: AirScratch,
    sound_scratch: SoundScratch,
    transport: Transport,
    unit: Unit,
    saturation: SaturationTable,
    density_kg_m3: f64,
    /// Static that a motorised relief settles at from above, Pa: setpoint and dead band.
    relief_target_pa: Option<f64>,
    /// Whether friction leaves a weighted blade a range of openings.
    sticks: bool,
    all_shut: Vec<f64>,
    sound: SoundStage,
    dumped_to: Option<usize>,
    returns: Vec<usize>,
}

impl SteadyPlant {
    /// A scenario's plant. The filter stays as loaded as the file has it at the start.
    ///
    /// # Errors
    /// An air network that cannot be joined.
    pub(crate) fn new(s: &Scenario) -> Result<SteadyPlant, RunError> {
        let mut spec = s.air.clone();
        spec.filter_growth_1_h = 0.0;
        let motorised = matches!(
            spec.relief,
            Some(r) if matches!(r.relief, Relief::Motorised(_))
        );
        let law = s.control.controller.spec().relief;
        let air_side = AirSide::new(spec.clone(), &s.rooms, &s.doors)?;
        Ok(SteadyPlant {
            transport: Transport::new(&spec),
            density_kg_m3: spec.air.density_kg_m3,
            relief_target_pa: law
                .filter(|_| motorised)
                .map(|pi| pi.setpoint_pa + pi.dead_band_pa.abs()),
            sticks: matches!(
                spec.relief.map(|r| r.relief),
                Some(Relief::WeightedBlade(blade)) if blade.law(0.0, LONG_S).friction_pa > 0.0
            ),
            all_shut: vec![0.0; spec.outlets.len()],
            dumped_to: spec.relief.and_then(|r| match r.to {
                ReliefTo::Room(room) => Some(room),
                ReliefTo::Return => None,
            }),
            returns: spec.returns.iter().map(|r| r.room).collect(),
            air_scratch: air_side.scratch(),
            sound_scratch: SoundStage::scratch(s.outlets.len()),
            air_side,
            unit: s.unit.unit.clone(),
            saturation: SaturationTable::new(s.site.pressure_pa),
            sound: SoundStage::new(s),
        })
    }

    /// Whether it matters from which side the relief comes to rest.
    pub(crate) fn sticks(&self) -> bool {
        self.sticks
    }

    /// Flows and pressures once the relief has come to rest.
    ///
    /// # Errors
    /// A balance that cannot be solved.
    pub(crate) fn air(
        &mut self,
        held: &Held,
        openings: &[f64],
        fan: f64,
        approach: Approach,
    ) -> Result<AirState, RunError> {
        if let Some(target_pa) = self.relief_target_pa {
            return self.air_motorised(held, openings, fan, target_pa);
        }
        let mut state = self.air_side.initial();
        if self.sticks && approach == Approach::FromOpen {
            let shut = std::mem::take(&mut self.all_shut);
            let opened = self.rest_at(held, &shut, fan, 0.0, &mut state);
            self.all_shut = shut;
            opened?;
        }
        self.rest_at(held, openings, fan, 0.0, &mut state)?;
        Ok(state)
    }

    fn air_at(
        &mut self,
        held: &Held,
        openings: &[f64],
        fan: f64,
        relief: f64,
    ) -> Result<AirState, RunError> {
        let mut state = self.air_side.initial();
        self.rest_at(held, openings, fan, relief, &mut state)?;
        Ok(state)
    }

    fn rest_at(
        &mut self,
        held: &Held,
        openings: &[f64],
        fan: f64,
        relief: f64,
        state: &mut AirState,
    ) -> Result<(), RunError> {
        let command = AirCommand {
            fan,
            openings,
            relief,
            open_doors: &held.open_doors,
        };
        for _ in 0..MOST_STEPS {
            if !self
                .air_side
                .step(&command, LONG_S, state, &mut self.air_scratch)?
            {
                break;
            }
        }
        Ok(())
    }

    /// Static falls as the relief opens, so the opening is bracketed from the start.
    fn air_motorised(
        &mut self,
        held: &Held,
        openings: &[f64],
        fan: f64,
        target_pa: f64,
    ) -> Result<AirState, RunError> {
        let mut state = self.air_at(held, openings, fan, 0.0)?;
        let mut low = (0.0, state.supply_pa - target_pa);
        if low.1 <= 0.0 {
            return Ok(state);
        }
        self.rest_at(held, openings, fan, 1.0, &mut state)?;
        let mut high = (1.0, state.supply_pa - target_pa);
        if high.1 >= 0.0 {
            return Ok(state);
        }
        // False position with the stale end's weight halved (Illinois).
        let mut side = 0;
        for _ in 0..100 {
            let mid = (low.0 * high.1 - high.0 * low.1) / (high.1 - low.1);
            self.rest_at(held, openings, fan, mid, &mut state)?;
            let over = state.supply_pa - target_pa;
            if over.abs() < 1e-9 * target_pa || high.0 - low.0 < OPENING_TOLERANCE {
                break;
            }
            if over > 0.0 {
                low = (mid, over);
                if side == 1 {
                    high.1 *= 0.5;
                }
                side = 1;
            } else {
                high = (mid, over);
                if side == -1 {
                    low.1 *= 0.5;
                }
                side = -1;
            }
        }
        Ok(state)
    }

    /// The settled state of the whole plant.
    ///
    /// # Errors
    /// A balance that cannot be solved, a unit without data for the mode.
    pub(crate) fn settle(&mut self, held: &Held, setting: &Setting<'_>) -> Result<Point, RunError> {
        let air = self.air(held, setting.openings, setting.fan, setting.approach)?;
        self.condition(held, &air, setting.mode, setting.speed)
    }

    /// The coil and the air that goes round to it, at flows already settled.
    ///
    /// Each pass brings the gap to the settled state down by about the relief share, which is below 1.
    ///
    /// # Errors
    /// A unit without data for the mode, or a loop that does not settle.
    pub(crate) fn condition(
        &mut self,
        held: &Held,
        air: &AirState,
        mode: Mode,
        speed: f64,
    ) -> Result<Point, RunError> {
        self.transport.refresh(air);
        let unit_mode = match mode {
            Mode::Cooling => UnitMode::Cooling,
            Mode::Heating => UnitMode::Heating,
        };
        let air_kg_s = self.density_kg_m3 * air.fan_m3_s;
        let fan_k = if air_kg_s > 0.0 {
            air.fan_w / (air_kg_s * CP_MOIST)
        } else {
            0.0
        };
        let mut memory = UnitState::default();
        let mut plenum = self
            .transport
            .entering(|room| held.rooms[room], held.rooms[self.returns[0]]);
        for _ in 0..MOST_PASSES {
            let dumped = self.dumped(held, air, plenum);
            let room_air = |room: usize| match dumped {
                Some((at, mixed)) if at == room => mixed,
                _ => held.rooms[room],
            };
            let inlet = UnitInlet {
                air: self.transport.entering(room_air, plenum),
                air_kg_s,
                outdoor_c: held.outdoor_c,
            };
            let coil = self
                .unit
                .steady(&self.saturation, unit_mode, speed, &inlet, &mut memory)?;
            let next = MoistAir::new(coil.leaving.t_c + fan_k, coil.leaving.w);
            let moved = (next.t_c - plenum.t_c).abs() + 2500.0 * (next.w - plenum.w).abs();
            plenum = next;
            if moved < SETTLED_K {
                return Ok(Point {
                    speed,
                    fan_m3_s: air.fan_m3_s,
                    fan_speed: air.fan_speed,
                    fan_w: air.fan_w,
                    stalled: air.stalled,
                    supply_pa: air.supply_pa,
                    return_pa: air.return_pa,
                    rooms_m3_s: air.outlets_m3_s.iter().map(|q| q.max(0.0)).sum(),
                    outlets_m3_s: air.outlets_m3_s.clone(),
                    relief_m3_s: air.relief_m3_s,
                    relief_opening: air.relief_opening,
                    entering: inlet.air,
                    supply: plenum,
                    surface_c: coil.surface_c,
                    total_w: coil.total_w.abs(),
                    power_w: coil.compressor_w,
                    beyond_map: coil.beyond_map,
                    sound: self.hear(air),
                });
            }
        }
        Err(UnitError::NotConverged {
            what: "the unit with this relief share",
        }
        .into())
    }

    /// Sound in every room at flows already settled.
    fn hear(&mut self, air: &AirState) -> Vec<RoomLevel> {
        let mut sound = self.sound.initial();
        self.sound.step(
            &self.air_side,
            air,
            &mut self.air_scratch,
            &mut self.sound_scratch,
            &mut sound,
        );
        let level = |heard: &Heard| RoomLevel {
            dba: heard.dba(),
            dominant: heard.ruling().0,
        };
        sound.heard.iter().map(level).collect()
    }

    /// The room that relief is dumped into, with the air that its return grille then draws.
    fn dumped(&self, held: &Held, air: &AirState, plenum: MoistAir) -> Option<(usize, MoistAir)> {
        let room = self.dumped_to.filter(|_| held.dump_reaches_return)?;
        let drawn: f64 = self
            .returns
            .iter()
            .zip(&air.returns_m3_s)
            .filter(|(r, _)| **r == room)
            .map(|(_, q)| q.max(0.0))
            .sum();
        if drawn <= 0.0 {
            return None;
        }
        let dumped = air.relief_m3_s.clamp(0.0, drawn);
        Some((
            room,
            MoistAir::mix(drawn - dumped, held.rooms[room], dumped, plenum),
        ))
    }

    /// Air that leaves the return rooms, °C, as the controller reads it.
    pub(crate) fn return_c(&self, held: &Held, air: &AirState) -> f64 {
        let (mut flow, mut heat) = (0.0, 0.0);
        for (&room, q) in self.returns.iter().zip(&air.returns_m3_s) {
            flow += q.max(0.0);
            heat += q.max(0.0) * held.rooms[room].t_c;
        }
        if flow > 0.0 {
            heat / flow
        } else {
            held.rooms[self.returns[0]].t_c
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What enters the coil is room air and relief air mixed by their flows, and the unit by itself makes
    /// of it the supply air that was found.
    #[test]
    fn the_steady_plant_closes_its_relief_loop() {
        let s = Scenario::embedded("small-zone-relief").unwrap();
        let mut plant = SteadyPlant::new(&s).unwrap();
        let room = MoistAir::from_relative_humidity(24.0, 0.5, s.site.pressure_pa);
        let held = Held {
            outdoor_c: 37.0,
            rooms: vec![room; s.rooms.len()],
            open_doors: vec![false; s.doors.len()],
            dump_reaches_return: false,
        };
        let mut openings = vec![0.0; s.outlets.len()];
        openings[5] = 1.0;
        let setting = Setting {
            openings: &openings,
            mode: Mode::Cooling,
            speed: 1.0,
            fan: 1.0,
            approach: Approach::FromShut,
        };
        let point = plant.settle(&held, &setting).unwrap();
        assert!(point.bypass_fraction() > 0.3, "{point:?}");
        let x = point.bypass_fraction();
        let mixed = MoistAir::mix(1.0 - x, room, x, point.supply);
        assert!((mixed.t_c - point.entering.t_c).abs() < 1e-4, "{point:?}");
        assert!((mixed.w - point.entering.w).abs() < 1e-8, "{point:?}");
        let air_kg_s = s.air.air.density_kg_m3 * point.fan_m3_s;
        let inlet = UnitInlet {
            air: mixed,
            air_kg_s,
            outdoor_c: 37.0,
        };
        let saturation = SaturationTable::new(s.site.pressure_pa);
        let alone = s
            .unit
            .unit
            .steady(
                &saturation,
                UnitMode::Cooling,
                1.0,
                &inlet,
                &mut Default::default(),
            )
            .unwrap();
        let supply_c = alone.leaving.t_c + point.fan_w / (air_kg_s * CP_MOIST);
        assert!(
            (supply_c - point.supply.t_c).abs() < 1e-4,
            "{alone:?} {point:?}"
        );
        assert!((alone.total_w - point.total_w).abs() < 1e-5 * point.total_w);
    }

    #[test]
    fn a_motorised_relief_settles_at_the_edge_of_its_dead_band() {
        let s = Scenario::embedded("clinic-twelve-rooms").unwrap();
        let mut plant = SteadyPlant::new(&s).unwrap();
        let held = Held {
            outdoor_c: 34.0,
            rooms: vec![MoistAir::new(24.0, 0.0093); s.rooms.len()],
            open_doors: vec![false; s.doors.len()],
            dump_reaches_return: false,
        };
        let mut openings = vec![0.0; s.outlets.len()];
        openings[0] = 1.0;
        openings[1] = 1.0;
        let air = plant
            .air(&held, &openings, 0.58, Approach::FromShut)
            .unwrap();
        assert!(
            air.relief_opening > 0.0 && air.relief_opening < 1.0,
            "{air:?}"
        );
        // Setpoint 80 Pa and a dead band of 4 Pa.
        assert!((air.supply_pa - 84.0).abs() < 1e-6, "{}", air.supply_pa);
    }
}
