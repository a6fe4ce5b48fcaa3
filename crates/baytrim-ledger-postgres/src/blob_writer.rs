//! Writing blobs: parts under an upload's own name, then the row that makes them a blob.

use std::sync::Arc;

use baytrim_ledger::limits::BLOB_BYTES_MAX;
use baytrim_ledger::{BlobError, BlobId, BlobWriter, Hasher, StoreFault};
use tokio_postgres::types::Type;

use crate::append::int;
use crate::session::{Session, random_id};
use crate::shared::Shared;
use crate::trouble::Trouble;

/// Bytes of a part: what a reader and a writer hold in memory, and what is lost when a connection breaks.
const PART_BYTES: usize = 1 << 20;

const BEGIN: &str =
    "insert into baytrim_upload (upload) values ($1) on conflict (upload) do nothing";

const PART: &str = "insert into baytrim_blob_part (upload, number, bytes) values ($1, $2, $3) \
    on conflict (upload, number) do nothing";

const NAME: &str = "insert into baytrim_blob (sha256, length, upload) values ($1, $2, $3) \
    on conflict (sha256) do nothing";

/// The row and the only part at once, so that a small blob costs one commit.
const WHOLE: &str = "with named as (insert into baytrim_blob (sha256, length, upload) values ($1, $2, $3) \
    on conflict (sha256) do nothing returning upload) \
    insert into baytrim_blob_part (upload, number, bytes) select upload, 0, $4 from named";

const WHOSE: &str = "select upload from baytrim_blob where sha256 = $1";

const FORGET_PARTS: &str = "delete from baytrim_blob_part where upload = $1";

const FORGET: &str = "delete from baytrim_upload where upload = $1";

/// Two days: longer than any upload, which ends after a minute of silence.
const OLD: &str = "select u.upload, exists (select from baytrim_blob as b where b.upload = u.upload) \
    from baytrim_upload as u where at < now() - interval '2 days'";

/// Takes the bytes of one blob.
pub(crate) struct Writer {
    shared: Arc<Shared>,
    upload: [u8; 16],
    hasher: Option<Hasher>,
    length: u64,
    part: Vec<u8>,
    part_count: u64,
}

impl Writer {
    pub(crate) fn begin(shared: &Arc<Shared>) -> Result<Self, StoreFault> {
        Ok(Self {
            shared: Arc::clone(shared),
            upload: random_id().map_err(|trouble| trouble.into_fault("beginning a blob"))?,
            hasher: Some(Hasher::new()),
            length: 0,
            part: Vec::new(),
            part_count: 0,
        })
    }

    /// Writes the part that is full, or the last one.
    fn flush(&mut self) -> Result<(), StoreFault> {
        let shared = &self.shared;
        shared.wait(shared.retry("writing a part of a blob", async |session| {
            let upload = (&&self.upload[..] as _, Type::BYTEA);
            if self.part_count == 0 {
                session.write(BEGIN, std::slice::from_ref(&upload)).await?;
            }
            let given = [
                upload,
                (&int(self.part_count) as _, Type::INT8),
                (&self.part as _, Type::BYTEA),
            ];
            session.write(PART, &given).await
        }))?;
        self.part_count += 1;
        self.part.clear();
        Ok(())
    }

    async fn name(&self, session: &Session, id: &BlobId) -> Result<(), Trouble> {
        let sha256 = (&&id.0.0[..] as _, Type::BYTEA);
        let named = [
            sha256.clone(),
            (&int(self.length) as _, Type::INT8),
            (&&self.upload[..] as _, Type::BYTEA),
        ];
        let count = if self.part_count == 0 {
            let given: Vec<_> = named
                .into_iter()
                .chain([(&self.part as _, Type::BYTEA)])
                .collect();
            session.write(WHOLE, &given).await?
        } else {
            session.write(NAME, &named).await?
        };
        if count > 0 {
            return Ok(());
        }
        // Somebody had it already, or this was done before and the answer lost.
        session.settle().await?;
        let row = session
            .query_opt(WHOSE, &[sha256])
            .await?
            .ok_or(Trouble::Moved)?;
        if self.part_count > 0 && row.get::<_, &[u8]>(0) != self.upload {
            forget_parts(session, &self.upload).await?;
        }
        Ok(())
    }
}

impl BlobWriter for Writer {
    fn write(&mut self, bytes: &[u8]) -> Result<(), BlobError> {
        let actual = self.length + bytes.len() as u64;
        if actual > BLOB_BYTES_MAX {
            let max = BLOB_BYTES_MAX;
            return Err(BlobError::TooLarge { actual, max });
        }
        if let Some(hasher) = &mut self.hasher {
            hasher.update(bytes);
        }
        self.length = actual;
        let mut rest = bytes;
        while self.part.len() + rest.len() > PART_BYTES {
            let (now, later) = rest.split_at(PART_BYTES - self.part.len());
            self.part.extend_from_slice(now);
            self.flush()?;
            rest = later;
        }
        self.part.extend_from_slice(rest);
        Ok(())
    }

    fn commit(mut self: Box<Self>) -> Result<BlobId, BlobError> {
        let hasher = self.hasher.take().unwrap_or_default();
        let id = BlobId(hasher.finish());
        if self.part_count > 0 && !self.part.is_empty() {
            self.flush()?;
        }
        let shared = Arc::clone(&self.shared);
        shared.wait(shared.retry("naming a blob", async |session| {
            self.name(session, &id).await?;
            if self.part_count > 0 {
                session
                    .write(FORGET, &[(&&self.upload[..], Type::BYTEA)])
                    .await?;
            }
            Ok(())
        }))?;
        self.part_count = 0;
        Ok(id)
    }
}

impl Drop for Writer {
    fn drop(&mut self) {
        if self.part_count == 0 {
            return;
        }
        let (shared, upload) = (Arc::clone(&self.shared), self.upload);
        // Not waited for; what can't be forgotten now is when a store is opened in some days.
        let forget = move || {
            let _untold = shared.wait(shared.retry("forgetting an upload", async |session| {
                forget_unnamed(session, &upload).await
            }));
        };
        let _unstarted = std::thread::Builder::new()
            .name("ledger-forget".to_owned())
            .spawn(forget);
    }
}

/// Forgets an upload, unless a blob has its parts: naming it may have landed although nobody heard.
async fn forget_unnamed(session: &Session, upload: &[u8]) -> Result<(), Trouble> {
    let named = "select from baytrim_blob where upload = $1";
    let given = [(&upload as _, Type::BYTEA)];
    if session.query_opt(named, &given).await?.is_none() {
        forget_parts(session, upload).await?;
    }
    session.write(FORGET, &given).await?;
    Ok(())
}

async fn forget_parts(session: &Session, upload: &[u8]) -> Result<(), Trouble> {
    session
        .write(FORGET_PARTS, &[(&upload, Type::BYTEA)])
        .await?;
    Ok(())
}

/// Forgets uploads that were begun long ago and never finished; returns how many.
pub(crate) async fn forget_old(shared: &Shared) -> Result<u64, StoreFault> {
    shared
        .retry(
            "forgetting uploads that were never finished",
            async |session| {
                let mut count = 0;
                for row in session.query(OLD, &[]).await? {
                    let (upload, is_named): (&[u8], bool) = (row.get(0), row.get(1));
                    if !is_named {
                        forget_parts(session, upload).await?;
                        count += 1;
                    }
                    session.write(FORGET, &[(&upload, Type::BYTEA)]).await?;
                }
                Ok(count)
            },
        )
        .await
}
