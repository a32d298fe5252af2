//! Heat and moisture of rooms coupled by doors, stepped together by the trapezoid rule.
//!
//! The trapezoid rule is second order and A-stable. Flows evaluated at the middle of a step,
//! `(old + new)/2`, account for the change of every store to round-off, which is how the meters
//! close. The elimination is written out: a room has three heat stores (air, contents, fabric) and two of
//! moisture (air, buffer), joined inside the room by fixed conductances; doors join the air of two
//! rooms by two one-way flows, and the partition beside them joins their fabrics. Contents and
//! buffer are eliminated beforehand, which leaves a block of two unknowns (air, fabric) and one
//! (vapour) a room. Rooms that hang on one other room, their parent, are then eliminated onto it,
//! a block at a time and level by level from the outside in: a hall with its rooms is one level. What
//! remains is a ring of rooms, if there is any, and goes to the sparse solver.

use super::air::MoistAir;
use super::room::{CP_MOIST, Stores};
use crate::math::clone_in_place;
use crate::math::lanes::{LANES, Lanes, Seat, blocks, gather};
use crate::math::sparse_lu::SparseLu;

mod core;

use self::core::Core;

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

/// Temperatures and humidity of a block of rooms.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct StoreLanes {
    /// Air, °C.
    pub air_c: Lanes,
    /// Light contents, °C.
    pub contents_c: Lanes,
    /// Fabric, °C.
    pub fabric_c: Lanes,
    /// Humidity ratio of the air, kg/kg.
    pub w: Lanes,
    /// Humidity ratio of air in balance with the moisture buffer, kg/kg.
    pub buffer_w: Lanes,
}

/// Temperatures and humidity of every room, by blocks; what lies past the last room stays at
/// zero.
#[derive(Debug, PartialEq)]
pub struct RoomsState {
    /// The blocks.
    pub blocks: Vec<StoreLanes>,
}

clone_in_place!(RoomsState { blocks });

impl RoomsState {
    /// All stores of each room at its temperature (°C) and humidity ratio (kg/kg).
    pub fn uniform(rooms: &[(f64, f64)]) -> RoomsState {
        let block = |b| {
            let t_c = gather(b, rooms, 0.0, |r| r.0);
            let w = gather(b, rooms, 0.0, |r| r.1);
            StoreLanes {
                air_c: t_c,
                contents_c: t_c,
                fabric_c: t_c,
                w,
                buffer_w: w,
            }
        };
        RoomsState {
            blocks: (0..blocks(rooms.len())).map(block).collect(),
        }
    }

    /// Air of a room.
    #[inline]
    pub fn air(&self, room: usize) -> MoistAir {
        let seat = Seat::of(room);
        let block = &self.blocks[seat.block];
        MoistAir {
            t_c: seat.get(&block.air_c),
            w: seat.get(&block.w),
        }
    }

    /// Air of a room, °C.
    #[inline]
    pub fn air_c(&self, room: usize) -> f64 {
        let seat = Seat::of(room);
        seat.get(&self.blocks[seat.block].air_c)
    }

    /// Fabric of a room, °C.
    #[inline]
    pub fn fabric_c(&self, room: usize) -> f64 {
        let seat = Seat::of(room);
        seat.get(&self.blocks[seat.block].fabric_c)
    }
}

/// What acts on a block of rooms during one step, held constant over it.
#[derive(Clone, Copy, Debug, Default)]
pub struct BalanceLanes {
    /// Conductance from the air to all air and glass around it, W/K.
    pub air_w_k: Lanes,
    /// Conductance from the fabric to its surroundings, W/K.
    pub fabric_w_k: Lanes,
    /// Sources of the air: gains, and conductances times surroundings' °C, W.
    pub to_air_w: Lanes,
    /// Sources of the contents, W.
    pub to_contents_w: Lanes,
    /// Sources of the fabric, W.
    pub to_fabric_w: Lanes,
    /// Dry air that comes in from elsewhere than other rooms, kg/s.
    pub air_kg_s: Lanes,
    /// Moisture that comes in with it and by gains, kg/s.
    pub moisture_kg_s: Lanes,
}

/// Middle of a step, `(old + new)/2`, of a block of rooms.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct MiddleLanes {
    /// Air, °C.
    pub air_c: Lanes,
    /// Fabric, °C.
    pub fabric_c: Lanes,
    /// Humidity ratio of the air, kg/kg.
    pub w: Lanes,
}

