//! Tests of the local store as a whole.

mod conformance;
mod support;
