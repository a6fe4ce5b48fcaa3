//! What this store was shown or has told: a database that lacks some of it has lost records, or hasn't got them yet, and
//! nothing that it says is believed.

use std::collections::{BTreeMap, VecDeque};
use std::ops::Bound::{Excluded, Included};
use std::sync::{Mutex, MutexGuard, PoisonError};

use baytrim_ledger::{Head, StreamName};
use tokio_postgres::types::Type;

use crate::append::int;
use crate::session::Session;
use crate::trouble::Trouble;

/// Newest heads that are looked for on each new connection. A database takes its log in order, so that whoever has the
/// newest has all before; more than one, since answers may overtake each other.
const NEWEST: usize = 16;

/// Finds a record that is not there as it was shown.
const MISSING: &str = "select told.stream, told.seq from unnest($1, $2, $3) as told(stream, seq, hash) \
    where not exists (select from baytrim_record as r \
    where r.stream = told.stream and r.seq = told.seq and r.hash = told.hash) limit 1";

/// Heads of streams as they were last shown.
#[derive(Default)]
pub(crate) struct Seen(Mutex<Inner>);

#[derive(Default)]
struct Inner {
    heads: BTreeMap<StreamName, (Head, Moment)>,
    newest: VecDeque<(StreamName, Head)>,
    now: Moment,
    /// What the database was found to lack.
    lacking: Option<(StreamName, Head)>,
}

/// A moment: an answer is held only against what was shown before its question.
#[derive(Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Moment(u64);

impl Seen {
    /// Returns the moment of now; taken before a question is asked.
    pub(crate) fn now(&self) -> Moment {
        self.inner().now
    }

    /// Notes what was recorded.
    pub(crate) fn note(&self, stream: &StreamName, head: &Head) {
        self.inner().note(stream, *head);
    }

    /// Holds the head of a stream as the database tells it against what was shown before `asked`, and notes it.
    pub(crate) fn head(
        &self,
        asked: Moment,
        stream: &StreamName,
        found: &Head,
    ) -> Result<(), Trouble> {
        self.inner().head(asked, stream, found)
    }

    /// The same for records that were read from number `from` on; the last of them leaves the stream at `last`.
    ///
    /// More may come behind them, so that only an empty answer, or another record at the end that was shown, tells anything.
    pub(crate) fn read(
        &self,
        asked: Moment,
        stream: &StreamName,
        from: u64,
        last: Option<Head>,
    ) -> Result<(), Trouble> {
        let mut inner = self.inner();
        if let Some(known) = inner.known(asked, stream) {
            let is_lost = match last {
                None => from < known.next_seq,
                Some(last) => last.next_seq == known.next_seq && last.hash != known.hash,
            };
            if is_lost {
                return Err(inner.lacks(stream, known));
            }
        }
        if let Some(last) = last {
            inner.note(stream, last);
        }
        Ok(())
    }

    /// The same for a page of a list: all streams between `after` and its end, which is `end` where it is full.
    pub(crate) fn list(
        &self,
        asked: Moment,
        (after, end): (&str, &str),
        listed: &[(StreamName, Head)],
    ) -> Result<(), Trouble> {
        let mut inner = self.inner();
        for (stream, head) in listed {
            inner.head(asked, stream, head)?;
        }
        if after >= end {
            return Ok(());
        }
        let shown = inner
            .heads
            .range::<str, _>((Excluded(after), Included(end)));
        let is_listed = |name: &StreamName| listed.binary_search_by(|(stream, _)| stream.cmp(name));
        let mut missing =
            shown.filter(|(stream, (_, at))| *at <= asked && is_listed(stream).is_err());
        let missing = missing
            .next()
            .map(|(stream, (head, _))| (stream.clone(), *head));
        match missing {
            Some((stream, known)) => Err(inner.lacks(&stream, known)),
            None => Ok(()),
        }
    }

    /// Tells whether the database was found to lack something, and has not been seen with it since.
    pub(crate) fn is_lacking(&self) -> bool {
        self.inner().lacking.is_some()
    }

