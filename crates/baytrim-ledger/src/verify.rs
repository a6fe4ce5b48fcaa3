//! What a verification goes through and what it found.

use crate::fault::Damage;

/// Names what a verification is looking at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum VerifyStage {
    /// Records, their chains, and the index over them.
    Records,
    /// Spools.
    Spools,
    /// Blobs.
    Blobs,
}

/// Tells how far a verification is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct VerifyProgress {
    /// What is being looked at.
    pub stage: VerifyStage,
    /// Bytes done in this stage.
    pub done: u64,
    /// Bytes in this stage altogether; equals `done` where the store cannot tell beforehand.
    pub total: u64,
}

/// Counts what a verification looked at, and names what it found wrong.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct VerifyReport {
    /// Streams with at least one record.
    pub stream_count: u64,
    /// Records whose hash and place in the chain were checked.
    pub record_count: u64,
    /// Bytes of their bodies.
    pub record_bytes: u64,
    /// Spools that are held.
    pub spool_count: u64,
    /// Chunks in them.
    pub chunk_count: u64,
    /// Index entries compared with the records.
    pub index_entry_count: u64,
    /// Blobs whose content was hashed.
    pub blob_count: u64,
    /// Bytes of their content.
    pub blob_bytes: u64,
    /// Places found wrong; a broken journal is not read beyond its first fault.
    pub damage_count: u64,
    /// The first place found wrong.
    pub first_damage: Option<Damage>,
}

impl VerifyReport {
    /// Tells whether nothing was found wrong.
    pub fn is_sound(&self) -> bool {
        self.damage_count == 0
    }

    /// Counts one place found wrong and keeps the first.
    pub fn note(&mut self, damage: Damage) {
        self.damage_count += 1;
        self.first_damage.get_or_insert(damage);
    }
}
