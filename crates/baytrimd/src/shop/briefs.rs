//! What lists tell of jobs, kept as snapshots beside the ledger so that a list reads no records.
//!
//! A brief is only believed under the very head that the records have now, count and hash; without one, or with one
//! that can't be read, the job is folded and its brief kept anew. `ledger verify` compares all of them with the folds.

use std::sync::Arc;
use std::time::Instant;

use baytrim_jobs::{JobBrief, JobState};
use baytrim_ledger::{Head, Store, StoreFault, StreamName};
use baytrim_model::ids::JobId;
use tokio::sync::watch;

use super::{JOB_PREFIX, Loaded, Shop, fold, stream_of};
use crate::compute::blocking;
use crate::fault::Fault;
use crate::limits::{BRIEFS_AT_ONCE, BRIEFS_REST_MIN};

/// The snapshot's name. Another number wherever [`JobBrief`], or what a job's records tell, becomes another.
const NAME: &str = "brief/2";

/// Returns the brief that is kept under the head `at`, where there is one.
///
/// # Errors
/// The store's fault.
pub(crate) fn kept(
    store: &dyn Store,
    stream: &StreamName,
    at: &Head,
) -> Result<Option<JobBrief>, StoreFault> {
    let found = store.snapshot(stream, &snapshot_name())?;
    let found = found.filter(|snapshot| snapshot.at == *at);
    Ok(found.and_then(|snapshot| serde_json::from_slice(&snapshot.bytes).ok()))
}

fn snapshot_name() -> StreamName {
    StreamName::new(NAME).expect("a good name")
}

/// Keeps a job's brief; one that can't be kept is made again whenever it is asked for.
fn keep(store: &dyn Store, stream: &StreamName, head: &Head, brief: &JobBrief) {
    let bytes = serde_json::to_vec(brief).unwrap_or_default();
    if let Err(error) = store.put_snapshot(stream, &snapshot_name(), head, &bytes) {
        tracing::debug!(%stream, %error, "what lists tell of a job was not kept");
    }
}

impl Shop {
    /// Returns what lists tell of a job whose records had the head `listed`, and the head that it is told of.
    ///
    /// # Errors
    /// The store's fault, or records that tell no job.
    pub fn brief(&self, id: &JobId, listed: &Head) -> Result<(JobBrief, Head), Fault> {
        let stream = stream_of(id);
        if let Some(brief) = kept(&*self.store, &stream, listed)? {
            return Ok((brief, *listed));
        }
        let job = self.job(id)?;
        let brief = JobBrief::of(&job.state);
        keep(&*self.store, &stream, &job.head, &brief);
        Ok((brief, job.head))
    }

    /// Keeps the brief of a job that was just changed. Not in a database: there it costs a way over the network, and
    /// whoever lists the job next keeps it.
    pub(super) fn keep_brief(&self, job: &Loaded) {
        if !self.store.is_shared() {
            let brief = JobBrief::of(&job.state);
            keep(&*self.store, &stream_of(job.state.id()), &job.head, &brief);
        }
    }

    /// Makes the briefs that are missing after one stream, of some jobs; returns the last one looked at.
    fn make_briefs(&self, after: Option<&StreamName>) -> Result<Option<StreamName>, Fault> {
        let listed = self.store.streams(JOB_PREFIX, after, BRIEFS_AT_ONCE)?;
        for (stream, head) in &listed {
            if kept(&*self.store, stream, head)?.is_some() {
                continue;
            }
            // Past the cache of folds: that is for jobs that somebody asks for.
            match fold::<JobState>(&*self.store, stream) {
                Ok(Some(job)) => {
                    keep(&*self.store, stream, &job.head, &JobBrief::of(&job.state));
                }
                Ok(None) => {}
                Err(error) => {
                    tracing::warn!(%stream, %error, "a job can't be read; run `baytrim ledger verify`");
                }
            }
        }
        Ok(listed.into_iter().next_back().map(|(stream, _)| stream))
    }
}

/// Makes all briefs that are missing, after an upgrade or when the index was made anew, in at most half of one thread's
/// time; ends with the last job, or when `stopped` turns true.
#[expect(
    clippy::disallowed_methods,
    reason = "how long the work takes decides how long it rests"
)]
pub(crate) async fn make_missing(shop: Arc<Shop>, mut stopped: watch::Receiver<bool>) {
    if shop.store.is_shared() {
        return;
    }
    let mut after = None;
    loop {
        let (began, from) = (Instant::now(), Arc::clone(&shop));
        match blocking(move || from.make_briefs(after.as_ref())).await {
            Ok(Some(last)) => after = Some(last),
            Ok(None) => return,
            Err(error) => {
                tracing::warn!(%error, "lists are slow until their jobs were asked for");
                return;
            }
        }
        let rest = began.elapsed().max(BRIEFS_REST_MIN);
        let told = stopped.wait_for(|stopping| *stopping);
        if tokio::time::timeout(rest, told).await.is_ok() {
            return;
        }
    }
}

