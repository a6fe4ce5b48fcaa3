//! Writes a ledger's journal and anchor as docs/ledger-format.md says it, with none of the store's code: for tests
//! that play whoever can write to the directory and knows the format.

use std::fs;
use std::path::Path;

use sha2::{Digest, Sha256};

const SEGMENT: &str = "journal/0000000001.seg";
const SEGMENT_HEADER_BYTES: usize = 68;
const FRAME_HEADER_BYTES: usize = 48;
const ANCHOR_SLOTS: [usize; 2] = [0, 4096];
/// Where in a slot the journal's position stands, and how long the slot is.
const POSITION_AT: usize = 24;
const SLOT_BYTES: usize = 132;

/// A frame as it is in the file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Frame {
    header: [u8; FRAME_HEADER_BYTES],
    pub(crate) payload: Vec<u8>,
}

/// How much of the form somebody makes good after a change.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Skill {
    /// Frames are moved as they are.
    Cuts,
    /// The anchor is written anew too, so that the journal's end is where it says.
    Anchors,
    /// Frames are numbered, chained and summed anew, and anchored.
    Chains,
}

/// Returns the frames of a ledger of one segment.
pub(crate) fn frames(dir: &Path) -> Vec<Frame> {
    let file = fs::read(dir.join(SEGMENT)).expect("the one segment");
    let mut rest = &file[SEGMENT_HEADER_BYTES..];
    let mut frames = Vec::new();
    while let Some((header, after)) = rest.split_first_chunk::<FRAME_HEADER_BYTES>() {
        let length = u32::from_le_bytes(header[..4].try_into().expect("four bytes"));
        let (payload, after) = after.split_at(usize::try_from(length).expect("small"));
        frames.push(Frame {
            header: *header,
            payload: payload.to_vec(),
        });
        rest = after;
    }
    frames
}

/// Writes `frames` in place of those that the ledger has.
pub(crate) fn forge(dir: &Path, frames: &[Frame], skill: Skill) {
    let path = dir.join(SEGMENT);
    let mut file = fs::read(&path).expect("the one segment");
    file.truncate(SEGMENT_HEADER_BYTES);
    let (mut number, mut hash) = (0_u64, [0_u8; 32]);
    for frame in frames {
        let header = if skill == Skill::Chains {
            chained(number + 1, &hash, &frame.payload)
        } else {
            frame.header
        };
        number = u64::from_le_bytes(header[8..16].try_into().expect("eight bytes"));
        hash = header[16..].try_into().expect("32 bytes");
        file.extend_from_slice(&header);
        file.extend_from_slice(&frame.payload);
    }
    fs::write(&path, &file).expect("writes");
    if skill != Skill::Cuts {
        anchor(dir, file.len() as u64, number, &hash);
    }
}

fn chained(number: u64, before: &[u8; 32], payload: &[u8]) -> [u8; FRAME_HEADER_BYTES] {
    let hash: [u8; 32] = Sha256::new()
        .chain_update(b"baytrim frame\x01")
        .chain_update(number.to_le_bytes())
        .chain_update(before)
        .chain_update((payload.len() as u64).to_le_bytes())
        .chain_update(payload)
        .finalize()
        .into();
    let length = u32::try_from(payload.len()).expect("small").to_le_bytes();
    let summed = [&length[..], &number.to_le_bytes(), &hash, payload].concat();
    let sum = crc32c::crc32c(&summed).to_le_bytes();
    let header = [&length[..], &sum, &number.to_le_bytes(), &hash].concat();
    header.try_into().expect("48 bytes")
}

/// Makes both slots say that the journal ends there.
fn anchor(dir: &Path, offset: u64, number: u64, hash: &[u8; 32]) {
    let path = dir.join("anchor");
    let mut file = fs::read(&path).expect("the anchor");
    for start in ANCHOR_SLOTS {
        let slot = &mut file[start..start + SLOT_BYTES];
        let position = &mut slot[POSITION_AT + 4..POSITION_AT + 52];
        position[..8].copy_from_slice(&offset.to_le_bytes());
        position[8..16].copy_from_slice(&number.to_le_bytes());
        position[16..].copy_from_slice(hash);
        let sum = crc32c::crc32c(&slot[..SLOT_BYTES - 4]).to_le_bytes();
        slot[SLOT_BYTES - 4..].copy_from_slice(&sum);
    }
    fs::write(&path, file).expect("writes");
}

/// Returns the name of the stream that a journal payload appends to.
pub(crate) fn stream_of(payload: &[u8]) -> &[u8] {
    &payload[2..2 + usize::from(payload[1])]
}
