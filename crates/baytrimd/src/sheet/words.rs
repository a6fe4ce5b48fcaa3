//! The sheet's sentences.

use baytrim_jobs::JobState;
use baytrim_jobs::grip::{CAUTIONS, deliveries, sentences};
use baytrim_model::ids::UnixMillis;
use baytrim_model::pull::{DelaySource, PullSummary};
use baytrim_model::revision::{RevisionOrigin, TableKind};

use super::content::Maps;
pub(super) use crate::page::saying::{
    counted, decimals, fixed, last_activity, seconds, signed, unit,
};

/// Returns `text` in at most `signs_max` signs, with a mark where it was cut.
pub(super) fn cut(text: &str, signs_max: usize) -> String {
    let text = text.trim();
    match text.char_indices().nth(signs_max) {
        None => text.to_owned(),
        Some((end, _)) => format!("{} \u{2026}", text[..end].trim_end()),
    }
}

/// Returns the vehicle's facts.
pub(super) fn facts(state: &JobState) -> Vec<(&'static str, String)> {
    let spec = &state.spec;
    let engine = &spec.engine;
    let strokes = if engine.strokes == 2 { "two" } else { "four" };
    let cylinders = counted(engine.cylinders.into(), "cylinder");
    let bays = spec.bays.keys().map(ToString::to_string);
    vec![
        (
            "Engine",
            format!(
                "{} cc, {cylinders}, {strokes}-stroke",
                engine.displacement_cc
            ),
        ),
        ("Fuel", spec.fuel.name.clone()),
        ("Measured in", bays.collect::<Vec<_>>().join(", ")),
        (
            "Fuel table",
            format!(
                "{} throttle openings by {} speeds",
                spec.axes.plate_percent.len(),
                spec.axes.rpm.len()
            ),
        ),
    ]
}

/// Returns how the vehicle came in.
pub(super) fn came_in(state: &JobState, maps: Option<&Maps>) -> Vec<String> {
    let pulls = state.pulls.len();
    if pulls == 0 {
        return vec!["No run was measured.".to_owned()];
    }
    let accepted: f64 = state
        .pulls
        .iter()
        .map(|pull| pull.record.summary.accepted_s)
        .sum();
    let whole: f64 = state
        .pulls
        .iter()
        .map(|pull| pull.record.summary.duration_s)
        .sum();
    let mut said = vec![format!(
        "The engine was run on the dyno in {}, {} in all. {} of it could be used; the rest was left out, \
         because the engine was cold, changing or without fuel, or a sensor could not be trusted.",
        counted(pulls, "pull"),
        seconds(whole),
        seconds(accepted)
    )];
    if let Some(maps) = maps {
        let visited = maps.before.iter().flatten().count();
        said.push(format!(
            "With the table that it came with, the mixture was {:.1} % off its target on average where the engine was run, \
             {visited} of {} cells.",
            maps.off_percent[0],
            maps.before.len()
        ));
    }
    said
}

/// Returns how the vehicle is now.
pub(super) fn now(state: &JobState, maps: Option<&Maps>) -> Vec<String> {
    let mut said = Vec::new();
    if state.head().id.0 == 0 {
        said.push("The table was not changed: it is the one that came.".to_owned());
    }
    if let Some(maps) = maps {
        let close = maps
            .after
            .iter()
            .flatten()
            .filter(|off| off.abs() <= 3.0)
            .count();
        said.push(format!(
            "With table {} it is {:.1} % off on average by the newest estimate; {close} of {} cells \
             where the engine was run are within 3 % of their target.",
            state.head().id,
            maps.off_percent[1],
            maps.after.iter().flatten().count()
        ));
    }
    said.push(checked(state));
    said
}

