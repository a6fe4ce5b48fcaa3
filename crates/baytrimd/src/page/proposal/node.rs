//! Why one node is what it is.

use baytrim_jobs::JobState;
use baytrim_model::limits::LimitName;
use baytrim_model::proposal::{NodeChange, Proposal};
use baytrim_model::table::TableContent;
use maud::{Markup, html};

use super::aspect::Aspect;
use super::ruler::ruler;
use super::{View, behind, part, talk};
use crate::page::grid::place;
use crate::page::mark;
use crate::page::number::{breakpoint, decimals, fixed, seconds, signed};

/// Half-width of a 95 % interval in standard errors (normal distribution).
pub(super) const INTERVAL_STANDARD_ERRORS: f64 = 1.96;

/// Returns the details of a node, or how to come by them where none is chosen.
pub(crate) fn details(view: &View<'_>) -> Markup {
    let (state, proposal) = (view.state, &view.entry.proposal);
    let is_choosing = view.aspect == Aspect::Choose;
    let Some(index) = view.node else {
        return html! {
            aside.node.hint {
                h2 { "Why?" }
                p {
                    @if is_choosing { "Here a touch takes or leaves a change. To ask why a node is what it is, touch it under another tab." }
                    @else { "Touch a cell, or press Enter on it: what was measured there, how sure it is, and what held it." }
                }
                @for remark in &proposal.fit.remarks { p { (sentence_case(remark.trim_end_matches('.'))) "." } }
                (noise(proposal))
            }
        };
    };
    let node = &proposal.nodes[index];
    let limits = node
        .limited_by
        .iter()
        .filter(|&&limit| limit != LimitName::Resolution);
    html! {
        aside.node #node aria-labelledby="node-title" {
            div.node-head {
                h2 #node-title { (place(node.rpm, node.plate_percent)) }
                (steps(state, index))
            }
            div.why {
                div {
                    p.lead { (proposed(state, node)) }
                    (part::taken(view, index))
                    ul.reasons {
                        li { (sentence_case(mark::status_words(node.status))) "." }
                        @for limit in limits { li { (sentence_case(limit.sentence())) "." } }
                    }
                    (ruler(node, state.spec.limits.leanest_lambda_at(node.rpm, node.plate_percent)))
                    (part::form(view, index))
                }
                (facts(state, node))
                div {
                    (behind::section(state, node, &view.behind))
                    (talk::about(view, node))
                }
            }
        }
    }
}

fn proposed(state: &JobState, node: &NodeChange) -> Markup {
    let decimals = decimals(state.spec.table.resolution);
    let unit = unit(state.spec.table.content);
    let before = fixed(node.before, decimals);
    if !mark::is_change(node) {
        return html! { strong { "No change" } ": stays " (before) (unit) };
    }
    html! {
        strong { (signed(node.proposed_percent, 1)) " % fuel" } ": "
        (before) " \u{2192} " (fixed(node.after, decimals)) (unit)
    }
}

fn facts(state: &JobState, node: &NodeChange) -> Markup {
    let [low, high] = node.predicted_lambda_interval;
    let half = INTERVAL_STANDARD_ERRORS * node.total_standard_error_percent;
    let wall = state
        .spec
        .limits
        .leanest_lambda_at(node.rpm, node.plate_percent);
    html! {
        dl.facts {
            div {
                dt { "Needed" }
                dd {
                    (signed(node.correction_percent, 1)) " % fuel, 95 % between "
                    (signed(node.correction_percent - half, 1)) " and " (signed(node.correction_percent + half, 1))
                }
            }
            div {
                dt { "Standard error" }
                dd {
                    (format!("{:.1} %", node.standard_error_percent))
                    "; with the sensor's own " (format!("{:.1} %", node.total_standard_error_percent))
                }
            }
            div { dt { "Measured" } dd { (measured(node)) } }
            div { dt { "Dwell" } dd { (seconds(node.dwell_s)) " in " (crate::page::number::counted(node.visits as usize, "visit")) } }
            div { dt { "Lambda now" } dd { (format!("{:.3}", node.lambda_before)) ", target " (format!("{:.3}", node.target_lambda)) } }
            div {
                dt { "Lambda after" }
                dd { (format!("{:.3}", node.predicted_lambda)) ", 95 % between " (format!("{low:.3}")) " and " (format!("{high:.3}")) }
            }
            div {
                dt { "Leanest permitted" }
                dd { (format!("{wall:.3}")) "; chance of ending leaner " (chance(node.lean_risk)) }
            }
        }
    }
}

