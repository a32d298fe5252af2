//! Heat and moisture of rooms coupled by doors, stepped together by the trapezoid rule.
//!
//! The same equations as [`crate::plant::thermal::StoreNetwork`], for its most frequent use, with
//! the elimination written out. A room has three heat stores (air, contents, fabric) and two of
//! moisture (air, buffer), joined inside the room by fixed conductances; doors join the air of two
//! rooms by two one-way flows, and the partition beside them joins their fabrics. Contents and
//! buffer are eliminated beforehand, which leaves a block of two unknowns (air, fabric) and one
//! (vapour) a room. Rooms that hang on one other room are then eliminated onto it, leaf by leaf: a
//! hall with its rooms, or any tree of rooms, takes one short straight loop. What remains is a ring
//! of rooms, if there is any, and goes to the sparse solver.

use super::room::{CP_MOIST, Stores};
use crate::math::sparse_lu::SparseLu;

/// The implicitness of the trapezoid rule.
const THETA: f64 = 0.5;

/// What is fixed about a room.
#[derive(Clone, Copy, Debug)]
pub struct RoomStores {
    /// Heat stores and their couplings.
    pub heat: Stores,
    /// Dry air, kg.
    pub vapour_kg: f64,
    /// Dry-air equivalent of the moisture buffer, kg.
    pub buffer_kg: f64,
    /// Coupling of buffer and air, kg/s.
    pub buffer_kg_s: f64,
}

/// A way between two rooms.
#[derive(Clone, Copy, Debug)]
pub struct DoorWay {
    /// The two rooms.
    pub between: [usize; 2],
    /// Conductance between their fabrics, W/K.
    pub partition_w_k: f64,
}

/// What acts on a room during one step: held constant over it.
#[derive(Clone, Copy, Debug, Default)]
pub struct RoomBalance {
    /// Conductance from the air to all air and glass around it, W/K.
    pub air_w_k: f64,
    /// Conductance from the fabric to its surroundings, W/K.
    pub fabric_w_k: f64,
    /// Sources of air, contents and fabric: gains, and conductances times surroundings' °C, W.
    pub source_w: [f64; 3],
    /// Dry air that comes in from elsewhere than other rooms, kg/s.
    pub air_kg_s: f64,
    /// Moisture that comes in with it and by gains, kg/s.
    pub moisture_kg_s: f64,
}

/// Constants of a room for one step length.
#[derive(Clone, Copy, Debug, Default)]
struct Fixed {
    air_contents: f64,
    air_fabric: f64,
    contents_fabric: f64,
    buffer: f64,
    /// Reciprocal of the contents' diagonal, and its share handed to air and fabric.
    contents_row: f64,
    contents_to_air: f64,
    contents_to_fabric: f64,
    buffer_row: f64,
    buffer_to_air: f64,
    /// What is left of the block once contents and buffer are gone.
    air: f64,
    cross: f64,
    fabric: f64,
    vapour: f64,
}

/// The block of one room: air and fabric, and vapour.
#[derive(Clone, Copy, Debug, Default)]
struct Row {
    aa: f64,
    af: f64,
    fa: f64,
    ff: f64,
    ra: f64,
    rf: f64,
    v: f64,
    rv: f64,
    contents: f64,
    buffer: f64,
}

/// All doors between one pair of rooms.
#[derive(Clone, Copy, Debug)]
struct Edge {
    rooms: [usize; 2],
    /// θ times the partition.
    partition: f64,
    /// θ times the air from the second room into the first, and from the first into the second,
    /// kg/s.
    into: [f64; 2],
}

/// A room eliminated onto its parent.
#[derive(Clone, Copy, Debug)]
struct Leaf {
    room: usize,
    parent: usize,
    edge: usize,
    /// Which end of the edge the room is.
    end: usize,
    /// Its unknowns are these plus these times the parent's.
    y: [f64; 3],
    w: [f64; 5],
}

/// Rings of rooms that no leaf can be taken off.
#[derive(Clone, Debug)]
struct Core {
    rooms: Vec<usize>,
    edges: Vec<usize>,
    /// Place of each room in `rooms`; of no meaning for others.
    place: Vec<usize>,
    heat: SparseLu,
    vapour: SparseLu,
    rhs: Vec<f64>,
    scratch: Vec<f64>,
}

