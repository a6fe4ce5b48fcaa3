//! One round of removing: what may go is found first, without holding anybody up, then looked at once more and removed
//! while nothing is recorded.

use std::collections::{BTreeMap, BTreeSet};

use baytrim_jobs::JobState;
use baytrim_ledger::{BlobId, Head, Store, StreamName};
use baytrim_model::ids::UnixMillis;
use serde::Deserialize;

use super::{DAY_MS, Removal, RemovedBlob, RemovedLog, Rules, VERSION, note};
use crate::evidence;
use crate::fault::Fault;
use crate::limits::REMOVED_AT_ONCE;
use crate::shop::{JOB_PREFIX, Shop, fold};

/// What all live pulls' spools are called.
const LIVE_PREFIX: &str = "live/";
/// Names that are listed at a time.
const READ_NAMES: usize = 256;

/// What one round removed.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Swept {
    /// Raw logs.
    pub logs: usize,
    /// Blobs that no record named.
    pub unnamed: usize,
    /// Live pulls that nobody finished.
    pub live_pulls: usize,
    /// Bytes of those logs and blobs.
    pub bytes: u64,
}

/// A blob as the records name it.
#[derive(Debug, Default)]
struct Named {
    /// When the last pull that it is the log of was recorded.
    latest: Option<UnixMillis>,
    pulls: Vec<String>,
    /// The evidence of those pulls; empty for evidence itself.
    evidence: Vec<String>,
    /// Whether some record names it as something else than a log.
    is_evidence: bool,
}

/// What all jobs name, and the heads that they were read up to.
#[derive(Debug, Default)]
struct Names {
    blobs: BTreeMap<BlobId, Named>,
    heads: BTreeMap<StreamName, Head>,
}

impl Names {
    /// Takes in every job whose records have moved on.
    fn read(&mut self, store: &dyn Store) -> Result<(), Fault> {
        let mut after = None;
        loop {
            let listed = store.streams(JOB_PREFIX, after.as_ref(), READ_NAMES)?;
            for (stream, head) in &listed {
                if self.heads.get(stream) == Some(head) {
                    continue;
                }
                if let Some(job) = fold::<JobState>(store, stream)? {
                    self.take(&job.state);
                    self.heads.insert(stream.clone(), job.head);
                }
            }
            match listed.into_iter().next_back() {
                Some((last, _)) => after = Some(last),
                None => return Ok(()),
            }
        }
    }

    fn take(&mut self, job: &JobState) {
        for entry in &job.pulls {
            let record = &entry.record;
            if let Ok(id) = record.log_blob.parse::<BlobId>() {
                let named = self.blobs.entry(id).or_default();
                named.latest = named.latest.max(Some(entry.at));
                let name = format!("jobs/{}/pulls/{}", job.id(), record.id);
                if !named.pulls.contains(&name) {
                    named.pulls.push(name);
                    named.evidence.push(record.evidence_blob.clone());
                }
            }
            if let Ok(id) = record.evidence_blob.parse::<BlobId>() {
                self.blobs.entry(id).or_default().is_evidence = true;
            }
        }
    }

    /// Returns whether a blob is a raw log whose last pull is older than `before`.
    fn is_old_log(&self, id: &BlobId, before: UnixMillis) -> bool {
        self.blobs.get(id).is_some_and(|named| {
            !named.is_evidence && named.latest.is_some_and(|latest| latest < before)
        })
    }
}

/// Removes by rule, round after round.
#[derive(Debug)]
pub struct Sweeper {
    rules: Rules,
    /// What no record named a round before: only that goes, since a log is written before the record that names it.
    unnamed: BTreeSet<BlobId>,
}

impl Sweeper {
    /// Returns one that has seen nothing yet.
    pub fn new(rules: Rules) -> Self {
        Self {
            rules,
            unnamed: BTreeSet::new(),
        }
    }

