//! What is drawn of one plate band: curves at the breakpoints, readings of each pull.

use baytrim_estimate::{PullEvidence, lambda_points};
use baytrim_jobs::JobState;
use baytrim_jobs::state::{ProposalEntry, PullEntry};
use baytrim_model::axis::Axes;
use baytrim_model::proposal::NodeChange;

use crate::page::mark::is_unvisited;

/// The plate openings that belong to one breakpoint: half-way to its neighbours.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Band {
    /// Index of the breakpoint.
    pub(crate) plate: usize,
    /// Lowest plate opening, percent.
    pub(crate) low: f64,
    /// Highest.
    pub(crate) high: f64,
}

/// The curves at one speed of a band.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Stop {
    /// Engine speed.
    pub(crate) rpm: f64,
    /// Lambda wanted.
    pub(crate) target: f64,
    /// Leanest lambda permitted.
    pub(crate) leanest: f64,
    /// What the proposal says of it; none without a proposal, and where no pull has been.
    pub(crate) said: Option<Said>,
}

/// What a proposal says of a node.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Said {
    /// Lambda with the table that it was computed from.
    pub(crate) before: f64,
    /// Lambda with its change, where that was or may be taken; else as before.
    pub(crate) predicted: f64,
    /// 95 % interval of `predicted`, where the change is taken.
    pub(crate) interval: Option<[f64; 2]>,
}

/// A reading: a mean over about a fifth of a second.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Point {
    /// Engine speed at which its exhaust was made.
    pub(crate) rpm: f64,
    /// Lambda.
    pub(crate) lambda: f64,
    /// Seconds.
    pub(crate) length_s: f64,
}

/// What readings within half-way of a breakpoint come to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Near {
    /// Mean, weighted by time.
    pub(crate) mean: f64,
    /// Lowest.
    pub(crate) lowest: f64,
    /// Highest.
    pub(crate) highest: f64,
    /// Seconds.
    pub(crate) seconds: f64,
}

impl Band {
    /// Returns the band of a breakpoint of the plate axis.
    pub(crate) fn of(axes: &Axes, plate: usize) -> Self {
        let (low, high) = half_way(axes.plate_percent.breakpoints(), plate);
        Self { plate, low, high }
    }

    /// Returns the readings of a pull that belong to the band, by speed.
    pub(crate) fn points(
        self,
        state: &JobState,
        pull: &PullEntry,
        evidence: &PullEvidence,
    ) -> Vec<Point> {
        let Ok(revision) = state.revision(pull.record.revision) else {
            return Vec::new();
        };
        let (axes, trim) = (&state.spec.axes, state.log_trim(revision));
        let all = lambda_points(evidence, axes, &trim, &state.spec.target_lambda);
        let inside = all
            .into_iter()
            .filter(|point| (self.low..self.high).contains(&point.plate_percent));
        let mut points: Vec<Point> = inside
            .map(|point| Point {
                rpm: point.rpm,
                lambda: point.lambda,
                length_s: point.length_s,
            })
            .collect();
        points.sort_by(|one, other| one.rpm.total_cmp(&other.rpm));
        points
    }

    /// Returns the curves of the band, a stop for each breakpoint of speed.
    pub(crate) fn stops(self, state: &JobState, entry: Option<&ProposalEntry>) -> Vec<Stop> {
        let (axes, limits) = (&state.spec.axes, &state.spec.limits);
        let nodes = (0..axes.rpm.len()).map(|rpm| axes.node(rpm, self.plate));
        nodes
            .map(|node| {
                let (rpm, plate_percent) = axes.position(node);
                Stop {
                    rpm,
                    target: state.spec.target_lambda[node],
                    leanest: limits.leanest_lambda_at(rpm, plate_percent),
                    said: entry.and_then(|entry| said(state, entry, node)),
                }
            })
            .collect()
    }
}

fn said(state: &JobState, entry: &ProposalEntry, index: usize) -> Option<Said> {
    let node: &NodeChange = entry.proposal.nodes.get(index)?;
    if is_unvisited(node) {
        return None;
    }
    let left = Said {
        before: node.lambda_before,
        predicted: node.lambda_before,
        interval: None,
    };
    let Some(verdict) = &entry.verdict else {
        return Some(with_fuel(node, 1.0));
    };
    let Some((revision, nodes)) = &verdict.approved else {
        return Some(left);
    };
    if !nodes.contains(&index) {
        return Some(left);
    }
    // Less may have been taken than proposed: lambda follows the fuel that the node did get.
    let content = state.spec.table.content;
    let value = state.revision(*revision).ok()?.values[index];
    Some(with_fuel(
        node,
        content.fuel(value) / content.fuel(node.after),
    ))
}

