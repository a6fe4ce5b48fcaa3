//! The store: each call waits on its own thread for what the connections bring.

use std::sync::Arc;

use baytrim_ledger::{
    AppendError, BlobError, BlobId, BlobReader, BlobWriter, Head, Record, Snapshot, SpoolError,
    Store, StoreFault, StreamName, VerifyProgress, VerifyReport,
};

use crate::address::Address;
use crate::blob_writer::Writer;
use crate::error::OpenError;
use crate::options::{OpenReport, Options};
use crate::pool::Pool;
use crate::session::Connector;
use crate::shared::Shared;
use crate::tls::Verified;
use crate::trouble::Trouble;
use crate::{append, blob, blob_writer, chunks, records, schema, snapshots, verify};

/// Stores ledger bytes in PostgreSQL. Any number of them, in any number of programs, may share one database.
pub struct PostgresStore {
    shared: Arc<Shared>,
}

impl PostgresStore {
    /// Connects, checks that commits are durable, and brings the tables forward.
    ///
    /// # Errors
    /// [`OpenError`] says why not, and what to do.
    pub fn open(address: &Address, options: &Options) -> Result<(Self, OpenReport), OpenError> {
        let tls = Verified::of(&address.tls)?;
        let connector = Connector::new(address.config.clone(), tls, options.single_copy);
        // Two: one connection that waits for its disk does not stop the others.
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .worker_threads(2)
            .thread_name("ledger-postgres")
            .enable_all()
            .build()
            .map_err(OpenError::Threads)?;
        let pool = Pool::new(connector, options.connections_max);
        let shared = Arc::new(Shared::new(pool, options.patience, runtime));
        let migrate = "bringing the tables forward";
        let schema_before = shared
            .wait(shared.retry(
                migrate,
                async |session| match schema::migrate(session).await {
                    Err(Trouble::Refused(refusal)) => Ok(Err(*refusal)),
                    other => other.map(Ok),
                },
            ))
            .map_err(refusal_of)??;
        let uploads_forgotten = shared.wait(blob_writer::forget_old(&shared))?;
        let report = OpenReport {
            schema_before,
            uploads_forgotten,
        };
        tracing::info!(
            schema = schema::SCHEMA_VERSION,
            uploads_forgotten,
            "ledger open in the database"
        );
        Ok((Self { shared }, report))
    }
}

/// Returns why a database was refused, where that is the fault.
fn refusal_of(fault: StoreFault) -> OpenError {
    let StoreFault::Io { what, source } = fault else {
        return fault.into();
    };
    match source.downcast::<Trouble>() {
        Ok(Trouble::Refused(refusal)) => *refusal,
        Ok(trouble) => trouble.into_fault(&what).into(),
        Err(source) => StoreFault::Io { what, source }.into(),
    }
}

impl Store for PostgresStore {
    fn append(
        &self,
        stream: &StreamName,
        expected: &Head,
        bodies: &[Vec<u8>],
    ) -> Result<Head, AppendError> {
        let shared = &self.shared;
        shared.wait(append::append(shared, stream, expected, bodies))
    }

    fn head(&self, stream: &StreamName) -> Result<Head, StoreFault> {
        let what = format!("reading the head of stream {stream}");
        let shared = &self.shared;
        shared.wait(shared.retry(&what, async |session| {
            let asked = shared.seen.now();
            let head = records::head(session, stream).await?;
            shared.seen.head(asked, stream, &head)?;
            Ok(head)
        }))
    }

    fn read(
        &self,
        stream: &StreamName,
        from_seq: u64,
        limit: usize,
    ) -> Result<Vec<Record>, StoreFault> {
        let shared = &self.shared;
        shared.wait(records::read(shared, stream, from_seq, limit))
    }

    fn streams(
        &self,
        prefix: &str,
        after: Option<&StreamName>,
        limit: usize,
    ) -> Result<Vec<(StreamName, Head)>, StoreFault> {
        let shared = &self.shared;
        shared.wait(records::streams(shared, prefix, after, limit))
    }

    fn begin_blob(&self) -> Result<Box<dyn BlobWriter>, BlobError> {
        Ok(Box::new(Writer::begin(&self.shared)?))
    }

    fn open_blob(&self, id: &BlobId) -> Result<BlobReader, BlobError> {
        blob::open(&self.shared, id)
    }

    fn blobs(
        &self,
        after: Option<&BlobId>,
        limit: usize,
    ) -> Result<Vec<(BlobId, u64)>, StoreFault> {
        let shared = &self.shared;
        shared.wait(blob::list(shared, after, limit))
    }

    fn spool_append(
        &self,
        spool: &StreamName,
        expected_next: u64,
        chunk: &[u8],
    ) -> Result<u64, SpoolError> {
        let shared = &self.shared;
        shared.wait(chunks::append(shared, spool, expected_next, chunk))
    }

    fn spool_len(&self, spool: &StreamName) -> Result<u64, StoreFault> {
        let shared = &self.shared;
        shared.wait(chunks::len(shared, spool))
    }

    fn spool_read(
        &self,
        spool: &StreamName,
        from: u64,
        limit: usize,
    ) -> Result<Vec<(u64, Vec<u8>)>, StoreFault> {
        let shared = &self.shared;
        shared.wait(chunks::read(shared, spool, from, limit))
    }

    fn spool_drop(&self, spool: &StreamName) -> Result<(), StoreFault> {
        let shared = &self.shared;
        shared.wait(chunks::forget(shared, spool))
    }

    fn spools(&self) -> Result<Vec<(StreamName, u64)>, StoreFault> {
        let shared = &self.shared;
        shared.wait(chunks::list(shared))
    }

    fn put_snapshot(
        &self,
        stream: &StreamName,
        name: &StreamName,
        at: &Head,
        bytes: &[u8],
    ) -> Result<bool, StoreFault> {
        let shared = &self.shared;
        shared.wait(snapshots::put(shared, stream, name, at, bytes))
    }

    fn snapshot(
        &self,
        stream: &StreamName,
        name: &StreamName,
    ) -> Result<Option<Snapshot>, StoreFault> {
        let shared = &self.shared;
        shared.wait(snapshots::get(shared, stream, name))
    }

    fn is_shared(&self) -> bool {
        true
    }

    fn verify(&self, progress: &mut dyn FnMut(VerifyProgress)) -> Result<VerifyReport, StoreFault> {
        verify::verify(&self.shared, progress)
    }
}
