//! Pooling vehicles of a kind, the sizes of what they differ in averaged over their posterior.
//!
//! The marginal likelihood of the sizes, mean and differences integrated, is
//!
//! ```text
//! -2 ln p = sum ln det(I + L D) - sum h' D b + ln det(I + V0 sum M) - (sum b)' V (sum b) + const,
//! ```
//!
//! which with a flat mean is the restricted likelihood (Patterson and Thompson 1971). Half-normal priors on the sizes
//! hold what few vehicles cannot tell (Gelman 2006, Bayesian Analysis 1(3)).

use baytrim_model::axis::Axes;
use baytrim_model::library::{KindPrior, KindSpread};
use nalgebra::{DMatrix, DVector};

use super::evidence::Vehicle;
use super::grid::Grid;
use crate::hat::HatFinder;

/// Standard deviations of a kind's mean need before any vehicle, ln units, each with the share of the range over
/// which it varies; the level's has none. As wide as needs are from vehicle to vehicle of any kind.
const MEAN_LEVEL_SD: f64 = 0.10;
const MEAN_PARTS: [(f64, f64); 3] = [(0.08, 0.5), (0.05, 0.22), (0.015, 0.1)];

/// Share of the range over which a vehicle's own shape, and its roughness, vary.
const LENGTHS: [f64; 2] = [0.4, 0.15];

/// Sizes that are tried, ln units: level, shape, roughness.
const SIZES: [&[f64]; 3] = [
    &[0.003, 0.008, 0.016, 0.032, 0.064],
    &[0.003, 0.008, 0.016, 0.032, 0.064],
    &[0.002, 0.006, 0.015],
];
/// Scale of the half-normal prior of each size, ln units. Two vehicles of one kind differ by some percent where
/// nothing is broken; common practice.
const SCALES: [f64; 3] = [0.02, 0.015, 0.006];

/// Standard deviation of a sensor's bias, ln units: vehicles measured by one sensor share it, and no pull tells it.
const SENSOR_SD: f64 = 0.01;

/// A node counts as measured on a vehicle when so much of what its own table has there was.
const MEASURED_SHARE_MIN: f64 = 0.75;

/// What the grid says of one choice of sizes.
struct Pooled {
    mean: DVector<f64>,
    covariance: DMatrix<f64>,
    /// -2 ln of the marginal likelihood, save for a constant.
    badness: f64,
}

/// Returns mean, covariance of the next one, and badness, for `between`, the covariance of what vehicles differ in,
/// and `before`, that of their mean before any.
fn pooled(
    vehicles: &[(DMatrix<f64>, DVector<f64>)],
    between: &DMatrix<f64>,
    before: &DMatrix<f64>,
) -> Option<Pooled> {
    let size = between.nrows();
    let one = DMatrix::<f64>::identity(size, size);
    let (mut precision, mut right) = (DMatrix::zeros(size, size), DVector::zeros(size));
    let mut badness = 0.0;
    for (own, known) in vehicles {
        let widened = (&one + own * between).lu();
        badness += ln_determinant(&widened);
        let weighed = widened.solve(known)?;
        badness -= known.dot(&(between * &weighed));
        precision += widened.solve(own)?;
        right += weighed;
    }
    let widened = (&one + before * &precision).lu();
    badness += ln_determinant(&widened);
    let covariance = widened.solve(before)?;
    let covariance = 0.5 * (&covariance + covariance.transpose());
    let mean = &covariance * &right;
    badness -= right.dot(&mean);
    Some(Pooled {
        mean,
        covariance: covariance + between,
        badness,
    })
}

fn ln_determinant(matrix: &nalgebra::LU<f64, nalgebra::Dyn, nalgebra::Dyn>) -> f64 {
    matrix.u().diagonal().iter().map(|x| x.abs().ln()).sum()
}

/// Returns every choice of sizes with its prior weight.
fn choices() -> Vec<([f64; 3], f64)> {
    let mut all = Vec::new();
    for &level in SIZES[0] {
        for &shape in SIZES[1] {
            for &rough in SIZES[2] {
                let sizes = [level, shape, rough];
                // Sizes lie evenly in their logarithm, so each stands for a range of its own length.
                let weight = sizes.iter().zip(SCALES).map(|(&size, scale)| {
                    let share = size / scale;
                    share * (-0.5 * share * share).exp()
                });
                all.push((sizes, weight.product()));
            }
        }
    }
    all
}

