//! The executor over stores that fail and that others write to.

use std::sync::atomic::{AtomicU64, Ordering};

use baytrim_jobs::codec;
use baytrim_jobs::job_file::{Attachments, EXAMPLE};
use baytrim_ledger::{
    AppendError, BlobError, BlobId, BlobReader, BlobWriter, MemoryStore, Record, Snapshot,
    SpoolError, StoreFault, VerifyProgress, VerifyReport,
};
use baytrim_model::ids::RevisionId;

use super::commit::record;
use super::*;
use crate::limits::DECIDE_TRIES_MAX;

/// What a store does with the next append.
#[derive(Clone, Copy, PartialEq)]
enum Trouble {
    /// It says that it failed, and did.
    FailsBefore,
    /// It says that it failed, and did not.
    FailsAfter,
    /// Somebody else appends first, then it goes on as usual.
    OthersFirst,
}

/// A store in memory whose next appends meet trouble.
struct Troubled {
    inner: MemoryStore,
    trouble: Trouble,
    left: AtomicU64,
}

impl Store for Troubled {
    fn append(
        &self,
        stream: &StreamName,
        expected: &Head,
        bodies: &[Vec<u8>],
    ) -> Result<Head, AppendError> {
        let meets = self
            .left
            .fetch_update(Ordering::SeqCst, Ordering::SeqCst, |left| {
                left.checked_sub(1)
            });
        if meets.is_err() {
            return self.inner.append(stream, expected, bodies);
        }
        match self.trouble {
            Trouble::FailsBefore => Err(StoreFault::Closed.into()),
            Trouble::FailsAfter => {
                self.inner.append(stream, expected, bodies)?;
                Err(StoreFault::Closed.into())
            }
            Trouble::OthersFirst => {
                let other = author("Odo", None);
                let export = JobEvent::TableExported {
                    revision: RevisionId(0),
                    form: "csv value, rows = plate".to_owned(),
                    content_sha256: "00".to_owned(),
                };
                let body = codec::encode(&record(&other, export)).expect("encodes");
                self.inner.append(stream, expected, &[body])?;
                self.inner.append(stream, expected, bodies)
            }
        }
    }

    fn head(&self, stream: &StreamName) -> Result<Head, StoreFault> {
        self.inner.head(stream)
    }

    fn read(
        &self,
        stream: &StreamName,
        from_seq: u64,
        limit: usize,
    ) -> Result<Vec<Record>, StoreFault> {
        self.inner.read(stream, from_seq, limit)
    }

    fn streams(
        &self,
        prefix: &str,
        after: Option<&StreamName>,
        limit: usize,
    ) -> Result<Vec<(StreamName, Head)>, StoreFault> {
        self.inner.streams(prefix, after, limit)
    }

    fn begin_blob(&self) -> Result<Box<dyn BlobWriter>, BlobError> {
        self.inner.begin_blob()
    }

    fn open_blob(&self, id: &BlobId) -> Result<BlobReader, BlobError> {
        self.inner.open_blob(id)
    }

    fn blobs(
        &self,
        after: Option<&BlobId>,
        limit: usize,
    ) -> Result<Vec<(BlobId, u64)>, StoreFault> {
        self.inner.blobs(after, limit)
    }

    fn spool_append(
        &self,
        spool: &StreamName,
        expected_next: u64,
        chunk: &[u8],
    ) -> Result<u64, SpoolError> {
        self.inner.spool_append(spool, expected_next, chunk)
    }

    fn spool_len(&self, spool: &StreamName) -> Result<u64, StoreFault> {
        self.inner.spool_len(spool)
    }

    fn spool_read(
        &self,
        spool: &StreamName,
        from: u64,
        limit: usize,
    ) -> Result<Vec<(u64, Vec<u8>)>, StoreFault> {
        self.inner.spool_read(spool, from, limit)
    }

    fn spool_drop(&self, spool: &StreamName) -> Result<(), StoreFault> {
        self.inner.spool_drop(spool)
    }

    fn spools(&self) -> Result<Vec<(StreamName, u64)>, StoreFault> {
        self.inner.spools()
    }

    fn put_snapshot(
        &self,
        stream: &StreamName,
        name: &StreamName,
        at: &Head,
        bytes: &[u8],
    ) -> Result<bool, StoreFault> {
        self.inner.put_snapshot(stream, name, at, bytes)
    }

