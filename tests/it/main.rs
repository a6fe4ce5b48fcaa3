//! Tests the built programs and the workspace from outside.
#![expect(
    clippy::print_stdout,
    reason = "figures that were measured are shown with --nocapture"
)]

mod floors;
mod house;
mod inbox;
mod main_job;
mod proto_rules;
mod road_drives;
mod roles;
mod words;
