//! Two pulls of a job, one against the other.

use std::sync::Arc;

use axum::extract::{Path, Query, State};
use axum::response::Html;
use baytrim_estimate::lambda_points;
use baytrim_jobs::JobState;
use baytrim_jobs::state::PullEntry;
use baytrim_model::axis::Axes;
use baytrim_model::ids::PullId;
use maud::{Markup, html};
use serde::Deserialize;

use super::grid::{grid, plain_head};
use super::number::{seconds, signed};
use super::read::{self, Page};
use super::signed::carried;
use super::{address, frame, pull, scale};
use crate::compute::blocking;
use crate::fault::Fault;
use crate::shop::{Loaded, Shop};

/// Two pulls.
#[derive(Debug, Deserialize)]
pub(super) struct Pair {
    from: String,
    to: String,
}

/// Mean lambda near each node with its seconds; none where the pull has not been.
type Means = Vec<Option<(f64, f64)>>;

/// Shows the page.
pub(super) async fn page(
    State(shop): State<Arc<Shop>>,
    Path(id): Path<String>,
    Query(pair): Query<Pair>,
) -> Page {
    let job = read::load_whole(&shop, &id).await?;
    let (from, to): (PullId, PullId) = (pair.from.parse()?, pair.to.parse()?);
    let page = blocking(carried(move || {
        let (from, to) = (job.state.pull(from)?, job.state.pull(to)?);
        let read = [means(&shop, &job, from)?, means(&shop, &job, to)?];
        Ok(render(&job.state, from, to, &read).into_string())
    }));
    Ok(Html(page.await?))
}

fn means(shop: &Shop, job: &Loaded, pull: &PullEntry) -> Result<Means, Fault> {
    let state = &job.state;
    let axes = &state.spec.axes;
    let evidence = shop.evidence().of_pull(&**shop.store(), job, pull)?;
    let trim = state.log_trim(state.revision(pull.record.revision)?);
    let mut sums = vec![(0.0, 0.0); axes.node_count()];
    for point in lambda_points(&evidence, axes, &trim, &state.spec.target_lambda) {
        let (sum, length_s) = &mut sums[nearest_node(axes, point.rpm, point.plate_percent)];
        *sum += point.lambda * point.length_s;
        *length_s += point.length_s;
    }
    let mean = |(sum, length_s): (f64, f64)| (length_s > 0.0).then(|| (sum / length_s, length_s));
    Ok(sums.into_iter().map(mean).collect())
}

fn nearest_node(axes: &Axes, rpm: f64, plate_percent: f64) -> usize {
    let nearest = |breakpoints: &[f64], value: f64| {
        let distance = |index: &usize| (breakpoints[*index] - value).abs();
        let all = 0..breakpoints.len();
        all.min_by(|one, other| distance(one).total_cmp(&distance(other)))
            .unwrap_or(0)
    };
    axes.node(
        nearest(axes.rpm.breakpoints(), rpm),
        nearest(axes.plate_percent.breakpoints(), plate_percent),
    )
}

