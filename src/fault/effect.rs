//! What each fault changes: one function a stage.

use super::{Fault, SensorSun};
use crate::control::Commands;
use crate::plant::air_side::Impairment;

/// What the controller is about to be told.
#[derive(Debug)]
pub struct Readings<'a> {
    /// Thermostat reading of each zone, °C; NaN when lost.
    pub zone_c: &'a mut [f64],
    /// Reported position of each channel's damper, 0 to 1; NaN when lost.
    pub damper_position: &'a mut [f64],
}

/// What the air side is about to do.
#[derive(Debug)]
pub struct Plant<'a> {
    /// Opening of each outlet's blade, 0 to 1.
    pub openings: &'a mut [f64],
    /// Filter and relief.
    pub air: &'a mut Impairment,
}

/// The instant at which a fault acts, s since the start of the run and since the fault began.
#[derive(Clone, Copy, Debug)]
pub(super) struct Now {
    pub(super) t_s: f64,
    pub(super) since_s: f64,
}

/// What was held first, or else this value from now on. A lost value is not held.
fn hold(held: &mut Option<f64>, value: f64) -> f64 {
    if held.is_none() && !value.is_nan() {
        *held = Some(value);
    }
    held.unwrap_or(value)
}

/// Each channel gets what its counterpart of the other zone has.
fn cross(channels: &[Vec<usize>; 2], values: &mut [f64]) {
    let of = |zone: &[usize]| zone.first().and_then(|&c| values.get(c)).copied();
    let swapped = [of(&channels[1]), of(&channels[0])];
    for (zone, value) in channels.iter().zip(swapped) {
        for &c in zone {
            if let Some(v) = values.get_mut(c) {
                *v = value.unwrap_or(f64::NAN);
            }
        }
    }
}

fn lose(channels: &[usize], values: &mut [f64]) {
    for &c in channels {
        if let Some(v) = values.get_mut(c) {
            *v = f64::NAN;
        }
    }
}

impl Fault {
    /// How many values it holds while it lasts.
    pub(super) fn slots(&self) -> usize {
        match self {
            Fault::DamperStuck { outlets, .. } => outlets.len(),
            Fault::SensorFrozen { .. } | Fault::RadioLost { .. } => 1,
            _ => 0,
        }
    }

    /// Changes what the controller is told.
    pub(super) fn readings(
        &self,
        now: Now,
        held: &mut [Option<f64>],
        sun: &mut SensorSun<'_>,
        readings: &mut Readings<'_>,
    ) {
        let mut reading = |zone: usize, change: &mut dyn FnMut(f64) -> f64| {
            if let Some(r) = readings.zone_c.get_mut(zone) {
                *r = change(*r);
            }
        };
        match self {
            Fault::SensorLost { zone } => reading(*zone, &mut |_| f64::NAN),
            Fault::SensorFrozen { zone, reading_c } => {
                reading(*zone, &mut |c| hold(&mut held[0], reading_c.unwrap_or(c)));
            }
            Fault::SensorOffset { zone, offset_k } => reading(*zone, &mut |c| c + offset_k),
            Fault::SensorInSun {
                zone,
                rise_k,
                sun: hours,
            } => reading(*zone, &mut |c| c + rise_k * sun.share(hours, now.t_s)),
            Fault::RadioLost { zone, fallback_s } => reading(*zone, &mut |c| {
                let last = hold(&mut held[0], c);
                if now.since_s < fallback_s - 1e-6 {
                    last
                } else {
                    f64::NAN
                }
            }),
            Fault::DamperStuck {
                position,
                blade_reported_by,
                ..
            } => {
                for (&channel, held) in blade_reported_by.iter().zip(held) {
                    if let Some(reported) = readings.damper_position.get_mut(channel) {
                        *reported = hold(held, position.unwrap_or(*reported));
                    }
                }
            }
            Fault::DampersCrossed { channels, .. } => cross(channels, readings.damper_position),
            Fault::BusOpen { beyond, .. } => lose(beyond, readings.damper_position),
            _ => {}
        }
    }

    /// Changes what motors and unit are told.
    pub(super) fn commands(&self, commands: &mut Commands) {
        match self {
            Fault::DampersCrossed { channels, .. } => {
                cross(channels, &mut commands.channel_opening);
            }
            // A motor without command keeps its position.
            Fault::BusOpen { beyond, .. } => lose(beyond, &mut commands.channel_opening),
            Fault::WrongMode { stuck_in } => {
                let told = commands.unit.mode;
                commands.unit.mode = told.map(|told| stuck_in.unwrap_or(told.other()));
            }
            _ => {}
        }
    }

    /// Changes what the air side does; in the same way for as long as the fault lasts.
    pub(super) fn plant(&self, held: &mut [Option<f64>], plant: &mut Plant<'_>) {
        match self {
            Fault::DamperStuck {
                outlets, position, ..
            } => {
                for (&outlet, held) in outlets.iter().zip(held) {
                    if let Some(opening) = plant.openings.get_mut(outlet) {
                        *opening = hold(held, position.unwrap_or(*opening));
                    }
                }
            }
            Fault::ReliefStuck { position } => plant.air.relief_stuck = Some(*position),
            Fault::ReliefUndersized { flow_fraction } => plant.air.relief_capacity *= flow_fraction,
            Fault::FilterBlocked { resistance_factor } => plant.air.filter *= resistance_factor,
            _ => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_zone_of_two_dampers_crosses_with_a_zone_of_one() {
        let mut values = [0.8, 0.8, 0.1, 0.5];
        cross(&[vec![0, 1], vec![2]], &mut values);
        assert_eq!(values, [0.1, 0.1, 0.8, 0.5]);
    }
}
