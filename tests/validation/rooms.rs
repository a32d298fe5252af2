//! Rooms by themselves: what a run makes of scenarios without conditioning, against scipy and closed forms.

use serde_json::Value;

use super::reference::{ReferenceError, list, number, numbers, parse};
use super::row::{Row, Worst};
use super::run::{scenario, steps};
use crate::engine::sample::Sample;
use crate::plant::doorway::Doorway;
use crate::plant::room::CP_MOIST;
use crate::run::simulate;
use crate::scenario::Scenario;

const SCIPY: &str = "scipy 1.17.1, LSODA and Radau, rtol 1e-9";
const HOUR_S: f64 = 3600.0;

pub(super) fn rows() -> Result<Vec<Row>, ReferenceError> {
    let file = parse(
        "scenarios.json",
        include_str!("../reference/scenarios.json"),
    )?;
    let mut out = Vec::new();
    four_rooms(&file["rooms"], &mut out)?;
    sun(&file["sun"], &mut out)?;
    one_door(&mut out)?;
    people(&mut out)?;
    votes(&mut out)?;
    daily_wave(&mut out)?;
    doorway(&mut out)?;
    balances(&mut out)?;
    Ok(out)
}

/// Largest differences from the hourly marks of a reference: temperatures of air, contents and fabric,
/// and humidity ratio.
fn at_marks(s: &Scenario, case: &Value) -> Result<[Worst; 4], ReferenceError> {
    let marks: Vec<Vec<f64>> = list(case, "/marks")?
        .iter()
        .map(|m| numbers(m, ""))
        .collect::<Result<_, _>>()?;
    let mut worst = [Worst::default(); 4];
    let mut next = marks.iter().peekable();
    steps(s, HOUR_S, |sample, _, _| {
        let Some(mark) = next.next_if(|m| (m[0] - sample.t_s).abs() < 1e-6) else {
            return;
        };
        for (i, r) in sample.rooms.iter().enumerate() {
            let ours = [r.air_c, r.contents_c, r.fabric_c, r.w];
            for ((worst, ours), theirs) in worst.iter_mut().zip(ours).zip(&mark[1 + 5 * i..]) {
                worst.add(ours, *theirs);
            }
        }
    })?;
    match next.next() {
        Some(_) => Err(ReferenceError::Missing("step on every mark".into())),
        None => Ok(worst),
    }
}

fn four_rooms(case: &Value, out: &mut Vec<Row>) -> Result<(), ReferenceError> {
    let stores = ["air", "contents", "fabric"];
    // The two integrators of the reference agree within 5e-6 K. A step weighted at its end instead of evenly
    // would be off by 2e-5 K in steps of 1 s.
    let short = [(
        "duration = \"12 h\"",
        "duration = \"12 h\"\nlong_step = \"1 s\"",
    )];
    for (how, changes, kelvin, w) in [
        ("steps of 1 s", &short[..], 5e-6, 2e-8),
        ("steps as long as a run takes them", &[][..], 5e-5, 1e-6),
    ] {
        let worst = at_marks(&scenario("rooms", changes)?, case)?;
        for (store, worst) in stores.iter().zip(worst) {
            out.push(
                Row::largest(
                    format!("three rooms and a hall, 12 h, {how}: {store}"),
                    SCIPY,
                    worst,
                    kelvin,
                    "K",
                )
                .part("room balance")
                .remark(
                    "walls, glass, ground, leaks, gains by their hours, partitions, open doors",
                ),
            );
        }
        out.push(
            Row::largest(
                format!("three rooms and a hall, 12 h, {how}: humidity ratio"),
                SCIPY,
                worst[3],
                w,
                "kg/kg",
            )
            .part("room moisture"),
        );
    }
    Ok(())
}

fn sun(case: &Value, out: &mut Vec<Row>) -> Result<(), ReferenceError> {
    let worst = at_marks(&scenario("sun", &[])?, case)?;
    for (store, worst) in ["air", "contents", "fabric"].iter().zip(worst) {
        out.push(
            Row::largest(
                format!("a room in the sun, 16 h: {store}"),
                "pvlib 0.16.1 (position, isotropic sky, Fresnel glass) and scipy 1.17.1",
                worst,
                0.01,
                "K",
            )
            .part("sun")
            .remark("windows to four sides, a wall, a roof; the air swings by some 20 K"),
        );
    }
    Ok(())
}

