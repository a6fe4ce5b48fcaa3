//! How two stages compare, in plain words for the customer.

use baytrim_jobs::JobState;
use baytrim_jobs::propose::TOLERANCE_PERCENT;
use baytrim_jobs::stage_comparison::{
    Comparison, MoveVerdict, StageComparison, StageFound, StagePower, Verdict,
};

/// Returns the comparison as paragraphs.
pub(super) fn told(state: &JobState, found: &StageComparison) -> Vec<String> {
    let [from, to] = &found.stages;
    let mut said: Vec<String> = [from, to]
        .into_iter()
        .map(|side| stage(state, side))
        .collect();
    said.push(worth("the mixture", &found.off_target));
    said.push(nodes(found));
    said.extend(found.power.as_ref().map(power));
    said.extend(found.remarks.iter().map(|remark| format!("{remark}.")));
    said
}

fn stage(state: &JobState, side: &StageFound) -> String {
    let entry = state.stage_of(side.stage).ok();
    let title = entry.map_or("", |entry| entry.stage.title.as_str());
    let notes = entry.map_or("", |entry| entry.stage.notes.as_str());
    let pulls: Vec<String> = side.pulls.iter().map(ToString::to_string).collect();
    let notes = if notes.is_empty() {
        String::new()
    } else {
        format!(" ({notes})")
    };
    let share = side.within_share.map_or_else(String::new, |share| {
        format!(
            ", {:.0} % of the cells within {TOLERANCE_PERCENT:.0} %",
            100.0 * share
        )
    });
    format!(
        "Stage {}, {title}{notes}, pulls {}: the mixture was {:.1} % off its target{share}.",
        side.stage,
        pulls.join(" "),
        side.off_target_percent
    )
}

fn worth(what: &str, figure: &Comparison) -> String {
    match figure.verdict {
        Verdict::CannotBeTold => format!(
            "Whether the change of {what} is more than pulls of one stage differ by cannot be told: not both stages have two pulls over most of the table."
        ),
        Verdict::InsideTheNoise => {
            format!(
                "The change of {what} is inside the noise: pulls of one stage differ by as much."
            )
        }
        Verdict::More | Verdict::Less => {
            format!("The change of {what} is more than pulls of one stage differ by.")
        }
    }
}

fn nodes(found: &StageComparison) -> String {
    let count = |verdict: MoveVerdict| {
        let moved = found.nodes.iter().filter_map(|node| node.change);
        moved.filter(|change| change.verdict == verdict).count()
    };
    format!(
        "Of the cells that both stages measured, {} came closer to their target, {} went further from it, and {} changed by no more than the noise.",
        count(MoveVerdict::Closer),
        count(MoveVerdict::Further),
        count(MoveVerdict::InsideTheNoise)
    )
}

fn power(power: &StagePower) -> String {
    let air = if power.is_corrected {
        "corrected to standard air"
    } else {
        "as measured, not corrected"
    };
    format!(
        "Power at the roller, {air}: {:.1} kW and {:.1} Nm at the most, then {:.1} kW and {:.1} Nm. {}",
        power.peak_kw[0],
        power.peak_nm[0],
        power.peak_kw[1],
        power.peak_nm[1],
        worth("power", &power.change)
    )
}