/// Constants of a block of rooms for one step length; zero for rooms that are not there.
#[derive(Clone, Copy, Debug, Default)]
struct Fixed {
    air_contents: Lanes,
    air_fabric: Lanes,
    contents_fabric: Lanes,
    buffer: Lanes,
    /// Reciprocal of the contents' diagonal, and its share handed to air and fabric.
    contents_row: Lanes,
    contents_to_air: Lanes,
    contents_to_fabric: Lanes,
    buffer_row: Lanes,
    buffer_to_air: Lanes,
    /// What is left of the block once contents and buffer are gone.
    air: Lanes,
    cross: Lanes,
    fabric: Lanes,
    vapour: Lanes,
}

/// The blocks of a block of rooms, air and fabric, and vapour, as far as each stands by itself: diagonals,
/// and right-hand sides that become the changes.
#[derive(Clone, Copy, Debug, Default)]
struct RowLanes {
    aa: Lanes,
    ff: Lanes,
    v: Lanes,
    ra: Lanes,
    rf: Lanes,
    rv: Lanes,
    /// What contents and buffer gain by themselves.
    contents: Lanes,
    buffer: Lanes,
    /// θ times the air from its parent into each room, and from each room into its parent, kg/s.
    from_parent: Lanes,
    into_parent: Lanes,
}

/// The block of one room with what has been joined to it.
#[derive(Clone, Copy, Debug, Default)]
struct Row {
    aa: f64,
    af: f64,
    fa: f64,
    ff: f64,
    v: f64,
    ra: f64,
    rf: f64,
    rv: f64,
}

/// All doors between one pair of rooms.
#[derive(Clone, Debug)]
struct Edge {
    rooms: [usize; 2],
    /// θ times the partition.
    partition: f64,
    /// The doors, and whether a door's first room is the edge's second.
    doors: Vec<(usize, bool)>,
}

impl Edge {
    /// θ times the air from the second room into the first, and from the first into the second,
    /// kg/s.
    #[inline]
    fn into(&self, doors: &[[f64; 2]]) -> [f64; 2] {
        let mut into = [0.0; 2];
        for &(at, turned) in &self.doors {
            let through = doors[at];
            into[0] += THETA * through[usize::from(!turned)];
            into[1] += THETA * through[usize::from(turned)];
        }
        into
    }

    /// The same, with `room` as the first of the two.
    fn seen_from(&self, room: usize) -> Edge {
        let [a, b] = self.rooms;
        let turn = a != room;
        Edge {
            rooms: if turn { [b, a] } else { [a, b] },
            partition: self.partition,
            doors: self.doors.iter().map(|&(i, t)| (i, t != turn)).collect(),
        }
    }
}

/// Rooms of one block that are eliminated onto their parents together.
#[derive(Clone, Debug)]
struct Leaves {
    /// Which block.
    block: usize,
    /// Bits of the rooms that take part; all others are left as they are.
    part: Lanes,
    /// The rooms that take part, by their place in the block.
    members: Vec<usize>,
    /// The parent of each room of the block, itself where it takes no part.
    parents: [Seat; LANES],
    /// Whether rooms hang on these rooms in turn.
    carrying: bool,
    /// θ times the partition to the parent; zero for rooms that take no part.
    partition: Lanes,
    /// Their unknowns are these plus these times the parent's.
    y: [Lanes; 3],
    w: [Lanes; 5],
}

/// The rooms with the memory a step needs.
#[derive(Clone, Debug)]
pub struct CoupledRooms {
    stores: Vec<RoomStores>,
    /// Constants by length of step, s; those of the last step are in use.
    fixed: Vec<(f64, Vec<Fixed>)>,
    in_use: usize,
    rows: Vec<RowLanes>,
    /// What doors and eliminated rooms have added to the block of each room.
    joined: Vec<[Row; LANES]>,
    /// The doors of each leaf to its parent; the leaf is the first of the two.
    to_parents: Vec<Edge>,
    /// In the order of elimination.
    leaves: Vec<Leaves>,
    roots: Vec<usize>,
    core: Core,
}

