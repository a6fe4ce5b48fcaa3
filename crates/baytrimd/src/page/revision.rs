//! A revision's page: the table's values, and how far they are from the table that came.

use baytrim_jobs::JobState;
use baytrim_model::revision::Revision;
use maud::{Markup, html};

use super::grid::{grid, plain_head};
use super::moment::moment;
use super::number::{breakpoint, decimals, fixed, signed};
use super::proposal::decide_form::Draft;
use super::proposal::node::unit;
use super::{address, compare, frame, grip, job, revert, scale};

/// Returns the page.
pub(super) fn page(state: &JobState, revision: &Revision, draft: &Draft) -> Markup {
    let title = format!("Revision {} of {}", revision.id, state.spec.title);
    let way = [(state.spec.title.clone(), address::job(state.id()))];
    let head = state.head_of(&revision.table);
    let head = head.map_or(revision.id, |head| head.id);
    let body = html! {
        div.title {
            h1 { "Revision " (revision.id) @if let Some(mode) = revision.table.mode() { " of the grip table, riding mode " (mode) } @if state.is_in_force(revision) { ", in force" } }
            p.quiet { "from " (job::origin(state, revision)) "; " (revision.created_by) ", " (moment(revision.created_at)) }
        }
        blockquote { (revision.reason) }
        section aria-label="The table" {
            @if revision.table.is_fuel() { (table(state, revision)) } @else { (grip_table(state, revision)) }
            @if revision.table.is_fuel() && revision.id.0 > 0 { div.legend { (scale::change_legend("less than r0", "more than r0")) } }
        }
        (revert::form(state, revision, draft))
        section aria-labelledby="more" {
            h2 #more { "Compare" }
            (compare::form(state, revision, head))
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

/// Returns a grip table: plate by grip and engine speed, in numbers and as a picture.
pub(super) fn grip_table(state: &JobState, revision: &Revision) -> Markup {
    let spec = revision
        .table
        .mode()
        .and_then(|mode| state.spec.grip.get(mode));
    let Some(spec) = spec else {
        return html! {};
    };
    let decimals = decimals(spec.resolution);
    let columns = spec.grip_percent.len();
    let rows = revision.values.chunks(columns);
    html! {
        figure { (grip::plot::curve(&[], &grip::lines(state, revision), &[])) }
        div.scroll.wide role="region" tabindex="0" aria-label="Plate by grip and engine speed" {
            table.list.compact {
                caption { "Plate, percent, by grip and engine speed" }
                thead { tr {
                    th.n scope="col" { "grip % \\ rpm" }
                    @if spec.rpm.is_empty() { th.n scope="col" { "all" } }
                    @for &rpm in &spec.rpm { th.n scope="col" { (breakpoint(rpm)) } }
                } }
                tbody {
                    @for (column, &grip) in spec.grip_percent.iter().enumerate() {
                        tr {
                            th.n scope="row" { (breakpoint(grip)) }
                            @for row in rows.clone() { td.n { (fixed(row[column], decimals)) } }
                        }
                    }
                }
            }
        }
    }
}

fn in_unit(unit: &str) -> String {
    match unit.trim() {
        "" => String::new(),
        unit => format!(" in {unit}"),
    }
}
