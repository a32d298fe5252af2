//! The least arithmetic for the rooms, the duct tree and the coil of [`super::common::house`],
//! written by hand over flat arrays: what the step could cost if nothing else had to be done.
//!
//! Kept: three heat stores and two moisture stores a room by the trapezoid rule, doorway exchange
//! and partition to the hall, the tree of quadratic resistances with relief collapsed exactly at
//! every step, the fan on a parabola, the coil's surface temperature by warm-started Newton.
//! Left out: leaks and pressures of rooms, linear friction, fan drive, relief friction, heat gained
//! by ducts, weather, sensors, control, dampers' movement, meters, events, sample, record.

use openshut::Scenario;

/// What one room needs; constants of the elimination are worked out beforehand.
#[derive(Clone, Copy, Default)]
struct Room {
    // Couplings, W/K.
    al: f64,
    af: f64,
    lf: f64,
    outside: f64,
    opaque: f64,
    partition: f64,
    // Sources, W (times unknown: temperature of outdoors is one number).
    to_contents: f64,
    to_fabric: f64,
    to_air: f64,
    // Elimination of contents, then fabric, from the air row.
    l_row: f64,
    l_to_a: f64,
    l_to_f: f64,
    f_row: f64,
    f_to_a: f64,
    f_to_hall: f64,
    air_diagonal: f64,
    air_hall_fabric: f64,
    hall_fabric_own: f64,
    // Moisture.
    buffer: f64,
    b_row: f64,
    b_to_a: f64,
    vapour_diagonal: f64,
    vapour_source: f64,
    infiltration: f64,
    door: f64,
    // State.
    t: [f64; 3],
    w: [f64; 2],
}

#[derive(Clone, Copy, Default)]
struct Branch {
    fixed: f64,
    damper: f64,
    door: f64,
    conductance: f64,
    flow: f64,
}

#[derive(Clone, Copy, Default)]
struct Trunk {
    own: f64,
    conductance: f64,
    below: f64,
}

/// The kernel with its state.
pub struct Floor {
    rooms: Vec<Room>,
    branches: Vec<Branch>,
    trunks: Vec<Trunk>,
    eliminated: Vec<[f64; 6]>,
    hall: Room,
    relief: f64,
    back: f64,
    inside: f64,
    fan: (f64, f64),
    surface_c: f64,
    rated_w: f64,
    rated_kg_s: f64,
    saturation: openshut::internals::SaturationTable,
    count: usize,
}

const CP: f64 = 1023.0;
const RHO: f64 = 1.2;
const OUTDOOR_C: f64 = 35.0;
const OUTDOOR_W: f64 = 0.011;

fn prepare(room: &mut Room, ca: f64, cl: f64, cf: f64, vapour_kg: f64, buffer_kg: f64) {
    let r = room;
    let l_diagonal = cl + 0.5 * (r.al + r.lf);
    r.l_row = 1.0 / l_diagonal;
    r.l_to_a = 0.5 * r.al * r.l_row;
    r.l_to_f = 0.5 * r.lf * r.l_row;
    let af = 0.5 * r.af + 0.5 * r.al * r.l_to_f;
    let f_diagonal = cf + 0.5 * (r.af + r.lf + r.opaque + r.partition) - 0.5 * r.lf * r.l_to_f;
    r.f_row = 1.0 / f_diagonal;
    r.f_to_a = af * r.f_row;
    r.f_to_hall = 0.5 * r.partition * r.f_row;
    r.air_diagonal = ca + 0.5 * (r.al + r.af + r.outside) - 0.5 * r.al * r.l_to_a - af * r.f_to_a;
    r.air_hall_fabric = af * r.f_to_hall;
    r.hall_fabric_own = 0.5 * r.partition * (1.0 - r.f_to_hall);
    r.b_row = 1.0 / (buffer_kg + 0.5 * r.buffer);
    r.b_to_a = 0.5 * r.buffer * r.b_row;
    r.vapour_diagonal = vapour_kg + 0.5 * (r.buffer + r.infiltration) - 0.5 * r.buffer * r.b_to_a;
}

