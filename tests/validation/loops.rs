//! Whole closed loops: what a run makes of a scenario, against scipy's integration with event detection.
//!
//! `tests/reference/scenarios.py` reads the same files and writes the equations out: rooms, coil with
//! start-up and plenum, fan and dampers, thermostats with lag and differential, relief control.

use serde_json::Value;

use super::reference::{ReferenceError, list, number, numbers, parse};
use super::row::{Row, Worst, fixed, short};
use super::run::{scenario, steps};
use crate::control::NoticeKind;
use crate::engine::event::What;
use crate::plant::room::CP_MOIST;
use crate::run::simulate;
use crate::scenario::Scenario;

const SCIPY: &str = "scipy 1.17.1 solve_ivp, DOP853 and Radau with event detection, rtol 1e-8";
/// Time between the marks of the reference.
const MARK_S: f64 = 1800.0;
const DENSITY: f64 = 1.2;

/// Steps at which the loops are run, s, finest last.
const STEPS_S: [f64; 4] = [0.8, 0.4, 0.2, 0.1];

pub(super) fn rows() -> Result<Vec<Row>, ReferenceError> {
    let file = parse(
        "scenarios.json",
        include_str!("../reference/scenarios.json"),
    )?;
    let mut out = on_off("one_room", "one room", &file["one_room"])?;
    out.extend(on_off("two_rooms", "two rooms", &file["two_rooms"])?);
    out.extend(modulating(&file["three_rooms"])?);
    for (name, what) in [("one_room", "one room"), ("two_rooms", "two rooms")] {
        out.push(electricity(name, what, &file[name])?);
    }
    Ok(out)
}

/// The error at each of [`STEPS_S`], coarsest first.
struct Shrinking([f64; 4]);

impl Shrinking {
    /// A row that holds the finest step's error to `allowed`, and tells all four.
    fn row(&self, what: String, allowed: f64, unit: &'static str) -> Row {
        let mut worst = Worst::default();
        worst.push(self.0[3]);
        let told: Vec<String> = self.0.iter().map(|&e| short(e)).collect();
        Row {
            theirs: "0".into(),
            ours: format!("differs by {}", short(self.0[3])),
            ..Row::largest(what, SCIPY, worst, allowed, unit)
        }
        .remark(format!("at 0.8, 0.4, 0.2 and 0.1 s: {}", told.join(", ")))
    }

    /// A row that says the error shrinks like the step: from 0.8 s to 0.1 s by the factor 8 of first
    /// order, or more.
    fn convergence(&self, what: String) -> Row {
        let e = self.0;
        let halvings: Vec<String> = e.windows(2).map(|w| fixed(w[0] / w[1], 2)).collect();
        Row::inside(what, SCIPY, e[0] / e[3], (4.0, 16.0), "1").remark(format!(
            "first order is 8: each switching is late by up to a step; halving by halving {}",
            halvings.join(", ")
        ))
    }
}

/// What one run leaves.
#[derive(Default)]
struct Ran {
    starts_s: Vec<f64>,
    run_s: f64,
    /// Heat taken out of each outlet's room by its air, J.
    energy_j: Vec<f64>,
    coil_j: f64,
    /// Largest differences at the marks: contents and fabric, K; humidity ratio, kg/kg; air, K.
    stores_k: Worst,
    w: Worst,
    air_k: Worst,
    /// Openings of dampers, of the relief; flows, m³/s; static, Pa; supply air, K.
    openings: Worst,
    relief: Worst,
    flows: Worst,
    static_pa: Worst,
    supply_k: Worst,
}

