//! The rounds of a fit, and all that is left of them at the end.

use baytrim_model::axis::Axes;
use baytrim_model::proposal::FitSummary;

use crate::evidence::PullEvidence;
use crate::kind::Told;

use super::envelope::Envelope;
use super::episode::Episodes;
use super::kronecker::KroneckerPrior;
use super::noise::Noise;
use super::normal::{Normal, Solution, film_start};
use super::order::Order;
use super::prior::{self, Smoothness};
use super::{Fit, FitError, FitSettings, border_prior, calibrate, remark, residual};

/// Name and version of the estimator, for the record.
pub const ESTIMATOR: &str = concat!("baytrim-estimate ", env!("CARGO_PKG_VERSION"));
/// Most rounds of estimating noise, offsets and film from residuals. Each is an EM step, which moves the size of what
/// stays share only part of the way from what is usual to what the readings show. On simulated engines (seeds 1 to 20)
/// the size of stays' offsets ends 12 % from where it would rest after three rounds, 8 % after four, 3 % after six; a
/// round is a seventh of the time of a fit.
const ROUNDS_MAX: i32 = 4;
/// Change of the sizes, in their logarithm, from which on they are not at rest; below any step of their search.
const REST: f64 = 1e-3;
/// Rounds of estimating the prior's strength from the evidence.
const PRIOR_ROUNDS: i32 = 2;

/// A fit with everything that later questions need: the posterior and the sizes that it rests on.
#[derive(Debug, Clone)]
pub(crate) struct Solved {
    /// Place in the caller's list of each pull, in the order of the equations.
    pub(crate) ranks: Vec<usize>,
    pub(crate) order: Order,
    pub(crate) episodes: Episodes,
    pub(crate) noise: Noise,
    /// Standard deviation of a second difference along rpm and plate.
    pub(crate) difference_sd: [f64; 2],
    pub(crate) normal: Normal,
    /// The prior's precision of the nodes.
    pub(crate) prior: Envelope,
    /// That precision times the prior's mean, by position; empty where the mean is 0.
    pub(crate) towards: Vec<f64>,
    pub(crate) solution: Solution,
    /// Factor by which standard errors are widened.
    pub(crate) factor: f64,
    /// The part of it that stands for evidence which goes one way only.
    one_way: f64,
}

impl Solved {
    /// Fits the evidence of `pulls`, which must have been checked.
    pub(crate) fn new(
        axes: &Axes,
        pulls: &[&PullEvidence],
        settings: &FitSettings,
        told: Option<&Told>,
    ) -> Result<Self, FitError> {
        let ranks = ranks(pulls);
        let sorted: Vec<&PullEvidence> = ranks.iter().map(|&pull| pulls[pull]).collect();
        let pulls = sorted.as_slice();
        let (order, mut episodes) = Order::cheapest(axes, pulls);
        let zero = Envelope::zero(episodes.envelope(axes, &order));
        let smoothness = Smoothness::new(axes, &order, &zero);
        let mut noise = Noise {
            pull: (settings.pull_percent / 100.0).max(1e-4),
            ..Noise::default()
        };
        let kind = match told {
            Some(told) => Some(told.in_envelope(&order, &zero).ok_or(FitError::Kind)?),
            None => None,
        };
        let alone = KroneckerPrior::new(axes);
        let usual_pull = noise.pull;
        let mut difference_sd = [prior::DIFFERENCE_SD; 2];
        let mut round = 0;
        let mut at_rest = episodes.stays.is_empty();
        loop {
            let last = at_rest || round == ROUNDS_MAX;
            // At the end each pull is held against the others, so that its own sum is needed.
            let apart = if last && pulls.len() > 1 {
                Normal::of_each(&episodes, pulls.len(), &noise, &zero)
            } else {
                Vec::new()
            };
            let normal = Normal::total(&apart)
                .unwrap_or_else(|| Normal::sum(&episodes, pulls.len(), &noise, &zero));
            let border_prior = border_prior(pulls, &noise);
            if kind.is_none() && round < PRIOR_ROUNDS && !last {
                let badness = |sd: [f64; 2]| {
                    let alone = alone.ln_determinant(sd);
                    normal.badness(&smoothness.of_sd(sd), alone, &border_prior)
                };
                prior::search(badness, &mut difference_sd, 0.8 * 0.7_f64.powi(round));
            }
            let (prior, towards) = match &kind {
                Some((precision, towards)) => (precision.clone(), towards.as_slice()),
                None => (smoothness.of_sd(difference_sd), [].as_slice()),
            };
            let solution = normal
                .solve_towards(&prior, towards, &border_prior)
                .ok_or(FitError::Singular)?;
            if last {
                let mut factor = calibrate::factor(&episodes, &solution, pulls.len(), &noise);
                if pulls.len() > 1 {
                    let others = |pull: usize| {
                        let rest = normal.without(&apart[pull]);
                        rest.solve_towards(&prior, towards, &border_prior)
                    };
                    let asked = calibrate::pull_factor(&episodes, pulls.len(), &noise, others);
                    factor = factor.max(asked);
                }
                let one_way = calibrate::one_way_factor(&episodes);
                return Ok(Self {
                    ranks,
                    order,
                    episodes,
                    noise,
                    difference_sd,
                    normal,
                    towards: towards.to_vec(),
                    prior,
                    solution,
                    factor: factor * one_way,
                    one_way,
                });
            }
            let film = &solution.border.as_slice()[film_start(pulls.len())..];
            episodes.learn_delay(&solution.theta, film);
            let before = noise;
            residual::improve(&mut episodes, &solution, pulls.len(), &mut noise);
            at_rest = round >= PRIOR_ROUNDS && noise.away_from(&before) < REST;
            let usual = usual_pull * noise.unrest();
            learn_pull_offsets(&solution, pulls.len(), &mut noise, usual);
            round += 1;
        }
    }

