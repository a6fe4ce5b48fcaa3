//! Results for scripts: the keys that `docs/cli.md` lists, numbers at full precision.

pub(crate) mod access;
pub(crate) mod archive;
pub(crate) mod bay;
pub(crate) mod channel_maps;
pub(crate) mod channels;
pub(crate) mod checkpoint;
pub(crate) mod grip;
pub(crate) mod inbox;
pub(crate) mod job;
pub(crate) mod ledger;
pub(crate) mod library;
pub(crate) mod plan;
pub(crate) mod power;
pub(crate) mod proposal;
pub(crate) mod pull;
mod realised;
mod recording;
pub(crate) mod reproduction;
pub(crate) mod shop;
pub(crate) mod stage;
pub(crate) mod status;
pub(crate) mod table;
pub(crate) mod trace;
mod vehicle;