/// The rooms with the memory a step needs.
#[derive(Clone, Debug)]
pub struct CoupledRooms {
    stores: Vec<RoomStores>,
    fixed: Vec<Fixed>,
    fixed_for: f64,
    rows: Vec<Row>,
    edges: Vec<Edge>,
    /// Edge of each door, and whether the door's first room is the edge's second.
    door_edge: Vec<(usize, bool)>,
    leaves: Vec<Leaf>,
    roots: Vec<usize>,
    core: Core,
}

/// Middle of a step, `(old + new)/2`, of one room: air and fabric in °C, humidity ratio of the air.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Middle {
    /// Air, °C.
    pub air_c: f64,
    /// Fabric, °C.
    pub fabric_c: f64,
    /// Humidity ratio of the air, kg/kg.
    pub w: f64,
}

impl CoupledRooms {
    /// Plans the elimination.
    ///
    /// # Panics
    /// If a door names a room that is not there.
    pub fn new(stores: Vec<RoomStores>, doors: &[DoorWay]) -> CoupledRooms {
        let mut edges: Vec<Edge> = Vec::new();
        let mut door_edge = Vec::new();
        for door in doors {
            let [a, b] = door.between;
            assert!(
                a < stores.len() && b < stores.len(),
                "a door joins rooms that are there"
            );
            let same = |e: &Edge| e.rooms == [a, b] || e.rooms == [b, a];
            let at = edges.iter().position(same).unwrap_or_else(|| {
                edges.push(Edge {
                    rooms: [a, b],
                    partition: 0.0,
                    into: [0.0; 2],
                });
                edges.len() - 1
            });
            // A door of a room with itself moves nothing.
            if a != b {
                edges[at].partition += THETA * door.partition_w_k;
            }
            door_edge.push((at, edges[at].rooms[0] != a));
        }
        let mut waiting: Vec<bool> = vec![true; stores.len()];
        let mut leaves = Vec::new();
        let mut roots = Vec::new();
        loop {
            let near = |room: usize, waiting: &[bool]| {
                let mut found = (0, 0, 0);
                for (e, edge) in edges.iter().enumerate() {
                    for end in 0..2 {
                        let other = edge.rooms[1 - end];
                        if edge.rooms[end] == room && other != room && waiting[other] {
                            found = (found.0 + 1, e, end);
                        }
                    }
                }
                found
            };
            let mut taken = false;
            for room in 0..stores.len() {
                if !waiting[room] {
                    continue;
                }
                let (count, edge, end) = near(room, &waiting);
                if count == 0 {
                    roots.push(room);
                } else if count == 1 {
                    leaves.push(Leaf {
                        room,
                        parent: edges[edge].rooms[1 - end],
                        edge,
                        end,
                        y: [0.0; 3],
                        w: [0.0; 5],
                    });
                } else {
                    continue;
                }
                waiting[room] = false;
                taken = true;
            }
            if !taken {
                break;
            }
        }
        let core_rooms: Vec<usize> = (0..stores.len()).filter(|&r| waiting[r]).collect();
        let mut place = vec![0; stores.len()];
        for (at, &room) in core_rooms.iter().enumerate() {
            place[room] = at;
        }
        let core_edges: Vec<usize> = (0..edges.len())
            .filter(|&e| {
                let [a, b] = edges[e].rooms;
                a != b && waiting[a] && waiting[b]
            })
            .collect();
        let m = core_rooms.len();
        let mut heat: Vec<(usize, usize)> = (0..m).map(|i| (2 * i, 2 * i + 1)).collect();
        let mut vapour = Vec::new();
        for &e in &core_edges {
            let [a, b] = edges[e].rooms.map(|r| place[r]);
            heat.extend([(2 * a, 2 * b), (2 * a + 1, 2 * b + 1)]);
            vapour.push((a, b));
        }
        CoupledRooms {
            fixed: vec![Fixed::default(); stores.len()],
            fixed_for: f64::NAN,
            rows: vec![Row::default(); stores.len()],
            stores,
            edges,
            door_edge,
            leaves,
            roots,
            core: Core {
                rooms: core_rooms,
                edges: core_edges,
                place,
                heat: SparseLu::new(2 * m, &heat),
                vapour: SparseLu::new(m, &vapour),
                rhs: vec![0.0; 2 * m],
                scratch: vec![0.0; 2 * m],
            },
        }
    }

