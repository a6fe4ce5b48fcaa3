//! A revision's page: the table's values, and how far they are from the table that came.

use baytrim_jobs::JobState;
use baytrim_model::revision::Revision;
use maud::{Markup, html};

use super::grid::{grid, plain_head};
use super::moment::moment;
use super::number::{decimals, fixed, signed};
use super::proposal::decide_form::Draft;
use super::proposal::node::unit;
use super::{address, compare, frame, job, revert, scale};

/// Returns the page.
pub(super) fn page(state: &JobState, revision: &Revision, draft: &Draft) -> Markup {
    let title = format!("Revision {} of {}", revision.id, state.spec.title);
    let way = [(state.spec.title.clone(), address::job(state.id()))];
    let body = html! {
        div.title {
            h1 { "Revision " (revision.id) @if revision.id == state.head().id { ", in force" } }
            p.quiet { "from " (job::origin(state, revision)) "; " (revision.created_by) ", " (moment(revision.created_at)) }
        }
        blockquote { (revision.reason) }
        section aria-label="The table" {
            (table(state, revision))
            @if revision.id.0 > 0 { div.legend { (scale::change_legend("less than r0", "more than r0")) } }
        }
        (revert::form(state, revision, draft))
        section aria-labelledby="more" {
            h2 #more { "Compare" }
            (compare::form(state, revision.id, state.head().id))
            p { "As a file: " code { "baytrim table export " (state.id()) " --revision " (revision.id) " --format csv --output " (state.id()) ".csv" } }
        }
    };
    frame::page(&title, &way, &body)
}

fn table(state: &JobState, revision: &Revision) -> Markup {
    let decimals = decimals(state.spec.table.resolution);
    let trim = state.log_trim(revision);
    let unit = unit(state.spec.table.content);
    if revision.id.0 == 0 {
        let caption = format!("Table values{}", in_unit(unit));
        let cell =
            |node: usize| html! { td.still-value { (fixed(revision.values[node], decimals)) } };
        return grid(&state.spec.axes, &caption, &plain_head, &cell);
    }
    let caption = format!(
        "Table values{}; below each its fuel change from r0, percent",
        in_unit(unit)
    );
    grid(&state.spec.axes, &caption, &plain_head, &|node| {
        let percent = trim[node].exp_m1() * 100.0;
        html! {
            td class=(scale::change(percent)) {
                (fixed(revision.values[node], decimals)) small { (signed(percent, 1)) }
            }
        }
    })
}

fn in_unit(unit: &str) -> String {
    match unit.trim() {
        "" => String::new(),
        unit => format!(" in {unit}"),
    }
}
