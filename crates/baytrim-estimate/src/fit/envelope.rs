//! Symmetric positive definite matrices that are zero left of an envelope.
//!
//! Row i holds the entries from its first column to the diagonal. Cholesky factors keep the
//! envelope, and so does the part of the inverse that Takahashi's recurrence gives:
//! `Z_ij = (delta_ij / l_jj - sum over k > j of Z_ik l_kj) / l_jj`, k where `l_kj` is in the envelope.
//! Source: Takahashi, Fagan, Chen (1973), in the form for LL' of Rue and Held (2005), section 2.4.
//! Nodes are numbered along the shorter axis, so the envelope is about two rows of nodes wide.

/// The lower part of a symmetric matrix.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Envelope {
    /// First stored column of each row.
    first: Vec<usize>,
    /// Where each row begins in `entry`; one more than there are rows.
    start: Vec<usize>,
    entry: Vec<f64>,
}

impl Envelope {
    /// Returns a zero matrix whose rows begin at the columns `first`.
    pub(crate) fn zero(first: Vec<usize>) -> Self {
        let mut start = Vec::with_capacity(first.len() + 1);
        let mut next = 0;
        for (row, &column) in first.iter().enumerate() {
            debug_assert!(column <= row, "a row reaches its diagonal");
            start.push(next);
            next += row - column + 1;
        }
        start.push(next);
        Self {
            first,
            start,
            entry: vec![0.0; next],
        }
    }

    pub(crate) fn len(&self) -> usize {
        self.first.len()
    }

    fn place(&self, row: usize, column: usize) -> usize {
        debug_assert!(
            column <= row && column >= self.first[row],
            "inside the envelope"
        );
        self.start[row] + column - self.first[row]
    }

    fn row(&self, row: usize) -> &[f64] {
        &self.entry[self.start[row]..self.start[row + 1]]
    }

    /// Adds to the entry at (i, j) and its mirror image.
    pub(crate) fn add(&mut self, i: usize, j: usize, value: f64) {
        let place = self.place(i.max(j), i.min(j));
        self.entry[place] += value;
    }

    /// Returns the entry at (i, j), 0 outside the envelope.
    pub(crate) fn get(&self, i: usize, j: usize) -> f64 {
        let (row, column) = (i.max(j), i.min(j));
        if column < self.first[row] {
            0.0
        } else {
            self.entry[self.place(row, column)]
        }
    }

    /// Adds `factor` times a matrix of the same envelope.
    pub(crate) fn add_scaled(&mut self, other: &Self, factor: f64) {
        debug_assert!(self.first == other.first, "one envelope");
        for (entry, add) in self.entry.iter_mut().zip(&other.entry) {
            *entry += factor * add;
        }
    }

    /// Returns the diagonal of the product with a matrix of the same envelope, cut to the envelope.
    pub(crate) fn diagonal_of_product(&self, other: &Self) -> Vec<f64> {
        let mut diagonal = vec![0.0; self.len()];
        for row in 0..self.len() {
            let (left, right) = (self.row(row), other.row(row));
            for (offset, (a, b)) in left.iter().zip(right).enumerate() {
                let column = self.first[row] + offset;
                diagonal[row] += a * b;
                if column != row {
                    diagonal[column] += a * b;
                }
            }
        }
        diagonal
    }

    /// Returns the Cholesky factor; none when the matrix is not positive definite.
    pub(crate) fn cholesky(mut self) -> Option<Factor> {
        for row in 0..self.len() {
            let row_first = self.first[row];
            let row_start = self.start[row];
            let (above, rest) = self.entry.split_at_mut(row_start);
            for column in row_first..row {
                let from = row_first.max(self.first[column]);
                let column_start = self.start[column];
                let left = &rest[from - row_first..column - row_first];
                let offset = column_start + from - self.first[column];
                let other = &above[offset..offset + (column - from)];
                let diagonal = above[column_start + column - self.first[column]];
                let value = (rest[column - row_first] - dot(left, other)) / diagonal;
                rest[column - row_first] = value;
            }
            let left = &rest[..row - row_first];
            let pivot = rest[row - row_first] - dot(left, left);
            if !(pivot.is_finite() && pivot > 0.0) {
                return None;
            }
            rest[row - row_first] = pivot.sqrt();
        }
        Some(Factor { lower: self })
    }
}

/// A Cholesky factor L of A = LL'.
#[derive(Debug, Clone)]
pub(crate) struct Factor {
    lower: Envelope,
}

impl Factor {
    fn diagonal(&self, row: usize) -> f64 {
        self.lower.entry[self.lower.start[row + 1] - 1]
    }

    /// Returns ln det A.
    pub(crate) fn ln_determinant(&self) -> f64 {
        (0..self.lower.len())
            .map(|row| 2.0 * self.diagonal(row).ln())
            .sum()
    }

    /// Turns b into the solution of Lx = b.
    pub(crate) fn forward(&self, b: &mut [f64]) {
        let lower = &self.lower;
        for row in 0..lower.len() {
            let entries = lower.row(row);
            let left = &entries[..entries.len() - 1];
            b[row] = (b[row] - dot(left, &b[lower.first[row]..row])) / self.diagonal(row);
        }
    }

    /// Turns b into the solution of Ax = b.
    pub(crate) fn solve(&self, b: &mut [f64]) {
        self.forward(b);
        self.backward(b);
    }

    /// Turns b into the solution of L'x = b.
    pub(crate) fn backward(&self, b: &mut [f64]) {
        let lower = &self.lower;
        for row in (0..lower.len()).rev() {
            let value = b[row] / self.diagonal(row);
            b[row] = value;
            let entries = lower.row(row);
            for (slot, entry) in b[lower.first[row]..row].iter_mut().zip(entries) {
                *slot -= entry * value;
            }
        }
    }

