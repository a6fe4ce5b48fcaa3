//! Files with certificates and keys: what only their owner may read is written so.

use std::io::Write as _;
use std::path::Path;

use rustls_pki_types::pem::PemObject as _;
use rustls_pki_types::{CertificateDer, PrivateKeyDer};

use super::TlsError;

/// Directory of certificates and keys, within the ledger's directory.
pub const TLS_DIR: &str = "tls";

/// The certificate that clients check all others by: no secret.
pub const AUTHORITY_FILE: &str = "authority.pem";

/// The key that signs certificates.
pub(super) const AUTHORITY_KEY_FILE: &str = "authority.key";

/// The daemon's own certificate, and its key after it, so that both change at once.
pub const SERVER_FILE: &str = "server.pem";

/// Names that the daemon's certificate holds, one a line.
const NAMES_FILE: &str = "names";

/// Largest file that is read, in bytes: a long chain has a tenth of it.
const BYTES_MAX: u64 = 256 << 10;

/// Reads a file.
pub(super) fn read(path: &Path) -> Result<Vec<u8>, TlsError> {
    let failed = |source| TlsError::File {
        path: path.to_owned(),
        verb: "read",
        source,
    };
    if std::fs::metadata(path).map_err(failed)?.len() > BYTES_MAX {
        return Err(no_certificate(path));
    }
    std::fs::read(path).map_err(failed)
}

/// Reads a file with a key, which nobody but its owner may be able to read.
pub(super) fn read_key(path: &Path) -> Result<Vec<u8>, TlsError> {
    let bytes = read(path)?;
    if PrivateKeyDer::from_pem_slice(&bytes).is_err() {
        return Err(TlsError::Content {
            path: path.to_owned(),
            problem: "holds no private key".to_owned(),
            remedy: "name a PEM file with the certificate's own key (`tls.key`)",
        });
    }
    #[cfg(unix)]
    {
        use std::os::unix::fs::MetadataExt as _;
        let mode = std::fs::metadata(path).map_or(0, |metadata| metadata.mode());
        // A group may: that is how keys are handed to services. Others may not.
        if mode & 0o007 != 0 {
            return Err(TlsError::Content {
                path: path.to_owned(),
                problem: format!(
                    "holds a key, and everybody may use it (mode {:04o})",
                    mode & 0o7777
                ),
                remedy: "take that away with `chmod o-rwx`, and have a new key made if others use the machine",
            });
        }
    }
    Ok(bytes)
}

/// Returns the first certificate of a PEM file.
pub(super) fn first_certificate(
    path: &Path,
    bytes: &[u8],
) -> Result<CertificateDer<'static>, TlsError> {
    CertificateDer::from_pem_slice(bytes).map_err(|_| no_certificate(path))
}

pub(super) fn no_certificate(path: &Path) -> TlsError {
    TlsError::Content {
        path: path.to_owned(),
        problem: "holds no certificate that can be read".to_owned(),
        remedy: "name a PEM file with the certificate first and those above it after it",
    }
}

/// Writes a file whole or not at all; `is_secret` makes it readable by its owner only.
///
/// # Errors
/// What the system says.
pub fn save(path: &Path, text: &str, is_secret: bool) -> Result<(), TlsError> {
    let written = write(path, text, is_secret);
    written.map_err(|source| TlsError::File {
        path: path.to_owned(),
        verb: "written",
        source,
    })
}

fn write(path: &Path, text: &str, is_secret: bool) -> std::io::Result<()> {
    let mut new = path.as_os_str().to_owned();
    new.push(".new");
    let new = Path::new(&new);
    if new.symlink_metadata().is_ok() {
        std::fs::remove_file(new)?;
    }
    let mut options = std::fs::OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, if is_secret { 0o600 } else { 0o644 });
    let mut file = options.open(new)?;
    file.write_all(text.as_bytes())?;
    file.sync_all()?;
    std::fs::rename(new, path)
}

/// Returns the names that the daemon's certificate in `directory` was made for.
///
/// # Errors
/// When the file is there and can't be read.
pub fn names(directory: &Path) -> Result<Vec<String>, TlsError> {
    let path = directory.join(NAMES_FILE);
    if !path.is_file() {
        return Ok(Vec::new());
    }
    let bytes = read(&path)?;
    let text = String::from_utf8_lossy(&bytes);
    let names = text.lines().filter(|name| !name.is_empty());
    Ok(names.map(str::to_owned).collect())
}

/// Keeps the names that the daemon's certificate in `directory` was made for.
///
/// # Errors
/// What the system says.
pub fn save_names(directory: &Path, names: &[String]) -> Result<(), TlsError> {
    let mut text = names.join("\n");
    text.push('\n');
    save(&directory.join(NAMES_FILE), &text, false)
}
