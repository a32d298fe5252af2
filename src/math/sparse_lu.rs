//! Sparse LU factorisation for a fixed pattern, without pivoting.
//!
//! Made for the matrices of air and heat balances: one row a node, one pair of entries a
//! connection, diagonally dominant, so that no pivoting is needed. The elimination order (minimum
//! degree) and the fill are found once; after that assembling, factoring and solving are straight
//! loops over flat arrays and allocate nothing. A tree-like pattern has no fill at all.

use std::collections::BTreeSet;

/// LU factors of a square matrix whose pattern is fixed and structurally symmetric.
///
/// The assembled matrix and its factors are kept apart: after [`SparseLu::factor`] one may solve
/// any number of times, also while the next matrix is being assembled.
#[derive(Debug, Clone)]
pub struct SparseLu {
    n: usize,
    /// Entries above the diagonal, fill included; as many lie below it.
    upper: usize,
    /// Elimination position → original row.
    row_of: Vec<usize>,
    /// Original row → elimination position.
    place_of: Vec<usize>,
    /// Where the off-diagonal entries of elimination row `k` begin; `n + 1` long.
    start: Vec<usize>,
    /// Elimination column of each entry above the diagonal.
    column: Vec<usize>,
    /// Original row and column of each entry above the diagonal.
    ends: Vec<(u32, u32)>,
    /// Position updated by each product of the elimination, in the order it is met.
    target: Vec<u32>,
    /// The same for a matrix with symmetric values: products on and above the diagonal only.
    target_symmetric: Vec<u32>,
    /// Assembled values: diagonal, then above, then below the diagonal, then the spare slot.
    assembled: Vec<f64>,
    /// Factors in the same layout; the diagonal holds reciprocal pivots.
    factors: Vec<f64>,
}

impl SparseLu {
    /// Plans the factorisation of an `n` by `n` matrix.
    ///
    /// `pattern` lists the `(row, column)` places off the diagonal; it is made symmetric, repeated
    /// and diagonal places do no harm, and the whole diagonal is always present.
    ///
    /// # Panics
    /// If a place lies outside the matrix.
    pub fn new(n: usize, pattern: &[(usize, usize)]) -> Self {
        let mut near: Vec<BTreeSet<usize>> = vec![BTreeSet::new(); n];
        for &(i, j) in pattern {
            assert!(
                i < n && j < n,
                "place ({i}, {j}) lies outside a matrix of {n} rows"
            );
            if i != j {
                near[i].insert(j);
                near[j].insert(i);
            }
        }

        let mut row_of = Vec::with_capacity(n);
        let mut later: Vec<Vec<usize>> = Vec::with_capacity(n);
        let mut waiting: BTreeSet<usize> = (0..n).collect();
        while let Some(&row) = waiting.iter().min_by_key(|&&i| (near[i].len(), i)) {
            waiting.remove(&row);
            let around: Vec<usize> = std::mem::take(&mut near[row]).into_iter().collect();
            for &i in &around {
                near[i].remove(&row);
                near[i].extend(around.iter().copied().filter(|&j| j != i));
            }
            row_of.push(row);
            later.push(around);
        }
        let mut place_of = vec![0; n];
        for (place, &row) in row_of.iter().enumerate() {
            place_of[row] = place;
        }

        let mut start = Vec::with_capacity(n + 1);
        let mut column = Vec::new();
        start.push(0);
        for around in &mut later {
            for row in around.iter_mut() {
                *row = place_of[*row];
            }
            around.sort_unstable();
            column.extend_from_slice(around);
            start.push(column.len());
        }

        let upper = column.len();
        let ends = (0..n)
            .flat_map(|k| column[start[k]..start[k + 1]].iter().map(move |&c| (k, c)))
            .map(|(k, c)| (row_of[k] as u32, row_of[c] as u32))
            .collect();
        let size = n + 2 * upper;
        let mut lu = Self {
            n,
            upper,
            row_of,
            place_of,
            start,
            column,
            ends,
            target: Vec::new(),
            target_symmetric: Vec::new(),
            assembled: vec![0.0; size + 1],
            factors: vec![0.0; size],
        };
        for around in &later {
            for &i in around {
                for &j in around {
                    let position = lu.position(i, j);
                    lu.target.push(position as u32);
                    if i <= j {
                        lu.target_symmetric.push(position as u32);
                    }
                }
            }
        }
        lu
    }

