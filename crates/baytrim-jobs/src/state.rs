//! A job as its records tell it.

mod entry;
mod find;
mod outcome;
mod stages;
mod tables;

use std::collections::HashMap;

use baytrim_model::ids::{Actor, ProposalId, RequestId, RevisionId, UnixMillis};
use baytrim_model::job::JobSpec;
use baytrim_model::record::{JobEvent, JobRecord};
use baytrim_model::revision::{Revision, RevisionOrigin, TableKind};

pub use entry::{ClosedEntry, CommentEntry, ProposalEntry, PullEntry, StageEntry, VerdictEntry};
pub use outcome::{FoldError, Outcome, ProposalStanding};

/// A job as its records tell it: nothing here that they do not.
#[derive(Debug, Clone, PartialEq)]
pub struct JobState {
    /// What the job was opened with.
    pub spec: JobSpec,
    /// When it was opened.
    pub opened_at: UnixMillis,
    /// Who opened it.
    pub opened_by: Actor,
    /// Finished pulls, oldest first; `p1` is the first.
    pub pulls: Vec<PullEntry>,
    /// Proposals, oldest first; `c1` is the first.
    pub proposals: Vec<ProposalEntry>,
    /// Stages, oldest first; `s1` is the vehicle as it came and the last is the one it is in.
    pub stages: Vec<StageEntry>,
    /// When and why the job was closed; none while it is in work.
    pub closed: Option<ClosedEntry>,
    /// Revisions, oldest first; `r0`, the base table, is the first and the last is in force.
    pub revisions: Vec<Revision>,
    /// What each request id came to.
    requests: HashMap<RequestId, Outcome>,
    latest_at: UnixMillis,
    latest_by: Actor,
    record_count: u64,
}

impl JobState {
    /// Returns the job that its first record opens.
    ///
    /// # Errors
    /// When the record does not open a job.
    pub fn opened(record: &JobRecord) -> Result<Self, FoldError> {
        let JobEvent::JobOpened { spec } = &record.event else {
            return Err(FoldError::NotOpened);
        };
        let base = Revision {
            id: RevisionId(0),
            origin: RevisionOrigin::Base,
            table: TableKind::Fuel,
            values: spec.table.values.clone(),
            created_at: record.at,
            created_by: record.by.clone(),
            reason: "the table that came with the vehicle".to_owned(),
        };
        let revisions = tables::first_revisions(spec, &base);
        let requests = record.request_id.iter().cloned();
        Ok(Self {
            spec: (**spec).clone(),
            opened_at: record.at,
            opened_by: record.by.clone(),
            pulls: Vec::new(),
            proposals: Vec::new(),
            stages: vec![entry::as_it_came(record)],
            closed: None,
            revisions,
            requests: requests.map(|id| (id, Outcome::Opened)).collect(),
            latest_at: record.at,
            latest_by: record.by.clone(),
            record_count: 1,
        })
    }

