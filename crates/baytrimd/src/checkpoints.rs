//! Signed checkpoints of the whole ledger: made on command and by the clock, kept among its records.

mod every;
mod history;
mod keep;
mod key;
#[cfg(test)]
mod tests;

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use baytrim_checkpoint::{Checkpoint, CheckpointError, Leaf, Proof, Signer, Verifier};
use baytrim_ledger::{Hash, Store, StoreFault};
use baytrim_model::ids::UnixMillis;

use crate::fault::{Fault, InternalFault};

pub use every::every;
pub use history::{check, fold};
pub use keep::make;
pub use key::{KEY_FILE, KeyError, establish};

/// Name of the stream that holds the checkpoints.
pub const CHECKPOINT_STREAM: &str = "checkpoints";

/// Name of the daemon's key; what sets keys of one name apart is their identifier.
pub const KEY_NAME: &str = "baytrim";

/// How checkpoints are made.
#[derive(Debug, Clone, Default)]
pub struct Checkpointing {
    /// The key; without one, none are made.
    pub signer: Option<Arc<Signer>>,
    /// How often one is made by itself; none: never.
    pub every: Option<Duration>,
    /// Where each of those is written as a file too.
    pub directory: Option<PathBuf>,
}

/// Why a checkpoint can't be made, or proves nothing.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum CheckpointFault {
    /// The daemon has no key.
    #[error("this daemon has no key to sign with; start it with a data directory")]
    NoKey,
    /// There is no such checkpoint.
    #[error(
        "the ledger has {count} checkpoints, none of number {number}; leave the number out to take the last, or make one (`baytrim ledger checkpoint`)"
    )]
    Unknown {
        /// The number asked for; 0: the last.
        number: u64,
        /// Checkpoints that there are.
        count: u64,
    },
    /// The job was not there yet.
    #[error(
        "checkpoint {number} was made before there was a job {job}; make a new one (`baytrim ledger checkpoint`)"
    )]
    WithoutJob {
        /// The job.
        job: String,
        /// The checkpoint.
        number: u64,
    },
    /// What was sent is none, or can't be believed.
    #[error(transparent)]
    Invalid(#[from] CheckpointError),
}

/// A checkpoint that the ledger holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sealed {
    /// What it says.
    pub checkpoint: Checkpoint,
    /// Its file.
    pub file: String,
    /// The key that it is checked with.
    pub key: Verifier,
}

/// All heads that a checkpoint signed, by stream.
pub type Heads = BTreeMap<String, (u64, Hash)>;

/// Returns heads as the leaves of a tree.
pub fn leaves(heads: &Heads) -> Vec<Leaf> {
    let leaf = |(stream, (count, head)): (&String, &(u64, Hash))| Leaf {
        stream: stream.clone(),
        count: *count,
        head: head.0,
    };
    heads.iter().map(leaf).collect()
}

/// Returns the proof that a checkpoint signed a job's stream; number 0 takes the last.
///
/// # Errors
/// [`CheckpointFault`], or the store's fault.
pub fn prove(store: &dyn Store, stream: &str, job: &str, number: u64) -> Result<Proof, Fault> {
    let mut found = None;
    let history = fold(store, &mut |sealed, heads| {
        if number == 0 || sealed.checkpoint.number == number {
            found = Some((sealed.clone(), leaves(heads)));
        }
        Ok(())
    })?;
    let count = history.count;
    let (sealed, leaves) = found.ok_or(CheckpointFault::Unknown { number, count })?;
    let index = leaves.iter().position(|leaf| leaf.stream == stream);
    let index = index.ok_or_else(|| CheckpointFault::WithoutJob {
        job: job.to_owned(),
        number: sealed.checkpoint.number,
    })?;
    Ok(Proof::of(&leaves, index, sealed.file))
}

/// Returns what in the ledger is not as a checkpoint that was kept elsewhere signed it; none where all is. The
/// ledger's own checkpoints must have been found good ([`check`]): then one that is the same proves all.
///
/// Without a key that of the ledger is believed.
///
/// # Errors
/// [`CheckpointFault::Invalid`] where the file is none, or is signed by another key.
pub fn compare(
    store: &dyn Store,
    file: &str,
    key: Option<&Verifier>,
) -> Result<Option<String>, Fault> {
    let claimed = Checkpoint::read_unproven(file).map_err(CheckpointFault::from)?;
    let mut ours = None;
    let history = fold(store, &mut |sealed, _| {
        if sealed.checkpoint.number == claimed.number {
            ours = Some(sealed.clone());
        }
        Ok(())
    })?;
    let number = claimed.number;
    let Some(ours) = ours else {
        if let Some(key) = key.or(history.key.as_ref()) {
            Checkpoint::open(file, key).map_err(CheckpointFault::from)?;
        }
        return Ok(Some(format!(
            "the ledger has {} checkpoints, and this one of {} is number {number}: records were dropped from its end, or it is another ledger; compare with a backup",
            history.count, claimed.time
        )));
    };
    Checkpoint::open(file, key.unwrap_or(&ours.key)).map_err(CheckpointFault::from)?;
    if ours.checkpoint == claimed {
        return Ok(None);
    }
    Ok(Some(format!(
        "fork: checkpoint {number} of the ledger is of {} and has another root than this one of {}: history was written anew after it was signed; compare with a backup",
        ours.checkpoint.time, claimed.time
    )))
}

/// Returns a moment as RFC 3339 writes it, to the second.
fn moment(at: UnixMillis) -> String {
    let seconds = jiff::Timestamp::from_second(at.0.div_euclid(1000));
    seconds.map_or_else(|_| "unknown".to_owned(), |time| time.to_string())
}

impl From<CheckpointFault> for Fault {
    fn from(fault: CheckpointFault) -> Self {
        Self::Checkpoint(Box::new(fault))
    }
}

/// Returns the fault of a record of checkpoints that can't be read.
fn unreadable(seq: u64, source: impl Into<Box<dyn std::error::Error + Send + Sync>>) -> Fault {
    let what = format!("record {seq} of {CHECKPOINT_STREAM}");
    let source = source.into();
    InternalFault::Decode { what, source }.into()
}

/// Returns the store's fault that a check can go on from.
fn store_fault(fault: Fault) -> Result<String, StoreFault> {
    match fault {
        Fault::Internal(fault) => match *fault {
            InternalFault::Store(fault) => Err(fault),
            other => Ok(told(&other)),
        },
        other => Ok(told(&other)),
    }
}

fn told(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut source = error.source();
    while let Some(cause) = source {
        text = format!("{text}: {cause}");
        source = cause.source();
    }
    text + "; compare with a backup"
}
