//! Names everything the domain can say.
//! Knows nothing of numerics, storage, wire, async.

pub mod axis;
pub mod bay;
pub mod channel;
pub mod engine;
pub mod field;
pub mod gate;
pub mod grip;
pub mod ids;
pub mod job;
pub mod library;
pub mod limits;
pub mod power;
pub mod proposal;
pub mod pull;
pub mod record;
pub mod recording;
pub mod revision;
pub mod samples;
pub mod shop;
pub mod stage;
pub mod table;
pub mod vehicle;
