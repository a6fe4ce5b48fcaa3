//! The library, one entry a line; the entries nearest to a job.

use baytrim_api::v1::{FindNearestResponse, LibraryEntry, NearEntry, Vehicle};

use super::columns::{Edge, columns};
use super::style::{Ink, RenderOptions};
use super::text::{counted, hang, minute, plain};
use crate::name::short;

/// Returns a vehicle in words.
pub(crate) fn vehicle_words(vehicle: Option<&Vehicle>) -> String {
    let Some(vehicle) = vehicle else {
        return "not said".to_owned();
    };
    let mut words = vehicle.model.clone();
    if !vehicle.generation.is_empty() {
        words += &format!(", {}", vehicle.generation);
    }
    if !vehicle.parts.is_empty() {
        words += &format!("; {}", vehicle.parts.join(", "));
    }
    plain(&words)
}

/// Returns the library.
pub fn render_library(entries: &[LibraryEntry], options: &RenderOptions) -> String {
    if entries.is_empty() {
        return hang(
            "The library is empty. A job teaches once its file says what its vehicle is ([vehicle]) and a proposal from its pulls was approved.",
            options.width,
            0,
            2,
        );
    }
    let row = |entry: &LibraryEntry| {
        [
            short(&entry.job),
            plain(&entry.revision),
            entry.pulls.len().to_string(),
            format!("{} of {}", entry.measured_node_count, entry.node_count),
            minute(entry.revision_time.map(|time| time.to_string())),
            vehicle_words(entry.vehicle.as_ref()),
        ]
    };
    let rows: Vec<_> = entries.iter().map(row).collect();
    let heads = [
        ("job", Edge::Left),
        ("in force", Edge::Left),
        ("pulls", Edge::Right),
        ("nodes measured", Edge::Right),
        ("since (UTC)", Edge::Left),
        ("vehicle and parts", Edge::Left),
    ];
    columns(heads, &rows, options)
}

/// Returns the entries of the kind of `job`, the nearest first.
pub fn render_nearest(job: &str, found: &FindNearestResponse, options: &RenderOptions) -> String {
    let title = format!("{job}: {}", vehicle_words(found.vehicle.as_ref()));
    let mut page = options.paint(Ink::Strong, &plain(&title)) + "\n";
    if found.entries.is_empty() {
        let none = "No approved job of the shop is of this kind: model, generation, engine and fuel must be the same.";
        return page + &hang(none, options.width, 2, 2);
    }
    for near in &found.entries {
        page += &hang(&line(near), options.width, 2, 4);
    }
    let chosen = found.entries.iter().filter(|near| near.chosen).count();
    let next = match (
        chosen,
        found.entries.first().and_then(|near| near.entry.as_ref()),
    ) {
        (0, Some(first)) => format!("baytrim library start {job} --from {}", short(&first.job)),
        _ => format!("baytrim library start {job}"),
    };
    let from = match chosen {
        0 => "None has the same parts: name one to start from it.".to_owned(),
        1 => "A starting table is learnt from 1 entry.".to_owned(),
        count => format!("A starting table is learnt from {count} entries."),
    };
    page += &("\n".to_owned() + &hang(&from, options.width, 0, 2));
    let head = options.paint(Ink::Strong, "Next");
    page + &format!("\n{head}\n  {}\n", plain(&next))
}

fn line(near: &NearEntry) -> String {
    let entry = near.entry.clone().unwrap_or_default();
    plain(&format!(
        "{}/{}: {}; {} of {} nodes measured in {}",
        short(&entry.job),
        entry.revision,
        near.sentence,
        entry.measured_node_count,
        entry.node_count,
        counted(entry.pulls.len(), "pull")
    ))
}
