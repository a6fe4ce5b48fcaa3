//! Two revisions of a job, one against the other.

use baytrim_jobs::JobState;
use baytrim_model::ids::RevisionId;
use baytrim_model::revision::Revision;
use maud::{Markup, html};

use super::grid::{grid, plain_head};
use super::moment::moment;
use super::number::{counted, decimals, fixed, signed};
use super::{address, frame, grip, job, revision, scale};

/// Returns the page.
pub(super) fn page(state: &JobState, from: &Revision, to: &Revision) -> Markup {
    if from.table != to.table || !to.table.is_fuel() {
        return grips(state, from, to);
    }
    let title = format!("{} to {} of {}", from.id, to.id, state.spec.title);
    let way = [(state.spec.title.clone(), address::job(state.id()))];
    let change = change_percent(state, from, to);
    let body = html! {
        h1 { "From " (from.id) " to " (to.id) }
        p.lead { (sentence(&change)) }
        (form(state, from, to.id))
        section aria-label="The table" {
            (table(state, to, &change))
            div.legend { (scale::change_legend("less fuel", "more fuel")) }
        }
        section aria-labelledby="why" { h2 #why { "Why" } (steps(state, from, to.id)) }
    };
    frame::page(&title, &way, &body)
}

/// Returns the page of two grip tables, one over the other; of tables that are not alike, each by itself.
fn grips(state: &JobState, from: &Revision, to: &Revision) -> Markup {
    let title = format!("{} to {} of {}", from.id, to.id, state.spec.title);
    let way = [(state.spec.title.clone(), address::job(state.id()))];
    let alike = from.table == to.table;
    let body = html! {
        h1 { "From " (from.id) " to " (to.id) }
        @if !alike { p.problem { "These are revisions of two different tables: there is no change from one to the other." } }
        (form(state, from, to.id))
        @if alike {
            section aria-label="The table" {
                figure {
                    figcaption { "Dashed: " (from.id) ". Solid: " (to.id) "." }
                    (grip::plot::curve(&grip::lines(state, from), &grip::lines(state, to), &[]))
                }
                h2 { (from.id) } (revision::grip_table(state, from))
                h2 { (to.id) } (revision::grip_table(state, to))
            }
            section aria-labelledby="why" { h2 #why { "Why" } (steps(state, from, to.id)) }
        }
    };
    frame::page(&title, &way, &body)
}

/// Returns the form that asks for another pair.
pub(super) fn form(state: &JobState, from: &Revision, to: RevisionId) -> Markup {
    let select = |name: &str, words: &str, chosen: RevisionId| {
        html! {
            label.field {
                span { (words) }
                select name=(name) {
                    @for revision in state.revisions_of(&from.table) {
                        option value=(revision.id) selected[revision.id == chosen] { (revision.id) }
                    }
                }
            }
        }
    };
    html! {
        form.pair method="get" action={ (address::job(state.id())) "/compare" } {
            (select("from", "From", from.id))
            (select("to", "To", to))
            button type="submit" { "Compare" }
        }
    }
}

/// Returns the fuel change from one revision to another, node by node, in percent.
pub(super) fn change_percent(state: &JobState, from: &Revision, to: &Revision) -> Vec<f64> {
    let content = state.spec.table.content;
    let pairs = from.values.iter().zip(&to.values);
    pairs
        .map(|(&from, &to)| (content.fuel(to) / content.fuel(from) - 1.0) * 100.0)
        .collect()
}

/// Returns what the changes amount to, in plain words.
pub(super) fn sentence(change: &[f64]) -> String {
    // A ten-thousandth of a percent is the rounding of a quotient, not a change.
    let richer = change.iter().filter(|&&percent| percent > 1e-4).count();
    let leaner = change.iter().filter(|&&percent| percent < -1e-4).count();
    let most = change.iter().copied().fold(0.0, f64::max);
    let least = change.iter().copied().fold(0.0, f64::min);
    match (richer, leaner) {
        (0, 0) => "Both hold the same values.".to_owned(),
        _ => format!(
            "More fuel at {}, less at {leaner}, the same at {}; from {} % to {} %.",
            counted(richer, "node"),
            change.len() - richer - leaner,
            signed(least, 1),
            signed(most, 1)
        ),
    }
}

fn table(state: &JobState, to: &Revision, change: &[f64]) -> Markup {
    let decimals = decimals(state.spec.table.resolution);
    let caption = format!(
        "Fuel change, percent; below it the table value in {}",
        to.id
    );
    grid(&state.spec.axes, &caption, &plain_head, &|node| {
        let percent = change[node];
        let class = if percent.abs() > 1e-4 {
            scale::change(percent)
        } else {
            "still"
        };
        html! {
            td class=(class) {
                @if class == "still" { "=" } @else { (signed(percent, 1)) }
                small { (fixed(to.values[node], decimals)) }
            }
        }
    })
}

/// Returns what lies between two revisions.
fn steps(state: &JobState, from: &Revision, to: RevisionId) -> Markup {
    let (first, last) = (from.id.min(to), from.id.max(to));
    let between = state
        .revisions_of(&from.table)
        .filter(|revision| revision.id > first && revision.id <= last);
    html! {
        ol.steps-between {
            @for revision in between {
                li {
                    strong { (revision.id) } " from " (job::origin(state, revision)) ", " (revision.created_by) ", "
                    (moment(revision.created_at)) ": " (revision.reason)
                }
            }
        }
    }
}
