//! What the store's threads share.

use std::collections::HashMap;
use std::path::PathBuf;
use std::sync::atomic::AtomicBool;
use std::sync::{Arc, Mutex, PoisonError, RwLock, RwLockReadGuard, RwLockWriteGuard};

use baytrim_ledger::{StoreFault, StreamName};

use crate::files::{Files, OpenFile};
use crate::frame;
use crate::index::Index;
use crate::place::Place;
use crate::poison::Poison;
use crate::scan::Log;
use crate::segment::LogKind;
use crate::state::State;

/// Segments kept open for reading; beyond it all are closed and opened again as needed.
const HANDLES_MAX: usize = 64;

/// Is what the store's threads share.
pub(crate) struct Shared {
    pub(crate) files: Arc<dyn Files>,
    pub(crate) dir: PathBuf,
    journal_dir: PathBuf,
    spool_dir: PathBuf,
    pub(crate) state: RwLock<State>,
    pub(crate) index: Index,
    /// Set when the index gave a wrong answer: it is not asked again, everything is in `State::pending` then.
    pub(crate) is_index_doubted: AtomicBool,
    /// Held for reading while spool segments must not be deleted.
    pub(crate) spool_segments_in_use: RwLock<()>,
    pub(crate) poison: Arc<Poison>,
    handles: Mutex<HashMap<(LogKind, u32), Arc<dyn OpenFile>>>,
}

impl Shared {
    pub(crate) fn new(files: Arc<dyn Files>, dir: PathBuf, state: State, index: Index) -> Self {
        let journal_dir = dir.join(LogKind::Journal.name());
        let spool_dir = dir.join(LogKind::Spool.name());
        Self {
            files,
            dir,
            journal_dir,
            spool_dir,
            state: RwLock::new(state),
            index,
            is_index_doubted: AtomicBool::new(false),
            spool_segments_in_use: RwLock::new(()),
            poison: Arc::default(),
            handles: Mutex::new(HashMap::new()),
        }
    }

    pub(crate) fn log(&self, kind: LogKind) -> Log<'_> {
        let dir = match kind {
            LogKind::Journal => &self.journal_dir,
            LogKind::Spool => &self.spool_dir,
        };
        Log {
            files: &*self.files,
            dir,
            kind,
        }
    }

    pub(crate) fn read_state(&self) -> RwLockReadGuard<'_, State> {
        // No code panics while it holds the write half-way through a change.
        self.state.read().unwrap_or_else(PoisonError::into_inner)
    }

    pub(crate) fn write_state(&self) -> RwLockWriteGuard<'_, State> {
        self.state.write().unwrap_or_else(PoisonError::into_inner)
    }

    /// Returns the payload of one frame, its checksum checked.
    ///
    /// # Errors
    /// [`StoreFault::Damaged`] when the bytes are not a sound frame, or the fault of reading.
    pub(crate) fn read_frame(
        &self,
        kind: LogKind,
        place: Place,
    ) -> Result<(frame::Header, Vec<u8>), StoreFault> {
        let log = self.log(kind);
        let damaged = |what| StoreFault::from(log.damage(place.segment, place.offset, what));
        let fault = |source| {
            StoreFault::from_io(
                format!("reading {}", log.path(place.segment).display()),
                source,
            )
        };
        let len = place.len as usize;
        if !(frame::HEADER_BYTES..=frame::HEADER_BYTES + frame::PAYLOAD_BYTES_MAX).contains(&len) {
            return Err(damaged(format!("no frame has {len} bytes")));
        }
        let file = self.handle(kind, place.segment).map_err(fault)?;
        let mut bytes = vec![0; len];
        let count = file.read_at(place.offset, &mut bytes).map_err(fault)?;
        if count < len {
            return Err(damaged(format!(
                "a frame of {len} bytes is cut short after {count}"
            )));
        }
        let mut header_bytes = [0; frame::HEADER_BYTES];
        header_bytes.copy_from_slice(&bytes[..frame::HEADER_BYTES]);
        let header = frame::decode_header(&header_bytes).map_err(damaged)?;
        let payload = bytes.split_off(frame::HEADER_BYTES);
        if header.payload_len != payload.len() {
            return Err(damaged(format!(
                "the frame has {} bytes of payload, not {}",
                header.payload_len,
                payload.len()
            )));
        }
        frame::check_sum(&header, &payload).map_err(damaged)?;
        Ok((header, payload))
    }

    fn handle(&self, kind: LogKind, segment: u32) -> std::io::Result<Arc<dyn OpenFile>> {
        let mut handles = self.handles.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(file) = handles.get(&(kind, segment)) {
            return Ok(Arc::clone(file));
        }
        let file = self.files.open(&self.log(kind).path(segment))?;
        if handles.len() >= HANDLES_MAX {
            handles.clear();
        }
        handles.insert((kind, segment), Arc::clone(&file));
        Ok(file)
    }

    /// Closes the reading handle of a segment that was removed.
    pub(crate) fn forget_handle(&self, kind: LogKind, segment: u32) {
        self.handles
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .remove(&(kind, segment));
    }

    /// Returns the payload of a chunk, checked to be that chunk.
    ///
    /// # Errors
    /// As [`Shared::read_frame`].
    pub(crate) fn read_chunk(
        &self,
        spool: &StreamName,
        number: u64,
        place: Place,
    ) -> Result<Vec<u8>, StoreFault> {
        let (_, payload) = self.read_frame(LogKind::Spool, place)?;
        let damage = match crate::chunk::decode(&payload) {
            Ok(crate::chunk::SpoolFrame::Chunk {
                spool: found,
                number: n,
                bytes,
            }) if &found == spool && n == number => {
                return Ok(bytes.to_vec());
            }
            Ok(_) => "the frame holds another chunk".to_owned(),
            Err(what) => what,
        };
        Err(self
            .log(LogKind::Spool)
            .damage(place.segment, place.offset, damage)
            .into())
    }
}
