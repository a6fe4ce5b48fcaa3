//! Folding a stream from its records.

use std::sync::Arc;

use baytrim_jobs::{Fold, codec};
use baytrim_ledger::{Record, Store, StreamName};
use baytrim_model::record::StreamRecord;
use serde::de::DeserializeOwned;

use super::Loaded;
use crate::fault::InternalFault;

/// Records that are read at a time.
const READ_RECORDS: usize = 64;

/// Brings `loaded` up to the end of its stream; none stays none while the stream is empty.
pub(super) fn catch_up<S: Fold>(
    store: &dyn Store,
    stream: &StreamName,
    mut loaded: Option<Loaded<S>>,
) -> Result<Option<Loaded<S>>, InternalFault>
where
    S::Event: DeserializeOwned,
{
    loop {
        let from = loaded.as_ref().map_or(0, |loaded| loaded.head.next_seq);
        let records = store.read(stream, from, READ_RECORDS)?;
        if records.is_empty() {
            return Ok(loaded);
        }
        for record in &records {
            loaded = Some(take(loaded, record)?);
        }
    }
}

/// Returns what a record says.
///
/// # Errors
/// Names the record that can't be read.
pub fn decode<E: DeserializeOwned>(record: &Record) -> Result<StreamRecord<E>, InternalFault> {
    codec::decode(&record.body).map_err(|source| InternalFault::Record {
        stream: record.stream.to_string(),
        seq: record.seq,
        source,
    })
}

fn take<S: Fold>(loaded: Option<Loaded<S>>, record: &Record) -> Result<Loaded<S>, InternalFault>
where
    S::Event: DeserializeOwned,
{
    let decoded = decode(record)?;
    let misfit = |source| InternalFault::Fold {
        stream: record.stream.to_string(),
        source,
    };
    let state = match loaded {
        None => Arc::new(S::begin(&decoded).map_err(misfit)?),
        Some(loaded) if loaded.head != record.head_before() => {
            return Err(InternalFault::Impossible(
                "a stream no longer goes on from where it was read before",
            ));
        }
        Some(mut loaded) => {
            let state = Arc::make_mut(&mut loaded.state);
            state.take(&decoded).map_err(misfit)?;
            loaded.state
        }
    };
    Ok(Loaded {
        state,
        head: record.head_after(),
        at: decoded.at,
    })
}
