//! Writes one log: frames into the current segment, a new segment when it is full.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use baytrim_ledger::StoreFault;

use crate::files::{Files, OpenFile};
use crate::frame;
use crate::place::{Place, Position};
use crate::segment::{self, Header, LogKind};

/// Bytes gathered before they are handed to the system, within one group.
const BUFFER_BYTES: usize = 1 << 20;

/// Is the writing end of a log.
pub(crate) struct LogWriter {
    files: Arc<dyn Files>,
    dir: PathBuf,
    kind: LogKind,
    segment_bytes: u64,
    file: Arc<dyn OpenFile>,
    /// End of the log with what is in the buffer.
    end: Position,
    buffer: Vec<u8>,
    is_dirty: bool,
}

impl LogWriter {
    /// Creates the first segment of a log, synced with its directory.
    ///
    /// # Errors
    /// The fault of the write or sync.
    pub(crate) fn create(
        files: &dyn Files,
        dir: &Path,
        kind: LogKind,
    ) -> Result<Position, StoreFault> {
        let header = Header::first();
        create_segment(files, dir, kind, &header)?;
        Ok(header.start())
    }

    /// Creates the segment that follows `end`, synced with its directory.
    ///
    /// # Errors
    /// The fault of the write or sync.
    pub(crate) fn create_at(
        files: &dyn Files,
        dir: &Path,
        kind: LogKind,
        end: &Position,
    ) -> Result<Position, StoreFault> {
        let header = Header::after(end);
        create_segment(files, dir, kind, &header)?;
        Ok(header.start())
    }

    /// Opens the log for writing at `end`.
    ///
    /// # Errors
    /// The fault of opening the segment.
    pub(crate) fn open(
        files: Arc<dyn Files>,
        dir: PathBuf,
        kind: LogKind,
        segment_bytes: u64,
        end: Position,
    ) -> Result<Self, StoreFault> {
        let path = segment::path(&dir, end.segment);
        let file = files
            .open(&path)
            .map_err(|source| StoreFault::from_io(format!("opening {}", path.display()), source))?;
        Ok(Self {
            files,
            dir,
            kind,
            segment_bytes,
            file,
            end,
            buffer: Vec::new(),
            is_dirty: false,
        })
    }

    /// Returns the end of the log, written or not.
    pub(crate) fn end(&self) -> Position {
        self.end
    }

    /// Adds a frame; nothing of it is durable before [`LogWriter::sync`].
    ///
    /// # Errors
    /// The fault of a write or sync on the way.
    pub(crate) fn push(&mut self, payload: &[u8]) -> Result<Place, StoreFault> {
        let len = frame::HEADER_BYTES + payload.len();
        let is_empty = self.end.offset == segment::HEADER_BYTES as u64;
        if !is_empty && self.end.offset + len as u64 > self.segment_bytes {
            self.roll()?;
        }
        let place = Place {
            segment: self.end.segment,
            offset: self.end.offset,
            len: u32::try_from(len).unwrap_or(u32::MAX),
        };
        let seq = self.end.seq + 1;
        let hash = frame::encode(seq, &self.end.hash, payload, &mut self.buffer);
        self.end = Position {
            segment: self.end.segment,
            offset: self.end.offset + len as u64,
            seq,
            hash,
        };
        if self.buffer.len() >= BUFFER_BYTES {
            self.flush()?;
        }
        Ok(place)
    }

    /// Makes every frame durable.
    ///
    /// # Errors
    /// The fault of the write or sync; the log is not to be written again then.
    pub(crate) fn sync(&mut self) -> Result<(), StoreFault> {
        self.flush()?;
        if self.is_dirty {
            self.file
                .sync_data()
                .map_err(|source| self.fault("syncing", source))?;
            self.is_dirty = false;
        }
        Ok(())
    }

    fn flush(&mut self) -> Result<(), StoreFault> {
        if self.buffer.is_empty() {
            return Ok(());
        }
        let offset = self.end.offset - self.buffer.len() as u64;
        self.file
            .write_at(offset, &self.buffer)
            .map_err(|source| self.fault("writing", source))?;
        self.is_dirty = true;
        self.buffer.clear();
        Ok(())
    }

    fn roll(&mut self) -> Result<(), StoreFault> {
        self.sync()?;
        let header = Header::after(&self.end);
        self.file = create_segment(&*self.files, &self.dir, self.kind, &header)?;
        self.end = header.start();
        tracing::debug!(
            log = self.kind.name(),
            segment = header.number,
            "began a segment"
        );
        Ok(())
    }

    fn fault(&self, doing: &str, source: std::io::Error) -> StoreFault {
        let path = segment::path(&self.dir, self.end.segment);
        StoreFault::from_io(format!("{doing} {}", path.display()), source)
    }
}

fn create_segment(
    files: &dyn Files,
    dir: &Path,
    kind: LogKind,
    header: &Header,
) -> Result<Arc<dyn OpenFile>, StoreFault> {
    let path = segment::path(dir, header.number);
    let create = || {
        let file = files.create(&path)?;
        file.write_at(0, &header.encode(kind))?;
        file.sync_data()?;
        files.sync_dir(dir)?;
        Ok(file)
    };
    create().map_err(|source| StoreFault::from_io(format!("creating {}", path.display()), source))
}
