//! A proposal for a grip table: before, after, measured; choose grips; decide.

use baytrim_jobs::state::ProposalStanding;
use baytrim_jobs::verdict::{self, REASON_BYTES_MAX};
use baytrim_model::grip::{GripChange, GripRow};
use maud::{Markup, html};

use super::View;
use super::decide_form::outcome;
use super::node::sentence_case;
use super::{origin, talk};
use crate::page::grip::{cautions, plot};
use crate::page::job::standing;
use crate::page::number::{breakpoint, counted, decimals, fixed};
use crate::page::{address, frame, signed};

/// Returns the page.
pub(super) fn page(view: &View<'_>, grip: &GripChange) -> Markup {
    let (state, proposal) = (view.state, &view.entry.proposal);
    let mode = proposal
        .table
        .mode()
        .map(ToString::to_string)
        .unwrap_or_default();
    let title = format!("Proposal {} for {}", proposal.id, state.spec.title);
    let way = [
        (state.spec.title.clone(), address::job(state.id())),
        ("Grip and plate".to_owned(), address::grip(state.id())),
    ];
    let body = html! {
        div.title {
            h1 { "Proposal " (proposal.id) ": grip table, riding mode " (mode) }
            p.quiet { (origin(view)) }
        }
        div.problem #meanwhile role="alert" hidden {}
        (outcome(view))
        form method="post" action={ (view.path()) "/selection" } data-draft=(view.path())
            data-standing=(standing(state.standing(view.entry, view.now))) {
            button type="submit" disabled hidden {}
            a.skip href="#decide" { "Skip the table" }
            div.headline {
                p.figure { strong { (proposal.change_count()) } span { "of " (grip.rows.len()) " grips change" } }
                div { @for remark in &proposal.fit.remarks { p { (remark) } } }
            }
            div.review.grip-review {
                section.table aria-label="The table" {
                    (drawing(view, grip))
                    (table(view, grip))
                }
                (decide(view, &mode))
            }
            (talk::section(view))
        }
    };
    frame::page(&title, &way, &body)
}

fn speeds(view: &View<'_>) -> Vec<f64> {
    let mode = view.entry.proposal.table.mode();
    let spec = mode.and_then(|mode| view.state.spec.grip.get(mode));
    spec.map(|spec| spec.rpm.clone()).unwrap_or_default()
}

fn drawing(view: &View<'_>, grip: &GripChange) -> Markup {
    let lines = |plates: &dyn Fn(&GripRow) -> Vec<f64>| {
        let rows = grip.rows.first().map_or(0, |row| row.before.len());
        let line = |speed: usize| {
            let points = grip.rows.iter();
            points
                .filter_map(|row| Some((row.grip_percent, *plates(row).get(speed)?)))
                .collect::<Vec<_>>()
        };
        (0..rows).map(line).collect::<Vec<_>>()
    };
    let measured = grip.rows.iter().filter_map(|row| {
        Some(plot::Measured {
            grip_percent: row.grip_percent,
            plate_percent: row.measured_percent?,
            interval: row.measured_interval.map(|[low, high]| (low, high)),
        })
    });
    let measured: Vec<_> = measured.collect();
    let several = speeds(view).len() > 1;
    html! {
        figure {
            figcaption {
                "Dashed: before" @if several { ", one line for each engine speed" } ". Solid: as proposed. Dots: measured, with the 95 % interval."
            }
            (plot::curve(&lines(&|row| row.before.clone()), &lines(&|row| row.after.clone()), &measured))
        }
    }
}

