//! Where the command line of the same user finds tokens: a small file of names and paths, never a token.

use std::net::SocketAddr;
use std::path::{Path, PathBuf};

/// Whose token is in which file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Place {
    /// Name of the member.
    pub member: String,
    /// File with its token.
    pub file: PathBuf,
}

/// The file that names places for one address; it goes when this is dropped.
#[derive(Debug)]
pub struct Places(PathBuf);

impl Places {
    /// Writes the file for a daemon at `address` into `directory`; the first place is taken where nobody is named.
    ///
    /// # Errors
    /// What the system says.
    pub fn write(directory: &Path, address: SocketAddr, places: &[Place]) -> std::io::Result<Self> {
        let mut builder = std::fs::DirBuilder::new();
        builder.recursive(true);
        #[cfg(unix)]
        std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
        builder.create(directory)?;
        let lines = places.iter().map(|place| {
            let file = std::path::absolute(&place.file)?;
            Ok(format!("{}\t{}\n", place.member, file.display()))
        });
        let text = lines.collect::<std::io::Result<String>>()?;
        let path = directory.join(file_name(address));
        std::fs::write(&path, text)?;
        Ok(Self(path))
    }
}

impl Drop for Places {
    fn drop(&mut self) {
        // One that stays names files that are still only their owner's.
        let _ = std::fs::remove_file(&self.0);
    }
}

/// Returns the file's name: the port, since one machine has it once; a wildcard address is reached as loopback.
fn file_name(address: SocketAddr) -> String {
    format!("{}.tokens", address.port())
}
