//! The one thread that writes: gathers waiting jobs, writes them, syncs once, moves the anchor, answers.

use std::sync::Arc;
use std::sync::mpsc::{Receiver, SyncSender};

use baytrim_ledger::{AppendError, SpoolError, StoreFault};

use crate::anchor::{Anchor, AnchorWriter};
use crate::chunk;
use crate::crowd::{self, Crowd};
use crate::group::{Answer, Group, Job};
use crate::journal::LogWriter;
use crate::segment::LogKind;
use crate::shared::Shared;
use crate::state::{Effect, Entry};

/// Jobs that share one sync at most.
const GROUP_JOBS_MAX: usize = 256;
/// Bytes after which a group takes no more: keeps the wait of its first job short.
const GROUP_BYTES_MAX: usize = 8 << 20;
/// A spool log this many times larger than what is live in it (and as many segments) has its oldest chunks moved.
const SPOOL_SPREAD_MAX: u64 = 4;

/// Is the writer with everything that it owns.
pub(crate) struct Writer {
    pub(crate) shared: Arc<Shared>,
    pub(crate) journal: LogWriter,
    pub(crate) spool: LogWriter,
    pub(crate) anchor: Anchor,
    pub(crate) anchor_file: AnchorWriter,
    pub(crate) spool_segment_bytes: u64,
    pub(crate) index_queue: SyncSender<Vec<Entry>>,
    pub(crate) crowd: Crowd,
}

impl Writer {
    /// Runs until every sender of jobs is gone.
    pub(crate) fn run(mut self, jobs: &Receiver<Job>) {
        while let Ok(first) = jobs.recv() {
            if let Err(fault) = self.shared.poison.check() {
                first.refuse(fault);
                continue;
            }
            self.serve(first, jobs);
        }
    }

    /// Serves one group.
    fn serve(&mut self, first: Job, jobs: &Receiver<Job>) {
        let mut group = Group::default();
        let result = self
            .gather(first, jobs, &mut group)
            .and_then(|()| self.make_durable(&group));
        if let Err(fault) = result {
            self.shared.poison.set(&fault);
            group
                .answers
                .into_iter()
                .for_each(|answer| answer.fail(&fault));
            return;
        }
        self.publish(&group.effects);
        group.answers.into_iter().for_each(Answer::send);
        self.index(group.effects);
        if let Err(fault) = self.reclaim() {
            self.shared.poison.set(&fault);
        }
    }

    fn gather(
        &mut self,
        first: Job,
        jobs: &Receiver<Job>,
        group: &mut Group,
    ) -> Result<(), StoreFault> {
        let mut bytes = 0;
        let mut next = Some(first);
        // Small chunks of a crowd wait for more of them; anything else that comes ends the wait.
        let (mut until, mut is_over) = (None, false);
        while let Some(job) = next {
            bytes += job.bytes();
            match &job {
                Job::Chunks { spool, .. } if job.bytes() <= crowd::SMALL_BYTES_MAX => {
                    until = until.or(self.crowd.come(spool));
                }
                _ => is_over = true,
            }
            self.take(job, group)?;
            let has_room = group.answers.len() < GROUP_JOBS_MAX && bytes < GROUP_BYTES_MAX;
            next = match until {
                _ if !has_room => None,
                Some(until) if !is_over => jobs.recv_timeout(self.crowd.left(until)).ok(),
                _ => jobs.try_recv().ok(),
            };
        }
        Ok(())
    }

    /// Writes one job, or prepares its refusal, which is answered only with the group: it may rest on it.
    fn take(&mut self, job: Job, group: &mut Group) -> Result<(), StoreFault> {
        match job {
            Job::Append {
                stream,
                expected,
                after,
                payload,
                reply,
            } => {
                let head = match group.heads.get(&stream) {
                    Some(head) => *head,
                    None => self.shared.read_state().head(&stream),
                };
                if head != expected {
                    group.answers.push(Answer::Append(
                        reply,
                        Err(AppendError::Conflict { stream, head }),
                    ));
                    return Ok(());
                }
                group.answers.push(Answer::Append(reply, Ok(after)));
                let place = self.journal.push(&payload)?;
                group.heads.insert(stream.clone(), after);
                let end = self.journal.end();
                group.effects.push(Effect::Records(Entry {
                    stream,
                    before: expected,
                    after,
                    place,
                    end,
                }));
            }
            Job::Chunks {
                spool,
                number,
                payloads,
                reply,
            } => {
                let next = self.next_chunk(group, &spool);
                if next != number {
                    group.answers.push(Answer::Chunk(
                        reply,
                        Err(SpoolError::Conflict { spool, next }),
                    ));
                    return Ok(());
                }
                let after = number + payloads.len() as u64;
                group.answers.push(Answer::Chunk(reply, Ok(after)));
                for (number, payload) in (number..).zip(&payloads) {
                    let place = self.spool.push(payload)?;
                    let spool = spool.clone();
                    group.effects.push(Effect::Chunk {
                        spool,
                        number,
                        place,
                    });
                }
                group.nexts.insert(spool, after);
            }
            Job::Drop {
                spool,
                payload,
                reply,
            } => {
                let is_there = self.next_chunk(group, &spool) > 0;
                group.answers.push(Answer::Drop(reply));
                if is_there {
                    self.spool.push(&payload)?;
                    group.nexts.insert(spool.clone(), 0);
                    group.effects.push(Effect::Drop { spool });
                }
            }
        }
        Ok(())
    }

