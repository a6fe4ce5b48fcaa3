//! The daemon over its wire: everything here goes through gRPC on a port that the system chose.
#![allow(
    clippy::unwrap_used,
    clippy::float_cmp,
    clippy::print_stdout,
    unreachable_pub,
    reason = "these are tests; numbers that went out must come back to the bit"
)]

mod access;
mod approving;
mod archives;
mod bad_jobs;
mod bad_logs;
mod bad_streams;
mod bays;
#[path = "../bearer/mod.rs"]
mod bearer;
mod behaviour;
mod checkpoints;
mod durable;
mod false_lean;
mod figures;
#[cfg(feature = "columnar")]
mod formats;
mod grip;
mod harness;
mod hostile;
mod large;
mod library;
mod lists;
mod members;
mod people;
mod plans;
mod power;
mod pulls;
mod realised;
mod reproduce;
mod retention;
mod reviews;
mod security;
mod server;
mod signing_in;
mod stages;
mod traces;
mod verdicts;
mod watches;
mod webhook;
