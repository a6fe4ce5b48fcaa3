//! Realised against predicted lambda, node by node.

use crate::fit::Fit;

use super::LoadedQuestion;

/// What a pull shows at a node against what the pulls before it predicted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RealisedNode {
    /// The node, in node order.
    pub node: usize,
    /// Lambda that the earlier pulls predict with the previous table.
    pub previous_lambda: f64,
    /// Lambda that the earlier pulls predict with the stated table.
    pub predicted_lambda: f64,
    /// Lambda that this pull alone shows.
    pub realised_lambda: f64,
    /// Standard error of ln(realised / predicted).
    pub error: f64,
}

/// Returns the nodes that both `old` and `new` were visited at.
pub(super) fn realised(
    old: &Fit,
    new: &Fit,
    question: &LoadedQuestion<'_>,
    offset_sd: f64,
) -> Vec<RealisedNode> {
    let stated = &question.log_trims[question.stated];
    let previous = &question.log_trims[question.previous];
    let visited = |&node: &usize| old.visits[node] > 0 && new.visits[node] > 0;
    (0..old.theta.len())
        .filter(visited)
        .map(|node| {
            let lambda = |shortfall: f64| question.target_lambda[node] * shortfall.exp();
            RealisedNode {
                node,
                previous_lambda: lambda(old.theta[node] - previous[node]),
                predicted_lambda: lambda(old.theta[node] - stated[node]),
                realised_lambda: lambda(new.theta[node] - stated[node]),
                error: old.standard_error[node]
                    .hypot(new.standard_error[node])
                    .hypot(offset_sd),
            }
        })
        .collect()
}
