//! The trace: which columns, and what goes into them.

use super::sound_record::SoundRow;
use crate::engine::GRID_S;
use crate::engine::sample::Sample;
use crate::plant::sound::heard::SoundMean;
use crate::scenario::Scenario;
use crate::trace::Trace;

/// Flow above which air arrives at an outlet, m³/s: below it is rounding, not air.
const FLOWS_M3_S: f64 = 1e-4;

/// What a column holds between the ends of a step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Between {
    /// It goes straight from one end to the other.
    Line,
    /// It is the same all through the step.
    Step,
    /// Sound, which is a mean since the last row.
    Sound,
}
use Between::{Line, Sound, Step};

const SYSTEM: [(&str, Between); 20] = [
    ("time_s", Line),
    ("outdoor.air_C", Line),
    ("outdoor.humidity_kg_kg", Line),
    ("fan.flow_m3_s", Step),
    ("fan.speed", Step),
    ("fan.power_W", Step),
    ("supply_plenum.static_Pa", Step),
    ("return_plenum.static_Pa", Step),
    ("filter.drop_Pa", Step),
    ("relief.flow_m3_s", Step),
    ("relief.opening", Line),
    ("unit.speed", Step),
    ("unit.heating", Step),
    ("unit.entering_C", Step),
    ("unit.supply_C", Line),
    ("unit.surface_C", Line),
    ("unit.sensible_W", Step),
    ("unit.latent_W", Step),
    ("unit.power_W", Step),
    ("unit.condensate_kg_s", Step),
];
const ROOM: [(&str, Between); 7] = [
    ("air_C", Line),
    ("operative_C", Line),
    ("rh_pct", Line),
    ("pressure_Pa", Step),
    ("people", Step),
    ("sound_dBA", Sound),
    ("nc", Sound),
];
const OUTLET: [(&str, Between); 5] = [
    ("flow_m3_s", Step),
    ("opening", Line),
    ("face_velocity_m_s", Step),
    ("air_C", Step),
    ("reported_opening", Line),
];
/// What the controller saw when it last looked and something was new.
const ZONE: [(&str, Between); 4] = [
    ("sensor_C", Step),
    ("setpoint_C", Step),
    ("call", Step),
    ("scheduled", Step),
];

/// Every column of a scenario's trace, in order. The names are a contract: more may come, none is renamed.
fn all_columns(s: &Scenario) -> Vec<(String, Between)> {
    let mut all: Vec<_> = SYSTEM.map(|(c, b)| (c.to_string(), b)).into();
    let mut add = |of: &str, name: &str, columns: &[(&str, Between)]| {
        all.extend(
            columns
                .iter()
                .map(|(c, b)| (format!("{of}.{name}.{c}"), *b)),
        );
    };
    s.rooms.iter().for_each(|r| add("room", &r.name, &ROOM));
    s.outlets
        .iter()
        .for_each(|o| add("outlet", &o.name, &OUTLET));
    s.zones.iter().for_each(|z| add("zone", &z.name, &ZONE));
    all
}

/// Writes samples into rows.
///
/// Steps end where the physics lets them, never across a multiple of [`GRID_S`]. A row between the ends of
/// a step lies on the straight line between them, where what it holds is continuous (temperatures, humidity,
/// openings); flows, powers and decisions are the same all through a step.
#[derive(Debug)]
pub struct Recorder {
    /// The rows so far, or every so many of them.
    pub trace: Trace,
    /// Sound by room, as many rows a record as there are rooms.
    pub sound: Vec<SoundRow>,
    heard: SoundMean,
    between: Vec<Between>,
    row: Vec<f64>,
    /// The row at the end of the last step, but for its sound, where rows may fall between two ends.
    before: Option<Vec<f64>>,
    /// Time steps from row to row, and the length of one, s.
    every: u64,
    step_s: f64,
    keep_every: u64,
    rows: u64,
}

impl Recorder {
    /// An empty trace with the scenario's columns.
    pub fn new(s: &Scenario) -> Recorder {
        let (columns, between): (Vec<_>, Vec<_>) = all_columns(s).into_iter().unzip();
        let run = &s.run;
        let every = ((run.record_s / run.step_s).round() as u64).max(1);
        let on_grid = (every as f64 * run.step_s) % GRID_S == 0.0;
        Recorder {
            row: Vec::with_capacity(columns.len()),
            before: (!on_grid).then(|| Vec::with_capacity(columns.len())),
            trace: Trace::new(columns),
            between,
            sound: Vec::new(),
            heard: SoundMean::new(s.rooms.len()),
            every,
            step_s: run.step_s,
            keep_every: 1,
            rows: 0,
        }
    }