impl Floor {
    /// The rooms, branches and coil of a scenario, in the middle of a hot afternoon.
    pub fn new(s: &Scenario) -> Floor {
        let room = |i: usize| {
            let r = &s.rooms[i];
            let infiltration = RHO * r.infiltration_ach * r.volume_m3() / 3600.0;
            let windows: f64 = r.windows.iter().map(|w| w.ua_w_k).sum();
            let mut room = Room {
                al: r.stores.air_contents_w_k,
                af: r.stores.air_fabric_w_k,
                lf: r.stores.contents_fabric_w_k,
                outside: windows + infiltration * CP,
                opaque: r.opaque.iter().map(|o| o.ua_w_k).sum::<f64>() + r.ground_w_k,
                partition: if i == 0 {
                    0.0
                } else {
                    s.doors[i - 1].partition_w_k
                },
                to_contents: 60.0,
                to_air: 50.0,
                buffer: r.buffer_kg_s,
                infiltration,
                vapour_source: 1e-5,
                door: if i == 0 {
                    0.0
                } else {
                    s.doors[i - 1].opening.exchange_factor(296.0)
                },
                t: [25.0, 25.5, 26.0],
                w: [0.009; 2],
                ..Room::default()
            };
            room.to_fabric = 60.0 + room.opaque * 45.0;
            let st = &r.stores;
            let air_kg = RHO * r.volume_m3();
            prepare(
                &mut room,
                st.air_j_k,
                st.contents_j_k,
                st.fabric_j_k,
                air_kg,
                r.buffer_kg,
            );
            room
        };
        let rated = s.rated_flow_m3_s;
        let loss = |law: openshut::internals::LinearQuadratic| law.b + law.a / rated;
        let fan = &s.air.fan.curve;
        let (p0, p1) = (fan.shut_off_pa(), 180.0);
        let branches: Vec<Branch> = s
            .outlets
            .iter()
            .map(|o| Branch {
                fixed: o.run.duct.law(&s.air.air).in_series(o.grille).b,
                damper: 500.0,
                door: 3.0,
                ..Branch::default()
            })
            .collect();
        Floor {
            rooms: (1..s.rooms.len()).map(room).collect(),
            eliminated: vec![[0.0; 6]; s.rooms.len() - 1],
            hall: room(0),
            trunks: s
                .air
                .trunks
                .iter()
                .map(|t| Trunk {
                    own: t.run.duct.law(&s.air.air).b,
                    ..Trunk::default()
                })
                .collect(),
            branches,
            relief: 0.01,
            back: s.air.returns.iter().map(|r| loss(r.law)).sum(),
            inside: loss(s.air.coil) + loss(s.air.filter),
            fan: (p0, (p0 - p1) / (rated * rated)),
            surface_c: 12.0,
            rated_w: 1100.0 * (s.rooms.len() - 1) as f64,
            rated_kg_s: 0.0602 * 1.1 * (s.rooms.len() - 1) as f64,
            saturation: openshut::internals::SaturationTable::new(s.site.pressure_pa),
            count: 0,
        }
    }

    /// One second.
    pub fn step(&mut self) -> f64 {
        // One damper moves a little at every step.
        self.count += 1;
        let moving = self.count % self.branches.len();
        let swing = (self.count % 200) as f64;
        self.branches[moving].damper = 400.0 + 2.0 * swing;
        let fan_flow = self.network();
        let (supply_c, supply_w) = self.coil(fan_flow);
        self.heat_and_moisture(supply_c, supply_w);
        self.hall.t[0]
    }

