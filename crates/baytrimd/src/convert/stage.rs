//! Stages and how they compare.

use baytrim_api::v1;
use baytrim_jobs::propose::TOLERANCE_PERCENT;
use baytrim_jobs::stage_comparison::{
    Comparison, MoveVerdict, NodeComparison, StageComparison, StageFound, StagePower, Verdict,
};
use baytrim_jobs::state::StageEntry;
use baytrim_jobs::{JobState, Refusal};
use baytrim_model::stage::StageKind;

use super::time::timestamp;
use super::{name, vehicle};

/// Returns a stage with the names of its pulls.
pub fn stage(state: &JobState, entry: &StageEntry) -> v1::Stage {
    let stage = &entry.stage;
    let pulls = state.pulls.iter().filter(|pull| pull.stage == stage.id);
    v1::Stage {
        name: name::stage(state.id(), stage.id),
        kind: kind(stage.kind).into(),
        title: stage.title.clone(),
        notes: stage.notes.clone(),
        create_time: Some(timestamp(entry.at)),
        creator: entry.by.to_string(),
        pulls: pulls
            .map(|pull| name::pull(state.id(), pull.record.id))
            .collect(),
        vehicle: vehicle::record(&stage.vehicle),
    }
}

fn kind(kind: StageKind) -> v1::StageKind {
    match kind {
        StageKind::AsItCame => v1::StageKind::AsItCame,
        StageKind::PartsFitted => v1::StageKind::PartsFitted,
        StageKind::StartingTable => v1::StageKind::StartingTable,
        StageKind::Tuned => v1::StageKind::Tuned,
        StageKind::Other => v1::StageKind::Other,
    }
}

/// Returns the kind that a request names.
///
/// # Errors
/// When it names none.
pub fn parse_kind(value: i32) -> Result<StageKind, Refusal> {
    match v1::StageKind::try_from(value) {
        Ok(v1::StageKind::AsItCame) => Ok(StageKind::AsItCame),
        Ok(v1::StageKind::PartsFitted) => Ok(StageKind::PartsFitted),
        Ok(v1::StageKind::StartingTable) => Ok(StageKind::StartingTable),
        Ok(v1::StageKind::Tuned) => Ok(StageKind::Tuned),
        Ok(v1::StageKind::Other) => Ok(StageKind::Other),
        Ok(v1::StageKind::Unspecified) | Err(_) => Err(Refusal::field(
            "kind",
            format!("{value} is none of its values"),
            "say what the stage is",
        )),
    }
}

/// Returns how two stages compare.
///
/// # Errors
/// Never for stages of the job.
pub fn comparison(
    state: &JobState,
    found: &StageComparison,
) -> Result<v1::StageComparison, Refusal> {
    let [from, to] = &found.stages;
    let nodes = found.nodes.iter().enumerate();
    let shared = found.nodes.iter().filter(|node| node.change.is_some());
    Ok(v1::StageComparison {
        from_stage: Some(compared(state, from)?),
        to_stage: Some(compared(state, to)?),
        shared_node_count: u32::try_from(shared.count()).unwrap_or(u32::MAX),
        nodes: nodes
            .filter(|(_, told)| told.off_percent.iter().any(Option::is_some))
            .map(|(index, told)| node(state, index, told))
            .collect(),
        pull_repeatability_percent: found.repeatability.map(|told| told.pull_percent),
        node_repeatability_percent: found.repeatability.map(|told| told.node_percent),
        repeat_count: found.repeatability.map_or(0, |told| told.repeat_count),
        off_target_percent: Some(figure(&found.off_target)),
        within_percent: Some(figure(&found.within)),
        tolerance_percent: TOLERANCE_PERCENT,
        power: found.power.as_ref().map(power),
        remarks: found.remarks.clone(),
    })
}

fn compared(state: &JobState, found: &StageFound) -> Result<v1::ComparedStage, Refusal> {
    let entry = state.stage_of(found.stage)?;
    let names = |pulls: &[baytrim_model::ids::PullId]| {
        let pulls = pulls.iter();
        pulls.map(|&pull| name::pull(state.id(), pull)).collect()
    };
    Ok(v1::ComparedStage {
        stage: Some(stage(state, entry)),
        revision: found.revision.to_string(),
        pulls: names(&found.pulls),
        left_out_pulls: names(&found.left_out),
        off_target_percent: found.off_target_percent,
        within_fraction: found.within_share,
    })
}

fn node(state: &JobState, index: usize, told: &NodeComparison) -> v1::ComparedNode {
    let (rpm, plate_percent) = state.spec.axes.position(index);
    let verdict = told.change.map(|change| match change.verdict {
        MoveVerdict::Closer => v1::ChangeVerdict::Closer,
        MoveVerdict::Further => v1::ChangeVerdict::Further,
        MoveVerdict::InsideTheNoise => v1::ChangeVerdict::InsideTheNoise,
    });
    v1::ComparedNode {
        rpm,
        plate_percent,
        from_off_percent: told.off_percent[0],
        to_off_percent: told.off_percent[1],
        change_percent: told.change.map(|change| change.percent),
        half_width_percent: told.change.map_or(0.0, |change| change.half_width_percent),
        verdict: verdict.unwrap_or(v1::ChangeVerdict::Unspecified).into(),
    }
}

fn power(found: &StagePower) -> v1::PowerComparison {
    let count = |count: usize| u32::try_from(count).unwrap_or(u32::MAX);
    v1::PowerComparison {
        change: Some(figure(&found.change)),
        from_peak_kw: found.peak_kw[0],
        to_peak_kw: found.peak_kw[1],
        from_peak_nm: found.peak_nm[0],
        to_peak_nm: found.peak_nm[1],
        from_pull_count: count(found.pull_count[0]),
        to_pull_count: count(found.pull_count[1]),
        corrected: found.is_corrected,
        start_rpm: found.speeds_rpm.0,
        end_rpm: found.speeds_rpm.1,
    }
}

fn figure(found: &Comparison) -> v1::FigureComparison {
    v1::FigureComparison {
        difference_percent: found.difference,
        interval_low: found.interval.map(|(low, _)| low),
        interval_high: found.interval.map(|(_, high)| high),
        repeatability_percent: found.repeatability,
        inside_the_noise: match found.verdict {
            Verdict::CannotBeTold => None,
            Verdict::InsideTheNoise => Some(true),
            Verdict::More | Verdict::Less => Some(false),
        },
    }
}
