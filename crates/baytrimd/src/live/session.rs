//! One connection's work on a live pull: open, take batches, finish. All of it blocks.

use std::sync::Arc;

use baytrim_api::v1::{SampleBatch, StreamProgress};
use baytrim_estimate::LivePull;
use baytrim_jobs::{Refusal, pulls};
use baytrim_ledger::limits::CHUNK_BYTES_MAX;
use baytrim_ledger::{SpoolError, StreamName};
use baytrim_model::field::FieldError;
use baytrim_model::pull::ChannelMapSource;
use baytrim_model::samples::Samples;
use prost::Message as _;

use super::cursor::Cursor;
use super::header::Header;
use super::{StreamFault, log};
use crate::clock;
use crate::compute::Lane;
use crate::convert;
use crate::convert::request::Submitter;
use crate::convert::stream::Opening;
use crate::fault::{Fault, InternalFault};
use crate::intake;
use crate::shop::{Author, Decided, Loaded, Shop};

/// One connection's work on a live pull.
pub(super) struct Session {
    shop: Arc<Shop>,
    author: Author,
    header: Header,
    spool: StreamName,
    cursor: Cursor,
    live: LivePull,
}

/// What opening a live pull came to.
pub(super) enum Opened {
    /// It goes on.
    Live(Box<Session>),
    /// It was finished before.
    Finished(Decided),
}

impl Session {
    /// Begins the pull, or goes on with what is durable of it.
    pub(super) fn open(
        shop: Arc<Shop>,
        opening: &Opening,
        by: &Submitter,
    ) -> Result<Opened, Fault> {
        let author = Author {
            by: by.by.clone(),
            request_id: Some(opening.request_id.clone()),
        };
        let spool = spool_of(&opening.request_id.0)?;
        let job = shop.job(&opening.job)?;
        if let Some(outcome) = job.state.outcome(author.request_id.as_ref()) {
            if !intake::is_pull(outcome) {
                return Err(Refusal::RequestIdReused(opening.request_id.0.clone()).into());
            }
            // Left behind when the daemon went down between the record and this.
            shop.store().spool_drop(&spool)?;
            return Ok(Opened::Finished(Decided {
                job,
                outcome,
                is_repeat: true,
            }));
        }
        let header = header(&shop, &job, (opening, by), &spool)?;
        let live = pulls::live(&job.state, &header.circumstances())?;
        let mut session = Self {
            shop,
            author,
            header,
            spool,
            cursor: Cursor::START,
            live,
        };
        session.replay()?;
        Ok(Opened::Live(Box::new(session)))
    }

    /// Returns the highest durable batch.
    pub(super) fn durable(&self) -> u64 {
        self.cursor.sequence_number
    }

    /// Makes batches durable, all with one write; those before a bad one are kept.
    pub(super) fn take(&mut self, batches: Vec<SampleBatch>) -> Result<(), Fault> {
        let mut ahead = self.cursor.clone();
        let (mut all, mut chunks) = (Vec::new(), Vec::new());
        let mut refused = Ok(());
        for batch in batches {
            match self.check(&ahead, &batch) {
                Ok(None) => {}
                Ok(Some((samples, chunk))) => {
                    ahead.advance(&samples);
                    all.push(samples);
                    chunks.push(chunk);
                }
                Err(fault) => {
                    refused = Err(fault);
                    break;
                }
            }
        }
        self.keep(&all, &chunks)?;
        refused
    }

    /// Returns the samples and the bytes of a batch that goes on from `ahead`; none when it is in already.
    fn check(
        &self,
        ahead: &Cursor,
        batch: &SampleBatch,
    ) -> Result<Option<(Samples, Vec<u8>)>, Fault> {
        let number = batch.sequence_number;
        let expected = ahead.sequence_number + 1;
        let refuse = |error| StreamFault::Batch {
            sequence_number: number,
            error,
        };
        if number == 0 {
            let remedy = "count batches from 1";
            return Err(refuse(FieldError::new("sequence_number", "is 0", remedy)).into());
        }
        if number < expected {
            return Ok(None);
        }
        if number > expected {
            let found = number;
            return Err(StreamFault::Skipped { expected, found }.into());
        }
        let samples = convert::stream::samples(batch).map_err(refuse)?;
        ahead
            .check(&samples, &self.header.channels)
            .map_err(refuse)?;
        let chunk = batch.encode_to_vec();
        if chunk.len() > CHUNK_BYTES_MAX {
            let problem = format!("the batch has {} bytes", chunk.len());
            let remedy = format!("send at most {CHUNK_BYTES_MAX} bytes in one");
            return Err(refuse(FieldError::new("columns", problem, remedy)).into());
        }
        Ok(Some((samples, chunk)))
    }

    /// Writes checked batches, and counts them only then.
    fn keep(&mut self, all: &[Samples], chunks: &[Vec<u8>]) -> Result<(), Fault> {
        if chunks.is_empty() {
            return Ok(());
        }
        let (store, next) = (self.shop.store(), self.durable() + 1);
        match store.spool_append_all(&self.spool, next, chunks) {
            Ok(_) => {
                let rows: usize = all.iter().map(Samples::len).sum();
                self.shop.metrics().samples.inc_by(rows as u64);
                all.iter().try_for_each(|samples| self.advance(samples))
            }
            // Only another daemon on the same store gets here.
            Err(SpoolError::Conflict { .. }) => Err(StreamFault::Superseded {
                durable: self.durable(),
            }
            .into()),
            Err(other) => Err(other.into()),
        }
    }