    /// Returns the job that `records`, from its first, tell.
    ///
    /// # Errors
    /// When there are none, or one does not follow those before it.
    pub fn fold<'a>(mut records: impl Iterator<Item = &'a JobRecord>) -> Result<Self, FoldError> {
        let mut state = Self::opened(records.next().ok_or(FoldError::NotOpened)?)?;
        for record in records {
            state.apply(record)?;
        }
        Ok(state)
    }

    /// Takes the next record in.
    ///
    /// # Errors
    /// When it does not follow those before it; the job is then as before.
    pub fn apply(&mut self, record: &JobRecord) -> Result<(), FoldError> {
        let outcome = self.apply_event(record)?;
        if stages::is_work(&record.event) {
            self.closed = None;
        }
        if let Some(id) = &record.request_id {
            self.requests.insert(id.clone(), outcome);
        }
        self.latest_at = self.latest_at.max(record.at);
        self.latest_by = record.by.clone();
        self.record_count += 1;
        Ok(())
    }

    fn apply_event(&mut self, record: &JobRecord) -> Result<Outcome, FoldError> {
        Ok(match &record.event {
            JobEvent::JobOpened { .. } => return Err(FoldError::OpenedTwice(self.record_count)),
            JobEvent::PullFinished { pull } => {
                self.check_order(pull.id == self.next_pull(), || format!("pull {}", pull.id))?;
                let stage = pull.stage.unwrap_or_else(|| self.stage().id);
                self.check_stage(stage)?;
                self.pulls.push(PullEntry {
                    record: (**pull).clone(),
                    at: record.at,
                    by: record.by.clone(),
                    stage,
                });
                Outcome::Pull(pull.id)
            }
            JobEvent::ProposalMade { proposal } => {
                let next = proposal.id == self.next_proposal();
                self.check_order(next, || format!("proposal {}", proposal.id))?;
                self.proposals.push(ProposalEntry {
                    proposal: (**proposal).clone(),
                    verdict: None,
                    comments: Vec::new(),
                });
                Outcome::Proposal(proposal.id)
            }
            JobEvent::ProposalApproved {
                proposal,
                nodes,
                reduced,
                duty,
                revision,
            } => {
                self.check_revision(revision)?;
                let verdict = VerdictEntry {
                    at: record.at,
                    by: record.by.clone(),
                    reason: revision.reason.clone(),
                    approved: Some((revision.id, nodes.clone())),
                    reduced: reduced.clone(),
                    duty: *duty,
                };
                self.decide(*proposal, verdict)?;
                self.revisions.push((**revision).clone());
                Outcome::Approved(*proposal)
            }
            JobEvent::ProposalRejected {
                proposal,
                reason,
                duty,
            } => {
                let verdict = VerdictEntry {
                    at: record.at,
                    by: record.by.clone(),
                    reason: reason.clone(),
                    approved: None,
                    reduced: Vec::new(),
                    duty: *duty,
                };
                self.decide(*proposal, verdict)?;
                Outcome::Rejected(*proposal)
            }
            JobEvent::CommentMade {
                proposal,
                number,
                node,
                text,
            } => {
                let comment = CommentEntry {
                    at: record.at,
                    by: record.by.clone(),
                    node: *node,
                    text: text.clone(),
                };
                self.comment(*proposal, *number, comment)?;
                Outcome::Commented(*proposal, *number)
            }
            JobEvent::TableReverted { revision } => {
                self.check_revision(revision)?;
                self.revisions.push((**revision).clone());
                Outcome::Reverted(revision.id)
            }
            JobEvent::TableExported { revision, .. } => Outcome::Exported(*revision),
            JobEvent::StageBegun { stage } => self.begin_stage(stage, record)?,
            JobEvent::PullAssigned { pull, stage, .. } => self.assign(*pull, *stage)?,
            JobEvent::JobClosed { reason } => self.close(reason, record),
            JobEvent::JobReopened { .. } => Outcome::Reopened,
        })
    }

    fn decide(&mut self, id: ProposalId, verdict: VerdictEntry) -> Result<(), FoldError> {
        let waiting = self.proposal(id).is_ok_and(|entry| entry.verdict.is_none());
        self.check_order(waiting, || format!("a verdict on {id}"))?;
        self.proposals[id.0 as usize - 1].verdict = Some(verdict);
        Ok(())
    }

    fn comment(
        &mut self,
        id: ProposalId,
        number: u32,
        comment: CommentEntry,
    ) -> Result<(), FoldError> {
        let entry = self.proposal(id).ok();
        let next = entry.is_some_and(|entry| entry.next_comment() == number);
        self.check_order(next, || format!("comment {number} on {id}"))?;
        self.proposals[id.0 as usize - 1].comments.push(comment);
        Ok(())
    }

    fn check_revision(&self, revision: &Revision) -> Result<(), FoldError> {
        let fits = revision.id == self.next_revision()
            && Some(revision.values.len()) == self.node_count_of(&revision.table);
        self.check_order(fits, || format!("revision {}", revision.id))
    }

    fn check_order(&self, fits: bool, what: impl Fn() -> String) -> Result<(), FoldError> {
        if fits {
            return Ok(());
        }
        Err(FoldError::OutOfOrder {
            record: self.record_count,
            what: what(),
        })
    }

    /// Returns where a proposal stands at the moment that the clock tells. A clock that tells less than the latest
    /// record is not believed.
    pub fn standing(&self, entry: &ProposalEntry, clock: UnixMillis) -> ProposalStanding {
        let expires_at = entry.proposal.expires_at();
        match &entry.verdict {
            Some(verdict) if verdict.approved.is_some() => ProposalStanding::Approved,
            Some(_) => ProposalStanding::Rejected,
            None if !self.is_base_in_force(entry) => ProposalStanding::Stale,
            None if expires_at.is_some_and(|at| at <= clock.max(self.latest_at)) => {
                ProposalStanding::Expired
            }
            None => ProposalStanding::Open,
        }
    }

    /// Returns what a request id came to before, where it was used.
    pub fn outcome(&self, request_id: Option<&RequestId>) -> Option<Outcome> {
        self.requests.get(request_id?).copied()
    }

    /// Returns the fuel change of a revision of the fuel table from the base table, node by node, as a natural
    /// logarithm.
    pub fn log_trim(&self, revision: &Revision) -> Vec<f64> {
        let content = self.spec.table.content;
        let base = &self.spec.table.values;
        let pairs = revision.values.iter().zip(base);
        pairs
            .map(|(&value, &base)| (content.fuel(value) / content.fuel(base)).ln())
            .collect()
    }
}

fn count(len: usize) -> u32 {
    u32::try_from(len).expect("a job has fewer than 2^32 of anything")
}
