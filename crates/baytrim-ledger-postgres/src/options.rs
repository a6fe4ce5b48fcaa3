//! How a store is opened, and what opening found.

use std::time::Duration;

/// Says how a store is opened.
#[derive(Debug, Clone)]
pub struct Options {
    /// Goes on although only one machine has each record.
    ///
    /// Without it, a database that does not wait for a second copy of every commit is refused.
    pub single_copy: bool,
    /// Most connections at once.
    pub connections_max: usize,
    /// Time that one call waits for a database that is not there or does not answer: a failover must fit in.
    pub patience: Duration,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            single_copy: false,
            connections_max: 8,
            patience: Duration::from_secs(15),
        }
    }
}

/// Tells what opening found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OpenReport {
    /// Version of the tables that were there; none where there were none.
    pub schema_before: Option<i32>,
    /// Uploads that were begun, never finished, and are forgotten now.
    pub uploads_forgotten: u64,
}
