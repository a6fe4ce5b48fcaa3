//! A smooth curve through points that rises wherever they do.
//!
//! Piecewise cubic Hermite interpolation with the slopes of Fritsch and Butland, SIAM J. Sci. Stat. Comput. 5
//! (1984) 300, inside the region of Fritsch and Carlson, SIAM J. Numer. Anal. 17 (1980) 238.

/// A monotone cubic through points.
#[derive(Debug, Clone, PartialEq)]
pub struct MonotoneCubic {
    x: Vec<f64>,
    y: Vec<f64>,
    slope: Vec<f64>,
}

impl MonotoneCubic {
    /// Returns the curve through points at rising `x`.
    ///
    /// # Panics
    /// With fewer than two points, other lengths, or where `x` does not rise.
    pub fn through(x: &[f64], y: &[f64]) -> Self {
        assert!(x.len() >= 2 && x.len() == y.len(), "two points and more");
        assert!(x.windows(2).all(|pair| pair[0] < pair[1]), "x rises");
        let step: Vec<f64> = x.windows(2).map(|pair| pair[1] - pair[0]).collect();
        let rise: Vec<f64> = (0..step.len())
            .map(|k| (y[k + 1] - y[k]) / step[k])
            .collect();
        Self {
            x: x.to_vec(),
            y: y.to_vec(),
            slope: slopes(&step, &rise),
        }
    }

    /// Returns the curve at `x`; beyond its ends, the end.
    pub fn at(&self, x: f64) -> f64 {
        let last = self.x.len() - 1;
        let x = x.clamp(self.x[0], self.x[last]);
        let k = self.x.partition_point(|&knot| knot <= x).clamp(1, last) - 1;
        let h = self.x[k + 1] - self.x[k];
        let t = (x - self.x[k]) / h;
        let (t2, t3) = (t * t, t * t * t);
        self.y[k] * (2.0 * t3 - 3.0 * t2 + 1.0)
            + h * self.slope[k] * (t3 - 2.0 * t2 + t)
            + self.y[k + 1] * (3.0 * t2 - 2.0 * t3)
            + h * self.slope[k + 1] * (t3 - t2)
    }
}

fn slopes(step: &[f64], rise: &[f64]) -> Vec<f64> {
    let last = rise.len() - 1;
    if last == 0 {
        return vec![rise[0]; 2];
    }
    let inner = (1..=last).map(|k| {
        if rise[k - 1] * rise[k] <= 0.0 {
            return 0.0;
        }
        let (a, b) = (2.0 * step[k] + step[k - 1], step[k] + 2.0 * step[k - 1]);
        (a + b) / (a / rise[k - 1] + b / rise[k])
    });
    let mut slopes = vec![end(step[0], step[1], rise[0], rise[1])];
    slopes.extend(inner);
    slopes.push(end(step[last], step[last - 1], rise[last], rise[last - 1]));
    slopes
}

/// The parabola through the three points at an end, held to the shape of the points.
fn end(step: f64, next_step: f64, rise: f64, next_rise: f64) -> f64 {
    let slope = ((2.0 * step + next_step) * rise - step * next_rise) / (step + next_step);
    if slope * rise <= 0.0 {
        0.0
    } else if rise * next_rise <= 0.0 && slope.abs() > 3.0 * rise.abs() {
        3.0 * rise
    } else {
        slope
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::oracle::shapes;

    /// If this fails, the curve between the rows of a table is not the one that is published: thirty curves through
    /// points that rise, fall, stand and jump, by `scipy.interpolate.PchipInterpolator` 1.17.1.
    #[test]
    fn curves_are_those_of_the_reference() {
        let curves = shapes().curves;
        assert_eq!(curves.len(), 30);
        for told in curves {
            let curve = MonotoneCubic::through(&told.x, &told.y);
            let size = told.y.iter().fold(1.0, |most: f64, y| most.max(y.abs()));
            for (&at, &expected) in told.at.iter().zip(&told.value) {
                let found = curve.at(at);
                assert!(
                    (found - expected).abs() < 1e-11 * size,
                    "{}: {found} for {expected} at {at}",
                    told.kind
                );
            }
        }
    }

    /// If this fails, opening the grip can close the plate between two rows of a table.
    #[test]
    fn a_curve_rises_wherever_its_points_do() {
        let curve = MonotoneCubic::through(
            &[0.0, 1.0, 2.0, 50.0, 51.0, 100.0],
            &[0.0, 0.1, 9.0, 9.1, 90.0, 100.0],
        );
        let values: Vec<f64> = (0..=10_000)
            .map(|step| curve.at(f64::from(step) / 100.0))
            .collect();
        assert!(values.windows(2).all(|pair| pair[0] <= pair[1] + 1e-12));
    }
}
