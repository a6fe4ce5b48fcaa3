//! The proof that one stream is among those that a checkpoint signed.

use serde::{Deserialize, Serialize};

use crate::checkpoint::{Checkpoint, Leaf};
use crate::error::CheckpointError;
use crate::key::Verifier;
use crate::tree::{self, Digest};

const FORM: &str = "baytrim inclusion proof 1";

/// Shows that a checkpoint signed one stream with its head.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Proof {
    /// The stream with its head.
    pub leaf: Leaf,
    /// Its place among all streams, from 0.
    pub index: u64,
    /// Nodes beside the way to the root, the lowest first.
    pub path: Vec<Digest>,
    /// The checkpoint's file.
    pub checkpoint: String,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    form: String,
    stream: String,
    record_count: u64,
    head: String,
    leaf_index: u64,
    path: Vec<String>,
    checkpoint: String,
}

impl Proof {
    /// Returns the proof of leaf `index` of those that `checkpoint`, a file, signed.
    ///
    /// # Panics
    /// When there is no such leaf.
    pub fn of(leaves: &[Leaf], index: usize, checkpoint: String) -> Self {
        let hashes: Vec<_> = leaves.iter().map(Leaf::hash).collect();
        Self {
            leaf: leaves[index].clone(),
            index: index as u64,
            path: tree::inclusion_path(&hashes, index),
            checkpoint,
        }
    }

    /// Returns the file: JSON.
    ///
    /// # Panics
    /// Never: all of it can be written as JSON.
    pub fn to_file(&self) -> String {
        let file = File {
            form: FORM.to_owned(),
            stream: self.leaf.stream.clone(),
            record_count: self.leaf.count,
            head: hex(&self.leaf.head),
            leaf_index: self.index,
            path: self.path.iter().map(hex).collect(),
            checkpoint: self.checkpoint.clone(),
        };
        let text = serde_json::to_string_pretty(&file).expect("texts and numbers");
        text + "\n"
    }

    /// Returns the proof that a file holds.
    ///
    /// # Errors
    /// When it holds none.
    pub fn parse(text: &str) -> Result<Self, CheckpointError> {
        let refuse = |problem: String| CheckpointError::form("inclusion proof", problem);
        let file: File = serde_json::from_str(text).map_err(|error| refuse(error.to_string()))?;
        if file.form != FORM {
            return Err(refuse(format!("its form is {:?}", file.form)));
        }
        let digest =
            |text: &String| unhex(text).ok_or_else(|| refuse(format!("{text:?} is no hash")));
        Ok(Self {
            leaf: Leaf {
                head: digest(&file.head)?,
                stream: file.stream,
                count: file.record_count,
            },
            index: file.leaf_index,
            path: file.path.iter().map(digest).collect::<Result<_, _>>()?,
            checkpoint: file.checkpoint,
        })
    }

    /// Returns the checkpoint once its signature is found good and the path to lead to its root.
    ///
    /// # Errors
    /// When something of it does not hold.
    pub fn check(&self, verifier: &Verifier) -> Result<Checkpoint, CheckpointError> {
        let checkpoint = Checkpoint::open(&self.checkpoint, verifier)?;
        let hash = self.leaf.hash();
        let root = tree::root_of_path(&hash, self.index, checkpoint.stream_count, &self.path);
        if root == Some(checkpoint.root) {
            return Ok(checkpoint);
        }
        Err(CheckpointError::NotIncluded {
            stream: self.leaf.stream.clone(),
            count: self.leaf.count,
            head: hex(&self.leaf.head),
        })
    }
}

fn hex(digest: &Digest) -> String {
    digest
        .iter()
        .fold(String::new(), |text, byte| text + &format!("{byte:02x}"))
}

fn unhex(text: &str) -> Option<Digest> {
    let is_good = |byte: u8| byte.is_ascii_digit() || (b'a'..=b'f').contains(&byte);
    if text.len() != 64 || !text.bytes().all(is_good) {
        return None;
    }
    let mut digest = [0; 32];
    for (at, byte) in digest.iter_mut().enumerate() {
        *byte = u8::from_str_radix(&text[2 * at..2 * at + 2], 16).ok()?;
    }
    Some(digest)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::key::Signer;

    /// If this fails, a job that was signed can't be shown to be so, or another one can.
    #[test]
    fn holds_for_what_was_signed_only() {
        let leaves: Vec<_> = (0..5u8)
            .map(|number| Leaf {
                stream: format!("job/j-{number}"),
                count: 3,
                head: [number; 32],
            })
            .collect();
        let signer = Signer::new("baytrim", &[1; 32]);
        let checkpoint = Checkpoint::of(1, "2026-11-26T12:00:00Z".to_owned(), &leaves);
        let file = checkpoint.seal(&signer);
        for index in 0..leaves.len() {
            let proof = Proof::of(&leaves, index, file.clone());
            assert_eq!(Proof::parse(&proof.to_file()).as_ref(), Ok(&proof));
            assert_eq!(proof.check(signer.verifier()).as_ref(), Ok(&checkpoint));
            let mut other = proof.clone();
            other.leaf.count += 1;
            assert!(other.check(signer.verifier()).is_err());
            let mut other = proof.clone();
            other.leaf.stream.push('x');
            assert!(other.check(signer.verifier()).is_err());
            let mut other = proof;
            other.leaf.head[31] ^= 1;
            assert!(other.check(signer.verifier()).is_err());
        }
    }
}
