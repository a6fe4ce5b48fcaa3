//! Which server is believed to be the one meant, and what shows the caller to it beside a token.

use std::path::{Path, PathBuf};

use tonic::transport::{Certificate, ClientTlsConfig, Identity};

use crate::environment::Environment;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::token::{Found, local_port};

/// Name of the authority's certificate in a directory with tokens.
const AUTHORITY_FILE: &str = "authority.pem";

/// The same where the directory is a daemon's own.
const AUTHORITY_FILE_OF_DAEMON: &str = "tls/authority.pem";

/// Files by which a connection is proven.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Trust {
    /// Certificate of the authority that signed the server's; none: one that this machine knows did.
    pub(crate) authority: Option<PathBuf>,
    /// The caller's own certificate with its key.
    pub(crate) certificate: Option<PathBuf>,
}

/// Returns the files for a server: those that are named, else those that lie where tokens do.
pub(crate) async fn find(
    environment: &Environment,
    named: Trust,
    url: &str,
    token: Option<&Found>,
) -> Trust {
    let directory = token.and_then(|token| token.file.parent());
    let authority = match named.authority.or_else(|| environment.ca_file.clone()) {
        Some(path) => Some(path),
        None => match of_places(environment, url).await {
            Some(path) => Some(path),
            None => beside(directory).await,
        },
    };
    let certificate = match named
        .certificate
        .or_else(|| environment.certificate.clone())
    {
        Some(path) => Some(path),
        None => existing(token.map(|token| token.file.with_extension("pem"))).await,
    };
    Trust {
        authority,
        certificate,
    }
}

/// Returns the authority that a daemon of this machine and user names.
async fn of_places(environment: &Environment, url: &str) -> Option<PathBuf> {
    let port = local_port(url)?;
    for directory in &environment.places {
        let text = tokio::fs::read_to_string(directory.join(format!("{port}.authority"))).await;
        if let Ok(text) = text {
            return Some(PathBuf::from(text.trim()));
        }
    }
    None
}

async fn beside(directory: Option<&Path>) -> Option<PathBuf> {
    for name in [AUTHORITY_FILE, AUTHORITY_FILE_OF_DAEMON] {
        let path = existing(directory.map(|directory| directory.join(name))).await;
        if path.is_some() {
            return path;
        }
    }
    None
}

async fn existing(path: Option<PathBuf>) -> Option<PathBuf> {
    let path = path?;
    tokio::fs::metadata(&path).await.ok()?;
    Some(path)
}

impl Trust {
    /// Reads the files.
    ///
    /// # Errors
    /// When one can't be read.
    pub(crate) async fn config(&self) -> Result<ClientTlsConfig, Failure> {
        let mut config = ClientTlsConfig::new();
        config = match &self.authority {
            Some(path) => {
                let read = read("read the certificate of the shop's authority", path).await?;
                require(
                    path,
                    &read,
                    "CERTIFICATE",
                    "the certificate of the shop's authority",
                )?;
                config.ca_certificate(Certificate::from_pem(read))
            }
            None => config.with_native_roots(),
        };
        if let Some(path) = &self.certificate {
            let read = read("read the certificate", path).await?;
            require(path, &read, "CERTIFICATE", "a certificate")?;
            require(path, &read, "PRIVATE KEY", "the certificate's key")?;
            config = config.identity(Identity::from_pem(&read, &read));
        }
        Ok(config)
    }
}

async fn read(verb: &str, path: &Path) -> Result<Vec<u8>, Failure> {
    let bytes = tokio::fs::read(path).await;
    bytes.map_err(|error| Failure::file(verb, path, &error))
}

/// The transport passes over what it can't read; a file that was meant to prove something must hold it.
fn require(path: &Path, bytes: &[u8], label: &str, what: &str) -> Result<(), Failure> {
    let end = format!("{label}-----");
    if String::from_utf8_lossy(bytes).contains(&end) {
        return Ok(());
    }
    let message = format!("{} does not hold {what} as PEM", path.display());
    Err(Failure::local(Exit::Usage, "USAGE", message))
}
