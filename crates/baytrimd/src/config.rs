//! What the daemon is told: flags over environment over a TOML file over defaults.

pub mod file;
pub mod keys;
pub mod layers;
mod parse;

use std::path::PathBuf;
use std::time::Duration;

use crate::log::LogFormat;
use crate::retention::Rules;

pub use layers::{Layers, Origin, Setting};
pub use parse::settings;

/// Everything that the daemon is told.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// Directory of the ledger; none where nobody named one. With a database it holds this machine's own small files.
    pub data: Option<PathBuf>,
    /// The database that the ledger is in; none: it is in the directory.
    pub database: Option<Database>,
    /// Address to listen at, `HOST:PORT`; port 0 takes a free one.
    pub listen: String,
    /// How log lines look.
    pub log_format: LogFormat,
    /// Which log lines are written.
    pub log_level: String,
    /// Whether other machines may connect without encryption.
    pub is_insecure_lan: bool,
    /// File with the daemon's certificate; none: the one that the shop made, where it did.
    pub tls_certificate: Option<PathBuf>,
    /// File with its key; none: the certificate's file holds it too.
    pub tls_key: Option<PathBuf>,
    /// Whether bays show certificates of the shop's own.
    pub bays_show_certificates: bool,
    /// Address where figures are scraped, `HOST:PORT`; none: nowhere.
    pub metrics_listen: Option<String>,
    /// Address of the collector that traces are sent to; none: nowhere.
    pub otlp_endpoint: Option<String>,
    /// How often a checkpoint is signed; none: only on command.
    pub checkpoints_every: Option<Duration>,
    /// Directory where each of those is written as a file too.
    pub checkpoints_directory: Option<PathBuf>,
    /// Where messages go when a proposal waits; none: nowhere.
    pub webhook: Option<WebhookSettings>,
    /// Limits that a shop may want to move.
    pub limits: ServiceLimits,
}

/// Where messages go when a proposal waits.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WebhookSettings {
    /// The address: `https`, or `http` on this machine.
    pub url: String,
    /// File with the secret; none: the one in the ledger's directory.
    pub secret_file: Option<PathBuf>,
    /// File with the authority of the receiver's certificate; none: the public ones.
    pub ca_file: Option<PathBuf>,
}

/// A database that holds a ledger.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Database {
    /// Where it is: `postgres://...`.
    pub url: String,
    /// File with nothing but the password; none: none is needed.
    pub password_file: Option<PathBuf>,
    /// Whether one copy of each record is enough.
    pub single_copy: bool,
    /// Object storage that holds the blobs, `s3://...`; none: the database does.
    pub blobs: Option<String>,
}

/// Limits that a shop may want to move.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ServiceLimits {
    /// Largest log that may be uploaded, in bytes as sent.
    pub upload_bytes_max: u64,
    /// Live pulls at once.
    pub streams_max: usize,
    /// Uploads at once.
    pub uploads_max: usize,
    /// Fits and logs being read at once.
    pub compute_max: usize,
    /// Time that a live pull or an upload may be silent.
    pub idle: Duration,
    /// How long raw logs and unfinished work are kept.
    pub retention: Rules,
}

impl Default for ServiceLimits {
    /// Returns the defaults, for tests and for servers within a program.
    fn default() -> Self {
        Self {
            upload_bytes_max: 256 << 20,
            streams_max: 32,
            uploads_max: 8,
            compute_max: 2,
            idle: Duration::from_secs(60),
            retention: Rules::NONE,
        }
    }
}

/// Why the daemon does not know what to do.
#[derive(Debug, thiserror::Error)]
pub enum ConfigError {
    /// The file can't be read.
    #[error("{}: can't be read; check the path and who may read it", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// The file is wrong at some line.
    #[error("{}, line {line}: {problem}; {remedy}", path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// The line, from 1.
        line: usize,
        /// What is wrong.
        problem: String,
        /// What to do.
        remedy: String,
    },
    /// A value is wrong.
    #[error("{key} ({origin}): {problem}; {remedy}")]
    Value {
        /// The key.
        key: &'static str,
        /// Where the value is from.
        origin: Origin,
        /// What is wrong.
        problem: String,
        /// What to do.
        remedy: String,
    },
}
