//! Lists in aligned columns.

use super::style::{Ink, RenderOptions};

/// Which edge of a column its entries stand at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Edge {
    /// Words.
    Left,
    /// Numbers.
    Right,
}

/// Returns `rows` under `heads`, each column as wide as its widest entry; the last may be any length.
pub(crate) fn columns<const N: usize>(
    heads: [(&str, Edge); N],
    rows: &[[String; N]],
    options: &RenderOptions,
) -> String {
    let width_of = |column: usize| {
        let entries = rows.iter().map(|row| row[column].chars().count());
        entries
            .max()
            .unwrap_or(0)
            .max(heads[column].0.chars().count())
    };
    let widths: [usize; N] = std::array::from_fn(width_of);
    let line = |entries: [&str; N]| {
        let mut line = String::new();
        for (column, entry) in entries.into_iter().enumerate() {
            let space = " ".repeat(widths[column].saturating_sub(entry.chars().count()));
            line += "  ";
            match heads[column].1 {
                Edge::Left => line += &format!("{entry}{space}"),
                Edge::Right => line += &format!("{space}{entry}"),
            }
        }
        line.trim_end().to_owned()
    };
    let mut page = options.paint(Ink::Quiet, &line(heads.map(|(head, _)| head))) + "\n";
    for row in rows {
        page += &line(std::array::from_fn(|column| row[column].as_str()));
        page.push('\n');
    }
    page
}
