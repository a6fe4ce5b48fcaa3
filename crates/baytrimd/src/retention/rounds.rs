//! Rounds of removing, one now and then, each from a moment that the daemon vouches for.

use std::sync::Arc;
use std::time::Duration;

use baytrim_model::ids::UnixMillis;
use tokio::sync::watch;

use super::{DAY_MS, Removal, Rules, Sweeper, Swept, Vouched, last_told, note};
use crate::clock;
use crate::compute::blocking;
use crate::fault::Fault;
use crate::shop::Shop;
use crate::tls::day;

/// What goes on between rounds.
struct Rounds {
    sweeper: Sweeper,
    /// None before the first round.
    vouched: Option<Vouched>,
    /// What the ledger was told last of how far time has come; none where it never was.
    told: Option<UnixMillis>,
}

impl Rounds {
    fn new(rules: Rules) -> Self {
        Self {
            sweeper: Sweeper::new(rules),
            vouched: None,
            told: None,
        }
    }

    /// Does a round; `elapsed` is what has passed since the one before it.
    fn round(&mut self, shop: &Shop, clock: UnixMillis, elapsed: Duration) -> Result<Swept, Fault> {
        let store = &**shop.store();
        let vouched = match &mut self.vouched {
            Some(vouched) => {
                vouched.pass(elapsed);
                *vouched
            }
            none => {
                // Where nothing was told yet, the clock is all there is.
                self.told = last_told(store)?;
                let found = Vouched::after_stop(self.told.unwrap_or(clock), clock);
                *none = Some(found);
                found
            }
        };
        let at = vouched.moment(clock);
        if vouched.is_ahead(clock) {
            tracing::warn!(
                clock = %day(clock), counted = %day(at),
                "the clock says that more time has passed than has; old logs are counted from the earlier moment"
            );
        }
        let swept = self.sweeper.round(shop, at)?;
        let is_told = swept != Swept::default();
        if is_told || self.told.is_none_or(|told| at.0 - told.0 >= DAY_MS) {
            if !is_told {
                note(store, &Removal::nothing(at))?;
            }
            self.told = self.told.max(Some(at));
        }
        Ok(swept)
    }
}

/// Does a round now and then until `stopped` turns true.
pub(crate) async fn every(shop: Arc<Shop>, rules: Rules, mut stopped: watch::Receiver<bool>) {
    if !rules.are_any() {
        return;
    }
    if shop.store().is_shared() {
        tracing::warn!("nothing is removed by rule from a ledger in a database; see `retention`");
        return;
    }
    let mut rounds = Rounds::new(rules);
    let mut last = clock::since_boot();
    loop {
        let told = stopped.wait_for(|stopping| *stopping);
        if tokio::time::timeout(rules.every, told).await.is_ok() {
            return;
        }
        let now = clock::since_boot();
        let elapsed = now.saturating_sub(std::mem::replace(&mut last, now));
        let from = Arc::clone(&shop);
        let round = blocking(move || {
            let swept = rounds.round(&from, clock::now(), elapsed);
            Ok((rounds, swept))
        });
        let Ok((back, swept)) = round.await else {
            return;
        };
        rounds = back;
        match swept {
            Ok(swept) if swept == Swept::default() => {}
            Ok(swept) => tracing::info!(
                logs = swept.logs,
                unnamed = swept.unnamed,
                live_pulls = swept.live_pulls,
                bytes = swept.bytes,
                "removed by rule; the stream `retention` says what"
            ),
            Err(fault) => tracing::error!(
                error = &fault as &dyn std::error::Error,
                "not everything was removed that the rule says; it is tried again"
            ),
        }
    }
}

#[cfg(test)]
mod tests {
    use baytrim_ledger::{MemoryStore, Store as _};

    use super::*;
    use crate::config::ServiceLimits;

    const START: i64 = 1_800_000_000_000;

    fn day(number: i64) -> UnixMillis {
        UnixMillis(START + number * DAY_MS)
    }

    /// If this fails, a clock that jumps ahead has the daemon drop what bays have sent a moment ago, at once or after its
    /// next start, or what is truly old stays.
    #[test]
    fn a_clock_that_jumps_ahead_makes_nothing_old() {
        let store = MemoryStore::new();
        let spool = "live/pull-00001".parse().expect("a name");
        let header = format!("{{\"opened_at\":{}}}", day(0).0);
        store
            .spool_append(&spool, 0, header.as_bytes())
            .expect("appends");
        let shop = Shop::new(Arc::new(store.clone()), ServiceLimits::default());
        let rules = Rules {
            unfinished_days: Some(40),
            ..Rules::NONE
        };
        let removed = |rounds: &mut Rounds, clock: i64, elapsed_days: u64| {
            let elapsed = Duration::from_secs(elapsed_days * 86_400);
            let swept = rounds.round(&shop, day(clock), elapsed);
            swept.expect("works").live_pulls
        };
        let mut rounds = Rounds::new(rules);
        assert_eq!(removed(&mut rounds, 0, 0), 0);
        assert_eq!(removed(&mut rounds, 365, 1), 0);
        assert_eq!(removed(&mut rounds, 366, 1), 0);
        assert_eq!(removed(&mut rounds, 2, 0), 0);
        // Started anew while the clock is wrong.
        let mut rounds = Rounds::new(rules);
        assert_eq!(removed(&mut rounds, 365, 0), 0);
        let mut rounds = Rounds::new(rules);
        assert_eq!(removed(&mut rounds, 30, 0), 0);
        assert_eq!(removed(&mut rounds, 41, 11), 1);
    }
}
