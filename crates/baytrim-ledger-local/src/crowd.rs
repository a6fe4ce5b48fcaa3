//! Whether so many bays stream small chunks that it pays to wait a little for more of them before a sync.
//!
//! A sync costs as much for one chunk as for five. A lone bay, or one that sends as fast as it is answered, never
//! waits: only many spools at once, more of them in the time of a wait than one, make a crowd.

use std::collections::VecDeque;
use std::time::Duration;

use baytrim_ledger::StreamName;

/// How long a small chunk waits for others in a crowd: little against the tenth of a second that a batch spans.
const WAIT: Duration = Duration::from_millis(4);
/// Largest job that counts as small, in bytes: a second of ten channels at 100 Hz. With more, bytes cost more than the sync.
pub(crate) const SMALL_BYTES_MAX: usize = 5 << 10;
/// Chunks that are looked back at.
const LOOK_BACK: usize = 16;
/// Time in which those came, in a crowd: three in one wait.
const WITHIN: Duration = Duration::from_millis(20);
/// Fewest spools that they were for.
const SPOOLS_MIN: usize = 8;

/// Knows the last small chunks that came.
#[derive(Debug, Default)]
pub(crate) struct Crowd {
    /// Time passed since any moment; without it nobody waits.
    clock: Option<fn() -> Duration>,
    last: VecDeque<(Duration, StreamName)>,
}

impl Crowd {
    /// Returns a crowd of nobody yet, which goes by `clock`.
    pub(crate) fn new(clock: Option<fn() -> Duration>) -> Self {
        Self {
            clock,
            last: VecDeque::new(),
        }
    }

    /// Takes note of a small chunk that came now; returns until when its group is to wait for others, if at all.
    pub(crate) fn come(&mut self, spool: &StreamName) -> Option<Duration> {
        let now = self.clock?();
        self.note(now, spool);
        self.is_dense(now).then(|| now + WAIT)
    }

    /// Returns how long it is until a moment that [`Crowd::come`] named.
    pub(crate) fn left(&self, until: Duration) -> Duration {
        self.clock
            .map_or(Duration::ZERO, |clock| until.saturating_sub(clock()))
    }

    /// Takes note of a small chunk.
    fn note(&mut self, now: Duration, spool: &StreamName) {
        if self.last.len() == LOOK_BACK {
            self.last.pop_front();
        }
        self.last.push_back((now, spool.clone()));
    }

    /// Returns whether others are about to come.
    fn is_dense(&self, now: Duration) -> bool {
        let Some((oldest, _)) = self.last.front() else {
            return false;
        };
        if self.last.len() < LOOK_BACK || now.saturating_sub(*oldest) > WITHIN {
            return false;
        }
        let is_first = |(index, (_, spool)): &(usize, &(Duration, StreamName))| {
            !self
                .last
                .iter()
                .take(*index)
                .any(|(_, other)| other == spool)
        };
        self.last.iter().enumerate().filter(is_first).count() >= SPOOLS_MIN
    }
}

#[cfg(test)]
mod tests {
    use super::{Crowd, LOOK_BACK, SPOOLS_MIN, WITHIN};
    use baytrim_ledger::StreamName;
    use std::time::Duration;

    /// Returns a crowd of as many chunks as are looked back at, and when the last of them came.
    fn of(spools: usize, apart: Duration) -> (Crowd, Duration) {
        let mut crowd = Crowd::default();
        let mut now = Duration::ZERO;
        for chunk in 0..LOOK_BACK {
            now += apart;
            let spool = StreamName::new(&format!("live/bay-{}", chunk % spools));
            crowd.note(now, &spool.expect("a name"));
        }
        (crowd, now)
    }

    /// If this fails, a lone bay waits for nobody at every batch, or a hundred bays cost a sync each.
    #[test]
    fn only_many_at_once_are_a_crowd() {
        let quick = WITHIN / 20;
        let (many, now) = of(SPOOLS_MIN, quick);
        assert!(many.is_dense(now));
        assert!(!many.is_dense(now + WITHIN), "they are gone");
        let (few, now) = of(SPOOLS_MIN - 1, quick);
        assert!(!few.is_dense(now), "few bays that wait for answers");
        let (slow, now) = of(LOOK_BACK, WITHIN / 10);
        assert!(!slow.is_dense(now), "nobody comes in time");
        assert!(!Crowd::default().is_dense(now));
    }
}
