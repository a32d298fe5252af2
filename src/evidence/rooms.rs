//! Rooms against exact exponentials and the periodic solution, and their balances.

use std::f64::consts::PI;

use serde_json::Value;

use super::reference::{EvidenceError, list, number, numbers, parse, refused};
use super::row::{Row, Worst};
use crate::plant::doorway::Doorway;
use crate::plant::thermal::{Drive, StoreNetwork};
use crate::run::simulate;
use crate::scenario::Scenario;

const EXACT: &str = "matrix exponentials with 50 digits (mpmath), scipy's expm agrees";

pub(super) fn rows() -> Result<Vec<Row>, EvidenceError> {
    let file = parse(
        "room_cases.json",
        include_str!("../../tests/reference/room_cases.json"),
    )?;
    let mut out = Vec::new();
    one_store(&file["case1_single_node"], &mut out)?;
    two_stores(&file["case2_two_node_step"], &mut out)?;
    periodic(&file["case3_periodic_outdoor"], &mut out)?;
    moisture(&file["case5_moisture_buffer"], &mut out)?;
    doorway(&file["case7_doorway_buoyant_exchange"], &mut out)?;
    balances(&mut out)?;
    Ok(out)
}

/// Steps `x` to `end_s`; `drive` fills conductances and sources at the middle of each step.
fn integrate(
    network: &mut StoreNetwork,
    x: &mut [f64],
    end_s: f64,
    h: f64,
    mut drive: impl FnMut(f64, &mut [f64], &mut [f64]),
) -> Result<(), EvidenceError> {
    let steps = (end_s / h).round().max(1.0);
    let h = end_s / steps;
    let n = network.len();
    let (mut b, mut s, mut middle) = (vec![0.0; n], vec![0.0; n], vec![0.0; n]);
    for k in 0..steps as usize {
        drive((k as f64 + 0.5) * h, &mut b, &mut s);
        let drive = Drive {
            boundary: &b,
            source: &s,
            stream: &[],
        };
        network
            .step(h, &drive, x, &mut middle)
            .map_err(refused("a room case"))?;
    }
    Ok(())
}

fn one_store(c: &Value, out: &mut Vec<Row>) -> Result<(), EvidenceError> {
    let i = |key: &str| number(c, &format!("/inputs/{key}"));
    let mcp = i("m_kg_s")? * i("cp_J_kgK")?;
    let (h_out, t_out, t_s, q) = (i("H_W_K")?, i("To_C")?, i("Ts_C")?, i("Q_W")?);
    let mut worst = Worst::default();
    for (t, want) in numbers(c, "/t_s")?.into_iter().zip(numbers(c, "/T_C")?) {
        let mut builder = StoreNetwork::builder();
        builder.store(i("C_J_K")?);
        let mut x = [i("T0_C")?];
        integrate(&mut builder.build(), &mut x, t, 1.0, |_, b, s| {
            b[0] = mcp + h_out;
            s[0] = mcp * t_s + h_out * t_out + q;
        })?;
        worst.add(x[0], want);
    }
    out.push(Row::largest(
        "one store with supply air, steps of 1 s",
        EXACT,
        worst,
        1e-8,
        "K",
    ));
    Ok(())
}

/// The two-store room of cases 2 and 3.
fn pair(c: &Value) -> Result<(StoreNetwork, [f64; 2]), EvidenceError> {
    let i = |key: &str| number(c, &format!("/inputs/{key}"));
    let mut builder = StoreNetwork::builder();
    let air = builder.store(i("Ca_J_K")?);
    let mass = builder.store(i("Cm_J_K")?);
    builder.link(air, mass, i("Ham_W_K")?);
    Ok((builder.build(), [i("Ta0_C")?, i("Tm0_C")?]))
}