/// Returns whether a pull has checked the table handed over.
fn checked(state: &JobState) -> String {
    let head = state.head().id;
    let mut checks = state
        .pulls
        .iter()
        .filter(|pull| pull.record.revision == head);
    let Some(check) = checks.next_back() else {
        return format!("Table {head} has not been checked by a pull of its own yet.");
    };
    let realised = check.record.summary.realised.as_ref();
    match realised.and_then(|realised| realised.share) {
        Some(share) => format!(
            "Pull {} checked it: {:.0} % of the predicted change was measured, give or take {:.0} %.",
            check.record.id,
            100.0 * share.share,
            100.0 * share.standard_error
        ),
        None => format!("Pull {} was run with it.", check.record.id),
    }
}

/// Returns how the throttle answers the hand in each riding mode, and which grip table was handed over.
pub(super) fn grip(state: &JobState) -> Vec<String> {
    let mut said = Vec::new();
    for found in deliveries(state) {
        let kind = TableKind::Grip {
            mode: found.mode.clone(),
        };
        let head = state.head_of(&kind);
        let told = head.map_or_else(String::new, |head| {
            let changed = match head.origin {
                RevisionOrigin::Base => "the one that came",
                RevisionOrigin::Approval { .. } | RevisionOrigin::Revert { .. } => "made here",
            };
            format!(" Its grip table is {}, {changed}.", head.id)
        });
        let measured = match (found.revision, head) {
            (Some(measured), Some(head)) if measured != head.id => {
                format!(" With table {measured}, before:")
            }
            _ => String::new(),
        };
        let sentences = sentences(&found).join(" ");
        said.push(format!(
            "Riding mode {}.{told}{measured} {sentences}",
            found.mode
        ));
    }
    let is_new = |revision: &baytrim_model::revision::Revision| {
        !revision.table.is_fuel() && revision.origin != RevisionOrigin::Base
    };
    if state.revisions.iter().any(is_new) {
        said.push(CAUTIONS[0].to_owned());
        said.push(CAUTIONS[1].to_owned());
    }
    said
}

/// Returns under what conditions the sheet holds.
pub(super) fn conditions(state: &JobState) -> Vec<String> {
    let spec = &state.spec;
    let unvisited =
        state
            .pulls
            .iter()
            .fold(vec![true; spec.axes.node_count()], |mut unvisited, pull| {
                let coverage = &pull.record.summary.coverage;
                for (open, covered) in unvisited.iter_mut().zip(coverage) {
                    *open &= covered.visits == 0;
                }
                unvisited
            });
    let unvisited = unvisited.iter().filter(|open| **open).count();
    let mut said = vec![
        format!(
            "It holds for {} and for the vehicle as it stood: intake, exhaust, injectors and fuel pressure. \
             After a change to any of them, measure again.",
            spec.fuel.name
        ),
        "The lambda sensor has an error of its own, about 1 %, that no pull can show.".to_owned(),
    ];
    if unvisited > 0 {
        said.push(format!(
            "The engine has not been at {unvisited} of {} cells; nothing was measured there.",
            spec.axes.node_count()
        ));
    }
    if state
        .pulls
        .iter()
        .any(|pull| is_late_by_physics(&pull.record.summary))
    {
        said.push(
            "In some pulls the time between the engine and the sensor could not be measured and was taken from the usual physics."
                .to_owned(),
        );
    }
    let warnings = state.pulls.iter().flat_map(|pull| {
        let warnings = pull.record.summary.warnings.iter();
        warnings
            .map(move |warning| format!("Pull {}: {}.", pull.record.id, cut(&warning.message, 200)))
    });
    said.extend(warnings.take(3));
    said
}

fn is_late_by_physics(summary: &PullSummary) -> bool {
    summary.delay.source == DelaySource::Prior
}

/// Returns a moment as it stands on paper.
pub(super) fn moment(at: UnixMillis) -> String {
    jiff::Timestamp::from_millisecond(at.0).map_or_else(
        |_| "an impossible time".to_owned(),
        |stamp| stamp.strftime("%-d %b %Y, %H:%M UTC").to_string(),
    )
}