    /// Steps all rooms by `h` seconds.
    ///
    /// `doors` holds dry air through each door, forth (first room to second) and back, kg/s;
    /// `heat` air, contents and fabric of each room in turn, °C; `moisture` air and buffer of each,
    /// kg/kg. `middle` is left with the middle of the step.
    ///
    /// # Errors
    /// The index of a room whose balance has no solution (an input that is not finite).
    pub fn step(
        &mut self,
        h: f64,
        balances: &[RoomBalance],
        doors: &[(f64, f64)],
        heat: &mut [f64],
        moisture: &mut [f64],
        middle: &mut [Middle],
    ) -> Result<(), usize> {
        if self.fixed_for != h {
            self.fix(h);
        }
        self.inside(balances, heat, moisture);
        self.between(doors, heat, moisture);
        self.eliminate()?;
        for &room in &self.roots {
            solve_alone(&mut self.rows[room]).ok_or(room)?;
        }
        if !self.core.rooms.is_empty() {
            self.solve_core()?;
        }
        for leaf in self.leaves.iter().rev() {
            let p = &self.rows[leaf.parent];
            let (pa, pf, pv) = (p.ra, p.rf, p.rv);
            let row = &mut self.rows[leaf.room];
            row.ra = leaf.y[0] + leaf.w[0] * pa + leaf.w[1] * pf;
            row.rf = leaf.y[1] + leaf.w[2] * pa + leaf.w[3] * pf;
            row.rv = leaf.y[2] + leaf.w[4] * pv;
        }
        let (heat, _) = heat.as_chunks_mut::<3>();
        let (moisture, _) = moisture.as_chunks_mut::<2>();
        for ((((f, row), t), w), mid) in self
            .fixed
            .iter()
            .zip(&self.rows)
            .zip(heat)
            .zip(moisture)
            .zip(middle)
        {
            *mid = Middle {
                air_c: t[0] + THETA * row.ra,
                fabric_c: t[2] + THETA * row.rf,
                w: w[0] + THETA * row.rv,
            };
            t[0] += row.ra;
            t[1] += row.contents + f.contents_to_air * row.ra + f.contents_to_fabric * row.rf;
            t[2] += row.rf;
            w[0] += row.rv;
            w[1] += row.buffer + f.buffer_to_air * row.rv;
        }
        Ok(())
    }

    /// Every room by itself: what its stores would gain, contents and buffer eliminated.
    fn inside(&mut self, balances: &[RoomBalance], heat: &[f64], moisture: &[f64]) {
        let (heat, _) = heat.as_chunks::<3>();
        let (moisture, _) = moisture.as_chunks::<2>();
        for ((((f, row), b), &[ta, tl, tf]), &[wa, wb]) in self
            .fixed
            .iter()
            .zip(&mut self.rows)
            .zip(balances)
            .zip(heat)
            .zip(moisture)
        {
            let air_contents = f.air_contents * (ta - tl);
            let air_fabric = f.air_fabric * (ta - tf);
            let contents_fabric = f.contents_fabric * (tl - tf);
            let seeping = f.buffer * (wa - wb);
            let air = b.source_w[0] - b.air_w_k * ta - air_contents - air_fabric;
            let contents = b.source_w[1] + air_contents - contents_fabric;
            let fabric = b.source_w[2] - b.fabric_w_k * tf + air_fabric + contents_fabric;
            *row = Row {
                aa: f.air + THETA * b.air_w_k,
                af: f.cross,
                fa: f.cross,
                ff: f.fabric + THETA * b.fabric_w_k,
                ra: air + f.contents_to_air * contents,
                rf: fabric + f.contents_to_fabric * contents,
                v: f.vapour + THETA * b.air_kg_s,
                rv: b.moisture_kg_s - b.air_kg_s * wa - seeping + f.buffer_to_air * seeping,
                contents: f.contents_row * contents,
                buffer: f.buffer_row * seeping,
            };
        }
    }

