//! Loop (iii): modulating dampers, motorised relief on static pressure, the air network at every step.

use std::f64::consts::PI;
use std::sync::Arc;

use serde_json::Value;

use super::rooms::Rooms;
use super::{STEPS_S, Shrinking, marks};
use crate::control::actuator::{Actuator, ActuatorState};
use crate::control::damper::{DamperState, Modulating};
use crate::control::relief_pi::{ReliefPi, ReliefPiState};
use crate::evidence::reference::{EvidenceError, number, numbers, refused};
use crate::evidence::row::{Row, Worst};
use crate::plant::damper::blade::Blade;
use crate::plant::damper::{Damper, Form, LeakageClass};
use crate::plant::fan::{Drive, Fan, FanCurve, FanLaw, PowerCurve};
use crate::plant::network::{ElementId, Law, LinearQuadratic, Network, NetworkState, NodeId};

/// Found by running both rules; neither is wrong.
const ANTI_WINDUP: &str = "what is left as the step goes to 0, about 3e-5 K and 4e-6 of the heat, is the first minutes' \
    anti-windup: the reference lets the integral fall while the relief stands shut, the program holds it; with the \
    reference's rule every figure halves with the step";

/// Fan, plenum, three branches and a relief.
struct AirSide {
    network: Network,
    state: NetworkState,
    plenum: NodeId,
    branches: Vec<(ElementId, Damper, LinearQuadratic)>,
    rho: f64,
}

impl AirSide {
    fn new(inputs: &Value) -> Result<AirSide, EvidenceError> {
        let n = |key: &str| number(inputs, &format!("/{key}"));
        let mut b = Network::builder();
        let rooms = b.fixed("rooms", 0.0);
        let plenum = b.node("plenum");
        let a = [n("a0_pa")?, 0.0, n("a2_pa_s2_m6")?, 0.0];
        let refuse = || refused("the fan of the closed loop");
        let free = (-a[0] / a[2]).sqrt();
        let curve = FanCurve::from_polynomial(a, free).map_err(|e| refuse()(e.to_string()))?;
        let power =
            PowerCurve::from_rated_point(0.5 * free, 200.0).map_err(|e| refuse()(e.to_string()))?;
        let law = FanLaw {
            fan: Arc::new(Fan { curve, power }),
            drive: Drive::FixedSpeed { speed: 1.0 },
            series: LinearQuadratic::NONE,
        };
        b.element("fan", rooms, plenum, Law::Fan(law));
        let form = Form::Blade(Blade {
            contraction: n("damper/mu")?,
            exponent: n("damper/m")?,
            fixed_c: n("damper/C_f")?,
            own_leak: None,
        });
        let leakage = LeakageClass::Other {
            q100_m3_s_m2: n("damper/q100")?,
        };
        let mut sizes: Vec<(f64, f64)> = numbers(inputs, "/R_duct")?
            .into_iter()
            .zip(numbers(inputs, "/D_m")?)
            .collect();
        sizes.push((n("R_duct_relief")?, n("D_relief_m")?));
        let mut branches = Vec::new();
        for (i, (resistance, diameter)) in sizes.into_iter().enumerate() {
            let area_m2 = 0.25 * PI * diameter * diameter;
            let damper = Damper::new(form, area_m2, leakage).map_err(refused("a damper"))?;
            let duct = LinearQuadratic {
                a: 0.0,
                b: resistance,
            };
            let element = b.element(
                &format!("branch {i}"),
                plenum,
                rooms,
                Law::LinearQuadratic(duct),
            );
            branches.push((element, damper, duct));
        }
        let network = b.build().map_err(refused("the closed loop's network"))?;
        Ok(AirSide {
            state: NetworkState::new(&network),
            network,
            plenum,
            branches,
            rho: n("rho")?,
        })
    }

    /// Solves for openings; the plenum's pressure, Pa.
    fn solve(&mut self, openings: impl Iterator<Item = f64>) -> Result<f64, EvidenceError> {
        for ((element, damper, duct), u) in self.branches.iter().zip(openings) {
            let law = duct.in_series(damper.law(u, self.rho));
            self.network.set_law(*element, Law::LinearQuadratic(law));
        }
        self.network
            .solve(&mut self.state)
            .map_err(refused("the closed loop's network"))?;
        Ok(self.state.pressure_pa(self.plenum))
    }

    fn flow(&self, branch: usize) -> f64 {
        self.state.flow_m3_s(self.branches[branch].0)
    }
}

#[derive(Default)]
struct Ran {
    energy: Worst,
    air: Worst,
    stores: Worst,
    openings: Worst,
    static_pa: Worst,
}

