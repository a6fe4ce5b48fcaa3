//! Where each page is.

use baytrim_model::ids::{JobId, ProposalId, PullId, RevisionId};

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
