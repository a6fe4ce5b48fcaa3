//! Where a verdict is given, with the cautions right above it; and what it came to.

use baytrim_jobs::JobState;
use baytrim_jobs::propose::CAUTIONS;
use baytrim_jobs::refusal::Refusal;
use baytrim_jobs::state::{ProposalStanding, VerdictEntry};
use baytrim_jobs::verdict::{self, Ask, REASON_BYTES_MAX};
use baytrim_model::ids::Actor;
use baytrim_model::proposal::NodeChange;
use maud::{Markup, html};

use super::View;
use super::aspect::Aspect;
use super::node::chance;
use super::take::{Rule, Take};
use crate::page::address;
use crate::page::grid::place;
use crate::page::mark::is_perhaps_lean;
use crate::page::moment::moment;
use crate::page::number::{breakpoint, counted};
use crate::page::proposal::headline::Tally;

/// What stands in the form, so that a refused verdict need not be written again.
#[derive(Debug, Clone, Default)]
pub(crate) struct Draft {
    /// Name of the reviewer.
    pub(crate) reviewer: String,
    /// Why.
    pub(crate) reason: String,
    /// Why the verdict was not taken.
    pub(crate) problem: Option<String>,
}

/// Returns the form, or nothing where the verdict is given.
pub(crate) fn form(view: &View<'_>) -> Markup {
    let standing = view.state.standing(view.entry);
    if matches!(
        standing,
        ProposalStanding::Approved | ProposalStanding::Rejected
    ) {
        return html! {};
    }
    let is_open = standing == ProposalStanding::Open;
    let changes = Tally::of(&view.entry.proposal.nodes).changes();
    html! {
        section.decide #decide aria-labelledby="decide-title" tabindex="-1" {
            h2 #decide-title { (if is_open { "Decide" } else { "Put it aside" }) }
            (lean(view))
            (cautions())
            @if is_open && changes > 0 { (choice(view, changes)) }
            input type="hidden" name="etag" value=(verdict::etag(&view.entry.proposal));
            @if view.aspect != Aspect::Choose { input type="hidden" name="take" value=(view.take.code()); }
            (fields(&view.draft))
            div.buttons {
                @if is_open && changes > 0 {
                    button.approve type="submit" formaction={ (view.path()) "/approve" } {
                        "Approve " span data-count { (counted(view.take.count(), "change")) }
                    }
                }
                button.reject type="submit" formaction={ (view.path()) "/reject" } { "Reject" }
            }
            p.quiet { "Approving makes a new revision of the table. It changes no vehicle: export the revision and load it yourself." }
        }
    }
}

/// Returns the cautions.
pub(crate) fn cautions() -> Markup {
    html! {
        div.cautions role="note" aria-label="Caution" {
            strong { "Caution" }
            ul { @for caution in CAUTIONS { li { (caution) } } }
        }
    }
}

/// Most nodes named; the rest is counted, and marked in the table.
const LEAN_NAMED_MAX: usize = 6;

/// Returns which nodes are perhaps too lean even with their changes, the likeliest first.
fn lean(view: &View<'_>) -> Markup {
    let nodes = view
        .entry
        .proposal
        .nodes
        .iter()
        .filter(|node| is_perhaps_lean(node));
    let mut nodes: Vec<&NodeChange> = nodes.collect();
    if nodes.is_empty() {
        return html! {};
    }
    nodes.sort_by(|one, other| other.lean_risk.total_cmp(&one.lean_risk));
    html! {
        div.problem role="note" aria-label="Perhaps too lean" {
            p {
                strong { (counted(nodes.len(), "node")) " may end up leaner than permitted" }
                ", even with the change that is proposed. Keep the engine out of there until a pull has looked, or give it fuel first:"
            }
            ul.lean {
                @for node in nodes.iter().take(LEAN_NAMED_MAX) {
                    li {
                        a href={ "?node=" (breakpoint(node.rpm)) ":" (breakpoint(node.plate_percent)) "#at" } {
                            (place(node.rpm, node.plate_percent))
                        }
                        " (chance " (chance(node.lean_risk)) ")"
                    }
                }
                @if nodes.len() > LEAN_NAMED_MAX { li { "and " (nodes.len() - LEAN_NAMED_MAX) " more, marked ! in the table" } }
            }
        }
    }
}

fn fields(draft: &Draft) -> Markup {
    html! {
        label.field {
            span { "Your name" }
            input type="text" name="reviewer" value=(draft.reviewer) required maxlength="80" autocomplete="name";
        }
        label.field {
            span { "Why (the record keeps it)" }
            textarea name="reason" rows="3" required maxlength=(REASON_BYTES_MAX) { (draft.reason) }
        }
    }
}

