//! A pull's page: what was refused and why, where the engine has been, and the delay.

use baytrim_jobs::JobState;
use baytrim_jobs::state::PullEntry;
use baytrim_model::bay::DelayModel;
use baytrim_model::power::PullPower;
use baytrim_model::pull::{DelaySource, PullSummary};
use maud::{Markup, html};

use super::grid::{grid, plain_head};
use super::moment::moment;
use super::number::{counted, seconds};
use super::{address, frame, realised, scale, strip, timeline};

/// Returns the page.
pub(super) fn page(state: &JobState, entry: &PullEntry) -> Markup {
    let record = &entry.record;
    let summary = &record.summary;
    let title = format!("Pull {} of {}", record.id, state.spec.title);
    let way = [(state.spec.title.clone(), address::job(state.id()))];
    let body = html! {
        div.title {
            h1 { "Pull " (record.id) }
            p.quiet {
                "bay " (record.bay) ", with "
                a href=(address::revision(state.id(), record.revision)) { (record.revision) } " loaded, stage "
                a href=(address::stages(state.id())) { (entry.stage) } "; "
                @if record.source_name.is_empty() { "live" } @else { (record.source_name) }
                "; sent by " (entry.by) ", " (moment(entry.at))
            }
        }
        div.headline {
            p.figure { strong { (share(summary)) " %" } span { "accepted" } }
            p.lead {
                (seconds(summary.accepted_s)) " of " (seconds(summary.duration_s)) " were accepted, "
                (counted(summary.sample_count.try_into().unwrap_or(usize::MAX), "sample")) " in all."
            }
        }
        @for warning in &summary.warnings {
            div.cautions role="note" aria-label="Warning" { strong { "Look at this" } p { (warning.message) } }
        }
        (realised::section(state, entry))
        (timeline::section(state, entry))
        section aria-labelledby="gates" {
            h2 #gates { "What was refused" }
            (strip::picture(summary))
            p.key aria-hidden="true" { "tall: accepted \u{2003} low: refused \u{2003} left to right: the whole pull" }
            (gates(summary))
            details { summary { "When" } (strip::list(summary)) }
        }
        section aria-labelledby="coverage" {
            h2 #coverage { "Where the engine has been" }
            (coverage(state, summary))
            div.legend { (scale::dwell_legend()) dl.marks { div { dt { "\u{b7}" } dd { "never visited" } } } }
        }
        @if let Some(power) = &summary.power { (self::power(state, entry, power)) }
        section aria-labelledby="delay" { h2 #delay { "Delay" } (delay(summary)) }
    };
    frame::charted(&title, &way, &body)
}

fn power(state: &JobState, entry: &PullEntry, power: &PullPower) -> Markup {
    let here = format!("{}?pull={}", address::power(state.id()), entry.record.id);
    html! {
        section aria-labelledby="power" {
            h2 #power { "Power at the roller" }
            @if let Some((most, torque)) = power.peaks() {
                @let factor = power.factor().unwrap_or(1.0);
                p {
                    (format!("{:.1} kW", most.power_kw * factor)) " at " (most.engine_speed_rpm) " rpm, "
                    (format!("{:.1} Nm", torque.torque_nm * factor)) " at " (torque.engine_speed_rpm) " rpm, "
                    @match &power.correction {
                        Some(by) => { "at the air of " (baytrim_jobs::power::title(by.standard)) ": " (format!("{:.4}", by.factor)) " times what was measured. " },
                        None => "not corrected. ",
                    }
                    a href=(here) { "The curve" }
                }
            }
            @for remark in &power.remarks { p.quiet { (remark) } }
        }
    }
}

/// Returns the accepted share of a pull in whole percent.
pub(super) fn share(summary: &PullSummary) -> String {
    format!(
        "{:.0}",
        100.0 * summary.accepted_s / summary.duration_s.max(1e-9)
    )
}

fn gates(summary: &PullSummary) -> Markup {
    if summary.refused.is_empty() {
        return html! { p.empty { "Nothing was refused." } };
    }
    html! {
        div.scroll.wide role="region" tabindex="0" aria-label="Table of gates" {
            table.list {
                thead { tr { th.n scope="col" { "seconds" } th.n scope="col" { "samples" } th scope="col" { "refused because" } th scope="col" { "gate" } } }
                tbody {
                    @for count in &summary.refused {
                        tr {
                            td.n { (format!("{:.1}", count.refused_s)) }
                            td.n { (count.sample_count) }
                            td { (count.gate.sentence()) }
                            td { code { (count.gate) } }
                        }
                    }
                }
            }
        }
    }
}

fn coverage(state: &JobState, summary: &PullSummary) -> Markup {
    let caption = "Coverage: accepted seconds on each node; below it the number of visits";
    grid(&state.spec.axes, caption, &plain_head, &|node| {
        let Some(covered) = summary
            .coverage
            .get(node)
            .filter(|covered| covered.visits > 0)
        else {
            return html! { td.none { "\u{b7}" } };
        };
        html! {
            td class=(scale::dwell(covered.dwell_s)) {
                (format!("{:.1}", covered.dwell_s)) small { "\u{d7}" (covered.visits) }
            }
        }
    })
}

fn delay(summary: &PullSummary) -> Markup {
    let delay = &summary.delay;
    let error = |pick: fn(&DelayModel) -> f64, decimals: usize| match delay.source {
        DelaySource::Given => String::new(),
        _ => format!(" \u{b1} {:.decimals$}", pick(&delay.standard_error)),
    };
    html! {
        p { strong { (source(delay.source)) } ". " (delay.remark) }
        dl.facts {
            div { dt { "Cycles" } dd { (format!("{:.2}", delay.model.cycles)) (error(|model| model.cycles, 2)) } }
            div { dt { "Gas volume" } dd { (format!("{:.2}", delay.model.gas_volume_l)) (error(|model| model.gas_volume_l, 2)) " litres" } }
            div { dt { "Lag" } dd { (format!("{:.3}", delay.model.lag_s)) (error(|model| model.lag_s, 3)) " s" } }
        }
    }
}

/// Returns in words how a delay was come by.
pub(super) fn source(source: DelaySource) -> &'static str {
    match source {
        DelaySource::Given => "Given by the job",
        DelaySource::Identified => "Identified from the pull",
        DelaySource::Prior => "From physics: the pull can't tell",
        DelaySource::Bay => "From earlier pulls in the bay: this one can't tell",
    }
}
