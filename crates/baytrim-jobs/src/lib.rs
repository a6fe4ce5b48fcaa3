//! Decides, one request at a time, what happens to jobs and bays.
//! Knows nothing of sockets, clocks, stores, wire.

pub mod air;
pub mod bay;
pub mod bay_contrast;
pub mod bay_delay;
pub mod bay_reading;
pub mod behaviour;
pub mod brief;
pub mod codec;
pub mod comment;
pub mod export;
pub mod false_lean;
pub mod fold;
pub mod grip;
pub mod job_file;
pub mod kind;
pub mod library;
mod moment;
pub mod open;
pub mod power;
pub mod power_comparison;
pub mod propose;
pub mod pull_plan;
pub mod pulls;
pub mod realise;
pub mod refusal;
pub mod reproduce;
pub mod revert;
pub mod sensor_check;
mod sensors;
pub mod shop_view;
pub mod stage;
pub mod stage_comparison;
pub mod standing;
pub mod state;
pub mod trace;
pub mod verdict;

pub use bay::BayState;
pub use brief::{JobBrief, JobFacts};
pub use fold::Fold;
pub use refusal::Refusal;
pub use state::JobState;
