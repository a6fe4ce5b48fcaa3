//! Two stages, one against the other.

use baytrim_jobs::JobState;
use baytrim_jobs::propose::TOLERANCE_PERCENT;
use baytrim_jobs::stage_comparison::{
    Comparison, MoveVerdict, NodeComparison, Repeatability, StageComparison, StageFound,
    StagePower, Verdict,
};
use maud::{Markup, html};

use crate::page::grid::{grid, plain_head};
use crate::page::number::{counted, fixed, signed};
use crate::page::{address, scale};

/// Returns what two stages come to.
pub(super) fn section(state: &JobState, found: &StageComparison) -> Markup {
    let [from, to] = &found.stages;
    html! {
        section aria-labelledby="compare" {
            h2 #compare { "From " (from.stage) " to " (to.stage) }
            p.lead { (sentence(state, found)) }
            (form(state, from, to))
            (sides(state, found))
            @for remark in &found.remarks { p.note { (remark) "." } }
        }
        section.maps aria-label="Lambda off target, node by node" {
            (off(state, found, 0))
            (off(state, found, 1))
            div.legend { (scale::lambda_legend("richer than target", "leaner than target")) }
            (change(state, found))
            div.legend {
                dl.marks {
                    div { dt { "~" } dd { "inside the noise of the pulls" } }
                    div { dt { "!" } dd { "further from target" } }
                    div { dt { "\u{b7}" } dd { "not measured" } }
                }
            }
        }
    }
}

fn title(state: &JobState, found: &StageFound) -> String {
    let entry = state.stage_of(found.stage);
    entry.map_or_else(|_| String::new(), |entry| entry.stage.title.clone())
}

fn sentence(state: &JobState, found: &StageComparison) -> String {
    let [from, to] = &found.stages;
    let figure = &found.off_target;
    let worth = match figure.verdict {
        Verdict::CannotBeTold => {
            "fewer than two whole pulls of a stage cannot tell whether that is more than noise"
        }
        Verdict::InsideTheNoise => "that is inside the noise of the pulls",
        Verdict::More | Verdict::Less => "that is more than repeated pulls differ by",
    };
    format!(
        "Lambda was {} % off target {} and {} % {}: {worth}.",
        fixed(from.off_target_percent, 1),
        title(state, from),
        fixed(to.off_target_percent, 1),
        title(state, to)
    )
}

/// Returns the form that asks for another pair.
fn form(state: &JobState, from: &StageFound, to: &StageFound) -> Markup {
    let select = |name: &str, words: &str, chosen: &StageFound| {
        html! {
            label.field {
                span { (words) }
                select name=(name) {
                    @for entry in &state.stages {
                        option value=(entry.stage.id) selected[entry.stage.id == chosen.stage] { (entry.stage.id) ", " (entry.stage.title) }
                    }
                }
            }
        }
    };
    html! {
        form.pair method="get" action=(address::stages(state.id())) {
            (select("from", "From", from))
            (select("to", "To", to))
            button type="submit" { "Compare" }
        }
    }
}

fn sides(state: &JobState, found: &StageComparison) -> Markup {
    let row = |words: &str, of: &dyn Fn(&StageFound) -> String, last: String| {
        html! {
            tr {
                th scope="row" { (words) }
                @for side in &found.stages { td { (of(side)) } }
                td { (last) }
            }
        }
    };
    let names = |pulls: &[baytrim_model::ids::PullId]| {
        let names: Vec<String> = pulls.iter().map(ToString::to_string).collect();
        names.join(" ")
    };
    let shared = found.nodes.iter().filter(|node| node.change.is_some());
    let words = format!("nodes within {} %", fixed(TOLERANCE_PERCENT, 0));
    html! {
        div.scroll.wide role="region" tabindex="0" aria-label="Both stages side by side" {
            table.list.compact {
                thead { tr {
                    td {}
                    @for side in &found.stages { th scope="col" { (side.stage) ", " (title(state, side)) } }
                    th scope="col" { "change, mean of pulls" }
                } }
                tbody {
                    (row("pulls", &|side| names(&side.pulls), counted(shared.count(), "node") + " in both"))
                    (row("table", &|side| side.revision.to_string(), String::new()))
                    (row("lambda off target", &|side| format!("{} %", fixed(side.off_target_percent, 1)), figure(&found.off_target)))
                    (row(&words, &|side| side.within_share.map_or_else(|| "-".to_owned(), |share| format!("{} %", fixed(100.0 * share, 0))), figure(&found.within)))
                    @if let Some(power) = &found.power { (power_rows(power)) }
                    (row("repeatability", &|_| String::new(), repeatability(found.repeatability.as_ref())))
                }
            }
        }
    }
}

fn power_rows(power: &StagePower) -> Markup {
    let air = if power.is_corrected {
        "at standard air"
    } else {
        "as measured"
    };
    let range = format!(
        "mean from {} to {} rpm: {} %",
        fixed(power.speeds_rpm.0, 0),
        fixed(power.speeds_rpm.1, 0),
        figure(&power.change)
    );
    html! {
        tr {
            th scope="row" { "most power " (air) }
            @for peak in power.peak_kw { td { (fixed(peak, 1)) " kW" } }
            td { (range) }
        }
        tr {
            th scope="row" { "most torque " (air) }
            @for peak in power.peak_nm { td { (fixed(peak, 1)) " Nm" } }
            td {}
        }
    }
}

fn figure(found: &Comparison) -> String {
    let size = signed(found.difference, 1);
    let Some((low, high)) = found.interval else {
        return format!("{size}, not repeated");
    };
    let worth = match found.verdict {
        Verdict::InsideTheNoise => ", inside the noise",
        _ => "",
    };
    format!("{size} ({} to {}){worth}", signed(low, 1), signed(high, 1))
}

fn repeatability(found: Option<&Repeatability>) -> String {
    found.map_or_else(
        || "no pull was repeated".to_owned(),
        |found| {
            format!(
                "{} % a pull, {} % a node, from {}",
                fixed(found.pull_percent, 1),
                fixed(found.node_percent, 1),
                counted(found.repeat_count as usize, "repeat")
            )
        },
    )
}

fn off(state: &JobState, found: &StageComparison, side: usize) -> Markup {
    let stage = &found.stages[side];
    let caption = format!(
        "Lambda off target, {} ({}), percent",
        stage.stage,
        title(state, stage)
    );
    grid(&state.spec.axes, &caption, &plain_head, &|node| {
        let off = found.nodes[node].off_percent[side];
        off.map_or_else(
            || html! { td.none { "\u{b7}" } },
            |percent| html! { td class=(scale::change(percent)) { (signed(percent, 1)) } },
        )
    })
}

fn change(state: &JobState, found: &StageComparison) -> Markup {
    let [from, to] = &found.stages;
    let caption = format!(
        "Change of lambda from {} to {} against target, percent; below it half the 95 % interval",
        from.stage, to.stage
    );
    grid(&state.spec.axes, &caption, &plain_head, &|node| {
        change_cell(&found.nodes[node])
    })
}

fn change_cell(node: &NodeComparison) -> Markup {
    let Some(change) = &node.change else {
        return html! { td.none { "\u{b7}" } };
    };
    let (class, mark) = match change.verdict {
        MoveVerdict::InsideTheNoise => ("still", "~"),
        MoveVerdict::Closer => (scale::change(change.percent), ""),
        MoveVerdict::Further => (scale::change(change.percent), "!"),
    };
    html! {
        td class=(class) {
            (signed(change.percent, 1)) (mark)
            small { "\u{b1}" (fixed(change.half_width_percent, 1)) }
        }
    }
}