    /// Returns (mean, precision) of each border column; `pulls` are those that were fitted.
    pub(crate) fn border_prior(&self, pulls: &[&PullEvidence]) -> Vec<(f64, f64)> {
        let sorted: Vec<&PullEvidence> = self.ranks.iter().map(|&rank| pulls[rank]).collect();
        border_prior(&sorted, &self.noise)
    }

    /// Returns `values`, which stand by position, in node order.
    pub(crate) fn by_node(&self, values: &[f64]) -> Vec<f64> {
        let position = self.order.position.iter();
        position.map(|&place| values[place]).collect()
    }

    /// Returns the correction of every node; `pulls` are those that were fitted.
    pub(crate) fn fit(&self, axes: &Axes, pulls: &[&PullEvidence], settings: &FitSettings) -> Fit {
        let measured = self
            .solution
            .inverse
            .diagonal_of_product(&self.normal.nodes);
        let (dwell_s, visits) = coverage(axes.node_count(), pulls);
        let theta = self.by_node(&self.solution.theta);
        let mut summary = summary(&theta, &dwell_s, &self.noise, settings);
        summary.reading_count = self.episodes.observations.len() as u64;
        summary.calibration_factor = self.factor;
        summary.remarks = remark::remarks(
            &self.episodes,
            &self.solution,
            &self.ranks,
            &self.noise,
            [self.factor / self.one_way, self.one_way],
        );
        let variances = self.by_node(&self.solution.variances());
        Fit {
            standard_error: variances
                .iter()
                .map(|variance| self.factor * variance.max(0.0).sqrt())
                .collect(),
            sensor_error: settings.sensor_percent / 100.0,
            measured_fraction: self
                .by_node(&measured)
                .iter()
                .map(|share| share.clamp(0.0, 1.0))
                .collect(),
            theta,
            dwell_s,
            visits,
            summary,
        }
    }
}

/// Weight of the usual size of pull offsets, in pulls.
const USUAL_PULLS: f64 = 4.0;

/// Improves the size of pull offsets by what the pulls show against each other.
fn learn_pull_offsets(solution: &Solution, pulls: usize, noise: &mut Noise, usual: f64) {
    let seen: f64 = (0..pulls)
        .map(|pull| {
            let offset = solution.border[pull];
            offset * offset + solution.border_covariance[(pull, pull)]
        })
        .sum();
    let variance = (USUAL_PULLS * usual * usual + seen) / (USUAL_PULLS + pulls as f64);
    noise.pull = variance.sqrt();
}

/// Returns the summary of a fit, without what needs its episodes.
fn summary(theta: &[f64], dwell_s: &[f64], noise: &Noise, settings: &FitSettings) -> FitSummary {
    FitSummary {
        estimator: ESTIMATOR.to_owned(),
        reading_count: 0,
        noise_percent: 100.0 * noise.block,
        episode_percent: 100.0 * noise.episode,
        pull_percent: 100.0 * noise.pull,
        sensor_percent: settings.sensor_percent,
        calibration_factor: 1.0,
        off_target_percent: off_target_percent(theta.iter().copied(), dwell_s),
        remarks: Vec::new(),
    }
}

/// Returns the places of the pulls in an order that depends on what they hold alone.
fn ranks(pulls: &[&PullEvidence]) -> Vec<usize> {
    let mut ranks: Vec<usize> = (0..pulls.len()).collect();
    ranks.sort_by(|&a, &b| {
        let (a, b) = (pulls[a], pulls[b]);
        let needs = |pull: &PullEvidence| -> Vec<u32> {
            pull.blocks
                .iter()
                .map(|block| block.need.to_bits())
                .collect()
        };
        a.block_count()
            .cmp(&b.block_count())
            .then_with(|| needs(a).cmp(&needs(b)))
    });
    ranks
}

fn coverage(nodes: usize, pulls: &[&PullEvidence]) -> (Vec<f64>, Vec<u32>) {
    let mut dwell_s = vec![0.0; nodes];
    let mut visits = vec![0; nodes];
    for evidence in pulls {
        for (node, covered) in evidence.coverage().enumerate() {
            dwell_s[node] += covered.dwell_s;
            visits[node] += covered.visits;
        }
    }
    // The outer weights of a smooth surface touch nodes that the engine never went to.
    for (dwell_s, visits) in dwell_s.iter_mut().zip(&visits) {
        if *visits == 0 {
            *dwell_s = 0.0;
        }
    }
    (dwell_s, visits)
}

/// Returns the dwell-weighted root mean square of corrections given as logarithms, percent; 0 where
/// nothing was visited.
pub(super) fn off_target_percent(wishes: impl Iterator<Item = f64>, dwell_s: &[f64]) -> f64 {
    let total: f64 = dwell_s.iter().sum();
    if total <= 0.0 {
        return 0.0;
    }
    let square: f64 = wishes
        .zip(dwell_s)
        .map(|(wish, dwell_s)| {
            let percent = 100.0 * wish.exp_m1();
            percent * percent * dwell_s
        })
        .sum();
    (square / total).sqrt()
}