fn two_stores(c: &Value, out: &mut Vec<Row>) -> Result<(), EvidenceError> {
    let i = |key: &str| number(c, &format!("/inputs/{key}"));
    let mcp = i("m_kg_s")? * i("cp_J_kgK")?;
    let (hao, hmo, t_out) = (i("Hao_W_K")?, i("Hmo_W_K")?, i("To_C")?);
    let source = [
        mcp * i("Ts_C")? + hao * t_out + i("Qa_W")?,
        hmo * t_out + i("Qm_W")?,
    ];
    let times = numbers(c, "/t_s")?;
    let wants: Vec<Vec<f64>> = list(c, "/Ta_Tm_C")?
        .iter()
        .map(|row| numbers(row, ""))
        .collect::<Result<_, _>>()?;
    let at = |t: f64, h: f64| -> Result<[f64; 2], EvidenceError> {
        let (mut network, mut x) = pair(c)?;
        integrate(&mut network, &mut x, t, h, |_, b, s| {
            b.copy_from_slice(&[mcp + hao, hmo]);
            s.copy_from_slice(&source);
        })?;
        Ok(x)
    };
    let mut worst = Worst::default();
    for (&t, want) in times.iter().zip(&wants) {
        for (got, want) in at(t, 1.0)?.iter().zip(want) {
            worst.add(*got, *want);
        }
    }
    out.push(
        Row::largest(
            "air and mass after a step of supply, steps of 1 s",
            EXACT,
            worst,
            7.5e-6,
            "K",
        )
        .remark("tolerance is the trapezoid rule's own (λh)²/12 of the fast mode"),
    );
    // The order by which errors shrink, in the middle of the fast mode and well after round-off.
    let middle = times
        .iter()
        .zip(&wants)
        .find(|(t, _)| **t == 300.0)
        .or_else(|| times.iter().zip(&wants).find(|(t, _)| **t >= 60.0))
        .ok_or_else(|| EvidenceError::Missing("a time for the order".into()))?;
    let mut errors = Vec::new();
    for h in [middle.0 / 15.0, middle.0 / 30.0, middle.0 / 60.0] {
        errors.push((at(*middle.0, h)?[0] - middle.1[0]).abs());
    }
    let order = (errors[1] / errors[2]).log2();
    out.push(
        Row::figure(
            "observed order of accuracy",
            "trapezoid rule: second order (textbook)",
            (order, 2.0),
            0.1,
            "1",
        )
        .remark(format!(
            "air at {:.0} s with steps of {:.0}, {:.0} and {:.0} s",
            middle.0,
            middle.0 / 15.0,
            middle.0 / 30.0,
            middle.0 / 60.0
        )),
    );
    Ok(())
}

fn periodic(c: &Value, out: &mut Vec<Row>) -> Result<(), EvidenceError> {
    let i = |key: &str| number(c, &format!("/inputs/{key}"));
    let (hao, hmo) = (i("Hao_W_K")?, i("Hmo_W_K")?);
    let outdoor = |t: f64| 30.0 + 6.0 * (2.0 * PI * (t - 54_000.0) / 86_400.0).cos();
    let mut worst = Worst::default();
    for row in list(c, "/rows_full_solution")? {
        let row = numbers(row, "")?;
        let (mut network, mut x) = pair(c)?;
        integrate(&mut network, &mut x, row[0], 5.0, |t, b, s| {
            b.copy_from_slice(&[hao, hmo]);
            s.copy_from_slice(&[hao * outdoor(t), hmo * outdoor(t)]);
        })?;
        for (got, want) in x.iter().zip(&row[1..]) {
            worst.add(*got, *want);
        }
    }
    out.push(Row::largest(
        "air and mass under a daily wave outdoors, steps of 5 s",
        "exact transient and periodic solution, mpmath",
        worst,
        2e-5,
        "K",
    ));
    // After three weeks only the periodic part is left: its amplitude by the quadrature of a day.
    let (mut network, mut x) = pair(c)?;
    let drive = |t: f64, b: &mut [f64], s: &mut [f64]| {
        b.copy_from_slice(&[hao, hmo]);
        s.copy_from_slice(&[hao * outdoor(t), hmo * outdoor(t)]);
    };
    integrate(&mut network, &mut x, 40.0 * 86_400.0, 60.0, drive)?;
    let (mut cosine, mut sine) = ([0.0; 2], [0.0; 2]);
    for k in 0..1440 {
        let t = 60.0 * f64::from(k);
        let w = 2.0 * PI * (t - 54_000.0) / 86_400.0;
        for j in 0..2 {
            cosine[j] += x[j] * w.cos() / 720.0;
            sine[j] += x[j] * w.sin() / 720.0;
        }
        integrate(&mut network, &mut x, 60.0, 60.0, |m, b, s| {
            drive(t + m, b, s)
        })?;
    }
    let gains = numbers(c, "/gain")?;
    let lags = numbers(c, "/phase_lag_s")?;
    for (j, what) in ["air", "mass"].into_iter().enumerate() {
        let gain = cosine[j].hypot(sine[j]) / 6.0;
        let lag = sine[j].atan2(cosine[j]).rem_euclid(2.0 * PI) / (2.0 * PI) * 86_400.0;
        let of = |v: &[f64]| v.get(j).copied().unwrap_or(f64::NAN);
        out.push(Row::relative(
            format!("daily wave: share of the outdoor swing that reaches the {what}"),
            "periodic solution, mpmath",
            (gain, of(&gains)),
            1e-4,
            "1",
        ));
        out.push(Row::figure(
            format!("daily wave: lag of the {what}"),
            "periodic solution, mpmath",
            (lag, of(&lags)),
            1.0,
            "s",
        ));
    }
    Ok(())
}

