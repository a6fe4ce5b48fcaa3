//! Deciding and recording, anew while others are recorded first.

use baytrim_jobs::{Fold, Refusal, codec};
use baytrim_ledger::{AppendError, Head, StoreFault, StreamName, chain};
use baytrim_model::ids::UnixMillis;
use baytrim_model::record::{RECORD_VERSION, StreamRecord};
use serde::Serialize;
use serde::de::DeserializeOwned;

use super::cache::FoldCache;
use super::{Author, Loaded, Shop};
use crate::clock;
use crate::fault::{Fault, InternalFault};
use crate::limits::DECIDE_TRIES_MAX;

/// How far a record's time may be behind that of the one before it, in milliseconds: clocks are set right by less.
const CLOCK_BACK_MS_MAX: i64 = 1000;

/// What a request is to come to.
pub(super) enum Step<S: Fold> {
    /// Record this.
    Record(S::Event),
    /// It was recorded before, by the same request.
    Repeat(S::Outcome),
}

/// What a request came to.
pub(super) struct Committed<S: Fold> {
    /// The job or bay with what was recorded.
    pub(super) loaded: Loaded<S>,
    /// What was recorded.
    pub(super) outcome: S::Outcome,
    /// Whether it had been recorded before, by the same request.
    pub(super) is_repeat: bool,
}

impl Shop {
    /// Records what `step` decides on, deciding anew while others are recorded first; `step` is told what
    /// the stream tells, none while it is empty.
    pub(super) fn commit<S: Fold>(
        &self,
        cache: &FoldCache<S>,
        stream: &StreamName,
        author: &Author,
        mut step: impl FnMut(Option<&Loaded<S>>) -> Result<Step<S>, Fault>,
    ) -> Result<Committed<S>, Fault>
    where
        S::Event: Serialize + DeserializeOwned + PartialEq,
    {
        const EMPTY: InternalFault = InternalFault::Impossible("a stream with records is empty");
        for _ in 0..DECIDE_TRIES_MAX {
            let loaded = cache.load(&*self.store, stream)?;
            let event = match step(loaded.as_ref())? {
                Step::Record(event) => event,
                Step::Repeat(outcome) => {
                    return Ok(Committed {
                        loaded: loaded.ok_or(EMPTY)?,
                        outcome,
                        is_repeat: true,
                    });
                }
            };
            let outcome = S::outcome_of(&event);
            let record = record(author, event);
            let before = loaded.as_ref().map(|loaded| loaded.at);
            let expected = loaded.map_or(Head::EMPTY, |loaded| loaded.head);
            if self.append(stream, &expected, &record)? {
                self.look_at_clock(before, record.at);
                self.heard(stream);
                return Ok(Committed {
                    loaded: cache.load(&*self.store, stream)?.ok_or(EMPTY)?,
                    outcome,
                    is_repeat: false,
                });
            }
        }
        Err(Fault::contended(stream))
    }

    /// Tells where the clock has gone back since the record before; the order of records does not rest on their times.
    fn look_at_clock(&self, before: Option<UnixMillis>, at: UnixMillis) {
        let back_ms = before.map_or(0, |before| before.0 - at.0);
        if back_ms > CLOCK_BACK_MS_MAX {
            self.metrics.clock_back.inc();
            tracing::warn!(
                back_s = back_ms / 1000,
                "the clock is behind the record before; set it right, records keep their order all the same"
            );
        }
    }

    /// Appends one record; returns whether it landed, false meaning that another was first.
    fn append<E>(
        &self,
        stream: &StreamName,
        expected: &Head,
        record: &StreamRecord<E>,
    ) -> Result<bool, Fault>
    where
        E: Serialize + DeserializeOwned + PartialEq,
    {
        let bodies = [codec::encode(record).map_err(InternalFault::from)?];
        match self.store.append(stream, expected, &bodies) {
            Ok(_) => Ok(true),
            Err(AppendError::Conflict { .. }) => Ok(false),
            Err(AppendError::Fault(fault)) => {
                let [body] = bodies;
                self.resolve(stream, expected, body, fault)
            }
            Err(other) => Err(other.into()),
        }
    }

    /// Finds out whether an append that failed has landed all the same, by the hash that it would have.
    fn resolve(
        &self,
        stream: &StreamName,
        expected: &Head,
        body: Vec<u8>,
        fault: StoreFault,
    ) -> Result<bool, Fault> {
        tracing::warn!(%stream, error = %fault, "an append failed; reading back whether it landed");
        let ours = chain::seal(stream, expected, body);
        let Ok(found) = self.store.read(stream, expected.next_seq, 1) else {
            return Err(InternalFault::Ambiguous {
                stream: stream.to_string(),
                source: fault,
            }
            .into());
        };
        match found.first() {
            Some(record) => Ok(record.hash == ours.hash),
            None => Err(fault.into()),
        }
    }
}

pub(super) fn record<E>(author: &Author, event: E) -> StreamRecord<E> {
    StreamRecord {
        version: RECORD_VERSION,
        at: clock::now(),
        by: author.by.clone(),
        request_id: author.request_id.clone(),
        event,
    }
}

/// Returns what this very request came to before.
pub(super) fn before<S: Fold>(
    loaded: &Loaded<S>,
    author: &Author,
    is_same: &dyn Fn(S::Outcome) -> bool,
) -> Result<Option<S::Outcome>, Refusal> {
    let Some(id) = &author.request_id else {
        return Ok(None);
    };
    match loaded.state.outcome_before(id) {
        Some(outcome) if is_same(outcome) => Ok(Some(outcome)),
        Some(_) => Err(Refusal::RequestIdReused(id.0.clone())),
        None => Ok(None),
    }
}
