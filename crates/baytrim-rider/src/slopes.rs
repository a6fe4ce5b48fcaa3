//! The slopes between rows of a table that come closest to what is wanted, inside limits.
//!
//! A convex quadratic programme: least squares and a penalty on changes of slope, each slope between two limits
//! and all together reaching the full opening. Solved by the accelerated projected gradient of Beck and Teboulle,
//! SIAM J. Imaging Sci. 2 (2009) 183; the projection is a clamp with one multiplier, found by bisection.

/// What the slopes are to come close to.
pub(crate) struct Wanted<'a> {
    /// Grip of each row, percent, rising.
    pub grip_percent: &'a [f64],
    /// Grip, plate and weight of each wish.
    pub wishes: &'a [(f64, f64, f64)],
    /// Weight of a change of slope from row to row.
    pub smoothness: f64,
    /// Least and largest slope.
    pub slope: (f64, f64),
    /// Plate at the last row, percent.
    pub full_percent: f64,
}

/// Rounds of the gradient; the tests' tables settle within a tenth of them.
const ROUNDS: usize = 20_000;

impl Wanted<'_> {
    fn steps(&self) -> Vec<f64> {
        self.grip_percent
            .windows(2)
            .map(|pair| pair[1] - pair[0])
            .collect()
    }

    /// Plate at `grip` is this row of factors times the slopes.
    fn row(&self, grip: f64) -> Vec<f64> {
        let reach = |pair: &[f64]| (grip - pair[0]).clamp(0.0, pair[1] - pair[0]);
        self.grip_percent.windows(2).map(reach).collect()
    }

    /// Returns the slopes.
    pub(crate) fn solve(&self) -> Vec<f64> {
        let steps = self.steps();
        let rows: Vec<(Vec<f64>, f64, f64)> = self
            .wishes
            .iter()
            .map(|&(grip, plate, weight)| (self.row(grip), plate, weight))
            .collect();
        let gradient = |slopes: &[f64]| {
            let mut sum = vec![0.0; slopes.len()];
            for (row, plate, weight) in &rows {
                let miss: f64 = row.iter().zip(slopes).map(|(a, s)| a * s).sum::<f64>() - plate;
                sum.iter_mut()
                    .zip(row)
                    .for_each(|(sum, a)| *sum += weight * miss * a);
            }
            for k in 1..slopes.len() {
                let change = self.smoothness * (slopes[k] - slopes[k - 1]);
                sum[k] += change;
                sum[k - 1] -= change;
            }
            sum
        };
        // The sum of squares of all factors is no less than the largest curvature.
        let squares = |row: &Vec<f64>| row.iter().map(|a| a * a).sum::<f64>();
        let curvature = rows
            .iter()
            .map(|(row, _, weight)| weight * squares(row))
            .sum::<f64>()
            + 4.0 * self.smoothness;
        let mean = self.full_percent / steps.iter().sum::<f64>();
        let mut slopes = vec![mean; steps.len()];
        let (mut ahead, mut momentum) = (slopes.clone(), 1.0_f64);
        for _ in 0..ROUNDS {
            let down = gradient(&ahead);
            let moved: Vec<f64> = ahead
                .iter()
                .zip(&down)
                .map(|(s, g)| s - g / curvature)
                .collect();
            let next = self.project(&moved, &steps);
            let turns_back: f64 = down
                .iter()
                .zip(next.iter().zip(&slopes))
                .map(|(g, (a, b))| g * (a - b))
                .sum();
            // Restart of O'Donoghue and Candes (2015): no swinging about the solution.
            let grown = if turns_back > 0.0 {
                1.0
            } else {
                0.5 * (1.0 + (1.0 + 4.0 * momentum * momentum).sqrt())
            };
            let share = if turns_back > 0.0 {
                0.0
            } else {
                (momentum - 1.0) / grown
            };
            ahead = next
                .iter()
                .zip(&slopes)
                .map(|(new, old)| new + share * (new - old))
                .collect();
            (slopes, momentum) = (next, grown);
        }
        slopes
    }

    /// The nearest slopes inside the limits that reach the full opening.
    fn project(&self, slopes: &[f64], steps: &[f64]) -> Vec<f64> {
        let (low, high) = self.slope;
        let with = |shift: f64| -> Vec<f64> {
            slopes
                .iter()
                .zip(steps)
                .map(|(s, step)| (s + shift * step).clamp(low, high))
                .collect()
        };
        let reach = |slopes: &[f64]| {
            slopes
                .iter()
                .zip(steps)
                .map(|(s, step)| s * step)
                .sum::<f64>()
        };
        let shortest = steps.iter().copied().fold(f64::INFINITY, f64::min);
        let largest = slopes
            .iter()
            .fold(low.abs().max(high.abs()), |most, s| most.max(s.abs()));
        let (mut below, mut above) = (-2.0 * largest / shortest, 2.0 * largest / shortest);
        for _ in 0..100 {
            let middle = 0.5 * (below + above);
            if reach(&with(middle)) < self.full_percent {
                below = middle;
            } else {
                above = middle;
            }
        }
        with(0.5 * (below + above))
    }
}