fn moisture(c: &Value, out: &mut Vec<Row>) -> Result<(), EvidenceError> {
    let i = |key: &str| number(c, &format!("/inputs/{key}"));
    let (ms, mi) = (i("ms_kg_s")?, i("mi_kg_s")?);
    let source = ms * i("ws")? + mi * i("wo")? + i("G_kg_s")?;
    let mut worst = Worst::default();
    for row in list(c, "/rows")? {
        let row = numbers(row, "")?;
        let mut builder = StoreNetwork::builder();
        let air = builder.store(i("Ma_kg")?);
        let buffer = builder.store(i("Mb_kg")?);
        builder.link(air, buffer, i("kb_kg_s")?);
        let mut x = [i("w0")?, i("wb0")?];
        integrate(&mut builder.build(), &mut x, row[0], 1.0, |_, b, s| {
            b.copy_from_slice(&[ms + mi, 0.0]);
            s.copy_from_slice(&[source, 0.0]);
        })?;
        for (got, want) in x.iter().zip(&row[1..]) {
            worst.add(*got, *want);
        }
    }
    out.push(Row::largest(
        "moisture of air and buffer, steps of 1 s",
        EXACT,
        worst,
        1e-9,
        "kg/kg",
    ));
    Ok(())
}

fn doorway(c: &Value, out: &mut Vec<Row>) -> Result<(), EvidenceError> {
    let mut worst = Worst::default();
    for row in list(c, "/rows")? {
        let door = Doorway {
            width_m: number(row, "/W_m")?,
            height_m: number(row, "/H_m")?,
            discharge: number(row, "/Cd")?,
        };
        let flow = door.buoyant_flow_m3_s(number(row, "/dT_K")?, number(row, "/Tmean_K")?);
        worst.add_relative(flow, number(row, "/V_m3_s")?);
    }
    out.push(Row::largest(
        "exchange through an open doorway, relative",
        "Brown and Solvason 1962, integral worked again",
        worst,
        1e-9,
        "1",
    ));
    Ok(())
}

/// Heat and moisture of the house built into the program, over its whole day with every part at work.
fn balances(out: &mut Vec<Row>) -> Result<(), EvidenceError> {
    let scenario = Scenario::embedded("family-house").map_err(refused("the family house"))?;
    let outcome = simulate(&scenario, |_| ()).map_err(refused("the family house"))?;
    for (what, closure) in [("heat", outcome.heat), ("moisture", outcome.moisture)] {
        let mut worst = Worst::default();
        worst.push(closure.relative);
        out.push(Row::largest(
            format!("{what} balance of all rooms over the family house's day, relative"),
            "conservation",
            worst,
            1e-9,
            "1",
        ));
    }
    Ok(())
}
