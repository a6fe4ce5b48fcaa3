//! The daemon over its wire: everything here goes through gRPC on a port that the system chose.
#![allow(
    clippy::unwrap_used,
    clippy::float_cmp,
    unreachable_pub,
    reason = "these are tests; numbers that went out must come back to the bit"
)]

mod bad_jobs;
mod bad_logs;
mod bad_streams;
mod durable;
mod figures;
mod harness;
mod lists;
mod plans;
mod pulls;
mod realised;
mod reviews;
mod server;
