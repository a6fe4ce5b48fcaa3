//! Stores ledger bytes in PostgreSQL.
//! Knows nothing of what a record means, jobs, wire, clocks.
//!
//! Whether a record may follow is decided by one unique key; nothing rests on serialisable transactions, locks of the
//! database, sequences, triggers or replicas that are read. See `docs/replicated.md`.

mod address;
mod append;
mod blob;
mod blob_writer;
mod chunks;
mod error;
mod options;
mod pool;
mod records;
mod retry;
mod schema;
mod seen;
mod session;
mod shared;
mod snapshots;
mod store;
mod tls;
mod trouble;
mod verify;

pub use address::{Address, AddressError};
pub use error::OpenError;
pub use options::{OpenReport, Options};
pub use schema::SCHEMA_VERSION;
pub use store::PostgresStore;
