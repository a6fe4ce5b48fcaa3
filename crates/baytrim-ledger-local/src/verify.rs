//! Reads everything and checks it, while appends go on.

use std::collections::BTreeMap;
use std::io::Read as _;
use std::sync::PoisonError;
use std::sync::atomic::Ordering;

use baytrim_ledger::{
    BlobError, BlobId, Damage, Head, StoreFault, StreamName, VerifyProgress, VerifyReport,
    VerifyStage,
};

use crate::anchor;
use crate::batch;
use crate::blobs;
use crate::format;
use crate::place::{Place, Position};
use crate::replay;
use crate::scan::{self, Frame, Stop};
use crate::segment::{Header, LogKind};
use crate::shared::Shared;
use crate::spools::Spools;

/// Blobs listed at a time.
const BLOB_PAGE: usize = 1000;
/// Bytes of a blob read at a time.
const BLOB_READ_BYTES: usize = 1 << 20;

/// Is one verification on its way.
struct Verification<'a> {
    shared: &'a Shared,
    progress: &'a mut dyn FnMut(VerifyProgress),
    report: VerifyReport,
}

/// Verifies the store as [`baytrim_ledger::Store::verify`] says.
///
/// # Errors
/// The fault that kept it from looking.
pub(crate) fn verify(
    shared: &Shared,
    progress: &mut dyn FnMut(VerifyProgress),
) -> Result<VerifyReport, StoreFault> {
    let mut verification = Verification {
        shared,
        progress,
        report: VerifyReport::default(),
    };
    verification.journal()?;
    verification.spool()?;
    verification.anchor()?;
    verification.blobs()?;
    Ok(verification.report)
}

