//! Stores a ledger's blobs in object storage.
//! Knows nothing of what a blob means, records, jobs, wire, clocks.
//!
//! Records, spools and snapshots stay in the store beneath. A blob is an object that is named by its content, written
//! whole before anything names it, and proven whenever it is read. See `docs/replicated.md`.

mod bucket;
mod read;
#[cfg(feature = "s3")]
mod s3;
mod store;
mod write;

pub use bucket::Bucket;
#[cfg(feature = "s3")]
pub use s3::BucketError;
pub use store::WithObjects;
