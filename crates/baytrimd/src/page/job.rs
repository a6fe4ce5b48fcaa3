//! A job's page: its facts, and everything that happened.

use baytrim_jobs::JobState;
use baytrim_jobs::state::{ProposalStanding, PullEntry};
use baytrim_model::ids::{RevisionId, UnixMillis};
use baytrim_model::proposal::Proposal;
use baytrim_model::revision::{Revision, RevisionOrigin};
use maud::{Markup, html};

use super::moment::{age, moment};
use super::number::{breakpoint, counted, seconds};
use super::{address, frame, pull, strip};

/// Returns the page.
pub(super) fn page(state: &JobState, now: UnixMillis) -> Markup {
    let body = html! {
        div.title {
            h1 { (state.spec.title) }
            p.quiet { code { (state.id()) } ", opened by " (state.opened_by) ", " (moment(state.opened_at)) }
        }
        (address::sections(state.id(), "job"))
        @if !state.spec.notes.is_empty() { p.notes { (state.spec.notes) } }
        section #live-proposals data-live aria-labelledby="proposals" { h2 #proposals { "Proposals" } (proposals(state, now)) }
        section #live-pulls data-live aria-labelledby="pulls" { h2 #pulls { "Pulls" } (pulls(state, now)) }
        section #live-revisions data-live aria-labelledby="revisions" { h2 #revisions { "Revisions" } (revisions(state)) }
        section aria-labelledby="facts" { h2 #facts { "Facts" } (facts(state)) }
    };
    frame::page(&state.spec.title, &[], &body)
}

/// Returns where a proposal stands, in a word.
pub(super) fn standing(standing: ProposalStanding) -> &'static str {
    match standing {
        ProposalStanding::Open => "waits for a verdict",
        ProposalStanding::Approved => "approved",
        ProposalStanding::Rejected => "rejected",
        ProposalStanding::Stale => "stale: the table has moved on",
        ProposalStanding::Expired => "expired",
    }
}

fn proposals(state: &JobState, now: UnixMillis) -> Markup {
    let job = state.id();
    if state.proposals.is_empty() {
        return html! { p.empty { "None yet. One is computed with " code { "baytrim propose " (job) } "." } };
    }
    html! {
        ul.cards {
            @for entry in state.proposals.iter().rev() {
                @let proposal = &entry.proposal;
                @let changes = proposal.change_count();
                li {
                    a.card href=(address::proposal(job, proposal.id)) {
                        (figure(proposal))
                        span.what {
                            strong { "Proposal " (proposal.id) ": " (standing(state.standing(entry, now))) }
                            span { (counted(changes, "change")) " to " (proposal.base_revision) " from " (counted(proposal.pulls.len(), "pull")) }
                            span.quiet { (proposal.created_by) ", " (age(proposal.created_at, now)) }
                        }
                    }
                }
            }
        }
    }
}

fn pulls(state: &JobState, now: UnixMillis) -> Markup {
    let job = state.id();
    if state.pulls.is_empty() {
        return html! { p.empty { "None yet. A log is sent with " code { "baytrim pull submit " (job) " LOG --bay NAME" } "." } };
    }
    let ends = state.pulls.first().zip(state.pulls.last());
    html! {
        @if state.pulls.iter().any(|entry| entry.record.summary.power.is_some()) {
            p { a href=(address::power(job)) { "Power and torque of pulls, side by side" } }
        }
        ul.cards { @for entry in state.pulls.iter().rev() { li { (pull_card(state, entry, now)) } } }
        @if let Some((first, last)) = ends.filter(|_| state.pulls.len() > 1) {
            (super::pulls::form(state, first.record.id, last.record.id))
        }
    }
}

fn pull_card(state: &JobState, entry: &PullEntry, now: UnixMillis) -> Markup {
    let record = &entry.record;
    let summary = &record.summary;
    html! {
        a.card href=(address::pull(state.id(), record.id)) {
            span.figure { strong { (pull::share(summary)) " %" } span { "accepted" } }
            span.what {
                strong { "Pull " (record.id) ", bay " (record.bay) }
                span {
                    (seconds(summary.accepted_s)) " of " (seconds(summary.duration_s)) " accepted, with " (record.revision) " loaded"
                    @if let Some(most) = most_refused(entry) { "; most refused: " (most) }
                }
                (strip::picture(summary))
                span.quiet {
                    "Delay: " (pull::source(summary.delay.source)) ". "
                    @if !summary.warnings.is_empty() { (counted(summary.warnings.len(), "warning")) ". " }
                    (entry.by) ", " (age(entry.at, now))
                }
            }
        }
    }
}

fn most_refused(entry: &PullEntry) -> Option<&'static str> {
    let counts = entry.record.summary.refused.iter();
    let most = counts.max_by(|one, other| one.refused_s.total_cmp(&other.refused_s))?;
    Some(most.gate.sentence())
}

