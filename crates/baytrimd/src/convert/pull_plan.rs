//! Plans of the next pull.

use baytrim_api::v1;
use baytrim_estimate::{FuelStep, PlanStep, UseMap};
use baytrim_jobs::propose::CAUTIONS;
use baytrim_jobs::pull_plan::{NextPull, PlanAsk, sentence, step_sentence};
use baytrim_jobs::{JobState, Refusal};
use baytrim_model::ids::PullId;

use super::proposal::done;

/// Returns what a plan is asked for.
///
/// # Errors
/// When the use is unknown or said twice.
pub fn ask(request: &v1::PlanPullRequest) -> Result<PlanAsk, Refusal> {
    let own = !request.use_values.is_empty();
    let use_map = match (v1::UseMap::try_from(request.use_map), own) {
        (Ok(v1::UseMap::Unspecified), true) => UseMap::Own(request.use_values.clone()),
        (Ok(v1::UseMap::Unspecified | v1::UseMap::Visited), false) => UseMap::Visited,
        (Ok(v1::UseMap::Street), false) => UseMap::Street,
        (Ok(v1::UseMap::Track), false) => UseMap::Track,
        (Ok(v1::UseMap::WideOpen), false) => UseMap::WideOpen,
        (Ok(_), true) => {
            return Err(Refusal::field(
                "use_values",
                "there is a use map besides",
                "give one of the two",
            ));
        }
        (Err(_), _) => {
            return Err(Refusal::field(
                "use_map",
                format!("is {}, which names no use", request.use_map),
                "choose one that the API names",
            ));
        }
    };
    Ok(PlanAsk {
        use_map,
        seconds: request.plan_s_max,
        tolerance_percent: request.tolerance_percent,
    })
}

/// Returns a plan that was computed from `pulls`.
pub fn plan(state: &JobState, pulls: &[PullId], next: &NextPull) -> v1::PullPlan {
    let steps = &next.plan.steps;
    let last = steps
        .last()
        .map_or(next.plan.error_now, |step| step.error_after);
    v1::PullPlan {
        done: Some(done(&next.done)),
        steps: steps.iter().map(step).collect(),
        standard_error_percent: 100.0 * next.plan.error_now,
        planned_standard_error_percent: 100.0 * last,
        total_s: steps.iter().map(|step| step.total_s).sum(),
        unreachable_node_count: u32::try_from(next.plan.unreachable).unwrap_or(u32::MAX),
        revision: state.head().id.to_string(),
        pulls: pulls.iter().map(ToString::to_string).collect(),
        cautions: CAUTIONS.map(str::to_owned).to_vec(),
        fuel_steps: next.fuel_steps.iter().map(fuel_step).collect(),
    }
}

fn fuel_step(step: &FuelStep) -> v1::FuelStep {
    v1::FuelStep {
        rpm: step.rpm,
        plate_percent: step.plate_percent,
        step_percent: step.step_percent,
        step_count: step.step_count,
        step_s: step.step_s,
        run_s: step.run_s,
        total_s: step.total_s,
        sentence: step_sentence(step),
    }
}

fn step(step: &PlanStep) -> v1::PlanStep {
    v1::PlanStep {
        start_rpm: step.from_rpm,
        end_rpm: step.to_rpm,
        plate_percent: step.plate_percent,
        run_s: step.run_s,
        total_s: step.total_s,
        standard_error_percent: 100.0 * step.error_after,
        sentence: sentence(step),
    }
}
