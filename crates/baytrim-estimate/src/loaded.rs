//! Which of the known tables was loaded during a pull, and how far its change was realised.
//!
//! Let y be what a pull's readings say of the base table's need when the table t0 is taken to have been
//! loaded. Had another table t been loaded, they would say y + R (t - t0), with R the footprints and tables as
//! natural logarithms of fuel over the base table's. So every known table makes a prediction of the same
//! readings from the pulls before, with the same covariance, and the tables differ in
//!   Q(t) = min over theta and nuisances of the weighted squares of all pulls together,
//! which is minus twice the logarithm of their likelihood save for a constant. Q is divided by the square of
//! the factor by which held-out episodes scatter beyond the noise (quasi-likelihood, Wedderburn 1974,
//! Biometrika 61). Along t0 + b (t - t0) it is a parabola in b: for the previous table, its minimum is the share
//! of the change that was not realised. A pull shows such a share to `SHARE_SD` at best, which is marginalised:
//! with a the curvature between t and the likeliest table t*, Q(t) - Q(t*) is divided by 1 + a `SHARE_SD`^2.
//! Bayes' rule with [`PRIOR_STATED`] and [`PRIOR_PREVIOUS`] gives the probabilities.

mod node;

use baytrim_model::axis::Axes;

use crate::evidence::PullEvidence;
use crate::fit::joint::Joint;
use crate::fit::{FitError, FitSettings, Solved};

pub use node::RealisedNode;

/// Chance, before any reading is looked at, that what was stated is what was loaded. Common sense: most
/// tables are loaded, and some are forgotten.
pub const PRIOR_STATED: f64 = 0.90;
/// The same for the revision before it, when it is known; all other tables share what is left.
pub const PRIOR_PREVIOUS: f64 = 0.07;

/// What a pull is asked.
#[derive(Debug, Clone, Copy)]
pub struct LoadedQuestion<'a> {
    /// Known tables as natural logarithms of fuel over the base table's, each in node order.
    pub log_trims: &'a [Vec<f64>],
    /// Place in the list of the table that the pull was read with.
    pub stated: usize,
    /// Place in the list of the table that was in force before it.
    pub previous: usize,
    /// Lambda wanted at each node, in node order.
    pub target_lambda: &'a [f64],
    /// Whether the pull comes from a bay that none of the earlier pulls comes from.
    pub other_bay: bool,
}

/// What a pull answers.
#[derive(Debug, Clone, PartialEq)]
pub struct LoadedAnswer {
    /// Probability of each known table, in the order of the question; they add up to one. A table like the
    /// stated one counts as the stated one and has none of its own.
    pub probability: Vec<f64>,
    /// Share of the change from the previous to the stated table that lambda shows, with its standard error:
    /// 1 as predicted, 0 not moved. None where the two hardly differ at the pull's places.
    pub realised_share: Option<(f64, f64)>,
    /// Nodes that both this pull and earlier ones visited.
    pub nodes: Vec<RealisedNode>,
}

/// Standard deviation of the share of a change that one pull shows, over what noise explains: delay, film and
/// the need between nodes err in one direction for a whole pull. Measured on twenty simulated engines
/// (`tests/loaded.rs`).
const SHARE_SD: f64 = 0.08;
/// Largest difference of two tables that are called the same, ln units.
const SAME_TABLE: f64 = 1e-6;
/// A share with a larger standard error says nothing.
const SHARE_ERROR_MAX: f64 = 0.5;
/// Standard deviation of what changes from one pull to the next in one bay (air, oil, fuel), ln units.
const SAME_BAY_SD: f64 = 0.005;

/// Asks a pull which of the known tables was loaded, given the pulls before it.
///
/// Returns none when there is nothing to ask: no earlier pull with a reading, no reading in the pull, or no
/// second table.
///
/// # Errors
/// As [`crate::fit()`].
pub fn which_loaded(
    axes: &Axes,
    earlier: &[&PullEvidence],
    pull: &PullEvidence,
    question: &LoadedQuestion<'_>,
    settings: &FitSettings,
) -> Result<Option<LoadedAnswer>, FitError> {
    let trims = question.log_trims;
    let fits = trims.iter().all(|trim| trim.len() == axes.node_count());
    if !fits || question.stated >= trims.len() || question.previous >= trims.len() {
        return Ok(None);
    }
    let alone = [pull];
    crate::fit::check(axes, earlier, settings)?;
    crate::fit::check(axes, &alone, settings)?;
    let differs: Vec<bool> = trims
        .iter()
        .map(|trim| distance(trim, &trims[question.stated]) > SAME_TABLE)
        .collect();
    if !differs.contains(&true) || pull.block_count() == 0 {
        return Ok(None);
    }
    let before = Solved::new(axes, earlier, settings, None)?;
    if before.episodes.stays.is_empty() {
        return Ok(None);
    }
    let own = Solved::new(axes, &alone, settings, None)?;
    let offset_sd = if question.other_bay {
        (settings.sensor_percent / 100.0 * std::f64::consts::SQRT_2).hypot(before.noise.pull)
    } else {
        SAME_BAY_SD.hypot(before.noise.pull)
    };
    let joint = Joint::new(axes, earlier, &before, pull, &own, offset_sd);
    let dispersion = before.factor.max(own.factor).powi(2);
    let square = |shift: &[f64]| {
        let square = joint.square(shift).ok_or(FitError::Singular)?;
        Ok::<f64, FitError>(square / dispersion)
    };
    // Q half-way between two tables; of one table with itself, that table's.
    let between = |left: usize, right: usize| {
        let tables = trims[left].iter().zip(&trims[right]);
        let tables = tables.zip(&trims[question.stated]);
        let shift: Vec<f64> = tables
            .map(|((left, right), stated)| 0.5 * (left + right) - stated)
            .collect();
        square(&shift)
    };
    let mut squares = vec![f64::INFINITY; trims.len()];
    for table in (0..trims.len()).filter(|&table| table == question.stated || differs[table]) {
        squares[table] = between(table, table)?;
    }
    let road = |from: usize, to: usize| {
        Ok::<Road, FitError>(Road::through(
            squares[from],
            between(from, to)?,
            squares[to],
        ))
    };
    let ranked = |a: &usize, b: &usize| squares[*a].total_cmp(&squares[*b]);
    let best = (0..trims.len()).min_by(ranked).unwrap_or(question.stated);
    let mut costs = vec![None; trims.len()];
    for table in (0..trims.len()).filter(|&table| squares[table].is_finite()) {
        costs[table] = Some(road(best, table)?.cost());
    }
    let realised_share = if differs[question.previous] {
        road(question.stated, question.previous)?.realised()
    } else {
        None
    };
    let (old, new) = (
        before.fit(axes, earlier, settings),
        own.fit(axes, &alone, settings),
    );
    Ok(Some(LoadedAnswer {
        probability: probabilities(&costs, question),
        realised_share,
        nodes: node::realised(&old, &new, question, offset_sd),
    }))
}

