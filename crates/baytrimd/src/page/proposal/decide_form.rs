//! Where a verdict is given, with the cautions right above it; and what it came to.

use baytrim_estimate::limit::{chance_leaner, part_of_change};
use baytrim_jobs::JobState;
use baytrim_jobs::propose::CAUTIONS;
use baytrim_jobs::refusal::Refusal;
use baytrim_jobs::state::{ProposalStanding, VerdictEntry};
use baytrim_jobs::verdict::{self, Choice, NodeChoice, REASON_BYTES_MAX};
use baytrim_model::proposal::{NodeChange, Proposal};
use baytrim_model::record::Duty;
use maud::{Markup, html};

use super::View;
use super::aspect::Aspect;
use super::node::{chance, sentence_case};
use super::part;
use super::take::{Rule, Take};
use crate::page::address;
use crate::page::grid::place;
use crate::page::mark::LEAN_RISK_MARKED;
use crate::page::moment::moment;
use crate::page::number::{breakpoint, counted};
use crate::page::proposal::headline::Tally;
use crate::page::signed;

/// What stands in the form, so that a refused verdict need not be written again.
#[derive(Debug, Clone, Default)]
pub(crate) struct Draft {
    /// Why.
    pub(crate) reason: String,
    /// What was to be said about the proposal.
    pub(crate) comment: String,
    /// What of the proposal it was to be about.
    pub(crate) about: String,
    /// Why the verdict, or the comment, was not taken.
    pub(crate) problem: Option<String>,
    /// The grips that were ticked, by their place; none: all that change.
    pub(crate) grips: Option<Vec<usize>>,
}

/// What keeps who looks at a proposal from deciding, whatever they choose: said before they write a reason.
#[derive(Debug, Clone, Default)]
pub(crate) struct Bars {
    /// Why they can't approve it.
    pub(crate) approve: Option<String>,
    /// Why they can't reject it.
    pub(crate) reject: Option<String>,
}

/// Returns the form, or nothing where the verdict is given.
pub(crate) fn form(view: &View<'_>) -> Markup {
    let standing = view.state.standing(view.entry, view.now);
    if matches!(
        standing,
        ProposalStanding::Approved | ProposalStanding::Rejected
    ) {
        return html! {};
    }
    let is_open = standing == ProposalStanding::Open;
    let changes = Tally::of(&view.entry.proposal.nodes).changes();
    let own = view.take.own().len();
    html! {
        section.decide #decide aria-labelledby="decide-title" tabindex="-1" {
            h2 #decide-title { (if is_open { "Decide" } else { "Put it aside" }) }
            (lean(view))
            (cautions())
            @if let Some(words) = view.bars.approve.as_ref().filter(|_| is_open) {
                p.problem.barred { strong { "Not yours to approve. " } (sentence_case(words)) "." }
            }
            @if is_open && changes > 0 { (choice(view, changes)) }
            input type="hidden" name="etag" value=(verdict::etag(&view.entry.proposal));
            @if view.aspect == Aspect::Choose { input type="hidden" name="own-shares" value=(view.take.own_code()); }
            @else { input type="hidden" name="take" value=(view.take.code()); }
            (fields(&view.draft))
            div.buttons {
                @if is_open && changes > 0 {
                    button.approve type="submit" formaction={ (view.path()) "/approve" } disabled[view.bars.approve.is_some()]
                        data-barred[view.bars.approve.is_some()] {
                        "Approve " span data-count { (counted(view.take.count(), "change")) }
                        span data-share { @if view.take.is_less() { ", " (view.take.share_percent()) " % of each" } }
                        @if own > 0 { span { ", " (own) " by a share of its own" } }
                    }
                }
                button.reject type="submit" formaction={ (view.path()) "/reject" } disabled[view.bars.reject.is_some()] { "Reject" }
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
    let nodes = view.entry.proposal.nodes.iter().enumerate();
    let risks = nodes.map(|(index, node)| (node, lean_risk(view, index)));
    let mut nodes: Vec<(&NodeChange, f64)> = risks
        .filter(|(node, risk)| node.visits > 0 && *risk >= LEAN_RISK_MARKED)
        .collect();
    if nodes.is_empty() {
        return html! {};
    }
    nodes.sort_by(|(_, one), (_, other)| other.total_cmp(one));
    html! {
        div.problem role="note" aria-label="Perhaps too lean" {
            p {
                strong { (counted(nodes.len(), "node")) " may end up leaner than permitted" }
                ", with the changes that are chosen" span data-as-loaded hidden { " as this page came" } ". Keep the engine out of there until a pull has looked, or give it fuel first:"
            }
            ul.lean {
                @for (node, risk) in nodes.iter().take(LEAN_NAMED_MAX) {
                    li {
                        a href={ "?node=" (breakpoint(node.rpm)) ":" (breakpoint(node.plate_percent)) "#at" } {
                            (place(node.rpm, node.plate_percent))
                        }
                        " " span { "(chance " (chance(*risk)) ")" }
                    }
                }
                @if nodes.len() > LEAN_NAMED_MAX { li { "and " (nodes.len() - LEAN_NAMED_MAX) " more" } }
            }
        }
    }
}

/// Returns the chance that a node ends leaner than permitted with the choice: where its change is left out or taken in
/// part, lambda follows the fuel that it does get.
#[expect(
    clippy::float_cmp,
    reason = "both values come from the same table: as proposed means the very same number"
)]
pub(crate) fn lean_risk(view: &View<'_>, index: usize) -> f64 {
    let node = &view.entry.proposal.nodes[index];
    let value = view.value(index);
    if value == node.after {
        return node.lean_risk;
    }
    let content = view.state.spec.table.content;
    let lambda = node.lambda_before * content.fuel(node.before) / content.fuel(value);
    let limits = &view.state.spec.limits;
    let wall = limits.leanest_lambda_at(node.rpm, node.plate_percent);
    chance_leaner(lambda, wall, node.total_standard_error_percent)
}

