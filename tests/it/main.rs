//! Tests the built programs and the workspace from outside.

mod floors;
mod house;
mod main_job;
mod proto_rules;
mod road_drives;
mod words;
