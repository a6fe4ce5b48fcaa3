//! Stages of a job, one a line.

use baytrim_api::v1::{Stage, StageKind};

use super::columns::{Edge, columns};
use super::number::breakpoint;
use super::style::{Ink, RenderOptions};
use super::text::{counted, hang, minute, moment, plain};
use crate::name::{number, short};

/// Returns the name of a kind of stage, as scripts write it.
pub(crate) fn kind_name(kind: StageKind) -> &'static str {
    match kind {
        StageKind::Unspecified => "unknown",
        StageKind::AsItCame => "as_it_came",
        StageKind::PartsFitted => "parts_fitted",
        StageKind::StartingTable => "starting_table",
        StageKind::Tuned => "tuned",
        StageKind::Other => "other",
    }
}

/// Returns one stage.
pub fn render_stage(stage: &Stage, options: &RenderOptions) -> String {
    let title = plain(&format!("Stage {}: {}", short(&stage.name), stage.title));
    let begun = moment(stage.create_time.map(|time| time.to_string()));
    let line = format!("Begun {begun} by {}", plain(&stage.creator));
    let mut page = options.paint(Ink::Strong, &title) + "\n";
    page += &(options.paint(Ink::Quiet, &line) + "\n");
    if !stage.notes.is_empty() {
        page += &hang(&plain(&stage.notes), options.width, 2, 2);
    }
    let vehicle = vehicle_words(stage);
    if !vehicle.is_empty() {
        page += &hang(&plain(&vehicle), options.width, 2, 2);
    }
    let pulls = match stage.pulls.len() {
        0 => "No pull belongs to it yet.".to_owned(),
        count => format!("{}: {}", counted(count, "pull"), pulls(stage)),
    };
    page + &hang(&pulls, options.width, 2, 4)
}

/// Returns the stages of a job.
pub fn render_stages(job: &str, stages: &[Stage], options: &RenderOptions) -> String {
    let row = |stage: &Stage| {
        let pulls = match stage.pulls.len() {
            0 => "-".to_owned(),
            _ => pulls(stage),
        };
        let said = [stage.notes.clone(), vehicle_words(stage)];
        let said: Vec<String> = said.into_iter().filter(|words| !words.is_empty()).collect();
        let words = match said.as_slice() {
            [] => plain(&stage.title),
            said => plain(&format!("{}: {}", stage.title, said.join("; "))),
        };
        [
            number(&stage.name).to_owned(),
            minute(stage.create_time.map(|time| time.to_string())),
            pulls,
            words,
        ]
    };
    let rows: Vec<_> = stages.iter().map(row).collect();
    let heads = [
        ("stage", Edge::Left),
        ("begun (UTC)", Edge::Left),
        ("pulls", Edge::Left),
        ("what it is", Edge::Left),
    ];
    let next = match stages {
        [] | [_] => format!("baytrim stage begin {job} parts-fitted --notes \"which parts\""),
        [first, .., last] => format!(
            "baytrim stage compare {job} {} {}",
            number(&first.name),
            number(&last.name)
        ),
    };
    let head = options.paint(Ink::Strong, "Next");
    columns(heads, &rows, options) + &format!("\n{head}\n  {}\n", plain(&next))
}

/// Returns what is other from the stage on, of the overrun and of secondary air; empty where nothing is said.
fn vehicle_words(stage: &Stage) -> String {
    let Some(vehicle) = &stage.vehicle else {
        return String::new();
    };
    let rpm = vehicle.overrun_rpm.map(breakpoint).unwrap_or_default();
    let cut = match vehicle.overrun_cut.as_str() {
        "on" => "fuel cut on the overrun".to_owned(),
        "off" => "fuel not cut on the overrun".to_owned(),
        "above_rpm" => format!("fuel cut on the overrun above {rpm} rpm only"),
        other => other.to_owned(),
    };
    let air = match vehicle.secondary_air.as_str() {
        "none" => "no secondary air",
        "active" => "secondary air active",
        "blocked" => "secondary air blanked off",
        other => other,
    };
    let said = [cut.as_str(), air]
        .into_iter()
        .filter(|words| !words.is_empty());
    said.collect::<Vec<_>>().join("; ")
}

fn pulls(stage: &Stage) -> String {
    let numbers: Vec<&str> = stage.pulls.iter().map(|name| number(name)).collect();
    plain(&numbers.join(" "))
}
