//! Appending records and chunks: one insertion under a unique key decides.

use std::cell::Cell;

use baytrim_ledger::{AppendError, Head, Record, StreamName, chain, limits};
use tokio_postgres::types::Type;

use crate::records;
use crate::session::{Session, random_id};
use crate::shared::Shared;
use crate::trouble::Trouble;

/// Lands when the record before is there and nobody else's is here. The record before never changes once it is there,
/// so that looking at it first leaves nothing to chance; the key alone keeps two writers apart.
const INSERT: &str = "insert into baytrim_record (stream, seq, prev, hash, body, append_id) \
    select $1, r.seq, r.prev, r.hash, r.body, $6 \
    from unnest($2, $3, $4, $5) as r(seq, prev, hash, body) \
    where $7 = 0 or exists (select from baytrim_record where stream = $1 and seq = $7 - 1 and hash = $8)";

const WHOSE: &str = "select append_id from baytrim_record where stream = $1 and seq = $2";

/// How an append came out.
enum Landing {
    /// It is there, durable.
    Landed,
    /// Another was first, or what it follows is not there.
    Lost(Head),
}

/// Appends records; see [`baytrim_ledger::Store::append`].
pub(crate) async fn append(
    shared: &Shared,
    stream: &StreamName,
    expected: &Head,
    bodies: &[Vec<u8>],
) -> Result<Head, AppendError> {
    limits::check_append(bodies)?;
    let what = format!("appending to stream {stream}");
    let batch = Batch::seal(stream, expected, bodies, &what)?;
    let landing = shared
        .retry(&what, async |session| {
            let asked = shared.seen.now();
            let landing = batch.land(session).await?;
            match &landing {
                // It may have landed in an earlier try, with others behind it since.
                Landing::Landed => shared.seen.note(stream, &batch.head),
                Landing::Lost(head) => shared.seen.head(asked, stream, head)?,
            }
            Ok(landing)
        })
        .await?;
    match landing {
        Landing::Landed => Ok(batch.head),
        Landing::Lost(head) => Err(AppendError::Conflict {
            stream: stream.clone(),
            head,
        }),
    }
}

/// Records that land together or not at all.
struct Batch<'a> {
    stream: &'a StreamName,
    expected: &'a Head,
    records: Vec<Record>,
    head: Head,
    append_id: [u8; 16],
    /// Whether an earlier try may have landed.
    is_doubtful: Cell<bool>,
}

impl<'a> Batch<'a> {
    fn seal(
        stream: &'a StreamName,
        expected: &'a Head,
        bodies: &[Vec<u8>],
        what: &str,
    ) -> Result<Self, AppendError> {
        let mut head = *expected;
        let mut records = Vec::with_capacity(bodies.len());
        // A number that no database has is nobody's head.
        if i64::try_from(expected.next_seq).is_ok_and(|seq| seq < i64::MAX - 1000) {
            for body in bodies {
                let record = chain::seal(stream, &head, body.clone());
                head = record.head_after();
                records.push(record);
            }
        }
        Ok(Self {
            stream,
            expected,
            records,
            head,
            append_id: random_id().map_err(|trouble| trouble.into_fault(what))?,
            is_doubtful: Cell::new(false),
        })
    }

    /// Inserts the records. Done again after an answer that was lost, it finds its own records by their key: it waits
    /// for an insertion that is still under way, and can't land twice.
    async fn land(&self, session: &Session) -> Result<Landing, Trouble> {
        let is_first_of_all = self.expected.next_seq == 0 && self.expected.hash == Head::EMPTY.hash;
        if self.records.is_empty() || (self.expected.next_seq == 0 && !is_first_of_all) {
            let head = records::head(session, self.stream).await?;
            let is_empty_list = self.records.is_empty() && head == *self.expected;
            return Ok(if is_empty_list {
                Landing::Landed
            } else {
                Landing::Lost(head)
            });
        }
        let was_doubtful = self.is_doubtful.replace(true);
        match self.insert(session).await {
            Ok(0) => self.lost(session).await,
            Ok(_) => Ok(Landing::Landed),
            Err(trouble) if trouble.is_taken() => {
                if was_doubtful && self.is_ours(session).await? {
                    session.settle().await?;
                    return Ok(Landing::Landed);
                }
                self.lost(session).await
            }
            Err(trouble) => Err(trouble),
        }
    }

    async fn insert(&self, session: &Session) -> Result<u64, Trouble> {
        let seqs: Vec<i64> = self.records.iter().map(|record| int(record.seq)).collect();
        let prevs: Vec<&[u8]> = self.records.iter().map(|r| &r.prev_hash.0[..]).collect();
        let hashes: Vec<&[u8]> = self.records.iter().map(|r| &r.hash.0[..]).collect();
        let bodies: Vec<&[u8]> = self.records.iter().map(|r| r.body.as_slice()).collect();
        let given = [
            (&self.stream.as_str() as _, Type::TEXT),
            (&seqs as _, Type::INT8_ARRAY),
            (&prevs as _, Type::BYTEA_ARRAY),
            (&hashes as _, Type::BYTEA_ARRAY),
            (&bodies as _, Type::BYTEA_ARRAY),
            (&&self.append_id[..] as _, Type::BYTEA),
            (&int(self.expected.next_seq) as _, Type::INT8),
            (&&self.expected.hash.0[..] as _, Type::BYTEA),
        ];
        session.write(INSERT, &given).await
    }

    async fn is_ours(&self, session: &Session) -> Result<bool, Trouble> {
        let given = [
            (&self.stream.as_str() as _, Type::TEXT),
            (&int(self.expected.next_seq) as _, Type::INT8),
        ];
        let row = session.query_opt(WHOSE, &given).await?;
        Ok(row.is_some_and(|row| row.get::<_, &[u8]>(0) == self.append_id))
    }

    async fn lost(&self, session: &Session) -> Result<Landing, Trouble> {
        let head = records::head(session, self.stream).await?;
        // It can't be both: what was expected has become true since it was looked at.
        if head == *self.expected {
            return Err(Trouble::Moved);
        }
        Ok(Landing::Lost(head))
    }
}

/// Returns a number as the database has it; larger ones name nothing.
pub(crate) fn int(number: u64) -> i64 {
    i64::try_from(number).unwrap_or(i64::MAX)
}
