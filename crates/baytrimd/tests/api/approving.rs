//! The usual approval, for tests that need what comes of one.

use baytrim_api::v1::{ApproveProposalRequest, Proposal};

use crate::harness::{Daemon, by};

/// Returns the request that approves all of `proposal`, as it was seen.
pub fn approval(proposal: &Proposal) -> ApproveProposalRequest {
    ApproveProposalRequest {
        name: proposal.name.clone(),
        etag: proposal.etag.clone(),
        reason: "plugs read well".to_owned(),
        ..ApproveProposalRequest::default()
    }
}

impl Daemon {
    /// Starts a daemon whose job `j` has one pull, 4 % too lean, and a revision `r1` that adds what is missing.
    pub async fn with_revision() -> Self {
        let daemon = Self::start().await;
        daemon.open_job("j").await;
        let proposal = daemon.proposal("j").await;
        daemon.approve(&proposal).await;
        daemon
    }

    /// Approves all of `proposal`, as Ines.
    pub async fn approve(&self, proposal: &Proposal) {
        let request = by("Ines", approval(proposal));
        self.reviews().approve_proposal(request).await.unwrap();
    }
}
