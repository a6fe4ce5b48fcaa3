//! The only place where wire and model meet.

pub mod access;
pub mod bay;
pub mod checkpoint;
pub mod grip;
pub mod job;
pub mod library;
pub mod name;
pub mod page;
pub mod power;
pub mod proposal;
pub mod pull;
pub mod pull_plan;
pub mod record;
pub mod reproduction;
pub mod request;
pub mod revision;
pub mod shop_view;
pub mod stage;
pub mod stream;
pub mod time;
pub mod trace;
pub mod vehicle;
