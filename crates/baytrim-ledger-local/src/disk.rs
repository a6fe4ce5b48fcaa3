//! The real file system.

use std::fs::{self, File};
use std::io;
use std::os::unix::fs::FileExt as _;
use std::path::Path;
use std::sync::Arc;

use crate::files::{Files, OpenFile};

/// Is the file system of the machine.
#[derive(Debug, Clone, Copy, Default)]
pub struct DiskFiles;

impl Files for DiskFiles {
    fn create_dir(&self, dir: &Path) -> io::Result<()> {
        fs::create_dir_all(dir)
    }

    fn create(&self, path: &Path) -> io::Result<Arc<dyn OpenFile>> {
        let file = File::options()
            .read(true)
            .write(true)
            .create(true)
            .truncate(true)
            .open(path)?;
        Ok(Arc::new(DiskFile(file)))
    }

    fn open(&self, path: &Path) -> io::Result<Arc<dyn OpenFile>> {
        Ok(Arc::new(DiskFile(
            File::options().read(true).write(true).open(path)?,
        )))
    }

    fn list(&self, dir: &Path) -> io::Result<Vec<String>> {
        let mut names = Vec::new();
        for entry in fs::read_dir(dir)? {
            names.push(entry?.file_name().to_string_lossy().into_owned());
        }
        Ok(names)
    }

    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        fs::rename(from, to)
    }

    fn remove(&self, path: &Path) -> io::Result<()> {
        fs::remove_file(path)
    }

    fn sync_dir(&self, dir: &Path) -> io::Result<()> {
        // A directory has metadata only, so that fdatasync would not do.
        File::open(dir)?.sync_all()
    }
}

struct DiskFile(File);

impl OpenFile for DiskFile {
    fn read_at(&self, offset: u64, buffer: &mut [u8]) -> io::Result<usize> {
        let mut filled = 0;
        while filled < buffer.len() {
            match self
                .0
                .read_at(&mut buffer[filled..], offset + filled as u64)
            {
                Ok(0) => break,
                Ok(count) => filled += count,
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) => return Err(error),
            }
        }
        Ok(filled)
    }

    fn write_at(&self, offset: u64, bytes: &[u8]) -> io::Result<()> {
        self.0.write_all_at(bytes, offset)
    }

    fn sync_data(&self) -> io::Result<()> {
        self.0.sync_data()
    }

    fn set_len(&self, len: u64) -> io::Result<()> {
        self.0.set_len(len)
    }

    fn len(&self) -> io::Result<u64> {
        Ok(self.0.metadata()?.len())
    }
}
