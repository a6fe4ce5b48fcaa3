//! Tests of the local store as a whole.

mod conformance;
mod crash;
mod disk_model;
mod durability;
mod history;
mod recording;
mod support;
