//! What a fit leaves unknown, all nodes together, and the stop rule that comes of it.
//!
//! With A the nodes' posterior precision without border, L its Cholesky factor, B = A^-1 C and V the border's
//! covariance, theta less its mean is L'^-1 e - B V^(1/2) n for standard normal e and n. The chance that every
//! node of a region is within tolerance has no closed form; it is counted over such draws.

use baytrim_model::axis::Axes;
use baytrim_model::library::KindPrior;
use nalgebra::{DMatrix, DVector};

use crate::evidence::PullEvidence;
use crate::fit::{Fit, FitError, FitSettings, Solved};
use crate::kind::Told;

/// Pairs of draws, each and its mirror image, that a chance is counted over: its standard error is 2 % at the most.
const PAIRS: u32 = 300;
/// Pairs that are worked on together; [`PAIRS`] is a multiple of it.
const PAIRS_AT_ONCE: u32 = 4;

/// What a fit leaves unknown.
#[derive(Debug, Clone)]
pub struct Posterior {
    solved: Solved,
}

/// How far a region is within tolerance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WithinTolerance {
    /// Probability that every node of the region is within tolerance, 0 to 1.
    pub every_node: f64,
    /// Expected share of its nodes that are, 0 to 1.
    pub share: f64,
}

/// Fits as [`crate::fit()`] does and keeps what the fit leaves unknown.
///
/// # Errors
/// As [`crate::fit()`].
pub fn fit_whole(
    axes: &Axes,
    pulls: &[&PullEvidence],
    settings: &FitSettings,
) -> Result<(Fit, Posterior), FitError> {
    crate::fit::check(axes, pulls, settings)?;
    let solved = Solved::new(axes, pulls, settings, None)?;
    Ok((solved.fit(axes, pulls, settings), Posterior { solved }))
}

/// Fits as [`fit_whole`] does, with what earlier vehicles of the kind tell in place of what is usual for any.
///
/// # Errors
/// As [`crate::fit()`], and [`FitError::Kind`] where `kind` is damaged.
pub fn fit_of_kind(
    axes: &Axes,
    pulls: &[&PullEvidence],
    settings: &FitSettings,
    kind: &KindPrior,
) -> Result<(Fit, Posterior), FitError> {
    crate::fit::check(axes, pulls, settings)?;
    let told = Told::new(axes, kind).ok_or(FitError::Kind)?;
    let solved = Solved::new(axes, pulls, settings, Some(&told))?;
    Ok((solved.fit(axes, pulls, settings), Posterior { solved }))
}

impl Posterior {
    /// Returns the fit with the sizes that it rests on.
    pub(crate) fn solved(&self) -> &Solved {
        &self.solved
    }

    /// Returns how far the nodes of `region` are within `tolerance`, ln units, with a table of `log_trim`.
    ///
    /// The sensor's own bias is left out: no pull can tell it. The same input gives the same answer. None for an
    /// empty region.
    ///
    /// # Panics
    /// When `log_trim` has not one value per node.
    pub fn within(
        &self,
        log_trim: &[f64],
        region: &[usize],
        tolerance: f64,
    ) -> Option<WithinTolerance> {
        let found = self.within_each(&[log_trim], region, tolerance)?;
        found.first().copied()
    }

    /// Returns [`Posterior::within`] of each of several tables, over the same draws.
    ///
    /// # Panics
    /// When a table's list has not one value per node.
    pub fn within_each(
        &self,
        log_trims: &[&[f64]],
        region: &[usize],
        tolerance: f64,
    ) -> Option<Vec<WithinTolerance>> {
        let position = &self.solved.order.position;
        for log_trim in log_trims {
            assert_eq!(log_trim.len(), position.len(), "one trim per node");
        }
        if region.is_empty() {
            return None;
        }
        let matrix = self.solved.normal.nodes.plus([(&self.solved.prior, 1.0)]);
        let factor = matrix.cholesky()?;
        let solution = &self.solved.solution;
        let border = solution.border_covariance.clone().cholesky()?.l();
        let mut dice = Dice::new(0x5eed);
        // By node of the region: what the border moves there, and how far off each table is.
        let spread = DMatrix::from_fn(region.len(), border.nrows(), |row, column| {
            solution.spread[column][position[region[row]]]
        });
        let off = |log_trim: &&[f64]| -> Vec<f64> {
            let nodes = region.iter();
            nodes
                .map(|&node| solution.theta[position[node]] - log_trim[node])
                .collect()
        };
        let off: Vec<Vec<f64>> = log_trims.iter().map(off).collect();
        let mut counts = vec![(0_u32, 0_usize); log_trims.len()];
        for _ in 0..PAIRS / PAIRS_AT_ONCE {
            let (mut draws, borrowed): (Vec<Vec<f64>>, Vec<DVector<f64>>) = (0..PAIRS_AT_ONCE)
                .map(|_| {
                    let draw = position.iter().map(|_| dice.normal()).collect();
                    let nuisance = DVector::from_fn(border.nrows(), |_, _| dice.normal());
                    (draw, &spread * (&border * nuisance))
                })
                .unzip();
            factor.backward_all(&mut draws);
            for (draw, borrowed) in draws.iter().zip(&borrowed) {
                let pairs = region.iter().zip(borrowed.iter());
                let away: Vec<f64> = pairs
                    .map(|(&node, borrowed)| self.solved.factor * (draw[position[node]] - borrowed))
                    .collect();
                for ((all, some), off) in counts.iter_mut().zip(&off) {
                    for sign in [1.0, -1.0] {
                        let ends = off.iter().zip(&away);
                        let ends = ends.map(|(off, away)| (off + sign * away).abs());
                        let within = ends.filter(|end| *end <= tolerance).count();
                        *some += within;
                        *all += u32::from(within == region.len());
                    }
                }
            }
        }
        let draws = f64::from(2 * PAIRS);
        let chance = |(all, some): (u32, usize)| WithinTolerance {
            every_node: f64::from(all) / draws,
            share: some as f64 / (draws * region.len() as f64),
        };
        Some(counts.into_iter().map(chance).collect())
    }

