//! The index: which frame holds a record, every head, and snapshots. Rebuildable, so never believed unchecked.

use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;
use std::time::Duration;

use baytrim_ledger::{Hash, Head, Snapshot, StreamName};

use crate::place::{Place, Position, Reader};
use crate::state::Entry;

const COVERED_KEY: &[u8] = b"c";
/// Larger values leave sled's log for files that it never syncs.
const PART_BYTES: usize = 60 << 10;

/// Is an index in a sled database.
pub(crate) struct Index {
    database: sled::Db,
}

/// Says how far the index goes, and what its heads add up to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Covered {
    /// End of the journal up to which the index goes.
    pub(crate) end: Position,
    /// The last frame before it.
    pub(crate) last: Place,
    /// Exclusive or of a hash of every head: tells a head that is missing or old.
    pub(crate) heads_digest: Hash,
}

/// Says what the index could not do.
pub(crate) type Doubt = String;

/// Runs `work`, turning both an error and a panic of the database into a doubt.
fn guarded<T>(work: impl FnOnce() -> Result<T, sled::Error>) -> Result<T, Doubt> {
    match catch_unwind(AssertUnwindSafe(work)) {
        Ok(Ok(value)) => Ok(value),
        Ok(Err(error)) => Err(format!("the index failed: {error}")),
        Err(_) => Err("the index library panicked".to_owned()),
    }
}

/// Adds a head to the digest of heads, or takes it out again: the same operation.
pub(crate) fn toggle_head(digest: &mut Hash, stream: &StreamName, head: &Head) {
    if head.next_seq == 0 {
        return;
    }
    let mut bytes = stream.as_str().as_bytes().to_vec();
    bytes.push(0);
    bytes.extend_from_slice(&head.next_seq.to_le_bytes());
    bytes.extend_from_slice(&head.hash.0);
    for (sum, byte) in digest.0.iter_mut().zip(Hash::of(&bytes).0) {
        *sum ^= byte;
    }
}

fn head_key(stream: &StreamName) -> Vec<u8> {
    [b"h", stream.as_str().as_bytes()].concat()
}

fn record_key(stream: &StreamName, seq: u64) -> Vec<u8> {
    [b"r", stream.as_str().as_bytes(), b"\0", &seq.to_be_bytes()].concat()
}

fn snapshot_key(stream: &StreamName, name: &StreamName) -> Vec<u8> {
    [
        b"s",
        stream.as_str().as_bytes(),
        b"\0",
        name.as_str().as_bytes(),
        b"\0",
    ]
    .concat()
}

fn part_key(prefix: &[u8], part: usize) -> Vec<u8> {
    [
        prefix,
        &u16::try_from(part).unwrap_or(u16::MAX).to_be_bytes(),
    ]
    .concat()
}

/// Tries to open an index that is locked, and the pause between two.
///
/// A program that is just being started by this process holds its open files, and their locks, for a moment.
const LOCK_TRIES: u32 = 20;
const LOCK_PAUSE: Duration = Duration::from_millis(50);

fn open_unlocked(config: &sled::Config) -> sled::Result<sled::Db> {
    for _ in 1..LOCK_TRIES {
        match config.open() {
            Err(sled::Error::Io(error)) if error.to_string().contains("acquire lock") => {
                std::thread::sleep(LOCK_PAUSE);
            }
            opened => return opened,
        }
    }
    config.open()
}

impl Index {
    /// Opens the database in `dir`, creating it.
    ///
    /// # Errors
    /// What is doubtful about it.
    pub(crate) fn open(dir: &Path, cache_bytes: u64) -> Result<Self, Doubt> {
        let config = sled::Config::new()
            .path(dir)
            .cache_capacity(cache_bytes)
            .mode(sled::Mode::LowSpace);
        let database = guarded(|| open_unlocked(&config))?;
        Ok(Self { database })
    }

    /// Returns how far the index goes; `None` when it is new.
    ///
    /// # Errors
    /// What is doubtful about it.
    pub(crate) fn covered(&self) -> Result<Option<Covered>, Doubt> {
        let Some(value) = guarded(|| self.database.get(COVERED_KEY))? else {
            return Ok(None);
        };
        let mut reader = Reader(&value);
        let end = Position::decode(&mut reader);
        let last = reader.bytes(Place::BYTES).and_then(Place::decode);
        match (end, last, reader.hash()) {
            (Some(end), Some(last), Some(heads_digest)) => Ok(Some(Covered {
                end,
                last,
                heads_digest,
            })),
            _ => Err("its note of how far it goes is malformed".to_owned()),
        }
    }