    /// Number of rows.
    pub fn size(&self) -> usize {
        self.n
    }

    /// Number of stored values, fill included: `3n − 2` for a tree of `n` nodes.
    pub fn stored(&self) -> usize {
        self.factors.len()
    }

    /// A slot outside the matrix: what is added to it is lost. It spares assembling loops the
    /// question whether an entry exists.
    pub fn spare_slot(&self) -> usize {
        self.factors.len()
    }

    /// The slot of matrix entry `(i, j)`, to be looked up once when a model is built.
    ///
    /// # Panics
    /// If the entry is in neither the pattern nor its fill.
    pub fn slot(&self, i: usize, j: usize) -> usize {
        assert!(
            i < self.n && j < self.n,
            "place ({i}, {j}) lies outside the matrix"
        );
        self.position(self.place_of[i], self.place_of[j])
    }

    /// The slot on or above the diagonal of the entries `(i, j)` and `(j, i)`, all that
    /// [`SparseLu::factor_symmetric`] reads.
    ///
    /// # Panics
    /// As [`SparseLu::slot`].
    pub fn slot_above(&self, i: usize, j: usize) -> usize {
        self.slot(i, j).min(self.slot(j, i))
    }

    /// Sets the assembled matrix to zero; the factors stay.
    pub fn clear(&mut self) {
        self.assembled.fill(0.0);
    }

    /// Adds `value` to the matrix entry of `slot`.
    #[inline]
    pub fn add(&mut self, slot: usize, value: f64) {
        self.assembled[slot] += value;
    }

    /// The assembled value of `slot`.
    #[inline]
    pub fn value(&self, slot: usize) -> f64 {
        self.assembled[slot]
    }

    /// Factors the assembled matrix.
    ///
    /// # Errors
    /// The original row whose pivot is zero, not finite or too small to invert. The factors are
    /// then unusable until a later call succeeds.
    pub fn factor(&mut self) -> Result<(), usize> {
        let stored = self.factors.len();
        self.factors.copy_from_slice(&self.assembled[..stored]);
        let values = self.factors.as_mut_slice();
        let (above, below) = (self.n, self.n + self.upper);
        let mut next = 0;
        for k in 0..self.n {
            let pivot = values[k];
            if !(pivot.abs() >= f64::MIN_POSITIVE && pivot.is_finite()) {
                return Err(self.row_of[k]);
            }
            let reciprocal = 1.0 / pivot;
            values[k] = reciprocal;
            let (from, to) = (self.start[k], self.start[k + 1]);
            for i in from..to {
                let multiplier = values[below + i] * reciprocal;
                values[below + i] = multiplier;
                for j in from..to {
                    let product = multiplier * values[above + j];
                    values[self.target[next] as usize] -= product;
                    next += 1;
                }
            }
        }
        Ok(())
    }

    /// Factors an assembled matrix whose values are symmetric; what stands below the diagonal is
    /// not read. Half the work of [`SparseLu::factor`].
    ///
    /// # Errors
    /// As [`SparseLu::factor`].
    pub fn factor_symmetric(&mut self) -> Result<(), usize> {
        let middle = self.n + self.upper;
        self.factors[..middle].copy_from_slice(&self.assembled[..middle]);
        let (values, below) = self.factors.split_at_mut(middle);
        let mut targets = self.target_symmetric.as_slice();
        let mut from = 0;
        for (k, &to) in self.start[1..=self.n].iter().enumerate() {
            let pivot = values[k];
            if !(pivot.abs() >= f64::MIN_POSITIVE && pivot.is_finite()) {
                return Err(self.row_of[k]);
            }
            let reciprocal = 1.0 / pivot;
            values[k] = reciprocal;
            // Nodes of trees and rings have one or two neighbours left when their turn comes.
            if to - from == 2 {
                let (first, second) = (values[self.n + from], values[self.n + from + 1]);
                let (here, later) = targets.split_at(3);
                targets = later;
                below[from] = first * reciprocal;
                below[from + 1] = second * reciprocal;
                values[here[0] as usize] -= below[from] * first;
                values[here[1] as usize] -= below[from] * second;
                values[here[2] as usize] -= below[from + 1] * second;
                from = to;
                continue;
            }
            for i in from..to {
                let multiplier = values[self.n + i] * reciprocal;
                below[i] = multiplier;
                let (here, later) = targets.split_at(to - i);
                targets = later;
                for (&at, j) in here.iter().zip(self.n + i..) {
                    values[at as usize] -= multiplier * values[j];
                }
            }
            from = to;
        }
        Ok(())
    }

