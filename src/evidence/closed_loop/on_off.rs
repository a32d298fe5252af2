//! Loops (i) and (ii): thermostats with hysteresis, one two-position unit.

use chrono::NaiveDate;
use serde_json::Value;

use super::rooms::Rooms;
use super::{STEPS_S, Shrinking, marks};
use crate::control::damper::Damper;
use crate::control::fan::{FanLaw, FanSpec};
use crate::control::mode::{ModeRule, ModeSpec};
use crate::control::sequence::{Opening, SequenceSpec};
use crate::control::staging::{DemandRule, Stages, Staging};
use crate::control::thermostat::{Differential, Placement};
use crate::control::timetable::{Setpoints, Timetable};
use crate::control::zone::{LostSensor, OutOfBand, ZoneSpec};
use crate::control::{
    Calendar, ChannelOwner, Controller, ControllerSpec, Mode, NoticeKind, Readings,
};
use crate::evidence::reference::{EvidenceError, number, numbers, refused};
use crate::evidence::row::{Row, Worst};

fn zone(name: String, cooling_c: f64, width_k: f64) -> ZoneSpec {
    ZoneSpec {
        name,
        weight: 1.0,
        timetable: Timetable::always(Setpoints {
            cooling_c,
            heating_c: cooling_c - 10.0,
        }),
        out_of_band: OutOfBand::Shut,
        optimum_start: None,
        differential: Differential {
            width_k,
            placement: Placement::Centred,
        },
        damper: Damper::TwoPosition,
        idle_open: 0.0,
        lost_sensor: LostSensor::NoCall,
        lowest_c: 5.0,
        highest_c: 40.0,
        enabled: true,
    }
}

/// The barest controller: fixed speed, cooling only, no protections.
pub(in crate::evidence) fn bare(zones: Vec<ZoneSpec>, minimum_off_s: f64) -> ControllerSpec {
    ControllerSpec {
        channels: (0..zones.len()).map(ChannelOwner::Zone).collect(),
        zones,
        mode: ModeSpec {
            rule: ModeRule::Fixed(Mode::Cooling),
            initial: Mode::Cooling,
            qualify_s: 0.0,
            hold_s: 0.0,
            change_off_s: 0.0,
            max_wait_s: f64::INFINITY,
        },
        staging: Staging {
            stages: Stages::FixedSpeed,
            rule: DemandRule::Both,
            gain_per_k: 1.0,
            band_k: 1.0,
            up_delay_s: 0.0,
            down_delay_s: 0.0,
            airflow_limit: None,
        },
        fan: FanSpec {
            law: FanLaw::PerStage {
                low: 1.0,
                full: 1.0,
            },
            post_run: 0.0,
        },
        sequence: SequenceSpec {
            minimum_run_s: 0.0,
            minimum_off_s,
            post_run_s: 0.0,
            opening: Opening::Wait { wait_s: 0.0 },
            power_up_s: 0.0,
        },
        relief: None,
        protections: Vec::new(),
    }
}

/// A zone for a simulation of one thermostat.
pub(in crate::evidence) fn one_zone(cooling_c: f64, width_k: f64) -> Vec<ZoneSpec> {
    vec![zone("room".into(), cooling_c, width_k)]
}

/// Midnight on a Monday.
pub(in crate::evidence) fn calendar() -> Calendar {
    Calendar::new(
        NaiveDate::from_ymd_opt(2026, 1, 5)
            .unwrap_or_default()
            .and_time(chrono::NaiveTime::MIN),
    )
}

const PARTS: &str = "sensor, controller and rooms are the library's, stepped in the order of a run; the supply is the case's own";

struct Ran {
    starts_s: Vec<f64>,
    run_s: f64,
    energy_j: Vec<f64>,
    /// Largest difference of contents and of fabric at the marks, K.
    stores_k: f64,
}

