//! Plans of the next pull, for scripts.

use baytrim_api::v1::{DoneChance, FuelStep, PlanStep, PullPlan};
use serde::Serialize;

use crate::name::number;

/// A plan.
#[derive(Debug, Serialize)]
pub(crate) struct PlanJson<'a> {
    job: &'a str,
    revision: &'a str,
    pulls: Vec<&'a str>,
    done: Option<DoneJson>,
    fuel_steps: Vec<FuelStepJson<'a>>,
    steps: Vec<StepJson<'a>>,
    standard_error_percent: f64,
    planned_standard_error_percent: f64,
    total_s: f64,
    unreachable_node_count: u32,
    cautions: &'a [String],
}

/// Chance that a job is done.
#[derive(Debug, Serialize)]
pub(crate) struct DoneJson {
    tolerance_percent: f64,
    node_count: u32,
    probability: f64,
    within_fraction: f64,
    proposed_probability: Option<f64>,
    proposed_within_fraction: Option<f64>,
}

#[derive(Debug, Serialize)]
struct StepJson<'a> {
    start_rpm: f64,
    end_rpm: f64,
    plate_percent: f64,
    run_s: f64,
    total_s: f64,
    standard_error_percent: f64,
    sentence: &'a str,
}

#[derive(Debug, Serialize)]
struct FuelStepJson<'a> {
    rpm: f64,
    plate_percent: f64,
    step_percent: f64,
    step_count: u32,
    step_s: f64,
    run_s: f64,
    total_s: f64,
    sentence: &'a str,
}

impl<'a> PlanJson<'a> {
    /// Returns the plan for the job of the short name `job`.
    pub(crate) fn new(plan: &'a PullPlan, job: &'a str) -> Self {
        Self {
            job,
            revision: number(&plan.revision),
            pulls: plan.pulls.iter().map(|name| number(name)).collect(),
            done: plan.done.as_ref().map(DoneJson::from),
            fuel_steps: plan.fuel_steps.iter().map(fuel_step).collect(),
            steps: plan.steps.iter().map(step).collect(),
            standard_error_percent: plan.standard_error_percent,
            planned_standard_error_percent: plan.planned_standard_error_percent,
            total_s: plan.total_s,
            unreachable_node_count: plan.unreachable_node_count,
            cautions: &plan.cautions,
        }
    }
}

impl From<&DoneChance> for DoneJson {
    fn from(done: &DoneChance) -> Self {
        Self {
            tolerance_percent: done.tolerance_percent,
            node_count: done.node_count,
            probability: done.probability,
            within_fraction: done.within_fraction,
            proposed_probability: done.proposed_probability,
            proposed_within_fraction: done.proposed_within_fraction,
        }
    }
}

fn fuel_step(step: &FuelStep) -> FuelStepJson<'_> {
    FuelStepJson {
        rpm: step.rpm,
        plate_percent: step.plate_percent,
        step_percent: step.step_percent,
        step_count: step.step_count,
        step_s: step.step_s,
        run_s: step.run_s,
        total_s: step.total_s,
        sentence: &step.sentence,
    }
}

fn step(step: &PlanStep) -> StepJson<'_> {
    StepJson {
        start_rpm: step.start_rpm,
        end_rpm: step.end_rpm,
        plate_percent: step.plate_percent,
        run_s: step.run_s,
        total_s: step.total_s,
        standard_error_percent: step.standard_error_percent,
        sentence: &step.sentence,
    }
}
