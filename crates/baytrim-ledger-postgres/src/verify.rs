//! Reads everything and checks it.

use std::io::Read as _;
use std::sync::Arc;

use baytrim_ledger::{
    BlobError, Damage, Head, StoreFault, StreamName, VerifyProgress, VerifyReport, VerifyStage,
    chain,
};
use tokio_postgres::types::Type;

use crate::records::{damage, name_of, natural};
use crate::shared::Shared;
use crate::{blob, records};

/// Names that are listed at a time.
const LIST: usize = 256;

/// Records that are read at a time.
const READ: usize = 256;

/// Bytes of a blob that are read at a time.
const BLOB_BYTES: usize = 256 << 10;

/// Counts what is there, not what follows from its first record: a stream whose beginning is gone is found too.
const STREAMS: &str = "select stream, count(*), max(seq) from baytrim_record where stream > $1 \
    group by stream order by stream limit $2";

const SPOOLS: &str =
    "select spool, count(*), max(number) from baytrim_chunk group by spool order by spool";

/// See [`baytrim_ledger::Store::verify`].
pub(crate) fn verify(
    shared: &Arc<Shared>,
    progress: &mut dyn FnMut(VerifyProgress),
) -> Result<VerifyReport, StoreFault> {
    let mut report = VerifyReport::default();
    let mut tell = |stage, done| {
        progress(VerifyProgress {
            stage,
            done,
            total: done,
        });
    };
    let mut after = String::new();
    loop {
        let listed = streams(shared, &after)?;
        let Some((last, ..)) = listed.last() else {
            break;
        };
        after = last.to_string();
        for (stream, count) in listed {
            report.stream_count += 1;
            verify_stream(shared, &stream, count, &mut report)?;
            tell(VerifyStage::Records, report.record_bytes);
        }
    }
    verify_spools(shared, &mut report)?;
    tell(VerifyStage::Spools, report.chunk_count);
    let mut after = None;
    loop {
        let listed = shared.wait(blob::list(shared, after.as_ref(), LIST))?;
        let Some((last, _)) = listed.last() else {
            return Ok(report);
        };
        after = Some(*last);
        for (id, _) in listed {
            verify_blob(shared, &id, &mut report)?;
            tell(VerifyStage::Blobs, report.blob_bytes);
        }
    }
}

fn streams(shared: &Shared, after: &str) -> Result<Vec<(StreamName, u64)>, StoreFault> {
    let rows = shared.wait(shared.retry("listing streams", async |session| {
        let limit = i64::try_from(LIST).unwrap_or(i64::MAX);
        let given = [(&after as _, Type::TEXT), (&limit as _, Type::INT8)];
        session.query(STREAMS, &given).await
    }))?;
    let named = rows
        .iter()
        .map(|row| Ok((name_of(row)?, natural(row.get(1)))));
    named.collect()
}

/// Follows the chain from the first record. Appends may go on meanwhile, so that there may be more than were counted.
fn verify_stream(
    shared: &Shared,
    stream: &StreamName,
    count: u64,
    report: &mut VerifyReport,
) -> Result<(), StoreFault> {
    let mut head = Head::EMPTY;
    loop {
        let found = shared.wait(records::read(shared, stream, head.next_seq, READ));
        let found = match found {
            Err(StoreFault::Damaged(found)) => {
                report.note(*found);
                return Ok(());
            }
            other => other?,
        };
        if found.is_empty() {
            break;
        }
        for record in found {
            match chain::check(&head, &record) {
                Ok(after) => head = after,
                Err(error) => {
                    report.note(damage(stream, record.seq, error.to_string()));
                    return Ok(());
                }
            }
            report.record_count += 1;
            report.record_bytes += record.body.len() as u64;
        }
    }
    if head.next_seq < count {
        let what = format!("{count} records are there, and the chain ends before");
        report.note(damage(stream, head.next_seq, what));
    }
    Ok(())
}

fn verify_spools(shared: &Shared, report: &mut VerifyReport) -> Result<(), StoreFault> {
    let rows = shared.wait(shared.retry("listing spools", async |session| {
        session.query(SPOOLS, &[]).await
    }))?;
    for row in rows {
        let (spool, count, last) = (name_of(&row)?, natural(row.get(1)), natural(row.get(2)));
        report.spool_count += 1;
        report.chunk_count += count;
        if count != last + 1 {
            report.note(Damage {
                file: "table baytrim_chunk".to_owned(),
                stream: Some(spool),
                seq: Some(last),
                what: format!("{count} chunks are there, and the last has this number"),
                advice: "submit that pull again".to_owned(),
                ..Damage::default()
            });
        }
    }
    Ok(())
}

fn verify_blob(
    shared: &Arc<Shared>,
    id: &baytrim_ledger::BlobId,
    report: &mut VerifyReport,
) -> Result<(), StoreFault> {
    let mut reader = match blob::open(shared, id) {
        Ok(reader) => reader,
        Err(BlobError::Fault(fault)) => return Err(fault),
        // Blobs are never taken away, so that it is only a list that was wrong.
        Err(_) => return Ok(()),
    };
    report.blob_count += 1;
    report.blob_bytes += reader.len();
    let mut buffer = vec![0; BLOB_BYTES];
    loop {
        match reader.read(&mut buffer) {
            Ok(0) => return Ok(()),
            Ok(_) => {}
            Err(error) => match error.downcast::<Damage>() {
                Ok(found) => {
                    report.note(found);
                    return Ok(());
                }
                Err(error) => return Err(StoreFault::from_io(format!("reading blob {id}"), error)),
            },
        }
    }
}
