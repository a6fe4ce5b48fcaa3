//! Tests the decisions of a job from outside.
#![expect(
    clippy::float_cmp,
    reason = "table values are copied, not computed: the very same number is meant"
)]

mod bays;
mod duty;
mod exports;
mod folds;
mod house;
mod job_files;
mod library;
mod sensors;
mod taking;
mod verdicts;
