//! The daemon's clock: the only place that asks what time it is.

use std::sync::{Mutex, OnceLock, PoisonError};
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

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

/// Returns the time that has passed since some moment, by a clock that nobody sets.
#[expect(
    clippy::disallowed_methods,
    reason = "the daemon's clock is read here and nowhere else"
)]
pub fn passed() -> Duration {
    static BEGAN: OnceLock<Instant> = OnceLock::new();
    BEGAN.get_or_init(Instant::now).elapsed()
}

/// Returns the time that has passed since some moment before this program began, however the clock was set, sleep of the
/// machine counted where it tells (`/proc/uptime`, proc(5)).
pub fn since_boot() -> Duration {
    let uptime = std::fs::read_to_string("/proc/uptime").ok();
    let uptime_s = uptime.and_then(|text| text.split(' ').next()?.parse().ok());
    let uptime = uptime_s.and_then(|seconds| Duration::try_from_secs_f64(seconds).ok());
    uptime.unwrap_or_else(passed)
}

/// A time that never goes back and never stands still: while the clock is behind what was told, it goes on from there.
#[derive(Debug)]
pub struct Steady(Mutex<Latest>);

/// The latest moment that was told, and when that was by a clock that nobody sets.
#[derive(Debug)]
struct Latest {
    at: UnixMillis,
    told: Instant,
}

impl Steady {
    /// Returns a time that begins at `at`.
    #[expect(
        clippy::disallowed_methods,
        reason = "the daemon's clock is read here and nowhere else"
    )]
    pub fn new(at: UnixMillis) -> Self {
        let told = Instant::now();
        Self(Mutex::new(Latest { at, told }))
    }

    /// Returns the time where the clock tells `clock`.
    #[expect(
        clippy::disallowed_methods,
        reason = "the daemon's clock is read here and nowhere else"
    )]
    pub fn at(&self, clock: UnixMillis) -> UnixMillis {
        self.at_passed(clock, Instant::now())
    }

    fn at_passed(&self, clock: UnixMillis, now: Instant) -> UnixMillis {
        let mut latest = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let passed = now.saturating_duration_since(latest.told).as_millis();
        let passed = i64::try_from(passed).unwrap_or(i64::MAX);
        let least = UnixMillis(latest.at.0.saturating_add(passed));
        if clock < least {
            return least;
        }
        *latest = Latest {
            at: clock,
            told: now,
        };
        clock
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// If this fails, a clock that is set back keeps sessions and locked doors as they are until it has caught up.
    #[test]
    fn a_clock_set_back_neither_turns_time_back_nor_stops_it() {
        const HOUR_MS: i64 = 3_600_000;
        let steady = Steady::new(UnixMillis(0));
        let began = steady.0.lock().expect("nobody panics").told;
        let after = |seconds| began + Duration::from_secs(seconds);
        let told = |clock, seconds| steady.at_passed(UnixMillis(clock), after(seconds)).0;
        assert_eq!(told(10 * HOUR_MS, 1), 10 * HOUR_MS);
        assert_eq!(told(9 * HOUR_MS, 2), 10 * HOUR_MS + 1000);
        assert_eq!(told(9 * HOUR_MS, 7), 10 * HOUR_MS + 6000);
        assert_eq!(told(11 * HOUR_MS, 8), 11 * HOUR_MS);
    }
}
