//! Why a store can't be opened.

use baytrim_ledger::StoreFault;

/// Says why a store can't be opened, and what to do.
#[derive(Debug, thiserror::Error)]
pub enum OpenError {
    /// A file of the address can't be used.
    #[error("{file}: {what}; check the path, who may read it, and that it is PEM")]
    Certificate {
        /// The file.
        file: String,
        /// What it is for.
        what: &'static str,
        /// Why.
        source: Box<dyn std::error::Error + Send + Sync>,
    },
    /// Commits of this database would not be durable enough.
    #[error("the database says {setting} = '{value}': {problem}; {remedy}")]
    NotDurable {
        /// The setting.
        setting: &'static str,
        /// Its value.
        value: String,
        /// What is wrong with it.
        problem: &'static str,
        /// What to do.
        remedy: &'static str,
    },
    /// A later program wrote the tables.
    #[error(
        "the tables are of version {found}, and this program knows up to {known}; start the newer program"
    )]
    NewerSchema {
        /// Version of the tables.
        found: i32,
        /// Newest version that is known.
        known: i32,
    },
    /// The threads that talk to the database can't be started.
    #[error("the threads that talk to the database can't be started")]
    Threads(#[source] std::io::Error),
    /// The database is not there, or failed.
    #[error(transparent)]
    Fault(#[from] StoreFault),
}
