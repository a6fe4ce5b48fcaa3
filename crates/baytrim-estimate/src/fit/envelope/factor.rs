//! A Cholesky factor: solutions, determinant, and the part of the inverse inside the envelope by Takahashi's
//! recurrence,
//! `Z_ij = (delta_ij / l_jj - sum over k > j of Z_ik l_kj) / l_jj`, k where `l_kj` is in the envelope.
//! Source: Takahashi, Fagan, Chen (1973), in the form for LL' of Rue and Held (2005), section 2.4.

use super::Envelope;
use super::dot::{TOGETHER, dot, dots};

/// A Cholesky factor L of A = LL'.
#[derive(Debug, Clone)]
pub(crate) struct Factor {
    pub(super) lower: Envelope,
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

    /// Turns every b into the solution of Lx = b, four at a time.
    pub(crate) fn forward_all(&self, columns: &mut [Vec<f64>]) {
        self.by_fours(columns, Self::forward, Self::forward_panel);
    }

    /// Turns every b into the solution of Ax = b, four at a time.
    pub(crate) fn solve_all(&self, columns: &mut [Vec<f64>]) {
        self.by_fours(columns, Self::solve, |factor, panel| {
            factor.forward_panel(panel);
            factor.backward_panel(panel);
        });
    }

    /// Turns every b into the solution of L'x = b, four at a time.
    pub(crate) fn backward_all(&self, columns: &mut [Vec<f64>]) {
        self.by_fours(columns, Self::backward, Self::backward_panel);
    }

    /// Does `four` with columns in groups, row by row, and `one` with what is left of them.
    fn by_fours(
        &self,
        columns: &mut [Vec<f64>],
        one: impl Fn(&Self, &mut [f64]),
        four: impl Fn(&Self, &mut [[f64; TOGETHER]]),
    ) {
        let mut panel = vec![[0.0; TOGETHER]; self.lower.len()];
        let mut groups = columns.chunks_exact_mut(TOGETHER);
        for group in &mut groups {
            for (lane, column) in group.iter().enumerate() {
                for (slots, value) in panel.iter_mut().zip(column) {
                    slots[lane] = *value;
                }
            }
            four(self, &mut panel);
            for (lane, column) in group.iter_mut().enumerate() {
                for (slots, value) in panel.iter().zip(column) {
                    *value = slots[lane];
                }
            }
        }
        for column in groups.into_remainder() {
            one(self, column);
        }
    }

    fn forward_panel(&self, panel: &mut [[f64; TOGETHER]]) {
        let lower = &self.lower;
        for row in 0..lower.len() {
            let (before, here) = panel.split_at_mut(row);
            let mut sums = here[0];
            for (entry, known) in lower.row(row).iter().zip(&before[lower.first[row]..]) {
                for lane in 0..TOGETHER {
                    sums[lane] -= entry * known[lane];
                }
            }
            here[0] = sums.map(|sum| sum / self.diagonal(row));
        }
    }

    fn backward_panel(&self, panel: &mut [[f64; TOGETHER]]) {
        let lower = &self.lower;
        for row in (0..lower.len()).rev() {
            let (before, here) = panel.split_at_mut(row);
            let value = here[0].map(|slot| slot / self.diagonal(row));
            here[0] = value;
            for (entry, slots) in lower.row(row).iter().zip(&mut before[lower.first[row]..]) {
                for lane in 0..TOGETHER {
                    slots[lane] -= entry * value[lane];
                }
            }
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
    pub(crate) fn selected_inverse(&self) -> Envelope {
        let lower = &self.lower;
        let n = lower.len();
        let mut inverse = Envelope::zero(lower.first.clone());
        let reach = last_row_of_columns(&lower.first);
        // Column j of L over its pivot, 0 for rows that do not reach it, and the sums Z l for those that do.
        let (mut column, mut sums) = (vec![0.0; n], vec![0.0; n]);
        let mut rows = Vec::with_capacity(n);
        for j in (0..n).rev() {
            let pivot = self.diagonal(j);
            let (begin, end) = (j + 1, reach[j] + 1);
            rows.clear();
            rows.extend((begin..end).filter(|&row| lower.first[row] <= j));
            column[begin..end].fill(0.0);
            for &row in &rows {
                column[row] = lower.entry[lower.place(row, j)] / pivot;
            }
            let (column, sums) = (&column[begin..end], &mut sums[begin..end]);
            sums.fill(0.0);
            let known = |row: usize| {
                let from = inverse.place(row, begin);
                &inverse.entry[from..inverse.start[row + 1]]
            };
            let mut groups = rows.chunks_exact(TOGETHER);
            for group in &mut groups {
                let group: [&[f64]; TOGETHER] = std::array::from_fn(|next| known(group[next]));
                multiply_rows(group, column, sums);
            }
            for &row in groups.remainder() {
                multiply_row(known(row), 0, column, sums);
            }
            for &row in &rows {
                let place = inverse.place(row, j);
                inverse.entry[place] = -sums[row - begin];
            }
            let place = inverse.place(j, j);
            inverse.entry[place] = 1.0 / (pivot * pivot) + dot(sums, column);
        }
        inverse
    }
}

/// Adds what rows of a symmetric matrix, which grow and end on their diagonals, give of its product with `x`.
fn multiply_rows(rows: [&[f64]; TOGETHER], x: &[f64], sums: &mut [f64]) {
    let common = rows[0].len() - 1;
    let weights = rows.map(|row| x[row.len() - 1]);
    let parts = rows.map(|row| &row[..common]);
    let along = dots(&x[..common], parts);
    for (place, sum) in sums[..common].iter_mut().enumerate() {
        let mut add = 0.0;
        for (part, weight) in parts.iter().zip(weights) {
            add += weight * part[place];
        }
        *sum += add;
    }
    for (row, along) in rows.into_iter().zip(along) {
        sums[row.len() - 1] += along;
        multiply_row(row, common, x, sums);
    }
}

/// Adds what one such row gives from a column on.
fn multiply_row(row: &[f64], from: usize, x: &[f64], sums: &mut [f64]) {
    let last = row.len() - 1;
    let weight = x[last];
    for (sum, entry) in sums[from..last].iter_mut().zip(&row[from..last]) {
        *sum += weight * entry;
    }
    sums[last] += dot(&row[from..last], &x[from..last]) + weight * row[last];
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
