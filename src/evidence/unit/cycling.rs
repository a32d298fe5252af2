//! On-off operation: the rating's cyclic test and the thermostat's parabola, simulated.

use serde_json::Value;

use crate::control::{Controller, NoticeKind, Readings};
use crate::evidence::closed_loop::{bare, calendar, one_zone};
use crate::evidence::reference::{EvidenceError, number, refused};
use crate::evidence::row::Row;
use crate::plant::air::{MoistAir, STANDARD_PRESSURE, SaturationTable};
use crate::plant::thermal::{Drive, StoreNetwork};
use crate::plant::unit::cycling::{
    Cycle, degradation_coefficient, highest_rate_per_h, parabola_starts_per_h,
};
use crate::plant::unit::{Mode, Unit, UnitCommand, UnitInlet, UnitKind, UnitState};

/// Six minutes on, 24 off, stepped by the unit itself.
pub(super) fn degradation(file: &Value, out: &mut Vec<Row>) -> Result<(), EvidenceError> {
    let unit = Unit::generic(10_000.0, UnitKind::FixedSpeed).map_err(refused("the unit"))?;
    let sat = SaturationTable::new(STANDARD_PRESSURE);
    let step = unit.prepared(1.0).map_err(refused("the unit"))?;
    let mut state = UnitState::default();
    let (mut given_j, mut steady_j) = (0.0, 0.0);
    let air = MoistAir::new(26.0, 0.0105);
    let (mut on_s, mut off_s) = (0.0, 0.0);
    for k in 0..4 * 1800 {
        let running = k % 1800 < 360;
        let command = UnitCommand {
            mode: if running { Mode::Cooling } else { Mode::Off },
            speed: f64::from(u8::from(running)),
        };
        let inlet = UnitInlet {
            air,
            air_kg_s: if running { 0.6 } else { 0.0 },
            outdoor_c: 33.0,
        };
        let at = unit
            .step(&sat, &step, &command, &inlet, &mut state)
            .map_err(refused("the unit"))?;
        if running {
            given_j += at.total_w();
            steady_j += at.steady_total_w;
            on_s += 1.0;
        } else {
            off_s += 1.0;
        }
    }
    let plf = given_j / steady_j;
    let clf = plf * on_s / (on_s + off_s);
    let got = (1.0 - plf) / (1.0 - clf);
    let form = "first-order start-up (O'Neal and Katipamula 1991), 60 s, worked in Python";
    out.push(
        Row::figure(
            "degradation coefficient of the 6 min on, 24 min off test",
            form,
            (
                got,
                number(file, "/case4_cycling_loss/rating_like_6on_24off/60.0/C_D")?,
            ),
            1e-6,
            "1",
        )
        .remark("four cycles of the simulated unit, steps of 1 s"),
    );
    let cycle = Cycle {
        on_s: 360.0,
        off_s: 1440.0,
    };
    out.push(
        Row::figure(
            "the default unit's own coefficient against the rating default",
            "10 CFR 430 Appendix M, AHRI 210/240, from memory: 0.20",
            (degradation_coefficient(Unit::START_UP_S, cycle), 0.20),
            0.002,
            "1",
        )
        .remark("the start-up time of 60 s was chosen for it"),
    );
    Ok(())
}

/// A thermostat, a room of one store and a unit of fixed output, cycling at five loads.
pub(super) fn parabola(out: &mut Vec<Row>) -> Result<(), EvidenceError> {
    const CAPACITY_W: f64 = 3000.0;
    const BAND_K: f64 = 1.0;
    const HEAT_J_K: f64 = 900_000.0;
    const LOSS_W_K: f64 = 15.0;
    let n_max = highest_rate_per_h(CAPACITY_W, HEAT_J_K, BAND_K);
    for x in [0.1, 0.3, 0.5, 0.7, 0.9] {
        let controller = Controller::new(bare(one_zone(24.0, BAND_K), 0.0))
            .map_err(refused("the thermostat"))?;
        let (mut state, mut commands) = (controller.initial_state(1), controller.commands());
        let calendar = calendar();
        let mut builder = StoreNetwork::builder();
        builder.store(HEAT_J_K);
        let mut room = builder.build();
        let (mut t_c, mut middle) = ([24.0], [0.0]);
        let mut notices = Vec::new();
        let (mut starts, mut running_s) = (Vec::new(), 0.0);
        for k in 0..3600 * 60 {
            let t_s = f64::from(k);
            let readings = Readings {
                zone_c: &t_c,
                ..Readings::default()
            };
            let clock = calendar.clock(t_s);
            controller.step(
                &clock,
                1.0,
                &readings,
                &mut state,
                &mut commands,
                &mut notices,
            );
            for n in notices.drain(..) {
                if n.kind == NoticeKind::Start {
                    starts.push((t_s, running_s));
                }
            }
            let on = commands.unit.mode.is_some();
            running_s += f64::from(u8::from(on));
            // A load that falls a little as the room warms, x of the capacity at the setpoint.
            let load = x * CAPACITY_W + LOSS_W_K * 24.0;
            let drive = Drive {
                boundary: &[LOSS_W_K],
                source: &[load - if on { CAPACITY_W } else { 0.0 }],
                stream: &[],
            };
            room.step(1.0, &drive, &mut t_c, &mut middle)
                .map_err(refused("the thermostat's room"))?;
        }
        // Whole cycles only, the first left out.
        let (got, share) = match (starts.get(1), starts.last()) {
            (Some(&(a, ran_a)), Some(&(b, ran_b))) if starts.len() > 3 => (
                3600.0 * (starts.len() - 2) as f64 / (b - a),
                (ran_b - ran_a) / (b - a),
            ),
            _ => (f64::NAN, f64::NAN),
        };
        out.push(
            Row::relative(
                format!(
                    "thermostat cycling at {:.0} % load, starts an hour",
                    100.0 * x
                ),
                "parabola 4·N·X(1−X), NEMA DC 3 as used by Henderson (from memory)",
                (got, parabola_starts_per_h(n_max, x)),
                0.02,
                "1/h",
            )
            .remark(format!(
                "60 h simulated; run share {share:.3}; N = Q/(4Cδ) = {n_max:.2} starts an hour"
            )),
        );
    }
    Ok(())
}
