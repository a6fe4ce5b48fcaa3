//! The readings near a node: what fuel each of them asks for, pull by pull.

use baytrim_estimate::{PullEvidence, lambda_points};
use baytrim_jobs::JobState;
use baytrim_jobs::state::PullEntry;
use baytrim_model::ids::{PullId, RevisionId};
use baytrim_model::proposal::{NodeChange, Proposal};
use maud::{Markup, html};

use crate::page::address;
use crate::page::chart::{self, Shape};
use crate::page::number::{breakpoint, counted, seconds, signed};
use crate::page::traces::band::half_way;

/// Most readings drawn of one pull: two for each of so many steps of speed.
const STEPS: usize = 30;
const WIDTH: f64 = 340.0;
const HEIGHT: f64 = 150.0;
/// Room for the numbers of the axes: left, top, right, bottom.
const EDGES: [f64; 4] = [54.0, 8.0, 10.0, 22.0];
/// Room beyond the readings, as a share of their spread.
const PADDING: f64 = 0.08;
/// Least height of the plot in fuel: less would draw noise as if it were much.
const LEAST_SPAN_PERCENT: f64 = 1.0;
/// Width that two speeds beside each other need.
const ROOM_OF_A_SPEED: f64 = 62.0;

/// The readings of one pull near a node.
#[derive(Debug, Clone)]
pub(crate) struct Behind {
    pull: PullId,
    revision: RevisionId,
    /// Speed and the fuel change that the reading asks for, percent; by speed.
    readings: Vec<(f64, f64)>,
    length_s: f64,
    mean_percent: f64,
}

impl Behind {
    /// Returns the readings of a pull nearer to the node at `index` than to its neighbours, as fuel changes from the
    /// proposal's base revision; none where there are none.
    pub(crate) fn of(
        state: &JobState,
        proposal: &Proposal,
        index: usize,
        pull: &PullEntry,
        evidence: &PullEvidence,
    ) -> Option<Self> {
        let axes = &state.spec.axes;
        let (rpm, plate) = axes.indices(index);
        let speeds = half_way(axes.rpm.breakpoints(), rpm);
        let plates = half_way(axes.plate_percent.breakpoints(), plate);
        let loaded = state.log_trim(state.revision(pull.record.revision).ok()?);
        let base = state.log_trim(state.revision(proposal.base_revision).ok()?);
        let target = &state.spec.target_lambda;
        let points = lambda_points(evidence, axes, &loaded, target);
        let near = points.iter().filter(|point| {
            (speeds.0..speeds.1).contains(&point.rpm)
                && (plates.0..plates.1).contains(&point.plate_percent)
        });
        let fuel = (loaded[index] - base[index]).exp() / target[index];
        let (mut readings, mut sum, mut length_s) = (Vec::new(), 0.0, 0.0);
        for point in near {
            let percent = (point.lambda * fuel - 1.0) * 100.0;
            readings.push((point.rpm, percent));
            sum += percent * point.length_s;
            length_s += point.length_s;
        }
        readings.sort_by(|one, other| one.0.total_cmp(&other.0));
        (length_s > 0.0).then(|| Self {
            pull: pull.record.id,
            revision: pull.record.revision,
            readings,
            length_s,
            mean_percent: sum / length_s,
        })
    }

    /// Returns the lowest and the highest reading of each step of speed.
    fn drawn(&self) -> Vec<(f64, f64)> {
        let per_step = self.readings.len().div_ceil(STEPS).max(1);
        let steps = self.readings.chunks(per_step);
        let order = |one: &&(f64, f64), other: &&(f64, f64)| one.1.total_cmp(&other.1);
        steps
            .flat_map(|step| [step.iter().min_by(order), step.iter().max_by(order)])
            .flatten()
            .copied()
            .collect()
    }
}

/// Returns the plot, and the same in words.
pub(crate) fn section(state: &JobState, node: &NodeChange, behind: &[Behind]) -> Markup {
    if behind.is_empty() {
        return html! { p.quiet { "No reading lies nearer to this node than to its neighbours." } };
    }
    html! {
        h3 { "Readings near it" }
        (plot(node, behind))
        ul.behind {
            @for (index, pull) in behind.iter().enumerate() {
                li {
                    (chart::shape(Shape::at(index)))
                    a href=(address::pull(state.id(), pull.pull)) { (pull.pull) }
                    " with " (pull.revision) ": " (counted(pull.readings.len(), "reading")) " in " (seconds(pull.length_s))
                    ", on average " (signed(pull.mean_percent, 1)) " %"
                }
            }
        }
        p.key { "Fuel that each asks for, against speed; line and band: the estimate with its 95 % interval. A reading is a mean over about a fifth of a second." }
    }
}