    /// Air through doors, heat through the partitions beside them.
    fn between(&mut self, doors: &[(f64, f64)], heat: &[f64], moisture: &[f64]) {
        for edge in &mut self.edges {
            edge.into = [0.0; 2];
        }
        for (&(at, turned), &(forth, back)) in self.door_edge.iter().zip(doors) {
            let into = &mut self.edges[at].into;
            let first = usize::from(turned);
            into[first] += THETA * back;
            into[1 - first] += THETA * forth;
        }
        let (heat, _) = heat.as_chunks::<3>();
        let (moisture, _) = moisture.as_chunks::<2>();
        for edge in &self.edges {
            let [a, b] = edge.rooms;
            if a == b {
                continue;
            }
            let (warmer, damper) = (heat[b][0] - heat[a][0], moisture[b][0] - moisture[a][0]);
            let wall = edge.partition * (heat[b][2] - heat[a][2]) / THETA;
            for (room, into, sign) in [(a, edge.into[0], 1.0), (b, edge.into[1], -1.0)] {
                let row = &mut self.rows[room];
                let w_k = CP_MOIST * into;
                row.aa += w_k;
                row.ff += edge.partition;
                row.v += into;
                row.ra += sign * (w_k / THETA * warmer);
                row.rf += sign * wall;
                row.rv += sign * (into / THETA * damper);
            }
        }
    }

    fn eliminate(&mut self) -> Result<(), usize> {
        for leaf in &mut self.leaves {
            let edge = &self.edges[leaf.edge];
            let from_parent = edge.into[leaf.end];
            let to_parent = edge.into[1 - leaf.end];
            let row = self.rows[leaf.room];
            let determinant = row.aa * row.ff - row.af * row.fa;
            let both = determinant * row.v;
            if !usable(both) {
                return Err(leaf.room);
            }
            let (r, rv) = (1.0 / determinant, 1.0 / row.v);
            let (ua, uf) = (CP_MOIST * from_parent, edge.partition);
            let (la, lf) = (CP_MOIST * to_parent, edge.partition);
            let (i11, i12) = (row.ff * r, -row.af * r);
            let (i21, i22) = (-row.fa * r, row.aa * r);
            let y = [
                i11 * row.ra + i12 * row.rf,
                i21 * row.ra + i22 * row.rf,
                row.rv * rv,
            ];
            let w = [i11 * ua, i12 * uf, i21 * ua, i22 * uf, from_parent * rv];
            let p = &mut self.rows[leaf.parent];
            p.aa -= la * w[0];
            p.af -= la * w[1];
            p.fa -= lf * w[2];
            p.ff -= lf * w[3];
            p.ra += la * y[0];
            p.rf += lf * y[1];
            p.v -= to_parent * w[4];
            p.rv += to_parent * y[2];
            leaf.y = y;
            leaf.w = w;
        }
        Ok(())
    }

    fn solve_core(&mut self) -> Result<(), usize> {
        let Core {
            rooms,
            edges,
            place,
            heat,
            vapour,
            rhs,
            scratch,
        } = &mut self.core;
        heat.clear();
        vapour.clear();
        for (i, &room) in rooms.iter().enumerate() {
            let row = &self.rows[room];
            let (a, f) = (2 * i, 2 * i + 1);
            for (at, value) in [
                ((a, a), row.aa),
                ((a, f), row.af),
                ((f, a), row.fa),
                ((f, f), row.ff),
            ] {
                heat.add(heat.slot(at.0, at.1), value);
            }
            vapour.add(vapour.slot(i, i), row.v);
            rhs[a] = row.ra;
            rhs[f] = row.rf;
        }
        for &e in edges.iter() {
            let edge = &self.edges[e];
            for end in 0..2 {
                let (i, j) = (place[edge.rooms[end]], place[edge.rooms[1 - end]]);
                heat.add(heat.slot(2 * i, 2 * j), -CP_MOIST * edge.into[end]);
                heat.add(heat.slot(2 * i + 1, 2 * j + 1), -edge.partition);
                vapour.add(vapour.slot(i, j), -edge.into[end]);
            }
        }
        heat.factor().map_err(|i| rooms[i / 2])?;
        heat.solve(rhs, scratch);
        for (i, &room) in rooms.iter().enumerate() {
            self.rows[room].ra = rhs[2 * i];
            self.rows[room].rf = rhs[2 * i + 1];
            scratch[i] = self.rows[room].rv;
        }
        rhs[..rooms.len()].copy_from_slice(&scratch[..rooms.len()]);
        vapour.factor().map_err(|i| rooms[i])?;
        vapour.solve(&mut rhs[..rooms.len()], scratch);
        for (&room, &x) in rooms.iter().zip(rhs.iter()) {
            self.rows[room].rv = x;
        }
        Ok(())
    }

