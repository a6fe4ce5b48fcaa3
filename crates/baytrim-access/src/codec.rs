//! The bytes of the shop's records: one JSON object each, so that a stranger can read them.

use baytrim_model::record::RECORD_VERSION;
use baytrim_model::shop::ShopRecord;

/// Why bytes are not a record of the shop.
#[derive(Debug, thiserror::Error)]
pub enum DecodeError {
    /// They are not the JSON that a record is.
    #[error("the bytes are not a record of the shop")]
    Malformed(#[source] serde_json::Error),
    /// They were written by a later program.
    #[error(
        "the record has version {found}, this program reads up to {RECORD_VERSION}; use the program that wrote it, or a later one"
    )]
    TooNew {
        /// The version found.
        found: u16,
    },
}

/// Returns the bytes of a record. The same record gives the same bytes, and [`decode`] gives it back.
///
/// # Panics
/// Never: a record's keys are text and it holds no numbers that JSON can't write.
pub fn encode(record: &ShopRecord) -> Vec<u8> {
    serde_json::to_vec(record).expect("keys are text")
}

/// Returns the record that `bytes` hold.
///
/// # Errors
/// When they are not one, or one of a later version.
pub fn decode(bytes: &[u8]) -> Result<ShopRecord, DecodeError> {
    #[derive(serde::Deserialize)]
    struct Version {
        version: u16,
    }
    let Version { version } = serde_json::from_slice(bytes).map_err(DecodeError::Malformed)?;
    if version > RECORD_VERSION {
        return Err(DecodeError::TooNew { found: version });
    }
    serde_json::from_slice(bytes).map_err(DecodeError::Malformed)
}