fn fields(draft: &Draft) -> Markup {
    html! {
        @if let Some(name) = signed::actor() { p.quiet { "You sign as " strong data-reviewer { (name.0) } "." } }
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
        (part::named(view))
        (share(view))
        @if let Some(obstacle) = obstacle(view) { p.problem data-obstacle { (obstacle) } }
    }
}

/// Returns how much of each change is taken.
fn share(view: &View<'_>) -> Markup {
    html! {
        div.share {
            label.field {
                span { "How much of each change, percent" }
                input type="number" name="share" min="1" max="100" step="1" value=(view.take.share_percent());
            }
            button type="submit" name="to" value=(Aspect::After.as_str()) formnovalidate { "Show the result" }
            p.quiet { "Less than 100 brings a node only part of the way: a lean one stays leaner than After shows for the whole." }
        }
    }
}

/// Returns what would keep the choice from being approved, found out before anybody asks.
fn obstacle(view: &View<'_>) -> Option<Markup> {
    if view.take.count() == 0 {
        return Some(html! { "No change is chosen: there would be nothing to approve." });
    }
    if let Some((node, share)) = view
        .take
        .own()
        .into_iter()
        .find(|&own| is_less_than_a_step(view, own))
    {
        let node = &view.entry.proposal.nodes[node];
        return Some(html! {
            (share) " % of the change at "
            a href={ "?node=" (breakpoint(node.rpm)) ":" (breakpoint(node.plate_percent)) "#at" } { (place(node.rpm, node.plate_percent)) }
            " is less than the table can store: take more of it, or leave it out."
        });
    }
    let choice = choice_of(view.state, &view.entry.proposal, &view.take);
    let refusal = verdict::obstacle(view.state, view.entry.proposal.id, &choice, view.now)?;
    Some(match refusal {
        Refusal::SubsetBreaksNeighbour {
            rpm,
            plate_percent,
            neighbour_rpm,
            neighbour_plate_percent,
            neighbour_percent,
            ..
        } => html! {
            "This choice can't be approved: it would leave "
            a href={ "?node=" (breakpoint(rpm)) ":" (breakpoint(plate_percent)) "#at" } { (place(rpm, plate_percent)) }
            " and "
            a href={ "?node=" (breakpoint(neighbour_rpm)) ":" (breakpoint(neighbour_plate_percent)) "#at" } {
                (place(neighbour_rpm, neighbour_plate_percent))
            }
            " further than " (breakpoint(neighbour_percent)) " % apart. Take both, or leave both."
        },
        other => html! { (other) },
    })
}