    fn fix(&mut self, h: f64) {
        for (f, s) in self.fixed.iter_mut().zip(&self.stores) {
            let k = &s.heat;
            let al = THETA * k.air_contents_w_k;
            let lf = THETA * k.contents_fabric_w_k;
            let af = THETA * k.air_fabric_w_k;
            let seep = THETA * s.buffer_kg_s;
            let contents_row = 1.0 / (k.contents_j_k / h + al + lf);
            let buffer_row = 1.0 / (s.buffer_kg / h + seep);
            *f = Fixed {
                air_contents: k.air_contents_w_k,
                air_fabric: k.air_fabric_w_k,
                contents_fabric: k.contents_fabric_w_k,
                buffer: s.buffer_kg_s,
                contents_row,
                contents_to_air: al * contents_row,
                contents_to_fabric: lf * contents_row,
                buffer_row,
                buffer_to_air: seep * buffer_row,
                air: k.air_j_k / h + af + al * (1.0 - al * contents_row),
                cross: -af - al * lf * contents_row,
                fabric: k.fabric_j_k / h + af + lf * (1.0 - lf * contents_row),
                vapour: s.vapour_kg / h + seep * (1.0 - seep * buffer_row),
            };
        }
        self.fixed_for = h;
    }
}

/// Whether a pivot can be divided by.
fn usable(pivot: f64) -> bool {
    pivot.abs() >= f64::MIN_POSITIVE && pivot.is_finite()
}

