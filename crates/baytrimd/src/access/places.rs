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

/// The files that name places for one address; they go when this is dropped.
#[derive(Debug)]
pub struct Places(Vec<PathBuf>);

impl Places {
    /// Writes the file for a daemon at `address` into `directory`; the first place is taken where nobody is named.
    /// A second file names the certificate of the authority that the daemon's own is checked by, where it has one.
    ///
    /// # Errors
    /// What the system says.
    pub fn write(
        directory: &Path,
        address: SocketAddr,
        places: &[Place],
        authority: Option<&Path>,
    ) -> std::io::Result<Self> {
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
        let path = directory.join(file_name(address, "tokens"));
        std::fs::write(&path, text)?;
        let mut written = Self(vec![path]);
        if let Some(authority) = authority {
            let path = directory.join(file_name(address, "authority"));
            let authority = std::path::absolute(authority)?;
            std::fs::write(&path, format!("{}\n", authority.display()))?;
            written.0.push(path);
        }
        Ok(written)
    }
}

impl Drop for Places {
    fn drop(&mut self) {
        for path in &self.0 {
            // One that stays names files that are still only their owner's.
            let _ = std::fs::remove_file(path);
        }
    }
}

/// Returns the file's name: the port, since one machine has it once; a wildcard address is reached as loopback.
fn file_name(address: SocketAddr, kind: &str) -> String {
    format!("{}.{kind}", address.port())
}