impl Verification<'_> {
    fn tell(&mut self, stage: VerifyStage, done: u64, total: u64) {
        (self.progress)(VerifyProgress { stage, done, total });
    }

    fn journal(&mut self) -> Result<(), StoreFault> {
        let (end, expected_heads) = {
            let state = self.shared.read_state();
            (state.journal_end, state.heads.clone())
        };
        let log = self.shared.log(LogKind::Journal);
        let total = total_bytes(self.shared, LogKind::Journal, 1, &end)?;
        if let Err(damage) = log.header(1)? {
            self.report.note(damage);
            return Ok(());
        }
        let mut heads: BTreeMap<StreamName, Head> = BTreeMap::new();
        let mut done = 0;
        let stop = scan::scan(
            log,
            Header::first().start(),
            end.seq,
            &mut |frame: &Frame<'_>| {
                done += u64::from(frame.place.len);
                self.journal_frame(&mut heads, frame)?;
                self.tell(VerifyStage::Records, done, total);
                Ok(())
            },
        )?;
        self.report.stream_count = heads.len() as u64;
        self.end_of_log(LogKind::Journal, &stop, &end);
        if self.report.is_sound() && heads != expected_heads {
            let what = "the heads in memory differ from those in the journal".to_owned();
            self.report.note(log.damage(end.segment, end.offset, what));
        }
        Ok(())
    }

    fn journal_frame(
        &mut self,
        heads: &mut BTreeMap<StreamName, Head>,
        frame: &Frame<'_>,
    ) -> Result<(), Damage> {
        let log = self.shared.log(LogKind::Journal);
        let damage = |what: String| log.damage(frame.place.segment, frame.place.offset, what);
        let records = batch::decode(frame.payload).map_err(damage)?;
        let Some(first) = records.first() else {
            return Ok(());
        };
        let head = heads.get(&first.stream).copied().unwrap_or_default();
        if first.head_before() != head {
            let (stream, seq) = (Some(first.stream.clone()), Some(first.seq));
            let what = format!(
                "the record does not follow the stream's record count {}",
                head.next_seq
            );
            return Err(Damage {
                stream,
                seq,
                ..damage(what)
            });
        }
        for record in &records {
            heads.insert(record.stream.clone(), record.head_after());
            self.report.record_count += 1;
            self.report.record_bytes += record.body.len() as u64;
        }
        self.index_entry(&first.stream, first.seq, frame.place);
        Ok(())
    }

    fn index_entry(&mut self, stream: &StreamName, seq: u64, place: Place) {
        let is_pending = self
            .shared
            .read_state()
            .pending
            .contains_key(&(stream.clone(), seq));
        if is_pending || self.shared.is_index_doubted.load(Ordering::Acquire) {
            return;
        }
        self.report.index_entry_count += 1;
        let what = match self.shared.index.find_exact(stream, seq) {
            Ok(Some(found)) if found == place => return,
            Ok(Some(found)) => format!("the index has it at {found:?}, the journal at {place:?}"),
            Ok(None) => "the index does not have it".to_owned(),
            Err(doubt) => doubt,
        };
        let file = self
            .shared
            .dir
            .join(format::INDEX_DIR)
            .display()
            .to_string();
        let advice =
            "no record is lost: stop the daemon, remove this directory, start again".to_owned();
        let (stream, seq) = (Some(stream.clone()), Some(seq));
        self.report.note(Damage {
            file,
            offset: None,
            stream,
            seq,
            what,
            advice,
        });
    }

    fn spool(&mut self) -> Result<(), StoreFault> {
        let shared = self.shared;
        let _guard = shared
            .spool_segments_in_use
            .read()
            .unwrap_or_else(PoisonError::into_inner);
        let (first, end) = {
            let state = shared.read_state();
            (state.spool_first_segment, state.spool_end)
        };
        let log = shared.log(LogKind::Spool);
        let total = total_bytes(shared, LogKind::Spool, first, &end)?;
        if !log.segments()?.contains(&first) {
            self.report
                .note(log.damage(first, 0, "the segment is missing".to_owned()));
            return Ok(());
        }
        let start = match log.header(first)? {
            Ok((header, _)) => header.start(),
            Err(damage) => {
                self.report.note(damage);
                return Ok(());
            }
        };
        let mut spools = Spools::default();
        let mut done = 0;
        let stop = scan::scan(log, start, end.seq, &mut |frame: &Frame<'_>| {
            done += u64::from(frame.place.len);
            replay::take_spool(&mut spools, log, frame)?;
            self.tell(VerifyStage::Spools, done, total);
            Ok(())
        })?;
        self.report.spool_count = spools.list().len() as u64;
        self.report.chunk_count = spools.chunk_count();
        self.end_of_log(LogKind::Spool, &stop, &end);
        Ok(())
    }

    /// Notes what ended a walk, unless that was the acknowledged end.
    fn end_of_log(&mut self, kind: LogKind, stop: &Stop, end: &Position) {
        match stop {
            Stop::Broken { damage, .. } => self.report.note(damage.clone()),
            Stop::End(found) if found.hash != end.hash || found.seq != end.seq => {
                let what = format!(
                    "the log ends at frame {}, {} was acknowledged",
                    found.seq, end.seq
                );
                self.report.note(
                    self.shared
                        .log(kind)
                        .damage(found.segment, found.offset, what),
                );
            }
            Stop::End(_) => {}
        }
    }

    fn anchor(&mut self) -> Result<(), StoreFault> {
        let end = self.shared.read_state().journal_end;
        let note = |what: &str| Damage {
            file: self.shared.dir.join(anchor::FILE).display().to_string(),
            what: what.to_owned(),
            advice:
                "append once or start again, which writes it anew; if it comes back, check the disk"
                    .to_owned(),
            ..Damage::default()
        };
        let slots = match anchor::read(&*self.shared.files, &self.shared.dir) {
            Err(StoreFault::Io { source, .. }) if source.kind() == std::io::ErrorKind::NotFound => {
                self.report.note(note("the file is missing"));
                return Ok(());
            }
            other => other?,
        };
        match slots.newest {
            Some(newest) if newest.journal.seq < end.seq => {
                self.report.note(note("it lags behind the journal"));
            }
            // The slot being written just now may be read half-way; the other one is sound then.
            Some(_) if slots.sound_count == 2 => {}
            Some(_) => {
                let again = anchor::read(&*self.shared.files, &self.shared.dir)?;
                if again.sound_count < 2 {
                    self.report.note(note("one of its two slots is unreadable"));
                }
            }
            None => self
                .report
                .note(note("neither of its two slots is readable")),
        }
        Ok(())
    }

    fn blobs(&mut self) -> Result<(), StoreFault> {
        let mut after: Option<BlobId> = None;
        loop {
            let page = blobs::list(self.shared, after.as_ref(), BLOB_PAGE)?;
            let Some((last, _)) = page.last() else {
                return Ok(());
            };
            after = Some(*last);
            for (id, len) in page {
                self.blob(&id)?;
                self.report.blob_count += 1;
                self.report.blob_bytes += len;
                let done = self.report.blob_bytes;
                self.tell(VerifyStage::Blobs, done, done);
            }
        }
    }

    fn blob(&mut self, id: &BlobId) -> Result<(), StoreFault> {
        let mut reader = match blobs::open(self.shared, id) {
            Ok(reader) => reader,
            // Listed and gone: it was removed by rule meanwhile. Whoever checks the records knows which must be there.
            Err(BlobError::Missing { .. }) => return Ok(()),
            Err(error) => {
                self.report.note(Damage {
                    file: id.to_string(),
                    what: error.to_string(),
                    ..Damage::default()
                });
                return Ok(());
            }
        };
        let mut buffer = vec![0; BLOB_READ_BYTES];
        loop {
            match reader.read(&mut buffer) {
                Ok(0) => return Ok(()),
                Ok(_) => {}
                Err(error) => match error.downcast::<Damage>() {
                    Ok(damage) => {
                        self.report.note(damage);
                        return Ok(());
                    }
                    Err(source) => {
                        return Err(StoreFault::from_io(format!("reading blob {id}"), source));
                    }
                },
            }
        }
    }
}

fn total_bytes(
    shared: &Shared,
    kind: LogKind,
    first: u32,
    end: &Position,
) -> Result<u64, StoreFault> {
    let log = shared.log(kind);
    let mut total = end.offset;
    for number in log
        .segments()?
        .into_iter()
        .filter(|&number| number >= first && number < end.segment)
    {
        let path = log.path(number);
        let len = shared.files.open(&path).and_then(|file| file.len());
        total += len
            .map_err(|source| StoreFault::from_io(format!("reading {}", path.display()), source))?;
    }
    Ok(total)
}
