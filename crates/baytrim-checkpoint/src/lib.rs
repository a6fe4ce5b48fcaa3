//! Proves what a ledger held at one moment.
//! Knows nothing of stores, records, clocks, files, wire.
//!
//! A [`Checkpoint`] is a few lines of text over the heads of all streams, sealed by a [`Signer`] as a signed
//! note; a [`Proof`] shows that one stream is among them. A stranger with the [`Verifier`] needs no more.

mod checkpoint;
mod error;
mod key;
mod note;
mod proof;
mod tree;

pub use checkpoint::{Checkpoint, Leaf};
pub use error::CheckpointError;
pub use key::{Signer, Verifier};
pub use note::open;
pub use proof::Proof;
pub use tree::{Digest, inclusion_path, leaf_hash, root, root_of_path};