fn run(name: &str, step_s: f64, case: &Value) -> Result<Ran, ReferenceError> {
    let step = format!("step = \"{step_s} s\"\nquiet_step = \"{step_s} s\"");
    let s = scenario(name, &[("step = \"1 s\"\nquiet_step = \"1 s\"", &step)])?;
    let marks: Vec<Vec<f64>> = list(case, "/marks")?
        .iter()
        .map(|m| numbers(m, ""))
        .collect::<Result<_, _>>()?;
    let mut next = marks.iter().peekable();
    let rooms: Vec<usize> = s.outlets.iter().map(|o| o.room).collect();
    let mut ran = Ran {
        energy_j: vec![0.0; rooms.len()],
        ..Ran::default()
    };
    let mut before: Vec<f64> = s.rooms.iter().map(|r| r.initial_c).collect();
    steps(&s, MARK_S, |sample, lasted_s, events| {
        let starts = events
            .iter()
            .filter(|e| e.what == What::Control(NoticeKind::Start));
        ran.starts_s.extend(starts.map(|e| e.t_s));
        if sample.unit.speed > 0.0 {
            ran.run_s += lasted_s;
            ran.coil_j += lasted_s * (sample.unit.sensible_w + sample.unit.latent_w);
        }
        for ((o, &room), energy) in sample.outlets.iter().zip(&rooms).zip(&mut ran.energy_j) {
            let room_c = 0.5 * (before[room] + sample.rooms[room].air_c);
            *energy += lasted_s * DENSITY * o.flow_m3_s * CP_MOIST * (room_c - o.air_c);
        }
        for (b, r) in before.iter_mut().zip(&sample.rooms) {
            *b = r.air_c;
        }
        let Some(mark) = next.next_if(|m| (m[0] - sample.t_s).abs() < 1e-6) else {
            return;
        };
        for (i, r) in sample.rooms.iter().enumerate() {
            let theirs = &mark[1 + 5 * i..];
            ran.air_k.add(r.air_c, theirs[0]);
            ran.stores_k.add(r.contents_c, theirs[1]);
            ran.stores_k.add(r.fabric_c, theirs[2]);
            ran.w.add(r.w, theirs[3]);
        }
        let air = &mark[1 + 5 * sample.rooms.len()..];
        if let [.., static_pa, supply_c] = air {
            let n = rooms.len();
            for (o, (opening, flow)) in sample.outlets.iter().zip(air.iter().zip(&air[n + 1..])) {
                ran.openings.add(o.opening, *opening);
                ran.flows.add(o.flow_m3_s, *flow);
            }
            ran.relief.add(sample.air.relief_opening, air[n]);
            ran.flows.add(sample.air.relief_flow_m3_s, air[2 * n + 1]);
            ran.static_pa.add(sample.air.supply_static_pa, *static_pa);
            ran.supply_k.add(sample.unit.supply_c, *supply_c);
        }
    })?;
    match next.next() {
        Some(_) => Err(ReferenceError::Missing("step on every mark".into())),
        None => Ok(ran),
    }
}

fn all(name: &str, case: &Value) -> Result<Vec<Ran>, ReferenceError> {
    use rayon::prelude::*;
    STEPS_S.par_iter().map(|&h| run(name, h, case)).collect()
}

fn errors(all: &[Ran], of: impl Fn(&Ran) -> f64) -> Shrinking {
    let mut found = [f64::NAN; 4];
    for (e, ran) in found.iter_mut().zip(all) {
        *e = of(ran);
    }
    Shrinking(found)
}

/// Worst relative difference of two lists.
fn apart(ours: &[f64], theirs: &[f64]) -> f64 {
    let mut worst = Worst::default();
    for (a, b) in ours.iter().zip(theirs) {
        worst.add_relative(*a, *b);
    }
    if ours.len() == theirs.len() {
        worst.difference
    } else {
        f64::NAN
    }
}

