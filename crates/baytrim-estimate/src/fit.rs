//! From the evidence of all pulls to the correction of each node with its standard error.

mod calibrate;
mod envelope;
mod episode;
pub(crate) mod joint;
mod kronecker;
mod noise;
mod normal;
mod order;
mod pattern;
mod prior;
mod remark;
mod residual;
mod sizes;
mod solve;
#[cfg(test)]
mod tests;
mod trace;
mod whitened;

use baytrim_model::axis::Axes;
use baytrim_model::proposal::FitSummary;

use crate::evidence::PullEvidence;
use crate::film::FILM_STATES;

pub(crate) use self::envelope::Envelope;
pub(crate) use self::episode::{Episode, STEP_S};
use self::noise::Noise;
pub(crate) use self::noise::mean_variance;
use self::normal::Normal;
pub(crate) use self::normal::Solution;
pub(crate) use self::order::Order;
pub(crate) use self::pattern::Score;
use self::prior::Smoothness;
#[cfg(test)]
pub(crate) use self::prior::own_envelope;
pub use self::solve::ESTIMATOR;
pub(crate) use self::solve::Solved;
pub(crate) use self::trace::{LeftOut, Variances};

/// Mean and standard deviation of the film coefficients before any pull: X less the engine's own compensation.
/// Warm port injection has X of 0.1 to 0.4 and tau of 0.2 to 0.6 s (Hendricks and Sorenson 1990, from memory), of
/// which controllers take off about half; such a tau is three parts of the quick film and one of the slow.
const FILM_PRIOR: [(f64, f64); FILM_STATES] = [(0.085, 0.06), (0.035, 0.04)];
/// Standard deviation of half the change of the quick film's coefficient from no load to full load.
const FILM_LOAD_SD: f64 = 0.06;

/// Mean and standard deviation of the cycles between the metering of a charge's fuel and the end of its air,
/// before any pull. Port injection ends a quarter to three quarters of a cycle before; common practice.
const LEAD_PRIOR: (f64, f64) = (0.4, 0.25);

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

impl Fit {
    /// Returns how far a table is off target: the dwell-weighted root mean square of what it still needs
    /// over visited nodes, percent of fuel; 0 where nothing was visited. `log_trim` is ln of its fuel over
    /// the base table's, in node order.
    pub fn off_target_percent(&self, log_trim: &[f64]) -> f64 {
        debug_assert_eq!(log_trim.len(), self.theta.len());
        let needs = self.theta.iter().zip(log_trim);
        solve::off_target_percent(needs.map(|(theta, trim)| theta - trim), &self.dwell_s)
    }
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
    /// What the kind tells does not fit the table, or is damaged.
    #[error("what earlier vehicles of the kind tell is damaged or of another table")]
    Kind,
}

pub(crate) fn check(
    axes: &Axes,
    pulls: &[&PullEvidence],
    settings: &FitSettings,
) -> Result<(), FitError> {
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
    crate::posterior::fit_whole(axes, pulls, settings).map(|(fit, _)| fit)
}

/// Returns the surface that one pull's evidence speaks for, with usual sizes of noise; zero where it
/// cannot be solved.
pub(crate) fn surface_of(axes: &Axes, evidence: &PullEvidence) -> Vec<f64> {
    let pulls = [evidence];
    let (order, episodes) = Order::cheapest(axes, &pulls);
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
    let mut all = vec![pull; pulls.len()];
    let sd = |evidence: &&PullEvidence| f64::from(evidence.delay_error).max(0.01);
    let own = |sd: f64| (0.0, 1.0 / (OWN_DELAY_SHARE * sd).powi(2));
    all.extend(pulls.iter().map(|evidence| own(sd(evidence))));
    let shared = pulls.iter().map(sd).fold(0.01, f64::max);
    all.push((0.0, 1.0 / (shared * shared)));
    all.extend(FILM_PRIOR.map(|(mean, sd)| (mean, 1.0 / (sd * sd))));
    all.push((0.0, 1.0 / (FILM_LOAD_SD * FILM_LOAD_SD)));
    all.push((LEAD_PRIOR.0, 1.0 / (LEAD_PRIOR.1 * LEAD_PRIOR.1)));
    all
}