fn solve_alone(row: &mut Row) -> Option<()> {
    let determinant = row.aa * row.ff - row.af * row.fa;
    if !usable(determinant * row.v) {
        return None;
    }
    let r = 1.0 / determinant;
    let (ra, rf) = (row.ra, row.rf);
    row.ra = (row.ff * ra - row.af * rf) * r;
    row.rf = (row.aa * rf - row.fa * ra) * r;
    row.rv /= row.v;
    Some(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plant::room::Construction;
    use crate::plant::thermal::{Drive, StoreNetwork};
    use proptest::prelude::*;

    /// The same rooms as two general networks of stores.
    fn general(stores: &[RoomStores], doors: &[DoorWay]) -> (StoreNetwork, StoreNetwork) {
        let (mut heat, mut moisture) = (StoreNetwork::builder(), StoreNetwork::builder());
        for s in stores {
            let a = heat.store(s.heat.air_j_k);
            let l = heat.store(s.heat.contents_j_k);
            let f = heat.store(s.heat.fabric_j_k);
            heat.link(a, l, s.heat.air_contents_w_k);
            heat.link(a, f, s.heat.air_fabric_w_k);
            heat.link(l, f, s.heat.contents_fabric_w_k);
            let v = moisture.store(s.vapour_kg);
            let b = moisture.store(s.buffer_kg);
            moisture.link(v, b, s.buffer_kg_s);
        }
        for d in doors {
            let [a, b] = d.between;
            heat.link(3 * a + 2, 3 * b + 2, d.partition_w_k);
            for (from, to) in [(a, b), (b, a)] {
                heat.stream(3 * from, 3 * to);
                moisture.stream(2 * from, 2 * to);
            }
        }
        (heat.build(), moisture.build())
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(200))]

        /// Trees, rings, doubled doors, rooms without doors: as the general network steps them.
        #[test]
        fn agrees_with_the_general_network(
            n in 1_usize..9,
            raw in prop::collection::vec((0_usize..9, 0_usize..9, 0.0_f64..80.0), 0..12),
            flows in prop::collection::vec((0.0_f64..0.3, 0.0_f64..0.3), 12),
            per in prop::collection::vec((8.0_f64..40.0, 15.0_f64..35.0, 0.003_f64..0.015), 9),
            h in prop::sample::select(vec![0.5, 1.0, 10.0]),
        ) {
            let stores: Vec<RoomStores> = per[..n].iter().map(|&(area, _, _)| RoomStores {
                heat: Stores::from_geometry(area, 2.4, Construction::Medium, 1.2),
                vapour_kg: 2.88 * area,
                buffer_kg: 20.0 * area,
                buffer_kg_s: 0.002 * area,
            }).collect();
            let doors: Vec<DoorWay> = raw
                .iter()
                .map(|&(a, b, w)| DoorWay { between: [a % n, b % n], partition_w_k: w })
                .filter(|d| d.between[0] != d.between[1])
                .collect();
            let balances: Vec<RoomBalance> = per[..n].iter().map(|&(area, t, w)| RoomBalance {
                air_w_k: area,
                fabric_w_k: 0.4 * area,
                source_w: [area * t, 3.0 * area, 0.4 * area * 40.0],
                air_kg_s: 0.001 * area,
                moisture_kg_s: 0.001 * area * w,
            }).collect();
            let start: Vec<f64> = per[..n].iter().flat_map(|p| [p.1, p.1 + 1.0, p.1 + 3.0]).collect();
            let damp: Vec<f64> = per[..n].iter().flat_map(|p| [p.2, 1.1 * p.2]).collect();

            let mut rooms = CoupledRooms::new(stores.clone(), &doors);
            let (mut t, mut w) = (start.clone(), damp.clone());
            let mut middle = vec![Middle::default(); n];
            let (mut heat, mut moisture) = general(&stores, &doors);
            let (mut gt, mut gw) = (start, damp);
            let (mut gm, mut gwm) = (gt.clone(), gw.clone());
            let flows = &flows[..doors.len()];
            let spread = |f: &dyn Fn(&RoomBalance) -> Vec<f64>| -> Vec<f64> {
                balances.iter().flat_map(f).collect()
            };
            for _ in 0..20 {
                rooms.step(h, &balances, flows, &mut t, &mut w, &mut middle).unwrap();
                let kg: Vec<f64> = flows.iter().flat_map(|&(f, b)| [f, b]).collect();
                let w_k: Vec<f64> = kg.iter().map(|m| m * CP_MOIST).collect();
                heat.step(h, &Drive {
                    boundary: &spread(&|b| vec![b.air_w_k, 0.0, b.fabric_w_k]),
                    source: &spread(&|b| b.source_w.to_vec()),
                    stream: &w_k,
                }, &mut gt, &mut gm).unwrap();
                moisture.step(h, &Drive {
                    boundary: &spread(&|b| vec![b.air_kg_s, 0.0]),
                    source: &spread(&|b| vec![b.moisture_kg_s, 0.0]),
                    stream: &kg,
                }, &mut gw, &mut gwm).unwrap();
            }
            for (a, b) in t.iter().zip(&gt) {
                prop_assert!((a - b).abs() < 1e-11, "{t:?} {gt:?}");
            }
            for (a, b) in w.iter().zip(&gw) {
                prop_assert!((a - b).abs() < 1e-14, "{w:?} {gw:?}");
            }
            for (i, m) in middle.iter().enumerate() {
                prop_assert!((m.air_c - gm[3 * i]).abs() < 1e-11);
                prop_assert!((m.fabric_c - gm[3 * i + 2]).abs() < 1e-11);
                prop_assert!((m.w - gwm[2 * i]).abs() < 1e-14);
            }
        }
    }

    #[test]
    fn a_room_that_cannot_be_balanced_is_named() {
        let one = RoomStores {
            heat: Stores::from_geometry(12.0, 2.4, Construction::Light, 1.2),
            vapour_kg: 34.0,
            buffer_kg: 200.0,
            buffer_kg_s: 0.02,
        };
        let doors = [DoorWay {
            between: [0, 1],
            partition_w_k: 30.0,
        }];
        let mut rooms = CoupledRooms::new(vec![one; 2], &doors);
        let mut balances = [RoomBalance::default(); 2];
        balances[0].air_w_k = f64::NAN;
        let (mut t, mut w) = ([20.0; 6], [0.008; 4]);
        let mut middle = [Middle::default(); 2];
        let step = rooms.step(1.0, &balances, &[(0.0, 0.0)], &mut t, &mut w, &mut middle);
        assert_eq!(step, Err(0));
    }
}
