//! The log of a finished live pull: plain CSV under the standard column names, so that a stranger can read it.

use std::fmt::Write as _;

use baytrim_api::v1::SampleBatch;
use baytrim_intake::standard::{STANDARD_COLUMNS, STANDARD_TIME_COLUMN};
use baytrim_ledger::{BlobId, Store, StreamName};
use baytrim_model::channel::Quantity;
use prost::Message as _;

use crate::fault::{Fault, InternalFault};

/// Chunks that are read at a time.
const READ_CHUNKS: usize = 64;

/// Calls `take` with every batch of a spool, in order; memory is that of one read.
pub(super) fn each_batch(
    store: &dyn Store,
    spool: &StreamName,
    mut take: impl FnMut(SampleBatch) -> Result<(), Fault>,
) -> Result<(), Fault> {
    let mut next = 1;
    loop {
        let chunks = store.spool_read(spool, next, READ_CHUNKS)?;
        let Some((last, _)) = chunks.last() else {
            return Ok(());
        };
        next = last + 1;
        for (number, chunk) in chunks {
            let batch =
                SampleBatch::decode(chunk.as_slice()).map_err(|error| InternalFault::Decode {
                    what: format!("chunk {number} of spool {spool}"),
                    source: error.into(),
                })?;
            take(batch)?;
        }
    }
}

/// Writes the batches of `spool` as a log and returns its blob.
///
/// Values are written with as few digits as give the very same `float` back.
pub(super) fn write<'a>(
    store: &dyn Store,
    spool: &StreamName,
    channels: impl Iterator<Item = &'a Quantity>,
) -> Result<BlobId, Fault> {
    let present: Vec<Quantity> = channels.copied().collect();
    let columns = STANDARD_COLUMNS
        .iter()
        .filter(|(quantity, _)| present.contains(quantity));
    let columns: Vec<(Quantity, &str)> = columns.copied().collect();
    let mut blob = store.begin_blob()?;
    let mut text = String::from(STANDARD_TIME_COLUMN);
    for (_, name) in &columns {
        text.push(',');
        text.push_str(name);
    }
    text.push('\n');
    each_batch(store, spool, |batch| {
        rows(&mut text, &batch, &columns);
        blob.write(text.as_bytes())?;
        text.clear();
        Ok(())
    })?;
    Ok(blob.commit()?)
}

fn rows(text: &mut String, batch: &SampleBatch, columns: &[(Quantity, &str)]) {
    let values = columns.iter().map(|(quantity, _)| {
        let found = batch
            .columns
            .iter()
            .find(|column| column.quantity == quantity.as_str());
        found.map_or(&[][..], |column| column.values.as_slice())
    });
    let values: Vec<&[f32]> = values.collect();
    for (row, offset_s) in batch.offset_s.iter().enumerate() {
        let _ = write!(text, "{offset_s}");
        for column in &values {
            text.push(',');
            if let Some(value) = column.get(row).filter(|value| !value.is_nan()) {
                let _ = write!(text, "{value}");
            }
        }
        text.push('\n');
    }
}
