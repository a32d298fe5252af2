//! The trace: which columns, and what goes into them.

use super::sample::Sample;
use super::sound_record::SoundRow;
use crate::plant::sound::heard::SoundMean;
use crate::scenario::Scenario;
use crate::trace::Trace;

/// Flow above which air arrives at an outlet, m³/s: below it is rounding, not air.
const FLOWS_M3_S: f64 = 1e-4;

/// Column names of a scenario's trace, in order. The names are a contract: more may come, none is
/// renamed.
pub fn columns(s: &Scenario) -> Vec<String> {
    let mut c: Vec<String> = [
        "time_s",
        "outdoor.air_C",
        "outdoor.humidity_kg_kg",
        "fan.flow_m3_s",
        "fan.speed",
        "fan.power_W",
        "supply_plenum.static_Pa",
        "return_plenum.static_Pa",
        "filter.drop_Pa",
        "relief.flow_m3_s",
        "relief.opening",
        "unit.speed",
        "unit.heating",
        "unit.entering_C",
        "unit.supply_C",
        "unit.surface_C",
        "unit.sensible_W",
        "unit.latent_W",
        "unit.power_W",
        "unit.condensate_kg_s",
    ]
    .map(String::from)
    .to_vec();
    for r in &s.rooms {
        for what in [
            "air_C",
            "operative_C",
            "rh_pct",
            "pressure_Pa",
            "people",
            "sound_dBA",
            "nc",
        ] {
            c.push(format!("room.{}.{what}", r.name));
        }
    }
    for o in &s.outlets {
        for what in [
            "flow_m3_s",
            "opening",
            "face_velocity_m_s",
            "air_C",
            "reported_opening",
        ] {
            c.push(format!("outlet.{}.{what}", o.name));
        }
    }
    for z in &s.zones {
        for what in ["sensor_C", "setpoint_C", "call", "in_band"] {
            c.push(format!("zone.{}.{what}", z.name));
        }
    }
    c
}

/// Writes samples into rows.
#[derive(Debug)]
pub struct Recorder {
    /// The rows so far, or every so many of them.
    pub trace: Trace,
    /// Sound by room, as many rows a record as there are rooms.
    pub sound: Vec<SoundRow>,
    heard: SoundMean,
    row: Vec<f64>,
    keep_every: u64,
    seen: u64,
}

impl Recorder {
    /// An empty trace with the scenario's columns.
    pub fn new(s: &Scenario) -> Recorder {
        let columns = columns(s);
        let row = Vec::with_capacity(columns.len());
        Recorder {
            trace: Trace::new(columns),
            sound: Vec::new(),
            heard: SoundMean::new(s.rooms.len()),
            row,
            keep_every: 1,
            seen: 0,
        }
    }

    /// Takes in the sound of a step: what is recorded of it is the energy mean since the last row.
    pub fn hear(&mut self, s: &Sample, dt_s: f64) {
        self.heard.push(dt_s, &s.sound.heard, s.sound.changes);
    }

    /// Keeps only the first of every `n` rows, and of the rows of sound, for runs whose rows go elsewhere.
    #[must_use]
    pub fn keeping_every(mut self, n: u64) -> Recorder {
        self.keep_every = n.max(1);
        self
    }

    /// Adds a row, and returns it.
    pub fn record(&mut self, s: &Sample) -> &[f64] {
        let flag = |b: bool| f64::from(u8::from(b));
        let keep = self.seen.is_multiple_of(self.keep_every);
        self.seen += 1;
        let row = &mut self.row;
        row.clear();
        row.extend([
            s.t_s,
            s.outdoor_c,
            s.outdoor_w,
            s.air.fan_flow_m3_s,
            s.air.fan_speed,
            s.unit.fan_w,
            s.air.supply_static_pa,
            s.air.return_static_pa,
            s.air.filter_drop_pa,
            s.air.relief_flow_m3_s,
            s.air.relief_opening,
            s.unit.speed,
            flag(s.unit.heating),
            s.unit.entering_c,
            s.unit.supply_c,
            s.unit.surface_c,
            s.unit.sensible_w,
            s.unit.latent_w,
            s.unit.compressor_w,
            s.unit.condensate_kg_s,
        ]);
        for (i, r) in s.rooms.iter().enumerate() {
            let sound = SoundRow::new(s.t_s, i, &self.heard.mean(i));
            row.extend([
                r.air_c,
                r.operative_c(),
                100.0 * r.rh,
                r.pressure_pa,
                r.people,
                f64::from(sound.dba),
                f64::from(sound.nc),
            ]);
            if keep {
                self.sound.push(sound);
            }
        }
        self.heard.restart();
        for o in &s.outlets {
            row.extend([
                o.flow_m3_s,
                o.opening,
                o.face_velocity_m_s,
                // Air that stands in a duct arrives nowhere, and has the temperature of the loft.
                if o.flow_m3_s.abs() > FLOWS_M3_S {
                    o.air_c
                } else {
                    f64::NAN
                },
                o.reported,
            ]);
        }
        for z in &s.zones {
            row.extend([z.sensor_c, z.setpoint_c, flag(z.call), flag(z.in_band)]);
        }
        if keep {
            self.trace.push_row(row);
        }
        row
    }
}