fn constant(size: usize, sd: f64) -> DMatrix<f64> {
    DMatrix::from_element(size, size, sd * sd)
}

/// Returns what `vehicles` tell of the next one, whose table has `axes`; without any, what is usual.
///
/// The order of the vehicles changes the last bits at the most.
pub fn pool(axes: &Axes, vehicles: &[Vehicle<'_>]) -> KindPrior {
    let grid = Grid::new(axes);
    let known: Vec<_> = vehicles.iter().map(|one| grid.evidence(one)).collect();
    let parts = LENGTHS.map(|length| grid.correlation(length));
    let mut before = constant(grid.len(), MEAN_LEVEL_SD);
    for (sd, length) in MEAN_PARTS {
        before += sd * sd * grid.correlation(length);
    }
    let tried: Vec<([f64; 3], f64, Pooled)> = choices()
        .into_iter()
        .filter_map(|(sizes, weight)| {
            let [level, shape, rough] = sizes;
            let between =
                constant(grid.len(), level) + shape * shape * &parts[0] + rough * rough * &parts[1];
            Some((sizes, weight, pooled(&known, &between, &before)?))
        })
        .collect();
    let least = tried
        .iter()
        .map(|one| one.2.badness)
        .fold(f64::MAX, f64::min);
    let chance = |one: &([f64; 3], f64, Pooled)| one.1 * (-0.5 * (one.2.badness - least)).exp();
    let total: f64 = tried.iter().map(chance).sum();
    let mut mean = DVector::zeros(grid.len());
    let mut covariance = constant(grid.len(), SENSOR_SD);
    let mut squares = [0.0; 3];
    for one in &tried {
        let chance = chance(one) / total;
        mean += chance * &one.2.mean;
        covariance += chance * &one.2.covariance;
        for (square, size) in squares.iter_mut().zip(one.0) {
            *square += chance * size * size;
        }
    }
    for one in &tried {
        let away = &one.2.mean - &mean;
        covariance += chance(one) / total * (&away * away.transpose());
    }
    let [level, shape, rough] = squares.map(|square| 100.0 * square.sqrt());
    let (dwell_s, counts) = coverage(axes, vehicles);
    KindPrior {
        rpm: grid.axes.rpm.breakpoints().to_vec(),
        plate_percent: grid.axes.plate_percent.breakpoints().to_vec(),
        mean: mean.iter().map(|&value| rounded(value)).collect(),
        covariance: lower(&covariance),
        spread: KindSpread {
            level_percent: level,
            shape_percent: shape,
            rough_percent: rough,
        },
        vehicle_count: u32::try_from(vehicles.len()).unwrap_or(u32::MAX),
        dwell_s,
        vehicles: counts,
    }
}

/// Returns a number with the digits that a record keeps of it.
fn rounded(value: f64) -> f64 {
    (value * 1e6).round() / 1e6
}

fn lower(matrix: &DMatrix<f64>) -> Vec<f64> {
    let rows = 0..matrix.nrows();
    rows.flat_map(|row| (0..=row).map(move |column| matrix[(row, column)]))
        .map(|value| (value * 1e10).round() / 1e10)
        .collect()
}

/// Returns the seconds that vehicles were measured at each node of `axes`, and how many of them were.
fn coverage(axes: &Axes, vehicles: &[Vehicle<'_>]) -> (Vec<f64>, Vec<u32>) {
    let nodes = axes.node_count();
    let (mut dwell_s, mut counts) = (vec![0.0; nodes], vec![0; nodes]);
    for vehicle in vehicles {
        let inside = Grid {
            axes: vehicle.axes.clone(),
        };
        for node in 0..nodes {
            let place = axes.position(node);
            if !inside.holds(place) {
                continue;
            }
            let hat = HatFinder::default().find(vehicle.axes, place.0, place.1);
            let measured: Vec<f64> = vehicle
                .dwell_s
                .iter()
                .map(|&s| f64::from(s > 0.0))
                .collect();
            if hat.value(&measured) >= MEASURED_SHARE_MIN {
                dwell_s[node] += hat.value(&vehicle.dwell_s);
                counts[node] += 1;
            }
        }
    }
    (dwell_s, counts)
}

#[cfg(test)]
mod tests;
