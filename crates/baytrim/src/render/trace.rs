//! What is behind a node's number: the answer, its uncertainty by source, pull by pull what it says.

use baytrim_api::v1::{NodeBelief, NodeTrace, PullShare, RowSpan};

use super::columns::{Edge, columns};
use super::number::{breakpoint, fixed, signed};
use super::style::{Ink, RenderOptions};
use super::text::{counted, hang, plain, wrap};
use crate::name::{number, short};

/// Most spans of rows that are listed of one pull; all are in `--json`.
const SPANS_LISTED_MAX: usize = 6;
/// Share of distrust from which a pull is said to be doubted.
const DOUBTED: f64 = 0.2;

/// Returns the trace of a node.
pub fn render_trace(trace: &NodeTrace, options: &RenderOptions) -> String {
    let title = format!(
        "{}: {} rpm at {} % plate, counted from {}",
        short(&trace.name),
        breakpoint(trace.rpm),
        breakpoint(trace.plate_percent),
        number(&trace.revision)
    );
    let mut page = String::new();
    for line in wrap(&plain(&title), options.width, 0).lines() {
        page += &(options.paint(Ink::Strong, line) + "\n");
    }
    page += &wrap(&answer(trace), options.width, 0);
    page += &("\n".to_owned() + &errors(trace, options));
    page += &("\n".to_owned() + &shares(trace, options));
    for pull in &trace.pulls {
        page += &log(pull, options);
    }
    if !trace.cautions.is_empty() {
        page += &("\n".to_owned() + &options.paint(Ink::Strong, "Caution") + "\n");
        for caution in &trace.cautions {
            page += &hang(&format!("! {}", plain(caution)), options.width, 2, 4);
        }
    }
    page
}

fn answer(trace: &NodeTrace) -> String {
    format!(
        "Needs {} ± {} % fuel for lambda {} (± {} % with the sensor's own bias); {} s in {}; {} % of it measured here, the rest borrowed from neighbours and from what is usual.",
        signed(trace.correction_percent, 1),
        fixed(trace.standard_error_percent, 1),
        fixed(trace.target_lambda_ratio, 3),
        fixed(trace.total_standard_error_percent, 1),
        fixed(trace.dwell_s, 1),
        counted(trace.visits as usize, "visit"),
        fixed(100.0 * trace.measured_fraction, 0),
    )
}

fn errors(trace: &NodeTrace, options: &RenderOptions) -> String {
    let mut page = options.paint(
        Ink::Strong,
        "What the uncertainty is made of (squares add up)",
    ) + "\n";
    for part in &trace.errors {
        let line = format!(
            "{:>5} %  {}",
            fixed(part.standard_error_percent, 2),
            plain(&part.sentence)
        );
        page += &hang(&line, options.width, 2, 11);
    }
    page
}

fn belief(belief: Option<&NodeBelief>) -> String {
    belief.map_or_else(
        || "-".to_owned(),
        |belief| {
            format!(
                "{} ± {}",
                signed(belief.correction_percent, 1),
                fixed(belief.standard_error_percent, 1)
            )
        },
    )
}

fn shares(trace: &NodeTrace, options: &RenderOptions) -> String {
    let moved = |pull: &PullShare| {
        let without = pull.without.as_ref()?;
        Some(signed(
            without.correction_percent - trace.correction_percent,
            1,
        ))
    };
    let farthest = |pull: &PullShare| {
        let node = pull.farthest.as_ref()?;
        Some(format!(
            "{} at {}:{}",
            signed(node.move_percent, 1),
            breakpoint(node.rpm),
            breakpoint(node.plate_percent)
        ))
    };
    let none = || "-".to_owned();
    let row = |pull: &PullShare| {
        [
            plain(number(&pull.name)),
            plain(&pull.bay),
            fixed(pull.dwell_s, 1) + " s",
            pull.visits.to_string(),
            belief(pull.alone.as_ref()),
            belief(pull.without.as_ref()),
            moved(pull).unwrap_or_else(none),
            farthest(pull).unwrap_or_else(none),
        ]
    };
    let rows: Vec<_> = trace.pulls.iter().map(row).collect();
    let heads = [
        ("pull", Edge::Left),
        ("bay", Edge::Left),
        ("dwell", Edge::Right),
        ("visits", Edge::Right),
        ("alone", Edge::Right),
        ("without it", Edge::Right),
        ("moves", Edge::Right),
        ("moves most", Edge::Right),
    ];
    let mut page = options.paint(Ink::Strong, "Pull by pull (percent of fuel)")
        + "\n"
        + &columns(heads, &rows, options);
    for pull in &trace.pulls {
        if let Some(share) = pull.distrust_fraction.filter(|&share| share >= DOUBTED) {
            let line = format!(
                "! {} % of what {} says here is set aside: it does not fit the rest.",
                fixed(100.0 * share, 0),
                plain(number(&pull.name))
            );
            page += &hang(&line, options.width, 2, 4);
        }
    }
    page
}

fn log(pull: &PullShare, options: &RenderOptions) -> String {
    let Some(log) = &pull.log else {
        return String::new();
    };
    let count = usize::try_from(log.span_count).unwrap_or(usize::MAX);
    let title = format!(
        "{}: its log of {} rows speaks of the node in {}",
        number(&pull.name),
        log.row_count,
        counted(count, "place"),
    );
    let mut page = "\n".to_owned() + &options.paint(Ink::Strong, &plain(&title)) + "\n";
    let mut spans: Vec<&RowSpan> = log.spans.iter().collect();
    spans.sort_by(|a, b| b.weight_s.total_cmp(&a.weight_s));
    spans.truncate(SPANS_LISTED_MAX);
    spans.sort_by_key(|span| span.first_row);
    let row = |span: &&RowSpan| {
        [
            format!("{} to {}", span.first_row, span.last_row),
            format!("{} to {} s", fixed(span.start_s, 2), fixed(span.end_s, 2)),
            fixed(span.weight_s, 2) + " s",
        ]
    };
    let rows: Vec<_> = spans.iter().map(row).collect();
    if !rows.is_empty() {
        let heads = [
            ("rows", Edge::Left),
            ("time in the log", Edge::Right),
            ("weight", Edge::Right),
        ];
        page += &columns(heads, &rows, options);
    }
    for refused in &log.refused {
        let line = format!(
            "refused here: {} s by {}, {}",
            fixed(refused.refused_s, 1),
            plain(&refused.gate),
            plain(&refused.sentence)
        );
        page += &hang(&line, options.width, 2, 4);
    }
    page
}