/// Returns what is said of a node that gets `share` of the fuel that is proposed.
fn with_fuel(node: &NodeChange, share: f64) -> Said {
    Said {
        before: node.lambda_before,
        predicted: node.predicted_lambda / share,
        interval: Some(node.predicted_lambda_interval.map(|end| end / share)),
    }
}

/// Returns what the readings near each breakpoint of speed come to; none where there are none.
pub(crate) fn near(axes: &Axes, points: &[Point]) -> Vec<Option<Near>> {
    let speeds = axes.rpm.breakpoints();
    (0..speeds.len())
        .map(|index| {
            let (low, high) = half_way(speeds, index);
            let inside = points
                .iter()
                .filter(|point| (low..high).contains(&point.rpm));
            let start = (f64::INFINITY, f64::NEG_INFINITY, 0.0, 0.0);
            let (lowest, highest, sum, seconds) =
                inside.fold(start, |(lowest, highest, sum, seconds), point| {
                    (
                        point.lambda.min(lowest),
                        point.lambda.max(highest),
                        sum + point.lambda * point.length_s,
                        seconds + point.length_s,
                    )
                });
            (seconds > 0.0).then(|| Near {
                mean: sum / seconds,
                lowest,
                highest,
                seconds,
            })
        })
        .collect()
}

/// Returns what lies nearer to a breakpoint than to its neighbours; the outer ones reach on without end.
pub(crate) fn half_way(breakpoints: &[f64], index: usize) -> (f64, f64) {
    let here = breakpoints[index];
    let low = index.checked_sub(1).map(|before| breakpoints[before]);
    let high = breakpoints.get(index + 1);
    (
        low.map_or(f64::NEG_INFINITY, |low| f64::midpoint(low, here)),
        high.map_or(f64::INFINITY, |high| f64::midpoint(here, *high)),
    )
}

/// Returns at most two readings for each of `bins` equal steps of speed, its lowest and its highest lambda, so
/// that nothing that stands out is lost.
pub(crate) fn extremes(points: &[Point], bins: usize) -> Vec<Point> {
    let (Some(first), Some(last)) = (points.first(), points.last()) else {
        return Vec::new();
    };
    let width = (last.rpm - first.rpm).max(1e-9) / bins as f64;
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "points are sorted by speed, so the quotient is 0 to the number of bins"
    )]
    let bin = |point: &Point| ((point.rpm - first.rpm) / width) as usize;
    let mut kept = Vec::new();
    for group in points.chunk_by(|one, other| bin(one) == bin(other)) {
        let order = |one: &&Point, other: &&Point| one.lambda.total_cmp(&other.lambda);
        let (lowest, highest) = (group.iter().min_by(order), group.iter().max_by(order));
        kept.extend(lowest.copied());
        kept.extend(highest.copied().filter(|point| Some(point) != lowest));
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::{Point, extremes, half_way};

    fn point(rpm: f64, lambda: f64) -> Point {
        Point {
            rpm,
            lambda,
            length_s: 0.2,
        }
    }

    /// If this fails, a chart of many readings hides the one that matters.
    #[test]
    fn thinning_keeps_what_stands_out() {
        let mut points: Vec<Point> = (0..10_000)
            .map(|index| point(1000.0 + f64::from(index), 0.9))
            .collect();
        points[5432].lambda = 1.2;
        points[5433].lambda = 0.7;
        let kept = extremes(&points, 100);
        assert!(kept.len() <= 202, "{}", kept.len());
        assert!(kept.iter().any(|point| point.lambda > 1.19));
        assert!(kept.iter().any(|point| point.lambda < 0.71));
        assert_eq!(extremes(&points[..2], 100), points[..2]);
        assert!(extremes(&[], 100).is_empty());
    }

    /// If this fails, a reading belongs to two bands, or to none.
    #[test]
    fn bands_meet_half_way() {
        let plates = [0.0, 10.0, 30.0];
        assert_eq!(half_way(&plates, 0), (f64::NEG_INFINITY, 5.0));
        assert_eq!(half_way(&plates, 1), (5.0, 20.0));
        assert_eq!(half_way(&plates, 2), (20.0, f64::INFINITY));
    }
}
