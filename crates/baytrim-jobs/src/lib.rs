//! Decides, one request at a time, what happens to a job.
//! Knows nothing of sockets, clocks, stores, wire.

pub mod codec;
pub mod export;
pub mod job_file;
pub mod open;
pub mod propose;
pub mod pull_plan;
pub mod pulls;
pub mod realise;
pub mod refusal;
pub mod revert;
pub mod state;
pub mod verdict;

pub use refusal::Refusal;
pub use state::JobState;