impl CoupledRooms {
    /// Plans the elimination.
    ///
    /// # Panics
    /// If a door names a room that is not there.
    pub fn new(stores: Vec<RoomStores>, doors: &[DoorWay]) -> CoupledRooms {
        let mut edges = join_doors(stores.len(), doors);
        let mut waiting: Vec<bool> = vec![true; stores.len()];
        let mut to_parents: Vec<Edge> = Vec::new();
        let mut leaves = Vec::new();
        let mut roots = Vec::new();
        loop {
            let near = |room: usize, waiting: &[bool]| -> Vec<usize> {
                (0..edges.len())
                    .filter(|&e| match edges[e].rooms {
                        [a, b] if a == room => waiting[b],
                        [a, b] if b == room => waiting[a],
                        _ => false,
                    })
                    .collect()
            };
            // Those with one neighbour make a level; of two that only have each other, one.
            let before = waiting.clone();
            let first = to_parents.len();
            for room in (0..stores.len()).filter(|&r| before[r]) {
                match (near(room, &before)[..].len(), &near(room, &waiting)[..]) {
                    (0 | 1, []) => roots.push(room),
                    (1, [edge]) => to_parents.push(edges[*edge].seen_from(room)),
                    _ => continue,
                }
                waiting[room] = false;
            }
            leaves.extend(level(&to_parents[first..], &to_parents[..first]));
            if waiting == before {
                break;
            }
        }
        edges.retain(|e| e.rooms.iter().all(|&r| waiting[r]));
        let in_core: Vec<usize> = (0..stores.len()).filter(|&r| waiting[r]).collect();
        let count = stores.len();
        CoupledRooms {
            fixed: Vec::new(),
            in_use: 0,
            rows: vec![RowLanes::default(); blocks(count)],
            joined: vec![[Row::default(); LANES]; blocks(count)],
            to_parents,
            core: Core::new(count, in_core, edges),
            stores,
            leaves,
            roots,
        }
    }

    /// Steps all rooms by `h` seconds.
    ///
    /// `doors` holds dry air through each door, forth (first room to second) and back, kg/s.
    /// `middle` is left with the middle of the step.
    ///
    /// # Errors
    /// The index of a room whose balance has no solution (an input that is not finite).
    ///
    /// # Panics
    /// If a list is shorter than the rooms need.
    pub fn step(
        &mut self,
        h: f64,
        balances: &[BalanceLanes],
        doors: &[[f64; 2]],
        state: &mut RoomsState,
        middle: &mut [MiddleLanes],
    ) -> Result<(), usize> {
        if self.fixed.get(self.in_use).is_none_or(|f| f.0 != h) {
            self.prepare(h);
        }
        self.inside(balances, state);
        self.joined.fill([Row::default(); LANES]);
        for edge in &self.to_parents {
            let seat = Seat::of(edge.rooms[0]);
            let [from_parent, into_parent] = edge.into(doors);
            let rows = &mut self.rows[seat.block];
            *seat.of_mut(&mut rows.from_parent) = from_parent;
            *seat.of_mut(&mut rows.into_parent) = into_parent;
        }
        self.eliminate(state)?;
        for i in 0..self.roots.len() {
            let room = self.roots[i];
            let changes = self.row(room).solved().ok_or(room)?;
            self.set_changes(room, changes);
        }
        if !self.core.rooms.is_empty() {
            self.solve_core(doors, state)?;
        }
        self.hand_back();
        self.advance(state, middle);
        Ok(())
    }

    /// The block of a room with all that has been joined to it.
    fn row(&self, room: usize) -> Row {
        let seat = Seat::of(room);
        let (rows, joined) = (&self.rows[seat.block], &self.joined[seat.block][seat.lane]);
        let cross = seat.get(&self.fixed[self.in_use].1[seat.block].cross);
        Row {
            aa: seat.get(&rows.aa) + joined.aa,
            af: cross + joined.af,
            fa: cross + joined.fa,
            ff: seat.get(&rows.ff) + joined.ff,
            v: seat.get(&rows.v) + joined.v,
            ra: seat.get(&rows.ra) + joined.ra,
            rf: seat.get(&rows.rf) + joined.rf,
            rv: seat.get(&rows.rv) + joined.rv,
        }
    }

