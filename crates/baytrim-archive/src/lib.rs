//! Carries ledger bytes in one file.
//! Knows nothing of which store is underneath, what a record means, wire, clocks, async.
//!
//! The file is a plain tar archive in one canonical form, so that a stranger can open it with what every system has
//! and no byte of it can change unnoticed. `docs/ledger-format.md` describes it.

mod check;
mod contents;
mod error;
mod form;
mod restore;
mod tally;
mod write;

pub use check::check;
pub use contents::{Contents, Summary};
pub use error::{ArchiveError, ReadError, RestoreError, WriteError};
pub use restore::{compare, put, restore};
pub use write::write;
