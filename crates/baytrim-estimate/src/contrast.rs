//! Two questions about what a fit leaves over, each the coefficient of a pattern over the readings with its interval.
//!
//! - **Film meter**: the same place reached with the throttle opening and with it closing must read the same. Pattern:
//!   one half where the film regressor says that fuel is being stored, minus one half where it is being given back,
//!   within a band of speeds. What the film model explains is taken out already: the coefficient is what is left.
//! - **Bays**: one on the readings of a bay's pulls. Offsets, surface and film are marginalised, so the coefficient is
//!   how much leaner that bay reads than the others at the same places. With one bay there is nothing to compare.

use baytrim_model::axis::Axes;

use crate::evidence::PullEvidence;
use crate::fit::{FitSettings, Score, Solved};
use crate::posterior::Posterior;

/// Bands of speed of the film meter.
const BANDS: usize = 3;
/// Film regressor from which a reading is one of a tip-in or tip-out: a share of the fuel flow.
const TIP: f64 = 0.03;
/// Seconds of either that a band needs.
const TIP_S_MIN: f64 = 1.0;

/// How far readings with the throttle opening and closing disagree within a band of speeds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TipDifference {
    /// Lowest speed of the band.
    pub from_rpm: f64,
    /// Highest speed.
    pub to_rpm: f64,
    /// How much leaner tip-in reads than tip-out, ln units.
    pub difference: f64,
    /// Its standard error, ln units.
    pub standard_error: f64,
    /// Seconds of tip-in.
    pub tip_in_s: f64,
    /// Seconds of tip-out.
    pub tip_out_s: f64,
}

/// How much leaner some pulls read than the others at the same places.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PullContrast {
    /// The difference, ln units: above 0 they read leaner.
    pub difference: f64,
    /// Its standard error, ln units.
    pub standard_error: f64,
}

/// Returns the film meter of a fit: an entry for every band where both tip-in and tip-out were read.
pub fn film_meter(axes: &Axes, posterior: &Posterior) -> Vec<TipDifference> {
    let solved = posterior.solved();
    let (low, high) = (axes.rpm.first(), axes.rpm.last());
    let edge = |band: usize| low + (high - low) * band as f64 / BANDS as f64;
    let mut patterns = vec![vec![0.0; solved.episodes.observations.len()]; BANDS];
    let mut seconds = [(0.0, 0.0); BANDS];
    let rpm = solved.by_position(&nodes_rpm(axes));
    for stay in &solved.episodes.stays {
        let range = stay.start..stay.end;
        for (index, observation) in range.clone().zip(&solved.episodes.observations[range]) {
            let entries = solved.episodes.footprint[observation.start..observation.end].iter();
            let speed: f64 = entries
                .map(|&(place, share)| share * rpm[stay.places[place]])
                .sum();
            let share = ((speed - low) / (high - low)).clamp(0.0, 1.0 - 1e-9);
            let band = (0..BANDS)
                .rfind(|&band| share >= band as f64 / BANDS as f64)
                .unwrap_or(0);
            let length_s = observation.blocks * crate::fit::STEP_S;
            let film = observation.film[0];
            if film > TIP {
                patterns[band][index] = 0.5;
                seconds[band].0 += length_s;
            } else if film < -TIP {
                patterns[band][index] = -0.5;
                seconds[band].1 += length_s;
            }
        }
    }
    let Some(scores) = solved.scores(&patterns) else {
        return Vec::new();
    };
    let bands = scores.iter().zip(seconds).enumerate();
    let bands = bands.filter_map(|(band, (&score, (tip_in_s, tip_out_s)))| {
        let found = estimate(solved, score)?;
        (tip_in_s.min(tip_out_s) >= TIP_S_MIN).then_some(TipDifference {
            from_rpm: edge(band),
            to_rpm: edge(band + 1),
            difference: found.difference,
            standard_error: found.standard_error,
            tip_in_s,
            tip_out_s,
        })
    });
    bands.collect()
}

fn nodes_rpm(axes: &Axes) -> Vec<f64> {
    (0..axes.node_count())
        .map(|node| axes.position(node).0)
        .collect()
}

/// Returns how much leaner the pulls of `group`, one entry per pull in the order in which they were fitted, read than
/// the others; none where all or no pulls are in it, or they never met.
///
/// How much pulls scatter is taken from within the two groups: what sets the groups apart is what is asked for.
pub fn pull_contrast(
    pulls: &[&PullEvidence],
    posterior: &Posterior,
    group: &[bool],
) -> Option<PullContrast> {
    let solved = posterior.solved();
    let count = solved.ranks.len();
    let is_split = group.iter().any(|own| *own != group[0]);
    if group.len() != count || pulls.len() != count || !is_split {
        return None;
    }
    let solved = &solved.with_pull_sd(pulls, within_sd(solved, group))?;
    let mut pattern = vec![0.0; solved.episodes.observations.len()];
    for stay in &solved.episodes.stays {
        if group[solved.ranks[stay.pull]] {
            pattern[stay.start..stay.end].fill(1.0);
        }
    }
    let scores = solved.scores(&[pattern])?;
    estimate(solved, *scores.first()?)
}

/// Returns the standard deviation of pull offsets within the two groups, with the usual one as four pulls more.
fn within_sd(solved: &Solved, group: &[bool]) -> f64 {
    let offset = |place: usize| solved.solution.border[place];
    let of = |side: bool| {
        let ranks = solved.ranks.iter().enumerate();
        let own = ranks.filter(move |(_, rank)| group[**rank] == side);
        own.map(|(place, _)| offset(place)).collect::<Vec<f64>>()
    };
    let squares: f64 = [of(true), of(false)]
        .iter()
        .map(|own| {
            let mean = own.iter().sum::<f64>() / own.len().max(1) as f64;
            own.iter().map(|value| (value - mean).powi(2)).sum::<f64>()
        })
        .sum();
    let usual = FitSettings::default().pull_percent / 100.0;
    let freedom = USUAL_PULLS + group.len() as f64 - 2.0;
    ((USUAL_PULLS * usual * usual + squares) / freedom).sqrt()
}

/// Weight of the usual scatter of pulls, in pulls.
const USUAL_PULLS: f64 = 4.0;

/// Largest standard error that is an answer, ln units: beyond it the readings cannot tell.
const ERROR_MAX: f64 = 0.05;

fn estimate(solved: &Solved, score: Score) -> Option<PullContrast> {
    let variance = (score.precision > 0.0).then(|| 1.0 / score.precision)?;
    let standard_error = solved.factor * variance.sqrt();
    (standard_error < ERROR_MAX).then_some(PullContrast {
        difference: score.product * variance,
        standard_error,
    })
}