#[cfg(test)]
mod tests {
    use baytrim_jobs::job_file::{Attachments, EXAMPLE};
    use baytrim_ledger::{Hash, MemoryStore};
    use baytrim_model::ids::{Actor, RevisionId};
    use baytrim_model::record::JobEvent;

    use super::*;
    use crate::config::ServiceLimits;
    use crate::ledger_check;
    use crate::shop::Author;

    fn shop() -> (MemoryStore, Shop, JobId) {
        let store = MemoryStore::new();
        let shop = Shop::new(Arc::new(store.clone()), ServiceLimits::default());
        let spec = baytrim_jobs::open::read(EXAMPLE, &Attachments::new(), None).expect("a job");
        shop.open_job(&spec, &author()).expect("opens");
        (store, shop, spec.id)
    }

    fn author() -> Author {
        Author {
            by: Actor("Ines".to_owned()),
            request_id: None,
        }
    }

    fn export(shop: &Shop, id: &JobId) {
        let event = JobEvent::TableExported {
            revision: RevisionId(0),
            form: "csv value, rows = plate".to_owned(),
            content_sha256: "22".to_owned(),
        };
        let made = shop.decide(id, &author(), &|_| false, |_| Ok(event.clone()));
        made.expect("records");
    }

    /// If this fails, a list tells of a job what its records do not: the brief of an earlier head, or somebody's own.
    #[test]
    fn only_the_brief_of_this_very_head_is_believed() {
        let (store, shop, id) = shop();
        let stream = stream_of(&id);
        let first = store.head(&stream).expect("a head");
        let (mut other, _) = shop.brief(&id, &first).expect("a brief");
        assert_eq!(
            kept(&store, &stream, &first).expect("looks"),
            Some(other.clone())
        );
        other.pull_count = 99;
        export(&shop, &id);
        let now = store.head(&stream).expect("a head");
        let wrong_hash = Head {
            hash: Hash::of(b"another"),
            ..now
        };
        for at in [first, wrong_hash] {
            keep(&store, &stream, &at, &other);
            let (told, head) = shop.brief(&id, &now).expect("a brief");
            assert_eq!((told.pull_count, head), (0, now));
        }
        store
            .put_snapshot(&stream, &snapshot_name(), &now, b"{\"no\":1}")
            .expect("keeps");
        assert_eq!(shop.brief(&id, &now).expect("a brief").0.pull_count, 0);
    }

    /// If this fails, lists can be made to tell other than the records, and nobody finds out.
    #[test]
    fn verifying_compares_briefs_with_records() {
        let (store, shop, id) = shop();
        let (stream, sound) = (stream_of(&id), ledger_check::check(&store, &mut |_| ()));
        assert_eq!(sound.expect("checks").first_fault, None);
        let head = store.head(&stream).expect("a head");
        let (mut other, _) = shop.brief(&id, &head).expect("a brief");
        "Another's".clone_into(&mut other.facts.title);
        keep(&store, &stream, &head, &other);
        let fault = ledger_check::check(&store, &mut |_| ()).expect("checks");
        let fault = fault.first_fault.expect("a fault");
        assert!(fault.contains("lists tell other of it"), "{fault}");
    }

    /// If this fails, the first lists after an upgrade or a lost index fold every job.
    #[test]
    fn what_is_missing_is_made_in_the_background() {
        let (store, _, id) = shop();
        let stream = stream_of(&id);
        let copy = MemoryStore::new();
        let records = store.read(&stream, 0, 10).expect("reads");
        let bodies: Vec<_> = records.into_iter().map(|record| record.body).collect();
        let head = copy
            .append(&stream, &Head::EMPTY, &bodies)
            .expect("appends");
        let shop = Arc::new(Shop::new(Arc::new(copy.clone()), ServiceLimits::default()));
        assert_eq!(kept(&copy, &stream, &head).expect("looks"), None);
        let (_stop, stopped) = watch::channel(false);
        tokio::runtime::Builder::new_current_thread()
            .enable_time()
            .build()
            .expect("a runtime")
            .block_on(make_missing(shop, stopped));
        assert!(kept(&copy, &stream, &head).expect("looks").is_some());
    }
}
