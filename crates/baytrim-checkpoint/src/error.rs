//! Why something is no proof.

/// Says why a checkpoint, a key or a proof can't be believed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum CheckpointError {
    /// The text is none of this form.
    #[error("this is no {what}: {problem}; take the file as it was written, byte for byte")]
    Form {
        /// What it should be.
        what: &'static str,
        /// What is wrong with it.
        problem: String,
    },
    /// The key that is given signed nothing of it.
    #[error(
        "no signature in it is by the key {key}; it is by {found}: another shop's, or of another key"
    )]
    OtherKey {
        /// Name and identifier of the key that is given.
        key: String,
        /// Those of the signatures that are there.
        found: String,
    },
    /// The signature is not that of this text.
    #[error(
        "the signature does not fit the text: a byte was changed, or somebody without the key wrote it"
    )]
    Signature,
    /// The path does not lead to the root that was signed.
    #[error("{stream} with {count} records and the head {head} is not what the checkpoint signed")]
    NotIncluded {
        /// The stream.
        stream: String,
        /// Its records.
        count: u64,
        /// Hash of the last one, hexadecimal.
        head: String,
    },
}

impl CheckpointError {
    /// Returns the error of a text that is no `what`.
    pub(crate) fn form(what: &'static str, problem: impl Into<String>) -> Self {
        Self::Form {
            what,
            problem: problem.into(),
        }
    }
}
