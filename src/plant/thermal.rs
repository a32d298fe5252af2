//! A linear network of stores joined by conductances, stepped by the trapezoid rule.
//!
//! Rooms are one such network (stores are temperatures, capacities J/K, conductances W/K) and their
//! moisture is another (stores are humidity ratios, capacities kg of dry air, conductances kg/s).
//! For store `i`
//!
//! ```text
//! C_i dx_i/dt = Σ links H_ij (x_j − x_i) + Σ streams g_ji (x_j − x_i) + s_i − b_i x_i
//! ```
//!
//! A *link* is symmetric and fixed. A *stream* is one-way (air that flows from `j` into `i`) and its
//! conductance may change every step. `b_i` is the sum of the conductances to the surroundings and
//! `s_i` the sum of those conductances times the surroundings' value, plus every gain.
//!
//! The trapezoid rule is second order and A-stable. Flows evaluated at the middle state
//! `(x_old + x_new)/2` account for the change of store to round-off, which is how the energy meters
//! close.

use crate::math::sparse_lu::SparseLu;

/// The fixed shape of a network of stores; see the module's equation.
#[derive(Clone, Debug)]
pub struct StoreNetwork {
    capacity: Vec<f64>,
    links: Vec<Link>,
    streams: Vec<Stream>,
    lu: SparseLu,
    diagonal: Vec<usize>,
    /// C/h + θ·(links), laid out like the matrix of `lu`, for the time step `fixed_for`.
    fixed: Vec<Entry>,
    fixed_for: f64,
    increment: Vec<f64>,
    scratch: Vec<f64>,
}

#[derive(Clone, Debug)]
struct Link {
    a: usize,
    b: usize,
    conductance: f64,
    slot_ab: usize,
    slot_ba: usize,
}

#[derive(Clone, Debug)]
struct Stream {
    from: usize,
    to: usize,
    slot: usize,
}

#[derive(Clone, Copy, Debug)]
struct Entry {
    slot: usize,
    value: f64,
}

/// What drives a network during one step: all slices are held constant over the step.
#[derive(Clone, Copy, Debug)]
pub struct Drive<'a> {
    /// `b_i`, conductance from each store to its surroundings; length = number of stores.
    pub boundary: &'a [f64],
    /// `s_i`, surroundings' value times conductance, plus gains; length = number of stores.
    pub source: &'a [f64],
    /// `g`, conductance of each stream in the order they were added.
    pub stream: &'a [f64],
}

/// The implicitness of the trapezoid rule.
const THETA: f64 = 0.5;

/// Collects stores, links and streams before the matrix pattern is fixed.
#[derive(Clone, Debug, Default)]
pub struct StoreNetworkBuilder {
    capacity: Vec<f64>,
    links: Vec<(usize, usize, f64)>,
    streams: Vec<(usize, usize)>,
}

impl StoreNetworkBuilder {
    /// Adds a store of the given capacity (J/K, or kg of dry air) and returns its index.
    pub fn store(&mut self, capacity: f64) -> usize {
        self.capacity.push(capacity);
        self.capacity.len() - 1
    }

    /// Joins two stores by a fixed symmetric conductance (W/K, or kg/s).
    pub fn link(&mut self, a: usize, b: usize, conductance: f64) {
        if a != b && conductance > 0.0 {
            self.links.push((a, b, conductance));
        }
    }

    /// Declares a one-way stream and returns its index into [`Drive::stream`].
    pub fn stream(&mut self, from: usize, to: usize) -> usize {
        self.streams.push((from, to));
        self.streams.len() - 1
    }

    /// Fixes the pattern.
    pub fn build(self) -> StoreNetwork {
        let n = self.capacity.len();
        let pattern: Vec<(usize, usize)> = self
            .links
            .iter()
            .map(|&(a, b, _)| (a, b))
            .chain(self.streams.iter().copied())
            .filter(|(a, b)| a != b)
            .collect();
        let lu = SparseLu::new(n, &pattern);
        let links = self
            .links
            .iter()
            .map(|&(a, b, conductance)| Link {
                a,
                b,
                conductance,
                slot_ab: lu.slot(a, b),
                slot_ba: lu.slot(b, a),
            })
            .collect();
        let streams = self
            .streams
            .iter()
            .map(|&(from, to)| Stream {
                from,
                to,
                slot: lu.slot(to, from),
            })
            .collect();
        StoreNetwork {
            diagonal: (0..n).map(|i| lu.slot(i, i)).collect(),
            capacity: self.capacity,
            links,
            streams,
            lu,
            fixed: Vec::new(),
            fixed_for: f64::NAN,
            increment: vec![0.0; n],
            scratch: vec![0.0; n],
        }
    }
}

impl StoreNetwork {
    /// Starts an empty network.
    pub fn builder() -> StoreNetworkBuilder {
        StoreNetworkBuilder::default()
    }

    /// Number of stores.
    pub fn len(&self) -> usize {
        self.capacity.len()
    }

    /// Whether there is no store at all.
    pub fn is_empty(&self) -> bool {
        self.capacity.is_empty()
    }

    /// Capacity of each store (J/K, or kg of dry air).
    pub fn capacity(&self) -> &[f64] {
        &self.capacity
    }

    /// Steps `x` by `h` seconds and leaves the middle state, `(old + new)/2`, in `middle`.
    ///
    /// The error is the index of a store whose balance has no solution (a non-finite input).
    pub fn step(
        &mut self,
        h: f64,
        drive: &Drive<'_>,
        x: &mut [f64],
        middle: &mut [f64],
    ) -> Result<(), usize> {
        if self.fixed_for != h {
            self.fix(h);
        }
        let d = &mut self.increment;
        for i in 0..d.len() {
            d[i] = drive.source[i] - drive.boundary[i] * x[i];
        }
        for l in &self.links {
            let flow = l.conductance * (x[l.a] - x[l.b]);
            d[l.a] -= flow;
            d[l.b] += flow;
        }
        self.lu.clear();
        for e in &self.fixed {
            self.lu.add(e.slot, e.value);
        }
        for (slot, b) in self.diagonal.iter().zip(drive.boundary) {
            self.lu.add(*slot, THETA * b);
        }
        for (s, &g) in self.streams.iter().zip(drive.stream) {
            d[s.to] += g * (x[s.from] - x[s.to]);
            self.lu.add(self.diagonal[s.to], THETA * g);
            self.lu.add(s.slot, -THETA * g);
        }
        self.lu.factor()?;
        self.lu.solve(d, &mut self.scratch);
        for i in 0..d.len() {
            middle[i] = x[i] + THETA * d[i];
            x[i] += d[i];
        }
        Ok(())
    }

    fn fix(&mut self, h: f64) {
        self.fixed.clear();
        for (i, c) in self.capacity.iter().enumerate() {
            self.fixed.push(Entry {
                slot: self.diagonal[i],
                value: c / h,
            });
        }
        for l in &self.links {
            let g = THETA * l.conductance;
            self.fixed.push(Entry {
                slot: self.diagonal[l.a],
                value: g,
            });
            self.fixed.push(Entry {
                slot: self.diagonal[l.b],
                value: g,
            });
            self.fixed.push(Entry {
                slot: l.slot_ab,
                value: -g,
            });
            self.fixed.push(Entry {
                slot: l.slot_ba,
                value: -g,
            });
        }
        self.fixed_for = h;
    }
}
