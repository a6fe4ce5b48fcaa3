//! Checkpoints for scripts.

use baytrim_api::v1::{Checkpoint, GetCheckpointProofResponse};
use serde::Serialize;

use crate::command::checkpoint::Checked;

/// A checkpoint that was written into a file.
#[derive(Debug, Serialize)]
pub(crate) struct CheckpointJson<'a> {
    number: u64,
    time: &'a str,
    created: bool,
    stream_count: u64,
    record_count: u64,
    root: &'a str,
    key: &'a str,
    file: &'a str,
}

/// A proof that was written into a file.
#[derive(Debug, Serialize)]
pub(crate) struct ProofJson<'a> {
    job: &'a str,
    record_count: u64,
    head: &'a str,
    file: &'a str,
}

/// What a file proves.
#[derive(Debug, Serialize)]
pub(crate) struct CheckedJson<'a> {
    holds: bool,
    key: &'a str,
    problem: Option<String>,
    number: Option<u64>,
    time: Option<String>,
    stream: Option<String>,
    record_count: Option<u64>,
}

impl<'a> CheckpointJson<'a> {
    /// Returns a checkpoint that went to `file`.
    pub(crate) fn new(checkpoint: &'a Checkpoint, created: bool, file: &'a str) -> Self {
        Self {
            number: checkpoint.number,
            time: &checkpoint.time,
            created,
            stream_count: checkpoint.stream_count,
            record_count: checkpoint.record_count,
            root: &checkpoint.root,
            key: &checkpoint.key,
            file,
        }
    }
}

impl<'a> ProofJson<'a> {
    /// Returns a proof that went to `file`.
    pub(crate) fn new(job: &'a str, proof: &'a GetCheckpointProofResponse, file: &'a str) -> Self {
        Self {
            job,
            record_count: proof.record_count,
            head: &proof.head,
            file,
        }
    }
}

impl<'a> CheckedJson<'a> {
    /// Returns what was found.
    pub(crate) fn new(key: &'a str, checked: &Checked) -> Self {
        let good = checked.as_ref().ok();
        let proof = good.and_then(|(_, proof)| proof.as_ref());
        Self {
            holds: good.is_some(),
            key,
            problem: checked.as_ref().err().map(ToString::to_string),
            number: good.map(|(checkpoint, _)| checkpoint.number),
            time: good.map(|(checkpoint, _)| checkpoint.time.clone()),
            stream: proof.map(|proof| proof.leaf.stream.clone()),
            record_count: match proof {
                Some(proof) => Some(proof.leaf.count),
                None => good.map(|(checkpoint, _)| checkpoint.record_count),
            },
        }
    }
}