    /// Does one round, at the moment that `now` tells.
    ///
    /// # Errors
    /// The store's fault; what was removed before it is written down.
    pub fn round(&mut self, shop: &Shop, now: UnixMillis) -> Result<Swept, Fault> {
        let store = &**shop.store();
        let mut names = Names::default();
        names.read(store)?;
        let mut swept = Swept::default();
        let (mut logs, mut unnamed, mut seen) = (Vec::new(), Vec::new(), BTreeSet::new());
        let before = |days: u64| {
            let days = i64::try_from(days).unwrap_or(i64::MAX);
            UnixMillis(now.0.saturating_sub(days.saturating_mul(DAY_MS)))
        };
        for (id, bytes) in all_blobs(store)? {
            if let Some(days) = self.rules.raw_logs_days
                && names.is_old_log(&id, before(days))
                && is_evidence_kept(store, &names.blobs[&id])?
            {
                logs.push((id, bytes));
            }
            if self.rules.unfinished_days.is_some() && !names.blobs.contains_key(&id) {
                seen.insert(id);
                if self.unnamed.contains(&id) {
                    unnamed.push((id, bytes));
                }
            }
        }
        self.unnamed = seen;
        let mut live_pulls = match self.rules.unfinished_days {
            Some(days) => unfinished(store, before(days))?,
            None => Vec::new(),
        };
        while !(logs.is_empty() && unnamed.is_empty() && live_pulls.is_empty()) {
            let few = Few {
                logs: take(&mut logs),
                unnamed: take(&mut unnamed),
                live_pulls: take(&mut live_pulls),
            };
            // Whoever records holds this for reading; nobody waits for us.
            let Some(_nobody_records) = shop.blobs_for_removal() else {
                tracing::debug!("pulls are being recorded; the rest is removed in the next round");
                break;
            };
            names.read(store)?;
            remove(
                store,
                &names,
                few,
                (now, self.rules.raw_logs_days.map(before)),
                &mut swept,
            )?;
        }
        Ok(swept)
    }
}

/// Some of what may go.
struct Few {
    logs: Vec<(BlobId, u64)>,
    unnamed: Vec<(BlobId, u64)>,
    live_pulls: Vec<StreamName>,
}

fn take<T>(all: &mut Vec<T>) -> Vec<T> {
    all.split_off(all.len().saturating_sub(REMOVED_AT_ONCE))
}

/// Writes down what goes, then removes it; what a record has named meanwhile stays.
fn remove(
    store: &dyn Store,
    names: &Names,
    mut few: Few,
    (now, before): (UnixMillis, Option<UnixMillis>),
    swept: &mut Swept,
) -> Result<(), Fault> {
    few.logs
        .retain(|(id, _)| before.is_some_and(|before| names.is_old_log(id, before)));
    few.unnamed.retain(|(id, _)| !names.blobs.contains_key(id));
    let logs = few.logs.iter().map(|(id, bytes)| RemovedLog {
        sha256: id.to_string(),
        bytes: *bytes,
        pulls: names.blobs[id].pulls.clone(),
    });
    let unnamed = few.unnamed.iter().map(|(id, bytes)| RemovedBlob {
        sha256: id.to_string(),
        bytes: *bytes,
    });
    let removal = Removal {
        version: VERSION,
        at: now,
        logs: logs.collect(),
        unnamed: unnamed.collect(),
        live_pulls: few.live_pulls.iter().map(ToString::to_string).collect(),
    };
    if few.logs.is_empty() && few.unnamed.is_empty() && few.live_pulls.is_empty() {
        return Ok(());
    }
    note(store, &removal)?;
    for (id, bytes) in few.logs.iter().chain(&few.unnamed) {
        store.remove_blob(id)?;
        swept.bytes += bytes;
    }
    for spool in &few.live_pulls {
        store.spool_drop(spool)?;
    }
    swept.logs += few.logs.len();
    swept.unnamed += few.unnamed.len();
    swept.live_pulls += few.live_pulls.len();
    Ok(())
}

fn all_blobs(store: &dyn Store) -> Result<Vec<(BlobId, u64)>, Fault> {
    let mut all: Vec<(BlobId, u64)> = Vec::new();
    loop {
        let after = all.last().map(|(id, _)| *id);
        let listed = store.blobs(after.as_ref(), READ_NAMES)?;
        if listed.is_empty() {
            return Ok(all);
        }
        all.extend(listed);
    }
}

/// A log goes only while proposals can do without it: the evidence of each of its pulls is there and can be read.
fn is_evidence_kept(store: &dyn Store, named: &Named) -> Result<bool, Fault> {
    for evidence in &named.evidence {
        if !evidence::is_kept(store, evidence)? {
            return Ok(false);
        }
    }
    Ok(true)
}

/// Returns the spools of live pulls that were opened before a moment.
fn unfinished(store: &dyn Store, before: UnixMillis) -> Result<Vec<StreamName>, Fault> {
    #[derive(Deserialize)]
    struct Opened {
        opened_at: UnixMillis,
    }
    let mut found = Vec::new();
    for (spool, _) in store.spools()? {
        if !spool.as_str().starts_with(LIVE_PREFIX) {
            continue;
        }
        let header = store.spool_read(&spool, 0, 1)?;
        let header = header.first().map(|(_, chunk)| chunk.as_slice());
        let opened = header.and_then(|chunk| serde_json::from_slice::<Opened>(chunk).ok());
        if opened.is_some_and(|opened| opened.opened_at < before) {
            found.push(spool);
        }
    }
    Ok(found)
}
