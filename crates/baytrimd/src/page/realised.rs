//! What a pull shows of the table that was loaded, against what earlier pulls predicted.

use baytrim_jobs::JobState;
use baytrim_jobs::state::PullEntry;
use baytrim_model::pull::{Realised, RealisedNode};
use maud::{Markup, html};

use super::grid::{grid, place, plain_head};
use super::number::signed;
use super::{address, scale};

/// Times its standard error from which a miss is worth a look. Common practice: two.
const MISS_ERRORS: f64 = 2.0;

/// Returns the section of a pull's page; nothing where there was nothing to compare with.
pub(super) fn section(state: &JobState, pull: &PullEntry) -> Markup {
    let Some(realised) = &pull.record.summary.realised else {
        return html! {};
    };
    html! {
        section aria-labelledby="realised" {
            h2 #realised { "Predicted and realised" }
            (share(realised, pull))
            (loaded(state, realised))
            @if realised.nodes.is_empty() {
                p.empty { "No node was visited both by this pull and by earlier ones." }
            } @else {
                (table(state, realised))
                div.legend {
                    (scale::lambda_legend("richer than predicted", "leaner than predicted"))
                    dl.marks {
                        div { dt { "!" } dd { "off by more than twice the standard error of the comparison" } }
                        div { dt { "\u{b7}" } dd { "not visited by both" } }
                    }
                }
                details { summary { "Node by node" } (list(state, realised)) }
            }
        }
    }
}

fn share(realised: &Realised, pull: &PullEntry) -> Markup {
    html! {
        @match realised.share {
            Some(found) => div.headline {
                p.figure { strong { (format!("{:.0}", 100.0 * found.share)) " %" } span { "of the change arrived" } }
                p.lead {
                    "Lambda moved by " (format!("{:.0} % \u{b1} {:.0} %", 100.0 * found.share, 100.0 * found.standard_error))
                    " of what the step from " (realised.previous) " to " (pull.record.revision) " should have moved it."
                }
            },
            None => p { (realised.previous) " and " (pull.record.revision) " hardly differ where this pull has been: how much of a change arrived can't be told." },
        }
    }
}

fn loaded(state: &JobState, realised: &Realised) -> Markup {
    html! {
        p {
            "By lambda alone, what was loaded: "
            @for (index, chance) in realised.loaded.iter().take(3).enumerate() {
                @if index > 0 { ", " }
                a href=(address::revision(state.id(), chance.revision)) { (chance.revision) }
                " " (super::proposal::node::chance(chance.probability))
            }
            "."
        }
    }
}

fn miss_percent(node: &RealisedNode) -> f64 {
    100.0 * (node.realised_lambda / node.predicted_lambda - 1.0)
}

fn is_missed(node: &RealisedNode) -> bool {
    miss_percent(node).abs() > MISS_ERRORS * node.error_percent
}

fn table(state: &JobState, realised: &Realised) -> Markup {
    let caption = "Lambda realised over lambda predicted, percent; below it realised lambda";
    grid(&state.spec.axes, caption, &plain_head, &|index| {
        let Some(node) = realised.nodes.iter().find(|node| node.node == index) else {
            return html! { td.none { "\u{b7}" } };
        };
        html! {
            td class=(scale::change(miss_percent(node))) {
                (signed(miss_percent(node), 1)) @if is_missed(node) { "!" }
                small { (format!("{:.3}", node.realised_lambda)) }
            }
        }
    })
}

fn list(state: &JobState, realised: &Realised) -> Markup {
    html! {
        div.scroll.wide role="region" tabindex="0" aria-label="Predicted and realised, node by node" {
            table.list.compact {
                thead { tr {
                    th scope="col" { "node" } th.n scope="col" { "before" } th.n scope="col" { "predicted" }
                    th.n scope="col" { "realised" } th.n scope="col" { "off by, %" } th.n scope="col" { "\u{b1} %" }
                    th scope="col" { "target" }
                } }
                tbody {
                    @for node in &realised.nodes {
                        @let (rpm, plate) = state.spec.axes.position(node.node);
                        tr {
                            th scope="row" { (place(rpm, plate)) }
                            td.n { (format!("{:.3}", node.previous_lambda)) }
                            td.n { (format!("{:.3}", node.predicted_lambda)) }
                            td.n { (format!("{:.3}", node.realised_lambda)) }
                            td.n { (signed(miss_percent(node), 1)) @if is_missed(node) { " !" } }
                            td.n { (format!("{:.1}", node.error_percent)) }
                            td { (format!("{:.3}", state.spec.target_lambda[node.node])) }
                        }
                    }
                }
            }
        }
    }
}
