//! Drives the API from a terminal.
//! Knows nothing of every own crate but `baytrim-api`.
//!
//! [`run`] is the whole program: the binary calls it with the process's arguments, other programs
//! call it with their own.

#![expect(
    clippy::format_push_string,
    reason = "pages are small and read better so"
)]
#![cfg_attr(
    test,
    expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")
)]

mod args;
mod client;
mod command;
mod context;
mod environment;
mod exit;
mod failure;
mod job_bundle;
mod json;
mod log_reader;
mod name;
pub mod render;
mod run;
mod token;
mod trust;
mod use_map;

pub use environment::Environment;
pub use exit::Exit;
pub use render::proposal::render_proposal;
pub use render::pull::render_pull;
pub use render::style::RenderOptions;
pub use run::run;