/// Two rooms of air alone and a door: Δ' = −(2 k cp/C) Δ^1.5, so 1/√Δ grows evenly.
fn one_door(out: &mut Vec<Row>) -> Result<(), ReferenceError> {
    let s = scenario("sealed", &[])?;
    let mut worst = Worst::default();
    // A capacity of 60 kJ/K each, and an opening of 0.8 m by 2 m with Cd 0.6.
    let k = 1.2 * 0.6 / 3.0 * 0.8 * (9.80665 * 2.0_f64.powi(3) / 296.15).sqrt();
    steps(&s, 60.0, |sample, _, _| {
        let apart = sample.rooms[0].air_c - sample.rooms[1].air_c;
        let want = (6.0_f64.powf(-0.5) + k * CP_MOIST * sample.t_s / 60e3).powi(-2);
        worst.add(apart, want);
    })?;
    out.push(
        Row::largest(
            "two rooms of air alone, 6 K apart, and an open door: difference for an hour",
            "Brown and Solvason 1962, integrated by hand: 1/√ΔT grows evenly",
            worst,
            0.01,
            "K",
        )
        .part("doors"),
    );
    Ok(())
}

/// Heat and moisture of people in a sealed room without anything that stores either but its air.
fn people(out: &mut Vec<Row>) -> Result<(), ReferenceError> {
    let s = scenario(
        "sealed",
        &[
            ("open = \"always\"", "open = \"never\""),
            (
                "initial_temperature = \"30 °C\"",
                "initial_temperature = \"24 °C\"\npeople = [{ from = \"06:10\", to = \"06:40\", count = 2, sensible = \"70 W\", latent = \"49 W\" }]",
            ),
        ],
    )?;
    let (mut heat, mut moisture) = (Worst::default(), Worst::default());
    let mut start_w = f64::NAN;
    steps(&s, 60.0, |sample, _, _| {
        if start_w.is_nan() {
            start_w = sample.rooms[0].w;
        }
        let there_s = (sample.t_s - 600.0).clamp(0.0, 1800.0);
        // Of the 140 W, 45 % go to the air; 98 W of vapour at 2.45 MJ/kg into 60 kg of air.
        heat.add(sample.rooms[0].air_c, 24.0 + 0.45 * 140.0 * there_s / 60e3);
        moisture.add(sample.rooms[0].w - start_w, 98.0 / 2.45e6 * there_s / 60.0);
    })?;
    let by = "first law by hand; latent heat 2.45 MJ/kg";
    out.push(
        Row::largest(
            "two people for half an hour in a sealed room: air",
            by,
            heat,
            1e-6,
            "K",
        )
        .part("gains"),
    );
    out.push(
        Row::largest(
            "two people for half an hour in a sealed room: humidity ratio",
            by,
            moisture,
            1e-9,
            "kg/kg",
        )
        .part("latent heat"),
    );
    Ok(())
}

/// What people vote in a room that stays as it is, as a run reports it: two rows of the standard's table.
fn votes(out: &mut Vec<Row>) -> Result<(), ReferenceError> {
    let (mut pmv, mut ppd) = (Worst::default(), Worst::default());
    for (air, vote, percent) in [("22 °C", -0.75, 17.0), ("27 °C", 0.77, 17.0)] {
        let here = format!(
            "initial_temperature = \"{air}\"\npeople = [{{ from = \"06:10\", to = \"06:40\", sensible = \"0 W\", latent = \"0 W\" }}]"
        );
        let s = scenario(
            "sealed",
            &[
                ("open = \"always\"", "open = \"never\""),
                ("initial_temperature = \"24 °C\"", "initial_humidity = 0.6"),
                ("initial_temperature = \"30 °C\"", &here),
            ],
        )?;
        let outcome = simulate(&s, |_| ()).map_err(super::reference::refused("votes"))?;
        let of = |key: &str| outcome.measure(key, "warm").map_or(f64::NAN, |m| m.value);
        pmv.add(of("pmv_mean"), vote);
        pmv.add(of("pmv_worst"), vote);
        ppd.add(100.0 * of("ppd_mean"), percent);
    }
    let by = "ISO 7730:2005 Table D.1: 22 and 27 °C, 60 %, 0.1 m/s, 1.2 met, 0.5 clo";
    out.extend([
        Row::largest(
            "votes that a run reports: predicted mean vote",
            by,
            pmv,
            0.01,
            "1",
        )
        .part("comfort votes"),
        Row::largest(
            "votes that a run reports: share dissatisfied",
            by,
            ppd,
            0.5,
            "%",
        )
        .part("comfort votes"),
    ]);
    Ok(())
}

