//! How the plate follows the hand, and grip tables.

use baytrim_api::v1::{GripEstimate, GripGain, GripPlace, ModeDelivery, Proposal, Revision};

use super::columns::{Edge, columns};
use super::number::{breakpoint, decimals_of, fixed, signed};
use super::style::{Ink, RenderOptions};
use super::text::{counted, plain, wrap};
use crate::name::number;

/// Returns how the plate follows the hand in each riding mode of `job`.
pub fn render_delivery(job: &str, modes: &[ModeDelivery], options: &RenderOptions) -> String {
    if modes.is_empty() {
        return wrap(
            "No pull has the hand standing still where grip angle, plate angle and engine speed are logged, and the job has no grip table.",
            options.width,
            0,
        );
    }
    let pages: Vec<String> = modes.iter().map(|mode| one(job, mode, options)).collect();
    pages.join("\n")
}

fn one(job: &str, mode: &ModeDelivery, options: &RenderOptions) -> String {
    let mut page = options.paint(Ink::Strong, &plain(&heading(mode))) + "\n";
    for sentence in &mode.sentences {
        page += &wrap(&plain(sentence), options.width, 0);
    }
    if !mode.other_pulls.is_empty() {
        let pulls = mode.other_pulls.join(", ");
        let text = format!("Left out, run with another grip table: {pulls}.");
        page += &wrap(&plain(&text), options.width, 0);
    }
    if !mode.places.is_empty() {
        page += &format!(
            "\n{}\n{}",
            head("By place of the hand", options),
            places(mode, options)
        );
    }
    if !mode.surface.is_empty() {
        let title = "Plate, percent, by grip and engine speed";
        page += &format!("\n{}\n{}", head(title, options), surface(mode, options));
    }
    let next = if mode.proposable && !mode.places.is_empty() {
        format!("  baytrim grip propose {job} --mode {}\n", mode.mode)
    } else if mode.proposable {
        format!(
            "  baytrim pull submit {job} LOG --bay NAME --mode {}\n",
            mode.mode
        )
    } else {
        return page;
    };
    page + &format!("\n{}\n{}", head("Next", options), plain_lines(&next))
}

/// Returns whether two numbers of one answer are the same one.
fn is_same(one: f64, other: f64) -> bool {
    (one - other).abs() < 1e-9
}

fn plain_lines(text: &str) -> String {
    let lines: Vec<String> = text.lines().map(|line| plain(line.trim())).collect();
    format!("  {}\n", lines.join("\n  "))
}

fn head(text: &str, options: &RenderOptions) -> String {
    options.paint(Ink::Strong, text)
}

fn heading(mode: &ModeDelivery) -> String {
    let table = match (mode.grip_revision.as_str(), mode.in_force) {
        ("", _) => "no grip table".to_owned(),
        (revision, true) => format!("grip table {} in force", number(revision)),
        (revision, false) => format!("grip table {}, not in force any more", number(revision)),
    };
    let pulls = match mode.pulls.as_slice() {
        [] => "no pulls yet".to_owned(),
        pulls => format!("from {}", pulls.join(", ")),
    };
    format!("Riding mode {}: {table}, {pulls}", mode.mode)
}

fn places(mode: &ModeDelivery, options: &RenderOptions) -> String {
    let row = |place: &GripPlace| {
        let ends_here = |gain: &&GripGain| is_same(gain.end_grip_percent, place.grip_percent);
        let gain = mode.gains.iter().find(ends_here);
        [
            fixed(place.grip_percent, 1),
            told(place.plate_percent.as_ref(), &|value| fixed(value, 1)),
            told(place.drift_percent_per_1000_rpm.as_ref(), &|value| {
                signed(value, 2)
            }),
            gain.map_or_else(String::new, |gain| fixed(gain.gain_factor, 2)),
            gain.map_or_else(String::new, |gain| {
                told(gain.over_mean.as_ref(), &|value| fixed(value, 2))
            }),
            if gain.is_some_and(|gain| gain.steep) {
                "steep"
            } else {
                ""
            }
            .to_owned(),
            place
                .plate_percent
                .as_ref()
                .map_or(0, |plate| plate.stay_count)
                .to_string(),
        ]
    };
    let rows: Vec<_> = mode.places.iter().map(row).collect();
    let heads = [
        ("grip %", Edge::Right),
        ("plate %", Edge::Left),
        ("drift % / 1000 rpm", Edge::Left),
        ("gain", Edge::Right),
        ("over mean", Edge::Left),
        ("", Edge::Left),
        ("stays", Edge::Right),
    ];
    columns(heads, &rows, options)
}

fn told(estimate: Option<&GripEstimate>, form: &dyn Fn(f64) -> String) -> String {
    let Some(estimate) = estimate else {
        return "-".to_owned();
    };
    let value = form(estimate.mean);
    match (estimate.mean_low, estimate.mean_high) {
        (Some(low), Some(high)) => format!("{value} ({} to {})", form(low), form(high)),
        _ => value,
    }
}

