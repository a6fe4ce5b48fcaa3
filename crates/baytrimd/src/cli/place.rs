//! Where a ledger is, and opening it.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use baytrim_ledger::Store;
use baytrim_ledger_local::{LocalStore, OpenError, OpenReport};

use super::{EXIT_DAMAGED, EXIT_USAGE, Failure, Options};
use crate::config::{Database, Settings};

/// Where a ledger is.
#[derive(Debug, Clone)]
pub(crate) enum LedgerPlace {
    /// In a directory.
    Directory(PathBuf),
    /// In a database.
    Database(Database),
}

impl LedgerPlace {
    /// Returns where the settings say that the ledger is.
    pub(crate) fn of(settings: &Settings) -> Result<Self, Failure> {
        match &settings.database {
            Some(database) => Ok(Self::Database(database.clone())),
            None => Options::data(settings).cloned().map(Self::Directory),
        }
    }

    /// Returns the place that a text names; how a database is reached beyond its address is as `settings` say.
    pub(crate) fn named(
        text: &str,
        password_file: Option<&Path>,
        single_copy: bool,
        blobs: Option<&str>,
    ) -> Self {
        if text.starts_with("postgres://") || text.starts_with("postgresql://") {
            return Self::Database(Database {
                url: text.to_owned(),
                password_file: password_file.map(Path::to_owned),
                single_copy,
                blobs: blobs.map(str::to_owned),
            });
        }
        Self::Directory(PathBuf::from(text))
    }

    /// Fails unless there is something to open.
    pub(crate) fn must_be_there(&self) -> Result<(), Failure> {
        match self {
            Self::Directory(directory) if !directory.is_dir() => {
                Err(Failure::usage(anyhow::anyhow!(
                    "{} is no directory; name the one that the daemon was started with",
                    directory.display()
                )))
            }
            _ => Ok(()),
        }
    }

    /// Fails when a directory holds something.
    pub(crate) fn must_be_new(&self) -> Result<(), Failure> {
        let Self::Directory(directory) = self else {
            return Ok(());
        };
        let has_some = |mut entries: std::fs::ReadDir| entries.next().is_some();
        if directory.exists() && std::fs::read_dir(directory).is_ok_and(has_some) {
            return Err(Failure::usage(anyhow::anyhow!(
                "{} is there and not empty; name a new directory",
                directory.display()
            )));
        }
        Ok(())
    }

    /// Opens the ledger; `options` are for one in a directory.
    pub(crate) fn open(
        &self,
        options: &baytrim_ledger_local::Options,
    ) -> Result<Arc<dyn Store>, Failure> {
        match self {
            Self::Directory(directory) => {
                let (store, report) = LocalStore::open(directory, options).map_err(not_opened)?;
                tell(&report);
                Ok(Arc::new(store))
            }
            Self::Database(database) => match &database.blobs {
                None => open_database(database),
                Some(url) => open_with_objects(database, url),
            },
        }
    }
}

#[cfg(feature = "postgres")]
fn open_database(database: &Database) -> Result<Arc<dyn Store>, Failure> {
    use anyhow::Context as _;
    use baytrim_ledger_postgres::{Address, OpenError, Options, PostgresStore};

    let mut address = Address::parse(&database.url).map_err(Failure::usage)?;
    if let Some(file) = &database.password_file {
        let password = std::fs::read_to_string(file)
            .with_context(|| format!("{}: the database's password can't be read", file.display()))
            .map_err(Failure::usage)?;
        address = address.with_password(password.trim_end_matches(['\r', '\n']));
    }
    let options = Options {
        single_copy: database.single_copy,
        ..Options::default()
    };
    if database.single_copy {
        tracing::warn!("one copy of each record is good enough, as --single-copy says");
    }
    let opened = PostgresStore::open(&address, &options);
    let (store, _) = opened.map_err(|error| match error {
        OpenError::Fault(_) | OpenError::Threads(_) => anyhow::Error::from(error).into(),
        _ => Failure::usage(error),
    })?;
    Ok(Arc::new(store))
}

#[cfg(feature = "object-storage")]
fn open_with_objects(database: &Database, url: &str) -> Result<Arc<dyn Store>, Failure> {
    use anyhow::Context as _;
    use baytrim_ledger_objects::{Bucket, WithObjects};

    let bucket = Bucket::at(url, Options::object_storage()).map_err(Failure::usage)?;
    bucket.probe().with_context(|| {
        format!("{url} can't be used for blobs; check its name, AWS_ENDPOINT, AWS_REGION, and the key and its rights")
    })?;
    Ok(Arc::new(WithObjects::new(open_database(database)?, bucket)))
}

#[cfg(not(feature = "object-storage"))]
fn open_with_objects(_: &Database, url: &str) -> Result<Arc<dyn Store>, Failure> {
    Err(Failure::usage(anyhow::anyhow!(
        "{url}: this program was built without object storage; build it with `--features object-storage`"
    )))
}

#[cfg(not(feature = "postgres"))]
fn open_database(_: &Database) -> Result<Arc<dyn Store>, Failure> {
    Err(Failure::usage(anyhow::anyhow!(
        "this program was built without PostgreSQL; build it with `--features postgres`"
    )))
}

pub(crate) fn not_opened(error: OpenError) -> Failure {
    let code = match error {
        OpenError::AnchorLost { .. } | OpenError::LostTail { .. } | OpenError::Damaged(_) => {
            EXIT_DAMAGED
        }
        OpenError::NotALedger { .. } | OpenError::UnknownFormat { .. } => EXIT_USAGE,
        OpenError::Locked { .. } | OpenError::Fault(_) => 1,
    };
    Failure {
        code,
        error: error.into(),
    }
}

fn tell(report: &OpenReport) {
    for loss in &report.losses {
        tracing::error!(loss, "given up, as --accept-loss says");
    }
    if let Some(torn) = &report.torn_journal {
        tracing::warn!(file = %torn.file.display(), bytes = torn.bytes, "cut off the journal's end what was written and never acknowledged");
    }
    tracing::info!(
        new = report.is_new,
        streams = report.stream_count,
        records = report.record_count,
        spools = report.spool_count,
        index = ?report.index,
        "the ledger is open"
    );
}
