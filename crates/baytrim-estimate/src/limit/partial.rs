//! Whether part of a proposal may be taken without the rest.

use baytrim_model::axis::Axes;
use baytrim_model::limits::Limits;
use baytrim_model::table::BaseTable;

use super::rungs::{self, SLACK};
use super::{LimitError, check, neighbours};

/// Returns the table value at `share`, 0 to 1, of the way from `before` to `after`, on the table's resolution: at
/// that share, or short of it by less than one resolution, and never past either end.
pub fn part_of_change(table: &BaseTable, before: f64, after: f64, share: f64) -> f64 {
    rungs::short_of(table.resolution, before, after, share)
}

/// Returns a value as the table stores it; none where it lies between two that it can store.
pub fn stored_value(table: &BaseTable, value: f64) -> Option<f64> {
    rungs::stored(table.resolution, value)
}

/// Returns the neighbours that a table would leave further apart than the limit allows, and than
/// they are in the table in force: node numbers, the richer (against the base table) first.
///
/// A proposal as a whole leaves none. Taking some of its nodes only can, since a node may have been
/// let go far because its neighbour goes along; every other limit is a node's own and holds for any
/// part of the proposal.
///
/// # Errors
/// Names the first list that has the wrong length or a value without fuel.
pub fn pairs_too_far_apart(
    axes: &Axes,
    table: &BaseTable,
    limits: &Limits,
    head_values: &[f64],
    values: &[f64],
) -> Result<Vec<(usize, usize)>, LimitError> {
    check::settings(axes, table, limits)?;
    let count = axes.node_count();
    check::fuelled("head_values", table, head_values, count)?;
    check::fuelled("values", table, values, count)?;
    let factors = |values: &[f64]| -> Vec<f64> {
        let pairs = values.iter().zip(&table.values);
        pairs
            .map(|(&value, &base)| table.content.fuel(value) / table.content.fuel(base))
            .collect()
    };
    let after = factors(values);
    let links = neighbours::links(axes, limits, &factors(head_values));
    let apart = links.iter().enumerate().flat_map(|(upper, links)| {
        let after = &after;
        links.iter().filter_map(move |link| {
            let most = link.above.highest_over(after[link.other]);
            (after[upper] > most * (1.0 + SLACK)).then_some((upper, link.other))
        })
    });
    Ok(apart.collect())
}
