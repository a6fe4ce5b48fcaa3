//! Which chunks are live and where they are. Pure.

use std::collections::BTreeMap;

use baytrim_ledger::StreamName;

use crate::place::Place;

/// Knows every live chunk of every spool.
#[derive(Default)]
pub(crate) struct Spools {
    chunks: BTreeMap<StreamName, BTreeMap<u64, Place>>,
    live: BTreeMap<u32, Live>,
}

/// Counts what is live in one segment.
#[derive(Default, Clone, Copy)]
struct Live {
    count: u64,
    bytes: u64,
}

impl Spools {
    /// Returns the number that the next chunk of `spool` gets.
    pub(crate) fn next(&self, spool: &StreamName) -> u64 {
        let last = self
            .chunks
            .get(spool)
            .and_then(|chunks| chunks.last_key_value());
        last.map_or(0, |(number, _)| number + 1)
    }

    /// Takes note of a chunk, or of its new place.
    pub(crate) fn put(&mut self, spool: &StreamName, number: u64, place: Place) {
        let old = self
            .chunks
            .entry(spool.clone())
            .or_default()
            .insert(number, place);
        if let Some(old) = old {
            self.release(old);
        }
        let live = self.live.entry(place.segment).or_default();
        live.count += 1;
        live.bytes += u64::from(place.len);
    }

    /// Forgets a spool.
    pub(crate) fn drop_spool(&mut self, spool: &StreamName) {
        for place in self.chunks.remove(spool).unwrap_or_default().into_values() {
            self.release(place);
        }
    }

    fn release(&mut self, place: Place) {
        if let Some(live) = self.live.get_mut(&place.segment) {
            live.count -= 1;
            live.bytes -= u64::from(place.len);
            if live.count == 0 {
                self.live.remove(&place.segment);
            }
        }
    }

    /// Returns the first segment that holds a live chunk.
    pub(crate) fn first_live_segment(&self) -> Option<u32> {
        self.live.first_key_value().map(|(segment, _)| *segment)
    }

    /// Returns the bytes of all live chunks.
    pub(crate) fn live_bytes(&self) -> u64 {
        self.live.values().map(|live| live.bytes).sum()
    }

    /// Returns the live chunks in a segment.
    pub(crate) fn in_segment(&self, segment: u32) -> Vec<(StreamName, u64, Place)> {
        let all = self
            .chunks
            .iter()
            .flat_map(|(spool, chunks)| chunks.iter().map(move |(n, place)| (spool, *n, *place)));
        all.filter(|(_, _, place)| place.segment == segment)
            .map(|(spool, n, place)| (spool.clone(), n, place))
            .collect()
    }

    /// Returns where the chunks from `from` on are, at most `limit`.
    pub(crate) fn places(&self, spool: &StreamName, from: u64, limit: usize) -> Vec<(u64, Place)> {
        let Some(chunks) = self.chunks.get(spool) else {
            return Vec::new();
        };
        chunks
            .range(from..)
            .take(limit)
            .map(|(number, place)| (*number, *place))
            .collect()
    }

    /// Returns the spools with their numbers of chunks.
    pub(crate) fn list(&self) -> Vec<(StreamName, u64)> {
        self.chunks
            .keys()
            .map(|spool| (spool.clone(), self.next(spool)))
            .collect()
    }

    /// Returns a spool that lacks a chunk before its last, with that chunk's number.
    pub(crate) fn gap(&self) -> Option<(StreamName, u64)> {
        self.chunks.iter().find_map(|(spool, chunks)| {
            let gap = (0..)
                .zip(chunks.keys())
                .find(|(expected, actual)| expected != *actual)?;
            Some((spool.clone(), gap.0))
        })
    }

    /// Returns the number of all live chunks.
    pub(crate) fn chunk_count(&self) -> u64 {
        self.live.values().map(|live| live.count).sum()
    }
}
