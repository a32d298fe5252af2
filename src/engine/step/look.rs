//! What can be seen at the end of a step.

use super::{Engine, State};
use crate::control::Mode;
use crate::control::zone::Regime;
use crate::engine::sample::{AirSample, RoomSample, UnitSample, ZoneSample};
use crate::math::lanes::{LANES, Lanes};
use crate::plant::coupled_rooms::StoreLanes;
use crate::plant::drivers::{Drive, DriveLanes};
use crate::plant::unit::UnitOutput;

impl Engine<'_> {
    /// The zones, if the controller saw anything new of them in its last look. By hand it sees nothing.
    pub(super) fn look_at_zones(&mut self, state: &State) {
        let (by_hand, changes) = (self.hand.is_some(), state.control.zone_changes);
        if changes == self.zones_seen && !by_hand {
            return;
        }
        self.zones_seen = if by_hand { u64::MAX } else { changes };
        let s = &mut self.sample;
        s.zone_changes += 1;
        let zones = state.control.zones.iter().zip(&self.readings_c);
        for (z, (control, &sensor_c)) in s.zones.iter_mut().zip(zones) {
            let set = control.setpoints;
            *z = ZoneSample {
                sensor_c,
                setpoint_c: set.map_or(f64::NAN, |s| s.of(self.commands.mode)),
                cooling_c: set.map_or(f64::NAN, |s| s.cooling_c),
                heating_c: set.map_or(f64::NAN, |s| s.heating_c),
                call: control.calling,
                in_band: control.regime == Regime::InBand,
            };
        }
    }

    /// Fills the rest of the sample.
    pub(super) fn look(&mut self, state: &State, unit: &UnitOutput) {
        let drive: &Drive = self.drivers.drive();
        let s = &mut self.sample;
        s.t_s = state.t_s;
        s.minute_of_week = u32::from(self.calendar.clock(state.t_s + self.lead_s).minute_of_week);
        s.outdoor_c = drive.outdoor.t_c;
        s.outdoor_w = drive.outdoor.w;
        s.air = AirSample {
            fan_flow_m3_s: state.air.fan_m3_s,
            fan_speed: state.air.fan_speed,
            stalled: state.air.stalled,
            supply_static_pa: state.air.supply_pa,
            return_static_pa: state.air.return_pa,
            filter_drop_pa: state.air.filter_pa,
            relief_flow_m3_s: state.air.relief_m3_s,
            relief_opening: state.air.relief_opening,
        };
        s.unit = UnitSample {
            speed: unit.speed,
            heating: self.commands.mode == Mode::Heating,
            entering_c: s.unit.entering_c,
            supply_c: state.plenum.t_c,
            surface_c: unit.surface_c,
            sensible_w: unit.sensible_w,
            latent_w: unit.latent_w,
            steady_w: unit.steady_total_w.abs(),
            compressor_w: unit.power_w,
            fan_w: state.air.fan_w,
            condensate_kg_s: unit.condensate_kg_s,
        };
        let blocks = state.house.blocks.iter().zip(self.house.saturated_w());
        let mut blocks = blocks.zip(&drive.rooms);
        // Whole blocks in code without a loop over their rooms.
        let (rooms, last) = s.rooms.as_chunks_mut::<LANES>();
        for (rooms, ((now, &saturated), d)) in rooms.iter_mut().zip(&mut blocks) {
            look_at_rooms(rooms, now, saturated, d);
        }
        if let Some(((now, &saturated), d)) = blocks.next() {
            look_at_rooms(last, now, saturated, d);
        }
        if self.air_changed {
            for (r, &pressure_pa) in s.rooms.iter_mut().zip(&state.air.rooms_pa) {
                r.pressure_pa = pressure_pa;
            }
            let faces = self.scenario.outlets.iter().map(|o| o.face_area_m2);
            let flows = state.air.outlets_m3_s.iter().zip(faces);
            for (o, (&flow, face_m2)) in s.outlets.iter_mut().zip(flows) {
                o.flow_m3_s = flow;
                o.face_velocity_m_s = flow.abs() / face_m2;
            }
        }
        let told = self.outlet_seat.iter().map(|&c| self.positions[c]);
        let stand = self.openings.iter().zip(told);
        let blown = self.transport.outlet_air().iter().zip(stand);
        for (o, (air, (&opening, reported))) in s.outlets.iter_mut().zip(blown) {
            o.opening = opening;
            o.reported = reported;
            o.air_c = air.t_c;
        }
    }
}

/// Fills the rooms of a block, but for their pressure.
#[inline(always)]
fn look_at_rooms(rooms: &mut [RoomSample], now: &StoreLanes, saturated_w: Lanes, d: &DriveLanes) {
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