fn simulate(case: &Value, dt_s: f64) -> Result<Ran, EvidenceError> {
    let inputs = &case["inputs"];
    let mut rooms = Rooms::new(inputs)?;
    let setpoints = numbers(inputs, "/setpoint_c")?;
    let widths = numbers(inputs, "/differential_k")?;
    let zones = setpoints
        .iter()
        .zip(&widths)
        .enumerate()
        .map(|(i, (&set, &width))| zone(format!("room {i}"), set, width))
        .collect();
    let minimum_off_s = inputs["min_off_s"].as_f64().unwrap_or(0.0);
    let controller =
        Controller::new(bare(zones, minimum_off_s)).map_err(refused("a closed loop's control"))?;
    let (mut state, mut commands) = (controller.initial_state(1), controller.commands());
    let calendar = calendar();
    let (both, alone) = if setpoints.len() == 1 {
        let on = number(inputs, "/m_on_kg_s")?;
        (vec![on], vec![on])
    } else {
        (
            numbers(inputs, "/m_both_kg_s")?,
            numbers(inputs, "/m_alone_kg_s")?,
        )
    };
    let marks = marks(case)?;
    let mut next_mark = marks.iter();
    let mut awaited = next_mark.next();
    let (mut notices, mut flows) = (Vec::new(), vec![0.0; setpoints.len()]);
    let (mut starts_s, mut run_s, mut stores) = (Vec::new(), 0.0, Worst::default());
    let steps = (number(inputs, "/end_s")? / dt_s).round() as usize;
    for k in 0..=steps {
        let t_s = k as f64 * dt_s;
        if awaited.is_some_and(|m| (m[0] - t_s).abs() < 1e-6) {
            for i in 0..setpoints.len() {
                for store in [1, 2] {
                    let want = awaited.map_or(f64::NAN, |m| m[1 + 4 * i + store]);
                    stores.add(rooms.x[3 * i + store], want);
                }
            }
            awaited = next_mark.next();
        }
        if k == steps {
            break;
        }
        rooms.read(dt_s);
        let readings = Readings {
            zone_c: &rooms.readings_c,
            ..Readings::default()
        };
        let clock = calendar.clock(t_s);
        controller.step(
            &clock,
            dt_s,
            &readings,
            &mut state,
            &mut commands,
            &mut notices,
        );
        for notice in notices.drain(..) {
            if notice.kind == NoticeKind::Start {
                starts_s.push(t_s);
            }
        }
        let running = commands.unit.mode.is_some();
        // The zones' dampers move at once and are tight, so their openings say who gets air.
        let open = |i: usize| commands.channel_opening[i] > 0.5;
        let all = (0..flows.len()).all(open);
        for (i, flow) in flows.iter_mut().enumerate() {
            let most = if all { both[i] } else { alone[i] };
            *flow = if running && open(i) { most } else { 0.0 };
        }
        run_s += if running { dt_s } else { 0.0 };
        rooms.step(t_s, dt_s, &flows, &[])?;
    }
    if awaited.is_some() {
        return Err(EvidenceError::Missing("mark on a step".into()));
    }
    Ok(Ran {
        starts_s,
        run_s,
        energy_j: rooms.energy_j,
        stores_k: stores.difference,
    })
}

pub(super) fn rows(name: &str, case: &Value) -> Result<Vec<Row>, EvidenceError> {
    let starts = numbers(case, "/starts_s")?;
    let (run_s, energy) = (number(case, "/run_time_s")?, numbers(case, "/energy_j")?);
    let hours = number(&case["inputs"], "/end_s")? / 3600.0;
    let what = |of: &str| format!("{name}, {hours:.0} h: {of}");
    let (mut runs, mut energies, mut stores) = ([0.0; 4], [0.0; 4], [0.0; 4]);
    let mut lengths = [0.0; 4];
    let mut first = [0.0; 4];
    let mut counts = Vec::new();
    for (j, dt_s) in STEPS_S.into_iter().enumerate() {
        let ran = simulate(case, dt_s)?;
        runs[j] = (ran.run_s / run_s - 1.0).abs();
        energies[j] = ran
            .energy_j
            .iter()
            .zip(&energy)
            .map(|(a, b)| (a / b - 1.0).abs())
            .fold(0.0, f64::max);
        stores[j] = ran.stores_k;
        counts.push(ran.starts_s.len());
        // Mean length of a cycle, first start to last, free of where the day happens to end.
        let mean = |s: &[f64]| match (s.first(), s.last()) {
            (Some(a), Some(b)) if s.len() > 1 => (b - a) / (s.len() - 1) as f64,
            _ => f64::NAN,
        };
        lengths[j] = (mean(&ran.starts_s) - mean(&starts)).abs();
        let second = |s: &[f64]| s.get(1).copied().unwrap_or(f64::NAN);
        first[j] = (second(&ran.starts_s) - second(&starts)).abs();
    }
    let told: Vec<String> = counts.iter().map(usize::to_string).collect();
    // One thermostat slips in phase, so that what stands at an hour's mark says less than its cycles;
    // two cycle through one another, and there the marks are the smoother measure.
    let convergence = if energy.len() == 1 {
        Shrinking(lengths).convergence(what(
            "mean length of a cycle, error at 4 s over that at 0.5 s",
        ))
    } else {
        Shrinking(stores).convergence(what("contents and fabric, error at 4 s over that at 0.5 s"))
    };
    let finest = counts.last().copied().unwrap_or(0) as f64;
    Ok(vec![
        Row::figure(
            what("starts, steps of 0.5 s"),
            super::SCIPY,
            (finest, starts.len() as f64),
            0.0,
            "1",
        )
        .remark(format!(
            "at 4, 2, 1 and 0.5 s: {}; {PARTS}",
            told.join(", ")
        )),
        Shrinking(first).row(what("second start"), 1.0, "s"),
        Shrinking(lengths).row(what("mean length of a cycle"), 1.0, "s"),
        convergence,
        Shrinking(runs).row(what("run time, relative"), 0.001, "1"),
        Shrinking(energies).row(
            what("heat taken out by the supply, relative, worst room"),
            0.001,
            "1",
        ),
        Shrinking(stores).row(what("contents and fabric at every hour"), 0.02, "K"),
    ])
}
