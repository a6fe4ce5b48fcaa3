//! The proposals of all jobs that wait for a verdict, and what becomes of them.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use baytrim_api::v1;
use baytrim_api::v1::{WatchProposalsRequest, WatchProposalsResponse};
use baytrim_jobs::Refusal;
use baytrim_ledger::{Head, StreamName};
use baytrim_model::ids::{JobId, ProposalId};

use super::line::{End, Line, Woken};
use crate::clock;
use crate::compute::blocking;
use crate::convert::{name, proposal};
use crate::fault::Fault;
use crate::limits::KNOWN_PROPOSALS_MAX;
use crate::shop::{JOB_PREFIX, Shop};

/// Streams that are listed at a time.
const LIST_STREAMS: usize = 200;

/// A watch of all proposals that wait.
pub(super) struct Watch {
    shop: Arc<Shop>,
    /// What waits, as far as the reader was told.
    waiting: BTreeMap<JobId, BTreeSet<ProposalId>>,
    /// Records of each job when it was last looked at.
    seen: BTreeMap<JobId, u64>,
}

impl Watch {
    /// Returns the watch that `request` asks for.
    ///
    /// # Errors
    /// When the caller knows of proposals that there are not, or of too many.
    pub(super) async fn open(
        shop: &Arc<Shop>,
        request: &WatchProposalsRequest,
    ) -> Result<Self, Fault> {
        let waiting = known(&request.known_proposals)?;
        let watch = Self {
            shop: Arc::clone(shop),
            waiting: waiting.clone(),
            seen: BTreeMap::new(),
        };
        let shop = Arc::clone(shop);
        let check = blocking(move || {
            for (id, proposals) in &waiting {
                let job = shop.job(id)?;
                for proposal in proposals {
                    job.state.proposal(*proposal)?;
                }
            }
            Ok(())
        });
        check.await?;
        Ok(watch)
    }

    /// Tells proposals until something ends it.
    pub(super) async fn run(mut self, line: &mut Line<WatchProposalsResponse>) -> Result<(), End> {
        self.look(line).await?;
        line.tell(WatchProposalsResponse::default()).await?;
        loop {
            match line.woken().await? {
                Woken::News(stream) => {
                    if let Some(id) = job_of(&stream) {
                        self.look_at(id, line).await?;
                    }
                }
                Woken::Look => self.look(line).await?,
                Woken::Beat => line.tell(WatchProposalsResponse::default()).await?,
            }
        }
    }

    /// Looks at all jobs that have moved on, and at those of which something waits: time alone may change that.
    async fn look(&mut self, line: &mut Line<WatchProposalsResponse>) -> Result<(), End> {
        let mut after: Option<StreamName> = None;
        loop {
            let (shop, from) = (Arc::clone(&self.shop), after.clone());
            let listed = blocking(move || {
                let store = shop.store();
                Ok(store.streams(JOB_PREFIX, from.as_ref(), LIST_STREAMS)?)
            });
            let listed = listed.await?;
            let Some((last, _)) = listed.last() else {
                return Ok(());
            };
            after = Some(last.clone());
            for (stream, head) in &listed {
                let Some(id) = job_of(stream) else { continue };
                let is_new = self.seen.get(&id) != Some(&head.next_seq);
                let is_told = self.waiting.contains_key(&id);
                if is_new && !is_told && !self.waits(&id, head).await? {
                    self.seen.insert(id, head.next_seq);
                } else if is_new || is_told {
                    self.look_at(id, line).await?;
                }
            }
        }
    }

    /// Returns whether anything of a job waits, by what lists tell of it: most jobs of a shop are done.
    async fn waits(&self, id: &JobId, head: &Head) -> Result<bool, Fault> {
        let (shop, id, head) = (Arc::clone(&self.shop), id.clone(), *head);
        blocking(move || {
            let (brief, _) = shop.brief(&id, &head)?;
            Ok(brief.waiting(clock::now()).next().is_some())
        })
        .await
    }

    /// Tells what is new about one job.
    async fn look_at(
        &mut self,
        id: JobId,
        line: &mut Line<WatchProposalsResponse>,
    ) -> Result<(), End> {
        let shop = Arc::clone(&self.shop);
        let told = self.waiting.get(&id).cloned().unwrap_or_default();
        let job = id.clone();
        let looked = blocking(move || {
            let job = shop.job(&job)?;
            let entries = job.state.proposals.iter();
            let standing =
                entries.map(|entry| (entry.proposal.id, proposal::brief(&job.state, entry)));
            let is_new =
                |(id, brief): &(ProposalId, v1::Proposal)| is_open(brief) != told.contains(id);
            let news: Vec<_> = standing.filter(is_new).collect();
            Ok((job.head.next_seq, news))
        });
        let (seen, news) = looked.await?;
        self.seen.insert(id.clone(), seen);
        for (number, brief) in news {
            let waiting = self.waiting.entry(id.clone()).or_default();
            if is_open(&brief) {
                waiting.insert(number);
            } else {
                waiting.remove(&number);
            }
            let proposal = Some(brief);
            line.tell(WatchProposalsResponse { proposal }).await?;
        }
        if self.waiting.get(&id).is_some_and(BTreeSet::is_empty) {
            self.waiting.remove(&id);
        }
        Ok(())
    }
}

fn is_open(brief: &v1::Proposal) -> bool {
    brief.state() == v1::proposal::State::Open
}

fn job_of(stream: &StreamName) -> Option<JobId> {
    stream.as_str().strip_prefix(JOB_PREFIX)?.parse().ok()
}

fn known(names: &[String]) -> Result<BTreeMap<JobId, BTreeSet<ProposalId>>, Refusal> {
    if names.len() > KNOWN_PROPOSALS_MAX {
        return Err(Refusal::field(
            "known_proposals",
            format!("has {} names", names.len()),
            format!("name {KNOWN_PROPOSALS_MAX} at the most; the others are told again"),
        ));
    }
    let mut waiting = BTreeMap::<JobId, BTreeSet<ProposalId>>::new();
    for (index, text) in names.iter().enumerate() {
        let (job, proposal) = name::parse_proposal(&format!("known_proposals[{index}]"), text)?;
        waiting.entry(job).or_default().insert(proposal);
    }
    Ok(waiting)
}
