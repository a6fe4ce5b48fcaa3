//! The plan of the next pull: its runs in words, and where they go.

use baytrim_estimate::PlanStep;
use baytrim_jobs::JobState;
use baytrim_jobs::pull_plan::{NextPull, PLAN_S, sentence, step_sentence};
use maud::{Markup, html};

use super::{Asked, USES};
use crate::page::address;
use crate::page::grid::{grid, plain_head};
use crate::page::number::{breakpoint, counted};
use crate::page::proposal::headline::{chance, percent};

/// Returns the question, the answer, and where the answer's runs go.
pub(super) fn section(state: &JobState, asked: &Asked, next: &Result<NextPull, String>) -> Markup {
    html! {
        (form(state, asked))
        @match next {
            Err(words) => p.empty { "No plan: " (words) "." },
            Ok(next) => (answer(state, next)),
        }
    }
}

fn form(state: &JobState, asked: &Asked) -> Markup {
    let used = asked.used.as_deref().unwrap_or("visited");
    html! {
        form.pair method="get" action=(address::coverage(state.id())) {
            label.field {
                span { "Where it must be right" }
                select name="use" {
                    @for (name, words) in USES { option value=(name) selected[name == used] { (words) } }
                }
            }
            label.field {
                span { "Dyno seconds" }
                input type="number" name="seconds" min="10" max="3600" step="10" value=(asked.seconds.unwrap_or(PLAN_S));
            }
            button type="submit" { "Plan" }
        }
    }
}

fn answer(state: &JobState, next: &NextPull) -> Markup {
    let plan = &next.plan;
    let after = plan
        .steps
        .last()
        .map_or(plan.error_now, |step| step.error_after);
    let total_s: f64 = plan.steps.iter().map(|step| step.total_s).sum();
    html! {
        div.headline {
            p.figure {
                strong { (percent(next.done.probability)) }
                span { "chance that it is done" }
            }
            div {
                p.lead { (chance(&next.done)) }
                @if plan.steps.is_empty() {
                    p { "No run would make it surer." }
                } @else {
                    p {
                        (counted(plan.steps.len(), "run")) " in " (format!("{total_s:.0} s")) " would bring the standard error from "
                        (format!("{:.2} % to {:.2} %", 100.0 * plan.error_now, 100.0 * after)) "."
                    }
                }
                @if plan.unreachable > 0 {
                    p.quiet {
                        "No run goes to " (counted(plan.unreachable, "node"))
                        " that count: they are not known to be safe from leanness yet, or fuel is cut there."
                    }
                }
            }
        }
        @if !next.fuel_steps.is_empty() {
            p { strong { "First: no pull has told the delay yet." } " Where fuel cannot be stepped, shut the plate for a second two or three times instead." }
            ul { @for step in &next.fuel_steps { li { (step_sentence(step)) } } }
        }
        @if !plan.steps.is_empty() {
            div.cautions role="note" aria-label="Caution" {
                strong { "Caution" }
                p { "Watch lambda while you run these, and shut the throttle when it goes lean. Extract the exhaust; keep clear of the engine and the drum." }
            }
            div.plan {
                ol.runs { @for (index, step) in plan.steps.iter().enumerate() { li { (run(index, step)) } } }
                (map(state, &plan.steps))
            }
        }
    }
}

fn run(index: usize, step: &PlanStep) -> Markup {
    html! {
        strong.n { (index + 1) } " "
        span { (sentence(step)) "; then " (format!("{:.2} %", 100.0 * step.error_after)) }
    }
}

/// Returns where the runs go: each cell names its runs.
fn map(state: &JobState, steps: &[PlanStep]) -> Markup {
    let axes = &state.spec.axes;
    let caption = "Where the runs go, by their numbers";
    grid(axes, caption, &plain_head, &|node| {
        let (rpm, plate) = axes.position(node);
        let on_plate =
            |step: &PlanStep| nearest(axes.plate_percent.breakpoints(), step.plate_percent);
        let passes = |step: &PlanStep| {
            let speeds = axes.rpm.breakpoints();
            let (from, to) = (nearest(speeds, step.from_rpm), nearest(speeds, step.to_rpm));
            (from..=to).contains(&rpm) && on_plate(step).to_bits() == plate.to_bits()
        };
        let here = steps.iter().enumerate().filter(|(_, step)| passes(step));
        let here: Vec<String> = here.map(|(index, _)| (index + 1).to_string()).collect();
        html! {
            @if here.is_empty() { td.still { "" } }
            @else { td class=(if here.len() > 1 { "q3" } else { "q2" }) title={ (breakpoint(rpm)) " rpm" } { (here.join(" ")) } }
        }
    })
}

fn nearest(breakpoints: &[f64], value: f64) -> f64 {
    let distance = |point: &f64| (point - value).abs();
    let nearest = breakpoints
        .iter()
        .copied()
        .min_by(|one, other| distance(one).total_cmp(&distance(other)));
    nearest.unwrap_or(value)
}
