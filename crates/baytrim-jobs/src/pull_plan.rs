//! What to run next, and whether there is any need.

use baytrim_estimate::{
    FuelStep, PlanQuestion, PlanStep, PullEvidence, PullPlan, UseMap, fuel_steps, plan_pull,
};
use baytrim_model::field::FieldError;
use baytrim_model::proposal::DoneChance;
use baytrim_model::pull::DelaySource;

use crate::kind::Fitted;
use crate::propose::{TOLERANCE_PERCENT, fitted};
use crate::refusal::Refusal;
use crate::state::JobState;

/// Dyno seconds of a plan where nobody gives another number.
pub const PLAN_S: f64 = 120.0;

/// What a plan is asked for; a number that is 0 stands for the usual one.
#[derive(Debug, Clone, PartialEq)]
pub struct PlanAsk {
    /// How the vehicle is used.
    pub use_map: UseMap,
    /// Dyno seconds that the plan may take, 10 to 3600.
    pub seconds: f64,
    /// Tolerance of the stop rule, percent of lambda, 0.1 to 20.
    pub tolerance_percent: f64,
}

/// A plan with the chance that it is not needed.
#[derive(Debug, Clone, PartialEq)]
pub struct NextPull {
    /// Chance that every node that counts is within tolerance with the table in force.
    pub done: DoneChance,
    /// The plan.
    pub plan: PullPlan,
    /// What to run before it, so that the delay is told; empty where a pull told it, or the job gives it.
    pub fuel_steps: Vec<FuelStep>,
}

/// Plans the next pull of a job from the evidence of its pulls.
///
/// # Errors
/// When a number is out of its range, no node counts, or the evidence is empty or does not fit the job.
pub fn next_pull(
    state: &JobState,
    evidence: &[&PullEvidence],
    ask: &PlanAsk,
) -> Result<NextPull, Refusal> {
    let spec = &state.spec;
    let seconds = usual(ask.seconds, PLAN_S, (10.0, 3600.0), "plan_s_max")?;
    let percent = ask.tolerance_percent;
    let percent = usual(percent, TOLERANCE_PERCENT, (0.1, 20.0), "tolerance_percent")?;
    check_use(state, &ask.use_map)?;
    let Fitted { fit, posterior, .. } = fitted(state, state.head().id, evidence)?;
    let weights = ask.use_map.weights(&spec.axes, &fit.visits);
    let log_trim = state.log_trim(state.head());
    let question = PlanQuestion {
        axes: &spec.axes,
        log_trim: &log_trim,
        target_lambda: &spec.target_lambda,
        limits: &spec.limits,
        gates: &spec.gates,
        weights: &weights,
        seconds,
    };
    let region: Vec<usize> = (0..weights.len())
        .filter(|&node| weights[node] > 0.0)
        .collect();
    let within = posterior.within(&log_trim, &region, percent / 100.0);
    let plan = plan_pull(&fit, &posterior, &question);
    let (Some(within), Some(plan)) = (within, plan) else {
        return Err(Refusal::field(
            "use_map",
            "no node of the table counts with it",
            "choose another use",
        ));
    };
    Ok(NextPull {
        done: DoneChance {
            tolerance_percent: percent,
            node_count: u32::try_from(region.len()).unwrap_or(u32::MAX),
            probability: within.every_node,
            share: within.share,
            proposed_probability: None,
            proposed_share: None,
        },
        plan,
        fuel_steps: if is_delay_told(state) {
            Vec::new()
        } else {
            fuel_steps(&fit, &question)
        },
    })
}

fn is_delay_told(state: &JobState) -> bool {
    let mut pulls = state.pulls.iter().map(|entry| &entry.record.summary.delay);
    pulls.any(|delay| delay.source != DelaySource::Prior)
}

/// Returns a hold with steps of fuel in words that a tuner would say.
pub fn step_sentence(step: &FuelStep) -> String {
    let times = match step.step_count {
        2 => "twice".to_owned(),
        count => format!("{count} times"),
    };
    format!(
        "hold {:.0} rpm at {} %, step fuel up by {} % for {:.0} s and back for {:.0} s, {times}, {:.0} s in all; log the step as short_term_trim",
        step.rpm, step.plate_percent, step.step_percent, step.step_s, step.step_s, step.run_s
    )
}

/// Returns a run in words that a tuner would say.
pub fn sentence(step: &PlanStep) -> String {
    let (from, to, plate) = (step.from_rpm, step.to_rpm, step.plate_percent);
    if step.is_hold() {
        format!("hold {from:.0} rpm at {plate} % for {:.0} s", step.run_s)
    } else {
        format!(
            "sweep {from:.0} to {to:.0} rpm up and down at {plate} %, {:.0} s in all",
            step.run_s
        )
    }
}

fn usual(value: f64, usual: f64, range: (f64, f64), field: &str) -> Result<f64, Refusal> {
    if value == 0.0 {
        return Ok(usual);
    }
    if (range.0..=range.1).contains(&value) {
        return Ok(value);
    }
    Err(Refusal::field(
        field,
        format!("is {value}"),
        format!("give {} to {}, or 0 for {usual}", range.0, range.1),
    ))
}

fn check_use(state: &JobState, use_map: &UseMap) -> Result<(), Refusal> {
    let UseMap::Own(weights) = use_map else {
        return Ok(());
    };
    let nodes = state.spec.axes.node_count();
    let good = |weight: &f64| (0.0..=1e6).contains(weight);
    if weights.len() == nodes && weights.iter().all(good) {
        return Ok(());
    }
    Err(Refusal::Fields(vec![FieldError::new(
        "use_values",
        format!("holds {} values", weights.len()),
        format!("give one per node, {nodes} in node order, 0 to 1000000"),
    )]))
}