    fn network(&mut self) -> f64 {
        let mut below = 0.0;
        for (trunk, branches) in self.trunks.iter_mut().zip(self.branches.chunks_mut(4)) {
            let mut sum = 0.0;
            for b in branches {
                b.conductance = 1.0 / (b.fixed + b.damper + b.door).sqrt();
                sum += b.conductance;
            }
            trunk.below = sum;
            trunk.conductance = sum / (1.0 + trunk.own * sum * sum).sqrt();
            below += trunk.conductance;
        }
        let through_rooms = below / (1.0 + self.back * below * below).sqrt();
        let all = through_rooms + self.relief;
        let (p0, slope) = self.fan;
        let flow = (p0 / (slope + self.inside + 1.0 / (all * all))).sqrt();
        let rooms = flow * through_rooms / all;
        let drop = flow / all;
        let opening = ((drop * drop - 60.0) / 50.0).clamp(0.0, 1.0);
        self.relief = 0.002 + 0.03 * opening * opening * (3.0 - 2.0 * opening);
        let per = rooms / below;
        for (trunk, branches) in self.trunks.iter().zip(self.branches.chunks_mut(4)) {
            let per = per * trunk.conductance / trunk.below;
            for b in branches {
                b.flow = per * b.conductance;
            }
        }
        flow
    }

    fn coil(&mut self, flow: f64) -> (f64, f64) {
        let (t_in, w_in) = (self.hall.t[0], self.hall.w[0]);
        let m = RHO * flow;
        let bypass = (-1.897 * self.rated_kg_s / m).exp();
        let contact = m * (1.0 - bypass);
        let enthalpy = |t: f64, w: f64| 1006.0 * t + w * (2.501e6 + 1860.0 * t);
        let h_in = enthalpy(t_in, w_in);
        let mut t = self.surface_c;
        loop {
            let w_sat = self.saturation.w_sat(t);
            let (w, slope) = if w_sat < w_in {
                (w_sat, self.saturation.w_sat_slope_per_k(t))
            } else {
                (w_in, 0.0)
            };
            let a = t - 12.0;
            let q = self.rated_w * (0.995 + a * (0.0275 + a * 2.73e-4));
            let dq = self.rated_w * (0.0275 + a * 5.46e-4);
            let dh = 1006.0 + 1860.0 * w + (2.501e6 + 1860.0 * t) * slope;
            let move_k = (contact * (h_in - enthalpy(t, w)) - q) / (contact * dh + dq);
            t += move_k;
            if move_k.abs() < 1e-8 {
                break;
            }
        }
        self.surface_c = t;
        let w_surface = self.saturation.w_sat(t).min(w_in);
        let w = w_surface + bypass * (w_in - w_surface);
        let h = enthalpy(t, w_surface);
        let h_out = h + bypass * (h_in - h);
        ((h_out - w * 2.501e6) / (1006.0 + 1860.0 * w), w)
    }