    fn set_changes(&mut self, room: usize, [air, fabric, vapour]: [f64; 3]) {
        let seat = Seat::of(room);
        let rows = &mut self.rows[seat.block];
        *seat.of_mut(&mut rows.ra) = air;
        *seat.of_mut(&mut rows.rf) = fabric;
        *seat.of_mut(&mut rows.rv) = vapour;
    }

    /// Every room by itself: what its stores would gain, contents and buffer eliminated.
    fn inside(&mut self, balances: &[BalanceLanes], state: &RoomsState) {
        let theta = Lanes::splat(THETA);
        let rooms = self.fixed[self.in_use].1.iter().zip(&mut self.rows);
        for (((f, rows), b), s) in rooms.zip(balances).zip(&state.blocks) {
            let air_contents = f.air_contents * (s.air_c - s.contents_c);
            let air_fabric = f.air_fabric * (s.air_c - s.fabric_c);
            let contents_fabric = f.contents_fabric * (s.contents_c - s.fabric_c);
            let seeping = f.buffer * (s.w - s.buffer_w);
            let air = b.to_air_w - b.air_w_k * s.air_c - air_contents - air_fabric;
            let contents = b.to_contents_w + air_contents - contents_fabric;
            let fabric = b.to_fabric_w - b.fabric_w_k * s.fabric_c + air_fabric + contents_fabric;
            let vapour = b.moisture_kg_s - b.air_kg_s * s.w - seeping;
            rows.aa = f.air + theta * b.air_w_k;
            rows.ff = f.fabric + theta * b.fabric_w_k;
            rows.v = f.vapour + theta * b.air_kg_s;
            rows.ra = air + f.contents_to_air * contents;
            rows.rf = fabric + f.contents_to_fabric * contents;
            rows.rv = vapour + f.buffer_to_air * seeping;
            rows.contents = f.contents_row * contents;
            rows.buffer = f.buffer_row * seeping;
        }
    }

    /// Level by level: the doors to their parents join the balances of the rooms, which are then
    /// eliminated onto the parents.
    fn eliminate(&mut self, state: &RoomsState) -> Result<(), usize> {
        let cp = Lanes::splat(CP_MOIST);
        let twice = Lanes::splat(1.0 / THETA);
        let stores = state.blocks.as_slice();
        let fixed = self.fixed[self.in_use].1.as_slice();
        for leaves in &mut self.leaves {
            let (rows, own) = (&self.rows[leaves.block], &stores[leaves.block]);
            let mut near = [[0.0; LANES]; 3];
            for (i, seat) in leaves.parents.iter().enumerate() {
                let parent = &stores[seat.block];
                near[0][i] = seat.get(&parent.air_c);
                near[1][i] = seat.get(&parent.fabric_c);
                near[2][i] = seat.get(&parent.w);
            }
            let near = near.map(Lanes::from);
            let from_parent = rows.from_parent & leaves.part;
            let into_parent = rows.into_parent & leaves.part;
            let wall = leaves.partition;
            let (ua, la) = (cp * from_parent, cp * into_parent);
            let warmer = twice * (near[0] - own.air_c);
            let through = twice * wall * (near[1] - own.fabric_c);
            let damper = twice * (near[2] - own.w);

            let mut aa = rows.aa + ua;
            let cross = fixed[leaves.block].cross;
            let (mut af, mut fa) = (cross, cross);
            let mut ff = rows.ff + wall;
            let mut v = rows.v + from_parent;
            let mut ra = rows.ra + ua * warmer;
            let mut rf = rows.rf + through;
            let mut rv = rows.rv + from_parent * damper;
            if leaves.carrying {
                let joined = &self.joined[leaves.block];
                let add = |of: fn(&Row) -> f64| Lanes::from(joined.each_ref().map(of));
                (aa, af) = (aa + add(|r| r.aa), af + add(|r| r.af));
                (fa, ff) = (fa + add(|r| r.fa), ff + add(|r| r.ff));
                (v, rv) = (v + add(|r| r.v), rv + add(|r| r.rv));
                (ra, rf) = (ra + add(|r| r.ra), rf + add(|r| r.rf));
            }

            let determinant = aa * ff - af * fa;
            let both = Lanes::splat(1.0) / (determinant * v);
            let (r, r_v) = (both * v, both * determinant);
            let (i11, i12, i21, i22) = (ff * r, -(af * r), -(fa * r), aa * r);
            let y = [i11 * ra + i12 * rf, i21 * ra + i22 * rf, rv * r_v];
            let w = [
                i11 * ua,
                i12 * wall,
                i21 * ua,
                i22 * wall,
                from_parent * r_v,
            ];
            let onto = [
                la - la * w[0],
                -(la * w[1]),
                -(wall * w[2]),
                wall - wall * w[3],
                into_parent - into_parent * w[4],
                la * (y[0] - warmer),
                wall * y[1] - through,
                into_parent * (y[2] - damper),
            ]
            .map(Lanes::to_array);
            // Not zero where a pivot was zero or an input not a number.
            let doubt = ((both + y[0] + y[1] + y[2]) * Lanes::splat(0.0)).to_array();
            for &i in &leaves.members {
                let i = i % LANES;
                if doubt[i] != 0.0 {
                    return Err(LANES * leaves.block + i);
                }
                let parent = leaves.parents[i];
                let p = &mut self.joined[parent.block][parent.lane % LANES];
                p.aa += onto[0][i];
                p.af += onto[1][i];
                p.fa += onto[2][i];
                p.ff += onto[3][i];
                p.v += onto[4][i];
                p.ra += onto[5][i];
                p.rf += onto[6][i];
                p.rv += onto[7][i];
            }
            (leaves.y, leaves.w) = (y, w);
        }
        Ok(())
    }

