//! Tests of the local store as a whole.

mod conformance;
mod corruption;
mod crash;
mod crowd;
mod directory;
mod disk_model;
mod durability;
mod faults;
mod forger;
mod history;
mod index_loss;
mod recording;
mod second_reader;
mod support;
mod tamper;