    /// Looks for the newest that was shown, and for what was lacking, in the database that a session leads to.
    pub(crate) async fn prove(&self, session: &Session) -> Result<(), Trouble> {
        let wanted: Vec<_> = {
            let inner = self.inner();
            inner.newest.iter().chain(&inner.lacking).cloned().collect()
        };
        if wanted.is_empty() {
            return Ok(());
        }
        let streams: Vec<&str> = wanted.iter().map(|(stream, _)| stream.as_str()).collect();
        let seqs: Vec<i64> = wanted
            .iter()
            .map(|(_, head)| int(head.next_seq - 1))
            .collect();
        let hashes: Vec<&[u8]> = wanted.iter().map(|(_, head)| &head.hash.0[..]).collect();
        let given = [
            (&streams as _, Type::TEXT_ARRAY),
            (&seqs as _, Type::INT8_ARRAY),
            (&hashes as _, Type::BYTEA_ARRAY),
        ];
        let missing = session.query_opt(MISSING, &given).await?;
        let mut inner = self.inner();
        let Some(row) = missing else {
            if inner.lacking.take().is_some() {
                tracing::warn!("the database has again what it lacked");
            }
            return Ok(());
        };
        let (name, seq): (&str, i64) = (row.get(0), row.get(1));
        let is_it = |(stream, head): &&(StreamName, Head)| {
            stream.as_str() == name && int(head.next_seq) == seq + 1
        };
        let (stream, head) = wanted.iter().find(is_it).unwrap_or(&wanted[0]);
        Err(inner.lacks(stream, *head))
    }

    fn inner(&self) -> MutexGuard<'_, Inner> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Inner {
    fn known(&self, asked: Moment, stream: &StreamName) -> Option<Head> {
        let (head, at) = self.heads.get(stream)?;
        (*at <= asked).then_some(*head)
    }

    fn head(&mut self, asked: Moment, stream: &StreamName, found: &Head) -> Result<(), Trouble> {
        match self.known(asked, stream) {
            Some(known)
                if found.next_seq < known.next_seq
                    || (found.next_seq == known.next_seq && found.hash != known.hash) =>
            {
                Err(self.lacks(stream, known))
            }
            _ => {
                self.note(stream, *found);
                Ok(())
            }
        }
    }

    fn note(&mut self, stream: &StreamName, head: Head) {
        let shown = self
            .heads
            .get(stream)
            .map_or(0, |(shown, _)| shown.next_seq);
        if head.next_seq <= shown {
            return;
        }
        self.now.0 += 1;
        self.heads.insert(stream.clone(), (head, self.now));
        self.newest.push_back((stream.clone(), head));
        if self.newest.len() > NEWEST {
            self.newest.pop_front();
        }
    }

    fn lacks(&mut self, stream: &StreamName, head: Head) -> Trouble {
        if self.lacking.is_none() {
            self.lacking = Some((stream.clone(), head));
        }
        Trouble::Behind {
            stream: stream.clone(),
            seq: head.next_seq.saturating_sub(1),
        }
    }
}

#[cfg(test)]
mod tests {
    use baytrim_ledger::Hash;

    use super::*;

    fn name(text: &str) -> StreamName {
        text.parse().expect("a name")
    }

    fn head(next_seq: u64, hash: u8) -> Head {
        Head {
            next_seq,
            hash: Hash([hash; 32]),
        }
    }

    /// If this fails, records that a failover lost are taken for records that never were.
    #[test]
    fn what_was_shown_must_stay() {
        let seen = Seen::default();
        let (a, b) = (name("job/a"), name("job/b"));
        let began = seen.now();
        seen.head(began, &a, &head(3, 3)).expect("new");
        seen.head(began, &b, &head(1, 1)).expect("new");
        let now = seen.now();
        seen.head(now, &a, &head(3, 3)).expect("the same");
        seen.read(now, &a, 3, None).expect("nothing behind it");
        seen.read(now, &a, 0, Some(head(2, 2)))
            .expect("a part of it");
        let pages = [(a.clone(), head(3, 3)), (b.clone(), head(1, 1))];
        seen.list(now, ("", "~"), &pages).expect("all");
        seen.list(now, ("", "job/a"), &pages[..1])
            .expect("a full page");
        assert!(!seen.is_lacking());
        for lost in [
            seen.head(now, &a, &head(2, 2)),
            seen.head(now, &a, &head(3, 9)),
            seen.read(now, &a, 0, None),
            seen.read(now, &a, 2, None),
            seen.read(now, &a, 0, Some(head(3, 9))),
            seen.list(now, ("", "~"), &pages[..1]),
            seen.list(now, ("job/a", "~"), &[]),
        ] {
            assert!(matches!(lost, Err(Trouble::Behind { .. })));
            assert!(seen.is_lacking());
        }
        // What was shown after the question was asked says nothing about its answer.
        seen.head(began, &a, &head(2, 2))
            .expect("an answer that was overtaken");
        seen.list(began, ("", "~"), &[])
            .expect("an answer that was overtaken");
    }
}