    /// From the inside out: the changes of the leaves from those of their parents.
    fn hand_back(&mut self) {
        for leaves in self.leaves.iter().rev() {
            let (y, w) = (&leaves.y, &leaves.w);
            let mut of_parents = [[0.0; LANES]; 3];
            for (i, seat) in leaves.parents.iter().enumerate() {
                let parent = &self.rows[seat.block];
                of_parents[0][i] = seat.get(&parent.ra);
                of_parents[1][i] = seat.get(&parent.rf);
                of_parents[2][i] = seat.get(&parent.rv);
            }
            let [air, fabric, vapour] = of_parents.map(Lanes::from);
            let rows = &mut self.rows[leaves.block];
            let part = leaves.part;
            rows.ra = part.bitselect(y[0] + w[0] * air + w[1] * fabric, rows.ra);
            rows.rf = part.bitselect(y[1] + w[2] * air + w[3] * fabric, rows.rf);
            rows.rv = part.bitselect(y[2] + w[4] * vapour, rows.rv);
        }
    }

    /// Carries what the rows hold now, the changes of air, fabric and vapour, into the stores.
    fn advance(&mut self, state: &mut RoomsState, middle: &mut [MiddleLanes]) {
        let theta = Lanes::splat(THETA);
        let rooms = self.fixed[self.in_use].1.iter().zip(&self.rows);
        for (((f, r), s), m) in rooms.zip(&mut state.blocks).zip(middle) {
            m.air_c = s.air_c + theta * r.ra;
            m.fabric_c = s.fabric_c + theta * r.rf;
            m.w = s.w + theta * r.rv;
            s.air_c += r.ra;
            s.contents_c += r.contents + f.contents_to_air * r.ra + f.contents_to_fabric * r.rf;
            s.fabric_c += r.rf;
            s.w += r.rv;
            s.buffer_w += r.buffer + f.buffer_to_air * r.rv;
        }
    }

