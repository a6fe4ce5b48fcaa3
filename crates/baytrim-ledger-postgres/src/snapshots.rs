//! Snapshots of folds: a cache.

use baytrim_ledger::limits::SNAPSHOT_BYTES_MAX;
use baytrim_ledger::{Head, Snapshot, StoreFault, StreamName};
use tokio_postgres::types::Type;

use crate::append::int;
use crate::records::{hash_of, natural};
use crate::shared::Shared;

const PUT: &str = "insert into baytrim_snapshot (stream, name, at_seq, at_hash, bytes) \
    values ($1, $2, $3, $4, $5) on conflict (stream, name) do update \
    set at_seq = excluded.at_seq, at_hash = excluded.at_hash, bytes = excluded.bytes";

const GET: &str = "select at_seq, at_hash, bytes from baytrim_snapshot as s \
    where stream = $1 and name = $2 and (at_seq = 0 and at_hash = $3 or exists ( \
    select from baytrim_record as r where r.stream = s.stream and r.seq = s.at_seq - 1 and r.hash = s.at_hash))";

/// Caches a fold; see [`baytrim_ledger::Store::put_snapshot`].
pub(crate) async fn put(
    shared: &Shared,
    stream: &StreamName,
    name: &StreamName,
    at: &Head,
    bytes: &[u8],
) -> Result<bool, StoreFault> {
    if bytes.len() > SNAPSHOT_BYTES_MAX {
        return Ok(false);
    }
    let what = format!("caching fold {name} of stream {stream}");
    shared
        .retry(&what, async |session| {
            let given = [
                (&stream.as_str() as _, Type::TEXT),
                (&name.as_str() as _, Type::TEXT),
                (&int(at.next_seq) as _, Type::INT8),
                (&&at.hash.0[..] as _, Type::BYTEA),
                (&bytes as _, Type::BYTEA),
            ];
            session.write(PUT, &given).await
        })
        .await?;
    Ok(true)
}

/// Returns a cached fold; see [`baytrim_ledger::Store::snapshot`].
pub(crate) async fn get(
    shared: &Shared,
    stream: &StreamName,
    name: &StreamName,
) -> Result<Option<Snapshot>, StoreFault> {
    let what = format!("reading cached fold {name} of stream {stream}");
    let row = shared
        .retry(&what, async |session| {
            let given = [
                (&stream.as_str() as _, Type::TEXT),
                (&name.as_str() as _, Type::TEXT),
                (&&Head::EMPTY.hash.0[..] as _, Type::BYTEA),
            ];
            session.query_opt(GET, &given).await
        })
        .await?;
    Ok(row.map(|row| Snapshot {
        at: Head {
            next_seq: natural(row.get(0)),
            hash: hash_of(&row, 1),
        },
        bytes: row.get(2),
    }))
}
