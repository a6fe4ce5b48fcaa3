//! How well pulls of one stage repeat each other.
//!
//! Pulls by nodes is a two-way table: a pull as a whole reads off by its own offset, and each of its nodes by
//! something of its own. Mean squares of both, pooled over stages by their degrees of freedom, give the two variances;
//! the interval of a difference takes Satterthwaite's degrees of freedom (Biometrics Bulletin 2 (1946) 110).

use baytrim_power::student::quantile;

/// How well pulls of one stage repeat each other.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Repeatability {
    /// Standard deviation of a pull as a whole, percent of lambda.
    pub pull_percent: f64,
    /// Standard deviation of a node within a pull, percent of lambda.
    pub node_percent: f64,
    /// Pulls that repeat others: one less than pulls of each stage.
    pub repeat_count: u32,
    /// Degrees of freedom of the nodes.
    node_freedom: f64,
}

/// Sums of squares of one stage.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
struct Squares {
    pull: f64,
    pull_freedom: f64,
    node: f64,
    node_freedom: f64,
    /// Nodes that a pull's offset is the mean of, weighted by degrees of freedom.
    nodes: f64,
}

/// Returns how well pulls repeat each other; for each stage, what each pull says of each node, ln units, none where it
/// did not measure it. None where no two pulls of a stage measured the same two nodes.
pub(super) fn repeatability(stages: &[Vec<Vec<Option<f64>>>]) -> Option<Repeatability> {
    let squares = stages.iter().filter_map(|pulls| squares(pulls));
    let all = squares.fold(Squares::default(), |sum, next| Squares {
        pull: sum.pull + next.pull,
        pull_freedom: sum.pull_freedom + next.pull_freedom,
        node: sum.node + next.node,
        node_freedom: sum.node_freedom + next.node_freedom,
        nodes: sum.nodes + next.nodes * next.pull_freedom,
    });
    if all.pull_freedom <= 0.0 || all.node_freedom <= 0.0 {
        return None;
    }
    let node = all.node / all.node_freedom;
    let nodes = all.nodes / all.pull_freedom;
    let pull = (all.pull / all.pull_freedom - node / nodes).max(0.0);
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a count of pulls"
    )]
    let repeat_count = all.pull_freedom as u32;
    Some(Repeatability {
        pull_percent: 100.0 * pull.sqrt(),
        node_percent: 100.0 * node.sqrt(),
        repeat_count,
        node_freedom: all.node_freedom,
    })
}

/// Returns the sums of squares over the nodes that all pulls of a stage measured.
fn squares(pulls: &[Vec<Option<f64>>]) -> Option<Squares> {
    let node_count = pulls.first()?.len();
    let shared: Vec<Vec<f64>> = (0..node_count)
        .filter_map(|node| pulls.iter().map(|pull| pull[node]).collect())
        .collect();
    let (count, nodes) = (pulls.len() as f64, shared.len() as f64);
    if pulls.len() < 2 || shared.len() < 2 {
        return None;
    }
    let away: Vec<Vec<f64>> = shared
        .iter()
        .map(|row| {
            let mean = row.iter().sum::<f64>() / count;
            row.iter().map(|value| value - mean).collect()
        })
        .collect();
    let offsets: Vec<f64> = (0..pulls.len())
        .map(|pull| away.iter().map(|row| row[pull]).sum::<f64>() / nodes)
        .collect();
    let rest = away.iter().flat_map(|row| row.iter().zip(&offsets));
    Some(Squares {
        pull: offsets.iter().map(|offset| offset * offset).sum(),
        pull_freedom: count - 1.0,
        node: rest.map(|(away, offset)| (away - offset).powi(2)).sum(),
        node_freedom: (count - 1.0) * (nodes - 1.0),
        nodes,
    })
}

impl Repeatability {
    /// Returns half the 95 % interval of the difference of two means of so many pulls each at one node, ln units.
    pub(super) fn half_width(&self, pulls: [usize; 2]) -> f64 {
        let means: f64 = pulls.iter().map(|&count| 1.0 / count.max(1) as f64).sum();
        let pull = (self.pull_percent / 100.0).powi(2) * means;
        let node = (self.node_percent / 100.0).powi(2) * means;
        let variance = pull + node;
        if variance <= 0.0 {
            return 0.0;
        }
        let freedom = variance.powi(2)
            / (pull.powi(2) / f64::from(self.repeat_count) + node.powi(2) / self.node_freedom);
        quantile(0.975, freedom) * variance.sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::repeatability;

    /// If this fails, a difference inside the noise of the pulls is called one that matters. Two-way analysis of
    /// variance of the same numbers by `statsmodels` 0.15.0 (`anova_lm`), by `tests/oracles/repeat.py`.
    #[test]
    fn variances_are_those_of_the_reference() {
        let pulls = [
            vec![0.012, 0.031, -0.004, 0.052, 0.018],
            vec![0.019, 0.036, 0.006, 0.055, 0.027],
            vec![0.008, 0.024, -0.007, 0.049, 0.011],
        ];
        let told = pulls.map(|pull| pull.into_iter().map(Some).collect());
        let found = repeatability(&[told.to_vec()]).expect("pulls were repeated");
        assert_eq!(found.repeat_count, 2);
        assert!(
            (found.node_percent - NODE_PERCENT).abs() < 1e-9,
            "{found:?}"
        );
        assert!(
            (found.pull_percent - PULL_PERCENT).abs() < 1e-9,
            "{found:?}"
        );
    }

    const NODE_PERCENT: f64 = 0.206_962_154_350_338_55;
    const PULL_PERCENT: f64 = 0.575_470_821_733_531_9;

    /// If this fails, one pull passes for a repeated one.
    #[test]
    fn one_pull_repeats_nothing() {
        let one = vec![vec![Some(0.01), Some(0.02)]];
        assert_eq!(repeatability(&[one.clone(), one]), None);
        let elsewhere = vec![vec![Some(0.01), None], vec![None, Some(0.02)]];
        assert_eq!(repeatability(&[elsewhere]), None);
    }
}