fn distance(a: &[f64], b: &[f64]) -> f64 {
    let pairs = a.iter().zip(b);
    pairs.map(|(a, b)| (a - b).abs()).fold(0.0, f64::max)
}

/// Q along the straight road from one table, at 0, to another one, at 1.
#[derive(Debug, Clone, Copy)]
struct Road {
    /// Q(1) - Q(0).
    rise: f64,
    /// Half the second derivative: Q(b) = curvature (b - vertex)^2 + constant.
    curvature: f64,
}

impl Road {
    fn through(none: f64, half: f64, whole: f64) -> Self {
        Self {
            rise: whole - none,
            curvature: (2.0 * (none - 2.0 * half + whole)).max(0.0),
        }
    }

    /// Returns by how much the table at the end is worse than that at the start, marginalised over the share.
    fn cost(self) -> f64 {
        self.rise / (1.0 + self.curvature * SHARE_SD * SHARE_SD)
    }

    /// Returns the share of the change from the table at the end that was realised, with its standard error.
    fn realised(self) -> Option<(f64, f64)> {
        if self.curvature.is_nan() || self.curvature <= 1.0 / (SHARE_ERROR_MAX * SHARE_ERROR_MAX) {
            return None;
        }
        let vertex = 0.5 - self.rise / (2.0 * self.curvature);
        let error = (1.0 / self.curvature + SHARE_SD * SHARE_SD).sqrt();
        Some((1.0 - vertex, error))
    }
}

/// Returns Bayes' rule over the tables that have a cost.
fn probabilities(costs: &[Option<f64>], question: &LoadedQuestion<'_>) -> Vec<f64> {
    let least = costs.iter().flatten().fold(f64::INFINITY, |a, &b| a.min(b));
    let (stated, previous) = (question.stated, question.previous);
    let is_other = |table: usize| table != stated && table != previous;
    let tables = costs.iter().enumerate();
    let others = tables.filter(|(table, cost)| is_other(*table) && cost.is_some());
    let each_other = (1.0 - PRIOR_STATED - PRIOR_PREVIOUS) / (others.count().max(1) as f64);
    let weight = |(table, cost): (usize, &Option<f64>)| {
        let prior = match table {
            table if table == stated => PRIOR_STATED,
            table if table == previous => PRIOR_PREVIOUS,
            _ => each_other,
        };
        cost.map_or(0.0, |cost| prior * (0.5 * (least - cost)).exp())
    };
    let weights: Vec<f64> = costs.iter().enumerate().map(weight).collect();
    let total: f64 = weights.iter().sum();
    weights.iter().map(|weight| weight / total).collect()
}

#[cfg(test)]
mod tests {
    use super::{LoadedQuestion, Road, probabilities};

    /// A wrong vertex would call a table that was loaded half loaded.
    #[test]
    fn the_share_is_the_vertex_of_the_parabola() {
        // Q(b) = 100 (b - 0.3)^2 + 7: 70 % realised, to within 1 / sqrt(100) and what no noise explains.
        let at = |b: f64| 100.0 * (b - 0.3) * (b - 0.3) + 7.0;
        let road = Road::through(at(0.0), at(0.5), at(1.0));
        let (found, error) = road.realised().expect("curved");
        assert!((found - 0.7).abs() < 1e-12 && (error - 0.1_f64.hypot(0.08)).abs() < 1e-12);
        // Q(1) - Q(0) = 49 - 9, over 1 + 100 x 0.08^2.
        assert!((road.cost() - 40.0 / 1.64).abs() < 1e-9);
        assert_eq!(Road::through(1.0, 1.0, 1.0).realised(), None);
    }

    /// Without evidence the stated prior must stand, and tables like the stated one must get none of it.
    #[test]
    fn equal_squares_leave_the_prior() {
        let question = LoadedQuestion {
            log_trims: &[],
            stated: 2,
            previous: 1,
            target_lambda: &[],
            other_bay: false,
        };
        let even = probabilities(&[Some(5.0), Some(5.0), Some(5.0), None], &question);
        for (found, wanted) in even.iter().zip([0.03, 0.07, 0.90, 0.0]) {
            assert!((found - wanted).abs() < 1e-12, "{even:?}");
        }
        // A difference of 2 ln(90/7) in squares makes stated and previous equally likely.
        let tied = probabilities(
            &[None, Some(0.0), Some(2.0 * (90.0_f64 / 7.0).ln())],
            &question,
        );
        assert!((tied[1] - 0.5).abs() < 1e-12, "{tied:?}");
    }
}
