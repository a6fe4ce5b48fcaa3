//! Reading records.

use baytrim_ledger::limits::READ_BYTES_MAX;
use baytrim_ledger::{Damage, Hash, Head, Record, StoreFault, StreamName, chain};
use tokio_postgres::Row;
use tokio_postgres::types::Type;

use crate::append::int;
use crate::session::Session;
use crate::shared::Shared;
use crate::trouble::Trouble;

const HEAD: &str =
    "select seq, hash from baytrim_record where stream = $1 order by seq desc limit 1";

/// The sum is over lengths only: bodies beyond the limit never leave the database.
const READ: &str = "select seq, prev, hash, body from ( \
    select seq, prev, hash, body, sum(octet_length(body)) over (order by seq) as total \
    from (select seq, prev, hash, body from baytrim_record where stream = $1 and seq >= $2 order by seq limit $3) as found \
    ) as summed where seq = $2 or total <= $4 order by seq";

const STREAMS: &str = "select first.stream, last.seq, last.hash from ( \
    select stream from baytrim_record where seq = 0 and stream >= $1 and stream < $2 and stream > $3 \
    order by stream limit $4) as first \
    cross join lateral (select seq, hash from baytrim_record as r where r.stream = first.stream order by seq desc limit 1) as last \
    order by first.stream";

/// Returns the head of a stream.
pub(crate) async fn head(session: &Session, stream: &StreamName) -> Result<Head, Trouble> {
    let given = [(&stream.as_str() as _, Type::TEXT)];
    let row = session.query_opt(HEAD, &given).await?;
    Ok(row.map_or(Head::EMPTY, |row| head_of(&row, 0)))
}

/// Returns records; see [`baytrim_ledger::Store::read`].
pub(crate) async fn read(
    shared: &Shared,
    stream: &StreamName,
    from_seq: u64,
    limit: usize,
) -> Result<Vec<Record>, StoreFault> {
    let limit = i64::try_from(limit).unwrap_or(i64::MAX);
    let what = format!("reading stream {stream} from record {from_seq}");
    shared
        .retry(&what, async |session| {
            let given = [
                (&stream.as_str() as _, Type::TEXT),
                (&int(from_seq) as _, Type::INT8),
                (&limit as _, Type::INT8),
                (&int(READ_BYTES_MAX as u64) as _, Type::INT8),
            ];
            let asked = shared.seen.now();
            let rows = session.query(READ, &given).await?;
            let records = rows.iter().map(|row| sound(stream, row));
            let records: Result<Vec<_>, StoreFault> = records.collect();
            // What was changed by hand is damage, and no matter of what the database had before.
            if let Ok(records) = &records
                && limit > 0
            {
                let last = records.last().map(Record::head_after);
                shared.seen.read(asked, stream, from_seq, last)?;
            }
            Ok(records)
        })
        .await?
}

/// Returns the record of a row, once its content has the hash that it claims.
fn sound(stream: &StreamName, row: &Row) -> Result<Record, StoreFault> {
    let record = Record {
        stream: stream.clone(),
        seq: natural(row.get(0)),
        prev_hash: hash_of(row, 1),
        hash: hash_of(row, 2),
        body: row.get(3),
    };
    let actual = chain::record_hash(stream, record.seq, &record.prev_hash, &record.body);
    if actual == record.hash {
        return Ok(record);
    }
    let what = format!("its content hashes to {actual}, not to {}", record.hash);
    Err(damage(stream, record.seq, what).into())
}

/// Returns streams; see [`baytrim_ledger::Store::streams`].
pub(crate) async fn streams(
    shared: &Shared,
    prefix: &str,
    after: Option<&StreamName>,
    limit: usize,
) -> Result<Vec<(StreamName, Head)>, StoreFault> {
    if !prefix.is_ascii() || prefix.contains('\0') {
        return Ok(Vec::new());
    }
    // No name has a letter behind this one.
    let end = format!("{prefix}~");
    let limit = i64::try_from(limit).unwrap_or(i64::MAX);
    let after = after.map_or("", StreamName::as_str);
    shared
        .retry("listing streams", async |session| {
            let given = [
                (&prefix as _, Type::TEXT),
                (&end as _, Type::TEXT),
                (&after as _, Type::TEXT),
                (&limit as _, Type::INT8),
            ];
            let asked = shared.seen.now();
            let rows = session.query(STREAMS, &given).await?;
            let named = |row: &Row| Ok((name_of(row)?, head_of(row, 1)));
            let listed: Result<Vec<_>, StoreFault> = rows.iter().map(named).collect();
            if let Ok(listed) = &listed
                && limit > 0
            {
                let is_full = int(listed.len() as u64) == limit;
                let last = listed.last().filter(|_| is_full);
                let end = last.map_or(end.as_str(), |(stream, _)| stream.as_str());
                shared.seen.list(asked, (after.max(prefix), end), listed)?;
            }
            Ok(listed)
        })
        .await?
}

/// Returns the name in the first column.
pub(crate) fn name_of(row: &Row) -> Result<StreamName, StoreFault> {
    let text: &str = row.get(0);
    StreamName::new(text).map_err(|error| {
        let damage = Damage {
            file: "a table of names".to_owned(),
            what: error.to_string(),
            advice: "another program wrote into the database".to_owned(),
            ..Damage::default()
        };
        damage.into()
    })
}

pub(crate) fn head_of(row: &Row, column: usize) -> Head {
    Head {
        next_seq: natural(row.get(column)) + 1,
        hash: hash_of(row, column + 1),
    }
}

/// Returns a hash; a value of another length is none, and whatever it belongs to is found damaged.
pub(crate) fn hash_of(row: &Row, column: usize) -> Hash {
    let bytes: &[u8] = row.get(column);
    bytes.try_into().map_or(Hash::ZERO, Hash)
}

/// Returns a number that the tables never let become negative.
pub(crate) fn natural(number: i64) -> u64 {
    u64::try_from(number).unwrap_or(0)
}

pub(crate) fn damage(stream: &StreamName, seq: u64, what: String) -> Damage {
    Damage {
        file: "table baytrim_record".to_owned(),
        stream: Some(stream.clone()),
        seq: Some(seq),
        what,
        advice: "restore the database to a moment before that, or the job from an archive"
            .to_owned(),
        ..Damage::default()
    }
}