    fn next_chunk(&self, group: &Group, spool: &baytrim_ledger::StreamName) -> u64 {
        match group.nexts.get(spool) {
            Some(next) => *next,
            None => self.shared.read_state().spools.next(spool),
        }
    }

    /// Syncs what the group wrote, then moves the anchor over it.
    fn make_durable(&mut self, group: &Group) -> Result<(), StoreFault> {
        if group.effects.is_empty() {
            return Ok(());
        }
        self.journal.sync()?;
        self.spool.sync()?;
        self.write_anchor()
    }

    fn write_anchor(&mut self) -> Result<(), StoreFault> {
        self.anchor.counter += 1;
        self.anchor.journal = self.journal.end();
        self.anchor.spool = self.spool.end();
        self.anchor_file.write(&self.anchor)
    }

    fn publish(&self, effects: &[Effect]) {
        if effects.is_empty() {
            return;
        }
        let mut state = self.shared.write_state();
        for effect in effects {
            state.apply(effect);
        }
        state.journal_end = self.anchor.journal;
        state.spool_end = self.anchor.spool;
    }

    fn index(&self, effects: Vec<Effect>) {
        let entries: Vec<Entry> = effects
            .into_iter()
            .filter_map(|effect| match effect {
                Effect::Records(entry) => Some(entry),
                Effect::Chunk { .. } | Effect::Drop { .. } => None,
            })
            .collect();
        if !entries.is_empty() && self.index_queue.send(entries).is_err() {
            tracing::warn!(
                "the indexing thread is gone; the index will be caught up when opened next"
            );
        }
    }

    /// Gives back the space of spool segments in which nothing is live any more.
    fn reclaim(&mut self) -> Result<(), StoreFault> {
        self.move_oldest_chunks()?;
        let first_live = self.shared.read_state().spools.first_live_segment();
        let first_kept = first_live
            .unwrap_or(self.anchor.spool.segment)
            .min(self.anchor.spool.segment);
        let old_first = self.anchor.spool_first_segment;
        if first_kept <= old_first {
            return Ok(());
        }
        // Somebody walks the segments just now; the next group tries again.
        let shared = Arc::clone(&self.shared);
        let Ok(_guard) = shared.spool_segments_in_use.try_write() else {
            return Ok(());
        };
        self.anchor.spool_first_segment = first_kept;
        // Both slots: with one of them lost, the other must not name a segment that is gone.
        self.write_anchor()?;
        self.write_anchor()?;
        self.shared.write_state().spool_first_segment = first_kept;
        for number in old_first..first_kept {
            let path = self.shared.log(LogKind::Spool).path(number);
            self.shared.forget_handle(LogKind::Spool, number);
            if let Err(error) = self.shared.files.remove(&path) {
                // Harmless: the anchor says that it is not needed, and opening removes it.
                tracing::warn!(%error, file = %path.display(), "cannot remove a spool segment");
            }
        }
        Ok(())
    }

    /// Moves the live chunks out of the oldest segment when a few of them keep much dead space.
    fn move_oldest_chunks(&mut self) -> Result<(), StoreFault> {
        let first = self.anchor.spool_first_segment;
        let span = u64::from(self.anchor.spool.segment - first + 1);
        let oldest = {
            let state = self.shared.read_state();
            let bytes_max =
                SPOOL_SPREAD_MAX * (state.spools.live_bytes() + self.spool_segment_bytes);
            if span * self.spool_segment_bytes <= bytes_max {
                return Ok(());
            }
            state.spools.in_segment(first)
        };
        let mut effects = Vec::new();
        for (spool, number, place) in oldest {
            let bytes = self.shared.read_chunk(&spool, number, place)?;
            let place = self
                .spool
                .push(&chunk::encode_chunk(&spool, number, &bytes))?;
            effects.push(Effect::Chunk {
                spool,
                number,
                place,
            });
        }
        if !effects.is_empty() {
            self.spool.sync()?;
            self.write_anchor()?;
            self.publish(&effects);
        }
        Ok(())
    }
}