    /// Keeps only the first of every `n` rows, and of the rows of sound, for runs whose rows go elsewhere.
    #[must_use]
    pub fn keeping_every(mut self, n: u64) -> Recorder {
        self.keep_every = n.max(1);
        self
    }

    /// Takes in a step of `made` time steps that begins after `k` of them and ends with `s`: adds the rows
    /// that fall into it, each of which goes to `then`.
    ///
    /// # Errors
    /// Those of `then`.
    pub fn take<E>(
        &mut self,
        k: u64,
        made: u64,
        s: &Sample,
        mut then: impl FnMut(&[f64]) -> Result<(), E>,
    ) -> Result<(), E> {
        let (mut from, end) = (k, k + made);
        for row in k / self.every + 1..=end / self.every {
            let at = row * self.every;
            self.hear(s, (at - from) as f64 * self.step_s);
            from = at;
            self.add_row(s, (at - k) as f64 / made as f64, at as f64 * self.step_s);
            then(&self.row)?;
        }
        if from < end {
            self.hear(s, (end - from) as f64 * self.step_s);
        }
        self.note_end(s);
        Ok(())
    }

    /// Takes in the sound of a step: what is recorded of it is the energy mean since the last row.
    pub fn hear(&mut self, s: &Sample, dt_s: f64) {
        self.heard.push(dt_s, &s.sound.heard, s.sound.changes);
    }

    /// Adds a row at the end of a step.
    pub fn record(&mut self, s: &Sample) {
        self.add_row(s, 1.0, s.t_s);
        self.note_end(s);
    }

    /// The last row.
    pub fn row(&self) -> &[f64] {
        &self.row
    }

    fn note_end(&mut self, s: &Sample) {
        if let Some(before) = &mut self.before {
            fill(before, s);
        }
    }

    /// Adds the row `part` of the way from the end of the last step to that of `s`.
    fn add_row(&mut self, s: &Sample, part: f64, t_s: f64) {
        fill(&mut self.row, s);
        if let (true, Some(before)) = (part < 1.0, &self.before) {
            let ends = self.row.iter_mut().zip(before).zip(&self.between);
            for ((now, from), _) in ends.filter(|(_, b)| **b == Line) {
                // From nothing there is no line.
                if from.is_finite() {
                    *now = from + part * (*now - from);
                }
            }
        }
        self.row[0] = t_s;
        let keep = self.rows.is_multiple_of(self.keep_every);
        self.rows += 1;
        let rooms = self.row[SYSTEM.len()..].chunks_exact_mut(ROOM.len());
        for (i, room) in rooms.take(s.rooms.len()).enumerate() {
            let sound = SoundRow::new(t_s, i, &self.heard.mean(i));
            (room[5], room[6]) = (f64::from(sound.dba), f64::from(sound.nc));
            if keep {
                self.sound.push(sound);
            }
        }
        self.heard.restart();
        if keep {
            self.trace.push_row(&self.row);
        }
    }
}

/// Writes a sample into a row, but for its sound.
fn fill(row: &mut Vec<f64>, s: &Sample) {
    let flag = |b: bool| f64::from(u8::from(b));
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
    for r in &s.rooms {
        row.extend([
            r.air_c,
            r.operative_c(),
            100.0 * r.rh,
            r.pressure_pa,
            r.people,
            f64::NAN,
            f64::NAN,
        ]);
    }
    for o in &s.outlets {
        row.extend([
            o.flow_m3_s,
            o.opening,
            o.face_velocity_m_s,
            // Air at rest in a duct arrives nowhere, and has the temperature of the loft.
            if o.flow_m3_s.abs() > FLOWS_M3_S {
                o.air_c
            } else {
                f64::NAN
            },
            o.reported,
        ]);
    }
    for z in &s.zones {
        row.extend([z.sensor_c, z.setpoint_c, flag(z.call), flag(z.scheduled)]);
    }
}