fn revisions(state: &JobState) -> Markup {
    let job = state.id();
    html! {
        div.scroll.wide role="region" tabindex="0" aria-label="Table of revisions" {
            table.list {
                thead { tr {
                    th scope="col" { "revision" } th scope="col" { "from" } th scope="col" { "why" }
                    th scope="col" { "who" } th scope="col" { "when" } th scope="col" { "compare" }
                } }
                tbody {
                    @for revision in state.revisions.iter().rev() {
                        tr {
                            th scope="row" {
                                a href=(address::revision(job, revision.id)) { (revision.id) }
                                @if let Some(mode) = revision.table.mode() { " grip, " (mode) } @if state.is_in_force(revision) { " in force" }
                            }
                            td { (origin(state, revision)) }
                            td { (revision.reason) }
                            td { (revision.created_by) }
                            td { (moment(revision.created_at)) }
                            td {
                                @if let Some(before) = before(state, revision) {
                                    a href=(address::compare(job, before, revision.id)) { "with " (before) }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// Returns the revision of the same table before this one.
fn before(state: &JobState, revision: &Revision) -> Option<RevisionId> {
    let mut earlier = state.revisions_of(&revision.table).rev();
    earlier
        .find(|earlier| earlier.id < revision.id)
        .map(|earlier| earlier.id)
}

/// Returns the figure of a proposal's card.
pub(super) fn figure(proposal: &Proposal) -> Markup {
    html! {
        @match proposal.table.mode() {
            None => span.figure { strong { (format!("{:.1}", proposal.fit.off_target_percent)) " %" } span { "off target" } },
            Some(mode) => span.figure { strong { "Grip" } span { "mode " (mode) } },
        }
    }
}

/// Returns where a revision came from.
pub(super) fn origin(state: &JobState, revision: &Revision) -> Markup {
    let job = state.id();
    html! {
        @match &revision.origin {
            RevisionOrigin::Base => "the vehicle",
            RevisionOrigin::Approval { proposal } => { a href=(address::proposal(job, *proposal)) { "proposal " (proposal) } },
            RevisionOrigin::Revert { to } => { a href=(address::revision(job, *to)) { (to) } ", put back" },
        }
    }
}

fn facts(state: &JobState) -> Markup {
    let spec = &state.spec;
    let (engine, limits) = (&spec.engine, &spec.limits);
    let bays: Vec<&str> = spec
        .bays
        .keys()
        .map(baytrim_model::ids::BayName::as_str)
        .collect();
    html! {
        dl.facts {
            div { dt { "Engine" } dd {
                (breakpoint(engine.displacement_cc)) " cc, " (counted(engine.cylinders.into(), "cylinder")) ", " (engine.strokes) "-stroke"
            } }
            div { dt { "Fuel" } dd { (spec.fuel.name) ", stoichiometric air-fuel ratio " (breakpoint(spec.fuel.stoichiometric_afr)) } }
            div { dt { "Table" } dd {
                (spec.axes.plate_percent.len()) " plate angles by " (spec.axes.rpm.len()) " speeds; "
                (spec.table.content.as_str().replace('_', " ")) ", in steps of " (breakpoint(spec.table.resolution))
            } }
            div { dt { "Bays" } dd { (bays.join(", ")) } }
            div { dt { "Limits" } dd {
                "one proposal " (breakpoint(limits.step_percent)) " %, from the base table " (breakpoint(limits.total_percent))
                " %, between neighbours " (breakpoint(limits.neighbour_percent)) " %, left alone below " (breakpoint(limits.deadband_percent)) " %"
            } }
            div { dt { "Leanest lambda" } dd {
                (breakpoint(limits.leanest_lambda))
                @for wall in &limits.walls { "; " (breakpoint(wall.lambda_max)) " " (region(wall)) }
            } }
        }
    }
}

fn region(wall: &baytrim_model::limits::Wall) -> String {
    let part = |name: &str, low: f64, high: f64, unit: &str| match (low > 0.0, high < 1e9) {
        (false, false) => None,
        (true, false) => Some(format!("{name} from {low}{unit}")),
        (false, true) => Some(format!("{name} to {high}{unit}")),
        (true, true) => Some(format!("{name} {low} to {high}{unit}")),
    };
    let parts = [
        part(
            "plate",
            wall.plate_percent_min,
            wall.plate_percent_max,
            " %",
        ),
        part("at", wall.rpm_min, wall.rpm_max, " rpm"),
    ];
    let parts: Vec<String> = parts.into_iter().flatten().collect();
    if parts.is_empty() {
        "everywhere".to_owned()
    } else {
        parts.join(", ")
    }
}
