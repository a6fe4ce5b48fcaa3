//! Blobs: a row that names one, and its parts.

use std::io::{self, Read};
use std::sync::Arc;

use baytrim_ledger::{BlobError, BlobId, BlobReader, Hash, StoreFault};
use tokio_postgres::types::Type;

use crate::append::int;
use crate::records::natural;
use crate::shared::Shared;

const FIND: &str = "select length, upload from baytrim_blob where sha256 = $1";

const LIST: &str =
    "select sha256, length from baytrim_blob where sha256 > $1 order by sha256 limit $2";

const PART: &str = "select bytes from baytrim_blob_part where upload = $1 and number = $2";

/// Opens a blob; see [`baytrim_ledger::Store::open_blob`].
pub(crate) fn open(shared: &Arc<Shared>, id: &BlobId) -> Result<BlobReader, BlobError> {
    let what = format!("opening blob {id}");
    let found = shared.wait(shared.retry(&what, async |session| {
        session
            .query_opt(FIND, &[(&&id.0.0[..], Type::BYTEA)])
            .await
    }))?;
    let row = found.ok_or(BlobError::Missing { id: *id })?;
    let parts = Parts {
        shared: Arc::clone(shared),
        what: format!("reading blob {id}"),
        upload: row.get(1),
        next: 0,
        part: Vec::new(),
        at: 0,
    };
    let place = "table baytrim_blob_part".to_owned();
    Ok(BlobReader::new(
        *id,
        place,
        natural(row.get(0)),
        Box::new(parts),
    ))
}

/// Returns blobs; see [`baytrim_ledger::Store::blobs`].
pub(crate) async fn list(
    shared: &Shared,
    after: Option<&BlobId>,
    limit: usize,
) -> Result<Vec<(BlobId, u64)>, StoreFault> {
    let after = after.map_or(&[][..], |id| &id.0.0[..]);
    let limit = i64::try_from(limit).unwrap_or(i64::MAX);
    let rows = shared
        .retry("listing blobs", async |session| {
            let given = [(&after as _, Type::BYTEA), (&limit as _, Type::INT8)];
            session.query(LIST, &given).await
        })
        .await?;
    let listed = rows.iter().filter_map(|row| {
        let name: [u8; 32] = row.get::<_, &[u8]>(0).try_into().ok()?;
        Some((BlobId(Hash(name)), natural(row.get(1))))
    });
    Ok(listed.collect())
}

/// Reads the parts of one blob, one at a time.
struct Parts {
    shared: Arc<Shared>,
    what: String,
    upload: Vec<u8>,
    next: u64,
    part: Vec<u8>,
    at: usize,
}

impl Parts {
    /// Gets the next part; an empty one is the end.
    fn advance(&mut self) -> io::Result<()> {
        let row = self
            .shared
            .wait(self.shared.retry(&self.what, async |session| {
                let given = [
                    (&self.upload as _, Type::BYTEA),
                    (&int(self.next) as _, Type::INT8),
                ];
                session.query_opt(PART, &given).await
            }));
        self.part = row
            .map_err(io::Error::other)?
            .map_or_else(Vec::new, |row| row.get(0));
        self.at = 0;
        self.next += 1;
        Ok(())
    }
}

impl Read for Parts {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if self.at == self.part.len() {
            self.advance()?;
        }
        let rest = &self.part[self.at..];
        let count = rest.len().min(buffer.len());
        buffer[..count].copy_from_slice(&rest[..count]);
        self.at += count;
        Ok(count)
    }
}