fn measured(node: &NodeChange) -> String {
    let share = (node.measured_fraction * 100.0).round();
    match share {
        100.0.. => "all of it here".to_owned(),
        share if share > 0.0 => format!("{share:.0} % here, the rest borrowed from neighbours"),
        _ => "nothing here: all borrowed from neighbours".to_owned(),
    }
}

/// Returns a chance as people say it: never as impossible or certain.
pub(crate) fn chance(risk: f64) -> String {
    match risk * 100.0 {
        percent if percent < 0.1 => "below 0.1 %".to_owned(),
        percent if percent > 99.9 => "above 99.9 %".to_owned(),
        percent if !(10.0..99.0).contains(&percent) => format!("{percent:.1} %"),
        percent => format!("{percent:.0} %"),
    }
}

/// Returns links to the nodes around a node.
fn steps(state: &JobState, index: usize) -> Markup {
    let axes = &state.spec.axes;
    let (rpm, plate) = axes.indices(index);
    let around = [
        (
            "\u{2190}",
            "lower rpm",
            rpm.checked_sub(1).map(|rpm| axes.node(rpm, plate)),
        ),
        (
            "\u{2192}",
            "higher rpm",
            (rpm + 1 < axes.rpm.len()).then(|| axes.node(rpm + 1, plate)),
        ),
        (
            "\u{2191}",
            "plate further shut",
            plate.checked_sub(1).map(|plate| axes.node(rpm, plate)),
        ),
        (
            "\u{2193}",
            "plate further open",
            (plate + 1 < axes.plate_percent.len()).then(|| axes.node(rpm, plate + 1)),
        ),
    ];
    html! {
        nav.steps aria-label="Nodes around" {
            @for (arrow, words, node) in around {
                @if let Some(node) = node { a href=(query(state, node)) aria-label=(words) { (arrow) } }
                @else { span aria-hidden="true" { (arrow) } }
            }
            a href="?" aria-label="Close" { "\u{d7}" }
        }
    }
}

fn query(state: &JobState, node: usize) -> String {
    let (rpm, plate_percent) = state.spec.axes.position(node);
    format!("?node={}:{}#at", breakpoint(rpm), breakpoint(plate_percent))
}

fn noise(proposal: &Proposal) -> Markup {
    let fit = &proposal.fit;
    html! {
        p {
            "From " (fit.reading_count) " readings: one scatters by " (format!("{:.1}", fit.noise_percent))
            " %, separate visits of one place by " (format!("{:.1}", fit.episode_percent))
            " %, whole pulls by " (format!("{:.1}", fit.pull_percent))
            " %. The sensor's own error, " (format!("{:.1}", fit.sensor_percent)) " %, no pull can show."
        }
        @if fit.calibration_factor > 1.005 {
            p { "Standard errors were widened " (format!("{:.2}", fit.calibration_factor)) " times, as held-out visits asked for." }
        }
    }
}

/// Returns the unit that stands behind a table value.
pub(crate) fn unit(content: TableContent) -> &'static str {
    match content {
        TableContent::Percent => " %",
        TableContent::Factor | TableContent::VolumetricEfficiency => "",
        TableContent::EffectiveTimeMs | TableContent::TotalTimeMs { .. } => " ms",
    }
}

/// Returns words with a capital at their start.
pub(crate) fn sentence_case(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(letters).collect()
    })
}