fn render(state: &JobState, from: &PullEntry, to: &PullEntry, read: &[Means; 2]) -> Markup {
    let (one, other) = (&from.record, &to.record);
    let title = format!("Pulls {} and {} of {}", one.id, other.id, state.spec.title);
    let way = [(state.spec.title.clone(), address::job(state.id()))];
    let traces = format!(
        "{}?shown=1&pull={}&pull={}",
        address::traces(state.id()),
        one.id,
        other.id
    );
    let body = html! {
        h1 { "Pulls " (one.id) " and " (other.id) }
        p.lead { (sentence(from, to, read)) }
        (form(state, one.id, other.id))
        section aria-label="Lambda, node by node" {
            (table(state, from, to, read))
            div.legend {
                (scale::lambda_legend("richer", "leaner"))
                dl.marks { div { dt { "\u{b7}" } dd { "not visited by both" } } }
            }
            p { a href=(traces) { "Both against engine speed" } }
        }
        section aria-labelledby="facts" { h2 #facts { "Side by side" } (facts([from, to])) }
    };
    frame::page(&title, &way, &body)
}

/// Returns the form that asks for another pair.
pub(super) fn form(state: &JobState, from: PullId, to: PullId) -> Markup {
    let select = |name: &str, words: &str, chosen: PullId| {
        html! {
            label.field {
                span { (words) }
                select name=(name) {
                    @for pull in &state.pulls {
                        option value=(pull.record.id) selected[pull.record.id == chosen] { (pull.record.id) ", " (pull.record.revision) }
                    }
                }
            }
        }
    };
    html! {
        form.pair method="get" action={ (address::job(state.id())) "/compare-pulls" } {
            (select("from", "Pull", from))
            (select("to", "against pull", to))
            button type="submit" { "Compare" }
        }
    }
}

fn both(read: &[Means; 2], node: usize) -> Option<(f64, f64, f64)> {
    let (one, other) = (read[0][node]?, read[1][node]?);
    Some((one.0, other.0, one.1.min(other.1)))
}

fn sentence(from: &PullEntry, to: &PullEntry, read: &[Means; 2]) -> String {
    let (mut sum, mut weight, mut count) = (0.0, 0.0, 0);
    for node in 0..read[0].len() {
        if let Some((one, other, length_s)) = both(read, node) {
            sum += length_s * (other / one).ln();
            weight += length_s;
            count += 1;
        }
    }
    let (one, other) = (&from.record, &to.record);
    if count == 0 {
        return format!("{} and {} have been at no node both.", one.id, other.id);
    }
    let percent = (sum / weight).exp_m1() * 100.0;
    let tables = if one.revision == other.revision {
        format!("both with {}", one.revision)
    } else {
        format!(
            "{} with {}, {} with {}",
            one.id, one.revision, other.id, other.revision
        )
    };
    format!(
        "At the {count} nodes where both have been, {} read {:.1} % {} than {}, {tables}.",
        other.id,
        percent.abs(),
        if percent < 0.0 { "richer" } else { "leaner" },
        one.id
    )
}

fn table(state: &JobState, from: &PullEntry, to: &PullEntry, read: &[Means; 2]) -> Markup {
    let caption = format!(
        "Lambda of {} over that of {}, percent; below it both means",
        to.record.id, from.record.id
    );
    grid(&state.spec.axes, &caption, &plain_head, &|node| {
        let Some((one, other, _)) = both(read, node) else {
            return html! { td.none { "\u{b7}" } };
        };
        let percent = (other / one - 1.0) * 100.0;
        html! {
            td class=(scale::change(percent)) {
                (signed(percent, 1))
                small { (format!("{one:.2} {other:.2}")) }
            }
        }
    })
}

fn facts(pulls: [&PullEntry; 2]) -> Markup {
    let row = |words: &str, of: &dyn Fn(&PullEntry) -> String| {
        html! { tr { th scope="row" { (words) } @for pull in pulls { td { (of(pull)) } } } }
    };
    let refused = |pull: &PullEntry| {
        let gates = pull.record.summary.refused.iter();
        let words: Vec<String> = gates
            .map(|count| {
                format!(
                    "{} {:.0} s",
                    count.gate.as_str().replace('_', " "),
                    count.refused_s
                )
            })
            .collect();
        words.join(", ")
    };
    html! {
        div.scroll.wide role="region" tabindex="0" aria-label="Table of both pulls" {
            table.list.compact {
                thead { tr { td {} @for pull in pulls { th scope="col" { (pull.record.id) } } } }
                tbody {
                    (row("bay", &|pull| pull.record.bay.to_string()))
                    (row("table loaded", &|pull| pull.record.revision.to_string()))
                    (row("length", &|pull| seconds(pull.record.summary.duration_s)))
                    (row("accepted", &|pull| format!("{} ({} %)", seconds(pull.record.summary.accepted_s), pull::share(&pull.record.summary))))
                    (row("refused", &refused))
                    (row("delay", &|pull| pull::source(pull.record.summary.delay.source).to_owned()))
                    (row("warnings", &|pull| pull.record.summary.warnings.len().to_string()))
                }
            }
        }
    }
}
