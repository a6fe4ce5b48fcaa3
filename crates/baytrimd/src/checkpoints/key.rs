//! The daemon's key: made at the first start, readable by its owner only.

use std::io;
use std::path::{Path, PathBuf};

use baytrim_checkpoint::{CheckpointError, Signer};

use super::KEY_NAME;
use crate::private;

/// Name of the file with the key, within the ledger's directory.
pub const KEY_FILE: &str = "checkpoint.key";

/// Why there is no key to sign with.
#[derive(Debug, thiserror::Error)]
pub enum KeyError {
    /// Its file can't be read or written.
    #[error("{}: the key of checkpoints can't be read or written; check the directory and who may read it", path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// The system gave no random bytes.
    #[error("the system gives no random bytes for a key")]
    Random(#[source] getrandom::Error),
    /// What is there is no key.
    #[error("{}: put the key back from a copy, or move the file away to have a new one made", path.display())]
    Broken {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        source: CheckpointError,
    },
}

/// Returns the key in `directory`, made where there is none.
///
/// # Errors
/// When it can't be read, written or made.
pub fn establish(directory: &Path) -> Result<Signer, KeyError> {
    let path = directory.join(KEY_FILE);
    let failed = |source| KeyError::File {
        path: path.clone(),
        source,
    };
    match std::fs::read_to_string(&path) {
        Ok(text) => Signer::from_pem(KEY_NAME, &text).map_err(|source| KeyError::Broken {
            path: path.clone(),
            source,
        }),
        Err(error) if error.kind() == io::ErrorKind::NotFound => {
            let mut secret = [0; 32];
            getrandom::fill(&mut secret).map_err(KeyError::Random)?;
            private::create(&path, &Signer::to_pem(&secret)).map_err(failed)?;
            let signer = Signer::new(KEY_NAME, &secret);
            tracing::info!(key = %signer.verifier(), "a key of checkpoints was made; write its public part down elsewhere");
            Ok(signer)
        }
        Err(error) => Err(failed(error)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// If this fails, each start signs with another key, others can read it, or a broken one is replaced unseen.
    #[test]
    fn the_key_is_made_once_and_for_its_owner_only() {
        let directory = tempfile::tempdir().expect("a directory");
        let first = establish(directory.path()).expect("a key");
        let again = establish(directory.path()).expect("the key");
        assert_eq!(first.verifier(), again.verifier());
        let path = directory.path().join(KEY_FILE);
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt as _;
            let mode = path.metadata().expect("is there").permissions().mode();
            assert_eq!(mode & 0o777, 0o600);
        }
        std::fs::write(&path, "no key").expect("writes");
        assert!(matches!(
            establish(directory.path()),
            Err(KeyError::Broken { .. })
        ));
    }
}
