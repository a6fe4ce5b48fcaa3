//! Canned answers about the library.

use baytrim_api::v1::{
    FindNearestResponse, LibraryEntry, LibrarySource, NearEntry, Proposal, StartingTable, Vehicle,
};

use super::MOMENT;

fn vehicle(parts: &[&str]) -> Vehicle {
    Vehicle {
        model: "Quoll 700".to_owned(),
        generation: "second series".to_owned(),
        parts: parts.iter().map(|&part| part.to_owned()).collect(),
    }
}

/// The library of the invented shop.
pub(crate) fn entries() -> Vec<LibraryEntry> {
    let entry = |job: &str, parts: &[&str], pulls: &[&str], measured_node_count| LibraryEntry {
        job: format!("jobs/{job}"),
        title: format!("Quoll 700, {job}"),
        vehicle: Some(vehicle(parts)),
        engine: None,
        revision: "r2".to_owned(),
        proposal: "c2".to_owned(),
        pulls: pulls.iter().map(|&pull| pull.to_owned()).collect(),
        revision_time: Some(MOMENT),
        node_count: 63,
        measured_node_count,
    };
    vec![
        entry(
            "quoll-2",
            &["open exhaust", "open airbox lid"],
            &["p1", "p2", "p3"],
            58,
        ),
        entry("quoll-3", &["open exhaust"], &["p1"], 31),
    ]
}

/// What is near the invented job quoll-1.
pub(crate) fn nearest() -> FindNearestResponse {
    let [same, other]: [LibraryEntry; 2] = entries().try_into().expect("two entries");
    FindNearestResponse {
        entries: vec![
            NearEntry {
                entry: Some(same),
                sentence: "the same kind and parts: open airbox lid, open exhaust".to_owned(),
                chosen: true,
                ..NearEntry::default()
            },
            NearEntry {
                entry: Some(other),
                part_distance: 1,
                only_here: vec!["open airbox lid".to_owned()],
                sentence: "the same kind, one part differs; without open airbox lid".to_owned(),
                ..NearEntry::default()
            },
        ],
        vehicle: Some(vehicle(&["open exhaust", "open airbox lid"])),
    }
}

/// A starting table for it.
pub(crate) fn starting_table() -> Proposal {
    Proposal {
        pulls: Vec::new(),
        start: Some(StartingTable {
            sources: vec![LibrarySource {
                job: "jobs/quoll-2".to_owned(),
                revision: "r2".to_owned(),
                proposal: "c2".to_owned(),
                pulls: vec!["p1".to_owned(), "p2".to_owned(), "p3".to_owned()],
                record_count: 8,
                record_hash: "5f".repeat(32),
            }],
            level_percent: 2.1,
            shape_percent: 1.6,
            rough_percent: 0.6,
        }),
        done: None,
        ..super::proposal()
    }
}
