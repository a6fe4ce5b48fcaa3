//! From the evidence of all pulls to the correction of each node with its standard error.

mod calibrate;
mod envelope;
mod episode;
mod noise;
mod normal;
mod order;
mod prior;
mod remark;
mod residual;
#[cfg(test)]
mod tests;

use baytrim_model::axis::Axes;
use baytrim_model::proposal::FitSummary;

use crate::evidence::PullEvidence;
use crate::film::{FILM_STATES, FILM_TERMS};

use self::envelope::Envelope;
use self::episode::Episodes;
use self::noise::Noise;
use self::normal::{Normal, Solution, film_start};
use self::order::Order;
use self::prior::Smoothness;

/// Name and version of the estimator, for the record.
const ESTIMATOR: &str = concat!("baytrim-estimate ", env!("CARGO_PKG_VERSION"));
/// Rounds of estimating noise, offsets and film from residuals.
const ROUNDS: i32 = 4;
/// Rounds of estimating the prior's strength from the evidence.
const PRIOR_ROUNDS: i32 = 2;
/// Mean and standard deviation of a film coefficient before any pull: X less the engine's own compensation.
const FILM_PRIOR: (f64, f64) = (0.06, 0.10);
/// Standard deviation of half the change of the quick film's coefficient from no load to full load.
const FILM_LOAD_SD: f64 = 0.06;

/// What a fit may be told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FitSettings {
    /// Standard deviation of the sensor's own bias in percent of lambda, 0 to 20: common to all
    /// nodes, never averaged away. A new wideband sensor has about 1, an aged one up to 4.
    pub sensor_percent: f64,
    /// Standard deviation of a pull's offset in percent, 0 to 20, before the pulls were compared.
    pub pull_percent: f64,
}

impl Default for FitSettings {
    fn default() -> Self {
        Self {
            sensor_percent: 1.0,
            pull_percent: 0.5,
        }
    }
}

/// The correction of every node; every list in node order.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// Natural logarithm of the fuel multiplier that the base table needs.
    pub theta: Vec<f64>,
    /// Standard error of `theta` without the sensor's bias, ln units, calibrated: what more data shrinks.
    pub standard_error: Vec<f64>,
    /// Standard deviation of the sensor's bias, common to all nodes, ln units: what no data shrinks.
    pub sensor_error: f64,
    /// Seconds of accepted footprint weight over all pulls; 0 at a node that was never visited.
    pub dwell_s: Vec<f64>,
    /// Separate visits over all pulls.
    pub visits: Vec<u32>,
    /// Share of `theta` that is measured at the node itself, 0 (all borrowed) to 1: the diagonal of the
    /// matrix that turns what the readings say of each node into `theta`.
    pub measured_fraction: Vec<f64>,
    /// The fit as a whole.
    pub summary: FitSummary,
}

/// Why evidence could not be fitted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum FitError {
    /// A pull speaks about another table.
    #[error(
        "pull {pull} speaks about {count} nodes where the axes have {nodes}; read it again with this table's axes"
    )]
    OtherTable {
        /// Place of the pull in the list.
        pull: usize,
        /// Nodes that it speaks about.
        count: usize,
        /// Nodes of the axes.
        nodes: usize,
    },
    /// Stored evidence is damaged or of another version.
    #[error(
        "the evidence of pull {pull} is damaged or of another version; read the pull's log again"
    )]
    Unsound {
        /// Place of the pull in the list.
        pull: usize,
    },
    /// A setting is outside its range.
    #[error("{name} is outside 0 to 20 percent")]
    Setting {
        /// The setting.
        name: &'static str,
    },
    /// The equations have no solution, which the prior should prevent.
    #[error("the equations cannot be solved; read the pulls' logs again")]
    Singular,
}

fn check(axes: &Axes, pulls: &[&PullEvidence], settings: &FitSettings) -> Result<(), FitError> {
    let nodes = axes.node_count();
    for (pull, evidence) in pulls.iter().enumerate() {
        if evidence.node_count() != nodes {
            return Err(FitError::OtherTable {
                pull,
                count: evidence.node_count(),
                nodes,
            });
        }
        if !evidence.is_sound() {
            return Err(FitError::Unsound { pull });
        }
    }
    let percents = [
        ("sensor_percent", settings.sensor_percent),
        ("pull_percent", settings.pull_percent),
    ];
    for (name, value) in percents {
        if !(0.0..=20.0).contains(&value) {
            return Err(FitError::Setting { name });
        }
    }
    Ok(())
}

