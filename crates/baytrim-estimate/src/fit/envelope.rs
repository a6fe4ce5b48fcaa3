//! Symmetric positive definite matrices that are zero left of an envelope.
//!
//! Row i holds the entries from its first column to the diagonal, and Cholesky factors keep the envelope.
//! Nodes are numbered along one axis, so the envelope is a few rows of nodes wide.

mod dot;
mod factor;

pub(crate) use self::dot::dot;
use self::dot::{TOGETHER, dots};
pub(crate) use self::factor::Factor;

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

    /// Returns the first stored column of a row.
    pub(crate) fn first(&self, row: usize) -> usize {
        self.first[row]
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

    /// Returns the sum of this matrix and scaled ones of the same envelope.
    pub(crate) fn plus<const N: usize>(&self, others: [(&Self, f64); N]) -> Self {
        for (other, _) in others {
            debug_assert!(self.first == other.first, "one envelope");
        }
        let sum = |(place, own): (usize, &f64)| {
            let add = |sum: f64, (other, factor): &(&Self, f64)| sum + factor * other.entry[place];
            others.iter().fold(*own, add)
        };
        Self {
            first: self.first.clone(),
            start: self.start.clone(),
            entry: self.entry.iter().enumerate().map(sum).collect(),
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

    /// Adds to the entries of one row at increasing `columns` up to its diagonal.
    pub(crate) fn add_row(&mut self, row: usize, columns: &[usize], values: &[f64]) {
        let first = self.first[row];
        let entries = &mut self.entry[self.start[row]..self.start[row + 1]];
        for (column, value) in columns.iter().zip(values) {
            entries[column - first] += value;
        }
    }

    /// Returns the Cholesky factor; none when the matrix is not positive definite.
    pub(crate) fn cholesky(mut self) -> Option<Factor> {
        for row in 0..self.len() {
            let row_first = self.first[row];
            let (above, rest) = self.entry.split_at_mut(self.start[row]);
            let known = Known {
                first: &self.first,
                start: &self.start,
                entry: above,
            };
            let here = &mut rest[..=row - row_first];
            let mut column = row_first;
            while column + TOGETHER <= row {
                known.eliminate(here, row_first, column);
                column += TOGETHER;
            }
            for column in column..row {
                let from = row_first.max(self.first[column]);
                known.eliminate_one(here, row_first, from, column);
            }
            let (left, diagonal) = here.split_at_mut(row - row_first);
            let pivot = diagonal[0] - dot(left, left);
            if !(pivot.is_finite() && pivot > 0.0) {
                return None;
            }
            diagonal[0] = pivot.sqrt();
        }
        Some(Factor { lower: self })
    }
}

/// The rows of a factor that are known already.
struct Known<'a> {
    first: &'a [usize],
    start: &'a [usize],
    entry: &'a [f64],
}

impl Known<'_> {
    /// Returns the entries of a row from a column to another.
    fn part(&self, row: usize, from: usize, to: usize) -> &[f64] {
        let start = self.start[row] - self.first[row];
        &self.entry[start + from..start + to]
    }

    fn diagonal(&self, row: usize) -> f64 {
        self.entry[self.start[row + 1] - 1]
    }

    /// Turns the next columns of `here`, a row that begins at column `row_first`, into entries of the factor.
    fn eliminate(&self, here: &mut [f64], row_first: usize, column: usize) {
        let columns: [usize; TOGETHER] = std::array::from_fn(|next| column + next);
        let firsts = columns.map(|column| self.first[column].max(row_first));
        let common = firsts
            .iter()
            .fold(row_first, |high, &first| high.max(first));
        if common < column {
            let left = &here[common - row_first..column - row_first];
            let others = columns.map(|other| self.part(other, common, column));
            let sums = dots(left, others);
            for (next, sum) in sums.into_iter().enumerate() {
                let from = firsts[next];
                let left = &here[from - row_first..common - row_first];
                let before = dot(left, self.part(columns[next], from, common));
                here[column + next - row_first] -= sum + before;
            }
            // Within the group the lists are too short for anything but a plain loop.
            for (next, other) in columns.into_iter().enumerate() {
                let (known, rest) = here[column - row_first..].split_at_mut(next);
                let own = self.part(other, column, other);
                let off: f64 = known.iter().zip(own).map(|(a, b)| a * b).sum();
                rest[0] = (rest[0] - off) / self.diagonal(other);
            }
        } else {
            for (next, from) in columns.into_iter().zip(firsts) {
                self.eliminate_one(here, row_first, from, next);
            }
        }
    }

    /// Turns one column of `here` into an entry of the factor; what lies left of `from` was taken off already.
    fn eliminate_one(&self, here: &mut [f64], row_first: usize, from: usize, column: usize) {
        let left = &here[from - row_first..column - row_first];
        let off = dot(left, self.part(column, from, column));
        let slot = &mut here[column - row_first];
        *slot = (*slot - off) / self.diagonal(column);
    }
}

#[cfg(test)]
mod tests {
    use super::Envelope;
    use nalgebra::{DMatrix, DVector};

    /// A matrix whose rows begin all over the place, and reach back far enough for every path of the algebra.
    fn example(n: usize) -> (Envelope, DMatrix<f64>) {
        let ragged = [0, 0, 1, 0, 2, 3, 1, 6];
        let first: Vec<usize> = (0..n)
            .map(|row| match ragged.get(row) {
                Some(&first) => first,
                None => row - (row * 5 % 23).min(row),
            })
            .collect();
        let mut sparse = Envelope::zero(first.clone());
        let mut dense = DMatrix::zeros(n, n);
        for row in 0..n {
            for column in first[row]..=row {
                let value = if row == column {
                    (9 + 2 * n) as f64 + row as f64
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
        for n in [8, 61] {
            meets_the_dense(n);
        }
    }

    fn meets_the_dense(n: usize) {
        let (sparse, dense) = example(n);
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
        let mut many: Vec<Vec<f64>> = (0..6)
            .map(|scale| b.iter().map(|value| value * f64::from(scale)).collect())
            .collect();
        let mut half = many.clone();
        factor.forward_all(&mut half);
        let mut by_fours = half.clone();
        factor.backward_all(&mut by_fours);
        factor.solve_all(&mut many);
        for (scale, (half, whole)) in half.iter_mut().zip(&many).enumerate() {
            factor.backward(half);
            for row in 0..n {
                let wanted = wanted[row] * scale as f64;
                assert!((whole[row] - wanted).abs() < 1e-11);
                assert!((half[row] - wanted).abs() < 1e-11);
            }
            assert_eq!(*half, by_fours[scale], "alone and with others");
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
