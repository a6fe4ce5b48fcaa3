//! Tests the built programs and the workspace from outside.

mod floors;
mod proto_rules;
mod words;
