//! Where each page is, and the links between a job's pages.

use baytrim_model::ids::{JobId, ProposalId, PullId, RevisionId};
use maud::{Markup, html};

/// Returns the path of a job's page.
pub(super) fn job(job: &JobId) -> String {
    format!("/jobs/{job}")
}

/// Returns the path of a pull's page.
pub(super) fn pull(job: &JobId, pull: PullId) -> String {
    format!("/jobs/{job}/pulls/{pull}")
}

/// Returns the path of a proposal's page.
pub(super) fn proposal(job: &JobId, proposal: ProposalId) -> String {
    format!("/jobs/{job}/proposals/{proposal}")
}

/// Returns the path of a revision's page.
pub(super) fn revision(job: &JobId, revision: RevisionId) -> String {
    format!("/jobs/{job}/revisions/{revision}")
}

/// Returns the address of the comparison of two revisions.
pub(super) fn compare(job: &JobId, from: RevisionId, to: RevisionId) -> String {
    format!("/jobs/{job}/compare?from={from}&to={to}")
}

/// Returns the path of a job's chart of lambda against speed.
pub(super) fn traces(job: &JobId) -> String {
    format!("/jobs/{job}/traces")
}

/// Returns the path of a job's power.
pub(super) fn power(job: &JobId) -> String {
    format!("/jobs/{job}/power")
}

/// Returns the path of a job's coverage and plan.
pub(super) fn coverage(job: &JobId) -> String {
    format!("/jobs/{job}/coverage")
}

/// Returns the path of a job's stages.
pub(super) fn stages(job: &JobId) -> String {
    format!("/jobs/{job}/stages")
}

/// Returns the path of what the library has for a job.
pub(super) fn library(job: &JobId) -> String {
    format!("/jobs/{job}/library")
}

/// Returns the path of how the plate follows the hand in a job.
pub(super) fn grip(job: &JobId) -> String {
    format!("/jobs/{job}/grip")
}

/// Returns the path of a job's sheet.
pub(super) fn sheet(job: &JobId) -> String {
    format!("/jobs/{job}/sheet")
}

/// Returns the links between a job's pages; `here` names the one that is shown.
pub(super) fn sections(job: &JobId, here: &str) -> Markup {
    let sections = [
        ("job", "History", self::job(job)),
        ("coverage", "Coverage and plan", coverage(job)),
        ("traces", "Traces", traces(job)),
        ("stages", "Stages", stages(job)),
        ("library", "Library", library(job)),
        ("power", "Power", power(job)),
        ("grip", "Grip", grip(job)),
        ("sheet", "Job sheet", sheet(job)),
    ];
    html! {
        nav.tabs aria-label="Pages of this job" {
            @for (name, words, path) in sections {
                a href=(path) aria-current=[(name == here).then_some("page")] { (words) }
            }
        }
    }
}

/// Returns the links between the pages of the whole shop; `here` names the one that is shown.
pub(super) fn house_sections(here: &str) -> Markup {
    let sections = [("inbox", "Inbox", "/"), ("shop", "Shop", "/shop")];
    html! {
        nav.tabs aria-label="Pages of the shop" {
            @for (name, words, path) in sections {
                a href=(path) aria-current=[(name == here).then_some("page")] { (words) }
            }
        }
    }
}

/// Returns the path of what the chart of a pull over time draws.
pub(super) fn timeline(job: &JobId, pull: PullId) -> String {
    format!("/jobs/{job}/pulls/{pull}/timeline")
}

/// Returns the path of a pull over time as a table.
pub(super) fn timeline_table(job: &JobId, pull: PullId) -> String {
    format!("/jobs/{job}/pulls/{pull}/table")
}