fn simulate(case: &Value, dt_s: f64) -> Result<Ran, EvidenceError> {
    let inputs = &case["inputs"];
    let n = |key: &str| number(inputs, &format!("/{key}"));
    let mut rooms = Rooms::new(inputs)?;
    let mut air = AirSide::new(inputs)?;
    let setpoints = numbers(inputs, "/setpoint_c")?;
    let count = setpoints.len();
    let least = n("u_min")?;
    let law = Modulating {
        proportional_band_k: (1.0 - least) / n("K_per_k")?,
        minimum_open: least,
        integral_s: 0.0,
        dead_band: 0.0,
        update_s: 0.0,
    };
    let relief = ReliefPi {
        setpoint_pa: n("p_set_pa")?,
        gain_per_pa: n("k_per_pa")?,
        integral_s: n("T_i_s")?,
        filter_s: n("tau_p_s")?,
        dead_band_pa: 0.0,
        // The motor below is the only limit of rate, as in the reference.
        travel_s: 0.0,
    };
    let motor = |travel_s: f64| Actuator {
        travel_s,
        dead_band: 0.0,
    };
    let mut actuators = vec![motor(n("travel_s")?); count];
    actuators.push(motor(n("travel_relief_s")?));
    let mut positions: Vec<ActuatorState> = numbers(inputs, "/u_start")?
        .into_iter()
        .map(ActuatorState::at)
        .collect();
    positions.push(ActuatorState::at(n("u_relief_start")?));
    let mut dampers = vec![DamperState::default(); count];
    let mut relief_state = ReliefPiState::default();
    let (on_s, off_s, step_w) = (n("step_on_s")?, n("step_off_s")?, n("Q_step_w")?);
    let step_room = n("step_room")? as usize;
    let marks = marks(case)?;
    let mut next_mark = marks.iter().peekable();
    let mut ran = Ran::default();
    let (mut flows, mut extra) = (vec![0.0; count], vec![0.0; count]);
    let mut static_pa = air.solve(positions.iter().map(|p| p.position))?;
    let steps = (n("end_s")? / dt_s).round() as usize;
    for k in 0..=steps {
        let t_s = k as f64 * dt_s;
        if let Some(mark) = next_mark.next_if(|m| (m[0] - t_s).abs() < 1e-6) {
            for i in 0..count {
                ran.air.add(rooms.x[3 * i], mark[1 + 4 * i]);
                for store in [1, 2] {
                    ran.stores
                        .add(rooms.x[3 * i + store], mark[1 + 4 * i + store]);
                }
            }
            for (i, p) in positions.iter().enumerate() {
                ran.openings.add(p.position, mark[1 + 4 * count + i]);
            }
            ran.static_pa.add(static_pa, mark[2 + 5 * count]);
        }
        if k == steps {
            break;
        }
        rooms.read(dt_s);
        let relief_to = relief.step(static_pa, true, dt_s, &mut relief_state);
        for i in 0..count {
            let error_k = rooms.readings_c[i] - setpoints[i];
            let to = law.step(error_k, t_s, true, &mut dampers[i]);
            actuators[i].step(to, dt_s, &mut positions[i]);
        }
        actuators[count].step(relief_to, dt_s, &mut positions[count]);
        static_pa = air.solve(positions.iter().map(|p| p.position))?;
        for (i, flow) in flows.iter_mut().enumerate() {
            *flow = air.rho * air.flow(i);
        }
        let on = (on_s - 1e-6..off_s - 1e-6).contains(&t_s);
        extra[step_room] = if on { step_w } else { 0.0 };
        rooms.step(t_s, dt_s, &flows, &extra)?;
    }
    for (a, b) in rooms.energy_j.iter().zip(numbers(case, "/energy_j")?) {
        ran.energy.add_relative(*a, b);
    }
    Ok(ran)
}

pub(super) fn rows(case: &Value) -> Result<Vec<Row>, EvidenceError> {
    let mut all = Vec::new();
    for dt_s in STEPS_S {
        all.push(simulate(case, dt_s)?);
    }
    let errors = |of: &dyn Fn(&Ran) -> Worst| {
        let mut found = [f64::NAN; 4];
        for (e, ran) in found.iter_mut().zip(&all) {
            *e = of(ran).difference;
        }
        Shrinking(found)
    };
    let what = |of: &str| format!("three rooms, modulating, motorised relief, 6 h: {of}");
    let air = errors(&|r| r.air);
    let static_pa = errors(&|r| r.static_pa);
    let stores = errors(&|r| r.stores).row(what("contents and fabric at every hour"), 1e-4, "K");
    let stores_remark = format!("{}; {ANTI_WINDUP}", stores.remark);
    Ok(vec![
        air.row(what("air at every hour"), 1e-4, "K"),
        stores.remark(stores_remark),
        errors(&|r| r.openings).row(
            what("openings of dampers and relief at every hour"),
            1e-5,
            "1",
        ),
        static_pa.row(what("plenum static at every hour"), 1e-3, "Pa"),
        errors(&|r| r.energy).row(
            what("heat taken out by the supply, relative, worst room"),
            1e-5,
            "1",
        ),
        static_pa.convergence(what("plenum static, error at 4 s over that at 0.5 s")),
    ])
}