fn table(view: &View<'_>, grip: &GripChange) -> Markup {
    let mode = view.entry.proposal.table.mode();
    let spec = mode.and_then(|mode| view.state.spec.grip.get(mode));
    let decimals = spec.map_or(1, |spec| decimals(spec.resolution));
    let speeds: Vec<String> = match speeds(view).as_slice() {
        [] => vec!["all rpm".to_owned()],
        speeds => speeds.iter().map(|&rpm| breakpoint(rpm)).collect(),
    };
    let is_open = view.is_open();
    html! {
        div.scroll.wide role="region" tabindex="0" aria-label="Before and after, grip by grip" {
            table.list.compact {
                caption { "Plate, percent, by grip and engine speed: before, then as proposed. \u{3d}: as before." }
                thead {
                    tr {
                        @if is_open { th scope="col" rowspan="2" { "take" } }
                        th.n scope="col" rowspan="2" { "grip %" }
                        th scope="colgroup" colspan=(speeds.len()) { "before" }
                        th scope="colgroup" colspan=(speeds.len()) { "after" }
                        th scope="col" rowspan="2" { "measured" }
                    }
                    tr { @for _ in 0..2 { @for rpm in &speeds { th.n scope="col" { (rpm) } } } }
                }
                tbody {
                    @for (index, row) in grip.rows.iter().enumerate() { (line(view, index, row, decimals)) }
                }
            }
        }
        @if is_open { p.quiet { "Untick a grip to leave it as it is; what is taken must still rise and keep to the slopes, or it is refused." } }
    }
}

fn line(view: &View<'_>, index: usize, row: &GripRow, decimals: usize) -> Markup {
    let is_change = row.is_change();
    let ticked = view
        .draft
        .grips
        .as_ref()
        .is_none_or(|grips| grips.contains(&index));
    let said = talk::count_about(view, row.grip_percent);
    let name = format!("Take {} % of grip", breakpoint(row.grip_percent));
    let measured = row.measured_percent.map(|value| {
        let interval = row
            .measured_interval
            .map_or_else(String::new, |[low, high]| {
                format!(" ({low:.1} to {high:.1})")
            });
        format!("{value:.1}{interval}")
    });
    html! {
        tr #(talk::row_id(row.grip_percent)) {
            @if view.is_open() {
                td { @if is_change { label.tick { input type="checkbox" name="g" value=(index) checked[ticked] aria-label=(name); } } }
            }
            th.n scope="row" {
                (breakpoint(row.grip_percent))
                @if said > 0 { br; a href="#talk" { (counted(said, "comment")) } }
            }
            @for &plate in &row.before { td.n { (fixed(plate, decimals)) } }
            @for (&before, &after) in row.before.iter().zip(&row.after) {
                td.n { @if (before - after).abs() < 1e-9 { "=" } @else { strong { (fixed(after, decimals)) } } }
            }
            td { (measured.unwrap_or_else(|| "\u{2013}".to_owned())) }
        }
    }
}

fn decide(view: &View<'_>, mode: &str) -> Markup {
    let standing = view.state.standing(view.entry, view.now);
    if matches!(
        standing,
        ProposalStanding::Approved | ProposalStanding::Rejected
    ) {
        return html! {};
    }
    let is_open = standing == ProposalStanding::Open;
    let can_approve = is_open && view.entry.proposal.change_count() > 0;
    html! {
        section.decide #decide aria-labelledby="decide-title" tabindex="-1" {
            h2 #decide-title { (if is_open { "Decide" } else { "Put it aside" }) }
            (cautions())
            @if let Some(words) = view.bars.approve.as_ref().filter(|_| is_open) {
                p.problem.barred { strong { "Not yours to approve. " } (sentence_case(words)) "." }
            }
            input type="hidden" name="etag" value=(verdict::etag(&view.entry.proposal));
            @if let Some(name) = signed::actor() { p.quiet { "You sign as " strong data-reviewer { (name.0) } "." } }
            label.field {
                span { "Why (the record keeps it)" }
                textarea name="reason" rows="3" required maxlength=(REASON_BYTES_MAX) { (view.draft.reason) }
            }
            div.buttons {
                @if can_approve {
                    button.approve type="submit" formaction={ (view.path()) "/approve" } disabled[view.bars.approve.is_some()]
                        data-barred[view.bars.approve.is_some()] { "Approve what is ticked" }
                }
                button.reject type="submit" formaction={ (view.path()) "/reject" } disabled[view.bars.reject.is_some()] { "Reject" }
            }
            p.quiet { "Approving makes a new revision of the grip table of mode " (mode) ". It changes no vehicle: export it, load it, try it on the roller." }
        }
    }
}
