//! What the daemon shows on the wire so that nobody else can read it, and whom it asks for a certificate.

mod authority;
mod certificate;
mod files;

use std::path::{Path, PathBuf};

use baytrim_model::ids::UnixMillis;
use rustls_pki_types::CertificateDer;
use tonic::transport::{Certificate, Identity, ServerTlsConfig};

use crate::config::Settings;
use crate::limits::HANDSHAKE_PATIENCE;

pub use authority::{AUTHORITY_DAYS, Authority, LOOPBACK_NAMES, SERVER_DAYS};
pub use certificate::{fingerprint, is_of, member_host, not_after};
pub use files::{AUTHORITY_FILE, SERVER_FILE, TLS_DIR, names, save, save_names};

/// Time before a certificate's end in which the daemon warns of it, in milliseconds: thirty days.
pub const WARN_MS: i64 = 30 * 24 * 3600 * 1000;

/// What the daemon shows on the wire, and whom it asks for a certificate.
#[derive(Debug, Clone)]
pub struct Tls {
    pub(crate) config: ServerTlsConfig,
    /// When the daemon's certificate ends.
    pub ends_at: UnixMillis,
    /// The certificate that clients check the daemon's by, where the shop made it itself.
    pub authority: Option<PathBuf>,
    /// Whether bays show certificates of their own.
    pub bays_show_certificates: bool,
}

/// Why nothing can be encrypted, or no certificate be made.
#[derive(Debug, thiserror::Error)]
pub enum TlsError {
    /// A file can't be read or written.
    #[error("{}: can't be {verb}; check the path and who may use it", path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// `read` or `written`.
        verb: &'static str,
        /// What the system said.
        source: std::io::Error,
    },
    /// A file holds something else.
    #[error("{}: {problem}; {remedy}", path.display())]
    Content {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        problem: String,
        /// What to do.
        remedy: &'static str,
    },
    /// A certificate has ended.
    #[error("{}: the certificate ended on {on}; {remedy}", path.display())]
    Ended {
        /// The file.
        path: PathBuf,
        /// The day it ended.
        on: String,
        /// What to do.
        remedy: &'static str,
    },
    /// The certificate and its key can't be used for serving.
    #[error("{}: can't be served with; check that the key is the certificate's own", path.display())]
    Pair {
        /// The file with the certificate.
        path: PathBuf,
        /// What the transport said.
        source: tonic::transport::Error,
    },
    /// A name can't stand in a certificate.
    #[error(
        "{name:?} is no name or address of a machine; write it as clients will, without a port"
    )]
    Name {
        /// The name.
        name: String,
    },
    /// There is no shop authority.
    #[error("{}: there is no authority of the shop; make it with `baytrimd tls init`", path.display())]
    NoAuthority {
        /// Where it would be.
        path: PathBuf,
    },
    /// There is one already.
    #[error(
        "{}: the shop has its authority; `baytrimd tls renew` makes another certificate by it. Making another authority would lock every client out: move the directory away if that is meant",
        path.display()
    )]
    AuthorityExists {
        /// Where it is.
        path: PathBuf,
    },
    /// A certificate could not be made.
    #[error("a certificate could not be made")]
    Make(#[source] rcgen::Error),
}

impl Tls {
    /// Returns what `settings` say, else what is in `data`, where there is a directory; none where nothing is to be encrypted.
    ///
    /// # Errors
    /// When a file can't be used, or a certificate has ended.
    pub fn load(
        settings: &Settings,
        data: Option<&Path>,
        at: UnixMillis,
    ) -> Result<Option<Self>, TlsError> {
        // Without a directory of the daemon's own there is nothing at these places.
        let made = data.unwrap_or(Path::new("")).join(TLS_DIR);
        let (own, authority) = (made.join(SERVER_FILE), made.join(AUTHORITY_FILE));
        let bays = settings.bays_show_certificates;
        let tls = match &settings.tls_certificate {
            Some(path) => {
                let key = settings.tls_key.as_ref().unwrap_or(path);
                let remedy = "put a new one in its place, and start the daemon again";
                Some(Self::of(path, key, (at, remedy))?)
            }
            None if data.is_some() && own.is_file() => {
                let remedy = "make a new one with `baytrimd tls renew`";
                let tls = Self::of(&own, &own, (at, remedy))?;
                let authority = Some(authority.clone());
                Some(Self { authority, ..tls })
            }
            None => None,
        };
        match tls {
            Some(tls) if bays => tls.asking_bays(&authority).map(Some),
            None if bays => Err(TlsError::NoAuthority { path: authority }),
            tls => Ok(tls),
        }
    }

    fn of(
        path: &Path,
        key: &Path,
        (at, remedy): (UnixMillis, &'static str),
    ) -> Result<Self, TlsError> {
        let chain = files::read(path)?;
        let ends_at = not_after(&files::first_certificate(path, &chain)?)
            .ok_or_else(|| files::no_certificate(path))?;
        if ends_at <= at {
            let path = path.to_owned();
            return Err(TlsError::Ended {
                path,
                on: certificate::day(ends_at),
                remedy,
            });
        }
        let key = files::read_key(key)?;
        let identity = Identity::from_pem(&chain, &key);
        let config = ServerTlsConfig::new()
            .identity(identity)
            .timeout(HANDSHAKE_PATIENCE);
        let tls = Self {
            config,
            ends_at,
            authority: None,
            bays_show_certificates: false,
        };
        tls.checked(path)
    }

    /// Asks every client for a certificate of the shop's; who has none is let in by other means, or not.
    fn asking_bays(self, authority: &Path) -> Result<Self, TlsError> {
        if !authority.is_file() {
            let path = authority.to_owned();
            return Err(TlsError::NoAuthority { path });
        }
        let root = files::read(authority)?;
        files::first_certificate(authority, &root)?;
        let config = self
            .config
            .client_ca_root(Certificate::from_pem(root))
            .client_auth_optional(true);
        let tls = Self {
            config,
            bays_show_certificates: true,
            ..self
        };
        tls.checked(authority)
    }

    /// Has the transport try it, so that what can't be served with is found before anything is served.
    fn checked(self, path: &Path) -> Result<Self, TlsError> {
        let tried = tonic::transport::Server::builder().tls_config(self.config.clone());
        match tried {
            Ok(_) => Ok(self),
            Err(source) => Err(TlsError::Pair {
                path: path.to_owned(),
                source,
            }),
        }
    }

    /// Returns whether the certificate ends soon.
    pub fn ends_soon(&self, at: UnixMillis) -> bool {
        self.ends_at.0.saturating_sub(at.0) < WARN_MS
    }
}

/// Returns the first certificate of a PEM file.
///
/// # Errors
/// When the file can't be read or holds none.
pub fn read_certificate(path: &Path) -> Result<CertificateDer<'static>, TlsError> {
    files::first_certificate(path, &files::read(path)?)
}

/// Returns the day of a moment, for people.
pub fn day(at: UnixMillis) -> String {
    certificate::day(at)
}

/// A certificate that a client showed, as the transport found it good.
pub(crate) type Shown = std::sync::Arc<Vec<CertificateDer<'static>>>;
