//! Stages for scripts, and how they compare.

use baytrim_api::v1::{
    ChangeVerdict, ComparedNode, ComparedStage, FigureComparison, PowerComparison, Stage,
    StageComparison,
};
use serde::Serialize;

use crate::name::{number, short};
use crate::render::stage::kind_name;

/// A stage.
#[derive(Debug, Serialize)]
pub(crate) struct StageJson<'a> {
    stage: String,
    kind: &'static str,
    title: &'a str,
    notes: &'a str,
    create_time: Option<String>,
    creator: &'a str,
    pulls: Vec<&'a str>,
}

impl<'a> From<&'a Stage> for StageJson<'a> {
    fn from(stage: &'a Stage) -> Self {
        Self {
            stage: short(&stage.name),
            kind: kind_name(stage.kind()),
            title: &stage.title,
            notes: &stage.notes,
            create_time: stage.create_time.map(|time| time.to_string()),
            creator: &stage.creator,
            pulls: stage.pulls.iter().map(|name| number(name)).collect(),
        }
    }
}

/// The stages of a job.
#[derive(Debug, Serialize)]
pub(crate) struct StagesJson<'a> {
    job: &'a str,
    stages: Vec<StageJson<'a>>,
}

impl<'a> StagesJson<'a> {
    /// Returns the stages of `job`.
    pub(crate) fn new(job: &'a str, stages: &'a [Stage]) -> Self {
        Self {
            job,
            stages: stages.iter().map(StageJson::from).collect(),
        }
    }
}

/// Two stages, one against the other.
#[derive(Debug, Serialize)]
pub(crate) struct ComparisonJson<'a> {
    job: &'a str,
    from: Option<ComparedJson<'a>>,
    to: Option<ComparedJson<'a>>,
    shared_node_count: u32,
    tolerance_percent: f64,
    off_target_percent: Option<FigureJson>,
    within_percent: Option<FigureJson>,
    pull_repeatability_percent: Option<f64>,
    node_repeatability_percent: Option<f64>,
    repeat_count: u32,
    power: Option<PowerJson>,
    nodes: Vec<NodeJson>,
    remarks: &'a [String],
}

#[derive(Debug, Serialize)]
struct ComparedJson<'a> {
    stage: Option<StageJson<'a>>,
    revision: &'a str,
    pulls: Vec<&'a str>,
    left_out_pulls: Vec<&'a str>,
    off_target_percent: f64,
    within_fraction: Option<f64>,
}

#[derive(Debug, Serialize)]
struct FigureJson {
    difference_percent: f64,
    interval: Option<[f64; 2]>,
    repeatability_percent: Option<f64>,
    inside_the_noise: Option<bool>,
}

#[derive(Debug, Serialize)]
struct PowerJson {
    change: Option<FigureJson>,
    from_peak_kw: f64,
    to_peak_kw: f64,
    from_peak_nm: f64,
    to_peak_nm: f64,
    from_pull_count: u32,
    to_pull_count: u32,
    corrected: bool,
    start_rpm: f64,
    end_rpm: f64,
}

#[derive(Debug, Serialize)]
struct NodeJson {
    rpm: f64,
    plate_percent: f64,
    from_off_percent: Option<f64>,
    to_off_percent: Option<f64>,
    change_percent: Option<f64>,
    half_width_percent: Option<f64>,
    verdict: Option<&'static str>,
}

impl<'a> ComparisonJson<'a> {
    /// Returns a comparison of two stages of `job`.
    pub(crate) fn new(job: &'a str, found: &'a StageComparison) -> Self {
        Self {
            job,
            from: found.from_stage.as_ref().map(compared),
            to: found.to_stage.as_ref().map(compared),
            shared_node_count: found.shared_node_count,
            tolerance_percent: found.tolerance_percent,
            off_target_percent: found.off_target_percent.as_ref().map(figure),
            within_percent: found.within_percent.as_ref().map(figure),
            pull_repeatability_percent: found.pull_repeatability_percent,
            node_repeatability_percent: found.node_repeatability_percent,
            repeat_count: found.repeat_count,
            power: found.power.as_ref().map(power),
            nodes: found.nodes.iter().map(node).collect(),
            remarks: &found.remarks,
        }
    }
}

fn compared(side: &ComparedStage) -> ComparedJson<'_> {
    ComparedJson {
        stage: side.stage.as_ref().map(StageJson::from),
        revision: &side.revision,
        pulls: side.pulls.iter().map(|name| number(name)).collect(),
        left_out_pulls: side
            .left_out_pulls
            .iter()
            .map(|name| number(name))
            .collect(),
        off_target_percent: side.off_target_percent,
        within_fraction: side.within_fraction,
    }
}

fn figure(found: &FigureComparison) -> FigureJson {
    let interval = found.interval_low.zip(found.interval_high);
    FigureJson {
        difference_percent: found.difference_percent,
        interval: interval.map(|(low, high)| [low, high]),
        repeatability_percent: found.repeatability_percent,
        inside_the_noise: found.inside_the_noise,
    }
}

fn power(found: &PowerComparison) -> PowerJson {
    PowerJson {
        change: found.change.as_ref().map(figure),
        from_peak_kw: found.from_peak_kw,
        to_peak_kw: found.to_peak_kw,
        from_peak_nm: found.from_peak_nm,
        to_peak_nm: found.to_peak_nm,
        from_pull_count: found.from_pull_count,
        to_pull_count: found.to_pull_count,
        corrected: found.corrected,
        start_rpm: found.start_rpm,
        end_rpm: found.end_rpm,
    }
}

fn node(node: &ComparedNode) -> NodeJson {
    NodeJson {
        rpm: node.rpm,
        plate_percent: node.plate_percent,
        from_off_percent: node.from_off_percent,
        to_off_percent: node.to_off_percent,
        change_percent: node.change_percent,
        half_width_percent: node.change_percent.map(|_| node.half_width_percent),
        verdict: match node.verdict() {
            ChangeVerdict::Unspecified => None,
            ChangeVerdict::Closer => Some("closer"),
            ChangeVerdict::Further => Some("further"),
            ChangeVerdict::InsideTheNoise => Some("inside_the_noise"),
        },
    }
}
