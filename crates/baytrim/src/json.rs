//! Results for scripts: the keys that `docs/cli.md` lists, numbers at full precision.

pub(crate) mod channels;
pub(crate) mod job;
pub(crate) mod ledger;
pub(crate) mod plan;
pub(crate) mod proposal;
pub(crate) mod pull;
mod realised;
pub(crate) mod status;
pub(crate) mod table;
