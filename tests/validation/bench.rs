//! A unit on a test bench, through runs: the reference cycle's tables, closed forms and hand chains.
//!
//! The bench is a scenario with a room so large that what enters the coil stays as it is.

use std::f64::consts::PI;

use serde_json::Value;

use super::reference::{ReferenceError, number, numbers, parse};
use super::row::{Row, Worst};
use super::run::{end, scenario, steps};
use super::unit::{CYCLE, air_of_wet_bulb};
use crate::engine::sample::Sample;
use crate::plant::air::STANDARD_PRESSURE;
use crate::plant::room::CP_MOIST;
use crate::plant::sound::Source;
use crate::plant::sound::octave::{Octaves, energy_to_db};

const DENSITY: f64 = 1.2;

/// Puts the bench at other conditions.
fn bench(changes: &[(&str, &str)]) -> Result<Sample, ReferenceError> {
    end(&scenario("bench", changes)?)
}

/// How much the fan warms the air, K.
fn fan_rise_k(at: &Sample) -> f64 {
    at.unit.fan_w / (DENSITY * at.air.fan_flow_m3_s * CP_MOIST)
}

pub(super) fn rows() -> Result<Vec<Row>, ReferenceError> {
    let file = parse(
        "unit_cases.json",
        include_str!("../reference/unit_cases.json"),
    )?;
    let mut out = Vec::new();
    rating(&mut out)?;
    start_up(&file, &mut out)?;
    airflow(&file, &mut out)?;
    relief(&file, &mut out)?;
    duct(&mut out)?;
    fan_laws(&mut out)?;
    leakage(&mut out)?;
    door(&mut out)?;
    thermostat(&mut out)?;
    schedule(&mut out)?;
    sound(&mut out)?;
    Ok(out)
}

fn rating(out: &mut Vec<Row>) -> Result<(), ReferenceError> {
    let rh = air_of_wet_bulb(27.0, 19.0).relative_humidity(STANDARD_PRESSURE);
    let at = bench(&[
        (
            "initial_temperature = \"24 °C\"",
            "initial_temperature = \"27 °C\"",
        ),
        (
            "initial_humidity = 0.5",
            &format!("initial_humidity = {rh:.6}"),
        ),
    ])?;
    let point = "27/19 °C indoors, 35 °C outdoors";
    let total_w = at.unit.sensible_w + at.unit.latent_w;
    out.extend([
        Row::relative(
            "rating point: cooling capacity",
            CYCLE,
            (total_w, 10_000.0),
            0.005,
            "W",
        )
        .part("unit capacity")
        .remark(point),
        Row::relative(
            "rating point: power",
            CYCLE,
            (at.unit.compressor_w, 2415.0),
            0.015,
            "W",
        )
        .part("unit power"),
        Row::figure(
            "rating point: sensible share",
            CYCLE,
            (at.unit.sensible_w / total_w, 0.780),
            0.004,
            "1",
        )
        .part("latent heat"),
        Row::figure(
            "rating point: supply air less the fan's warming",
            CYCLE,
            (at.unit.supply_c - fan_rise_k(&at), 14.33),
            0.05,
            "K",
        )
        .part("supply air"),
        Row::figure(
            "rating point: air entering the room, duct of no length, less the fan's warming",
            CYCLE,
            (at.outlets[0].air_c - fan_rise_k(&at), 14.33),
            0.05,
            "K",
        )
        .part("supply air"),
        Row::figure(
            "rating point: power of the fan",
            "flow × pressure rise / efficiency, by hand",
            (at.unit.fan_w, rated_fan_w(&at)),
            0.5,
            "W",
        )
        .part("fan power"),
    ]);
    let at = bench(&[
        (
            "initial_temperature = \"24 °C\"",
            "initial_temperature = \"20 °C\"",
        ),
        ("temperature = \"35 °C\"", "temperature = \"7 °C\""),
        ("mode = \"cooling\"", "mode = \"heating\""),
        ("cooling = \"20 °C\"", "heating = \"30 °C\""),
    ])?;
    let heat_w = -(at.unit.sensible_w + at.unit.latent_w);
    let by_air_w =
        DENSITY * at.air.fan_flow_m3_s * CP_MOIST * (at.unit.supply_c - fan_rise_k(&at) - 20.0);
    out.extend([
        Row::relative(
            "rating point: heating capacity",
            CYCLE,
            (heat_w, 9979.0),
            0.002,
            "W",
        )
        .part("unit capacity")
        .remark("20 °C indoors, 7 °C outdoors"),
        Row::relative(
            "rating point: heating power",
            CYCLE,
            (at.unit.compressor_w, 2104.0),
            0.003,
            "W",
        )
        .part("unit power"),
        Row::relative(
            "rating point: heat found in the supply air",
            CYCLE,
            (by_air_w, 9979.0),
            0.01,
            "W",
        )
        .part("supply air")
        .remark("flow, specific heat and temperatures of the run"),
    ]);
    Ok(())
}