#[expect(
    clippy::float_cmp,
    reason = "both values come from the same table: unchanged means the very same number"
)]
fn is_less_than_a_step(view: &View<'_>, (node, share): (usize, u8)) -> bool {
    view.proposed_value(node, share) == view.entry.proposal.nodes[node].before
}

/// Returns what is taken as a verdict names it.
pub(crate) fn choice_of(state: &JobState, proposal: &Proposal, take: &Take) -> Choice {
    let nodes = take.nodes().into_iter().map(|node| {
        let (rpm, plate_percent) = state.spec.axes.position(node);
        let NodeChange { before, after, .. } = proposal.nodes[node];
        let value =
            |share| part_of_change(&state.spec.table, before, after, f64::from(share) / 100.0);
        NodeChoice {
            rpm,
            plate_percent,
            value: take.own_at(node).map(value),
        }
    });
    Choice {
        share_percent: f64::from(take.share_percent()),
        nodes: nodes.collect(),
        grip_percent: Vec::new(),
    }
}

/// Returns what became of the proposal, and what to do next.
pub(crate) fn outcome(view: &View<'_>) -> Markup {
    let job = view.state.id();
    let base = view.entry.proposal.base_revision;
    let standing = view.state.standing(view.entry, view.now);
    let head = view.state.head_of(&view.entry.proposal.table);
    let head = head.map_or(base, |head| head.id);
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
                    p { strong { "Rejected" } " by " (verdict.by) ", " (moment(verdict.at)) (one_person(verdict)) ". The table stays as it is." }
                    blockquote { (verdict.reason) }
                    p { "Pull again, then compute anew: " code { (again(view)) } }
                }
            }
            (None, ProposalStanding::Stale) => {
                div.outcome.stale role="status" {
                    p {
                        strong { "Stale" } ": it was computed from " (base) ", and "
                        a href=(address::revision(job, head)) { (head) }
                        " is in force. It can't be approved any more. "
                        a href=(address::compare(job, base, head)) { "See what changed since" } "."
                    }
                    p { "Compute it again: " code { (again(view)) } }
                }
            }
            (None, ProposalStanding::Expired) => {
                div.outcome.stale role="status" {
                    p {
                        strong { "Expired" }
                        @if let Some(at) = view.entry.proposal.expires_at() { " " (moment(at)) }
                        ". The rules of the shop gave it so much time; it can't be approved any more."
                    }
                    p { "Compute it again: " code { (again(view)) } }
                }
            }
            (None, _) => {}
        }
    }
}

/// Returns the command that computes it anew.
fn again(view: &View<'_>) -> String {
    let job = view.state.id();
    match view.entry.proposal.table.mode() {
        None => format!("baytrim propose {job}"),
        Some(mode) => format!("baytrim grip propose {job} --mode {mode}"),
    }
}

fn one_person(verdict: &VerdictEntry) -> &'static str {
    match verdict.duty {
        Some(Duty::OnePerson) => ", in a shop of one person",
        None => "",
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
                strong { "Approved" } " by " (verdict.by) ", " (moment(verdict.at)) (one_person(verdict)) ": "
                (counted(nodes.len(), "change")) " of " (view.entry.proposal.change_count()) " "
                @if !verdict.reduced.is_empty() { "(of " (verdict.reduced.len()) " less than proposed) " }
                "became "
                a href=(address::revision(job, *revision)) { (revision) } "."
            }
            blockquote { (verdict.reason) }
            p {
                "Next: export it with "
                @if view.entry.proposal.table.is_fuel() { code { "baytrim table export " (job) " --format csv --output " (job) ".csv" } }
                @else { code { "baytrim table export " (job) " --revision " (revision) " --format csv --output " (job) "-grip.csv" } }
                ", load it, pull again. "
                a href=(address::compare(job, view.entry.proposal.base_revision, *revision)) { "See what changed" } "."
            }
        }
        (lean(view))
    }
}
