//! Checks what an Arrow stream claims before its library takes it at its word.
//!
//! Layout by the Arrow columnar format, section "Serialization and Interprocess Communication":
//! each message is a mark, the length of its description, the description and a body.

use arrow_ipc::{Buffer, RecordBatch, root_as_message};

/// The mark before each message.
const MARK: [u8; 4] = [0xff; 4];

/// Most messages of one stream; a batch a second for an hour makes 3600.
const MESSAGES_MAX: usize = 1_000_000;

/// What is wrong with a stream.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum StreamFault {
    /// It claims to unpack to more than it may.
    TooManyBytes,
    /// It does not hold together.
    Damaged(&'static str),
}

/// Checks each message of `stream` up to its end mark: that descriptions and bodies lie inside it,
/// buffers inside their body, and that packed buffers claim no more than `bytes_max` together.
pub(super) fn check_stream(stream: &[u8], bytes_max: u64) -> Result<(), StreamFault> {
    let mut rest = stream;
    let mut claimed = 0_u64;
    for _ in 0..MESSAGES_MAX {
        let Some((mark, after)) = rest.split_at_checked(4) else {
            return Ok(());
        };
        if mark != MARK {
            return Err(StreamFault::Damaged("a message without its mark"));
        }
        let Some((length, after)) = after.split_first_chunk::<4>() else {
            return Err(StreamFault::Damaged("a message without its length"));
        };
        let length = usize::try_from(i32::from_le_bytes(*length))
            .map_err(|_| StreamFault::Damaged("a message of negative length"))?;
        if length == 0 {
            return Ok(());
        }
        let Some((description, after)) = after.split_at_checked(length) else {
            return Err(StreamFault::Damaged("a message that ends too early"));
        };
        let message = root_as_message(description)
            .map_err(|_| StreamFault::Damaged("a message that describes nothing"))?;
        let body_length = usize::try_from(message.bodyLength())
            .map_err(|_| StreamFault::Damaged("a body of negative length"))?;
        let Some((body, after)) = after.split_at_checked(body_length) else {
            return Err(StreamFault::Damaged("a body that ends too early"));
        };
        let batch = match message.header_as_dictionary_batch() {
            Some(dictionary) => dictionary.data(),
            None => message.header_as_record_batch(),
        };
        if let Some(batch) = batch {
            claimed = claimed.saturating_add(check_batch(&batch, body)?);
            if claimed > bytes_max {
                return Err(StreamFault::TooManyBytes);
            }
        }
        rest = after;
    }
    Err(StreamFault::Damaged("too many messages"))
}

/// Returns the bytes that the buffers of a batch claim to unpack to.
fn check_batch(batch: &RecordBatch<'_>, body: &[u8]) -> Result<u64, StreamFault> {
    let is_count = |count: i64| (0..=i64::from(i32::MAX)).contains(&count);
    let nodes = batch.nodes();
    let are_counts = nodes.iter().all(|nodes| {
        let mut nodes = nodes.iter();
        nodes.all(|node| is_count(node.length()) && is_count(node.null_count()))
    });
    if !is_count(batch.length()) || !are_counts {
        return Err(StreamFault::Damaged("a batch of impossible length"));
    }
    let Some(buffers) = batch.buffers() else {
        return Ok(0);
    };
    let mut claimed = 0_u64;
    for buffer in buffers {
        let bytes =
            inside(buffer, body).ok_or(StreamFault::Damaged("a buffer outside its body"))?;
        if batch.compression().is_none() || bytes.is_empty() {
            continue;
        }
        let Some(length) = bytes.first_chunk::<8>() else {
            return Err(StreamFault::Damaged("a packed buffer without its length"));
        };
        match i64::from_le_bytes(*length) {
            -1 => {}
            length => {
                let length = u64::try_from(length)
                    .map_err(|_| StreamFault::Damaged("a packed buffer of negative length"))?;
                claimed = claimed.saturating_add(length);
            }
        }
    }
    Ok(claimed)
}

fn inside<'a>(buffer: &Buffer, body: &'a [u8]) -> Option<&'a [u8]> {
    let start = usize::try_from(buffer.offset()).ok()?;
    let length = usize::try_from(buffer.length()).ok()?;
    body.get(start..start.checked_add(length)?)
}