fn on_off(name: &str, title: &str, case: &Value) -> Result<Vec<Row>, ReferenceError> {
    let starts = numbers(case, "/starts_s")?;
    let energy = numbers(case, "/energy_j")?;
    let (run_s, coil_j) = (number(case, "/run_time_s")?, number(case, "/coil_j")?);
    let all = all(name, case)?;
    let what = |of: &str| format!("{title}, on and off: {of}");
    // Mean length of a cycle, first start to last, free of where the day happens to end.
    let mean = |s: &[f64]| match (s.first(), s.last()) {
        (Some(a), Some(b)) if s.len() > 1 => (b - a) / (s.len() - 1) as f64,
        _ => f64::NAN,
    };
    let second = |s: &[f64]| s.get(1).copied().unwrap_or(f64::NAN);
    let lengths = errors(&all, |r| (mean(&r.starts_s) - mean(&starts)).abs());
    // One thermostat slips in phase, so that what stands at an hour's mark says less than its cycles; two cycle
    // through one another, and there the marks are the smoother measure.
    let convergence = if energy.len() == 1 {
        lengths.convergence(what(
            "mean length of a cycle, error at 0.8 s over that at 0.1 s",
        ))
    } else {
        errors(&all, |r| r.stores_k.difference).convergence(what(
            "contents and fabric, error at 0.8 s over that at 0.1 s",
        ))
    };
    let counts: Vec<String> = all.iter().map(|r| r.starts_s.len().to_string()).collect();
    let finest = all.last().map_or(f64::NAN, |r| r.starts_s.len() as f64);
    let error = |of: &dyn Fn(&Ran) -> f64| errors(&all, of);
    Ok(vec![
        Row::figure(
            what("starts, steps of 0.1 s"),
            SCIPY,
            (finest, starts.len() as f64),
            1.0,
            "1",
        )
        .part("thermostat cycle")
        .remark(format!("at 0.8, 0.4, 0.2 and 0.1 s: {}", counts.join(", "))),
        error(&|r| (second(&r.starts_s) - second(&starts)).abs())
            .row(what("second start"), 2.0, "s")
            .part("thermostat cycle"),
        lengths
            .row(what("mean length of a cycle"), 1.5, "s")
            .part("thermostat cycle"),
        convergence.part("thermostat cycle"),
        error(&|r| (r.run_s / run_s - 1.0).abs())
            .row(what("run time, relative"), 0.002, "1")
            .part("thermostat cycle"),
        error(&|r| apart(&r.energy_j, &energy))
            .row(
                what("heat taken out by the supply, relative, worst room"),
                0.002,
                "1",
            )
            .part("supply air"),
        error(&|r| (r.coil_j / coil_j - 1.0).abs())
            .row(what("heat taken out by the coil, relative"), 0.002, "1")
            .part("unit capacity"),
        error(&|r| r.stores_k.difference)
            .row(what("contents and fabric at every half-hour"), 0.02, "K")
            .part("room balance"),
        error(&|r| r.w.difference)
            .row(what("humidity ratio at every half-hour"), 1e-4, "kg/kg")
            .part("latent heat"),
    ])
}

/// Electricity as a run reports it, against the reference's own sum.
fn electricity(name: &str, title: &str, case: &Value) -> Result<Row, ReferenceError> {
    let s: Scenario = scenario(name, &[])?;
    let outcome = simulate(&s, |_| ()).map_err(super::reference::refused(name))?;
    let ours = outcome
        .measure("energy_electric", "house")
        .map_or(f64::NAN, |m| m.value);
    let theirs = number(case, "/unit_electricity_j")? + number(case, "/fan_electricity_j")?;
    Ok(Row::relative(
        format!("{title}, on and off: electricity of unit and fan, steps of 1 s"),
        SCIPY,
        (ours / 3.6e6, theirs / 3.6e6),
        0.005,
        "kWh",
    )
    .part("electricity"))
}

fn modulating(case: &Value) -> Result<Vec<Row>, ReferenceError> {
    let energy = numbers(case, "/energy_j")?;
    let all = all("three_rooms", case)?;
    let what = |of: &str| format!("three rooms, modulating, motorised relief, 6 h: {of}");
    let error = |of: &dyn Fn(&Ran) -> f64| errors(&all, of);
    let opening = error(&|r| r.relief.difference);
    Ok(vec![
        error(&|r| r.air_k.difference)
            .row(what("air at every half-hour"), 2e-3, "K")
            .part("room balance"),
        error(&|r| r.stores_k.difference)
            .row(what("contents and fabric at every half-hour"), 2e-3, "K")
            .part("room balance"),
        error(&|r| r.openings.difference)
            .row(what("openings of dampers at every half-hour"), 5e-4, "1")
            .part("damper control"),
        error(&|r| r.relief.difference)
            .row(what("opening of the relief at every half-hour"), 5e-4, "1")
            .part("relief control"),
        error(&|r| 1000.0 * r.flows.difference)
            .row(what("flows at every half-hour"), 0.05, "L/s")
            .part("air network"),
        error(&|r| r.static_pa.difference)
            .row(what("supply static at every half-hour"), 0.05, "Pa")
            .part("air network"),
        error(&|r| r.supply_k.difference)
            .row(what("supply air at every half-hour"), 5e-3, "K")
            .part("supply air"),
        error(&|r| apart(&r.energy_j, &energy))
            .row(
                what("heat taken out by the supply, relative, worst room"),
                1e-3,
                "1",
            )
            .part("supply air"),
        opening
            .convergence(what(
                "opening of the relief, error at 0.8 s over that at 0.1 s",
            ))
            .part("relief control"),
    ])
}
