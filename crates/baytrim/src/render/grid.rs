//! A table as it stands on paper: plate angles down, engine speeds across.

use super::number::breakpoint;
use super::style::{Ink, RenderOptions};

/// Head of the column of plate angles.
const CORNER: &str = "plate % \\ rpm";

/// One cell of a grid.
#[derive(Debug, Clone)]
pub(crate) struct Cell {
    /// What stands in it, at its right edge.
    pub(crate) body: String,
    /// What stands after it; a space for nothing.
    pub(crate) mark: char,
    /// Its colour.
    pub(crate) ink: Ink,
}

impl Cell {
    /// Returns a cell without a mark.
    pub(crate) fn new(body: impl Into<String>, ink: Ink) -> Self {
        Self {
            body: body.into(),
            mark: ' ',
            ink,
        }
    }
}

/// A table as it stands on paper.
pub(crate) struct Grid<'a> {
    /// Engine speeds.
    pub(crate) rpm: &'a [f64],
    /// Plate openings, percent.
    pub(crate) plate_percent: &'a [f64],
    /// Cells in node order: plate by plate, within a plate rpm by rpm.
    pub(crate) cells: Vec<Cell>,
}

impl Grid<'_> {
    /// Returns the grid, its columns in as many blocks as the width asks for, a blank line between them.
    pub(crate) fn draw(&self, options: &RenderOptions) -> String {
        let side = self.side_width();
        let width = self.cell_width();
        let fitting = (options.width.saturating_sub(side) / width).max(1);
        let block_count = self.rpm.len().div_ceil(fitting).max(1);
        let per_block = self.rpm.len().div_ceil(block_count).max(1);
        let mut blocks = Vec::new();
        let mut first = 0;
        while first < self.rpm.len() {
            let past = (first + per_block).min(self.rpm.len());
            blocks.push(self.block(first..past, side, width, options));
            first = past;
        }
        blocks.join("\n")
    }

    fn block(
        &self,
        speeds: std::ops::Range<usize>,
        side: usize,
        width: usize,
        options: &RenderOptions,
    ) -> String {
        let mut head = format!("{CORNER:>side$}");
        for &rpm in &self.rpm[speeds.clone()] {
            let body = width - 1;
            head += &format!("{:>body$} ", breakpoint(rpm));
        }
        let mut page = options.paint(Ink::Quiet, head.trim_end()) + "\n";
        for (row, &plate) in self.plate_percent.iter().enumerate() {
            let mut line = options.paint(Ink::Quiet, &format!("{:>side$}", breakpoint(plate)));
            let mut gap = String::new();
            for speed in speeds.clone() {
                let Some(cell) = self.cells.get(row * self.rpm.len() + speed) else {
                    continue;
                };
                let pad = (width - 1).saturating_sub(cell.body.chars().count());
                let mark = cell.mark.to_string();
                let text = format!("{}{}", cell.body, mark.trim_end());
                line += &gap;
                line += &" ".repeat(pad);
                line += &options.paint(cell.ink, &text);
                gap = if cell.mark == ' ' {
                    " ".to_owned()
                } else {
                    String::new()
                };
            }
            page += &line;
            page.push('\n');
        }
        page
    }

    fn side_width(&self) -> usize {
        let plates = self
            .plate_percent
            .iter()
            .map(|&plate| breakpoint(plate).len());
        plates.max().unwrap_or(0).max(CORNER.len())
    }

    /// Returns columns of one cell: two of gap, its widest body, one for the mark.
    fn cell_width(&self) -> usize {
        let heads = self.rpm.iter().map(|&rpm| breakpoint(rpm).len());
        let bodies = self.cells.iter().map(|cell| cell.body.chars().count());
        heads.chain(bodies).max().unwrap_or(1) + 2
    }
}

#[cfg(test)]
mod tests {
    use super::{Cell, Grid};
    use crate::render::style::{Ink, RenderOptions};

    /// A wide table would be broken by the terminal in the middle of its rows.
    #[test]
    fn no_line_is_wider_than_the_page() {
        let rpm: Vec<f64> = (1..=20).map(|step| f64::from(step) * 500.0).collect();
        let plate_percent = [0.0, 50.0, 100.0];
        let cells = vec![Cell::new("+10.0", Ink::More); 60];
        let grid = Grid {
            rpm: &rpm,
            plate_percent: &plate_percent,
            cells,
        };
        for width in [20, 40, 80, 140] {
            let page = grid.draw(&RenderOptions {
                width,
                color: false,
            });
            let longest = page.lines().map(str::len).max().unwrap();
            assert!(longest <= width, "{longest} > {width}\n{page}");
            assert_eq!(page.matches("+10.0").count(), 60);
        }
    }
}