fn plot(node: &NodeChange, behind: &[Behind]) -> Markup {
    let half = super::node::INTERVAL_STANDARD_ERRORS * node.standard_error_percent;
    let band = [
        node.correction_percent - half,
        node.correction_percent + half,
    ];
    let all = || behind.iter().flat_map(|pull| &pull.readings);
    let [low, high] = padded(
        all().map(|reading| reading.1).chain(band),
        LEAST_SPAN_PERCENT,
    );
    let [slow, fast] = padded(all().map(|reading| reading.0).chain([node.rpm]), 1.0);
    let [left, top, right, bottom] = EDGES;
    let x = |rpm: f64| left + (rpm - slow) / (fast - slow) * (WIDTH - left - right);
    let y = |percent: f64| top + (high - percent) / (high - low) * (HEIGHT - top - bottom);
    let place = |value: f64| format!("{value:.1}");
    let across = |class: &str, percent: f64| {
        html! { line class=(class) x1=(left) x2=(WIDTH - right) y1=(place(y(percent))) y2=(place(y(percent))) {} }
    };
    let (ticks, decimals) = ticks(low, high);
    html! {
        svg.behind-plot viewBox={ "0 0 " (WIDTH) " " (HEIGHT) } role="img" aria-label="Fuel that the readings near this node ask for; the list below says the same" {
            @for &tick in &ticks {
                (across(if tick == 0.0 { "zero" } else { "tick" }, tick))
                text x=(left - 5.0) y=(place(y(tick) + 4.0)) text-anchor="end" { (signed(tick, decimals)) " %" }
            }
            rect.interval x=(left) y=(place(y(band[1]))) width=(WIDTH - left - right) height=(place((y(band[0]) - y(band[1])).max(1.0))) {}
            (across("estimate", node.correction_percent))
            line.node-at x1=(place(x(node.rpm))) x2=(place(x(node.rpm))) y1=(top) y2=(HEIGHT - bottom) {}
            @for (index, pull) in behind.iter().enumerate() {
                @for (rpm, percent) in pull.drawn() {
                    (chart::point(Shape::at(index), x(rpm), y(percent)))
                }
            }
            (speeds(node.rpm, [slow, fast], &x))
        }
    }
}

/// Returns the speeds under the plot: the node's own, and the ends where they are far enough from it to be read.
fn speeds(rpm: f64, [slow, fast]: [f64; 2], x: &dyn Fn(f64) -> f64) -> Markup {
    let foot = HEIGHT - 6.0;
    let ends = [(slow, "start"), (fast, "end")].into_iter();
    html! {
        text x=(format!("{:.1}", x(rpm))) y=(foot) text-anchor="middle" { (breakpoint(rpm)) " rpm" }
        @for (end, anchor) in ends.filter(|(end, _)| (x(*end) - x(rpm)).abs() > ROOM_OF_A_SPEED) {
            text x=(format!("{:.1}", x(end))) y=(foot) text-anchor=(anchor) { (format!("{end:.0}")) }
        }
    }
}

/// Returns the ends of what is drawn: those of `values` and a little more, at least `least` apart.
fn padded(values: impl Iterator<Item = f64>, least: f64) -> [f64; 2] {
    let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
        (value.min(low), value.max(high))
    });
    let pad = ((least - (high - low)) / 2.0).max(PADDING * (high - low));
    [low - pad, high + pad]
}

/// Returns round numbers between two ends, at most five, and their decimals.
fn ticks(low: f64, high: f64) -> (Vec<f64>, usize) {
    let steps =
        (-1..4).flat_map(|power| [1.0, 2.0, 5.0].map(|digit| (digit * 10_f64.powi(power), power)));
    let count = |step: f64| (high / step).floor() - (low / step).ceil() + 1.0;
    let fits = |(step, _): &(f64, i32)| count(*step) <= 5.0;
    let (step, power) = steps.into_iter().find(fits).unwrap_or((5000.0, 3));
    let first = (low / step).ceil();
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "at most five, or few enough where the range is absurd"
    )]
    let count = count(step).max(0.0) as u32;
    let ticks = (0..count).map(|index| (first + f64::from(index)) * step);
    (ticks.collect(), usize::from(power < 0))
}

#[cfg(test)]
mod tests {
    use super::{padded, ticks};

    /// If this fails, readings far from zero are squeezed into a corner of their plot, or lie on its edge.
    #[test]
    fn the_scale_is_that_of_the_readings() {
        let [low, high] = padded([8.0, 9.0, 10.0].into_iter(), 1.0);
        assert!(low > 7.0 && low < 8.0, "{low}");
        assert!(high > 10.0 && high < 11.0, "{high}");
        let [low, high] = padded([8.0].into_iter(), 1.0);
        assert!((high - low - 1.0).abs() < 1e-12, "{low} to {high}");
    }

    /// If this fails, the axis has no number, too many of them, or some that lie beyond it.
    #[test]
    fn ticks_are_few_round_and_inside() {
        assert_eq!(ticks(7.8, 10.2).0, [8.0, 8.5, 9.0, 9.5, 10.0]);
        assert_eq!(ticks(-3.0, 12.0).0, [0.0, 5.0, 10.0]);
        for (low, high) in [(-0.3, 0.4), (-41.0, 3.0), (6.1, 7.1), (-300.0, 4000.0)] {
            let (ticks, _) = ticks(low, high);
            assert!((2..=5).contains(&ticks.len()), "{low} to {high}: {ticks:?}");
            assert!(
                ticks.iter().all(|&tick| tick >= low && tick <= high),
                "{ticks:?}"
            );
        }
    }
}
