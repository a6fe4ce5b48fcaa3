//! What each command does: ask, then show.

pub(crate) mod access;
pub(crate) mod archive;
pub(crate) mod bay;
pub(crate) mod channels;
pub(crate) mod checkpoint;
pub(crate) mod completions;
pub(crate) mod follow;
pub(crate) mod grip;
pub(crate) mod inbox;
pub(crate) mod job;
pub(crate) mod job_follow;
pub(crate) mod ledger;
pub(crate) mod library;
pub(crate) mod pages;
pub(crate) mod plan;
pub(crate) mod power;
pub(crate) mod proposal;
pub(crate) mod pull;
pub(crate) mod review;
pub(crate) mod send;
pub(crate) mod shop;
pub(crate) mod stage;
pub(crate) mod standing;
pub(crate) mod status;
pub(crate) mod submit;
pub(crate) mod table;
pub(crate) mod trace;

/// Returns a fresh name for a request that records something.
fn request_id() -> String {
    uuid::Uuid::new_v4().to_string()
}
