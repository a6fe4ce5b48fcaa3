//! The daemon's clock: the only place that asks what time it is.

use std::time::{SystemTime, UNIX_EPOCH};

use baytrim_model::ids::UnixMillis;

/// Returns the moment, by the system's clock; a clock before 1970 counts as 1970.
#[expect(
    clippy::disallowed_methods,
    reason = "the daemon's clock is read here and nowhere else"
)]
pub fn now() -> UnixMillis {
    let since = SystemTime::now()
        .duration_since(UNIX_EPOCH)
        .unwrap_or_default();
    UnixMillis(i64::try_from(since.as_millis()).unwrap_or(i64::MAX))
}
