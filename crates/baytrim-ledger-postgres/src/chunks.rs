//! Spools.

use std::cell::Cell;

use baytrim_ledger::limits::{self, READ_BYTES_MAX};
use baytrim_ledger::{SpoolError, StoreFault, StreamName};
use tokio_postgres::types::Type;

use crate::append::int;
use crate::records::{name_of, natural};
use crate::session::{Session, random_id};
use crate::shared::Shared;
use crate::trouble::Trouble;

/// The chunk before is held for the time of the insertion, so that a spool that is dropped meanwhile is either gone
/// before, or takes this chunk along.
const INSERT: &str = "insert into baytrim_chunk (spool, number, bytes, append_id) \
    select $1, $2, $3, $4 where $2 = 0 or exists ( \
    select from baytrim_chunk where spool = $1 and number = $2 - 1 for key share)";

const WHOSE: &str = "select append_id from baytrim_chunk where spool = $1 and number = $2";

const NEXT: &str = "select coalesce(max(number) + 1, 0) from baytrim_chunk where spool = $1";

const READ: &str = "select number, bytes from ( \
    select number, bytes, sum(octet_length(bytes)) over (order by number) as total \
    from (select number, bytes from baytrim_chunk where spool = $1 and number >= $2 order by number limit $3) as found \
    ) as summed where number = $2 or total <= $4 order by number";

const DROP: &str = "delete from baytrim_chunk where spool = $1";

const LIST: &str = "select spool, max(number) from baytrim_chunk group by spool order by spool";

/// How an append came out.
enum Landing {
    /// It is there, durable.
    Landed,
    /// Another was first, or the one before is not there: this is the next one.
    Lost(u64),
}

/// Appends a chunk; see [`baytrim_ledger::Store::spool_append`].
pub(crate) async fn append(
    shared: &Shared,
    spool: &StreamName,
    expected_next: u64,
    chunk: &[u8],
) -> Result<u64, SpoolError> {
    limits::check_chunk(chunk)?;
    let what = format!("appending to spool {spool}");
    let one = One {
        spool,
        number: int(expected_next),
        chunk,
        append_id: random_id().map_err(|trouble| trouble.into_fault(&what))?,
        is_doubtful: Cell::new(false),
    };
    let landing = shared
        .retry(&what, async |session| one.land(session).await)
        .await?;
    match landing {
        Landing::Landed => Ok(expected_next + 1),
        Landing::Lost(next) => Err(SpoolError::Conflict {
            spool: spool.clone(),
            next,
        }),
    }
}

/// One chunk to be appended.
struct One<'a> {
    spool: &'a StreamName,
    number: i64,
    chunk: &'a [u8],
    append_id: [u8; 16],
    /// Whether an earlier try may have landed.
    is_doubtful: Cell<bool>,
}

impl One<'_> {
    /// Inserts the chunk; done again, it finds its own by its key, as records do.
    async fn land(&self, session: &Session) -> Result<Landing, Trouble> {
        if self.number < i64::MAX {
            let was_doubtful = self.is_doubtful.replace(true);
            let given = [
                (&self.spool.as_str() as _, Type::TEXT),
                (&self.number as _, Type::INT8),
                (&self.chunk as _, Type::BYTEA),
                (&&self.append_id[..] as _, Type::BYTEA),
            ];
            match session.write(INSERT, &given).await {
                Ok(0) => {}
                Ok(_) => return Ok(Landing::Landed),
                Err(trouble) if trouble.is_taken() => {
                    if was_doubtful && self.is_ours(session).await? {
                        session.settle().await?;
                        return Ok(Landing::Landed);
                    }
                }
                Err(trouble) => return Err(trouble),
            }
        }
        let next = next(session, self.spool).await?;
        // It can't be both: what was expected has become true since it was looked at.
        if int(next) == self.number {
            return Err(Trouble::Moved);
        }
        Ok(Landing::Lost(next))
    }

    async fn is_ours(&self, session: &Session) -> Result<bool, Trouble> {
        let given = [
            (&self.spool.as_str() as _, Type::TEXT),
            (&self.number as _, Type::INT8),
        ];
        let row = session.query_opt(WHOSE, &given).await?;
        Ok(row.is_some_and(|row| row.get::<_, &[u8]>(0) == self.append_id))
    }
}

async fn next(session: &Session, spool: &StreamName) -> Result<u64, Trouble> {
    let given = [(&spool.as_str() as _, Type::TEXT)];
    let row = session.query_opt(NEXT, &given).await?;
    Ok(row.map_or(0, |row| natural(row.get(0))))
}

/// Returns the number of chunks; see [`baytrim_ledger::Store::spool_len`].
pub(crate) async fn len(shared: &Shared, spool: &StreamName) -> Result<u64, StoreFault> {
    let what = format!("counting spool {spool}");
    shared
        .retry(&what, async |session| next(session, spool).await)
        .await
}

/// Returns chunks; see [`baytrim_ledger::Store::spool_read`].
pub(crate) async fn read(
    shared: &Shared,
    spool: &StreamName,
    from: u64,
    limit: usize,
) -> Result<Vec<(u64, Vec<u8>)>, StoreFault> {
    let limit = i64::try_from(limit).unwrap_or(i64::MAX);
    let what = format!("reading spool {spool} from chunk {from}");
    let rows = shared
        .retry(&what, async |session| {
            let given = [
                (&spool.as_str() as _, Type::TEXT),
                (&int(from) as _, Type::INT8),
                (&limit as _, Type::INT8),
                (&int(READ_BYTES_MAX as u64) as _, Type::INT8),
            ];
            session.query(READ, &given).await
        })
        .await?;
    let chunks = rows.iter().map(|row| (natural(row.get(0)), row.get(1)));
    Ok(chunks.collect())
}

/// Forgets a spool; see [`baytrim_ledger::Store::spool_drop`].
pub(crate) async fn forget(shared: &Shared, spool: &StreamName) -> Result<(), StoreFault> {
    let what = format!("forgetting spool {spool}");
    shared
        .retry(&what, async |session| {
            let given = [(&spool.as_str() as _, Type::TEXT)];
            // A chunk that came while its forerunner was being deleted is found by the next look.
            while session.write(DROP, &given).await? > 0 {}
            Ok(())
        })
        .await
}

/// Returns all spools; see [`baytrim_ledger::Store::spools`].
pub(crate) async fn list(shared: &Shared) -> Result<Vec<(StreamName, u64)>, StoreFault> {
    let rows = shared
        .retry("listing spools", async |session| {
            session.query(LIST, &[]).await
        })
        .await?;
    let named = rows
        .iter()
        .map(|row| Ok((name_of(row)?, natural(row.get(1)) + 1)));
    named.collect()
}