    /// Solves with the last factors: `rhs` holds the right-hand side and then the answer.
    ///
    /// `scratch` and `rhs` are `n` long.
    ///
    /// # Panics
    /// If either slice is shorter than the matrix.
    pub fn solve(&self, rhs: &mut [f64], scratch: &mut [f64]) {
        let scratch = &mut scratch[..self.n];
        for (value, &row) in scratch.iter_mut().zip(&self.row_of) {
            *value = rhs[row];
        }
        let (pivots, entries) = self.factors.split_at(self.n);
        let (above, below) = entries.split_at(self.upper);
        let mut from = 0;
        for (k, &to) in self.start[1..=self.n].iter().enumerate() {
            let value = scratch[k];
            for (&column, factor) in self.column[from..to].iter().zip(&below[from..to]) {
                scratch[column] -= factor * value;
            }
            from = to;
        }
        let mut to = self.upper;
        for (k, &from) in self.start[..self.n].iter().enumerate().rev() {
            let mut sum = scratch[k];
            for (&column, factor) in self.column[from..to].iter().zip(&above[from..to]) {
                sum -= factor * scratch[column];
            }
            scratch[k] = sum * pivots[k];
            to = from;
        }
        for (&value, &row) in scratch.iter().zip(&self.row_of) {
            rhs[row] = value;
        }
    }

    /// Solves with the factors of [`SparseLu::factor_symmetric`]: `x` holds the right-hand side and
    /// then the answer. Quicker than [`SparseLu::solve`]: what stands above the diagonal is what
    /// stands below it, and no row has to be carried to its place in the elimination and back.
    ///
    /// # Panics
    /// If `x` is shorter than the matrix.
    pub fn solve_symmetric(&self, x: &mut [f64]) {
        let x = &mut x[..self.n];
        let (pivots, entries) = self.factors.split_at(self.n);
        let below = &entries[self.upper..];
        for (&(row, column), factor) in self.ends.iter().zip(below) {
            x[column as usize] -= factor * x[row as usize];
        }
        for (&row, pivot) in self.row_of.iter().zip(pivots) {
            x[row] *= pivot;
        }
        for (&(row, column), factor) in self.ends.iter().zip(below).rev() {
            x[row as usize] -= factor * x[column as usize];
        }
    }

