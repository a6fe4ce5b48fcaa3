//! Small files that only the daemon's own user may read, whole or not there at all.

use std::io::{self, Write as _};
use std::path::Path;

use tempfile::NamedTempFile;

/// Writes a file that is not there yet, mode 0600.
///
/// # Errors
/// What the system says; also where the file is there.
pub(crate) fn create(path: &Path, text: &str) -> io::Result<()> {
    written(path, text)?.persist_noclobber(path)?;
    sync_directory(path)
}

/// Writes a file in place of the one that may be there, mode 0600.
///
/// # Errors
/// What the system says.
pub(crate) fn replace(path: &Path, text: &str) -> io::Result<()> {
    written(path, text)?.persist(path)?;
    sync_directory(path)
}

fn directory(path: &Path) -> &Path {
    let parent = path.parent().filter(|parent| *parent != Path::new(""));
    parent.unwrap_or(Path::new("."))
}

/// Returns the content under another name, made with mode 0600.
fn written(path: &Path, text: &str) -> io::Result<NamedTempFile> {
    let mut file = NamedTempFile::new_in(directory(path))?;
    file.write_all(text.as_bytes())?;
    file.as_file().sync_all()?;
    Ok(file)
}

fn sync_directory(path: &Path) -> io::Result<()> {
    std::fs::File::open(directory(path))?.sync_all()
}