/// The generic power curve by hand: 40 % of the rated power at no flow, and a straight line; at reference speed.
fn rated_fan_w(at: &Sample) -> f64 {
    let (flow, speed) = (at.air.fan_flow_m3_s, at.air.fan_speed);
    let rated_w = 0.5016667 * 30.0 / 0.95;
    speed.powi(3) * rated_w * (0.4 + 0.6 * flow / speed / 0.5016667)
}

/// Six minutes of a start: the share of its steady output that the unit delivered.
fn start_up(file: &Value, out: &mut Vec<Row>) -> Result<(), ReferenceError> {
    let s = scenario(
        "bench",
        &[
            ("start_up_time = \"1 s\"", "start_up_time = \"60 s\""),
            ("duration = \"6 min\"", "duration = \"7 min\""),
        ],
    )?;
    let (mut given_j, mut steady_j, mut ran_s) = (0.0, 0.0, 0.0);
    steps(&s, 1.0, |at, lasted_s, _| {
        if at.unit.speed > 0.0 && ran_s < 360.0 {
            ran_s += lasted_s;
            given_j += lasted_s * (at.unit.sensible_w + at.unit.latent_w);
            steady_j += lasted_s * at.unit.steady_w;
        }
    })?;
    out.push(
        Row::figure(
            "a start of six minutes: share of the steady output delivered",
            "first-order start-up (O'Neal and Katipamula 1991), 60 s, worked in Python",
            (
                given_j / steady_j,
                number(file, "/case4_cycling_loss/rating_like_6on_24off/60.0/PLF")?,
            ),
            1e-4,
            "1",
        )
        .part("start-up"),
    );
    Ok(())
}

/// 30 to 100 % of the rated airflow.
fn airflow(file: &Value, out: &mut Vec<Row>) -> Result<(), ReferenceError> {
    let column = |name: &str| numbers(file, &format!("/relief_table/less_air/{name}"));
    let (mut supply, mut surface) = (Worst::default(), Worst::default());
    let (supplies, surfaces) = (column("supply_c")?, column("surface_c")?);
    for (i, ff) in column("ff")?.into_iter().enumerate() {
        let flow = format!("flow = \"{} L/s\"", 501.66667 * ff);
        let at = bench(&[("flow = \"501.66667 L/s\"", &flow)])?;
        supply.add(at.unit.supply_c - fan_rise_k(&at), supplies[i]);
        surface.add(at.unit.surface_c, surfaces[i]);
    }
    out.extend([
        Row::largest(
            "30 to 100 % airflow: supply air less the fan's warming",
            CYCLE,
            supply,
            0.2,
            "K",
        )
        .part("supply air"),
        Row::largest(
            "30 to 100 % airflow: coil surface",
            CYCLE,
            surface,
            0.2,
            "K",
        )
        .part("coil"),
    ]);
    Ok(())
}

/// The cubic through the four nearest points of a table at even steps.
fn between(x: &[f64], y: &[f64], at: f64) -> f64 {
    let step = x[1] - x[0];
    let first = (((at - x[0]) / step).floor() as usize)
        .saturating_sub(1)
        .min(x.len() - 4);
    (first..first + 4)
        .map(|i| {
            let others = (first..first + 4).filter(|&j| j != i);
            y[i] * others.map(|j| (at - x[j]) / (x[i] - x[j])).product::<f64>()
        })
        .sum()
}

