//! Checks what an Arrow table claims before its library takes it at its word.
//!
//! Layout by the Arrow columnar format, section "Serialization and Interprocess Communication":
//! each message is a mark, the length of its description, the description and a body. A file ends in an
//! index, its length and `ARROW1`; the index says where messages are.

use super::TableFault;
use arrow_ipc::{Block, Buffer, Message, RecordBatch, root_as_footer, root_as_message};

/// The mark before each message.
const MARK: [u8; 4] = [0xff; 4];

/// Most messages of one stream; a batch a second for an hour makes 3600.
const MESSAGES_MAX: usize = 1_000_000;

/// Checks each message of `stream` up to its end mark: that descriptions and bodies lie inside it,
/// buffers inside their body, and that packed buffers claim no more than `bytes_max` together.
pub(super) fn check_stream(stream: &[u8], bytes_max: u64) -> Result<(), TableFault> {
    let mut rest = stream;
    let mut claimed = 0_u64;
    for _ in 0..MESSAGES_MAX {
        let Some((mark, after)) = rest.split_at_checked(4) else {
            return Ok(());
        };
        if mark != MARK {
            return Err(TableFault::Damaged("a message without its mark"));
        }
        let Some((length, after)) = after.split_first_chunk::<4>() else {
            return Err(TableFault::Damaged("a message without its length"));
        };
        let length = usize::try_from(i32::from_le_bytes(*length))
            .map_err(|_| TableFault::Damaged("a message of negative length"))?;
        if length == 0 {
            return Ok(());
        }
        let Some((description, after)) = after.split_at_checked(length) else {
            return Err(TableFault::Damaged("a message that ends too early"));
        };
        let message = described(description)?;
        let body_length = usize::try_from(message.bodyLength())
            .map_err(|_| TableFault::Damaged("a body of negative length"))?;
        let Some((body, after)) = after.split_at_checked(body_length) else {
            return Err(TableFault::Damaged("a body that ends too early"));
        };
        claimed = claimed.saturating_add(check_message(&message, body)?);
        if claimed > bytes_max {
            return Err(TableFault::TooManyBytes);
        }
        rest = after;
    }
    Err(TableFault::Damaged("too many messages"))
}

/// Checks each message that the index of `file` names: that it lies inside the file and holds together, that
/// all of them fit into the file beside each other, and that packed buffers claim no more than `bytes_max`.
pub(super) fn check_blocks(file: &[u8], bytes_max: u64) -> Result<(), TableFault> {
    let rest = file
        .strip_suffix(b"ARROW1")
        .ok_or(TableFault::Damaged("the end of the file is missing"))?;
    let footer = rest.split_last_chunk::<4>().and_then(|(rest, length)| {
        let length = usize::try_from(i32::from_le_bytes(*length)).ok()?;
        rest.get(rest.len().checked_sub(length)?..)
    });
    let footer = footer.and_then(|footer| root_as_footer(footer).ok());
    let footer = footer.ok_or(TableFault::Damaged("an index that is none"))?;
    let (mut claimed, mut taken) = (0_u64, 0_usize);
    let dictionaries = footer.dictionaries().into_iter().flatten();
    for block in dictionaries.chain(footer.recordBatches().into_iter().flatten()) {
        let (description, body) =
            block_parts(file, block).ok_or(TableFault::Damaged("a message outside the file"))?;
        // What is named again and again would be unpacked again and again.
        taken = taken.saturating_add(description.len() + body.len());
        if taken > file.len() {
            return Err(TableFault::Damaged("messages on top of each other"));
        }
        let message = match description {
            [0xff, 0xff, 0xff, 0xff, _, _, _, _, description @ ..]
            | [_, _, _, _, description @ ..] => described(description)?,
            _ => return Err(TableFault::Damaged("a message without its length")),
        };
        claimed = claimed.saturating_add(check_message(&message, body)?);
        if claimed > bytes_max {
            return Err(TableFault::TooManyBytes);
        }
    }
    Ok(())
}

/// Returns description and body of a message.
fn block_parts<'a>(file: &'a [u8], block: &Block) -> Option<(&'a [u8], &'a [u8])> {
    let start = usize::try_from(block.offset()).ok()?;
    let description = usize::try_from(block.metaDataLength()).ok()?;
    let body = usize::try_from(block.bodyLength()).ok()?;
    let whole = file.get(start..start.checked_add(description)?.checked_add(body)?)?;
    whole.split_at_checked(description)
}

fn described(description: &[u8]) -> Result<Message<'_>, TableFault> {
    root_as_message(description)
        .map_err(|_| TableFault::Damaged("a message that describes nothing"))
}

/// Returns the bytes that the buffers of a message claim to unpack to.
fn check_message(message: &Message<'_>, body: &[u8]) -> Result<u64, TableFault> {
    let batch = match message.header_as_dictionary_batch() {
        Some(dictionary) => dictionary.data(),
        None => message.header_as_record_batch(),
    };
    batch.map_or(Ok(0), |batch| check_batch(&batch, body))
}

/// Returns the bytes that the buffers of a batch claim to unpack to.
fn check_batch(batch: &RecordBatch<'_>, body: &[u8]) -> Result<u64, TableFault> {
    let is_count = |count: i64| (0..=i64::from(i32::MAX)).contains(&count);
    let nodes = batch.nodes();
    let are_counts = nodes.iter().all(|nodes| {
        let mut nodes = nodes.iter();
        nodes.all(|node| is_count(node.length()) && is_count(node.null_count()))
    });
    if !is_count(batch.length()) || !are_counts {
        return Err(TableFault::Damaged("a batch of impossible length"));
    }
    let Some(buffers) = batch.buffers() else {
        return Ok(0);
    };
    let mut claimed = 0_u64;
    for buffer in buffers {
        let bytes = inside(buffer, body).ok_or(TableFault::Damaged("a buffer outside its body"))?;
        if batch.compression().is_none() || bytes.is_empty() {
            continue;
        }
        let Some(length) = bytes.first_chunk::<8>() else {
            return Err(TableFault::Damaged("a packed buffer without its length"));
        };
        match i64::from_le_bytes(*length) {
            -1 => {}
            length => {
                let length = u64::try_from(length)
                    .map_err(|_| TableFault::Damaged("a packed buffer of negative length"))?;
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
