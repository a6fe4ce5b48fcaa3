//! How the plate follows the hand: the page of a job's riding modes.

pub(super) mod plot;

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::response::Html;
use baytrim_jobs::JobState;
use baytrim_jobs::grip::{CAUTIONS, ModeDelivery, deliveries, plate_at, sentences};
use baytrim_jobs::state::ProposalStanding;
use baytrim_model::ids::RevisionId;
use baytrim_model::revision::{Revision, TableKind};
use baytrim_rider::{Estimate, GripPoint};
use maud::{Markup, html};

use super::number::{breakpoint, counted, fixed, signed};
use super::read::{Page, load};
use super::{address, frame};
use crate::clock;
use crate::shop::Shop;

/// Returns the page of how the plate follows the hand in a job.
pub(super) async fn page(State(shop): State<Arc<Shop>>, Path(id): Path<String>) -> Page {
    let state = load(&shop, &id).await?;
    Ok(Html(whole(&state).into_string()))
}

/// Returns the page.
pub(super) fn whole(state: &JobState) -> Markup {
    let title = format!("Grip and plate of {}", state.spec.title);
    let way = [(state.spec.title.clone(), address::job(state.id()))];
    let modes = deliveries(state);
    let body = html! {
        h1 { "Grip and plate" }
        (address::sections(state.id(), "grip"))
        @if modes.is_empty() {
            p.empty {
                "No pull has the hand standing still where grip angle, plate angle and engine speed are logged, and the job file gives no grip table. "
                "Log all three, hold the grip at several places while engine speed sweeps, and name the mode: "
                code { "baytrim pull submit " (state.id()) " LOG --bay NAME --mode street" }
            }
        }
        @for found in &modes { (mode(state, found)) }
    };
    frame::page(&title, &way, &body)
}

fn mode(state: &JobState, found: &ModeDelivery) -> Markup {
    let id = format!("mode-{}", found.mode);
    let told = sentences(found);
    html! {
        section.mode aria-labelledby=(id) {
            h2 #(id) { "Riding mode " (found.mode) }
            p.quiet { (behind(state, found)) }
            @if found.delivery.points.is_empty() {
                p.empty { (told.first().map_or("", String::as_str)) }
            } @else {
                (headline(found, &told))
                div.grip-plots {
                    figure {
                        figcaption { "Plate over engine speed: one line for each place of the hand. A level line stays where the hand puts it; even gaps are an even gain." }
                        (plot::surface(&found.surface))
                    }
                    figure {
                        figcaption { "Plate over grip, measured, with its 95 % interval" @if found.revision.is_some() { "; the dashed line is the table that was loaded" } "." }
                        (plot::curve(&loaded(state, found), &[], &points(&found.delivery.points)))
                    }
                }
                (places(found))
                details { summary { "Plate by grip and engine speed" } (cells(found)) }
            }
            (next(state, found))
        }
    }
}

/// Returns what the numbers are from.
fn behind(state: &JobState, found: &ModeDelivery) -> Markup {
    let table = TableKind::Grip {
        mode: found.mode.clone(),
    };
    let head = state.head_of(&table).map(|head| head.id);
    let link = |id: RevisionId| html! { a href=(address::revision(state.id(), id)) { (id) } };
    html! {
        @match (found.revision, head) {
            (Some(loaded), Some(head)) if loaded == head => { "Grip table " (link(loaded)) ", in force. " },
            (Some(loaded), Some(head)) => { "Measured with grip table " (link(loaded)) "; " (link(head)) " is in force by now and has no pull yet. " },
            (_, Some(head)) => { "Grip table " (link(head)) ", in force. " },
            (_, None) => { "The job file gives no grip table for this mode. " },
        }
        @if !found.pulls.is_empty() {
            "From "
            @for (index, &pull) in found.pulls.iter().enumerate() {
                @if index > 0 { ", " }
                a href=(address::pull(state.id(), pull)) { (pull) }
            }
            "."
        }
        @if !found.other_pulls.is_empty() {
            " " (counted(found.other_pulls.len(), "pull")) " with another grip table left out."
        }
    }
}

fn headline(found: &ModeDelivery, told: &[String]) -> Markup {
    let places = found
        .delivery
        .points
        .iter()
        .filter_map(|point| point.drift_percent_per_1000_rpm);
    let felt = |drift: &Estimate| drift.value.abs();
    let most = places.max_by(|one, other| felt(one).total_cmp(&felt(other)));
    html! {
        div.headline {
            @if let Some(drift) = most.or(found.drift) {
                p.figure { strong { (signed(drift.value, 1)) " %" } span { "of plate over 1000 rpm, at most" } }
            }
            div { @for sentence in told { p.lead { (sentence) } } }
        }
    }
}

