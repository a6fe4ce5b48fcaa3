//! A plan of the next pull, as it can be read out in the bay.

use baytrim_api::v1::{DoneChance, PullPlan};

use super::number::fixed;
use super::style::{Ink, RenderOptions};
use super::text::{counted, hang, plain, sentence, wrap};
use crate::name::number;

/// Returns the plan for `job`.
pub fn render_plan(plan: &PullPlan, job: &str, options: &RenderOptions) -> String {
    let title = format!(
        "Next pull of {job} with {} loaded, from {}",
        number(&plan.revision),
        plan.pulls.join(", ")
    );
    let mut page = String::new();
    for line in wrap(&plain(&title), options.width, 0).lines() {
        page += &(options.paint(Ink::Strong, line) + "\n");
    }
    page.push('\n');
    if let Some(done) = &plan.done {
        page += &wrap(&chance_now(done), options.width, 0);
    }
    page += &wrap(&gain(plan), options.width, 0);
    page.push('\n');
    page += &fuel_steps(plan, options);
    for (index, step) in plan.steps.iter().enumerate() {
        let line = format!(
            "{:>2}. {} (then {} %)",
            index + 1,
            plain(&step.sentence),
            fixed(step.standard_error_percent, 2)
        );
        page += &hang(&line, options.width, 2, 6);
    }
    if !plan.cautions.is_empty() {
        page += &("\n".to_owned() + &options.paint(Ink::Strong, "Caution") + "\n");
        for caution in &plan.cautions {
            page += &hang(&format!("! {}", plain(caution)), options.width, 2, 4);
        }
    }
    page
}

/// Returns what to run first so that the delay is told.
fn fuel_steps(plan: &PullPlan, options: &RenderOptions) -> String {
    if plan.fuel_steps.is_empty() {
        return String::new();
    }
    let seconds: f64 = plan.fuel_steps.iter().map(|step| step.total_s).sum();
    let title = format!(
        "First, {} s with getting there: no pull has told the delay yet",
        fixed(seconds, 0)
    );
    let mut page = options.paint(Ink::Strong, &title) + "\n";
    for step in &plan.fuel_steps {
        page += &hang(&format!("* {}", plain(&step.sentence)), options.width, 2, 4);
    }
    page += &wrap(
        "Where fuel cannot be stepped, shut the plate for a second two or three times instead, so that the overrun cut shows.",
        options.width,
        2,
    );
    page + "\n"
}

/// Returns how likely the table in force is good enough.
pub(super) fn chance_now(done: &DoneChance) -> String {
    format!(
        "Chance that all {} in use are within {} % of target lambda with the table in force: {} %; {} % of them are, by expectation. A bias of the sensor is left out.",
        counted(done.node_count as usize, "node"),
        fixed(done.tolerance_percent, 1),
        percent(done.probability),
        percent(done.within_fraction),
    )
}

/// Returns the same for a proposal: as it is, and with what is proposed.
pub(super) fn chance_then(done: &DoneChance) -> String {
    let tolerance = fixed(done.tolerance_percent, 1);
    let nodes = counted(done.node_count as usize, "visited node");
    let now = format!(
        "Within {tolerance} % of target, of {nodes}: {} % by expectation, all of them with a chance of {} %",
        percent(done.within_fraction),
        percent(done.probability),
    );
    match (done.proposed_within_fraction, done.proposed_probability) {
        (Some(share), Some(chance)) => format!(
            "{now}; with the proposal {} %, all with a chance of {} %. A bias of the sensor is left out.",
            percent(share),
            percent(chance)
        ),
        _ => now + ". A bias of the sensor is left out.",
    }
}

/// Returns a chance in percent, never as certain.
fn percent(chance: f64) -> String {
    if chance > 0.99 {
        "over 99".to_owned()
    } else if chance < 0.01 {
        "under 1".to_owned()
    } else {
        fixed(100.0 * chance, 0)
    }
}

fn gain(plan: &PullPlan) -> String {
    let now = fixed(plan.standard_error_percent, 2);
    let mut text = if plan.steps.is_empty() {
        format!(
            "Standard error of the nodes in use: {now} %. No run fits: give it more seconds, or pull where the engine is known to be safe."
        )
    } else {
        let seconds = format!("{} s", fixed(plan.total_s, 0));
        format!(
            "{}, {seconds} with getting there: the standard error of the nodes in use goes from {now} to {} %. Most useful first: stop when time is up.",
            counted(plan.steps.len(), "run"),
            fixed(plan.planned_standard_error_percent, 2)
        )
    };
    if plan.unreachable_node_count > 0 {
        let nodes = counted(plan.unreachable_node_count as usize, "node");
        text += &format!(
            " No run goes to {nodes} in use that cannot be said to be safe yet, or where fuel is cut."
        );
    }
    sentence(&text)
}