    /// Works out and keeps the constants for steps of `h` seconds; a step of a new length does so by
    /// itself, and allocates.
    pub fn prepare(&mut self, h: f64) {
        if let Some(at) = self.fixed.iter().position(|f| f.0 == h) {
            self.in_use = at;
            return;
        }
        let block = |b: usize| {
            let lanes = |of: &dyn Fn(&RoomStores) -> f64| gather(b, &self.stores, 0.0, of);
            // Rooms that are not there get a diagonal to be divided by.
            let diagonal = |of: &dyn Fn(&RoomStores) -> f64| gather(b, &self.stores, 1.0, of);
            let al = |s: &RoomStores| THETA * s.heat.air_contents_w_k;
            let lf = |s: &RoomStores| THETA * s.heat.contents_fabric_w_k;
            let af = |s: &RoomStores| THETA * s.heat.air_fabric_w_k;
            let seep = |s: &RoomStores| THETA * s.buffer_kg_s;
            let contents_row = |s: &RoomStores| 1.0 / (s.heat.contents_j_k / h + al(s) + lf(s));
            let buffer_row = |s: &RoomStores| 1.0 / (s.buffer_kg / h + seep(s));
            let left = |own: f64, row: f64| own * (1.0 - own * row);
            Fixed {
                air_contents: lanes(&|s| s.heat.air_contents_w_k),
                air_fabric: lanes(&|s| s.heat.air_fabric_w_k),
                contents_fabric: lanes(&|s| s.heat.contents_fabric_w_k),
                buffer: lanes(&|s| s.buffer_kg_s),
                contents_row: lanes(&contents_row),
                contents_to_air: lanes(&|s| al(s) * contents_row(s)),
                contents_to_fabric: lanes(&|s| lf(s) * contents_row(s)),
                buffer_row: lanes(&buffer_row),
                buffer_to_air: lanes(&|s| seep(s) * buffer_row(s)),
                air: diagonal(&|s| s.heat.air_j_k / h + af(s) + left(al(s), contents_row(s))),
                cross: lanes(&|s| -af(s) - al(s) * lf(s) * contents_row(s)),
                fabric: diagonal(&|s| s.heat.fabric_j_k / h + af(s) + left(lf(s), contents_row(s))),
                vapour: diagonal(&|s| s.vapour_kg / h + left(seep(s), buffer_row(s))),
            }
        };
        let fixed = (0..self.rows.len()).map(block).collect();
        self.in_use = self.fixed.len();
        self.fixed.push((h, fixed));
    }
}

/// The leaves of one level, by block. `inner` are the leaves of the levels before.
fn level(edges: &[Edge], inner: &[Edge]) -> Vec<Leaves> {
    let mut leaves: Vec<Leaves> = Vec::new();
    for edge in edges {
        let [room, parent] = edge.rooms;
        let Seat { block, lane } = Seat::of(room);
        let at = leaves.iter().position(|l| l.block == block);
        let at = at.unwrap_or_else(|| {
            leaves.push(Leaves {
                block,
                part: Lanes::ZERO,
                members: Vec::new(),
                parents: std::array::from_fn(|lane| Seat { block, lane }),
                carrying: false,
                partition: Lanes::ZERO,
                y: [Lanes::ZERO; 3],
                w: [Lanes::ZERO; 5],
            });
            leaves.len() - 1
        });
        let leaves = &mut leaves[at];
        *Seat::of(room).of_mut(&mut leaves.part) = f64::from_bits(u64::MAX);
        *Seat::of(room).of_mut(&mut leaves.partition) = edge.partition;
        leaves.members.push(lane);
        leaves.parents[lane] = Seat::of(parent);
        leaves.carrying |= inner.iter().any(|e| e.rooms[1] == room);
    }
    leaves
}

/// The doors gathered by the pair of rooms they join; a door of a room with itself moves nothing.
fn join_doors(rooms: usize, doors: &[DoorWay]) -> Vec<Edge> {
    let mut edges: Vec<Edge> = Vec::new();
    for (i, door) in doors.iter().enumerate() {
        let [a, b] = door.between;
        assert!(a < rooms && b < rooms, "a door joins rooms that are there");
        if a == b {
            continue;
        }
        let same = |e: &Edge| e.rooms == [a, b] || e.rooms == [b, a];
        let at = edges.iter().position(same).unwrap_or_else(|| {
            edges.push(Edge {
                rooms: [a, b],
                partition: 0.0,
                doors: Vec::new(),
            });
            edges.len() - 1
        });
        let edge = &mut edges[at];
        edge.partition += THETA * door.partition_w_k;
        edge.doors.push((i, edge.rooms[0] != a));
    }
    edges
}

impl Row {
    /// The changes of air, fabric and vapour; `None` where there is no answer.
    fn solved(&self) -> Option<[f64; 3]> {
        let determinant = self.aa * self.ff - self.af * self.fa;
        let r = 1.0 / determinant;
        let air = (self.ff * self.ra - self.af * self.rf) * r;
        let fabric = (self.aa * self.rf - self.fa * self.ra) * r;
        let vapour = self.rv / self.v;
        (air + fabric + vapour)
            .is_finite()
            .then_some([air, fabric, vapour])
    }
}

#[cfg(test)]
mod tests;
