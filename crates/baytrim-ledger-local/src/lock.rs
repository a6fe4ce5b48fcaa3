//! One store per directory.

use std::fs::{File, TryLockError};
use std::path::Path;

use baytrim_ledger::StoreFault;

use crate::options::OpenError;

/// The lock's file name; the file stays, the lock goes with the process.
pub(crate) const FILE: &str = "LOCK";

/// Takes the directory's lock; it is held until the file is dropped.
///
/// # Errors
/// [`OpenError::Locked`] when somebody holds it.
pub(crate) fn take(dir: &Path) -> Result<File, OpenError> {
    let path = dir.join(FILE);
    let fault = |source| StoreFault::from_io(format!("locking {}", path.display()), source);
    let file = File::options()
        .read(true)
        .write(true)
        .create(true)
        .truncate(false)
        .open(&path)
        .map_err(fault)?;
    match file.try_lock() {
        Ok(()) => Ok(file),
        Err(TryLockError::WouldBlock) => Err(OpenError::Locked {
            dir: dir.to_owned(),
        }),
        Err(TryLockError::Error(source)) => Err(fault(source).into()),
    }
}
