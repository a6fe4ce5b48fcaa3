//! What a change of power comes to, in sentences.

use baytrim_power::{Comparison, Drift, Verdict};

use super::State;

/// Returns the sentences.
pub(super) fn sentences(
    before: State,
    after: State,
    comparison: &Comparison,
    drift: Option<&Drift>,
) -> Vec<String> {
    let (before, after) = names(before, after);
    let mut sentences = vec![side_by_side(&before, &after, comparison)];
    sentences.push(match drift {
        None => format!(
            "Drift of the day can't be told from the engine: pull {before} again after {after}, or each of them at two times."
        ),
        Some(drift) => with_drift(&after, drift),
    });
    sentences
}

/// Returns the shortest names that tell two states apart.
fn names(before: State, after: State) -> (String, String) {
    let name = |state: State| match (
        before.stage == after.stage,
        before.revision == after.revision,
    ) {
        (true, _) => state.revision.to_string(),
        (false, true) => format!("stage {}", state.stage),
        (false, false) => format!("stage {} with {}", state.stage, state.revision),
    };
    (name(before), name(after))
}

fn percent(log: f64) -> f64 {
    100.0 * log.exp_m1()
}

fn side_by_side(before: &str, after: &str, comparison: &Comparison) -> String {
    let found = percent(comparison.difference);
    let Some((low, high)) = comparison.interval else {
        return format!(
            "Side by side, {after} has {found:+.1} % against {before}; one pull of a state says nothing of repeatability: pull each at least twice."
        );
    };
    let noise = comparison.repeatability.map_or_else(String::new, |one| {
        format!(" Pulls of one state repeat to {:.1} %.", percent(one))
    });
    format!(
        "Side by side, {after} has {found:+.1} % against {before}, 95 % interval {:+.1} to {:+.1} %: {}.{noise}",
        percent(low),
        percent(high),
        verdict(comparison.verdict)
    )
}

fn with_drift(after: &str, drift: &Drift) -> String {
    let (low, high) = drift.drift_interval;
    let day = if low <= 0.0 && high >= 0.0 {
        "no drift of the day is seen"
    } else {
        "the day drifts"
    };
    let (least, most) = drift.change_interval;
    format!(
        "At one and the same time of day, {after} has {:+.1} %, 95 % interval {:+.1} to {:+.1} %: {}; {day}: {:+.2} % an hour, {:+.2} to {:+.2}.",
        percent(drift.change),
        percent(least),
        percent(most),
        verdict(drift.verdict),
        percent(drift.drift_per_h),
        percent(low),
        percent(high),
    )
}

fn verdict(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::More => "more power",
        Verdict::Less => "less power",
        Verdict::InsideTheNoise => "inside the noise",
        Verdict::CannotBeTold => "cannot be told",
    }
}
