//! How far time has come, as far as the daemon itself has seen it pass: a clock that jumps ahead makes nothing old.

use std::time::Duration;

use baytrim_model::ids::UnixMillis;

use super::DAY_MS;

/// Most time that counts between one daemon and the next on the same ledger, in milliseconds: a shop's holidays.
const STOP_MS_MAX: i64 = 30 * DAY_MS;

/// How far the clock may be ahead before it is told, in milliseconds.
const AHEAD_MS_MAX: i64 = DAY_MS;

/// How far time has come at the most; the clock is believed up to there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Vouched(UnixMillis);

impl Vouched {
    /// Returns how far it has come when a daemon starts: up to the clock, but no more than a stop's time beyond what the
    /// ledger last told.
    pub fn after_stop(last: UnixMillis, clock: UnixMillis) -> Self {
        let most = last.0.saturating_add(STOP_MS_MAX);
        Self(UnixMillis(clock.0.min(most).max(last.0)))
    }

    /// Lets time pass, however the clock was set meanwhile.
    pub fn pass(&mut self, elapsed: Duration) {
        let elapsed_ms = i64::try_from(elapsed.as_millis()).unwrap_or(i64::MAX);
        self.0 = UnixMillis(self.0.0.saturating_add(elapsed_ms));
    }

    /// Returns the moment that rules count from.
    pub fn moment(self, clock: UnixMillis) -> UnixMillis {
        clock.min(self.0)
    }

    /// Returns whether the clock says that more time has passed than could.
    pub fn is_ahead(self, clock: UnixMillis) -> bool {
        clock.0.saturating_sub(self.0.0) > AHEAD_MS_MAX
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const START: i64 = 1_800_000_000_000;
    const LOOK: Duration = Duration::from_secs(6 * 3600);

    fn day(number: i64) -> UnixMillis {
        UnixMillis(START + number * DAY_MS)
    }

    /// If this fails, a clock that jumps a year ahead makes everything old, or one that jumped keeps logs for ever.
    #[test]
    fn time_passes_as_it_passes_whatever_the_clock_says() {
        let mut vouched = Vouched::after_stop(day(0), day(1));
        assert_eq!(vouched.moment(day(1)), day(1));
        // An hour back: the clock is believed.
        let back = UnixMillis(day(1).0 - 3_600_000);
        vouched.pass(LOOK);
        assert_eq!(vouched.moment(back), back);
        // A year ahead: only what has passed counts, and it is told.
        vouched.pass(LOOK);
        let ahead = day(366);
        assert!(vouched.is_ahead(ahead));
        assert_eq!(vouched.moment(ahead).0, day(1).0 + DAY_MS / 2);
        // Right again: nothing was lost.
        vouched.pass(LOOK);
        vouched.pass(LOOK);
        assert_eq!(vouched.moment(day(2)), day(2));
        assert!(!vouched.is_ahead(day(2)));
    }

    /// If this fails, a daemon that is started under a wrong clock removes what is new, or holidays never count.
    #[test]
    fn a_stop_counts_for_a_month_at_the_most() {
        let of = |clock| Vouched::after_stop(day(0), clock).moment(clock);
        assert_eq!(of(day(14)), day(14));
        assert_eq!(of(day(365)), day(30));
        assert_eq!(of(day(-3)), day(-3));
    }
}