/// Relief (bypass) air of four diameters back to the return, at 24 °C and 50 % in the room.
fn relief(file: &Value, out: &mut Vec<Row>) -> Result<(), ReferenceError> {
    let x = numbers(file, "/relief_table/x")?;
    let column = |name: &str| numbers(file, &format!("/relief_table/{name}"));
    let (supplies, surfaces, watts) = (
        column("supply_c/1.0")?,
        column("surface_c")?,
        column("room_sensible_w")?,
    );
    let (mut supply, mut surface, mut rooms, mut mixing, mut balance) = (
        Worst::default(),
        Worst::default(),
        Worst::default(),
        Worst::default(),
        Worst::default(),
    );
    let mut shares = Vec::new();
    for diameter in ["120 mm", "180 mm", "230 mm", "300 mm"] {
        let relief = format!(
            "kind = \"motorised\"\ndiameter = \"{diameter}\"\nlength = \"0 m\"\nfitting_loss = 1\n\
             channel = 9\nsetpoint = \"5 Pa\"\ngain = 1\nintegral_time = \"1 s\"\nfilter_time = \"0 s\"\ndead_band = \"0 Pa\""
        );
        let at = bench(&[("kind = \"none\"", &relief)])?;
        let flows = (
            at.air.relief_flow_m3_s,
            at.air.fan_flow_m3_s,
            at.outlets[0].flow_m3_s,
        );
        let share = flows.0 / flows.1;
        shares.push(format!("{:.0}", 100.0 * share));
        balance.add_relative(flows.0 + flows.2, flows.1);
        let supply_c = at.unit.supply_c;
        mixing.add(at.unit.entering_c, (1.0 - share) * 24.0 + share * supply_c);
        supply.add(supply_c, between(&x, &supplies, share));
        surface.add(at.unit.surface_c, between(&x, &surfaces, share));
        // As hand calculations count, with the specific heat of dry air.
        let room_w = DENSITY * flows.2 * 1006.0 * (24.0 - at.outlets[0].air_c);
        rooms.add_relative(room_w, between(&x, &watts, share));
    }
    let part = "relief";
    let by = format!("relief takes {} % of the coil's air", shares.join(", "));
    out.extend([
        Row::largest("relief to the return: supply air", CYCLE, supply, 0.2, "K")
            .part(part)
            .remark(by),
        Row::largest(
            "relief to the return: coil surface",
            CYCLE,
            surface,
            0.2,
            "K",
        )
        .part(part),
        Row::largest(
            "relief to the return: heat out of the room, relative",
            CYCLE,
            rooms,
            0.01,
            "1",
        )
        .part(part),
        Row::largest(
            "relief to the return: air entering the coil",
            "mixed by hand from room and supply air",
            mixing,
            0.1,
            "K",
        )
        .part("relief mixing"),
        Row::largest(
            "relief to the return: outlet and relief against fan, relative",
            "conservation of mass",
            balance,
            1e-9,
            "1",
        )
        .part("air network"),
    ]);
    Ok(())
}