/// Outdoor air of a design day: ASHRAE's shares of the daily range.
fn daily_wave(out: &mut Vec<Row>) -> Result<(), ReferenceError> {
    let s = scenario(
        "sealed",
        &[
            ("duration = \"1 h\"", "duration = \"24 h\""),
            (
                "start = \"2027-01-18 06:00\"",
                "start = \"2027-01-18 00:00\"",
            ),
            (
                "kind = \"constant\"\ntemperature = \"30 °C\"",
                "kind = \"summer day\"\nmaximum = \"36 °C\"\ndaily_range = \"10 K\"",
            ),
        ],
    )?;
    // Hours 1 to 24.
    let below = [
        0.88, 0.92, 0.95, 0.98, 1.00, 0.98, 0.91, 0.74, 0.55, 0.38, 0.23, 0.13, 0.05, 0.00, 0.00,
        0.06, 0.14, 0.24, 0.39, 0.50, 0.59, 0.68, 0.75, 0.82,
    ];
    let mut worst = Worst::default();
    let mut at_hour = Vec::new();
    steps(&s, HOUR_S, |sample: &Sample, lasted_s, _| {
        if (sample.t_s / HOUR_S).fract() < 1e-9 {
            at_hour.push((sample.t_s, lasted_s, sample.outdoor_c));
        }
    })?;
    for (share, (_, _, outdoor_c)) in below.iter().zip(&at_hour) {
        worst.add(*outdoor_c, 36.0 - 10.0 * share);
    }
    out.push(
        Row::largest(
            "outdoor air of a design day, every hour",
            "ASHRAE Fundamentals ch. 14, shares of the daily range, from memory",
            worst,
            0.01,
            "K",
        )
        .part("weather")
        .remark("a step shows the outdoors of its middle"),
    );
    Ok(())
}

fn doorway(out: &mut Vec<Row>) -> Result<(), ReferenceError> {
    let file = parse(
        "room_cases.json",
        include_str!("../reference/room_cases.json"),
    )?;
    let mut worst = Worst::default();
    for row in list(&file, "/case7_doorway_buoyant_exchange/rows")? {
        let door = Doorway {
            width_m: number(row, "/W_m")?,
            height_m: number(row, "/H_m")?,
            discharge: number(row, "/Cd")?,
        };
        let factor = door.exchange_factor(number(row, "/Tmean_K")?);
        let flow = factor * number(row, "/dT_K")?.abs().sqrt();
        worst.add_relative(flow, number(row, "/V_m3_s")?);
    }
    out.push(
        Row::largest(
            "exchange through an open doorway, relative",
            "Brown and Solvason 1962, integral worked again",
            worst,
            1e-9,
            "1",
        )
        .part("doors"),
    );
    Ok(())
}

/// Heat and moisture of the house built into the program, over its whole day with every part at work.
fn balances(out: &mut Vec<Row>) -> Result<(), ReferenceError> {
    let house = Scenario::embedded("family-house")
        .map_err(super::reference::refused("the family house"))?;
    let outcome =
        simulate(&house, |_| ()).map_err(super::reference::refused("the family house"))?;
    for (what, closure) in [("heat", outcome.heat), ("moisture", outcome.moisture)] {
        let mut worst = Worst::default();
        worst.push(closure.relative);
        out.push(
            Row::largest(
                format!("{what} balance of all rooms over the family house's day, relative"),
                "conservation",
                worst,
                1e-9,
                "1",
            )
            .part("room balance"),
        );
    }
    Ok(())
}
