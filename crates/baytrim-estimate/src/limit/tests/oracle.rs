//! The nearest permitted table, found the slow ways.

use proptest::prelude::*;

use super::cases::{Case, sized_case, small_case};
use super::rules::{
    TOLERANCE, may_move, own_violation, pair_violation, pairs, shortfall, too_far_apart, values,
};

/// Returns all values that a node may take by its own limits, from its present one to the nearest
/// to its wish.
fn own_choices(case: &Case, node: usize) -> Vec<f64> {
    let (resolution, head) = (case.table.resolution, case.head[node]);
    let middle = (head / resolution).round();
    let mut choices: Vec<f64> = (-400..=400)
        .map(|offset| (middle + f64::from(offset)) * resolution)
        .filter(|value| {
            case.table.content.fuel(*value) > 0.0
                && (value - head).abs() > 1e-3 * resolution
                && own_violation(case, node, *value, TOLERANCE).is_none()
        })
        .collect();
    choices.push(head);
    choices.sort_by(|a, b| (a - head).abs().total_cmp(&(b - head).abs()));
    let mut nearest = 0;
    for index in 1..choices.len() {
        let gain = shortfall(case, node, choices[nearest]) - shortfall(case, node, choices[index]);
        if gain > 1e-9 {
            nearest = index;
        }
    }
    choices.truncate(nearest + 1);
    choices
}

/// Calls `visit` with every table that takes one of `choices` at each node.
fn every_table(choices: &[Vec<f64>], visit: &mut impl FnMut(&[f64])) {
    let mut at = vec![0; choices.len()];
    loop {
        let table: Vec<f64> = at
            .iter()
            .zip(choices)
            .map(|(&index, list)| list[index])
            .collect();
        visit(&table);
        let Some(node) = (0..at.len()).find(|&node| at[node] + 1 < choices[node].len()) else {
            return;
        };
        at[..node].fill(0);
        at[node] += 1;
    }
}

/// Returns the smallest shortfall that any permitted table has at each node, where nodes of
/// `course` choose freely and all others stay as `rest` has them.
fn best_shortfalls(case: &Case, course: i8, rest: &[f64]) -> Vec<f64> {
    let choices: Vec<Vec<f64>> = (0..case.node_count())
        .map(|node| {
            if may_move(case, node) == course {
                own_choices(case, node)
            } else {
                vec![rest[node]]
            }
        })
        .collect();
    let mut best = vec![f64::INFINITY; case.node_count()];
    every_table(&choices, &mut |table| {
        if pair_violation(case, table).is_none() {
            for (node, best) in best.iter_mut().enumerate() {
                *best = best.min(shortfall(case, node, table[node]));
            }
        }
    });
    best
}

/// Returns the nearest table by taking one step at a time back from any node that is too far from
/// a neighbour, in node order: no bounds carried from node to node, no queue.
fn by_single_steps(case: &Case, course: i8, rest: &[f64]) -> Vec<f64> {
    let mut ladders: Vec<Vec<f64>> = rest.iter().map(|&value| vec![value]).collect();
    for (node, ladder) in ladders.iter_mut().enumerate() {
        if may_move(case, node) == course {
            *ladder = own_choices(case, node);
        }
    }
    let mut table: Vec<f64> = ladders
        .iter()
        .filter_map(|list| list.last().copied())
        .collect();
    let broken =
        |table: &[f64]| pairs(case).find(|&pair| too_far_apart(case, table, pair, TOLERANCE));
    while let Some((upper, lower)) = broken(&table) {
        let node = if course > 0 { upper } else { lower };
        ladders[node].pop();
        table[node] = ladders[node][ladders[node].len() - 1];
    }
    table
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 150, failure_persistence: None, ..ProptestConfig::default() })]

    /// A table short of the best permitted one costs the shop pulls; here all tables are tried.
    #[test]
    fn no_permitted_table_is_nearer_at_any_node(case in small_case()) {
        let proposed = values(&case.propose());
        let enriched: Vec<f64> = (0..case.node_count())
            .map(|node| if may_move(&case, node) > 0 { proposed[node] } else { case.head[node] })
            .collect();
        for (course, rest) in [(1, &case.head), (-1, &enriched)] {
            let best = best_shortfalls(&case, course, rest);
            for node in (0..best.len()).filter(|&node| may_move(&case, node) == course) {
                let found = shortfall(&case, node, proposed[node]);
                prop_assert!(found <= best[node] + 1e-9, "node {node}: {found}, {}", best[node]);
            }
        }
    }

    /// The quick way must end where the slow one does, on tables too large to try all of them.
    #[test]
    fn quick_and_slow_ways_agree(case in sized_case(7, &[64.0, 25.0, 8.0])) {
        let proposed = values(&case.propose());
        let enriched = by_single_steps(&case, 1, &case.head);
        let expected = by_single_steps(&case, -1, &enriched);
        for node in 0..expected.len() {
            let same = (proposed[node] - expected[node]).abs() < 1e-6 * case.table.resolution;
            prop_assert!(same, "node {node}: {}, {}", proposed[node], expected[node]);
        }
    }
}
