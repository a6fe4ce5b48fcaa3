//! The anchor: a small file that holds where both logs end, so that a lost tail is found.

use std::path::Path;
use std::sync::Arc;

use baytrim_ledger::StoreFault;

use crate::files::{Files, OpenFile};
use crate::place::{Position, Reader};

/// The anchor's file name.
pub(crate) const FILE: &str = "anchor";
/// Distance of the two slots: a page, so that one torn write cannot reach both.
const SLOT_STRIDE: u64 = 4096;
/// Bytes of a slot: magic 8, version 4, counter 8, first spool segment 4, two positions, CRC-32C 4.
const SLOT_BYTES: usize = 8 + 4 + 8 + 4 + 2 * Position::BYTES + 4;
const MAGIC: &[u8; 8] = b"baytrimA";
const VERSION: u32 = 1;

/// Is what the anchor says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Anchor {
    /// Counts the writes; the slot is its lowest bit.
    pub(crate) counter: u64,
    /// First segment of the spool log that is kept.
    pub(crate) spool_first_segment: u32,
    /// Durable end of the journal.
    pub(crate) journal: Position,
    /// Durable end of the spool log.
    pub(crate) spool: Position,
}

impl Anchor {
    fn encode(&self) -> Vec<u8> {
        let mut out = Vec::with_capacity(SLOT_BYTES);
        out.extend_from_slice(MAGIC);
        out.extend_from_slice(&VERSION.to_le_bytes());
        out.extend_from_slice(&self.counter.to_le_bytes());
        out.extend_from_slice(&self.spool_first_segment.to_le_bytes());
        self.journal.encode(&mut out);
        self.spool.encode(&mut out);
        out.extend_from_slice(&crc32c::crc32c(&out).to_le_bytes());
        debug_assert_eq!(out.len(), SLOT_BYTES);
        out
    }

    fn decode(bytes: &[u8]) -> Option<Self> {
        let content = bytes.get(..SLOT_BYTES - 4)?;
        let mut reader = Reader(bytes);
        let magic = reader.bytes(8)?;
        let version = reader.u32()?;
        let anchor = Self {
            counter: reader.u64()?,
            spool_first_segment: reader.u32()?,
            journal: Position::decode(&mut reader)?,
            spool: Position::decode(&mut reader)?,
        };
        let sound =
            reader.u32()? == crc32c::crc32c(content) && magic == MAGIC && version == VERSION;
        sound.then_some(anchor)
    }
}

/// Is what was found in the anchor's two slots.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Slots {
    /// The newer sound slot.
    pub(crate) newest: Option<Anchor>,
    /// Sound slots, 0 to 2.
    pub(crate) sound_count: u32,
}

/// Reads both slots.
///
/// # Errors
/// The fault of opening or reading the file.
pub(crate) fn read(files: &dyn Files, dir: &Path) -> Result<Slots, StoreFault> {
    let path = dir.join(FILE);
    let fault = |source| StoreFault::from_io(format!("reading {}", path.display()), source);
    let file = files.open(&path).map_err(fault)?;
    let mut slots = Slots {
        newest: None,
        sound_count: 0,
    };
    for slot in 0..2 {
        let mut bytes = [0; SLOT_BYTES];
        let count = file
            .read_at(slot * SLOT_STRIDE, &mut bytes)
            .map_err(fault)?;
        let Some(found) =
            Anchor::decode(&bytes[..count]).filter(|anchor| anchor.counter % 2 == slot)
        else {
            continue;
        };
        slots.sound_count += 1;
        if slots
            .newest
            .is_none_or(|newest| found.counter > newest.counter)
        {
            slots.newest = Some(found);
        }
    }
    Ok(slots)
}

/// Writes the anchor, slot by slot in turn.
pub(crate) struct AnchorWriter {
    file: Arc<dyn OpenFile>,
    what: String,
}

impl AnchorWriter {
    /// Creates the file with both slots holding `anchor`, and syncs it.
    ///
    /// # Errors
    /// The fault of the write or sync.
    pub(crate) fn create(
        files: &dyn Files,
        dir: &Path,
        mut anchor: Anchor,
    ) -> Result<Self, StoreFault> {
        let path = dir.join(FILE);
        let file = files.create(&path).map_err(|source| {
            StoreFault::from_io(format!("creating {}", path.display()), source)
        })?;
        let writer = Self {
            file,
            what: format!("writing {}", path.display()),
        };
        for _ in 0..2 {
            writer.write(&anchor)?;
            anchor.counter += 1;
        }
        Ok(writer)
    }

    /// Opens the file that is there.
    ///
    /// # Errors
    /// The fault of opening it.
    pub(crate) fn open(files: &dyn Files, dir: &Path) -> Result<Self, StoreFault> {
        let path = dir.join(FILE);
        let what = format!("writing {}", path.display());
        let file = files
            .open(&path)
            .map_err(|source| StoreFault::from_io(what.clone(), source))?;
        Ok(Self { file, what })
    }

    /// Writes one slot and syncs it.
    ///
    /// # Errors
    /// The fault of the write or sync.
    pub(crate) fn write(&self, anchor: &Anchor) -> Result<(), StoreFault> {
        let offset = anchor.counter % 2 * SLOT_STRIDE;
        let written = self
            .file
            .write_at(offset, &anchor.encode())
            .and_then(|()| self.file.sync_data());
        written.map_err(|source| StoreFault::from_io(self.what.clone(), source))
    }
}
