//! Opens the index and decides whether it may be believed.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use baytrim_ledger::{Hash, Head, StoreFault, StreamName};

use crate::format::{INDEX_DIR, INDEX_DOUBT_FILE};
use crate::frame;
use crate::index::{Covered, Doubt, Index};
use crate::place::Position;
use crate::recover::Recovery;

/// Is an index that agrees with the journal as far as it goes.
pub(crate) struct Opened {
    pub(crate) index: Index,
    pub(crate) heads: BTreeMap<StreamName, Head>,
    /// How far it goes; `None` when it holds nothing or everything is to be read anyway.
    pub(crate) covered: Option<Position>,
    pub(crate) heads_digest: Hash,
    /// The last frame that it covers, also when everything is to be read anyway.
    pub(crate) covered_seq: u64,
    /// Why it was made anew, if it was.
    pub(crate) rebuilt: Option<String>,
}

impl Opened {
    fn empty(index: Index, rebuilt: Option<String>) -> Self {
        Self {
            index,
            heads: BTreeMap::new(),
            covered: None,
            heads_digest: Hash::ZERO,
            covered_seq: 0,
            rebuilt,
        }
    }

    /// Forgets what the index covers, so that the whole journal is read and written into it again.
    pub(crate) fn read_all(&mut self) {
        self.heads.clear();
        self.covered = None;
        self.heads_digest = Hash::ZERO;
    }
}

/// Opens the index, making it anew on any doubt.
///
/// # Errors
/// The fault of making it anew.
pub(crate) fn open(
    recovery: &Recovery,
    dir: &Path,
    cache_bytes: u64,
) -> Result<Opened, StoreFault> {
    if dir.join(INDEX_DOUBT_FILE).exists() {
        return rebuild(dir, cache_bytes, "it gave a wrong answer before".to_owned());
    }
    let was_there = dir.join(INDEX_DIR).exists();
    match try_open(recovery, dir, cache_bytes) {
        Ok(Some(opened)) => Ok(opened),
        Ok(None) if recovery.anchor.seq == 0 => rebuild_quietly(dir, cache_bytes),
        Ok(None) if was_there => rebuild(dir, cache_bytes, "it is empty".to_owned()),
        Ok(None) => rebuild(dir, cache_bytes, "it was missing".to_owned()),
        Err(doubt) => rebuild(dir, cache_bytes, doubt),
    }
}

fn try_open(recovery: &Recovery, dir: &Path, cache_bytes: u64) -> Result<Option<Opened>, Doubt> {
    let index = Index::open(&dir.join(INDEX_DIR), cache_bytes)?;
    let Some(covered) = index.covered()? else {
        return Ok(None);
    };
    check_covered(recovery, &covered)?;
    let heads = index.heads(&covered)?;
    let (covered, heads_digest, covered_seq) =
        (Some(covered.end), covered.heads_digest, covered.end.seq);
    Ok(Some(Opened {
        index,
        heads,
        covered,
        heads_digest,
        covered_seq,
        rebuilt: None,
    }))
}

/// Checks that the last frame the index knows is in the journal, at that place, before the anchor.
fn check_covered(recovery: &Recovery, covered: &Covered) -> Result<(), Doubt> {
    let (end, last, anchor) = (&covered.end, covered.last, &recovery.anchor);
    let is_before_anchor =
        end.seq < anchor.seq || (end.seq == anchor.seq && end.hash == anchor.hash);
    let is_adjacent =
        last.segment == end.segment && last.offset + u64::from(last.len) == end.offset;
    if !is_before_anchor || !is_adjacent {
        return Err(format!(
            "it covers frame {}, which is not before the anchor's frame {}",
            end.seq, anchor.seq
        ));
    }
    let mut bytes = vec![0; last.len as usize];
    let read = recovery
        .files
        .open(&recovery.log().path(last.segment))
        .and_then(|file| file.read_at(last.offset, &mut bytes));
    let count = read.map_err(|error| format!("its last frame cannot be read: {error}"))?;
    let header_bytes = bytes[..count]
        .first_chunk::<{ frame::HEADER_BYTES }>()
        .ok_or("its last frame is not there")?;
    let header = frame::decode_header(header_bytes)?;
    frame::check_sum(&header, &bytes[frame::HEADER_BYTES..count])?;
    if header.seq != end.seq || header.hash != end.hash {
        return Err(format!(
            "its last frame is {} where the journal has {}",
            end.seq, header.seq
        ));
    }
    Ok(())
}

fn rebuild_quietly(dir: &Path, cache_bytes: u64) -> Result<Opened, StoreFault> {
    Ok(Opened {
        rebuilt: None,
        ..rebuild(dir, cache_bytes, String::new())?
    })
}

/// Removes the index and opens an empty one.
///
/// # Errors
/// The fault of removing or creating it.
pub(crate) fn rebuild(dir: &Path, cache_bytes: u64, reason: String) -> Result<Opened, StoreFault> {
    if !reason.is_empty() {
        tracing::warn!(reason, "making the index anew from the journal");
    }
    let path = dir.join(INDEX_DIR);
    let fault = |source| StoreFault::from_io(format!("removing {}", path.display()), source);
    match fs::remove_dir_all(&path) {
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => {}
        // Something else than a directory stands there.
        Err(error) if error.kind() == std::io::ErrorKind::NotADirectory => {
            fs::remove_file(&path).map_err(fault)?;
        }
        other => other.map_err(fault)?,
    }
    let index = Index::open(&path, cache_bytes).map_err(|doubt| {
        let what = format!("creating {} ({doubt})", path.display());
        StoreFault::from_io(what, std::io::ErrorKind::Other.into())
    })?;
    match fs::remove_file(dir.join(INDEX_DOUBT_FILE)) {
        Err(error) if error.kind() != std::io::ErrorKind::NotFound => return Err(fault(error)),
        _ => {}
    }
    Ok(Opened::empty(index, Some(reason)))
}