/// Twelve metres of duct outdoors: exponential approach, with the conductance of a wrapped pipe.
fn duct(out: &mut Vec<Row>) -> Result<(), ReferenceError> {
    let mut worst = Worst::default();
    let mut rise = 0.0;
    for (length_m, r) in [(12.0, 0.6), (25.0, 1.0)] {
        let run = format!(
            "diameter = \"400 mm\"\nlength = \"{length_m} m\"\ninsulation = {r}\nlocation = \"outdoors\""
        );
        let run = run.replace(
            &format!("insulation = {r}"),
            &format!("insulation = \"{r} m2K/W\""),
        );
        let at = bench(&[("diameter = \"400 mm\"\nlength = \"0.001 mm\"", &run)])?;
        let (inner, k): (f64, f64) = (0.2, 0.04);
        let outer = inner + r * k;
        // Surface coefficients of 15 and 8 W/(m² K), on the inner face.
        let resistance: f64 = 1.0 / 15.0 + inner / k * (outer / inner).ln() + inner / (outer * 8.0);
        let ua = 2.0 * PI * inner * length_m / resistance;
        let ntu = ua / (DENSITY * at.outlets[0].flow_m3_s * CP_MOIST);
        let want = 35.0 + (at.unit.supply_c - 35.0) * (-ntu).exp();
        worst.add(at.outlets[0].air_c, want);
        rise = at.outlets[0].air_c - at.unit.supply_c;
    }
    out.push(
        Row::largest(
            "insulated duct outdoors, 12 and 25 m: air entering the room",
            "heat exchange with a wrapped pipe, textbook, by hand",
            worst,
            0.01,
            "K",
        )
        .part("duct heat gain")
        .remark(format!("the longer warms its air by {rise:.1} K")),
    );
    Ok(())
}

fn fan_laws(out: &mut Vec<Row>) -> Result<(), ReferenceError> {
    let at = |setpoint: &str| {
        bench(&[
            ("drive = \"constant airflow\"", "drive = \"fixed speed\""),
            (
                "kind = \"fixed speed\"\ncooling",
                "kind = \"variable speed\"\ncooling",
            ),
            ("cooling = \"20 °C\"", setpoint),
        ])
    };
    let (full, slow) = (
        at("cooling = \"20 °C\"")?,
        at("cooling = \"23.7 °C\"\ndifferential = \"0.05 K\"")?,
    );
    let speed = slow.air.fan_speed / full.air.fan_speed;
    let ratio = |of: fn(&Sample) -> f64| of(&slow) / of(&full);
    let by = "affinity laws, exact on a quadratic system";
    for (what, ours, theirs) in [
        ("flow", ratio(|s| s.air.fan_flow_m3_s), speed),
        (
            "external static",
            ratio(|s| s.air.external_static_pa()),
            speed.powi(2),
        ),
        ("power", ratio(|s| s.unit.fan_w), speed.powi(3)),
    ] {
        out.push(
            Row::relative(
                format!("fan at its lowest over its highest speed: {what}"),
                by,
                (ours, theirs),
                1e-6,
                "1",
            )
            .part("fan laws")
            .remark(format!("speed ratio {speed:.3}")),
        );
    }
    // By hand: the generic curve 2.09 p − 1.09 p (Q/Q₀)² against the losses at the rated flow.
    let area = PI * 0.04;
    let velocity_pa = |q: f64, a: f64| 0.6 * (q / a).powi(2);
    let damper = (1.0 / 0.72_f64 - 1.0).powi(2);
    let losses =
        11.0 + (1.5 + damper) * velocity_pa(0.5016667, area) + 3.0 * velocity_pa(0.5016667, 0.5);
    let ratio = 230.0 / 110.0;
    let flow = 0.5016667 * (ratio * 30.0 / ((ratio - 1.0) * 30.0 + losses)).sqrt();
    out.push(
        Row::relative(
            "fan against filter, coil, return, bend, damper and grille: flow",
            "square laws, by hand",
            (
                1000.0 * full.air.fan_flow_m3_s,
                1000.0 * full.air.fan_speed * flow,
            ),
            1e-4,
            "L/s",
        )
        .part("air network"),
    );
    Ok(())
}

/// A second outlet whose zone is switched off.
fn leakage(out: &mut Vec<Row>) -> Result<(), ReferenceError> {
    let mut worst = Worst::default();
    for (class, limit) in [("class 1", 0.2), ("class 2", 0.04), ("class 3", 0.008)] {
        let second = format!(
            "[outlet.shut]\nroom = \"room\"\ndiameter = \"400 mm\"\nlength = \"0.001 mm\"\nfitting_loss = 0.5\n\
             grille_area = \"2 m2\"\ndamper_leakage = \"{class}\"\nchannel = 2\n\n[relief]"
        );
        let at = bench(&[
            ("[relief]", &second),
            (
                "[zone.room]",
                "[zone.shut]\nthermostat = \"room\"\nchannels = [2]\non = false\n\n[zone.room]",
            ),
        ])?;
        let static_pa = at.air.supply_static_pa - at.rooms[0].pressure_pa;
        let want = limit * PI * 0.04 * (static_pa / 100.0).sqrt();
        worst.add_relative(at.outlets[1].flow_m3_s, want);
    }
    out.push(
        Row::largest(
            "flow through a shut damper, classes 1 to 3, relative",
            "EN 1751 limits at 100 Pa, with the square root of the pressure",
            worst,
            0.015,
            "1",
        )
        .part("damper leakage")
        .remark("class 1 loses a hundredth of the pressure in bend and grille"),
    );
    Ok(())
}