/// Returns what would be taken, what is left out and why, and what stands against it.
fn choice(view: &View<'_>, changes: usize) -> Markup {
    let taken = view.take.count();
    let proposal = &view.entry.proposal;
    let unproven_lean = changes - Take::by(Rule::Usual, proposal).count();
    let is_usual = view.take == Take::by(Rule::Usual, proposal);
    html! {
        p.choice {
            strong { span data-taken { (taken) } " of " (changes) } " changes are taken. "
            @if is_usual && unproven_lean > 0 {
                (counted(unproven_lean, "change")) " that would take fuel off where less than half was measured "
                (if unproven_lean == 1 { "is" } else { "are" }) " left out. "
            }
            @if view.aspect != Aspect::Choose { a href=(view.aspect_path(Aspect::Choose)) { "Choose nodes" } }
        }
        @if let Some(obstacle) = obstacle(view) { p.problem data-obstacle { (obstacle) } }
    }
}

/// Returns what would keep the choice from being approved, found out before anybody asks.
fn obstacle(view: &View<'_>) -> Option<Markup> {
    if view.take.count() == 0 {
        return Some(html! { "No change is chosen: there would be nothing to approve." });
    }
    let ask = Ask {
        proposal: view.entry.proposal.id,
        etag: verdict::etag(&view.entry.proposal),
        reason: "asked only".to_owned(),
        at: view.now,
        by: Actor("asked only".to_owned()),
    };
    let refusal = verdict::approve(view.state, &ask, &positions(view.state, &view.take)).err()?;
    Some(match refusal {
        Refusal::SubsetBreaksNeighbour {
            rpm,
            plate_percent,
            neighbour_percent,
        } => html! {
            "This choice can't be approved: it would put "
            a href={ "?node=" (breakpoint(rpm)) ":" (breakpoint(plate_percent)) "#at" } { (place(rpm, plate_percent)) }
            " further than " (breakpoint(neighbour_percent))
            " % from its neighbour. Take the neighbour as well, or leave both."
        },
        other => html! { (other) },
    })
}

/// Returns the nodes of a choice as a verdict names them.
pub(crate) fn positions(state: &JobState, take: &Take) -> Vec<(f64, f64)> {
    take.nodes()
        .into_iter()
        .map(|node| state.spec.axes.position(node))
        .collect()
}

/// Returns what became of the proposal, and what to do next.
pub(crate) fn outcome(view: &View<'_>) -> Markup {
    let job = view.state.id();
    let base = view.entry.proposal.base_revision;
    let standing = view.state.standing(view.entry);
    html! {
        @if let Some(problem) = &view.draft.problem {
            div.problem role="alert" {
                p { strong { "Nothing was recorded. " } (problem) }
                @if view.is_open() { p { a href="#decide" { "Back to the decision" } } }
            }
        }
        @match (&view.entry.verdict, standing) {
            (Some(verdict), ProposalStanding::Approved) => (approved(view, verdict)),
            (Some(verdict), _) => {
                div.outcome role="status" {
                    p { strong { "Rejected" } " by " (verdict.by) ", " (moment(verdict.at)) ". The table stays as it is." }
                    blockquote { (verdict.reason) }
                    p { "Pull again, then compute anew: " code { "baytrim propose " (job) } }
                }
            }
            (None, ProposalStanding::Stale) => {
                div.outcome.stale role="status" {
                    p {
                        strong { "Stale" } ": it was computed from " (base) ", and "
                        a href=(address::revision(job, view.state.head().id)) { (view.state.head().id) }
                        " is in force. It can't be approved any more. "
                        a href=(address::compare(job, base, view.state.head().id)) { "See what changed since" } "."
                    }
                    p { "Compute it again: " code { "baytrim propose " (job) } }
                }
            }
            (None, _) => {}
        }
    }
}

fn approved(view: &View<'_>, verdict: &VerdictEntry) -> Markup {
    let job = view.state.id();
    let Some((revision, nodes)) = &verdict.approved else {
        return html! {};
    };
    html! {
        div.outcome.done role="status" {
            p {
                strong { "Approved" } " by " (verdict.by) ", " (moment(verdict.at)) ": "
                (counted(nodes.len(), "change")) " of " (Tally::of(&view.entry.proposal.nodes).changes()) " became "
                a href=(address::revision(job, *revision)) { (revision) } "."
            }
            blockquote { (verdict.reason) }
            p {
                "Next: export it with " code { "baytrim table export " (job) " --format csv --output " (job) ".csv" }
                ", load it, pull again. "
                a href=(address::compare(job, view.entry.proposal.base_revision, *revision)) { "See what changed" } "."
            }
        }
        (lean(view))
    }
}