    /// Storage position of the entry at elimination row `i`, column `j`.
    fn position(&self, i: usize, j: usize) -> usize {
        if i == j {
            return i;
        }
        let (first, second) = (i.min(j), i.max(j));
        let (from, to) = (self.start[first], self.start[first + 1]);
        match self.column[from..to].binary_search(&second) {
            Ok(e) if i < j => self.n + from + e,
            Ok(e) => self.n + self.upper + from + e,
            Err(_) => panic!(
                "entry ({}, {}) is not in the pattern",
                self.row_of[i], self.row_of[j]
            ),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::{DMatrix, DVector};
    use proptest::prelude::*;

    /// Fills `lu` and a dense twin with the given off-diagonal values and a dominant diagonal.
    fn assemble(lu: &mut SparseLu, entries: &[(usize, usize, f64)]) -> DMatrix<f64> {
        let n = lu.size();
        let mut dense = DMatrix::zeros(n, n);
        lu.clear();
        for &(i, j, v) in entries {
            if i != j {
                dense[(i, j)] += v;
                lu.add(lu.slot(i, j), v);
            }
        }
        for i in 0..n {
            let d = 0.5 + dense.row(i).iter().map(|v: &f64| v.abs()).sum::<f64>();
            dense[(i, i)] = d;
            lu.add(lu.slot(i, i), d);
        }
        dense
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(300))]

        /// Against nalgebra's dense LU with partial pivoting.
        #[test]
        fn agrees_with_dense_lu(
            n in 1usize..30,
            raw in prop::collection::vec((0usize..30, 0usize..30, -3.0f64..3.0), 0..90),
            rhs in prop::collection::vec(-10.0f64..10.0, 30),
        ) {
            let entries: Vec<_> = raw.iter().map(|&(i, j, v)| (i % n, j % n, v)).collect();
            let pattern: Vec<_> = entries.iter().map(|&(i, j, _)| (i, j)).collect();
            let mut lu = SparseLu::new(n, &pattern);
            let dense = assemble(&mut lu, &entries);
            prop_assert_eq!(lu.factor(), Ok(()));
            let mut x = rhs[..n].to_vec();
            lu.solve(&mut x, &mut vec![0.0; n]);
            let want = dense.lu().solve(&DVector::from_column_slice(&rhs[..n])).unwrap();
            for i in 0..n {
                prop_assert!((x[i] - want[i]).abs() <= 1e-11 * want.amax().max(1.0));
            }
        }

        #[test]
        fn a_tree_has_no_fill(n in 1usize..200, picks in prop::collection::vec(0usize..1000, 200)) {
            let pattern: Vec<_> = (1..n).map(|i| (i, picks[i] % i)).collect();
            prop_assert_eq!(SparseLu::new(n, &pattern).stored(), 3 * n - 2);
        }
    }

    proptest! {
        #[test]
        fn symmetric_values_take_the_short_way(
            n in 1usize..30,
            raw in prop::collection::vec((0usize..30, 0usize..30, -3.0f64..3.0), 0..90),
            rhs in prop::collection::vec(-10.0f64..10.0, 30),
        ) {
            let entries: Vec<_> = raw
                .iter()
                .flat_map(|&(i, j, v)| [(i % n, j % n, v), (j % n, i % n, v)])
                .collect();
            let pattern: Vec<_> = entries.iter().map(|&(i, j, _)| (i, j)).collect();
            let mut lu = SparseLu::new(n, &pattern);
            assemble(&mut lu, &entries);
            let (mut long, mut short) = (rhs[..n].to_vec(), rhs[..n].to_vec());
            lu.factor().unwrap();
            lu.solve(&mut long, &mut vec![0.0; n]);
            lu.factor_symmetric().unwrap();
            lu.solve_symmetric(&mut short);
            for (a, b) in long.iter().zip(&short) {
                prop_assert!((a - b).abs() <= 1e-12 * a.abs().max(1.0), "{a} {b}");
            }
        }
    }

    #[test]
    fn factors_survive_the_next_assembly() {
        let mut lu = SparseLu::new(3, &[(0, 1), (1, 2)]);
        let dense = assemble(
            &mut lu,
            &[(0, 1, -1.0), (1, 0, -2.0), (1, 2, -0.5), (2, 1, -4.0)],
        );
        lu.factor().unwrap();
        lu.clear();
        let mut x = vec![1.0, 2.0, 3.0];
        lu.solve(&mut x, &mut [0.0; 3]);
        let back = dense * DVector::from_vec(x);
        for (got, want) in back.iter().zip([1.0, 2.0, 3.0]) {
            assert!((got - want).abs() < 1e-13, "{got} is not {want}");
        }
    }

    #[test]
    fn a_bad_pivot_names_its_row() {
        let mut lu = SparseLu::new(4, &[(0, 1), (1, 2), (2, 3)]);
        for i in 0..4 {
            let v = if i == 2 { 0.0 } else { 1.0 };
            lu.add(lu.slot(i, i), v);
        }
        assert_eq!(lu.factor(), Err(2));
        lu.add(lu.slot(2, 2), f64::NAN);
        assert_eq!(lu.factor(), Err(2));
    }

    #[test]
    fn an_empty_matrix_is_fine() {
        let mut lu = SparseLu::new(0, &[]);
        assert_eq!(lu.factor(), Ok(()));
        lu.solve(&mut [], &mut []);
    }
}
