//! Drives the API from a terminal.
fn main() {}
