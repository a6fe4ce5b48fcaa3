//! A file layer that writes down every change, and can refuse one.

use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use baytrim_ledger_local::DiskFiles;
use baytrim_ledger_local::files::{Files, OpenFile};

/// Is one change, in the order in which it was asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Call {
    CreateDir(PathBuf),
    Create(PathBuf),
    Write {
        path: PathBuf,
        offset: u64,
        bytes: Vec<u8>,
    },
    SetLen {
        path: PathBuf,
        len: u64,
    },
    SyncData(PathBuf),
    Rename {
        from: PathBuf,
        to: PathBuf,
    },
    Remove(PathBuf),
    SyncDir(PathBuf),
    /// Not a change: the test notes what it was told.
    Acknowledged(usize),
}

/// Says which change is refused, and how.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Refusal {
    /// Index of the change among all changes.
    pub(crate) at: usize,
    /// The error given.
    pub(crate) kind: io::ErrorKind,
    /// Part of a refused write that is written nevertheless, in percent.
    pub(crate) written_percent: usize,
}

#[derive(Default)]
struct Log {
    calls: Vec<Call>,
    change_count: usize,
    refusal: Option<Refusal>,
}

/// Passes everything on to the disk and writes it down.
#[derive(Clone, Default)]
pub(crate) struct RecordingFiles(Arc<Mutex<Log>>);

impl RecordingFiles {
    /// Refuses one change to come.
    pub(crate) fn refuse(&self, refusal: Refusal) {
        self.log().refusal = Some(refusal);
    }

    /// Notes an acknowledgement.
    pub(crate) fn acknowledge(&self, number: usize) {
        self.log().calls.push(Call::Acknowledged(number));
    }

    /// Returns everything written down so far.
    pub(crate) fn calls(&self) -> Vec<Call> {
        self.log().calls.clone()
    }

    /// Returns the number of changes so far.
    pub(crate) fn change_count(&self) -> usize {
        self.log().change_count
    }

    fn log(&self) -> MutexGuard<'_, Log> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Does a change and writes it down, unless it is the one to refuse.
    fn change<T>(
        &self,
        call: Call,
        work: impl FnOnce(Option<usize>) -> io::Result<T>,
    ) -> io::Result<T> {
        let mut log = self.log();
        let index = log.change_count;
        log.change_count += 1;
        if let Some(refusal) = log.refusal.filter(|refusal| refusal.at == index) {
            if matches!(call, Call::Write { .. }) {
                work(Some(refusal.written_percent))?;
            }
            return Err(refusal.kind.into());
        }
        let done = work(None)?;
        log.calls.push(call);
        Ok(done)
    }
}

impl Files for RecordingFiles {
    fn create_dir(&self, dir: &Path) -> io::Result<()> {
        self.change(Call::CreateDir(dir.to_owned()), |_| {
            DiskFiles.create_dir(dir)
        })
    }

    fn create(&self, path: &Path) -> io::Result<Arc<dyn OpenFile>> {
        let file = self.change(Call::Create(path.to_owned()), |_| DiskFiles.create(path))?;
        Ok(Arc::new(RecordingFile {
            files: self.clone(),
            path: path.to_owned(),
            file,
        }))
    }

    fn open(&self, path: &Path) -> io::Result<Arc<dyn OpenFile>> {
        let file = DiskFiles.open(path)?;
        Ok(Arc::new(RecordingFile {
            files: self.clone(),
            path: path.to_owned(),
            file,
        }))
    }

    fn list(&self, dir: &Path) -> io::Result<Vec<String>> {
        DiskFiles.list(dir)
    }

    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        let call = Call::Rename {
            from: from.to_owned(),
            to: to.to_owned(),
        };
        self.change(call, |_| DiskFiles.rename(from, to))
    }

    fn remove(&self, path: &Path) -> io::Result<()> {
        self.change(Call::Remove(path.to_owned()), |_| DiskFiles.remove(path))
    }

    fn sync_dir(&self, dir: &Path) -> io::Result<()> {
        self.change(Call::SyncDir(dir.to_owned()), |_| DiskFiles.sync_dir(dir))
    }
}

struct RecordingFile {
    files: RecordingFiles,
    path: PathBuf,
    file: Arc<dyn OpenFile>,
}

impl OpenFile for RecordingFile {
    fn read_at(&self, offset: u64, buffer: &mut [u8]) -> io::Result<usize> {
        self.file.read_at(offset, buffer)
    }

    fn write_at(&self, offset: u64, bytes: &[u8]) -> io::Result<()> {
        let call = Call::Write {
            path: self.path.clone(),
            offset,
            bytes: bytes.to_vec(),
        };
        self.files.change(call, |percent| {
            let len = bytes.len() * percent.unwrap_or(100) / 100;
            self.file.write_at(offset, &bytes[..len])
        })
    }

    fn sync_data(&self) -> io::Result<()> {
        self.files
            .change(Call::SyncData(self.path.clone()), |_| self.file.sync_data())
    }

    fn set_len(&self, len: u64) -> io::Result<()> {
        self.files.change(
            Call::SetLen {
                path: self.path.clone(),
                len,
            },
            |_| self.file.set_len(len),
        )
    }

    fn len(&self) -> io::Result<u64> {
        self.file.len()
    }
}
