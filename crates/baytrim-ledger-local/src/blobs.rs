//! Blobs as files named by their hash: written aside, synced, renamed, directory synced.

use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use baytrim_ledger::limits::BLOB_BYTES_MAX;
use baytrim_ledger::{BlobError, BlobId, BlobReader, BlobWriter, Hash, Hasher, StoreFault};

use crate::files::{Files, OpenFile};
use crate::format::{BLOB_DIR, TEMPORARY_DIR};
use crate::poison::Poison;
use crate::shared::Shared;

/// Numbers the temporary files of this process; a directory has one process at a time.
static NEXT_TEMPORARY: AtomicU64 = AtomicU64::new(0);

fn fault(doing: &str, path: &Path, source: io::Error) -> StoreFault {
    StoreFault::from_io(format!("{doing} {}", path.display()), source)
}

/// Removes blobs that were never committed; returns how many.
///
/// # Errors
/// The fault of listing or removing.
pub(crate) fn clean(files: &dyn Files, dir: &Path) -> Result<u64, StoreFault> {
    let temporary = dir.join(TEMPORARY_DIR);
    files
        .create_dir(&temporary)
        .map_err(|source| fault("creating", &temporary, source))?;
    let names = files
        .list(&temporary)
        .map_err(|source| fault("listing", &temporary, source))?;
    for name in &names {
        let path = temporary.join(name);
        files
            .remove(&path)
            .map_err(|source| fault("removing", &path, source))?;
    }
    Ok(names.len() as u64)
}

fn path_of(dir: &Path, id: &BlobId) -> PathBuf {
    let name = id.to_string();
    dir.join(BLOB_DIR).join(&name[..2]).join(name)
}

/// Begins a blob.
///
/// # Errors
/// The fault of creating its file.
pub(crate) fn begin(shared: &Shared) -> Result<Box<dyn BlobWriter>, BlobError> {
    shared.poison.check()?;
    let number = NEXT_TEMPORARY.fetch_add(1, Ordering::Relaxed);
    let path = shared
        .dir
        .join(TEMPORARY_DIR)
        .join(format!("blob-{number}"));
    let file = shared
        .files
        .create(&path)
        .map_err(|source| fault("creating", &path, source))?;
    Ok(Box::new(LocalBlob {
        files: Arc::clone(&shared.files),
        dir: shared.dir.clone(),
        poison: Arc::clone(&shared.poison),
        path,
        file,
        len: 0,
        hasher: Hasher::new(),
        is_committed: false,
    }))
}

/// Opens a blob.
///
/// # Errors
/// [`BlobError::Missing`] or the fault of opening it.
pub(crate) fn open(shared: &Shared, id: &BlobId) -> Result<BlobReader, BlobError> {
    let path = path_of(&shared.dir, id);
    let file = match shared.files.open(&path) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => {
            return Err(BlobError::Missing { id: *id });
        }
        other => other.map_err(|source| fault("opening", &path, source))?,
    };
    let len = file
        .len()
        .map_err(|source| fault("opening", &path, source))?;
    Ok(BlobReader::new(
        *id,
        path.display().to_string(),
        len,
        Box::new(FileReader { file, offset: 0 }),
    ))
}

/// Lists blobs as [`baytrim_ledger::Store::blobs`] says.
///
/// # Errors
/// The fault of listing.
pub(crate) fn list(
    shared: &Shared,
    after: Option<&BlobId>,
    limit: usize,
) -> Result<Vec<(BlobId, u64)>, StoreFault> {
    let root = shared.dir.join(BLOB_DIR);
    let mut groups = shared
        .files
        .list(&root)
        .map_err(|source| fault("listing", &root, source))?;
    groups.sort_unstable();
    let mut found = Vec::new();
    let first_group = after
        .map(|after| after.to_string()[..2].to_owned())
        .unwrap_or_default();
    for group in groups.into_iter().filter(|group| *group >= first_group) {
        let dir = root.join(&group);
        let names = shared
            .files
            .list(&dir)
            .map_err(|source| fault("listing", &dir, source))?;
        let mut ids: Vec<BlobId> = names.iter().filter_map(|name| name.parse().ok()).collect();
        ids.sort_unstable();
        for id in ids
            .into_iter()
            .filter(|id| after.is_none_or(|after| id > after))
        {
            if found.len() >= limit {
                return Ok(found);
            }
            let path = dir.join(id.to_string());
            let len = shared.files.open(&path).and_then(|file| file.len());
            found.push((id, len.map_err(|source| fault("reading", &path, source))?));
        }
    }
    Ok(found)
}

/// Removes a blob. Its directory is not synced: what a crash brings back is removed again.
///
/// # Errors
/// The fault of removing it.
pub(crate) fn remove(shared: &Shared, id: &BlobId) -> Result<(), StoreFault> {
    shared.poison.check()?;
    let path = path_of(&shared.dir, id);
    match shared.files.remove(&path) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => {
            Err(fault("removing", &path, error))
        }
        _ => Ok(()),
    }
}

struct FileReader {
    file: Arc<dyn OpenFile>,
    offset: u64,
}

impl Read for FileReader {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let count = self.file.read_at(self.offset, buffer)?;
        self.offset += count as u64;
        Ok(count)
    }
}

struct LocalBlob {
    files: Arc<dyn Files>,
    dir: PathBuf,
    poison: Arc<Poison>,
    path: PathBuf,
    file: Arc<dyn OpenFile>,
    len: u64,
    hasher: Hasher,
    is_committed: bool,
}

impl BlobWriter for LocalBlob {
    fn write(&mut self, bytes: &[u8]) -> Result<(), BlobError> {
        let actual = self.len + bytes.len() as u64;
        if actual > BLOB_BYTES_MAX {
            return Err(BlobError::TooLarge {
                actual,
                max: BLOB_BYTES_MAX,
            });
        }
        self.file
            .write_at(self.len, bytes)
            .map_err(|source| fault("writing", &self.path, source))?;
        self.hasher.update(bytes);
        self.len = actual;
        Ok(())
    }

    fn commit(mut self: Box<Self>) -> Result<BlobId, BlobError> {
        self.poison.check()?;
        let hash: Hash = std::mem::take(&mut self.hasher).finish();
        let id = BlobId(hash);
        // A blob of that name is replaced: its bytes are the same, or damaged and now healed.
        if let Err(fault) = self.make_durable(&id) {
            // A sync that failed once may succeed next time without having written anything.
            self.poison.set(&fault);
            return Err(fault.into());
        }
        self.is_committed = true;
        Ok(id)
    }
}

impl LocalBlob {
    fn make_durable(&self, id: &BlobId) -> Result<(), StoreFault> {
        let files = &*self.files;
        self.file
            .sync_data()
            .map_err(|source| fault("syncing", &self.path, source))?;
        let target = path_of(&self.dir, id);
        let (root, dir) = (self.dir.join(BLOB_DIR), target.parent().unwrap_or(&target));
        let place = || {
            files.create_dir(dir)?;
            // Also when it was there: whoever created it may not have come to the sync yet.
            files.sync_dir(&root)?;
            files.rename(&self.path, &target)?;
            files.sync_dir(dir)
        };
        place().map_err(|source| fault("placing", &target, source))
    }
}

impl Drop for LocalBlob {
    fn drop(&mut self) {
        if !self.is_committed
            && let Err(error) = self.files.remove(&self.path)
            && error.kind() != io::ErrorKind::NotFound
        {
            tracing::warn!(%error, file = %self.path.display(), "cannot remove an unfinished blob; opening removes it");
        }
    }
}