    /// Returns all heads, checked against the digest.
    ///
    /// # Errors
    /// What is doubtful about them.
    pub(crate) fn heads(&self, covered: &Covered) -> Result<BTreeMap<StreamName, Head>, Doubt> {
        let mut heads = BTreeMap::new();
        let mut digest = Hash::ZERO;
        let mut entries = self.database.scan_prefix(b"h");
        while let Some((key, value)) = guarded(|| entries.next().transpose())? {
            let name = std::str::from_utf8(&key[1..])
                .ok()
                .and_then(|text| StreamName::new(text).ok());
            let mut reader = Reader(&value);
            let (Some(stream), Some(next_seq), Some(hash)) = (name, reader.u64(), reader.hash())
            else {
                return Err("a head in it is malformed".to_owned());
            };
            let head = Head { next_seq, hash };
            toggle_head(&mut digest, &stream, &head);
            heads.insert(stream, head);
        }
        if digest != covered.heads_digest {
            return Err("its heads do not add up".to_owned());
        }
        Ok(heads)
    }

    /// Takes in frames and the new end, all or none.
    ///
    /// # Errors
    /// What is doubtful about it now.
    pub(crate) fn apply(&self, entries: &[Entry], covered: &Covered) -> Result<(), Doubt> {
        let mut batch = sled::Batch::default();
        for entry in entries {
            batch.insert(
                record_key(&entry.stream, entry.before.next_seq),
                &entry.place.encode(),
            );
            let mut head = entry.after.next_seq.to_le_bytes().to_vec();
            head.extend_from_slice(&entry.after.hash.0);
            batch.insert(head_key(&entry.stream), head);
        }
        let mut value = Vec::new();
        covered.end.encode(&mut value);
        value.extend_from_slice(&covered.last.encode());
        value.extend_from_slice(&covered.heads_digest.0);
        batch.insert(COVERED_KEY, value);
        guarded(|| self.database.apply_batch(batch))
    }

    /// Returns the frame that should hold record `seq`: the last one that begins at or before it.
    ///
    /// # Errors
    /// What is doubtful about the answer.
    pub(crate) fn find(&self, stream: &StreamName, seq: u64) -> Result<Option<Place>, Doubt> {
        let range = record_key(stream, 0)..=record_key(stream, seq);
        let found = guarded(|| self.database.range(range).next_back().transpose())?;
        found
            .map(|(_, value)| {
                Place::decode(&value).ok_or_else(|| "an entry in it is malformed".to_owned())
            })
            .transpose()
    }

    /// Returns the frame that begins with record `seq`.
    ///
    /// # Errors
    /// What is doubtful about the answer.
    pub(crate) fn find_exact(&self, stream: &StreamName, seq: u64) -> Result<Option<Place>, Doubt> {
        let found = guarded(|| self.database.get(record_key(stream, seq)))?;
        Ok(found.and_then(|value| Place::decode(&value)))
    }

    /// Keeps a snapshot, in parts that sled holds in its log.
    ///
    /// # Errors
    /// What went wrong.
    pub(crate) fn put_snapshot(
        &self,
        stream: &StreamName,
        name: &StreamName,
        snapshot: (&Head, &[u8]),
    ) -> Result<(), Doubt> {
        let (at, bytes) = snapshot;
        let mut content = at.next_seq.to_le_bytes().to_vec();
        content.extend_from_slice(&at.hash.0);
        content.extend_from_slice(&(bytes.len() as u64).to_le_bytes());
        content.extend_from_slice(&crc32c::crc32c(bytes).to_le_bytes());
        content.extend_from_slice(bytes);
        let prefix = snapshot_key(stream, name);
        let mut batch = sled::Batch::default();
        let mut old = self.database.scan_prefix(&prefix).keys();
        while let Some(key) = guarded(|| old.next().transpose())? {
            batch.remove(key);
        }
        for (part, bytes) in content.chunks(PART_BYTES).enumerate() {
            batch.insert(part_key(&prefix, part), bytes);
        }
        guarded(|| self.database.apply_batch(batch))
    }

    /// Returns a snapshot; a damaged one counts as none.
    ///
    /// # Errors
    /// What went wrong.
    pub(crate) fn snapshot(
        &self,
        stream: &StreamName,
        name: &StreamName,
    ) -> Result<Option<Snapshot>, Doubt> {
        let mut content = Vec::new();
        let mut parts = self
            .database
            .scan_prefix(snapshot_key(stream, name))
            .values();
        while let Some(part) = guarded(|| parts.next().transpose())? {
            content.extend_from_slice(&part);
        }
        Ok(decode_snapshot(&content))
    }

    /// Writes out what the database holds in memory.
    pub(crate) fn flush(&self) {
        if let Err(doubt) = guarded(|| self.database.flush()) {
            tracing::warn!(
                doubt,
                "the index was not written out; it will be caught up when opened"
            );
        }
    }
}

fn decode_snapshot(content: &[u8]) -> Option<Snapshot> {
    let mut reader = Reader(content);
    let at = Head {
        next_seq: reader.u64()?,
        hash: reader.hash()?,
    };
    let len = usize::try_from(reader.u64()?).ok()?;
    let checksum = reader.u32()?;
    let bytes = reader.0;
    (bytes.len() == len && crc32c::crc32c(bytes) == checksum).then(|| Snapshot {
        at,
        bytes: bytes.to_vec(),
    })
}