fn places(found: &ModeDelivery) -> Markup {
    let steep = found.steep_steps();
    let gains = &found.delivery.gains;
    html! {
        div.scroll.wide role="region" tabindex="0" aria-label="By place of the hand" {
            table.list.compact {
                caption { "By place of the hand; in brackets the 95 % interval over stays. The gain is from the place above." }
                thead { tr {
                    th.n scope="col" { "grip %" } th scope="col" { "plate %" } th scope="col" { "drift, % over 1000 rpm" }
                    th.n scope="col" { "gain" } th scope="col" { "over the mean" } th.n scope="col" { "stays" }
                } }
                tbody {
                    @for point in &found.delivery.points {
                        @let step = gains.iter().position(|gain| (gain.to_grip_percent - point.grip_percent).abs() < 1e-9);
                        tr {
                            th.n scope="row" { (fixed(point.grip_percent, 1)) }
                            td { (told(Some(point.plate_percent), &|value| fixed(value, 1))) }
                            td { (told(point.drift_percent_per_1000_rpm, &|value| signed(value, 2))) }
                            td.n { @if let Some(step) = step { (fixed(gains[step].gain, 2)) } }
                            td {
                                @if let Some(step) = step {
                                    (told(gains[step].over_mean, &|value| fixed(value, 2)))
                                    @if steep.contains(&step) { strong { " steep" } }
                                }
                            }
                            td.n { (point.plate_percent.stay_count) }
                        }
                    }
                }
            }
        }
    }
}

fn told(estimate: Option<Estimate>, form: &dyn Fn(f64) -> String) -> String {
    match estimate {
        None => "\u{2013}".to_owned(),
        Some(Estimate {
            value,
            interval: None,
            ..
        }) => form(value),
        Some(Estimate {
            value,
            interval: Some((low, high)),
            ..
        }) => {
            format!("{} ({} to {})", form(value), form(low), form(high))
        }
    }
}

fn cells(found: &ModeDelivery) -> Markup {
    let unique = |values: Vec<f64>| {
        let mut values = values;
        values.sort_by(f64::total_cmp);
        values.dedup();
        values
    };
    let speeds = unique(found.surface.iter().map(|cell| cell.rpm).collect());
    let grips = unique(found.surface.iter().map(|cell| cell.grip_percent).collect());
    let at = |grip: f64, rpm: f64| {
        let is_here = |cell: &&baytrim_model::grip::GripCell| {
            (cell.grip_percent - grip).abs() < 1e-9 && (cell.rpm - rpm).abs() < 1e-9
        };
        let cell = found.surface.iter().find(is_here);
        cell.map_or_else(|| "\u{b7}".to_owned(), |cell| fixed(cell.plate_percent, 1))
    };
    html! {
        div.scroll.wide role="region" tabindex="0" aria-label="Plate by grip and engine speed" {
            table.list.compact {
                caption { "Plate, percent, while the hand stood still; \u{b7}: never there." }
                thead { tr {
                    th.n scope="col" { "grip % \\ rpm" }
                    @for &rpm in &speeds { th.n scope="col" { (breakpoint(rpm)) } }
                } }
                tbody {
                    @for &grip in &grips {
                        tr { th.n scope="row" { (breakpoint(grip)) } @for &rpm in &speeds { td.n { (at(grip, rpm)) } } }
                    }
                }
            }
        }
    }
}

fn next(state: &JobState, found: &ModeDelivery) -> Markup {
    let job = state.id();
    let table = TableKind::Grip {
        mode: found.mode.clone(),
    };
    let waiting = state.proposals.iter().rev().find(|entry| {
        entry.proposal.table == table
            && state.standing(entry, clock::now()) == ProposalStanding::Open
    });
    html! {
        @if let Some(entry) = waiting {
            p { "A proposal for this table waits for a verdict: " a href=(address::proposal(job, entry.proposal.id)) { (entry.proposal.id) } "." }
        }
        @if state.spec.grip.contains_key(&found.mode) {
            @if waiting.is_none() { p { "Compute a smoother table: " code { "baytrim grip propose " (job) " --mode " (found.mode) } } }
            (cautions())
        }
    }
}

/// Returns the cautions that go with a grip table.
pub(super) fn cautions() -> Markup {
    html! {
        div.cautions role="note" aria-label="Caution" {
            strong { "Caution" }
            ul { @for caution in CAUTIONS { li { (caution) } } }
        }
    }
}

/// Returns what stands measured on a plot: grip, plate and interval.
pub(super) fn points(points: &[GripPoint]) -> Vec<plot::Measured> {
    let measured = |point: &GripPoint| plot::Measured {
        grip_percent: point.grip_percent,
        plate_percent: point.plate_percent.value,
        interval: point.plate_percent.interval,
    };
    points.iter().map(measured).collect()
}

/// Returns the loaded table as lines, one for each engine speed that it knows.
fn loaded(state: &JobState, found: &ModeDelivery) -> Vec<Vec<(f64, f64)>> {
    let revision = found.revision.and_then(|id| state.revision(id).ok());
    revision.map_or_else(Vec::new, |revision| lines(state, revision))
}

/// Returns a grip table as lines, one for each engine speed that it knows.
pub(super) fn lines(state: &JobState, revision: &Revision) -> Vec<Vec<(f64, f64)>> {
    let spec = revision
        .table
        .mode()
        .and_then(|mode| state.spec.grip.get(mode));
    let Some(spec) = spec else {
        return Vec::new();
    };
    let speeds = if spec.rpm.is_empty() {
        vec![0.0]
    } else {
        spec.rpm.clone()
    };
    let line = |rpm: f64| {
        let grips = spec.grip_percent.iter();
        grips
            .map(|&grip| (grip, plate_at(spec, &revision.values, grip, rpm)))
            .collect()
    };
    speeds.into_iter().map(line).collect()
}