    /// Returns the entries of the inverse of A inside the envelope.
    #[expect(
        clippy::needless_range_loop,
        reason = "the indices are those of the formula"
    )]
    pub(crate) fn selected_inverse(&self) -> Envelope {
        let lower = &self.lower;
        let n = lower.len();
        let mut inverse = Envelope::zero(lower.first.clone());
        let reach = last_row_of_columns(&lower.first);
        // Column j of L over its pivot, 0 for rows that do not reach it, and the sums Z l for those that do.
        let (mut column, mut sums) = (vec![0.0; n], vec![0.0; n]);
        for j in (0..n).rev() {
            let pivot = self.diagonal(j);
            let (begin, end) = (j + 1, reach[j] + 1);
            for row in begin..end {
                let reaches = lower.first[row] <= j;
                column[row] = if reaches {
                    lower.entry[lower.place(row, j)] / pivot
                } else {
                    0.0
                };
            }
            sums[begin..end].fill(0.0);
            for row in begin..end {
                if lower.first[row] > j {
                    continue;
                }
                let from = inverse.place(row, begin.min(row));
                let known = &inverse.entry[from..inverse.start[row + 1]];
                let (before, diagonal) = known.split_at(row - begin);
                let weight = column[row];
                for (sum, entry) in sums[begin..row].iter_mut().zip(before) {
                    *sum += weight * entry;
                }
                sums[row] += dot(before, &column[begin..row]) + weight * diagonal[0];
            }
            for row in begin..end {
                if lower.first[row] <= j {
                    let place = inverse.place(row, j);
                    inverse.entry[place] = -sums[row];
                }
            }
            let place = inverse.place(j, j);
            inverse.entry[place] =
                1.0 / (pivot * pivot) + dot(&sums[begin..end], &column[begin..end]);
        }
        inverse
    }
}

/// Returns the last row that reaches each column.
fn last_row_of_columns(first: &[usize]) -> Vec<usize> {
    let mut reach: Vec<usize> = (0..first.len()).collect();
    for (row, &column) in first.iter().enumerate() {
        reach[column] = reach[column].max(row);
    }
    for column in 1..reach.len() {
        reach[column] = reach[column].max(reach[column - 1]);
    }
    reach
}

/// Returns the scalar product, in eight running sums so that it can be vectorised.
pub(crate) fn dot(left: &[f64], right: &[f64]) -> f64 {
    let length = left.len().min(right.len());
    let (left, right) = (&left[..length], &right[..length]);
    let mut sums = [0.0; 8];
    let mut chunks_left = left.chunks_exact(8);
    let mut chunks_right = right.chunks_exact(8);
    for (a, b) in (&mut chunks_left).zip(&mut chunks_right) {
        for lane in 0..8 {
            sums[lane] += a[lane] * b[lane];
        }
    }
    let tail: f64 = chunks_left
        .remainder()
        .iter()
        .zip(chunks_right.remainder())
        .map(|(a, b)| a * b)
        .sum();
    sums.iter().sum::<f64>() + tail
}

#[cfg(test)]
mod tests {
    use super::Envelope;
    use nalgebra::{DMatrix, DVector};

    fn example() -> (Envelope, DMatrix<f64>) {
        let first = vec![0, 0, 1, 0, 2, 3, 1, 6];
        let n = first.len();
        let mut sparse = Envelope::zero(first.clone());
        let mut dense = DMatrix::zeros(n, n);
        for row in 0..n {
            for column in first[row]..=row {
                let value = if row == column {
                    9.0 + row as f64
                } else {
                    ((row * 7 + column * 3) % 5) as f64 - 2.0
                };
                sparse.add(row, column, value);
                dense[(row, column)] = value;
                dense[(column, row)] = value;
            }
        }
        (sparse, dense)
    }

    fn inverse_in_envelope(matrix: &Envelope) -> DMatrix<f64> {
        DMatrix::from_fn(matrix.len(), matrix.len(), |i, j| matrix.get(i, j))
    }

    /// A sparse answer that left the dense one would give every node a wrong correction.
    #[test]
    fn the_sparse_algebra_meets_the_dense() {
        let (sparse, dense) = example();
        let n = sparse.len();
        let b: Vec<f64> = (0..n).map(|row| 1.0 + row as f64 * 0.3).collect();
        let factor = sparse.clone().cholesky().expect("positive definite");
        let mut x = b.clone();
        factor.solve(&mut x);
        let oracle = dense.clone().lu();
        let wanted = oracle
            .solve(&DVector::from_vec(b.clone()))
            .expect("regular");
        for row in 0..n {
            assert!((x[row] - wanted[row]).abs() < 1e-12);
        }
        assert!((factor.ln_determinant() - dense.determinant().ln()).abs() < 1e-10);
        let inverse = dense.clone().try_inverse().expect("regular");
        let selected = factor.selected_inverse();
        for row in 0..n {
            for column in sparse.first[row]..=row {
                assert!((selected.get(row, column) - inverse[(row, column)]).abs() < 1e-12);
            }
        }
        let product = (&inverse_in_envelope(&selected) * &inverse_in_envelope(&sparse)).diagonal();
        for (found, wanted) in selected
            .diagonal_of_product(&sparse)
            .iter()
            .zip(product.iter())
        {
            assert!((found - wanted).abs() < 1e-10);
        }
    }

    /// A matrix without an inverse must be told, not divided by.
    #[test]
    fn an_indefinite_matrix_is_told() {
        let mut matrix = Envelope::zero(vec![0, 0]);
        matrix.add(0, 0, 1.0);
        matrix.add(1, 0, 2.0);
        matrix.add(1, 1, 1.0);
        assert!(matrix.cholesky().is_none());
    }
}
