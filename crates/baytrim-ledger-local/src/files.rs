//! The few file operations that the store needs, so that tests can record, tear and refuse them.

use std::io;
use std::path::Path;
use std::sync::Arc;

/// Is a file system as the store sees it.
pub trait Files: Send + Sync {
    /// Creates a directory and those above it; fine when it is there.
    ///
    /// # Errors
    /// What the system says.
    fn create_dir(&self, dir: &Path) -> io::Result<()>;

    /// Creates an empty file for reading and writing, emptying one that is there.
    ///
    /// # Errors
    /// What the system says.
    fn create(&self, path: &Path) -> io::Result<Arc<dyn OpenFile>>;

    /// Opens a file that is there for reading and writing.
    ///
    /// # Errors
    /// What the system says.
    fn open(&self, path: &Path) -> io::Result<Arc<dyn OpenFile>>;

    /// Returns the names in a directory, in no order.
    ///
    /// # Errors
    /// What the system says.
    fn list(&self, dir: &Path) -> io::Result<Vec<String>>;

    /// Renames a file, replacing one that is there.
    ///
    /// # Errors
    /// What the system says.
    fn rename(&self, from: &Path, to: &Path) -> io::Result<()>;

    /// Removes a file.
    ///
    /// # Errors
    /// What the system says.
    fn remove(&self, path: &Path) -> io::Result<()>;

    /// Makes creations, renames and removals in a directory durable.
    ///
    /// # Errors
    /// What the system says.
    fn sync_dir(&self, dir: &Path) -> io::Result<()>;
}

/// Is an open file, read and written at stated places.
pub trait OpenFile: Send + Sync {
    /// Fills `buffer` from `offset` on as far as the file goes; returns the bytes read.
    ///
    /// # Errors
    /// What the system says.
    fn read_at(&self, offset: u64, buffer: &mut [u8]) -> io::Result<usize>;

    /// Writes all of `bytes` at `offset`.
    ///
    /// # Errors
    /// What the system says; a part may be written then.
    fn write_at(&self, offset: u64, bytes: &[u8]) -> io::Result<()>;

    /// Makes content and length durable.
    ///
    /// # Errors
    /// What the system says; the content is not to be trusted then.
    fn sync_data(&self) -> io::Result<()>;

    /// Cuts or extends the file.
    ///
    /// # Errors
    /// What the system says.
    fn set_len(&self, len: u64) -> io::Result<()>;

    /// Returns the length in bytes.
    ///
    /// # Errors
    /// What the system says.
    fn len(&self) -> io::Result<u64>;

    /// Tells whether the file has no bytes.
    ///
    /// # Errors
    /// What the system says.
    fn is_empty(&self) -> io::Result<bool> {
        Ok(self.len()? == 0)
    }
}
