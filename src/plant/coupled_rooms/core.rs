//! Rings of rooms: what is left once every room that hangs on one other is eliminated.

use super::{CP_MOIST, CoupledRooms, Edge, LANES, RoomsState, Row, Seat, SparseLu, THETA};

/// Rings of rooms that no leaf can be taken off.
#[derive(Clone, Debug)]
pub(super) struct Core {
    pub(super) rooms: Vec<usize>,
    edges: Vec<Edge>,
    /// Place of each room in `rooms`; of no meaning for others.
    place: Vec<usize>,
    heat: SparseLu,
    vapour: SparseLu,
    rhs: Vec<f64>,
    rhs_v: Vec<f64>,
    scratch: Vec<f64>,
}

impl Core {
    /// The matrices of rooms that are left, and the doors between them.
    pub(super) fn new(count: usize, rooms: Vec<usize>, edges: Vec<Edge>) -> Core {
        let mut place = vec![0; count];
        for (at, &room) in rooms.iter().enumerate() {
            place[room] = at;
        }
        let m = rooms.len();
        let mut heat: Vec<(usize, usize)> = (0..m).map(|i| (2 * i, 2 * i + 1)).collect();
        let mut vapour = Vec::new();
        for edge in &edges {
            let [a, b] = edge.rooms.map(|r| place[r]);
            heat.extend([(2 * a, 2 * b), (2 * a + 1, 2 * b + 1)]);
            vapour.push((a, b));
        }
        Core {
            rooms,
            edges,
            place,
            heat: SparseLu::new(2 * m, &heat),
            vapour: SparseLu::new(m, &vapour),
            rhs: vec![0.0; 2 * m],
            rhs_v: vec![0.0; m],
            scratch: vec![0.0; 2 * m],
        }
    }
}

impl CoupledRooms {
    /// Solves what is left of the rooms in rings; the error is a room without an answer.
    pub(super) fn solve_core(
        &mut self,
        doors: &[[f64; 2]],
        state: &RoomsState,
    ) -> Result<(), usize> {
        let core = &mut self.core;
        core.heat.clear();
        core.vapour.clear();
        for edge in &core.edges {
            let into = edge.into(doors);
            join(edge, into, state, &mut self.joined);
            let [a, b] = edge.rooms.map(|r| core.place[r]);
            for (i, j, into) in [(a, b, into[0]), (b, a, into[1])] {
                let (heat, vapour) = (&mut core.heat, &mut core.vapour);
                heat.add(heat.slot(2 * i, 2 * j), -CP_MOIST * into);
                heat.add(heat.slot(2 * i + 1, 2 * j + 1), -edge.partition);
                vapour.add(vapour.slot(i, j), -into);
            }
        }
        for i in 0..self.core.rooms.len() {
            let row = self.row(self.core.rooms[i]);
            let core = &mut self.core;
            let (a, f) = (2 * i, 2 * i + 1);
            for (at, value) in [
                ((a, a), row.aa),
                ((a, f), row.af),
                ((f, a), row.fa),
                ((f, f), row.ff),
            ] {
                core.heat.add(core.heat.slot(at.0, at.1), value);
            }
            core.vapour.add(core.vapour.slot(i, i), row.v);
            (core.rhs[a], core.rhs[f], core.rhs_v[i]) = (row.ra, row.rf, row.rv);
        }
        let core = &mut self.core;
        core.heat.factor().map_err(|i| core.rooms[i / 2])?;
        core.heat.solve(&mut core.rhs, &mut core.scratch);
        core.vapour.factor().map_err(|i| core.rooms[i])?;
        core.vapour.solve(&mut core.rhs_v, &mut core.scratch);
        for i in 0..self.core.rooms.len() {
            let core = &self.core;
            let changes = [core.rhs[2 * i], core.rhs[2 * i + 1], core.rhs_v[i]];
            self.set_changes(core.rooms[i], changes);
        }
        Ok(())
    }
}

/// Joins the balances of two rooms by the air into the first and into the second, θ times kg/s, and
/// by the heat through the partition between them.
fn join(edge: &Edge, into: [f64; 2], state: &RoomsState, joined: &mut [[Row; LANES]]) {
    let [a, b] = edge.rooms;
    let (one, other) = (state.air(a), state.air(b));
    let warmer = (other.t_c - one.t_c) / THETA;
    let damper = (other.w - one.w) / THETA;
    let wall = edge.partition * (state.fabric_c(b) - state.fabric_c(a)) / THETA;
    for (room, into, sign) in [(a, into[0], 1.0), (b, into[1], -1.0)] {
        let seat = Seat::of(room);
        let row = &mut joined[seat.block][seat.lane];
        let w_k = CP_MOIST * into;
        row.aa += w_k;
        row.ff += edge.partition;
        row.v += into;
        row.ra += sign * (w_k * warmer);
        row.rf += sign * wall;
        row.rv += sign * (into * damper);
    }
}
