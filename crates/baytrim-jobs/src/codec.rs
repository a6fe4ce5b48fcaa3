//! The bytes of records: one JSON object each, so that a stranger can read them.

use baytrim_model::record::{RECORD_VERSION, StreamRecord};
use serde::Serialize;
use serde::de::DeserializeOwned;

/// Why bytes are not a record of the kind wanted.
#[derive(Debug, thiserror::Error)]
pub enum DecodeError {
    /// They are not the JSON that a record is.
    #[error("the bytes are not a record of the kind that its stream holds")]
    Malformed(#[source] serde_json::Error),
    /// They are JSON, and hold what this program does not know.
    #[error(
        "the record holds what this program does not know; use the program that wrote it, or a later one"
    )]
    Unknown(#[source] serde_json::Error),
    /// They were written by a later program.
    #[error(
        "the record has version {found}, this program reads up to {RECORD_VERSION}; use the program that wrote it, or a later one"
    )]
    TooNew {
        /// The version found.
        found: u16,
    },
}

/// A record that could not be read back, and so must not be written: a number in it is not finite.
#[derive(Debug, thiserror::Error)]
#[error("the record could not be read back: a number in it is not finite; nothing was written")]
pub struct EncodeError;

/// Returns the bytes of a record. The same record gives the same bytes, and [`decode`] gives it back.
///
/// # Errors
/// When the bytes would not read back as the very record.
pub fn encode<E>(record: &StreamRecord<E>) -> Result<Vec<u8>, EncodeError>
where
    E: Serialize + DeserializeOwned + PartialEq,
{
    let bytes = serde_json::to_vec(record).map_err(|_| EncodeError)?;
    // JSON writes what is not finite as null: better found now than by whoever opens the job next.
    match decode(&bytes) {
        Ok(back) if back == *record => Ok(bytes),
        _ => Err(EncodeError),
    }
}

/// Returns the record that `bytes` hold.
///
/// # Errors
/// When they are not one, one of a later version, or one that holds what this program does not know.
pub fn decode<E: DeserializeOwned>(bytes: &[u8]) -> Result<StreamRecord<E>, DecodeError> {
    #[derive(serde::Deserialize)]
    struct Version {
        version: u16,
    }
    let Version { version } = serde_json::from_slice(bytes).map_err(DecodeError::Malformed)?;
    if version > RECORD_VERSION {
        return Err(DecodeError::TooNew { found: version });
    }
    // What is not known is never left out: a decision on the rest would be another one than was recorded.
    serde_json::from_slice(bytes).map_err(DecodeError::Unknown)
}
