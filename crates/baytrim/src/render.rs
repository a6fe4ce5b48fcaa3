//! Pages for people: pure functions from an answer to text.

pub mod channels;
pub(crate) mod columns;
pub(crate) mod grid;
pub mod job;
pub mod ledger;
pub(crate) mod limits;
pub(crate) mod look;
pub(crate) mod marks;
pub(crate) mod number;
pub mod plan;
pub mod proposal;
pub(crate) mod proposal_grid;
pub(crate) mod proposal_summary;
pub mod pull;
mod realised;
pub mod status;
pub mod strip;
pub mod style;
pub mod table;
pub(crate) mod text;
