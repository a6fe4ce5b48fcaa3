//! A table of nodes as an HTML table: engine speed across, plate angle down.

use baytrim_model::axis::Axes;
use maud::{Markup, html};

use super::number::breakpoint;

/// A row or a column of a table of nodes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Line {
    /// All nodes of one engine speed, by its index.
    Rpm(usize),
    /// All nodes of one plate angle, by its index.
    Plate(usize),
}

impl Line {
    /// Returns the nodes of the line.
    pub(super) fn nodes(self, axes: &Axes) -> Vec<usize> {
        match self {
            Self::Rpm(rpm) => (0..axes.plate_percent.len())
                .map(|plate| axes.node(rpm, plate))
                .collect(),
            Self::Plate(plate) => (0..axes.rpm.len())
                .map(|rpm| axes.node(rpm, plate))
                .collect(),
        }
    }
}

/// Returns the table. `head` draws what stands in a header cell, `cell` a whole `td`.
pub(super) fn grid(
    axes: &Axes,
    caption: &str,
    head: &dyn Fn(Line, &str) -> Markup,
    cell: &dyn Fn(usize) -> Markup,
) -> Markup {
    let columns = axes.rpm.breakpoints().iter().enumerate();
    let rows = axes.plate_percent.breakpoints().iter().enumerate();
    html! {
        div.scroll role="region" tabindex="0" aria-label=(caption) {
            table.grid {
                caption { (caption) }
                thead {
                    tr {
                        td.corner { "plate % \u{2193}" br; "rpm \u{2192}" }
                        @for (index, value) in columns {
                            th scope="col" { (head(Line::Rpm(index), &breakpoint(*value))) }
                        }
                    }
                }
                tbody {
                    @for (plate, value) in rows {
                        tr {
                            th scope="row" { (head(Line::Plate(plate), &breakpoint(*value))) }
                            @for rpm in 0..axes.rpm.len() { (cell(axes.node(rpm, plate))) }
                        }
                    }
                }
            }
        }
    }
}

/// Returns a header cell's content where it is only the breakpoint.
pub(super) fn plain_head(_line: Line, text: &str) -> Markup {
    html! { (text) }
}

/// Returns where a node is, in words.
pub(super) fn place(rpm: f64, plate_percent: f64) -> String {
    format!(
        "{} rpm, plate {} %",
        breakpoint(rpm),
        breakpoint(plate_percent)
    )
}
