//! Which of the known tables was loaded during a pull, and how far its change was realised.
//!
//! Let y be what a pull's readings say of the base table's need when the table t0 is taken to have been
//! loaded. Had another table t been loaded, they would say y + R (t - t0), with R the footprints and tables as
//! natural logarithms of fuel over the base table's. So every known table makes a prediction of the same
//! readings from the pulls before, with the same covariance, and the tables differ in
//!   Q(t) = min over theta and nuisances of the weighted squares of all pulls together,
//! which is minus twice the logarithm of their likelihood save for a constant. Q is divided by the square of
//! the factor by which held-out episodes scatter beyond the noise, and of [`SHARED_MISFIT`] (quasi-likelihood, Wedderburn 1974,
//! Biometrika 61), and Bayes' rule with [`PRIOR_STATED`] and [`PRIOR_PREVIOUS`] gives the probabilities.
//! Along t0 + b (t_previous - t0) Q is a parabola in b: its minimum is the share that was not realised.

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

/// How much further realised shares scatter than the noise explains: delay, film and the need between nodes
/// err in one direction for a whole pull. Measured on twenty simulated engines (`tests/loaded.rs`).
const SHARED_MISFIT: f64 = 2.0;
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
/// As [`crate::fit`].
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
    let before = Solved::new(axes, earlier, settings)?;
    if before.episodes.stays.is_empty() {
        return Ok(None);
    }
    let own = Solved::new(axes, &alone, settings)?;
    let offset_sd = if question.other_bay {
        (settings.sensor_percent / 100.0 * std::f64::consts::SQRT_2).hypot(before.noise.pull)
    } else {
        SAME_BAY_SD.hypot(before.noise.pull)
    };
    let joint = Joint::new(axes, earlier, &before, pull, &own, offset_sd);
    let dispersion = (SHARED_MISFIT * before.factor.max(own.factor)).powi(2);
    let square = |shift: &[f64]| {
        let square = joint.square(shift).ok_or(FitError::Singular)?;
        Ok::<f64, FitError>(square / dispersion)
    };
    let toward = |other: usize, share: f64| -> Vec<f64> {
        let pairs = trims[other].iter().zip(&trims[question.stated]);
        pairs
            .map(|(other, stated)| share * (other - stated))
            .collect()
    };
    let stated = square(&toward(question.stated, 0.0))?;
    let mut squares = vec![None; trims.len()];
    for (table, slot) in squares.iter_mut().enumerate() {
        if table == question.stated {
            *slot = Some(stated);
        } else if differs[table] {
            *slot = Some(square(&toward(table, 1.0))?);
        }
    }
    let realised_share = match squares[question.previous].filter(|_| differs[question.previous]) {
        Some(whole) => share(stated, square(&toward(question.previous, 0.5))?, whole),
        None => None,
    };
    let (old, new) = (
        before.fit(axes, earlier, settings),
        own.fit(axes, &alone, settings),
    );
    Ok(Some(LoadedAnswer {
        probability: probabilities(&squares, question),
        realised_share,
        nodes: node::realised(&old, &new, question, offset_sd),
    }))
}

fn distance(a: &[f64], b: &[f64]) -> f64 {
    let pairs = a.iter().zip(b);
    pairs.map(|(a, b)| (a - b).abs()).fold(0.0, f64::max)
}

/// Returns Bayes' rule over the tables that have a square.
fn probabilities(squares: &[Option<f64>], question: &LoadedQuestion<'_>) -> Vec<f64> {
    let least = squares
        .iter()
        .flatten()
        .fold(f64::INFINITY, |a, &b| a.min(b));
    let (stated, previous) = (question.stated, question.previous);
    let is_other = |table: usize| table != stated && table != previous;
    let tables = squares.iter().enumerate();
    let others = tables.filter(|(table, square)| is_other(*table) && square.is_some());
    let each_other = (1.0 - PRIOR_STATED - PRIOR_PREVIOUS) / (others.count().max(1) as f64);
    let weight = |(table, square): (usize, &Option<f64>)| {
        let prior = match table {
            table if table == stated => PRIOR_STATED,
            table if table == previous => PRIOR_PREVIOUS,
            _ => each_other,
        };
        square.map_or(0.0, |square| prior * (0.5 * (least - square)).exp())
    };
    let weights: Vec<f64> = squares.iter().enumerate().map(weight).collect();
    let total: f64 = weights.iter().sum();
    weights.iter().map(|weight| weight / total).collect()
}

/// Returns the minimum of the parabola through its values at 0, 1/2 and 1, as the share that was realised,
/// with its standard error.
fn share(none: f64, half: f64, whole: f64) -> Option<(f64, f64)> {
    let curvature = 2.0 * (none - 2.0 * half + whole);
    if curvature.is_nan() || curvature <= 1.0 / (SHARE_ERROR_MAX * SHARE_ERROR_MAX) {
        return None;
    }
    let slope = whole - none - curvature;
    Some((1.0 + slope / (2.0 * curvature), 1.0 / curvature.sqrt()))
}

#[cfg(test)]
mod tests {
    use super::{LoadedQuestion, probabilities, share};

    /// A wrong vertex would call a table that was loaded half loaded.
    #[test]
    fn the_share_is_the_vertex_of_the_parabola() {
        // Q(b) = 100 (b - 0.3)^2 + 7: 70 % realised, to within 1 / sqrt(100).
        let at = |b: f64| 100.0 * (b - 0.3) * (b - 0.3) + 7.0;
        let (found, error) = share(at(0.0), at(0.5), at(1.0)).expect("curved");
        assert!((found - 0.7).abs() < 1e-12 && (error - 0.1).abs() < 1e-12);
        assert_eq!(share(1.0, 1.0, 1.0), None);
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
