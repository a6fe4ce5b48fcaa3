//! Keeps records in order, unchanged, and provably so.
//! Knows nothing of which store is underneath, what a record means, clocks, async.
//!
//! A [`Store`] holds streams of [`Record`]s (each chained to the one before by its [hash](struct@Hash)), blobs named
//! by their hash, spools of chunks on their way into a blob, and a cache of snapshots.

#[cfg(any(test, feature = "conformance"))]
pub mod conformance;

pub mod chain;
pub mod limits;

mod blob;
mod error;
mod fault;
mod hash;
mod memory;
mod name;
mod record;
mod store;
mod verify;

pub use blob::{BlobId, BlobReader, BlobWriter};
pub use error::{AppendError, BlobError, SpoolError};
pub use fault::{Damage, StoreFault};
pub use hash::{Hash, Hasher, ParseHashError};
pub use memory::MemoryStore;
pub use name::{NameError, StreamName};
pub use record::{Head, Record};
pub use store::{Snapshot, Store};
pub use verify::{VerifyProgress, VerifyReport, VerifyStage};