/// All air leaves the room by an undercut and a transfer grille.
fn door(out: &mut Vec<Row>) -> Result<(), ReferenceError> {
    let hall = "[room.hall]\narea = \"2000 m2\"\nroof_area = \"0 m2\"\nair_capacity = \"10000 MJ/K\"\n\n\
        [door.room]\ntransfer_area = \"2000 cm2\"\n\n[return]\nrooms = [\"hall\"]";
    let at = bench(&[("[return]\nrooms = [\"room\"]", hall)])?;
    let apart = at.rooms[0].pressure_pa - at.rooms[1].pressure_pa;
    let want = 0.6 * (at.outlets[0].flow_m3_s / (0.6 * (0.2 + 0.008))).powi(2);
    out.push(
        Row::relative(
            "room pressure against the return's room, shut door with a transfer grille",
            "orifice with Cd 0.6, textbook, by hand",
            (apart, want),
            0.005,
            "Pa",
        )
        .part("doors"),
    );
    Ok(())
}

/// A sensor in a room that warms evenly lags by its time constant.
fn thermostat(out: &mut Vec<Row>) -> Result<(), ReferenceError> {
    let s = scenario(
        "sealed",
        &[
            ("open = \"always\"", "open = \"never\""),
            (
                "duration = \"1 h\"",
                "duration = \"1 h\"\nlong_step = \"1 s\"",
            ),
            (
                "[room.hall]\n",
                "[room.hall]\nequipment = [{ from = \"06:10\", to = \"24:00\", power = \"400 W\" }]\n",
            ),
            (
                "on = false",
                "cooling = \"40 °C\"\nmaximum_setpoint = \"40 °C\"\n\n[thermostat]\nlag = \"300 s\"\nnoise = \"0 K\"\nresolution = \"0 K\"\nsample_interval = \"0 s\"\nwall_weight = 0",
            ),
        ],
    )?;
    let (mut still, mut lag) = (Worst::default(), Worst::default());
    let rate = 0.45 * 400.0 / 60e3;
    steps(&s, 60.0, |at, lasted_s, _| {
        // A reading is that of the last step's beginning.
        let warm_s = at.t_s - lasted_s - 600.0;
        let reading = at.zones[0].sensor_c;
        if warm_s < 0.0 {
            still.add(reading, 24.0);
        } else if warm_s > 600.0 {
            let behind = 300.0 * (1.0 - (-warm_s / 300.0).exp());
            lag.add(reading, 24.0 + rate * (warm_s - behind));
        }
    })?;
    out.extend([
        Row::largest(
            "thermostat in still air at 24 °C: reading",
            "by hand",
            still,
            1e-6,
            "K",
        )
        .part("thermostat"),
        Row::largest(
            "thermostat in air that warms by 10.8 K/h, lag 300 s: reading",
            "first-order lag of a ramp, by hand",
            lag,
            0.02,
            "K",
        )
        .part("sensor lag")
        .remark("it reads 0.9 K too low"),
    ]);
    Ok(())
}

