//! A table revision: its values and how far it is from the base table; lists of revisions.

use baytrim_api::v1::Revision;

use super::columns::{Edge, columns};
use super::grid::{Cell, Grid};
use super::grip;
use super::number::{decimals_of, fixed, signed};
use super::proposal_grid::ink;
use super::style::{Ink, RenderOptions};
use super::text::{minute, moment, plain, wrap};
use crate::name::{job_of, number, short};

/// Returns a revision with its values and the fuel change from the base table.
pub fn render_revision(revision: &Revision, options: &RenderOptions) -> String {
    let page = revision_heading(revision, options);
    if !revision.grip_mode.is_empty() {
        return format!("{page}\n{}", grip::revision_table(revision, options));
    }
    let decimals = decimals_of(revision.values.iter().copied());
    let values = revision
        .values
        .iter()
        .map(|&value| Cell::new(fixed(value, decimals), Ink::Plain));
    let totals = revision
        .total_percent
        .iter()
        .map(|&percent| Cell::new(signed(percent, 1), ink(percent)));
    let content = plain(&revision.content.replace('_', " "));
    let value_head = options.paint(Ink::Strong, &format!("Values, {content}"));
    let total_head = options.paint(Ink::Strong, "Fuel change from the base table, percent");
    let value_grid = grid(revision, values.collect()).draw(options);
    let total_grid = grid(revision, totals.collect()).draw(options);
    format!("{page}\n{value_head}\n{value_grid}\n{total_head}\n{total_grid}")
}

/// Returns what a new revision is, and what to do next.
pub fn render_new_revision(revision: &Revision, options: &RenderOptions) -> String {
    let job = job_of(&revision.name);
    let head = options.paint(Ink::Strong, "Next");
    format!(
        "{}\n{head}\n  baytrim table show {job}\n  baytrim table export {job} --format csv --output {job}.csv\n  \
         baytrim pull submit {job} LOG --bay NAME\n",
        revision_heading(revision, options)
    )
}

/// Returns the revisions of a job, one a line.
pub fn render_revisions(revisions: &[Revision], options: &RenderOptions) -> String {
    let row = |revision: &Revision| {
        [
            number(&revision.name).to_owned(),
            if revision.in_force { "in force" } else { "" }.to_owned(),
            plain(&revision.origin),
            minute(revision.create_time.map(|time| time.to_string())),
            plain(&revision.creator),
            plain(&revision.reason),
        ]
    };
    let rows: Vec<_> = revisions.iter().map(row).collect();
    let heads = [
        ("revision", Edge::Left),
        ("", Edge::Left),
        ("from", Edge::Left),
        ("made (UTC)", Edge::Left),
        ("by", Edge::Left),
        ("reason", Edge::Left),
    ];
    columns(heads, &rows, options)
}

fn revision_heading(revision: &Revision, options: &RenderOptions) -> String {
    let force = if revision.in_force { ", in force" } else { "" };
    let title = format!(
        "Table {}{force}: {}",
        short(&revision.name),
        plain(&revision.origin)
    );
    let made = moment(revision.create_time.map(|time| time.to_string()));
    let line = format!("Made {made} by {}", plain(&revision.creator));
    let mut page =
        options.paint(Ink::Strong, &title) + "\n" + &options.paint(Ink::Quiet, &line) + "\n";
    if !revision.reason.is_empty() {
        page += &wrap(
            &format!("Reason: {}", plain(&revision.reason)),
            options.width,
            0,
        );
    }
    page
}

fn grid(revision: &Revision, cells: Vec<Cell>) -> Grid<'_> {
    Grid {
        rpm: &revision.rpm,
        plate_percent: &revision.plate_percent,
        cells,
    }
}