    fn snapshot(
        &self,
        stream: &StreamName,
        name: &StreamName,
    ) -> Result<Option<Snapshot>, StoreFault> {
        self.inner.snapshot(stream, name)
    }

    fn verify(&self, progress: &mut dyn FnMut(VerifyProgress)) -> Result<VerifyReport, StoreFault> {
        self.inner.verify(progress)
    }
}

fn author(by: &str, request_id: Option<&str>) -> Author {
    Author {
        by: Actor(by.to_owned()),
        request_id: request_id.map(|id| RequestId(id.to_owned())),
    }
}

fn spec() -> JobSpec {
    let id = "j".parse().expect("a good name");
    baytrim_jobs::open::read(EXAMPLE, &Attachments::new(), Some(id)).expect("the example is good")
}

/// Records an export over a store whose next `count` appends meet `trouble`; returns what came of it,
/// the number of records, and how often the decision was made.
fn check(trouble: Trouble, count: u64) -> (Result<Decided, Fault>, u64, u32) {
    let inner = MemoryStore::new();
    let opening = Shop::new(Arc::new(inner.clone()), ServiceLimits::default());
    opening
        .open_job(&spec(), &author("Ines", None))
        .expect("opens");
    let store = Troubled {
        inner,
        trouble,
        left: AtomicU64::new(count),
    };
    let shop = Shop::new(Arc::new(store), ServiceLimits::default());
    let mut made = 0;
    let decided = shop.decide(&spec().id, &author("Ines", Some("r-1")), &|_| true, |_| {
        made += 1;
        Ok(JobEvent::TableExported {
            revision: RevisionId(0),
            form: "json factor, rows = rpm".to_owned(),
            content_sha256: "11".to_owned(),
        })
    });
    let head = shop.store().head(&stream_of(&spec().id)).expect("reads");
    (decided, head.next_seq, made)
}

/// If this fails, an append that landed although the store said it failed is reported as failed, and
/// done twice by whoever tries again.
#[test]
fn an_append_that_landed_counts_whatever_the_store_said() {
    let (decided, records, made) = check(Trouble::FailsAfter, 1);
    assert!(!decided.expect("it landed").is_repeat);
    assert_eq!((records, made), (2, 1));
}

/// If this fails, an append that did not land is acknowledged.
#[test]
fn an_append_that_did_not_land_is_an_error() {
    let (decided, records, _) = check(Trouble::FailsBefore, 1);
    let Err(Fault::Internal(fault)) = decided else {
        panic!("it was acknowledged");
    };
    assert!(matches!(*fault, InternalFault::Store(StoreFault::Closed)));
    assert_eq!(records, 1);
}

/// If this fails, a decision stands that was made about a job that has changed since.
#[test]
fn a_decision_is_made_anew_when_others_were_first() {
    let (decided, records, made) = check(Trouble::OthersFirst, 3);
    decided.expect("the fourth try is undisturbed");
    assert_eq!((records, made), (5, 4));
}

/// If this fails, a busy job holds a request for ever.
#[test]
fn a_decision_gives_up_in_the_end() {
    let (decided, _, made) = check(Trouble::OthersFirst, 1000);
    assert!(matches!(decided, Err(Fault::Contended { .. })));
    assert_eq!(made as usize, DECIDE_TRIES_MAX);
}

/// If this fails, two daemons on one store do not see each other's records.
#[test]
fn two_shops_on_one_store_see_each_other() {
    let store = MemoryStore::new();
    let one = Shop::new(Arc::new(store.clone()), ServiceLimits::default());
    let other = Shop::new(Arc::new(store), ServiceLimits::default());
    one.open_job(&spec(), &author("Ines", None)).expect("opens");
    let id = spec().id;
    let export = |shop: &Shop| {
        let event = JobEvent::TableExported {
            revision: RevisionId(0),
            form: "csv value, rows = plate".to_owned(),
            content_sha256: "22".to_owned(),
        };
        shop.decide(&id, &author("Odo", None), &|_| false, |_| Ok(event.clone()))
            .expect("records");
    };
    export(&other);
    export(&one);
    export(&other);
    let (seen, also) = (one.job(&id).expect("loads"), other.job(&id).expect("loads"));
    assert_eq!((seen.head.next_seq, seen.head), (4, also.head));
    assert_eq!(seen.state, also.state);
    let unknown: JobId = "none".parse().expect("a good name");
    assert!(matches!(
        one.job(&unknown),
        Err(Fault::Refused(Refusal::JobUnknown(_)))
    ));
}