    /// Returns the covariance of theta at `nodes`, calibrated, ln units squared.
    pub(crate) fn covariance(&self, nodes: &[usize]) -> Option<DMatrix<f64>> {
        let solved = &self.solved;
        let position = &solved.order.position;
        let matrix = solved.normal.nodes.plus([(&solved.prior, 1.0)]);
        let factor = matrix.cholesky()?;
        let solution = &solved.solution;
        let spread = DMatrix::from_fn(nodes.len(), solution.spread.len(), |row, column| {
            solution.spread[column][position[nodes[row]]]
        });
        let mut covariance = &spread * &solution.border_covariance * spread.transpose();
        let mut column = vec![0.0; position.len()];
        for (place, &node) in nodes.iter().enumerate() {
            column.fill(0.0);
            column[position[node]] = 1.0;
            factor.solve(&mut column);
            for (row, &other) in nodes.iter().enumerate() {
                covariance[(row, place)] += column[position[other]];
            }
        }
        Some(covariance * solved.factor.powi(2))
    }

    /// Returns the sizes of the noise, widened as the standard errors are: of a stay of so many seconds, and of
    /// a pull's offset.
    pub(crate) fn stay_variance(&self, stay_s: f64) -> f64 {
        let noise = &self.solved.noise;
        let blocks = stay_s / crate::fit::STEP_S;
        let fast = noise.block * noise.block * crate::fit::mean_variance(noise.correlation, blocks);
        (noise.episode * noise.episode + fast) * self.solved.factor.powi(2)
    }

    /// Returns the variance of a pull's offset.
    pub(crate) fn pull_variance(&self) -> f64 {
        (self.solved.noise.pull * self.solved.factor).powi(2)
    }
}

/// Standard normal numbers, the same ones every time: splitmix64 (Steele, Lea, Flood 2014) through the polar
/// method (Marsaglia and Bray 1964).
struct Dice {
    state: u64,
    /// The method makes two at a time.
    spare: Option<f64>,
}

impl Dice {
    fn new(state: u64) -> Self {
        Self { state, spare: None }
    }

    fn uniform(&mut self) -> f64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^= z >> 31;
        (z >> 11) as f64 / 9_007_199_254_740_992.0
    }

    fn normal(&mut self) -> f64 {
        if let Some(spare) = self.spare.take() {
            return spare;
        }
        loop {
            let (x, y) = (2.0 * self.uniform() - 1.0, 2.0 * self.uniform() - 1.0);
            let square = x * x + y * y;
            if square > 0.0 && square < 1.0 {
                let scale = (-2.0 * square.ln() / square).sqrt();
                self.spare = Some(y * scale);
                return x * scale;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{Dice, fit_whole};
    use crate::FitSettings;
    use crate::limit::normal::chance_below;
    use baytrim_model::axis::{Axes, Axis};

    /// A chance that left the normal distribution would tell a tuner to stop too early or too late.
    #[test]
    fn the_chance_of_one_node_is_that_of_its_normal() {
        let axes = Axes {
            rpm: Axis::new("rpm", vec![1000.0, 2000.0, 4000.0]).expect("sorted"),
            plate_percent: Axis::new("plate", vec![0.0, 20.0, 100.0]).expect("sorted"),
        };
        let (fit, posterior) = fit_whole(&axes, &[], &FitSettings::default()).expect("solvable");
        let zeros = vec![0.0; 9];
        for node in [0, 4] {
            let sd = fit.standard_error[node];
            let within = posterior.within(&zeros, &[node], sd).expect("a region");
            let wanted = 2.0 * chance_below(1.0) - 1.0;
            assert!((within.every_node - wanted).abs() < 0.06, "{within:?}");
            let covariance = posterior.covariance(&[node]).expect("solvable");
            assert!((covariance[(0, 0)].sqrt() - sd).abs() < 1e-9 * sd);
        }
        let both = posterior.within(&zeros, &[0, 4], fit.standard_error[0]);
        let both = both.expect("a region");
        assert!(both.every_node < both.share);
        assert_eq!(posterior.within(&zeros, &[], 0.1), None);
    }

    /// Draws that are not standard normal would make every chance wrong.
    #[test]
    fn draws_are_standard_normal() {
        let mut dice = Dice::new(7);
        let draws: Vec<f64> = (0..20_000).map(|_| dice.normal()).collect();
        let mean = |power: i32| draws.iter().map(|x| x.powi(power)).sum::<f64>() / 20_000.0;
        assert!(mean(1).abs() < 0.02 && (mean(2) - 1.0).abs() < 0.03);
        assert!((mean(4) - 3.0).abs() < 0.2, "{}", mean(4));
    }
}
