//! What is signed.

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD as BASE64;

use crate::error::CheckpointError;
use crate::key::{Signer, Verifier};
use crate::note;
use crate::tree::{self, Digest};

const FIRST_LINE: &str = "baytrim checkpoint 1";

/// Is one stream with its head.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Leaf {
    /// The stream's name.
    pub stream: String,
    /// Records in it.
    pub count: u64,
    /// Hash of the last one.
    pub head: Digest,
}

impl Leaf {
    /// Returns the hash of the leaf, over: length of the name (u32, little-endian), the name, the count (u64,
    /// little-endian), the hash of the last record.
    pub fn hash(&self) -> Digest {
        let length = u32::try_from(self.stream.len()).unwrap_or(u32::MAX);
        let parts = [
            &length.to_le_bytes()[..],
            self.stream.as_bytes(),
            &self.count.to_le_bytes(),
            &self.head,
        ];
        tree::leaf_hash(&parts.concat())
    }
}

/// Is what a ledger held at one moment, in few words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Checkpoint {
    /// Its number among those of the ledger, from 1.
    pub number: u64,
    /// When, by the daemon's clock, as RFC 3339 writes it.
    pub time: String,
    /// Streams in the ledger.
    pub stream_count: u64,
    /// Records in all of them.
    pub record_count: u64,
    /// Root over the streams in byte order of their names.
    pub root: Digest,
}

impl Checkpoint {
    /// Returns the checkpoint over `leaves`, which are in byte order of their streams' names.
    pub fn of(number: u64, time: String, leaves: &[Leaf]) -> Self {
        debug_assert!(leaves.is_sorted_by(|one, next| one.stream < next.stream));
        let hashes: Vec<_> = leaves.iter().map(Leaf::hash).collect();
        Self {
            number,
            time,
            stream_count: leaves.len() as u64,
            record_count: leaves.iter().map(|leaf| leaf.count).sum(),
            root: tree::root(&hashes),
        }
    }

    /// Returns the file: the text and its signature.
    pub fn seal(&self, signer: &Signer) -> String {
        note::seal(&self.text(), signer)
    }

    /// Returns what a file says once its signature by `verifier` is found good.
    ///
    /// # Errors
    /// When it is no checkpoint, or not signed by that key.
    pub fn open(file: &str, verifier: &Verifier) -> Result<Self, CheckpointError> {
        Self::parse(note::open(file, verifier)?)
    }

    /// Returns what a file says, believing it.
    ///
    /// # Errors
    /// When it is no checkpoint.
    pub fn read_unproven(file: &str) -> Result<Self, CheckpointError> {
        Self::parse(note::parts(file)?.0)
    }

    fn text(&self) -> String {
        format!(
            "{FIRST_LINE}\nnumber {}\ntime {}\nstreams {}\nrecords {}\nroot {}\n",
            self.number,
            self.time,
            self.stream_count,
            self.record_count,
            BASE64.encode(self.root)
        )
    }

    fn parse(text: &str) -> Result<Self, CheckpointError> {
        let refuse = |problem: &str| CheckpointError::form("checkpoint", problem);
        let mut lines = text.lines();
        if lines.next() != Some(FIRST_LINE) {
            return Err(refuse("its first line is not that of one"));
        }
        let mut field = |name: &str| {
            let line = lines.next()?.strip_prefix(name)?;
            line.strip_prefix(' ')
        };
        let missing = || refuse("a line is missing or in another place");
        let number = |text: &str| text.parse().map_err(|_| refuse("a number can't be read"));
        let read = Self {
            number: number(field("number").ok_or_else(missing)?)?,
            time: field("time").ok_or_else(missing)?.to_owned(),
            stream_count: number(field("streams").ok_or_else(missing)?)?,
            record_count: number(field("records").ok_or_else(missing)?)?,
            root: {
                let bytes = BASE64.decode(field("root").ok_or_else(missing)?).ok();
                let root = bytes.and_then(|bytes| bytes.try_into().ok());
                root.ok_or_else(|| refuse("its root is not 32 bytes"))?
            },
        };
        // One way to write it: what comes after, leading zeros and the like are refused.
        if read.text() != text {
            return Err(refuse("it is not written as one is"));
        }
        Ok(read)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// If this fails, checkpoints that were written can't be read again, or mean something else.
    #[test]
    fn is_read_as_it_was_written() {
        let leaf = |stream: &str, count| Leaf {
            stream: stream.to_owned(),
            count,
            head: [9; 32],
        };
        let leaves = [leaf("job/a", 3), leaf("job/b", 4), leaf("shop", 5)];
        let checkpoint = Checkpoint::of(7, "2026-11-26T12:00:00Z".to_owned(), &leaves);
        assert_eq!((checkpoint.stream_count, checkpoint.record_count), (3, 12));
        let signer = Signer::new("baytrim", &[1; 32]);
        let file = checkpoint.seal(&signer);
        assert_eq!(
            Checkpoint::open(&file, signer.verifier()).as_ref(),
            Ok(&checkpoint)
        );
        assert_eq!(Checkpoint::read_unproven(&file), Ok(checkpoint));
        assert!(file.len() < 400, "{}", file.len());
    }
}
