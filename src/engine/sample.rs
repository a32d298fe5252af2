//! What can be seen of the system at the end of each step: the one thing that recording, measures
//! and meters read.

use crate::plant::sound::SoundState;
use crate::plant::sound::heard::Heard;

/// Sound in the rooms, as energies: levels are worked out only where somebody wants to read one.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SoundSample {
    /// Energies by source and octave.
    pub state: SoundState,
    /// The same, short, by room.
    pub heard: Vec<Heard>,
    /// Counts changes: as long as it stays the same, so does the sound.
    pub changes: u64,
}

/// One room.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct RoomSample {
    /// Air temperature, °C.
    pub air_c: f64,
    /// Temperature of the light contents, °C.
    pub contents_c: f64,
    /// Temperature of the fabric, °C.
    pub fabric_c: f64,
    /// Humidity ratio, kg/kg.
    pub w: f64,
    /// Relative humidity, 0..1.
    pub rh: f64,
    /// Pressure against outdoors, Pa.
    pub pressure_pa: f64,
    /// People present.
    pub people: f64,
}

impl RoomSample {
    /// Operative temperature in still air, °C: the mean of air and radiant temperature, the latter
    /// by the mean of contents and fabric (ASHRAE 55 form with A = 0.5).
    pub fn operative_c(&self) -> f64 {
        0.5 * self.air_c + 0.25 * (self.contents_c + self.fabric_c)
    }
}

/// One zone.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ZoneSample {
    /// What the thermostat reads, °C.
    pub sensor_c: f64,
    /// The setpoint in force, °C; NaN when there is none.
    pub setpoint_c: f64,
    /// Cooling setpoint in force, °C; NaN when there is none.
    pub cooling_c: f64,
    /// Heating setpoint in force, °C; NaN when there is none.
    pub heating_c: f64,
    /// Whether the zone calls.
    pub call: bool,
    /// Whether a scheduled period is in force.
    pub scheduled: bool,
}

/// One outlet.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct OutletSample {
    /// Flow into the room, m³/s at the reference density.
    pub flow_m3_s: f64,
    /// Damper opening, 0..1.
    pub opening: f64,
    /// Damper position as the controller was told it before the step, 0..1; NaN when lost, 1 for an
    /// outlet without damper.
    pub reported: f64,
    /// Velocity over the face of the grille, m/s.
    pub face_velocity_m_s: f64,
    /// Temperature of the air that enters the room, °C.
    pub air_c: f64,
}

/// The unit and the air that passes it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct UnitSample {
    /// Speed relative to rated; 0 when the compressor is off.
    pub speed: f64,
    /// Whether it heats.
    pub heating: bool,
    /// Air entering the coil, °C.
    pub entering_c: f64,
    /// Air leaving the unit into the supply plenum, °C.
    pub supply_c: f64,
    /// Coil surface, °C.
    pub surface_c: f64,
    /// Sensible heat removed from the air (negative when heating), W.
    pub sensible_w: f64,
    /// Latent heat removed from the air, W.
    pub latent_w: f64,
    /// Total heat the coil would move at the same inlet once run in, W, unsigned.
    pub steady_w: f64,
    /// Electric power of compressor and electronics, W.
    pub compressor_w: f64,
    /// Electric power of the fan, W.
    pub fan_w: f64,
    /// Condensate, kg/s.
    pub condensate_kg_s: f64,
}

/// The air side as a whole.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct AirSample {
    /// Fan flow, m³/s at the reference density.
    pub fan_flow_m3_s: f64,
    /// Fan speed relative to rated.
    pub fan_speed: f64,
    /// Whether the fan runs left of its peak.
    pub stalled: bool,
    /// Supply plenum against outdoors, Pa.
    pub supply_static_pa: f64,
    /// Return plenum against outdoors, Pa.
    pub return_static_pa: f64,
    /// Drop across the filter, Pa.
    pub filter_drop_pa: f64,
    /// Relief flow, m³/s at the reference density.
    pub relief_flow_m3_s: f64,
    /// Relief opening, 0..1.
    pub relief_opening: f64,
}

impl AirSample {
    /// External static, from return plenum to supply plenum, Pa: what ducts, grilles and rooms take of
    /// the fan's rise, and what fans are rated by.
    pub fn external_static_pa(&self) -> f64 {
        self.supply_static_pa - self.return_static_pa
    }
}

/// Everything, at one instant.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Sample {
    /// Seconds since the start of the run.
    pub t_s: f64,
    /// Minute of the week, 0 = Monday 00:00.
    pub minute_of_week: u32,
    /// Outdoor air, °C.
    pub outdoor_c: f64,
    /// Outdoor humidity ratio, kg/kg.
    pub outdoor_w: f64,
    /// Air side.
    pub air: AirSample,
    /// Unit.
    pub unit: UnitSample,
    /// Rooms, in scenario order.
    pub rooms: Vec<RoomSample>,
    /// Sound in the rooms, in scenario order.
    pub sound: SoundSample,
    /// Zones, in scenario order.
    pub zones: Vec<ZoneSample>,
    /// Counts their changes: as long as it stays the same, so do the zones.
    pub zone_changes: u64,
    /// Outlets, in scenario order.
    pub outlets: Vec<OutletSample>,
}