fn surface(mode: &ModeDelivery, options: &RenderOptions) -> String {
    let unique = |values: Vec<f64>| {
        let mut values = values;
        values.sort_by(f64::total_cmp);
        values.dedup();
        values
    };
    let speeds = unique(mode.surface.iter().map(|cell| cell.rpm).collect());
    let grips = unique(mode.surface.iter().map(|cell| cell.grip_percent).collect());
    let cells = grips.iter().flat_map(|&grip| {
        speeds.iter().map(move |&rpm| {
            let mut cells = mode.surface.iter();
            cells
                .find(|cell| is_same(cell.grip_percent, grip) && is_same(cell.rpm, rpm))
                .map(|cell| cell.plate_percent)
        })
    });
    let cells: Vec<Option<f64>> = cells.collect();
    table(&speeds, &grips, &cells, 1, options)
}

/// Returns a table of grips down and engine speeds across, in as many blocks as the width asks for.
fn table(
    speeds: &[f64],
    grips: &[f64],
    cells: &[Option<f64>],
    decimals: usize,
    options: &RenderOptions,
) -> String {
    let per_block = (options.width.saturating_sub(13) / 7).max(1);
    let mut blocks = Vec::new();
    let columns = speeds.len().max(1);
    for first in (0..columns).step_by(per_block) {
        let past = (first + per_block).min(columns);
        let mut line = format!("{:>13}", "grip % \\ rpm");
        for column in first..past {
            let label = speeds
                .get(column)
                .map_or_else(|| "all".to_owned(), |&rpm| breakpoint(rpm));
            line += &format!("{label:>7}");
        }
        let mut block = options.paint(Ink::Quiet, &line) + "\n";
        for (row, &grip) in grips.iter().enumerate() {
            let mut line = options.paint(Ink::Quiet, &format!("{:>13}", breakpoint(grip)));
            for column in first..past {
                let cell = cells.get(row * columns + column).copied().flatten();
                let body = cell.map_or_else(|| ".".to_owned(), |value| fixed(value, decimals));
                line += &format!("{body:>7}");
            }
            block += &(line.trim_end().to_owned() + "\n");
        }
        blocks.push(block);
    }
    blocks.join("\n")
}

/// Returns what a proposal for a grip table comes to, and its table before and after.
pub(crate) fn change(proposal: &Proposal, options: &RenderOptions) -> String {
    let rows = &proposal.grip_rows;
    let text = format!(
        "{} of {} change in riding mode {}.",
        proposal.change_count,
        counted(rows.len(), "grip"),
        proposal.grip_mode
    );
    let mut page = wrap(&plain(&text), options.width, 0);
    for remark in proposal.fit.iter().flat_map(|fit| &fit.remarks) {
        page += &wrap(&plain(remark), options.width, 0);
    }
    let values = rows
        .iter()
        .flat_map(|row| row.before.iter().chain(&row.after));
    let decimals = decimals_of(values.copied());
    let list = |values: &[f64]| {
        let is_one = values.windows(2).all(|pair| is_same(pair[0], pair[1]));
        let shown = if is_one {
            values.get(..1).unwrap_or(values)
        } else {
            values
        };
        let words: Vec<String> = shown.iter().map(|&value| fixed(value, decimals)).collect();
        words.join(" / ")
    };
    let line = |row: &baytrim_api::v1::GripRow| {
        let after = if row.before == row.after {
            "=".to_owned()
        } else {
            list(&row.after)
        };
        [
            breakpoint(row.grip_percent),
            list(&row.before),
            after,
            told(row.measured_percent.as_ref(), &|value| fixed(value, 1)),
        ]
    };
    let lines: Vec<_> = rows.iter().map(line).collect();
    let heads = [
        ("grip %", Edge::Right),
        ("before, plate %", Edge::Left),
        ("after", Edge::Left),
        ("measured", Edge::Left),
    ];
    if proposal.rpm.len() > 1 {
        let speeds: Vec<String> = proposal.rpm.iter().map(|&rpm| breakpoint(rpm)).collect();
        let note = format!(
            "Several values stand for {} rpm; one for all.",
            speeds.join(" / ")
        );
        page += &format!("\n{}", wrap(&note, options.width, 0));
    }
    page + "\n" + &columns(heads, &lines, options)
}

/// Returns a revision of a grip table.
pub(crate) fn revision_table(revision: &Revision, options: &RenderOptions) -> String {
    let decimals = decimals_of(revision.values.iter().copied());
    let (grips, speeds) = (&revision.grip_percent, revision.rpm.len().max(1));
    let cells = (0..grips.len()).flat_map(|grip| {
        (0..speeds).map(move |speed| revision.values.get(speed * grips.len() + grip).copied())
    });
    let cells: Vec<Option<f64>> = cells.collect();
    let head = format!("Plate, percent, riding mode {}", revision.grip_mode);
    let head = options.paint(Ink::Strong, &plain(&head));
    format!(
        "{head}\n{}",
        table(&revision.rpm, grips, &cells, decimals, options)
    )
}

/// Returns what changed between two revisions of a grip table; of two tables that are not the same, that they are not.
pub(crate) fn difference(from: &Revision, to: &Revision, options: &RenderOptions) -> String {
    if from.grip_mode != to.grip_mode {
        let text = "These are revisions of two different tables: there is no change from one to the other.";
        return wrap(text, options.width, 0);
    }
    let (old, new) = (number(&from.name), number(&to.name));
    let head = |name: &str| options.paint(Ink::Quiet, &plain(name));
    format!(
        "{}\n{}\n{}\n{}",
        head(old),
        revision_table(from, options),
        head(new),
        revision_table(to, options)
    )
}