/// Fits the correction of every node to the evidence of `pulls`.
///
/// Deterministic, and without a pass over samples; the order of the pulls changes nothing. Without pulls every node keeps its prior.
///
/// # Errors
/// When evidence belongs to other axes or is damaged, or a setting is out of range.
pub fn fit(axes: &Axes, pulls: &[&PullEvidence], settings: &FitSettings) -> Result<Fit, FitError> {
    check(axes, pulls, settings)?;
    let ranks = ranks(pulls);
    let sorted: Vec<&PullEvidence> = ranks.iter().map(|&pull| pulls[pull]).collect();
    let pulls = sorted.as_slice();
    let order = Order::new(axes);
    let mut episodes = Episodes::new(axes, &order, pulls);
    let zero = Envelope::zero(episodes.envelope(axes, &order));
    let smoothness = Smoothness::new(axes, &order, &zero);
    let mut noise = Noise {
        pull: (settings.pull_percent / 100.0).max(1e-4),
        ..Noise::default()
    };
    let alone = Smoothness::new(
        axes,
        &order,
        &Envelope::zero(prior::own_envelope(axes, &order)),
    );
    let usual_pull = noise.pull;
    let mut difference_sd = [prior::DIFFERENCE_SD; 2];
    let precision = |sd: [f64; 2]| smoothness.precision(sd.map(|sd| 1.0 / (sd * sd)));
    let mut round = 0;
    let (normal, solution) = loop {
        let normal = Normal::sum(&episodes, pulls.len(), &noise, &zero);
        let border_prior = border_prior(pulls, &noise);
        let last = round == ROUNDS || episodes.stays.is_empty();
        if round < PRIOR_ROUNDS && !last {
            let badness = |sd: [f64; 2]| {
                let alone = alone.precision(sd.map(|sd| 1.0 / (sd * sd))).cholesky()?;
                normal.badness(&precision(sd), alone.ln_determinant(), &border_prior)
            };
            prior::search(badness, &mut difference_sd, 0.8 * 0.7_f64.powi(round));
        }
        let solution = normal
            .solve(&precision(difference_sd), &border_prior)
            .ok_or(FitError::Singular)?;
        if last {
            break (normal, solution);
        }
        let film = &solution.border.as_slice()[film_start(pulls.len())..];
        episodes.learn_delay(&solution.theta, film);
        learn_pull_offsets(&solution, pulls.len(), &mut noise, usual_pull);
        residual::improve(&mut episodes, &solution, pulls.len(), &mut noise);
        round += 1;
    };
    let factor = calibrate::factor(&episodes, &solution, pulls.len(), &noise);
    let measured = solution.inverse.diagonal_of_product(&normal.nodes);
    let variances = solution.variances();
    let at = |values: &[f64]| -> Vec<f64> {
        (0..axes.node_count())
            .map(|node| values[order.position[node]])
            .collect()
    };
    let (dwell_s, visits) = coverage(axes.node_count(), pulls);
    let theta = at(&solution.theta);
    let mut summary = summary(&theta, &dwell_s, &noise, settings);
    summary.reading_count = episodes.observations.len() as u64;
    summary.calibration_factor = factor;
    summary.remarks = remark::remarks(&episodes, &solution, &ranks, &noise, factor);
    Ok(Fit {
        standard_error: at(&variances)
            .iter()
            .map(|variance| factor * variance.max(0.0).sqrt())
            .collect(),
        sensor_error: settings.sensor_percent / 100.0,
        measured_fraction: at(&measured)
            .iter()
            .map(|share| share.clamp(0.0, 1.0))
            .collect(),
        theta,
        dwell_s,
        visits,
        summary,
    })
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

/// Returns the surface that one pull's evidence speaks for, with usual sizes of noise; zero where it
/// cannot be solved.
pub(crate) fn surface_of(axes: &Axes, evidence: &PullEvidence) -> Vec<f64> {
    let order = Order::new(axes);
    let pulls = [evidence];
    let episodes = Episodes::new(axes, &order, &pulls);
    let zero = Envelope::zero(episodes.envelope(axes, &order));
    let smoothness = Smoothness::new(axes, &order, &zero);
    let noise = Noise::default();
    let precision = smoothness.precision([1.0 / (prior::DIFFERENCE_SD * prior::DIFFERENCE_SD); 2]);
    let normal = Normal::sum(&episodes, 1, &noise, &zero);
    match normal.solve(&precision, &border_prior(&pulls, &noise)) {
        Some(solution) => (0..axes.node_count())
            .map(|node| solution.theta[order.position[node]])
            .collect(),
        None => vec![0.0; axes.node_count()],
    }
}

/// Part of a delay's error that is each pull's own; the rest, above all the flow model's, all pulls share.
const OWN_DELAY_SHARE: f64 = 0.4;

/// Returns (mean, precision) of each border column: pull offsets, delay errors of each pull and of all, film
/// coefficients.
fn border_prior(pulls: &[&PullEvidence], noise: &Noise) -> Vec<(f64, f64)> {
    let pull = (0.0, 1.0 / (noise.pull * noise.pull));
    let film = (FILM_PRIOR.0, 1.0 / (FILM_PRIOR.1 * FILM_PRIOR.1));
    let mut all = vec![pull; pulls.len()];
    let sd = |evidence: &&PullEvidence| f64::from(evidence.delay_error).max(0.01);
    let own = |sd: f64| (0.0, 1.0 / (OWN_DELAY_SHARE * sd).powi(2));
    all.extend(pulls.iter().map(|evidence| own(sd(evidence))));
    let shared = pulls.iter().map(sd).fold(0.01, f64::max);
    all.push((0.0, 1.0 / (shared * shared)));
    all.extend([film; FILM_STATES]);
    all.extend([(0.0, 1.0 / (FILM_LOAD_SD * FILM_LOAD_SD)); FILM_TERMS - FILM_STATES]);
    all
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
        off_target_percent: off_target_percent(theta, dwell_s),
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
    (dwell_s, visits)
}

fn off_target_percent(theta: &[f64], dwell_s: &[f64]) -> f64 {
    let total: f64 = dwell_s.iter().sum();
    if total <= 0.0 {
        return 0.0;
    }
    let square: f64 = theta
        .iter()
        .zip(dwell_s)
        .map(|(theta, dwell_s)| {
            let percent = 100.0 * theta.exp_m1();
            percent * percent * dwell_s
        })
        .sum();
    (square / total).sqrt()
}
