//! What can be seen at the end of a step.

use super::air::at_outlet;
use super::{Engine, State};
use crate::control::Mode;
use crate::control::zone::Regime;
use crate::engine::sample::{AirSample, RoomSample, UnitSample, ZoneSample};
use crate::engine::scratch::Scratch;
use crate::math::lanes::{LANES, Lanes};
use crate::plant::coupled_rooms::StoreLanes;
use crate::plant::drivers::{Drive, DriveLanes};
use crate::plant::unit::UnitOutput;

impl Engine<'_> {
    /// The zones, if the controller saw anything new of them in its last look. An overridden one sees
    /// nothing.
    pub(super) fn show_zones(&self, state: &mut State) {
        let overridden = state.manual_override.is_some();
        let changes = state.control.zone_changes;
        if changes == state.zones_shown && !overridden {
            return;
        }
        state.zones_shown = if overridden { u64::MAX } else { changes };
        let s = &mut state.sample;
        s.zone_changes += 1;
        let zones = state.control.zones.iter().zip(&state.readings.zone_c);
        for (z, (control, &sensor_c)) in s.zones.iter_mut().zip(zones) {
            let set = control.setpoints;
            *z = ZoneSample {
                sensor_c,
                setpoint_c: set.map_or(f64::NAN, |s| s.of(state.commands.mode)),
                cooling_c: set.map_or(f64::NAN, |s| s.cooling_c),
                heating_c: set.map_or(f64::NAN, |s| s.heating_c),
                call: control.calling,
                scheduled: control.regime == Regime::Scheduled,
            };
        }
    }

    /// Fills the rest of the sample.
    pub(super) fn fill_sample(&self, state: &mut State, scratch: &Scratch<'_>, unit: &UnitOutput) {
        let drive: &Drive = scratch.drivers.drive();
        let State {
            t_s,
            plant,
            readings,
            commands,
            sample: s,
            ..
        } = state;
        s.t_s = *t_s;
        s.minute_of_week = u32::from(self.calendar.clock(*t_s + self.lead_s).minute_of_week);
        s.outdoor_c = drive.outdoor.t_c;
        s.outdoor_w = drive.outdoor.w;
        s.air = AirSample {
            fan_flow_m3_s: plant.air.fan_m3_s,
            fan_speed: plant.air.fan_speed,
            stalled: plant.air.stalled,
            supply_static_pa: plant.air.supply_pa,
            return_static_pa: plant.air.return_pa,
            filter_drop_pa: plant.air.filter_pa,
            relief_flow_m3_s: plant.air.relief_m3_s,
            relief_opening: plant.air.relief_opening,
        };
        s.unit = UnitSample {
            speed: unit.speed,
            heating: commands.mode == Mode::Heating,
            entering_c: s.unit.entering_c,
            supply_c: plant.plenum.t_c,
            surface_c: unit.surface_c,
            sensible_w: unit.sensible_w,
            latent_w: unit.latent_w,
            steady_w: unit.steady_total_w.abs(),
            compressor_w: unit.power_w,
            fan_w: plant.air.fan_w,
            condensate_kg_s: unit.condensate_kg_s,
        };
        let blocks = plant.house.rooms.blocks.iter();
        let blocks = blocks.zip(scratch.house.saturated_w());
        let mut blocks = blocks.zip(&drive.rooms);
        // Whole blocks in code without a loop over their rooms.
        let (rooms, last) = s.rooms.as_chunks_mut::<LANES>();
        for (rooms, ((now, &saturated), d)) in rooms.iter_mut().zip(&mut blocks) {
            fill_rooms(rooms, now, saturated, d);
        }
        if let Some(((now, &saturated), d)) = blocks.next() {
            fill_rooms(last, now, saturated, d);
        }
        if scratch.flows_changed {
            for (r, &pressure_pa) in s.rooms.iter_mut().zip(&plant.air.rooms_pa) {
                r.pressure_pa = pressure_pa;
            }
            let faces = self.scenario.outlets.iter().map(|o| o.face_area_m2);
            let flows = plant.air.outlets_m3_s.iter().zip(faces);
            for (o, (&flow, face_m2)) in s.outlets.iter_mut().zip(flows) {
                o.flow_m3_s = flow;
                o.face_velocity_m_s = flow.abs() / face_m2;
            }
        }
        let channels = self.scenario.control.outlet_channel.iter();
        let dampers = scratch.openings.iter().zip(channels);
        let supplied = scratch.ducts.outlet_air().iter().zip(dampers);
        for (o, (air, (&opening, &channel))) in s.outlets.iter_mut().zip(supplied) {
            o.opening = opening;
            o.reported = at_outlet(channel, &readings.damper_position);
            o.air_c = air.t_c;
        }
    }
}

/// Fills the rooms of a block, but for their pressure.
#[inline(always)]
fn fill_rooms(rooms: &mut [RoomSample], now: &StoreLanes, saturated_w: Lanes, d: &DriveLanes) {
    let rh = relative_humidity(saturated_w, now.w);
    for (lane, r) in rooms.iter_mut().enumerate() {
        let of = |lanes: &Lanes| lanes.as_array()[lane % LANES];
        r.air_c = of(&now.air_c);
        r.contents_c = of(&now.contents_c);
        r.fabric_c = of(&now.fabric_c);
        r.w = of(&now.w);
        r.rh = of(&rh);
        r.people = of(&d.people);
    }
}

/// Relative humidity of a block of rooms where saturated air would hold `saturated` kg/kg: p_v/p_ws
/// with p_v = p·w/(0.621945 + w).
fn relative_humidity(saturated: Lanes, w: Lanes) -> Lanes {
    let ratio = Lanes::splat(0.621945);
    w * (ratio + saturated) / ((ratio + w) * saturated)
}