    fn advance(&mut self, samples: &Samples) -> Result<(), Fault> {
        self.cursor.advance(samples);
        self.live.push(samples).map_err(|_| {
            InternalFault::Impossible("a checked batch has columns of one length").into()
        })
    }

    fn replay(&mut self) -> Result<(), Fault> {
        let (shop, spool) = (Arc::clone(&self.shop), self.spool.clone());
        log::each_batch(&**shop.store(), &spool, |batch| {
            let samples = convert::stream::samples(&batch)
                .map_err(|_| InternalFault::Impossible("a durable batch was checked before"))?;
            self.advance(&samples)
        })
    }

    /// Returns how the pull stands.
    pub(super) fn progress(&self) -> StreamProgress {
        convert::stream::progress(self.durable(), self.cursor.sample_count, &self.live)
    }

    /// Returns whose work it is to finish the pull.
    pub(super) fn lane(&self) -> Lane {
        Lane::of(&self.header.job)
    }

    /// Writes the log, reads it, records the pull, then forgets the spool.
    pub(super) fn finish(&self) -> Result<Decided, Fault> {
        let store = self.shop.store();
        let Some(channels) = self.cursor.channels() else {
            return Err(StreamFault::NothingSent.into());
        };
        let blob = log::write(&**store, &self.spool, channels.iter())?;
        let circumstances = self.header.circumstances();
        let job = &self.header.job;
        let decided = intake::record(&self.shop, job, &self.author, &circumstances, "", blob)?;
        if let Err(fault) = store.spool_drop(&self.spool) {
            // The pull is recorded; the spool goes when the same pull is opened again.
            tracing::warn!(spool = %self.spool, error = %fault, "a finished pull's spool stays");
        }
        Ok(decided)
    }
}

/// Checks that whoever wants to go on with a live pull may, before whoever is connected to it is sent away.
pub(super) fn check_hand(shop: &Shop, opening: &Opening, by: &Submitter) -> Result<(), Fault> {
    if let Some(header) = kept(shop, &spool_of(&opening.request_id.0)?)? {
        header.check_hand(by)?;
    }
    Ok(())
}

/// Returns the header that a spool has.
fn kept(shop: &Shop, spool: &StreamName) -> Result<Option<Header>, Fault> {
    let Some((_, chunk)) = shop.store().spool_read(spool, 0, 1)?.into_iter().next() else {
        return Ok(None);
    };
    let header = serde_json::from_slice(&chunk).map_err(|error| InternalFault::Decode {
        what: format!("chunk 0 of spool {spool}"),
        source: error.into(),
    })?;
    Ok(Some(header))
}

/// Returns the header of the spool, writing it where the pull is new.
fn header(
    shop: &Shop,
    job: &Loaded,
    (opening, by): (&Opening, &Submitter),
    spool: &StreamName,
) -> Result<Header, Fault> {
    let known = || -> Result<Option<Header>, Fault> {
        let header = kept(shop, spool)?;
        if let Some(header) = &header {
            header.check_hand(by)?;
            header.check(opening)?;
        }
        Ok(header)
    };
    if let Some(header) = known()? {
        return Ok(header);
    }
    let found = pulls::circumstances(
        &job.state,
        &opening.bay,
        &opening.revision,
        &opening.stage,
        (opening.channels.clone(), ChannelMapSource::Standard),
    )?;
    let (mode, grip_revision) = (&opening.mode, &opening.grip_revision);
    let found = pulls::in_mode(&job.state, found, mode, grip_revision)?;
    let header = Header {
        request_id: opening.request_id.0.clone(),
        job: opening.job.clone(),
        bay: found.bay,
        revision: found.revision,
        stage: found.stage,
        mode: found.mode,
        grip_revision: found.grip_revision,
        channels: found.channels,
        opened_at: clock::now(),
        opened_by: Some(by.by.clone()),
        conditions: opening.conditions,
    };
    let chunk = serde_json::to_vec(&header)
        .map_err(|_| InternalFault::Impossible("a header is plain JSON"))?;
    match shop.store().spool_append(spool, 0, &chunk) {
        Ok(_) => Ok(header),
        // Another daemon has begun the same pull just now.
        Err(SpoolError::Conflict { .. }) => known()?.ok_or_else(|| {
            InternalFault::Impossible("a spool that was begun has no beginning").into()
        }),
        Err(other) => Err(other.into()),
    }
}

/// Spool names know no capitals: pulls whose names differ in letter case only share one, and the
/// header tells them apart.
fn spool_of(request_id: &str) -> Result<StreamName, Fault> {
    let name = format!("live/{}", request_id.to_ascii_lowercase());
    StreamName::new(&name)
        .map_err(|_| InternalFault::Impossible("a checked request id names a spool").into())
}
