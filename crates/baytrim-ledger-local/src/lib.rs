//! Stores ledger bytes in one local directory.
//! Knows nothing of what a record means, jobs, wire, clocks, async.
//!
//! The journal is the truth; the index beside it can be rebuilt from it at any time. See `docs/ledger-format.md`.

pub mod files;

mod anchor;
mod batch;
mod blobs;
mod chunk;
mod crowd;
mod disk;
mod format;
mod frame;
mod group;
mod index;
mod indexer;
mod journal;
mod lock;
mod lost;
mod open;
mod open_index;
mod open_journal;
mod open_spool;
mod options;
mod place;
mod poison;
mod read;
mod recover;
mod replay;
mod rescue;
mod scan;
mod segment;
mod shared;
mod spools;
mod state;
mod store;
mod verify;
mod writer;

pub use disk::DiskFiles;
pub use options::{IndexReport, OpenCheck, OpenError, OpenReport, Options, TornTail};
pub use store::LocalStore;
