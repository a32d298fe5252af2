//! The rooms of the closed loops: three stores each and a sensor.

use std::f64::consts::PI;

use serde_json::Value;

use crate::control::thermostat::{Sensor, SensorState};
use crate::evidence::reference::{EvidenceError, list, number, refused};
use crate::plant::thermal::{Drive, StoreNetwork};

/// Specific heat in the reference's equations, J/(kg K).
pub(super) const CP: f64 = 1006.0;

struct Fabric {
    hao: f64,
    hfo: f64,
    qa: f64,
    ql: f64,
    qf: f64,
}

/// Rooms with their sensors and what they have been supplied with.
pub(super) struct Rooms {
    network: StoreNetwork,
    fabric: Vec<Fabric>,
    sensors: Vec<Sensor>,
    sensing: Vec<SensorState>,
    /// Air, contents and fabric of each room in turn, °C.
    pub(super) x: Vec<f64>,
    /// Readings, °C.
    pub(super) readings_c: Vec<f64>,
    /// Heat taken out of each room's air by the supply, J.
    pub(super) energy_j: Vec<f64>,
    supply_c: f64,
    outdoors: [f64; 3],
    boundary: Vec<f64>,
    source: Vec<f64>,
    middle: Vec<f64>,
}

impl Rooms {
    pub(super) fn new(inputs: &Value) -> Result<Rooms, EvidenceError> {
        let rooms = list(inputs, "/rooms")?;
        let mut builder = StoreNetwork::builder();
        let (mut fabric, mut sensors, mut sensing) = (Vec::new(), Vec::new(), Vec::new());
        let (mut x, mut readings_c) = (Vec::new(), Vec::new());
        for r in rooms {
            let n = |key: &str| number(r, &format!("/{key}"));
            let air = builder.store(n("Ca")?);
            let contents = builder.store(n("CL")?);
            let mass = builder.store(n("CF")?);
            builder.link(air, contents, n("HaL")?);
            builder.link(air, mass, n("HaF")?);
            builder.link(contents, mass, n("HLF")?);
            fabric.push(Fabric {
                hao: n("Hao")?,
                hfo: n("HFo")?,
                qa: n("Qa")?,
                ql: n("QL")?,
                qf: n("QF")?,
            });
            let sensor = Sensor {
                lag_s: n("tau_s")?,
                ..Sensor::PERFECT
            };
            let start_c = n("start_c")?;
            sensing.push(sensor.initial_state(start_c, start_c, 1));
            sensors.push(sensor);
            x.extend([start_c; 3]);
            readings_c.push(start_c);
        }
        if let Some(h12) = inputs["H12_w_k"].as_f64() {
            builder.link(0, 3, h12);
        }
        let size = x.len();
        Ok(Rooms {
            network: builder.build(),
            energy_j: vec![0.0; fabric.len()],
            fabric,
            sensors,
            sensing,
            x,
            readings_c,
            supply_c: number(inputs, "/Ts_c")?,
            outdoors: [
                number(inputs, "/To_mean_c")?,
                number(inputs, "/To_amplitude_k")?,
                number(inputs, "/To_peak_s")?,
            ],
            boundary: vec![0.0; size],
            source: vec![0.0; size],
            middle: vec![0.0; size],
        })
    }

    /// Reads all sensors, `dt_s` after they were last read.
    pub(super) fn read(&mut self, dt_s: f64) {
        for (i, sensor) in self.sensors.iter().enumerate() {
            let (air, wall) = (self.x[3 * i], self.x[3 * i + 2]);
            self.readings_c[i] = sensor.step(air, wall, dt_s, &mut self.sensing[i]);
        }
    }

    /// Steps from `t_s` with the supply flows `kg_s` and extra gains to the air, W.
    pub(super) fn step(
        &mut self,
        t_s: f64,
        dt_s: f64,
        kg_s: &[f64],
        extra_w: &[f64],
    ) -> Result<(), EvidenceError> {
        let [mean, amplitude, peak] = self.outdoors;
        let outdoor_c = mean + amplitude * (2.0 * PI * (t_s + 0.5 * dt_s - peak) / 86_400.0).cos();
        for (i, f) in self.fabric.iter().enumerate() {
            let mcp = kg_s[i] * CP;
            let extra = extra_w.get(i).copied().unwrap_or(0.0);
            self.boundary[3 * i] = mcp + f.hao;
            self.boundary[3 * i + 2] = f.hfo;
            self.source[3 * i] = mcp * self.supply_c + f.hao * outdoor_c + f.qa + extra;
            self.source[3 * i + 1] = f.ql;
            self.source[3 * i + 2] = f.hfo * outdoor_c + f.qf;
        }
        let drive = Drive {
            boundary: &self.boundary,
            source: &self.source,
            stream: &[],
        };
        self.network
            .step(dt_s, &drive, &mut self.x, &mut self.middle)
            .map_err(refused("a closed loop's rooms"))?;
        for (i, energy) in self.energy_j.iter_mut().enumerate() {
            *energy += dt_s * kg_s[i] * CP * (self.middle[3 * i] - self.supply_c);
        }
        Ok(())
    }
}