    fn heat_and_moisture(&mut self, supply_c: f64, supply_w: f64) {
        let hall = &mut self.hall;
        let [ha, hl, hf] = hall.t;
        let mut a_diagonal = 0.0;
        let (mut a_f, mut f_a, mut f_diagonal) = (0.0, 0.0, 0.0);
        let (mut a_rhs, mut f_rhs) = (0.0, 0.0);
        let (mut v_diagonal, mut v_rhs) = (0.0, 0.0);
        for ((r, b), e) in self
            .rooms
            .iter_mut()
            .zip(&self.branches)
            .zip(&mut self.eliminated)
        {
            let [ta, tl, tf] = r.t;
            let both = RHO * r.door * (ta - ha).abs().sqrt();
            let m = RHO * b.flow;
            let weaker = (both - 0.5 * m).max(0.0);
            let (forth, back) = ((weaker + m), weaker);
            let (g_in, g_out, supply) = (back * CP, forth * CP, m * CP);
            let (al, af, lf) = (r.al * (ta - tl), r.af * (ta - tf), r.lf * (tl - tf));
            let wall = r.partition * (tf - hf);
            let da = r.to_air
                + r.outside * (OUTDOOR_C - ta)
                + supply * (supply_c - ta)
                + g_in * (ha - ta)
                - al
                - af;
            let dl = r.to_contents + al - lf;
            let df = r.to_fabric - r.opaque * tf + af + lf - wall;
            let df = df + r.l_to_f * dl;
            let da = da + r.l_to_a * dl + r.f_to_a * df;
            let row = 1.0 / (r.air_diagonal + 0.5 * (supply + g_in));
            let (to_a, to_f) = (0.5 * g_in * row, r.air_hall_fabric * row);
            let da = da * row;
            a_diagonal += 0.5 * g_out * (1.0 - to_a);
            a_f -= 0.5 * g_out * to_f;
            f_a -= r.air_hall_fabric * to_a;
            f_diagonal += r.hall_fabric_own - r.air_hall_fabric * to_f;
            a_rhs += g_out * (ta - ha) + 0.5 * g_out * da;
            f_rhs += wall + r.f_to_hall * df + r.air_hall_fabric * da;
            let [wa, wb] = r.w;
            let seep = r.buffer * (wa - wb);
            let dv = r.vapour_source
                + r.infiltration * (OUTDOOR_W - wa)
                + m * (supply_w - wa)
                + back * (hall.w[0] - wa)
                - seep
                + r.b_to_a * seep;
            let v_row = 1.0 / (r.vapour_diagonal + 0.5 * (m + back));
            let dv = dv * v_row;
            v_diagonal += 0.5 * forth * (1.0 - 0.5 * back * v_row);
            v_rhs += forth * (wa - hall.w[0]) + 0.5 * forth * dv;
            *e = [da, to_a, to_f, df * r.f_row, dv, 0.5 * back * v_row];
            r.t[1] += dl * r.l_row;
            r.w[1] += seep * r.b_row;
        }
        let (al, af, lf) = (
            hall.al * (ha - hl),
            hall.af * (ha - hf),
            hall.lf * (hl - hf),
        );
        let dl = hall.to_contents + al - lf;
        let own = 0.5 * hall.af + 0.5 * hall.al * hall.l_to_f;
        let da = hall.to_air + hall.outside * (OUTDOOR_C - ha) - al - af + hall.l_to_a * dl + a_rhs;
        let df = hall.to_fabric - hall.opaque * hf + af + lf + hall.l_to_f * dl + f_rhs;
        let a11 = hall.air_diagonal + own * hall.f_to_a + a_diagonal;
        let a22 = 1.0 / hall.f_row + f_diagonal;
        let (a12, a21) = (a_f - own, f_a - own);
        let determinant = 1.0 / (a11 * a22 - a12 * a21);
        let xa = (da * a22 - a12 * df) * determinant;
        let xf = (a11 * df - a21 * da) * determinant;
        let xl = dl * hall.l_row + hall.l_to_a * xa + hall.l_to_f * xf;
        let seep = hall.buffer * (hall.w[0] - hall.w[1]);
        let dv = hall.vapour_source + hall.infiltration * (OUTDOOR_W - hall.w[0]) - seep
            + hall.b_to_a * seep
            + v_rhs;
        let xv = dv / (hall.vapour_diagonal + v_diagonal);
        hall.t = [ha + xa, hl + xl, hf + xf];
        hall.w[0] += xv;
        hall.w[1] += seep * hall.b_row + hall.b_to_a * xv;
        for (r, e) in self.rooms.iter_mut().zip(&self.eliminated) {
            let [da, to_a, to_f, df, dv, v_to] = *e;
            let xa_room = da + to_a * xa + to_f * xf;
            let xf_room = df + r.f_to_a * xa_room + r.f_to_hall * xf;
            r.t[0] += xa_room;
            r.t[1] += r.l_to_a * xa_room + r.l_to_f * xf_room;
            r.t[2] += xf_room;
            let x = dv + v_to * xv;
            r.w[0] += x;
            r.w[1] += r.b_to_a * x;
        }
    }
}
