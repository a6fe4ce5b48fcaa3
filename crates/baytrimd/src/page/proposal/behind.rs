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
const EDGES: [f64; 4] = [44.0, 8.0, 10.0, 22.0];

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
    let ends = |values: &mut dyn Iterator<Item = f64>| {
        values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
            (value.min(low), value.max(high))
        })
    };
    let (low, high) = ends(&mut all().map(|reading| reading.1).chain(band).chain([0.0]));
    let (slow, fast) = ends(&mut all().map(|reading| reading.0).chain([node.rpm]));
    let [left, top, right, bottom] = EDGES;
    let x = |rpm: f64| left + (rpm - slow) / (fast - slow).max(1.0) * (WIDTH - left - right);
    let y = |percent: f64| top + (high - percent) / (high - low).max(0.1) * (HEIGHT - top - bottom);
    let place = |value: f64| format!("{value:.1}");
    let foot = place(HEIGHT - 6.0);
    html! {
        svg.behind-plot viewBox={ "0 0 " (WIDTH) " " (HEIGHT) } role="img" aria-label="Fuel that the readings near this node ask for; the list below says the same" {
            rect.interval x=(left) y=(place(y(band[1]))) width=(WIDTH - left - right) height=(place((y(band[0]) - y(band[1])).max(1.0))) {}
            line.zero x1=(left) x2=(WIDTH - right) y1=(place(y(0.0))) y2=(place(y(0.0))) {}
            line.estimate x1=(left) x2=(WIDTH - right) y1=(place(y(node.correction_percent))) y2=(place(y(node.correction_percent))) {}
            line.node-at x1=(place(x(node.rpm))) x2=(place(x(node.rpm))) y1=(top) y2=(HEIGHT - bottom) {}
            @for (index, pull) in behind.iter().enumerate() {
                @for (rpm, percent) in pull.drawn() {
                    (chart::point(Shape::at(index), x(rpm), y(percent)))
                }
            }
            text x=(left - 5.0) y=(place(y(high) + 9.0)) text-anchor="end" { (signed(high, 0)) " %" }
            text x=(left - 5.0) y=(place(y(low))) text-anchor="end" { (signed(low, 0)) " %" }
            text x=(left) y=(foot) { (format!("{slow:.0}")) }
            text x=(place(x(node.rpm))) y=(foot) text-anchor="middle" { (breakpoint(node.rpm)) }
            text x=(WIDTH - right) y=(foot) text-anchor="end" { (format!("{fast:.0}")) }
        }
    }
}
