//! The inbox: what waits for a verdict, then all jobs.

use std::sync::Arc;

use baytrim_jobs::state::{ProposalEntry, ProposalStanding};
use baytrim_jobs::{JobBrief, JobState};
use baytrim_model::ids::UnixMillis;
use maud::{Markup, html};

use super::moment::{age, moment};
use super::number::counted;
use super::{address, frame};

/// A proposal that waits, with its job.
pub(super) type Waiting<'a> = (&'a JobState, &'a ProposalEntry);

/// Returns the page: `jobs`, and of those `busy` all in which something waits. `next` is the path of the page after this
/// one, where there is one.
pub(super) fn page(
    jobs: &[JobBrief],
    busy: &[Arc<JobState>],
    next: Option<&str>,
    now: UnixMillis,
) -> Markup {
    let waiting = waiting(busy, now);
    let body = html! {
        h1 { "Inbox" }
        (address::house_sections("inbox"))
        section #live-waiting data-live aria-labelledby="waiting" {
            h2 #waiting { "Waiting for a verdict" }
            @if waiting.is_empty() {
                p.empty { "Nothing waits. A proposal comes from " code { "baytrim propose JOB" } "." }
            }
            @for (bays, waiting) in by_bay(&waiting) {
                h3 { (bays) }
                ul.cards { @for (job, entry) in waiting { li { (card(job, entry, now)) } } }
            }
        }
        section #live-jobs data-live aria-labelledby="jobs" {
            h2 #jobs { "Jobs" }
            @if jobs.is_empty() {
                p.empty { "No job yet. One is opened with " code { "baytrim job open FILE" } "." }
            } @else { (table(jobs, now)) }
            @if let Some(next) = next { p { a.button href=(next) { "More jobs" } } }
        }
    };
    frame::page("Inbox", &[], &body)
}

/// Returns the proposals that wait, oldest first: who waits longest is seen first.
pub(super) fn waiting(jobs: &[Arc<JobState>], now: UnixMillis) -> Vec<Waiting<'_>> {
    let open = jobs.iter().flat_map(|job| {
        let entries = job.proposals.iter();
        entries
            .filter(move |entry| job.standing(entry, now) == ProposalStanding::Open)
            .map(move |entry| (&**job, entry))
    });
    let mut open: Vec<Waiting<'_>> = open.collect();
    open.sort_by_key(|(_, entry)| entry.proposal.created_at);
    open
}

/// Returns what waits, bay by bay: the bay that waits longest first, and in each the oldest proposal first.
pub(super) fn by_bay<'a>(waiting: &[Waiting<'a>]) -> Vec<(String, Vec<Waiting<'a>>)> {
    let mut found: Vec<(String, Vec<Waiting<'a>>)> = Vec::new();
    for &(job, entry) in waiting {
        let bays = bays(job, entry);
        match found.iter_mut().find(|(name, _)| *name == bays) {
            Some((_, here)) => here.push((job, entry)),
            None => found.push((bays, vec![(job, entry)])),
        }
    }
    found
}

/// Returns the bays that a proposal's pulls came from, each once.
pub(super) fn bays(job: &JobState, entry: &ProposalEntry) -> String {
    let mut names: Vec<&str> = Vec::new();
    for pull in &entry.proposal.pulls {
        if let Ok(pull) = job.pull(*pull)
            && !names.contains(&pull.record.bay.as_str())
        {
            names.push(pull.record.bay.as_str());
        }
    }
    let word = if names.len() == 1 { "Bay" } else { "Bays" };
    format!("{word} {}", names.join(", "))
}

fn card(job: &JobState, entry: &ProposalEntry, now: UnixMillis) -> Markup {
    let proposal = &entry.proposal;
    let changes = proposal.change_count();
    let what = if proposal.table.is_fuel() {
        "node"
    } else {
        "grip"
    };
    html! {
        a.card href=(address::proposal(job.id(), proposal.id)) {
            (super::job::figure(proposal))
            span.what {
                strong { (job.spec.title) }
                span { "Proposal " (proposal.id) ": " (counted(changes, what)) " would change" }
                span.quiet { (proposal.created_by) ", " (age(proposal.created_at, now)) }
            }
        }
    }
}

fn table(jobs: &[JobBrief], now: UnixMillis) -> Markup {
    let mut jobs: Vec<&JobBrief> = jobs.iter().collect();
    jobs.sort_by_key(|job| std::cmp::Reverse(job.active_at));
    html! {
        div.scroll.wide role="region" tabindex="0" aria-label="Table of jobs" {
            table.list {
                thead { tr {
                    th scope="col" { "job" } th scope="col" { "name" } th.n scope="col" { "in force" }
                    th.n scope="col" { "pulls" } th.n scope="col" { "proposals" } th scope="col" { "last activity" }
                } }
                tbody {
                    @for job in jobs {
                        tr {
                            th scope="row" { a href=(address::job(&job.facts.id)) { (job.facts.title) } }
                            td { code { (job.facts.id) } }
                            td.n { (job.in_force) }
                            td.n { (job.pull_count) }
                            td.n { (job.proposal_count) }
                            td { (age(job.active_at, now)) " " span.quiet { (moment(job.active_at)) } }
                        }
                    }
                }
            }
        }
    }
}