/// A zone scheduled from 07:00 to 08:30 in a room that is always too warm.
fn schedule(out: &mut Vec<Row>) -> Result<(), ReferenceError> {
    let s = scenario(
        "bench",
        &[
            ("duration = \"6 min\"", "duration = \"30 h\""),
            (
                "cooling = \"20 °C\"",
                "cooling = \"20 °C\"\nschedule = [{ from = \"07:00\", to = \"08:30\", days = [\"mon\"] }, { from = \"20:00\", to = \"21:00\" }]",
            ),
        ],
    )?;
    let (mut on, mut off, mut running) = (Vec::new(), Vec::new(), false);
    steps(&s, 60.0, |at, lasted_s, _| {
        let is = at.unit.speed > 0.0;
        if is != running {
            let edges = if is { &mut on } else { &mut off };
            edges.push(at.t_s - lasted_s);
            running = is;
        }
    })?;
    let mut worst = Worst::default();
    let hours = |edges: &[f64], want: &[f64], worst: &mut Worst| {
        worst.push(if edges.len() == want.len() {
            0.0
        } else {
            f64::NAN
        });
        for (e, w) in edges.iter().zip(want) {
            worst.add(*e, 3600.0 * (w - 6.0));
        }
    };
    hours(&on, &[7.0, 20.0], &mut worst);
    hours(&off, &[8.5, 21.0], &mut worst);
    out.push(
        Row::largest(
            "unit starts and stops by the schedule: 07:00 to 08:30 on Monday, 20:00 to 21:00 daily",
            "the clock",
            worst,
            10.0,
            "s",
        )
        .part("schedule")
        .remark("from Monday 06:00 to Tuesday noon; nothing else delays a start here"),
    );
    Ok(())
}

/// The fan alone, in one room at rest: level by level from its sound power to the listener.
fn sound(out: &mut Vec<Row>) -> Result<(), ReferenceError> {
    let levels = [80.0, 78.0, 75.0, 70.0, 66.0, 62.0, 57.0, 50.0];
    let at = bench(&[
        ("area = \"2000 m2\"", "area = \"25 m2\""),
        (
            "diameter = \"400 mm\"\nlength = \"0.001 mm\"",
            "diameter = \"400 mm\"\nlength = \"10 m\"\nelbows = 2\nlistener_distance = \"2 m\"",
        ),
        (
            "[relief]",
            "[sound]\nfan_levels = [\"80 dB\", \"78 dB\", \"75 dB\", \"70 dB\", \"66 dB\", \"62 dB\", \"57 dB\", \"50 dB\"]\nfan_levels_flow = \"400 L/s\"\nfan_levels_pressure = \"20 Pa\"\n\n[relief]",
        ),
    ])?;
    let rise_pa = at.air.external_static_pa() + 8.0;
    // Fan laws: power with flow and pressure squared.
    let at_point = 10.0 * (at.air.fan_flow_m3_s / 0.4).log10() + 20.0 * (rise_pa / 20.0).log10();
    // Bare round steel duct 400 mm, dB/m; round bends by frequency times diameter (kHz mm: 48, 96, 190).
    let per_m = [0.07, 0.07, 0.07, 0.10, 0.16, 0.16, 0.16, 0.16];
    let bend = [0.0, 1.0, 2.0, 3.0, 3.0, 3.0, 3.0, 3.0];
    let octaves = [
        63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0_f64,
    ];
    let face = (4.0 * 0.5 / PI).sqrt();
    let mut want: Octaves = [0.0; 8];
    for (i, f) in octaves.into_iter().enumerate() {
        let reflected = 10.0 * (1.0 + (0.7 * 343.0 / (PI * f * face)).powi(2)).log10();
        let room = 12.0 - 10.0 * 2.0_f64.log10() - 5.0 * 200.0_f64.log10() - 3.0 * f.log10();
        want[i] = levels[i] + at_point - 10.0 * per_m[i] - 2.0 * bend[i] - reflected + room;
    }
    let heard = &at.sound.state.rooms[0].by_source[Source::Fan as usize];
    let mut worst = Worst::default();
    for (energy, want) in heard.iter().zip(want) {
        worst.add(energy_to_db(*energy), want);
    }
    out.push(
        Row::largest(
            "the fan in one room, eight octaves: from its power through duct, bends, opening and room",
            "ASHRAE tables and Schultz's room, from memory, chained by hand",
            worst,
            0.5,
            "dB",
        )
        .part("sound path"),
    );
    Ok(())
}
